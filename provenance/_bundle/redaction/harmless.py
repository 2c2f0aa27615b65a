"""Tells by type what may be public without anybody's word.

The program's own schemas say what a type is. What a field of theirs cannot hold needs a person's
word, and so does every text without a list.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType

from provenance._bundle.redaction.places import as_decimal
from provenance._bundle.redaction.shipped import Shipped, shipped_models
from provenance._model.edtf import EDTF_PATTERN
from provenance._model.media_types import MEDIA_TYPES
from provenance._model.schema import Field, Vocabulary
from provenance._record.joined import split_codes

SPECIMEN = "specimen_number"
IDENTIFIERS = ("orcid", "ror")
_NUMBER = re.compile(r"[-+]?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]{1,2})?")
_EDTF = re.compile(EDTF_PATTERN)
_LONG_NUMBER = re.compile(r"[-+]?(?:[0-9.]{7,}|[0-9]{2,}\.[0-9]{3,}|[0-9]{6,})")


def is_specimen(key: str) -> bool:
    """Whether a code is one that steel dies can punch."""
    return bool(re.fullmatch(shipped_models().core.notations[SPECIMEN].pattern, key))


def is_harmless(
    shipped: Shipped,
    table: str,
    one: Field,
    text: str,
    lists: Mapping[str, Vocabulary] = MappingProxyType({}),
) -> bool:
    """Whether a cell holds what may be public by its type alone.

    That is a truth value, a date (EDTF), a code of a shipped list or of `lists`, a number within
    the bounds of the core's field, a specimen or stamp number, an ORCID or ROR, a checksum. A field
    that a profile added counts by its own type, and has to pass the search besides.
    """
    known = shipped.field(table, one.name)
    kind = known or one
    if kind.type in ("number", "integer"):
        return bool(_NUMBER.fullmatch(text)) and (known is None or _within(known, text))
    if kind.type == "boolean":
        return text.lower() in ("true", "false", "1", "0")
    if kind.vocabulary:
        listed = shipped.terms.get(kind.vocabulary, {})
        more = lists[kind.vocabulary].codes if kind.vocabulary in lists else ()
        codes = split_codes(text) if kind.separator else (text,)
        return all(code in listed or code in more for code in codes)
    if kind.notation == "edtf":
        return bool(_EDTF.fullmatch(text))
    if known is None:
        return False
    if kind.notation == "sha256":
        return bool(re.fullmatch("[0-9a-f]{64}", text))
    if kind.notation == SPECIMEN:
        return is_specimen(text)
    if kind.notation in IDENTIFIERS:
        # of those alone who may be named, whose name is there as well
        return bool(re.fullmatch(shipped.core.notations[kind.notation].pattern, text))
    if (table, one.name) == ("file", "about_table"):
        return text in shipped.core.tables
    return (table, one.name) == ("file", "media_type") and text in MEDIA_TYPES


def passes_the_search(shipped: Shipped, table: str, one: Field) -> bool:
    """Whether what is harmless by the type of this field is searched all the same.

    A profile's number may be a latitude, and a stamp may be anything that steel dies can punch.
    """
    known = shipped.field(table, one.name)
    return known is None or known.notation == SPECIMEN


def is_long(number: str) -> bool:
    """Whether a number in a field that a profile added could be a position or telephone number.

    >>> is_long("51.4739"), is_long("5550142"), is_long("1782"), is_long("4.215")
    (True, True, False, False)
    """
    return bool(_LONG_NUMBER.match(number))


def _within(one: Field, text: str) -> bool:
    number = as_decimal(text)
    if number is None:
        return False
    bounds = {name: one.constraints.get(name) for name in ("minimum", "maximum")}
    low, high = (None if one is None else Decimal(str(one)) for one in bounds.values())
    return (low is None or number >= low) and (high is None or number <= high)

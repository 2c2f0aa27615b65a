"""Writes and reads the full identifier of a sample: site code, sample number, check letters.

A code of numbers as found says them exactly: what is no letter, digit or `. _ /` is written as the
`%` and hexadecimal digits of RFC 3986, so that one hyphen parts site and number.
"""

from __future__ import annotations

import hashlib
import re
from typing import NamedTuple
from urllib.parse import quote, unquote

from provenance._base.errors import UnreadableValue
from provenance._identity.check_character import (
    ALPHABET,
    IGNORED,
    check_letters,
    check_like,
    is_check,
    likely_meant,
)
from provenance._model.schema import AS_FOUND, STRICT

BETWEEN_PARTS = re.compile(r"[-‐‑‒–—−\s]+")
"""Hyphen-minus, the typographic dashes that word processors put in its place, and blanks."""

_IN_CAPITALS = re.compile("[A-Z._/]*[0-9A-Z][0-9A-Z._/]*")
KEY = re.compile("[A-Za-z0-9][A-Za-z0-9._/-]{0,47}")
"""Notation 'identifier' of the schemas, which a test holds equal."""
_KEEP = "'treenail settings FOLDER --numbering as-found' keeps the numbers of an older collection"
_HINTS_SHOWN = 3


class SampleIdentifier(NamedTuple):
    """Site code and sample number, in capitals unless they are as found."""

    site_id: str
    sample_id: str


def _part(text: str, name: str) -> str:
    part = text.strip()
    if not part or BETWEEN_PARTS.search(part):
        raise UnreadableValue(
            text,
            f"cannot be a {name}: it must not be empty, nor hold a blank or a hyphen; {_KEEP}",
        )
    for place, sign in enumerate(part, start=1):
        capital = sign.upper() if sign.isascii() else sign
        if capital not in ALPHABET and capital not in IGNORED:
            raise UnreadableValue(
                text,
                f"has {sign!r} as character {place}; an identifier is written with the letters "
                f"A-Z, digits, and . _ / between them; {_KEEP}",
            )
    if set(part) <= IGNORED:
        raise UnreadableValue(text, "holds no letter or digit to make an identifier of")
    return part.upper()


def full_identifier(site_id: str, sample_id: str) -> str:
    """Site code and sample number in one, in capitals, unique among all sites.

    Raises UnreadableValue when either holds a blank, a hyphen (it parts the two), or a character
    outside A-Z, 0-9 and `. _ /`.

    >>> full_identifier("HOLL", "231")
    'HOLL-231'
    """
    return f"{_part(site_id, 'site code')}-{_part(sample_id, 'sample number')}"


def identifier_in(numbering: str, site_id: str, sample_id: str) -> str:
    """The full identifier as people read it in a record of that numbering; as found: exactly so.

    Raises UnreadableValue as `full_identifier`, and where one of the two is missing.

    >>> identifier_in("as_found", "Alder Ford", "AF-1")
    'Alder Ford-AF-1'
    """
    if numbering == STRICT:
        return full_identifier(site_id, sample_id)
    if not (site_id and sample_id):
        raise UnreadableValue(site_id or sample_id, "lacks its site code or sample number")
    return f"{site_id}-{sample_id}"


def joined_key(start: str, number: str) -> str:
    """A key that another table makes of a sample's number; of its digest where keys cannot say it.

    >>> joined_key("C-2024-1", "231"), joined_key("C-2024-1", "Nr. 7")
    ('C-2024-1-231', 'C-2024-1-5CC60366FE')
    """
    key = f"{start}-{number}"
    if KEY.fullmatch(key):
        return key
    return f"{start}-{hashlib.sha256(number.encode()).hexdigest()[:10].upper()}"


def as_coded(site_id: str, sample_id: str = "") -> str:
    """Site code, or both with a hyphen between them, exactly as a code says them.

    A `%` is in each that is not in the form of new ones, so that a reader knows when case is meant.

    >>> as_coded("HOLL", "231"), as_coded("Alder Ford", "AF-1"), as_coded("Holl")
    ('HOLL-231', 'Alder%20Ford-AF%2D1', 'H%6Fll')
    """
    return "-".join(_coded(one) for one in (site_id, sample_id) if one)


def _coded(part: str) -> str:
    coded = quote(part, safe="._/").replace("-", "%2D").replace("~", "%7E")
    if "%" not in coded and not _IN_CAPITALS.fullmatch(coded):
        # the first small letter; of '.' or '_/', which hold none, the first sign
        odd = next((place for place, sign in enumerate(coded) if sign.islower()), 0)
        coded = f"{coded[:odd]}%{ord(coded[odd]):02X}{coded[odd + 1 :]}"
    return coded


def as_said(coded: str) -> str:
    """What `as_coded` wrote; in capitals where it says no case."""
    return unquote(coded, errors="replace") if "%" in coded else coded.upper()


def checked_identifier(site_id: str, sample_id: str, numbering: str = STRICT) -> str:
    """The full identifier with its check letters behind it, as the code of a label says it.

    >>> checked_identifier("HOLL", "231"), checked_identifier("Alder Ford", "AF-1", "as_found")
    ('HOLL-231-JV', 'Alder%20Ford-AF%2D1-PL')
    """
    identifier = identifier_in(numbering, site_id, sample_id)
    coded = identifier if numbering == STRICT else as_coded(site_id, sample_id)
    return f"{coded}-{check_letters(identifier)}"


def parse_identifier(text: str) -> SampleIdentifier:
    """Read what a label says: three parts with hyphens or blanks between them.

    The third is the two check letters, or the one check character of a label of before. Raises
    UnreadableValue that says what is missing, or that they do not fit, which would, and what was
    perhaps meant.

    >>> parse_identifier("holl 231 jv").sample_id, parse_identifier("HOLL-231-H").sample_id
    ('231', '231')
    """
    parts = [part for part in BETWEEN_PARTS.split(text.strip()) if part]
    if len(parts) == 2:
        raise UnreadableValue(
            text,
            "lacks a part; write site code, sample number and check letters as on the label, "
            f"such as {checked_identifier('HOLL', '231')}",
        )
    if len(parts) != 3:
        raise UnreadableValue(
            text,
            f"has {len(parts)} parts, not the three of an identifier: site code, sample number "
            f"and check letters, such as {checked_identifier('HOLL', '231')}",
        )
    site_id, sample_id, check = parts
    if "%" in site_id + sample_id:
        found = SampleIdentifier(*(unquote(one, errors="replace") for one in (site_id, sample_id)))
        identifier = identifier_in(AS_FOUND, *found)
    else:
        identifier = full_identifier(site_id, sample_id)
        found = SampleIdentifier(site_id.upper(), sample_id.upper())
    if not is_check(check):
        raise UnreadableValue(
            text, f"ends in {check!r}; a label ends in two check letters, or one letter or digit"
        )
    refuse_misfit(text, identifier, check.upper())
    return found


def refuse_misfit(text: str, identifier: str, check: str) -> None:
    """Raise UnreadableValue where the check does not fit, with what was perhaps meant."""
    needed = check_like(identifier, check)
    if check == needed:
        return
    sentence = (
        f"does not fit its check {check}; a character of {identifier} is wrong or two "
        f"changed places, or the check should be {needed}"
    )
    hints = [f"{one}-{check}" for one in likely_meant(identifier, check)][:_HINTS_SHOWN]
    if hints:
        sentence += f"; perhaps {' or '.join(hints)} was meant"
    raise UnreadableValue(text, sentence + "; compare it with the label")

"""Tells who may be named, and what stands for those who may not."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from provenance._model.schema import Model, Vocabulary

if TYPE_CHECKING:
    import pandas as pd

PARTY = "party"
TRUE, FALSE = ("true", "True", "TRUE", "1"), ("false", "False", "FALSE", "0")


def unnamed(frame: pd.DataFrame) -> pd.Series[bool]:
    """Which rows are of somebody who must not be named.

    A person must have agreed; an organisation must not have refused. What is neither, as far as
    the row says, is taken for a person.
    """
    agreed = frame["may_be_named"].isin(TRUE)
    if "kind" not in frame:
        return ~agreed
    organisation = frame["kind"] == "organisation"
    return ~agreed & (~organisation | frame["may_be_named"].isin(FALSE))


def new_codes(frame: pd.DataFrame) -> dict[str, str]:
    """Code → what stands for it in public, for everybody who must not be named.

    Numbered by kind in the order of the rows: person-1, person-2, organisation-1.
    """
    taken = {code.casefold() for code in frame["party_id"]}
    codes: dict[str, str] = {}
    for kind in dict.fromkeys(frame["kind"]):
        rows = frame[unnamed(frame) & (frame["kind"] == kind)]
        number = 0
        for code in rows["party_id"]:
            if not code or code in codes:
                continue
            number += 1
            while f"{_kind_word(kind)}-{number}" in taken:
                number += 1
            codes[code] = f"{_kind_word(kind)}-{number}"
    return codes


def _kind_word(kind: str) -> str:
    return kind if kind.isascii() and kind.isalpha() else PARTY


def role_names(frame: pd.DataFrame, codes: Mapping[str, str], model: Model) -> list[str]:
    """What stands in the name column: the name, or the first role with the new code's number."""
    roles, kinds = model.vocabularies.get("party_role"), model.vocabularies.get("party_kind")
    names = []
    for code, name, role, kind in zip(
        frame["party_id"],
        frame["name"],
        frame["roles"] if "roles" in frame else [""] * len(frame),
        frame["kind"],
        strict=True,
    ):
        if code not in codes:
            names.append(name)
            continue
        first = role.split(";")[0].strip()
        label = _label(roles, first) or _label(kinds, kind) or "Party"
        names.append(f"{label} {codes[code].rpartition('-')[2]}")
    return names


def _label(vocabulary: Vocabulary | None, code: str) -> str:
    """The label of a code; '' for what the list does not know, which may be a name."""
    term = vocabulary.term(code) if vocabulary else None
    return term.label if term else ""

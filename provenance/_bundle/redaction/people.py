"""Tells who may be named, and what stands for those who may not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from provenance._model.schema import Model, Vocabulary
from provenance._record.cells import FALSE_WORDS, TRUE_WORDS

PARTY = "party"
Columns = Mapping[str, Sequence[str]]
"""A table as texts, column by column."""


def unnamed(columns: Columns) -> list[bool]:
    """Which rows are of somebody who must not be named.

    A person must have agreed; an organisation must not have refused. What is neither, as far as
    the row says, is taken for a person.
    """
    agreed = columns["may_be_named"]
    kinds = columns.get("kind") or [""] * len(agreed)
    return [
        said not in TRUE_WORDS and (kind != "organisation" or said in FALSE_WORDS)
        for said, kind in zip(agreed, kinds, strict=True)
    ]


def new_codes(columns: Columns) -> dict[str, str]:
    """Code → what stands for it in public, for everybody who must not be named.

    Numbered by kind in the order of the rows: person-1, person-2, organisation-1.
    """
    taken = {code.casefold() for code in columns["party_id"]}
    codes: dict[str, str] = {}
    numbers: dict[str, int] = {}
    parties = zip(columns["party_id"], columns["kind"], unnamed(columns), strict=True)
    for code, kind, hidden in parties:
        if not hidden or not code or code in codes:
            continue
        word = kind if kind.isascii() and kind.isalpha() else PARTY
        while True:
            numbers[kind] = numbers.get(kind, 0) + 1
            codes[code] = f"{word}-{numbers[kind]}"
            if codes[code] not in taken:
                break
    return codes


def role_names(columns: Columns, codes: Mapping[str, str], model: Model) -> list[str]:
    """What stands in the name column: the name, or the first role with the new code's number."""
    roles, kinds = model.vocabularies.get("party_role"), model.vocabularies.get("party_kind")
    names = []
    for code, name, role, kind in zip(
        columns["party_id"],
        columns["name"],
        columns.get("roles") or [""] * len(columns["name"]),
        columns["kind"],
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

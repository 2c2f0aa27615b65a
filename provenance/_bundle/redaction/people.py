"""Tells who may be named, and what stands for those who may not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

from provenance._bundle.redaction.stand_ins import StandIns
from provenance._model.schema import Model, Vocabulary
from provenance._record.cells import FALSE_WORDS, TRUE_WORDS

PARTY = "party"
NAME_PARTS = ("family_name", "given_name")
"""Parts of a name, which are no texts to be read before they are public: consent decides."""
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


@dataclass(frozen=True)
class PublicPeople:
    """Under what code each person and organisation stands in public.

    `codes` maps the code of everybody who is not named to a stand-in, or to '' for somebody whom an
    earlier edition may have named: that one is blank, since with a stand-in the two editions would
    tell who it is. `named` are the codes of all others.
    """

    codes: Mapping[str, str]
    named: tuple[str, ...]

    @property
    def blank(self) -> tuple[str, ...]:
        """The codes of those who agreed to be named, and no longer do."""
        return tuple(code for code, new in self.codes.items() if not new)


def public_people(
    columns: Columns, stand_ins: StandIns, named_before: AbstractSet[str]
) -> PublicPeople:
    """Who is named in public and who is not; `named_before` are those who may have been once."""
    rows = [one for one in zip(columns["party_id"], unnamed(columns), strict=True) if one[0]]
    codes: dict[str, str] = {}
    for code in dict.fromkeys(code for code, hidden in rows if hidden):
        codes[code] = "" if code in named_before else stand_ins.of(PARTY, code)
    named = dict.fromkeys(code for code, _ in rows if code not in codes)
    return PublicPeople(codes, tuple(named))


def role_names(columns: Columns, codes: Mapping[str, str], model: Model) -> list[str]:
    """What stands in the name column: the name, or the first role with the stand-in."""
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
        names.append(f"{label} {codes[code]}")
    return names


def _label(vocabulary: Vocabulary | None, code: str) -> str:
    """The label of a code; '' for what the list does not know, which may be a name."""
    term = vocabulary.term(code) if vocabulary else None
    return term.label if term else ""

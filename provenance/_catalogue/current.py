"""Tells which of several bundles of a record is current: by lineage, never by name or date.

In a store the register says what goes on from what. Elsewhere the bundles themselves do: a bundle
goes on from those that it names in `revisionOf`, and from those whose every act it has as well.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from provenance._store.acts import ACCESSION, WITHDRAWN, Act
from provenance._store.current import tips_among

CURRENT, BRANCH, OLDER, PUBLIC = "current", "branch", "older", "public"
TAKEN_AWAY, COPY, WORKING, UNREGISTERED = "withdrawn", "copy", "working", "unregistered"
GONE = ("vanished", "withdrawn")
"""States of bundles that do not lie where they lay."""
_ACT_BYTES = 8


@dataclass(frozen=True)
class Role:
    """What a bundle is to its `record`; the words are those of schemas/CATALOGUE.md."""

    role: str
    record: str
    is_current: bool


def record_of(accession: Act) -> str:
    """What the record of an accession is known by; each bag of others is one by itself."""
    return accession.record_id or accession.act_id


def roles_in(acts: Sequence[Act]) -> dict[str, Role]:
    """Accession number → what its bundle is; `acts` are those of a store, or of some records.

    Withdrawn bundles count for nothing, and so do those that came in when a later one was here.
    """
    gone = {act.number for act in acts if act.kind == WITHDRAWN}
    records: dict[str, list[Act]] = defaultdict(list)
    for act in acts:
        if act.kind == ACCESSION:
            records[record_of(act)].append(act)
    found: dict[str, Role] = {}
    for record_id, accessions in records.items():
        here = [act for act in accessions if act.number not in gone]
        # each bag of others is a record by itself
        tips = {act.number for act in tips_among(here) or here if act.edition != PUBLIC}
        public = [act.number for act in here if act.edition == PUBLIC]
        for act in accessions:
            number = act.number
            if number in gone:
                found[number] = Role(TAKEN_AWAY, record_id, False)
            elif act.edition == PUBLIC:
                alone = not tips and number == public[-1]
                found[number] = Role(PUBLIC, record_id, alone)
            elif number in tips:
                found[number] = Role(BRANCH if len(tips) > 1 else CURRENT, record_id, True)
            else:
                found[number] = Role(OLDER, record_id, False)
    return found


@dataclass(frozen=True)
class Lies:
    """A bundle or package that lies in a folder, as the catalogue's table `bundle` knows it.

    `is_there` is False for one that has vanished: it may be superseded, and supersedes nothing.
    """

    path: str
    identity: str
    edition: str
    bag: str
    marks: str
    follows: str
    acts: bytes
    is_package: bool = False
    is_there: bool = True

    @classmethod
    def of(cls, path: str, form: str, facts: Mapping[str, Any], *, is_there: bool = True) -> Lies:
        """By the columns of the table `bundle` among `facts`."""
        return cls(
            path=path,
            identity=facts["identity"],
            edition=facts["edition"],
            bag=facts["bag"],
            marks=facts["marks"],
            follows=facts["follows"],
            acts=facts["acts"] or b"",
            is_package=form == "package",
            is_there=is_there,
        )


def roles_of(bundles: Iterable[Lies]) -> dict[str, Role]:
    """Path → what each bundle is to its record, where no register says so."""
    found: dict[str, Role] = {}
    for record, alike in _records(bundles).items():
        found |= _roles_within(record, alike)
    return found


def _records(bundles: Iterable[Lies]) -> dict[str, list[Lies]]:
    """What each record is known by → its bundles, by their paths."""
    ordered = sorted(bundles, key=lambda one: one.path)
    record_of: dict[str, str] = {}

    def first(mark: str) -> str:
        while (before := record_of.setdefault(mark, mark)) != mark:
            record_of[mark] = record_of[before]
            mark = before
        return mark

    for one in ordered:
        mine, *others = map(first, _all_marks(one))
        for other in others:
            record_of[other] = first(mine)
    groups: dict[str, list[Lies]] = defaultdict(list)
    for one in ordered:
        groups[first(_all_marks(one)[0])].append(one)
    return {min(_all_marks(one)[0] for one in group): group for group in groups.values()}


def _all_marks(one: Lies) -> list[str]:
    return [*one.marks.split(), *filter(None, [one.bag]), *one.follows.split(), one.path]


def _roles_within(record: str, bundles: Sequence[Lies]) -> dict[str, Role]:
    found: dict[str, Role] = {}
    kept: dict[str, Lies] = {}
    for one in sorted(bundles, key=lambda one: not one.is_there):
        if one.identity and one.identity in kept:
            found[one.path] = Role(COPY, record, False)
        else:
            kept[one.identity or one.path] = one
    ways = [[one for one in kept.values() if (one.edition == PUBLIC) == p] for p in (False, True)]
    for way in ways:
        packed = any(one.is_there and not one.is_package for one in way)
        older = {one.path for one in way if _is_followed(one, way)}
        tips = [one for one in way if one.path not in older and not (packed and one.is_package)]
        there = [one for one in tips if one.is_there]
        for one in way:
            if packed and one.is_package:
                role = WORKING
            elif one.path in older:
                role = OLDER
            elif one.edition == PUBLIC:
                role = PUBLIC
            else:
                role = BRANCH if len(there) > 1 else CURRENT
            counts = one in there and (way is ways[0] or not any(f.is_there for f in ways[0]))
            found[one.path] = Role(role, record, counts)
    return found


def _is_followed(one: Lies, others: Iterable[Lies]) -> bool:
    """Whether another of its record that is there goes on from it."""
    mine = _acts_of(one)
    for other in others:
        if other is one or not other.is_there or other.is_package:
            continue
        if one.bag and one.bag in other.follows.split():
            return True
        names_it = other.bag and other.bag in one.follows.split()
        if mine and not one.is_package and not names_it and mine < _acts_of(other):
            return True
    return False


def _acts_of(one: Lies) -> frozenset[bytes]:
    places = range(0, len(one.acts), _ACT_BYTES)
    return frozenset(one.acts[place : place + _ACT_BYTES] for place in places)


def read_instead(accession: Act, by_id: Mapping[str, Act]) -> Act | None:
    """The accession that stands in for a lost one: the last of those that it goes on from."""
    before = [by_id[one] for one in accession.follows.split() if one in by_id]
    return before[-1] if before else None

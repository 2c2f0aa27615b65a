"""Tells which samples an agreement covers, and what agreements ask of those who publish."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import polars as pl

from provenance._base.errors import UnreadableValue
from provenance._model.edtf import Day, bounds
from provenance._record.joined import places_around, split_codes
from provenance._record.snapshot import Row, Snapshot

TABLE = "agreement"
IN_FORCE, ENDED = ("given", "given_in_part"), ("withdrawn", "expired")
BEFORE_RELEASE: Mapping[str, str] = {
    "review_before_release": "asks to read everything before it is public",
    "no_place_names": "asks that names of places stay out of what is public",
    "no_images": "asks that photographs and drawings stay out of what is public",
    "no_names": "asks that people are not named in public",
    "return_copies": "asks for a copy of the record and the results",
    "acknowledge": "asks to be named with thanks",
}
"""Conditions that whoever makes a public edition has to keep, and how they are said."""


@dataclass(frozen=True)
class Agreement:
    """One row of the table; `place` is '' for the whole site, days are None where not known.

    `dates` are the days as written, for people.
    """

    code: str
    site: str
    place: str
    status: str
    scope: tuple[str, ...]
    conditions: tuple[str, ...]
    since: Day | None
    until: Day | None
    notice: str
    given_by: str
    dates: str

    @property
    def in_force(self) -> bool:
        """Whether work may rest on it."""
        return self.status in IN_FORCE

    def held_on(self, first: Day | None, last: Day | None) -> bool:
        """Whether it held at some time from `first` to `last`; what is not dated did not end."""
        if not self.in_force and not (self.status in ENDED and self.until):
            return False
        begun = self.since is None or last is None or self.since <= last
        return begun and (self.until is None or first is None or first <= self.until)


def agreements_of(tables: Snapshot) -> list[Agreement]:
    """The agreements on record; none in an older package, which has no such table."""
    if TABLE not in tables.model.tables:
        return []
    rows = tables[TABLE].fill_null("").iter_rows(named=True)
    return [_agreement(row) for row in rows]


def _agreement(row: Row) -> Agreement:
    since, until = _days(row["agreed_on"])[0], _days(row["valid_until"])[1]
    return Agreement(
        code=row["agreement_id"],
        site=row["site_id"],
        place=row["place_id"],
        status=row["agreement_status"],
        scope=split_codes(row["scope"]),
        conditions=split_codes(row["conditions"]),
        since=since,
        until=until,
        notice=row["access_notice"].strip(),
        given_by=row["given_by_party_id"],
        dates=" until ".join(on for on in (row["agreed_on"], row["valid_until"]) if on),
    )


def _days(text: str) -> tuple[Day | None, Day | None]:
    """The first and the last day of a date; None where it is not one, which other rules report."""
    try:
        return bounds(text) if text else (None, None)
    except UnreadableValue:
        return None, None


def agreements_at(tables: Snapshot, site: str, place: str) -> list[Agreement]:
    """The agreements about a place: about itself, what it lies in, or the whole site."""
    around = ("", *places_around(tables).get(place, ()))
    return [one for one in agreements_of(tables) if one.site == site and one.place in around]


def notices(agreements: Iterable[Agreement]) -> list[str]:
    """What communities want shown with the record, in their own words, each once."""
    return list(dict.fromkeys(one.notice for one in agreements if one.notice))


def before_release(tables: Snapshot) -> list[str]:
    """What agreements ask of whoever makes a public edition, each in a sentence."""
    found = []
    for one in agreements_of(tables):
        whose = f"agreement {one.code} of {one.place or f'site {one.site}'}"
        if one.status in ("refused", *ENDED):
            found.append(f"{whose} is {one.status}: ask before anything of it is public")
        found += [f"{whose} {BEFORE_RELEASE[it]}" for it in one.conditions if it in BEFORE_RELEASE]
    return found


@dataclass(frozen=True)
class Uncovered:
    """Holes and cuts at one site that needed an agreement and have none."""

    site: str
    why: str
    samples: tuple[str, ...]


def uncovered(tables: Snapshot) -> Iterator[Uncovered]:
    """Holes and cuts without an agreement where the record itself says that one was needed.

    That is in a place protected by a community or lived in, or one of which an agreement was asked
    and not given. An agreement covers the wood in its place, for the kinds of work that its scope
    names, from the day it was given until it ended. Attempts that gave nothing count too.
    """
    known = agreements_of(tables)
    ask_for = _reasons(tables, known)
    if not ask_for:
        return
    around, works = places_around(tables), _works(tables)
    place_of = dict(_texts(tables, "element", "element_id", "place_id"))
    found: dict[tuple[str, str], list[str]] = defaultdict(list)
    names = ("sample_id", "site_id", "element_id", "kind", "collected_on")
    for sample, site, element, kind, on in _texts(tables, "sample", *names):
        places = ("", *around.get(place_of.get(element, ""), ()))
        reason = next((why for one in places if (why := ask_for.get((site, one)))), "")
        if kind not in works or not reason:
            continue
        first, last = _days(on)
        if not any(
            one.site == site
            and one.place in places
            and works[kind] in one.scope
            and one.held_on(first, last)
            for one in known
        ):
            found[site, reason].append(sample)
    for (site, why), samples in found.items():
        yield Uncovered(site, why, tuple(samples))


def _texts(tables: Snapshot, table: str, *columns: str) -> Iterator[tuple[str, ...]]:
    """Columns of a typed table row by row, '' where nothing is; nothing where one is missing."""
    frame = tables[table]
    if set(columns) <= set(frame.columns):
        yield from frame.select(columns).cast(pl.String).fill_null("").iter_rows()


def _works(tables: Snapshot) -> dict[str, str]:
    """Kind of sample → what an agreement must allow for it; others leave the wood as it is."""
    terms = tables.model.vocabularies["sample_kind"].terms
    cuts = {one.code: "cut" for one in terms if one.attributes.get("cuts_wood")}
    return cuts | {one.code: "core" for one in terms if one.attributes.get("leaves_hole")}


def _reasons(tables: Snapshot, known: list[Agreement]) -> dict[tuple[str, str], str]:
    """(Site, place or '' for all of it) → why work there needs an agreement."""
    found = {
        (one.site, one.place): f"under agreement {one.code}, which is {one.status}"
        for one in known
        if not one.in_force
    }
    # only profiles of places where people live ask for it
    for place, site, lived_in in _texts(tables, "place", "place_id", "site_id", "lived_in"):
        if lived_in == "true":
            found[site, place] = "lived in"
    for site, protection in _texts(tables, "site", "site_id", "protection"):
        if protection in ("community", "both"):
            found[site, ""] = "protected by its community"
    return found

"""Holds phases of felling against documented events of their place.

What kinds of event need wood, and which a later felling contradicts, stands in the list
`episode_kind`; both are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from provenance._derive.dates.candidates import largest_first
from provenance._derive.dates.felling import table_of
from provenance._model.edtf import bounds, is_edtf
from provenance._record.assumptions import assumptions_of
from provenance._record.joined import places_around
from provenance._record.package import Package

USED_WITHIN = "used_within"
"""The assumption that says how many years at most lie between felling and use."""


@dataclass(frozen=True)
class _Event:
    episode_id: str
    site: str
    place: str
    first: int | None
    last: int | None
    needs_wood: bool
    felled_later: str


@dataclass(frozen=True)
class _Pair:
    """A phase beside an event of its place; `distance` as `years_after` of the table."""

    phase: Mapping[str, Any]
    event: _Event
    distance: int
    fits: bool


def compare_events(package: Package, phases: pl.DataFrame) -> pl.DataFrame:
    """The table `phase_event`: each phase beside the documented events that it can answer.

    Compared are events of the same site and of the same place, of one around it (the whole site,
    where an event names no place) or of one inside it.

    An event that needs wood (built, enlarged, altered, repaired, moved) fits a phase where the
    years of both meet, or where it follows within the years that the assumption `used_within`
    allows; without one nobody says how long wood was kept, and the distance is all that is said. A
    felling after its place or one around it was abandoned or dug out contradicts. A felling after a
    place was built, or stood as somebody documents, contradicts only as the largest phase of that
    very place, and only where no other event accounts for it: smaller phases are later work. All
    else is silent, and an event or a phase that nothing answers has a row of its own. An event
    whose date cannot be read answers nothing.
    """
    around = places_around(package.tables)
    events = list(_events(package))
    assumed = assumptions_of(package.tables)
    mains = set(largest_first(phases).unique("place_id", keep="first")["phase_id"])
    rows: list[dict[str, object]] = []
    answered: set[str] = set()
    for phase in phases.iter_rows(named=True):
        place = phase["place_id"]
        within = assumed.find(USED_WITHIN, place=place)
        pairs = [
            _Pair(phase, one, distance, _fits(one, distance, within.figure if within else 0))
            for one in events
            if _is_related(phase, one, around)
            and (distance := _distance(phase["first_year"], phase["last_year"], one)) is not None
        ]
        is_accounted_for = any(one.fits for one in pairs)
        found = []
        for pair in pairs:
            is_main = phase["phase_id"] in mains and not is_accounted_for
            contradicts = _contradicts(pair, is_main=is_main, around=around)
            if pair.fits or contradicts or pair.event.needs_wood:
                agreement = "fits" if pair.fits else "contradicts" if contradicts else "silent"
                found.append(_row(phase, pair.event, agreement, pair.distance))
                answered.add(pair.event.episode_id)
        rows += found or [_row(phase, None, "silent", None)]
    rows += [_row(None, one, "silent", None) for one in events if one.episode_id not in answered]
    return table_of(package, "phase_event", rows)


def _events(package: Package) -> Iterator[_Event]:
    kinds = package.model.vocabularies["episode_kind"]
    episodes = package.tables["episode"].drop_nulls("episode_id").unique("episode_id", keep="first")
    for row in episodes.sort("episode_id").iter_rows(named=True):
        first, last = bounds(row["happened"]) if is_edtf(row["happened"] or "") else (None, None)
        term = kinds.term(row["kind"] or "")
        said = term.attributes if term else {}
        yield _Event(
            row["episode_id"],
            row["site_id"] or "",
            row["place_id"] or "",
            first and first.year,
            last and last.year,
            bool(said.get("needs_wood")),
            str(said.get("felled_later", "")),
        )


def _is_related(
    phase: Mapping[str, Any], event: _Event, around: Mapping[str, tuple[str, ...]]
) -> bool:
    if not event.site or event.site != phase["site_id"]:
        return False
    place = phase["place_id"]
    return event.place in ("", *around[place]) or place in around.get(event.place, ())


def _distance(first: int, last: int, event: _Event) -> int | None:
    """Years from the phase to the event: negative where that is earlier, 0 where they meet."""
    if event.first is None and event.last is None:
        return None
    if event.first is not None and event.first > last:
        return event.first - last
    return min(event.last - first, 0) if event.last is not None else 0


def _fits(event: _Event, distance: int, used_within: float) -> bool:
    return event.needs_wood and 0 <= distance <= used_within


def _contradicts(pair: _Pair, *, is_main: bool, around: Mapping[str, tuple[str, ...]]) -> bool:
    place, event = pair.phase["place_id"], pair.event
    if pair.distance >= 0:
        return False
    if event.felled_later == "contradicts":
        return event.place in ("", *around[place])
    return event.felled_later == "contradicts_main" and event.place == place and is_main


def _row(
    phase: Mapping[str, Any] | None, event: _Event | None, agreement: str, distance: int | None
) -> dict[str, object]:
    key = phase["phase_id"] if phase else ""
    return {
        "comparison_id": f"{key}:{event.episode_id if event else ''}",
        "phase_id": key or None,
        "episode_id": event.episode_id if event else None,
        "place_id": phase["place_id"] if phase else (event and event.place) or None,
        "agreement": agreement,
        "years_after": distance,
    }

"""The order in which places were built, as far as relations and years of evidence allow."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from provenance._model.edtf import bounds, is_edtf
from provenance._record.assumptions import Assumptions, assumptions_of
from provenance._record.joined import places_around
from provenance._record.relations import (
    Path,
    Relation,
    Steps,
    path_to,
    reached_from,
    relations_of,
    steps_of,
)
from provenance._record.snapshot import Snapshot

STOOD_BY = ("built", "enlarged", "altered", "repaired", "abandoned", "sampled", "documented")
"""Kinds of event after which the place stood. What burned or was moved may have been built anew."""
OWN_WOOD = ("", "stockpiling")
"""Candidates that are the wood of the first building all the same: it was felled before."""
FELLING = ("felling", "phase", "phase_piece")
"""The derived tables that years of building are taken from."""


@dataclass(frozen=True)
class Bound:
    """A year before or after which a place was not built, and what it rests on.

    `by` is a code of the vocabulary build_evidence.
    """

    year: int
    by: str
    place: str


@dataclass(frozen=True)
class Years:
    """Between which years a place was built, both included; None where nothing says so."""

    earliest: Bound | None = None
    latest: Bound | None = None


NOT_KNOWN = Years()


@dataclass(frozen=True)
class Contradiction:
    """By the relations of `path` a place was built before another one, or with it, and by their
    years it was not; without a path the years of one place contradict each other.
    """

    earliest: Bound
    latest: Bound
    path: Path


@dataclass(frozen=True)
class Build:
    """Places that were built together, sorted; with `looped` those that relations put before
    themselves, whose order is not known until the record is set right.
    """

    places: tuple[str, ...]
    layer: int
    looped: bool

    @property
    def code(self) -> str:
        """The first place."""
        return self.places[0]


@dataclass(frozen=True)
class BuildingOrder:
    """Builds by layer and code; steps between their codes, without those that follow from others;
    the years of every place with all that follows from the order; and what cannot be so.
    """

    builds: tuple[Build, ...] = ()
    steps: tuple[tuple[str, str], ...] = ()
    years: Mapping[str, Years] = field(default_factory=dict)
    contradictions: tuple[Contradiction, ...] = ()


def order_of(relations: Sequence[Relation], own: Mapping[str, Years]) -> BuildingOrder:
    """The order that relations allow, with the years that the places have by their own evidence.

    Bonded places are one build. The earliest year of a place holds for all that is later, the
    latest for all that is earlier; nothing is handed through places that relations put before
    themselves. Steps that follow from others are left out (Harris's law of stratigraphical
    succession, in Principles of Archaeological Stratigraphy, 1979; transitive reduction of Aho,
    Garey and Ullman 1972; both from memory). Layers are topological generations.
    """
    steps = steps_of(relations)
    if not steps:
        return BuildingOrder(contradictions=tuple(_contradictions(steps, own, own)))
    # only a matter of order needs it, and it takes longer to load than a small record
    import networkx as nx

    graph = nx.DiGraph((here, place) for here, onward in steps.items() for place, _ in onward)
    whole = nx.condensation(graph, sorted(map(sorted, nx.strongly_connected_components(graph))))
    members = {node: tuple(places) for node, places in whole.nodes(data="members")}
    home = {place: node for node, places in members.items() for place in places}
    looped = {
        home[one.place]
        for one in relations
        if one.order == "later" and home[one.place] == home[one.other]
    }
    layers = {
        node: layer
        for layer, nodes in enumerate(nx.topological_generations(whole), start=1)
        for node in nodes
    }
    builds = [
        Build(tuple(sorted(members[node])), layer, node in looped) for node, layer in layers.items()
    ]
    code = {node: min(places) for node, places in members.items()}
    reduced = nx.transitive_reduction(whole).edges
    sound = [
        one
        for one in relations
        if one.order != "after_unless_replaced" and not {home[one.place], home[one.other]} & looped
    ]
    sound_steps = steps_of(sound)
    years = _handed_on(sound_steps, sorted(home), own)
    return BuildingOrder(
        tuple(sorted(builds, key=lambda one: (one.layer, one.code))),
        tuple(sorted((code[here], code[there]) for here, there in reduced)),
        years,
        tuple(_contradictions(sound_steps, own, years)),
    )


def _handed_on(steps: Steps, places: Iterable[str], own: Mapping[str, Years]) -> dict[str, Years]:
    """The years of every place with what follows from those that are earlier and later."""
    known = {place: own.get(place, NOT_KNOWN) for place in places}
    back = defaultdict(list)
    for here, onward in steps.items():
        for place, relation in onward:
            back[place].append((here, relation))
    earliest = _spread(
        steps, [one.earliest for one in known.values() if one.earliest], latest=False
    )
    latest = _spread(back, [one.latest for one in known.values() if one.latest], latest=True)
    return {place: Years(earliest.get(place), latest.get(place)) for place in known}


def _spread(steps: Steps, bounds_of: Sequence[Bound], *, latest: bool) -> dict[str, Bound]:
    """The strictest bound that reaches each place: the strictest walks first and is not passed."""
    ranked = sorted(bounds_of, key=lambda one: (one.year if latest else -one.year, one.place))
    found: dict[str, Bound] = {}
    for one in ranked:
        waiting = [one.place] if one.place not in found else []
        while waiting:
            here = waiting.pop()
            if here not in found:
                found[here] = one
                waiting += [place for place, _ in steps.get(here, ()) if place not in found]
    return found


def _contradictions(
    steps: Steps, own: Mapping[str, Years], handed_on: Mapping[str, Years]
) -> Iterable[Contradiction]:
    """Every place whose latest year is before its own earliest or that of one earlier than it.

    Of contradictions one of which lies on the way of the other, the shorter is enough.
    """
    for place in sorted(own):
        early, last = own[place].earliest, handed_on.get(place, own[place]).latest
        if early is None or last is None or early.year <= last.year:
            continue
        came = reached_from(steps, place)
        named: set[str] = set()
        for other in (place, *came):
            latest = own.get(other, NOT_KNOWN).latest
            if latest is None or early.year <= latest.year:
                continue
            path = path_to(other, came)
            on_the_way = {other, *(end for one in path for end in (one.place, one.other))} - {place}
            if not {place, *on_the_way} & named and not any(
                _later_than(own.get(one), latest) for one in on_the_way
            ):
                yield Contradiction(early, latest, path)
            named.add(other)


def _later_than(years: Years | None, latest: Bound) -> bool:
    return bool(years and years.earliest and years.earliest.year > latest.year)


# -- years by a place's own evidence ---------------------------------------------------------------


def years_of(tables: Snapshot, derived: Mapping[str, pl.DataFrame]) -> dict[str, Years]:
    """Years of building of every place with a relation, by its own wood and documents.

    `derived` has the derived tables FELLING; what is not there says nothing. Wood belongs to the
    innermost place around it that has a relation. Wood that may be reused, a repair or of another
    time does not count. Earliest: the youngest tree of the first felling phase of the place, if
    all of that phase is its wood; else the oldest felling of its wood, for some of the younger may
    be repairs that nobody knows of. Latest: the youngest felling of its wood and the years to use
    that the record assumes; and events of that very place after which it stood (STOOD_BY), where
    they are certain and so is their date.
    """
    relations = relations_of(tables)
    if not relations:
        return {}
    places = {place for one in relations for place in (one.place, one.other)}
    wood = _wood_by_place(tables, derived.get("felling"), places)
    phases = _phases_by_place(derived, places)
    documents = _documents(tables, places)
    assumed = assumptions_of(tables)
    found = {}
    for place in sorted(places):
        rows = wood[place]
        mine = {row["element_id"]: row["felled_from_year"] for row in rows}
        begun = [year for year in mine.values() if year is not None]
        earliest = (min(begun), "wood") if begun else None
        for pieces in phases[place]:
            years = [mine[piece] for piece in pieces if mine.get(piece) is not None]
            if years and pieces <= mine.keys():
                earliest = (max(years), "phase")
                break
        ended = [_used_by(row, assumed, place) for row in rows if row["felled_to_year"] is not None]
        # wood without an assumption may be the youngest
        used = [year for year in ended if year is not None]
        latest = [(max(used), "used_within")] if used and len(used) == len(ended) else []
        latest += [(year, "document") for year in documents[place]]
        found[place] = Years(
            Bound(*earliest, place) if earliest else None,
            Bound(*min(latest), place) if latest else None,
        )
    return found


def _used_by(row: Mapping[str, Any], assumed: Assumptions, place: str) -> int | None:
    """The youngest felling and the years to use, with twice their spread; None without them."""
    use = assumed.find("used_within", species=row["species"] or "", place=place)
    if use is None:
        return None
    return int(row["felled_to_year"]) + math.ceil(use.figure + 2 * (use.spread or 0.0))


def _wood_by_place(
    tables: Snapshot, felling: pl.DataFrame | None, places: set[str]
) -> dict[str, list[dict[str, Any]]]:
    wood: dict[str, list[dict[str, Any]]] = defaultdict(list)
    around = places_around(tables)
    for row in [] if felling is None else felling.iter_rows(named=True):
        inside = [one for one in around.get(row["place_id"] or "", ()) if one in places]
        if inside and (row["candidate"] or "") in OWN_WOOD:
            wood[inside[0]].append(row)
    return wood


def _phases_by_place(
    derived: Mapping[str, pl.DataFrame], places: set[str]
) -> dict[str, list[set[str]]]:
    """The pieces of wood of each phase of a place, the first phase first."""
    phases: dict[str, list[set[str]]] = defaultdict(list)
    if "phase" in derived and "phase_piece" in derived:
        pieces: dict[str, set[str]] = defaultdict(set)
        for phase, piece in derived["phase_piece"].select("phase_id", "element_id").iter_rows():
            pieces[phase].add(piece)
        rows = derived["phase"].sort("first_year", "phase_id")
        for place, phase in rows.select("place_id", "phase_id").iter_rows():
            if place in places:
                phases[place].append(pieces[phase])
    return phases


def _documents(tables: Snapshot, places: set[str]) -> dict[str, list[int]]:
    """The last years of certain events of each place, by which it stood."""
    years: dict[str, list[int]] = defaultdict(list)
    for row in tables.rows("episode"):
        text = row["happened"]
        doubtful = row["certainty"] != "certain" or any(one in text for one in "?~%")
        if row["place_id"] not in places or row["kind"] not in STOOD_BY or doubtful:
            continue
        if is_edtf(text) and (last := bounds(text)[1]) is not None:
            years[row["place_id"]].append(last.year)
    return years


def replaced_supports(
    relations: Sequence[Relation], years: Mapping[str, Years]
) -> list[tuple[Relation, Bound, Bound]]:
    """Relations by which a place rests on one that is younger by its years: earliest year of what
    carries, latest of what rests.
    """
    found = []
    for one in relations:
        earliest = years.get(one.other, NOT_KNOWN).earliest
        latest = years.get(one.place, NOT_KNOWN).latest
        rests = one.order == "after_unless_replaced"
        if rests and earliest and latest and earliest.year > latest.year:
            found.append((one, earliest, latest))
    return found

"""Says in sentences what the derived tables tell of a place or a piece of wood.

Every number in a sentence stands in a row of a table; what no table says is not said. Nothing here
is a date of construction.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import polars as pl

from provenance._derive.building_words import (
    ages_in_words,
    architecture_in_words,
    labor_in_words,
    listed,
    order_of_building,
)
from provenance._derive.dates.phases import rule_in_words
from provenance._derive.figures.figure_parts import counted
from provenance._derive.figures.year_marks import years_in_words, years_of
from provenance._derive.wood.labor import total_hours
from provenance._derive.wood.tree_words import TreeWords
from provenance._model.notation import write_year
from provenance._record.assumptions import assumptions_of
from provenance._record.joined import places_around, split_codes
from provenance._record.package import Package

TABLES = (
    *("felling", "phase", "phase_piece", "phase_place", "phase_event", "tree_bound", "build_order"),
    *("build_order_edge",),
    *("architecture", "labor", "tree_age", "size"),
)
"""The derived tables that stories are made of."""
FELLED_NOT_BUILT = (
    "These are years in which trees were felled, not in which wood was put in. When wood without a "
    "dated sample was felled is not known."
)
"""What holds for every story of dates."""
_RECORD = ("place", "episode")
_CANDIDATES = {
    "reuse": "may be reused wood",
    "stockpiling": "may have been stored before use",
    "repair": "may have been put in later",
    "other_time": "may be of another time, earlier or later",
}
_AGREEMENTS = {
    "fits": "Documented, and fits the phase",
    "contradicts": "Documented, and contradicts the phase",
    "silent": "Documented, but neither for nor against the phase",
}
_MOST_NAMED = 8
"""So many pieces are named in a sentence; the tables name them all."""
_NEEDED = {
    "phase": (
        *("place_id", "first_year", "last_year", "piece_count", "tree_count", "narrow_count"),
        *("window_years", "least_pieces", "least_narrow", "narrow_years"),
    ),
    "build_order": ("place_id", "build_id", "layer"),
    "phase_place": (
        *("dated_tree_count", "cutting_tree_count", "near_tree_count", "range_tree_count"),
        *("open_tree_count", "window_years", "least_pieces", "least_narrow", "narrow_years"),
    ),
}
"""Cells without which nothing is said of a row: the check names such a row."""
_Row = Mapping[str, Any]


class Story:
    """The sentences of one record; without derived tables there are none."""

    def __init__(self, package: Package, derived: Mapping[str, pl.DataFrame] | None = None) -> None:
        """From the tables of a package, or from `derived` ones that are not stored in it."""
        known = package.model.tables
        frames = {
            name: (derived or {}).get(name, package.tables[name])
            for name in (*TABLES, *_RECORD, "tree_bound_piece")
            if name in known
        }
        self._tables = {
            name: [
                row
                for row in (frames[name].to_dicts() if name in frames else [])
                if all(row.get(one) is not None for one in _NEEDED.get(name, ()))
            ]
            for name in (*TABLES, *_RECORD)
        }
        self._model = package.model
        self._trees = TreeWords(package, frames)
        self._places = {row["place_id"]: row for row in self._tables["place"]}
        self._names = {key: row["name"] or key for key, row in self._places.items()}
        self._around = places_around(frames)
        self._felling = {row["element_id"]: row for row in self._tables["felling"]}
        self._sizes = {row["element_id"]: row for row in self._tables["size"]}
        self._phases = {row["phase_id"]: row for row in self._tables["phase"]}
        self._events = {row["episode_id"]: row for row in self._tables["episode"]}
        self._together = {row["place_id"]: row for row in self._tables["phase_place"]}
        self._phases_at = _by(self._tables["phase"], "place_id")
        self._events_at = _by(self._tables["phase_event"], "place_id")
        self._members = _by(self._tables["phase_piece"], "phase_id")
        self._memberships = _by(self._tables["phase_piece"], "element_id")
        self._wood = _by(self._tables["felling"], "place_id")
        self._order = _by(self._tables["build_order"], "place_id")
        self._builds = _by(self._tables["build_order"], "build_id")
        self._architecture = _by(self._tables["architecture"], "place_id")
        self._ages = _by(self._tables["tree_age"], "building_id")
        self._earlier = {
            build: [
                row["place_id"]
                for step in steps
                for row in self._builds.get(step["earlier_build_id"], ())
            ]
            for build, steps in _by(self._tables["build_order_edge"], "later_build_id").items()
        }
        hours: Sequence[_Row] = ()
        if self._tables["labor"]:
            hours = total_hours(frames["labor"], assumptions_of(package.tables)).to_dicts()
        self._hours = _by(hours, "place_id")
        self._inside: dict[str, list[str]] = {}
        for place, around in self._around.items():
            for one in around:
                self._inside.setdefault(one, []).append(place)

    @property
    def buildings(self) -> list[tuple[str, str]]:
        """Code and name of the outermost places."""
        return [(one, self._names[one]) for one, chain in self._around.items() if len(chain) == 1]

    # -- places ------------------------------------------------------------------------------------

    def line(self, place: str) -> str:
        """The phases of a place in a few words; '' where nothing is known of them."""
        phases = self._sorted_phases(place)
        if phases:
            said = [f"{_years(one)} ({_trees(one['tree_count'])})" for one in phases]
            return f"felling {'phase' if len(said) == 1 else 'phases'} {', '.join(said)}"
        together = self._together.get(place)
        if together and together["dated_tree_count"]:
            return f"no felling phase found; {_trees(together['dated_tree_count'])} dated"
        return ""

    def of_place(self, place: str, *, short: bool = False) -> list[str]:
        """What the tables tell of a place with all that lies in it, a paragraph each.

        A short story is for where several are told one after the other: it leaves out what holds
        for all of them, ages, architecture and the trees of each species.
        """
        parts = self._inside.get(place, [])
        wood = [row for one in parts for row in self._wood.get(one, ())]
        phases = self._sorted_phases(place)
        dates = [
            *self._dates(place),
            *(() if short else dict.fromkeys(_rule(one) for one in phases)),
            *(
                said
                for one in phases
                for said in (self._phase(one), self._events_of_phase(one))
                if said
            ),
            *self._no_phase(place, wood),
            *self._phases_of_parts(place),
            *self._unanswered(place),
            *self._candidates(wood),
            *self._disagreements(wood),
        ]
        if dates and wood and not short:
            dates.append(FELLED_NOT_BUILT)
        builds = {row["build_id"] for one in parts for row in self._order.get(one, ())}
        order = [row for one in sorted(builds) for row in self._builds[one]]
        trees = self._trees.of(place) if place else []
        built = [row for one in parts for row in self._architecture.get(one, ())]
        told = [
            *dates,
            *(() if short else ages_in_words(self._ages.get(place, ()), self._label)),
            " ".join(trees[:1] if short else trees),
            *labor_in_words(self._hours.get(place, ()), self._phases),
            *order_of_building(order, self._earlier, self._names, self._label),
            *(() if short else architecture_in_words(built, place, self._names, self._label)),
        ]
        return [one for one in told if one]

    def _sorted_phases(self, place: str) -> list[_Row]:
        return sorted(self._phases_at.get(place, ()), key=lambda one: one["first_year"])

    def _dates(self, place: str) -> Iterator[str]:
        row = self._together.get(place)
        if row is None or not row["dated_tree_count"]:
            return
        kinds = (
            ("cutting_tree_count", "a cutting date"),
            ("near_tree_count", "a near-cutting date"),
            ("range_tree_count", "a range of years"),
        )
        said = [f"{row[name]} with {words}" for name, words in kinds if row[name]]
        yield (
            f"Dated here: {_trees(row['dated_tree_count'])}"
            + (f" ({'; '.join(said)})." if said else ".")
            + (
                f" Of {row['open_tree_count']} of them only an earliest or a latest year of "
                "felling is known."
                if row["open_tree_count"]
                else ""
            )
        )

    def _phase(self, row: _Row) -> str:
        """One phase: its years and trees, its rule, what it rests on, and its events."""
        trees, pieces = row["tree_count"], row["piece_count"]
        of_pieces = f" ({counted(pieces, 'piece', 'pieces')} of wood)" if pieces != trees else ""
        narrow = "All" if row["narrow_count"] == trees else f"{row['narrow_count']} of them"
        said = [
            f"Felling phase {_years(row)}: {_trees(trees)}{of_pieces} can have been felled "
            f"{_between(row)}.",
            f"{narrow} {'are' if narrow == 'All' else _is(row['narrow_count'])} dated to within "
            f"{counted(row['narrow_years'], 'year', 'years')}.",
        ]
        if near := row["near_count"]:
            said.append(
                f"{near} {'rests' if near == 1 else 'rest'} on an assumption of how many rings a "
                "near-cutting date lacks."
            )
        said.append(self._rests_on(row))
        narrower, wider = row["narrower_count"], row["wider_count"]
        if narrower is not None and narrower == wider:
            with_it = _found(narrower)
            said.append(f"With a window of one year, and with one two years wider, {with_it}.")
        elif narrower is not None and wider is not None:
            said.append(
                f"With a window of one year {_found(narrower)}; with one two years wider "
                f"{_found(wider)}."
            )
        bounds = self._trees.bounds(row["place_id"], row["phase_id"])
        if bounds and bounds[0] != bounds[1]:
            said.append(
                "Pieces that nobody said to be of one tree count as trees of their own here; their "
                f"diameters, lengths and years allow {bounds[0]} to {bounds[1]} trees."
            )
        return " ".join(one for one in said if one)

    def _rests_on(self, row: _Row) -> str:
        if row["decisive_count"] is None:
            return ""
        if not row["decisive_count"]:
            return "It is found whichever tree is left out."
        members = self._members.get(row["phase_id"], ())
        pieces = [one["element_id"] for one in members if one["decisive"] == "yes"]
        if 0 < len(pieces) <= _MOST_NAMED:
            any_of = "any of " if len(pieces) > 1 else ""
            return f"Without {any_of}{listed(pieces, 'or')} it would not be found."
        return f"Without any one of {_trees(row['decisive_count'])} it would not be found."

    def _events_of_phase(self, phase: _Row) -> str:
        rows = [
            row
            for row in self._events_at.get(phase["place_id"], ())
            if row["phase_id"] == phase["phase_id"]
        ]
        if any(row["episode_id"] is None for row in rows):
            return f"No documented event corresponds to the phase {_years(phase)}."
        told = []
        for agreement, words in _AGREEMENTS.items():
            said = [
                ", ".join(
                    one
                    for one in (
                        self._event(self._events[row["episode_id"]]),
                        _distance(row["years_after"]),
                    )
                    if one
                )
                for row in rows
                if row["agreement"] == agreement and row["episode_id"] in self._events
            ]
            if said:
                told.append(f"{words}: {'; '.join(said)}.")
        return " ".join(told)

    def _unanswered(self, place: str) -> Iterator[str]:
        """Events of the place, or of the whole site, that no phase corresponds to."""
        rows = [row for one in self._inside.get(place, ()) for row in self._events_at.get(one, ())]
        site = self._places.get(place, {}).get("site_id")
        is_outer = len(self._around.get(place, ())) == 1
        whole_site = self._events_at.get("", ()) if is_outer else ()
        rows += [
            row
            for row in whole_site
            if self._events.get(row["episode_id"], {}).get("site_id") == site
        ]
        found = [
            self._event(self._events[row["episode_id"]])
            for row in rows
            if row["phase_id"] is None and row["episode_id"] in self._events
        ]
        if found:
            yield f"Documented events that no phase corresponds to: {'; '.join(found)}."

    def _event(self, row: _Row) -> str:
        """'Roof renewed, 1745 (repaired, certain; parish book)'."""
        when = years_of(row["happened"] or "")
        kind = self._label("episode_kind", row["kind"])
        title = (row["title"] or "").strip().rstrip(".")
        words = ", ".join(one for one in (title, when[2] if when else row["happened"]) if one)
        sure = self._label("certainty", row["certainty"])
        source = (row["source"] or "").strip().rstrip(".")
        known = "; ".join(one for one in (", ".join(x for x in (kind, sure) if x), source) if one)
        return f"{words} ({known})" if known else words

    def _no_phase(self, place: str, wood: Sequence[_Row]) -> Iterator[str]:
        """Why there is no phase, where wood is dated."""
        if self._phases_at.get(place):
            return
        row = self._together.get(place)
        if row is None:
            if any(one["felled_from_year"] or one["felled_to_year"] for one in wood):
                yield "No felling phase was found."
            return
        agree, cutting = row["agreeing_count"] or 0, row["agreeing_cutting_count"] or 0
        if agree < 2:
            yield "No felling phase: no two trees with an earliest and a latest year agree."
        else:
            what = "cutting dates" if cutting == agree else "trees"
            needs = (
                f"{row['least_pieces']} are needed"
                if agree < row["least_pieces"]
                else f"{row['least_narrow']} of them must be dated to within "
                f"{counted(row['narrow_years'], 'year', 'years')}"
            )
            yield (
                f"No felling phase: {agree} {what} agree within {_window(row['window_years'])}, "
                f"and {needs}."
            )
        first, last = row["met_from_year"], row["met_to_year"]
        if first is not None and last is not None and agree >= 2:
            only = not (row["cutting_tree_count"] or row["near_tree_count"])
            met = years_in_words(first, last)
            yield (
                f"{'Ranges only: the' if only else 'The'} years that most of the trees allow, or "
                f"one tree fewer, are {met}."
            )

    def _phases_of_parts(self, place: str) -> Iterator[str]:
        """Phases of what lies in a place that the place itself does not have."""
        own = {(one["first_year"], one["last_year"]) for one in self._phases_at.get(place, ())}
        said = [
            f"{self._names[part]} {_years(row)} ({_trees(row['tree_count'])})"
            for part in self._inside.get(place, ())
            if part != place
            for row in self._sorted_phases(part)
            if (row["first_year"], row["last_year"]) not in own
        ]
        if said:
            yield f"Felling phases of its parts alone: {'; '.join(said)}."

    def _candidates(self, wood: Iterable[_Row]) -> Iterator[str]:
        said = [
            f"{self._candidate(candidate)}: "
            + _some([f"{one['element_id']} ({_felled(one)}{self._by_reason(one)})" for one in rows])
            for candidate, rows in sorted(_by(wood, "candidate").items())
            if candidate
        ]
        if said:
            yield f"Candidates only, not findings. {'. '.join(map(_sentence, said))}."

    def _candidate(self, code: str) -> str:
        return _CANDIDATES.get(code) or self._label("felling_candidate", code)

    def _by_reason(self, row: _Row) -> str:
        reasons = [self._label("candidate_reason", one) for one in split_codes(row["candidate_by"])]
        return f"; by {listed(reasons)}" if reasons else ""

    def _disagreements(self, wood: Iterable[_Row]) -> Iterator[str]:
        for code, rows in sorted(_by(wood, "disagreement").items()):
            if code:
                named = _some([row["element_id"] for row in rows])
                yield f"Without years of felling: {named}. {self._why(code)}"

    def _why(self, code: str) -> str:
        terms = self._model.vocabularies.get("felling_disagreement")
        term = terms.term(code) if terms else None
        return term.definition if term else ""

    # -- wood --------------------------------------------------------------------------------------

    def of_wood(self, element: str) -> list[str]:
        """What phases, candidates and sizes tell of one piece of wood, a sentence each."""
        said = [*self._memberships_of(element)]
        row = self._felling.get(element)
        if row and row["candidate"]:
            said.append(
                f"A candidate only, not a finding: it {self._candidate(row['candidate'])}"
                f"{self._by_reason(row)}."
            )
        size = self._sizes.get(element, {})
        if size.get("low_taper") == "yes":
            said.append(
                "Its taper is in the lowest tenth of this species here, and no base of the stem "
                "was seen; that alone does not show that it is one of several pieces of a stem."
            )
        if (left := size.get("stem_left_m")) is not None:
            # worked out from a median: no finer than a hand or a few tenths of a meter
            more = self._model.measures.say(left, "m", "timber", u95_mm=200)
            said.append(
                f"Above it the stem can have given {more} more, by the median taper of its "
                "species here and the thinnest useful top that the record assumes."
            )
        return said

    def _memberships_of(self, element: str) -> Iterator[str]:
        rows = [
            (self._phases[one["phase_id"]], one["decisive"])
            for one in self._memberships.get(element, ())
            if one["phase_id"] in self._phases
        ]
        for phase, decisive in sorted(rows, key=lambda one: one[0]["phase_id"]):
            place = self._names.get(phase["place_id"], phase["place_id"])
            alone = "; without it that phase would not be found" if decisive == "yes" else ""
            yield f"Of the felling phase {_years(phase)} of {place}{alone}."

    # -- words -------------------------------------------------------------------------------------

    def _label(self, vocabulary: str, code: str | None) -> str:
        terms = self._model.vocabularies.get(vocabulary)
        label = (terms.label(code) if terms else code) if code else ""
        # names of species are written as they are
        return label if vocabulary == "species" else label.lower()


def _by(rows: Iterable[_Row], column: str) -> dict[str, list[_Row]]:
    found: dict[str, list[_Row]] = {}
    for row in rows:
        found.setdefault(row.get(column) or "", []).append(row)
    return found


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _felled(row: _Row) -> str:
    first, last = row["felled_from_year"], row["felled_to_year"]
    if first is None and last is None:
        return "felled in years that are not known"
    if first is None:
        return f"felled in {write_year(last)} or earlier"
    if last is None:
        later = "a few years later" if row["felling_class"] == "near" else "later"
        return f"felled in {write_year(first)} or {later}"
    if first == last:
        return f"felled in {write_year(first)}"
    if last == first + 1:
        return f"felled in {write_year(first)} or {write_year(last)}"
    return f"felled between {write_year(first)} and {write_year(last)}"


def _between(phase: _Row) -> str:
    first, last = write_year(phase["first_year"]), write_year(phase["last_year"])
    return f"in {first}" if first == last else f"between {first} and {last}"


def _years(phase: _Row) -> str:
    return years_in_words(phase["first_year"], phase["last_year"])


def _rule(phase: _Row) -> str:
    return f"The rule for a felling phase: {rule_in_words(phase)}."


def _window(years: int) -> str:
    return counted(years, "year", "years")


def _distance(years: int | None) -> str:
    if years is None:
        return ""
    if years == 0:
        return "in the years of the phase"
    side = "after" if years > 0 else "before"
    return f"{counted(abs(years), 'year', 'years')} {side} it"


def _found(trees: int) -> str:
    return f"it has {_trees(trees)}" if trees else "it is not found"


def _trees(count: float) -> str:
    return f"{count:g} tree{'' if count == 1 else 's'}"


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def _some(words: Sequence[str]) -> str:
    """The words as a list, cut where it would be too long to read."""
    shown = "; ".join(words[:_MOST_NAMED])
    return shown if len(words) <= _MOST_NAMED else f"{shown}; and others, which the tables name"

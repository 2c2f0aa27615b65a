"""Holds the record as the pages need it: rows by their keys, and what hangs on each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property

from provenance._ledger.holdings import Event, Holding, events_of, holdings_of
from provenance._record.joined import keys_now
from provenance._record.package import Package
from provenance._record.snapshot import Row


class Record:
    """The tables of a package in memory, without those that only a program needs.

    `sites`, `places`, `elements`, `samples` and `parties` are rows by their code; of rows with one
    code the first counts. `plugs_of` and `results_of` (superseded ones too) have the rows of each
    sample, `samples_of` those of each piece of wood, `wood_of` the wood recorded in each place
    itself, `places_in` the places that lie directly in each place.
    """

    def __init__(self, package: Package) -> None:
        self.package = package
        self.model = package.model
        self.sites = _first(self.rows("site"), "site_id")
        self.places = _first(self.rows("place"), "place_id")
        self.elements = _first(self.rows("element"), "element_id")
        self.samples = _first(self.rows("sample"), "sample_id")
        self.parties = _first(self.rows("party"), "party_id")
        self.plugs_of = self.by("plug", "sample_id")
        self.results_of = self.by("lab_result", "sample_id")
        self.samples_of = self.by("sample", "element_id")
        self.wood_of = self.by("element", "place_id")
        self.places_in = self.by("place", "parent_place_id")

    def rows(self, table: str) -> list[Row]:
        """The rows of a table as texts by column; none for a table that the model lacks."""
        return self.package.tables.rows(table)

    def by(self, table: str, column: str) -> dict[str, list[Row]]:
        """The rows of a table by what stands in one column, the blank ones left out."""
        found: dict[str, list[Row]] = {}
        for row in self.rows(table):
            if text := row.get(column, ""):
                found.setdefault(text, []).append(row)
        return found

    def label(self, table: str, column: str, code: str) -> str:
        """What a person reads for the code in a column: its label, or the code itself."""
        if not code or table not in self.model.tables or column not in self.model.table(table):
            return code
        vocabulary = self.model.vocabulary_of(self.model.table(table).field(column))
        term = vocabulary.term(code) if vocabulary else None
        return term.label if term else code

    @cached_property
    def superseded(self) -> frozenset[str]:
        """The results that another one supersedes."""
        return frozenset(row.get("supersedes_result_id", "") for row in self.rows("lab_result"))

    def standing_results(self, sample_id: str) -> list[Row]:
        """The results of a sample that no other one supersedes."""
        results = self.results_of.get(sample_id, ())
        return [row for row in results if row["result_id"] not in self.superseded]

    @cached_property
    def reserved(self) -> list[Row]:
        """The numbers that were given out and of which no plug is recorded."""
        plugs = self.rows("plug")
        used = {row[name] for row in plugs for name in ("sample_id", "stamp")}
        rows = self.rows("reservation")
        return [row for row in rows if row["sample_id"] and row["sample_id"] not in used]

    @cached_property
    def former_samples(self) -> Mapping[str, list[str]]:
        """The numbers that samples bore before, by the number of now."""
        found: dict[str, list[str]] = {}
        for old, now in keys_now(self.package.tables, "sample").items():
            found.setdefault(now, []).append(old)
        return found

    @cached_property
    def files_about(self) -> dict[tuple[str, str], list[Row]]:
        """The files about each row (table, key)."""
        found: dict[tuple[str, str], list[Row]] = {}
        for row in self.rows("file"):
            found.setdefault((row["about_table"], row["about_id"]), []).append(row)
        return found

    @cached_property
    def events_of(self) -> dict[str, list[Event]]:
        """The events that count in the life of each sample, those of its parcels too."""
        found: dict[str, list[Event]] = {}
        for event in events_of(self.package.tables) if "custody" in self.model.tables else ():
            found.setdefault(event.sample_id, []).append(event)
        return found

    @cached_property
    def holdings(self) -> Mapping[str, Holding]:
        """Where each sample is after its last event."""
        return holdings_of(self.package.tables) if "custody" in self.model.tables else {}

    def chain(self, place_id: str) -> list[Row]:
        """A place and those it lies in, inmost first; a loop in the record ends the walk."""
        found: list[Row] = []
        seen: set[str] = set()
        while place_id in self.places and place_id not in seen:
            seen.add(place_id)
            found.append(self.places[place_id])
            place_id = self.places[place_id].get("parent_place_id", "")
        return found

    @cached_property
    def outer_places(self) -> list[Row]:
        """The places that lie in no other one, in the order of the table; one of a loop too."""
        outer = [
            row
            for row in self.places.values()
            if not row.get("parent_place_id") or row["parent_place_id"] not in self.places
        ]
        reached = {one["place_id"] for row in outer for one in self.below(row["place_id"])}
        for key, row in self.places.items():
            if key not in reached:
                outer.append(row)
                reached |= {one["place_id"] for one in self.below(key)}
        return outer

    def below(self, place_id: str) -> list[Row]:
        """A place and everything within it, the outer before the inner."""
        found: list[Row] = []
        seen: set[str] = set()
        waiting = [place_id]
        while waiting:
            one = waiting.pop(0)
            if one in seen or one not in self.places:
                continue
            seen.add(one)
            found.append(self.places[one])
            waiting += [row["place_id"] for row in self.places_in.get(one, ())]
        return found

    def party(self, party_id: str) -> str:
        """The name of a person or organisation, or its code."""
        return self.parties.get(party_id, {}).get("name") or party_id

    def place_name(self, row: Row) -> str:
        """The name of a place, or its code."""
        return row.get("name") or row["place_id"]

    @cached_property
    def _of_key(self) -> dict[str, dict[str, list[Row]]]:
        return {name: self.by(name, f"{name}_id") for name in ("place", "element", "sample")}

    def same_key(self, table: str, key: str) -> list[Row]:
        """Every row of one place, piece of wood or sample: more than one is a fault of the record,
        and none of them may vanish from its page."""
        return self._of_key[table].get(key, [])


def _first(rows: Iterable[Row], column: str) -> dict[str, Row]:
    found: dict[str, Row] = {}
    for row in rows:
        if key := row.get(column, ""):
            found.setdefault(key, row)
    return found

"""Writes what the search of the finding aid looks through, as a script that a page can load.

A page opened from a disk may load a script beside it, but may not read a file; so the data are a
script of one call with one JSON value. How a worn stamp is weighed (schemas/stamp_wear.yaml) goes
along, so that page and command rank alike.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from provenance._base.errors import UnreadableValue
from provenance._base.visible import visible
from provenance._bundle.finding_aid.addresses import page_path
from provenance._bundle.finding_aid.cells import Cells
from provenance._bundle.finding_aid.record import Record
from provenance._identity import reading
from provenance._identity.identifier import as_coded, identifier_in
from provenance._identity.plug_fit import RESERVED, state_weight, without_plug
from provenance._model.measures import FEET_INCHES
from provenance._model.schema import AS_FOUND
from provenance._model.wood_names import common_names
from provenance._record.attempts import kind_in_words
from provenance._record.cells import float_of
from provenance._record.measured import said
from provenance._record.snapshot import Row

_LEFT_OUT = frozenset({"site", "place", "element", "sample"})
_SAID = {
    "party": ("name", "roles"),
    "plug": ("stamp", "status", "placed_on"),
    "lab_result": ("notation", "outcome", "laboratory_id", "lab_number", "reported_on"),
    "consignment": ("purpose", "sent_on", "received_on", "to_party_id"),
    "custody": ("event", "happened_on", "sample_id", "consignment_id", "to_party_id"),
    "file": ("title", "kind", "about_id", "taken_on"),
    "episode": ("title", "happened", "kind"),
    "datum": ("description", "kind"),
    "tie": ("kind", "element_id", "sample_id", "from_datum_id", "measured_on"),
}
"""What is said of the rows that have no page of their own, and what can be searched for."""

_EVER = 10_000_000
"""More years than a cell may hold."""


def as_script(value: Any) -> str:
    """A JSON value as a script that hands it over, with nothing in it that could end the script.

    >>> as_script(["</script>"])
    'aid.take(["\\\\u003c/script>"]);\\n'
    """
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    text = text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
    return f"aid.take({text});\n"


def search_data(cells: Cells) -> dict[str, Any]:
    """Everything that the script needs: rows to search, plugs to rank, lists for the choices.

    A row is [table, key, words, place, species, use, first year, last year, address]; place,
    species and use are numbers of entries in their lists or -1, years may be null, an address of 0
    is the row's own page.
    """
    data = _Data(cells)
    data.gather()
    return {
        "tables": [[name, data.titles[name]] for name in data.table_names],
        "places": data.places,
        "buildings": data.buildings,
        "species": data.species_list(),
        "uses": [visible(label) for label in data.uses],
        "rows": data.rows,
        "samples": data.identifiers,
        "plugs": data.plugs,
        # each size of dowel in words
        "dowels": data.dowels,
        "inches": cells.record.model.units == FEET_INCHES,
        "wear": reading.for_pages(
            reading.read_wear(), {character for plug in data.plugs for character in plug[2]}
        ),
    }


class _Data:
    """Gathers the rows, numbering places, species and uses as they come."""

    def __init__(self, cells: Cells) -> None:
        self._cells = cells
        self._record: Record = cells.record
        model = self._record.model
        self.table_names = [table.name for table in model.of_role("record") if table.name != "site"]
        self.titles = {name: visible(model.table(name).title) for name in self.table_names}
        self.rows: list[list[Any]] = []
        self.plugs: list[list[Any]] = []
        self.places: list[list[Any]] = []
        self.buildings: list[list[Any]] = []
        self.identifiers: dict[str, str] = {}
        self.dowels: dict[str, str] = {}
        self._place_numbers: dict[str, int] = {}
        # label or code → its number, as they come
        self.uses: dict[str, int] = {}
        self._species: dict[str, int] = {}

    def gather(self) -> None:
        record = self._record
        self._number_places()
        for key, row in record.places.items():
            kind = record.label("place", "kind", row["kind"])
            self._add("place", key, [kind, row["name"], row["recorded_on"]], key)
        for key, row in record.elements.items():
            self._add(
                "element",
                key,
                [row["position_note"], row["recorded_on"]],
                row["place_id"],
                self._species_of(row, record.samples_of.get(key, ())),
                row["function"],
                self._years(record.samples_of.get(key, ())),
            )
        for key, row in record.samples.items():
            self._add_sample(key, row)
        for name in self.table_names:
            if name not in _LEFT_OUT and name in _SAID:
                self._add_others(name)
        for row in record.rows("plug"):
            if row["stamp"]:
                self._add_plug(row)
        for row in record.reserved:
            self._add_reserved(row)

    def _number_places(self) -> None:
        record = self._record
        outer: dict[str, int] = {}
        for number, building in enumerate(record.outer_places):
            name = visible(record.place_name(building))
            self.buildings.append([visible(building["place_id"]), name])
            for one in record.below(building["place_id"]):
                outer.setdefault(one["place_id"], number)
        for key in record.places:
            chain = record.chain(key)
            names = {text.lower() for one in chain for text in (one["place_id"], one["name"])}
            kinds = {text.lower() for one in chain for text in self._kinds(one["kind"])}
            self._place_numbers[key] = len(self.places)
            self.places.append(
                [
                    visible(", ".join(record.place_name(one) for one in chain)),
                    outer[key],
                    sorted(names - {""}),
                    sorted(kinds),
                ]
            )

    def _kinds(self, code: str) -> tuple[str, ...]:
        """What such a place is commonly called."""
        vocabulary = self._record.model.vocabularies.get("place_kind")
        term = vocabulary.term(code) if vocabulary else None
        return (term.label, *term.synonyms) if term else ()

    def species_list(self) -> list[list[str]]:
        """Code, label, genus and common names of every species that a row names."""
        found = []
        for code in self._species:
            vocabulary = self._record.model.vocabularies.get("species")
            term = vocabulary.term(code) if vocabulary else None
            genus = str(term.attributes.get("genus", "")) if term else ""
            names = "; ".join(common_names(term)) if term else ""
            label = term.label if term else code
            found.append([visible(code), visible(label), visible(genus), visible(names)])
        return found

    def _add_sample(self, key: str, row: Row) -> None:
        record = self._record
        element = record.elements.get(row["element_id"], {})
        stamps = [plug["stamp"] for plug in record.plugs_of.get(key, ()) if plug["stamp"]]
        words = [f"stamped {', '.join(stamps)}" if stamps else "", row["element_id"]]
        words += [kind_in_words(record.model, row), row["collected_on"]]
        former = record.former_samples.get(key, ())
        for number in (key, *former):
            try:
                identifier = identifier_in(record.model.numbering, row["site_id"], number)
            except UnreadableValue:
                continue
            words += [identifier] if number == key else []
            # what a label says leads to the page, in the capitals that labels are printed in
            if record.model.numbering == AS_FOUND:
                identifier = as_coded(row["site_id"], number)
            self.identifiers.setdefault(identifier, page_path("sample", key))
        words += [f"called {number} before" for number in former]
        self._add(
            "sample",
            key,
            words,
            element.get("place_id", ""),
            self._species_of(element, [row]),
            element.get("function", ""),
            self._years([row]),
        )

    def _add_others(self, name: str) -> None:
        record, cells = self._record, self._cells
        table = record.model.table(name)
        sample_of = "sample_id" in table
        for row in record.rows(name):
            key = " / ".join(row[column] for column in table.primary_key)
            address = cells.address(name, key)
            if not key or address is None:
                continue
            words = []
            for column in _SAID[name]:
                text = row.get(column, "")
                if text and cells.targets(name).get(column) == "party":
                    words.append(record.party(text))
                elif text:
                    words.append(record.label(name, column, text))
            sample = record.samples.get(row["sample_id"], {}) if sample_of else {}
            element = record.elements.get(sample.get("element_id", ""), {})
            self._add(
                name,
                key,
                words,
                row.get("place_id", "") or element.get("place_id", ""),
                row.get("species", "") or element.get("species_field", ""),
                element.get("function", ""),
                _result_years(row) if name == "lab_result" else (None, None),
                address,
            )

    def _add(
        self,
        table: str,
        key: str,
        words: list[str],
        place_id: str = "",
        species: str = "",
        use: str = "",
        years: tuple[int | None, int | None] = (None, None),
        address: str = "",
    ) -> None:
        own = page_path(table, key)
        label = self._record.label("element", "function", use)
        self.rows.append(
            [
                self.table_names.index(table),
                visible(key),
                visible("; ".join(word for word in words if word)),
                self._place_numbers.get(place_id, -1),
                _numbered(species, self._species),
                _numbered(label, self.uses),
                *years,
                0 if own == f"pages/{table}/{key}.html" and not address else address or own,
            ]
        )

    def _add_plug(self, row: Row) -> None:
        """[sample, plug, stamp, marked, dowel in mm, weight of its state, species code, use, place,
        collected on, state, address]: what `locate` compares, in the order of the table."""
        record = self._record
        sample = record.samples.get(row["sample_id"], {})
        element = record.elements.get(sample.get("element_id", ""), {})
        species = element.get("species_field", "") or sample.get("species_field", "")
        use = record.label("element", "function", element.get("function", ""))
        dowel = _number(row["dowel_mm"])
        # the name of a number as scripts have it
        if dowel is not None and (name := str(dowel).removesuffix(".0")) not in self.dowels:
            words = said(record.package.tables, "plug", "dowel_mm", dowel, other=True)
            self.dowels[name] = words
        self.plugs.append(
            [
                visible(row["sample_id"]),
                visible(row["plug_id"]),
                self._struck(row["stamp"]),
                int(row["orientation_mark"] not in ("", "none")),
                dowel,
                state_weight(row["status"]),
                _numbered(species, self._species),
                _numbered(use, self.uses),
                self._place_numbers.get(element.get("place_id", ""), -1),
                visible(sample.get("collected_on", "")),
                visible(record.label("plug", "status", row["status"])),
                self._cells.address("plug", row["plug_id"]) or "",
            ]
        )

    def _struck(self, stamp: str) -> str:
        """A stamp that readings are compared with; '' for a faulty one."""
        as_found = self._record.model.numbering == AS_FOUND
        return stamp if as_found or set(stamp) <= set(reading.CHARACTERS) else ""

    def _add_reserved(self, row: Row) -> None:
        """A number that was given out and has no plug, in the columns of a plug."""
        number = row["sample_id"]
        self.plugs.append(
            [
                "",
                "",
                number if set(number) <= set(reading.CHARACTERS) else "",
                int(row["orientation_mark"] not in ("", "none")),
                None,
                state_weight(RESERVED),
                -1,
                -1,
                -1,
                visible(row["reserved_on"]),
                visible(without_plug(row["crew"])),
                self._cells.address("reservation", number) or "",
            ]
        )

    def _standing(self, samples: Iterable[Row]) -> Iterator[Row]:
        for sample in samples:
            yield from self._record.standing_results(sample["sample_id"])

    def _species_of(self, row: Row, samples: Sequence[Row]) -> str:
        """The species that a laboratory found, else what the crew took it for."""
        for result in self._standing(samples):
            if result["species"]:
                return result["species"]
        field = row.get("species_field", "")
        return field or next((one["species_field"] for one in samples if one["species_field"]), "")

    def _years(self, samples: Iterable[Row]) -> tuple[int | None, int | None]:
        """The span of last rings or felling dates of the results that stand."""
        found = [year for one in self._standing(samples) for year in _result_years(one)]
        years = [year for year in found if year is not None]
        return (min(years), max(years)) if years else (None, None)


def _result_years(row: Row) -> tuple[int | None, int | None]:
    """First and last year; a range of felling that is open at an end reaches beyond all years."""
    first, last = _whole(row["felled_from_year"]), _whole(row["felled_to_year"])
    if first is None and last is None:
        outer = _whole(row["outer_year"])
        return outer, outer
    return -_EVER if first is None else first, _EVER if last is None else last


def _numbered(text: str, numbers: dict[str, int]) -> int:
    return numbers.setdefault(text, len(numbers)) if text else -1


def _whole(text: str) -> int | None:
    return int(text) if re.fullmatch(r"-?[0-9]{1,7}", text) else None


def _number(text: str) -> float | None:
    value = float_of(text)
    return value if value is not None and abs(value) < 1e9 else None

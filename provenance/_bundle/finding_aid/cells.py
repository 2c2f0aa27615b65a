"""Shows what stands in one cell: label, unit and link, every text escaped."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from urllib.parse import quote

from markupsafe import Markup, escape

from provenance._base.visible import visible
from provenance._bundle.finding_aid.addresses import PAGED, anchor, page_path
from provenance._bundle.finding_aid.record import Record
from provenance._model.measures import METRIC
from provenance._model.schema import Field
from provenance._record.cells import float_of
from provenance._record.measured import reading_of
from provenance._record.measured import shown as text_of_cell
from provenance._record.snapshot import Row

PAGE_ROWS = 1000
"""So many rows of a table stand on one of its plain pages."""

_UNITS = {"a": "", "deg": "°", "h": "o’clock"}
"""Units (UCUM, as the schemas have them) that a person reads in another form; years need none."""
_DERIVED_UNITS = ("m³", "cm/m")
_TRUTH = {"true": "Yes", "false": "No"}
FILE_COLUMNS = ("path", "mapping_path")


@dataclass(frozen=True)
class Shown:
    """One filled field of a row: its name in words and what stands in it."""

    name: str
    value: Markup


def shown(text: str) -> Markup:
    """A text of the record as HTML that shows it and does nothing else."""
    return escape(visible(text))


def table_page(table: str, number: int) -> str:
    """Where a page of a plain table lies, as seen from index.html; numbers count from 1."""
    return f"pages/table/{table}-{number}.html"


class Cells:
    """Shows cells, and knows where each row of the record is to be found.

    `files` are the paths that a cell may link to. Addresses are as seen from index.html.
    """

    def __init__(self, record: Record, files: frozenset[str]) -> None:
        self.record = record
        self.files = files
        self._paged = {"place": record.places, "element": record.elements, "sample": record.samples}
        self._values: dict[tuple[str, str, str, str], Markup] = {}
        # what is asked for each cell or row is found out once
        self._labels = cache(self._find_labels)
        self.targets = cache(self._find_targets)
        self._row_numbers = cache(self._find_row_numbers)
        self._first = cache(self._find_first)
        self._ordered = cache(self._in_order)
        self._sizes = cache(self._size)

    def address(self, table: str, key: str) -> str | None:
        """Where a row is shown best, or None when there is no such row."""
        if table in PAGED:
            return page_path(table, key) if key in self._paged[table] else None
        if table in ("plug", "lab_result") and (row := self._first(table).get(key)):
            sample = row.get("sample_id", "")
            if sample in self.record.samples:
                return f"{page_path('sample', sample)}#{anchor(table, key)}"
        return self.table_row(table, key)

    def table_row(self, table: str, key: str) -> str | None:
        """Where a row stands in the plain tables, or None when there is no such row."""
        number = self._row_numbers(table).get(key)
        if number is None:
            return None
        return f"{table_page(table, number // PAGE_ROWS + 1)}#{anchor(table, key)}"

    def _find_row_numbers(self, table: str) -> dict[str, int]:
        found: dict[str, int] = {}
        if table in self.record.model.tables:
            key = self.record.model.table(table).primary_key
            for number, row in enumerate(self.record.rows(table)):
                found.setdefault(" / ".join(row.get(name, "") for name in key), number)
        return found

    def _find_first(self, table: str) -> Mapping[str, Row]:
        rows = self.record.rows(table)
        return {key: rows[number] for key, number in self._row_numbers(table).items()}

    def _find_labels(self, table: str, name: str) -> dict[str, str]:
        """The labels of a field's codes; empty for a field without codes."""
        one = self.record.model.table(table).field(name)
        if one.type == "boolean":
            return _TRUTH
        vocabulary = self.record.model.vocabulary_of(one)
        return {term.code: term.label for term in vocabulary.terms} if vocabulary else {}

    def _find_targets(self, table: str) -> dict[str, str]:
        """Column → the table that it names a row of."""
        keys = self.record.model.table(table).foreign_keys
        return {key.fields[0]: key.table for key in keys if len(key.fields) == 1}

    def value(self, table: str, one: Field, text: str, root: str) -> Markup:
        """What stands in a cell as HTML; `root` leads from the page to index.html's folder."""
        if one.measure or one.unit in _DERIVED_UNITS:
            return self._sizes(table, one.name, text)
        labels = self._labels(table, one.name)
        if not (labels or one.name in FILE_COLUMNS or one.name in self.targets(table)):
            return shown(text)
        place = (table, one.name, text, root)
        if place not in self._values:
            self._values[place] = self._value(table, one, text, root, labels)
        return self._values[place]

    def unit(self, one: Field) -> str:
        """What stands behind the values of a field; '' where `value` says it already."""
        if one.measure or one.unit in _DERIVED_UNITS:
            return ""
        return _UNITS.get(one.unit or "", one.unit or "")

    def _size(self, table: str, name: str, text: str) -> Markup:
        """A length, volume or taper with its unit, as the record measures."""
        tables, one = self.record.package.tables, self.record.model.table(table).field(name)
        if one.measure:
            return shown(text_of_cell(tables, table, name, text))
        number = float_of(text)
        if number is None or self.record.model.units == METRIC:
            return shown(f"{text} {one.unit}")
        if one.unit == "cm/m":
            return shown(f"{number * 0.12:.2f} in/ft")
        return shown(self.record.model.measures.volume(lambda per: f"{number * per:.4g}"))

    def _value(
        self, table: str, one: Field, text: str, root: str, labels: Mapping[str, str]
    ) -> Markup:
        codes = text.split(one.separator) if one.separator else [text]
        inside = Markup(f"{one.separator} ").join(_labelled(labels, c.strip()) for c in codes)
        if target := self.targets(table).get(one.name):
            inside = self._named(target, text, inside)
            return link(self.address(target, text), inside, root)
        if one.name in FILE_COLUMNS and text in self.files:
            return link(quote(text), inside, root)
        return inside

    def _named(self, target: str, key: str, inside: Markup) -> Markup:
        """The name beside the code of a person, place or site."""
        known = {"party": self.record.parties, "place": self.record.places}
        known["site"] = self.record.sites
        name = known.get(target, {}).get(key, {}).get("name", "")
        return Markup(f"{shown(name)} <small>{inside}</small>") if name else inside

    def fields(
        self, table: str, row: Row, root: str, *, without: frozenset[str] = frozenset()
    ) -> list[Shown]:
        """The filled fields of a row, in the order of forms, but for those of `without`."""
        found = []
        key = self.record.model.table(table).key_of(row)
        for one in self._ordered(table):
            text = row.get(one.name, "")
            if text and one.name not in without:
                value = self.value(table, one, text, root)
                if unit := self.unit(one):
                    value = Markup(f"{value} {escape(unit)}")
                if one.measure and (written := self._as_written(table, key, one.name, str(value))):
                    value = Markup(f"{value} <small>read as {shown(written)}</small>")
                found.append(Shown(one.title, value))
        return found

    def _as_written(self, table: str, key: str, name: str, told: str) -> str:
        """A reading as it was written, where that is not what is told already."""
        written = reading_of(self.record.package.tables, table, key, name)
        return "" if _plain(written) == _plain(Markup(told).unescape()) else written

    def _in_order(self, table: str) -> list[Field]:
        model = self.record.model.table(table)
        sections = list(model.sections)
        return sorted(model.fields, key=lambda one: (sections.index(one.section), one.order))


def _plain(size: str) -> str:
    """A size without what may be written in more ways than one."""
    return re.sub(r"\s|in\b|[\"”]", "", size)


def link(href: str | None, inside: Markup, root: str) -> Markup:
    """The HTML as a link to an address as seen from index.html, or unlinked for None."""
    return Markup(f'<a href="{escape(root + href)}">{inside}</a>') if href else inside


def _labelled(labels: Mapping[str, str], code: str) -> Markup:
    """What a person reads for a code, with the code itself where it says something else."""
    label = labels.get(code)
    if not label:
        return shown(code)
    if code in _TRUTH or label.casefold() == code.casefold().replace("_", " "):
        return shown(label)
    return Markup(f"{shown(label)} <small>{shown(code)}</small>")

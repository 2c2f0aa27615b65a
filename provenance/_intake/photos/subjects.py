"""Knows the samples, wood and places of a record, and which of them lies in which."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cached_property

from provenance._base.errors import UnreadableValue
from provenance._identity.naming import CellNames
from provenance._identity.payload import is_inside, is_scan, one_line, read_scan
from provenance._identity.sheet_code import MAGIC as SHEET_MAGIC
from provenance._identity.sheet_code import read_sheet_code
from provenance._record.joined import keys_now
from provenance._record.snapshot import Snapshot

CALLED = {
    "site": "site",
    "place": "place",
    "timber": "element",
    "sample": "sample",
    "plug": "plug",
    "parcel": "consignment",
}
"""What a person calls the rows that pictures are about → their table."""
COMMON = ("element", "place")
"""What a picture of several samples can be about: it shows the wood or the wall that all are in."""


@dataclass(frozen=True, order=True)
class Subject:
    """A row that a picture can be about: the name of its table, and its key."""

    table: str
    key: str

    def __str__(self) -> str:
        """The row as a person would say it: 'sample 231'."""
        return f"{'wood' if self.table == 'element' else self.table} {self.key}"


class Subjects:
    """The rows of a record that a picture can be about."""

    def __init__(self, tables: Snapshot) -> None:
        self._tables = tables
        self.sites = {row["site_id"] for row in tables.rows("site") if row["site_id"]}
        self.samples = {row["sample_id"]: row for row in tables.rows("sample") if row["sample_id"]}
        self.elements = {
            row["element_id"]: row for row in tables.rows("element") if row["element_id"]
        }
        self._places = {row["place_id"]: row for row in tables.rows("place")}

    def of_code(self, text: str) -> Subject | None:
        """The row that a code in view belongs to; None for a code that is of no row of ours.

        Raises UnreadableValue for a label or sheet of this project that fits no row of this record.
        """
        if text.startswith(f"{SHEET_MAGIC} "):
            sheet = read_sheet_code(text)
            if not sheet.key:
                return None
            now = keys_now(self._tables, sheet.table).get(sheet.key, sheet.key)
            subject = Subject(sheet.table, now)
            if subject.key not in self._keys.get(sheet.table, ()):
                raise UnreadableValue(
                    one_line(str(subject)), "is on a sheet in view, and this record has no such row"
                )
            return subject
        if not is_scan(text) or is_inside(text):
            return None
        label = read_scan(text)
        row = self.called.get(label.sample_id) or self._in_capitals.get(label.sample_id.upper())
        if row is None or self.samples[row]["site_id"].upper() != label.site_id.upper():
            raise UnreadableValue(
                label.identifier, "is on a label in view, and this record has no such sample"
            )
        return Subject("sample", row)

    @cached_property
    def called(self) -> dict[str, str]:
        """What a sample is called, or was before → the number it has now."""
        former = keys_now(self._tables, "sample").items()
        now = {key: key for key in self.samples}
        return now | {old: key for old, key in former if key in now}

    @cached_property
    def _in_capitals(self) -> dict[str, str]:
        return {called.upper(): key for called, key in self.called.items()}

    @cached_property
    def _keys(self) -> dict[str, frozenset[str]]:
        return {
            table.name: frozenset(self._tables.column(table.name, table.primary_key[0]))
            for table in self._tables.model.of_role("record")
        }

    def chain(self, subject: Subject) -> list[Subject]:
        """A row and those it is part of, the smallest first: sample, wood, place, outer place."""
        found = [subject]
        if subject.table == "sample":
            found += [Subject("element", self.samples[subject.key]["element_id"])]
        if found[-1].table == "element" and (row := self.elements.get(found[-1].key)):
            found += [Subject("place", row["place_id"])]
        while (last := found[-1]).table == "place" and (row := self._places.get(last.key)):
            outer = Subject("place", row["parent_place_id"])
            if not outer.key or outer in found:
                break
            found.append(outer)
        return [one for one in found if one.key]

    def smallest(self, subjects: Iterable[Subject]) -> frozenset[Subject]:
        """The rows without those that another of them is part of."""
        rows = frozenset(subjects)
        return rows - {outer for one in rows for outer in self.chain(one)[1:]}

    def common(self, subjects: Collection[Subject]) -> Subject | None:
        """The smallest wood or place that all the rows are part of, or the one row itself."""
        first, *others = [self.chain(one) for one in sorted(subjects)]
        if not others:
            return first[0]
        shared = [one for one in first if all(one in chain for chain in others)]
        return next((one for one in shared if one.table in COMMON), None)

    def named(self, text: str) -> Subject:
        """The row that a person means by a typed number or a scanned label: 231, timber LH-012.

        Raises UnreadableValue where there is none, and where several kinds of rows have the number.
        """
        if text.startswith(f"{SHEET_MAGIC} ") and (subject := self.of_code(text)):
            return subject
        word, _, rest = text.partition(" ")
        tables = [CALLED[word.lower()]] if rest and word.lower() in CALLED else [*CALLED.values()]
        called = rest.strip() if len(tables) == 1 else text
        trouble: UnreadableValue | None = None
        found = []
        for table in tables:
            reader = CellNames(self._tables).reader_of_keys(table)
            try:
                key = reader(called) if reader else called
            except UnreadableValue as error:
                trouble = error
                continue
            if key in self._keys.get(table, ()):
                found.append(Subject(table, key))
        if len(found) == 1:
            return found[0]
        if found:
            words = " or ".join(
                f"'{word} {called}'"
                for word, table in CALLED.items()
                if table in {one.table for one in found}
            )
            raise UnreadableValue(text, f"is the number of several things; write {words}")
        raise trouble or UnreadableValue(
            text, "names no site, place, timber, sample, plug or parcel of this record"
        )

"""A sound record in memory, which a test then breaks in one place to see the rule speak."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache, lru_cache
from typing import Any

import polars as pl

from provenance._checks.language.rule import EVERY_TABLE, Rule, worded
from provenance._checks.registry import all_rules
from provenance._model.profile import load_model
from provenance._model.schema import Model
from provenance._record.reading import TableText
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW, typed_frame
from tests.builders import PARTIES, SOUND

Rows = dict[str, list[dict[str, str]]]

MORE: dict[str, dict[str, str]] = {
    "site": {
        # open sea, where no building can be meant
        "latitude": "56.0",
        "longitude": "3.2",
        "coordinate_uncertainty_m": "10",
        "geodetic_epsg": "4326",
        "grid_epsg": "32631",
        "grid_north_deg": "2",
        "declination_deg": "4.5",
        "hazards": "overhead; dust",
        "repository_id": "REPO",
    },
    "datum": {"held": "true", "x_m": "0", "y_m": "0", "z_m": "0"},
    "tie": {"target_datum_id": "D2"},
    "element": {"load_bearing": "no"},
    "sample": {"rings_field": "75"},
    "plug": {"length_mm": "40", "last_seen_on": "2024-06-14"},
    "lab_result": {"reference_chronology": "Invented pine master", "sapwood_count": "12"},
    "custody": {"recorded_on": "2024-06-04"},
}
"""What the sound rows need besides, so that no rule has anything to say about them."""


@cache
def model() -> Model:
    """The blank profile's model, read once for all tests."""
    return load_model("blank")


@cache
def rules() -> dict[str, Rule]:
    """Every rule by its id."""
    return {one.id: one for one in all_rules()}


class Record:
    """Rows of text by table; every method gives a new record and leaves this one as it is."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows

    def _copy(self) -> Rows:
        return {table: [dict(row) for row in rows] for table, rows in self.rows.items()}

    def with_row(self, table: str, **values: Any) -> Record:
        """The record with one more row: the sound one of that table with `values` put in."""
        return self.with_bare_row(table, **(SOUND.get(table, {}) | MORE.get(table, {}) | values))

    def with_bare_row(self, table: str, **values: Any) -> Record:
        """The record with one more row that holds nothing but `values`."""
        rows = self._copy()
        rows.setdefault(table, []).append({name: _text(value) for name, value in values.items()})
        return Record(rows)

    def but(self, table: str, key: str | None = None, /, **values: Any) -> Record:
        """The record with `values` put into the row of that key (the first row without a key)."""
        rows = self._copy()
        primary = model().table(table).primary_key[0]
        row = next(one for one in rows[table] if key is None or one[primary] == key)
        row.update({name: _text(value) for name, value in values.items()})
        return Record(rows)

    def without(self, table: str, key: str | None = None) -> Record:
        """The record without the row of that key, or without any row of the table."""
        rows = self._copy()
        primary = model().table(table).primary_key[0]
        rows[table] = [one for one in rows.get(table, []) if key and one[primary] != key]
        return Record(rows)

    @property
    def tables(self) -> Snapshot:
        """The record as the rules read it."""
        frames = Frames(self.rows)
        return Snapshot(model(), "memory", frames.text, _typed=frames)

    def says(self, rule_id: str) -> list[str]:
        """What a rule says about the record, each as 'table row field: message remedy'."""
        return spoken(rules()[rule_id], self.tables)


class Frames(Mapping[str, pl.DataFrame]):
    """Typed frames that are built when a rule asks for them, which is most of a test's time."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows

    def __iter__(self) -> Iterator[str]:
        return iter(model().tables)

    def __len__(self) -> int:
        return len(model().tables)

    def __getitem__(self, name: str) -> pl.DataFrame:
        return _built(name, tuple(tuple(row.items()) for row in self.rows.get(name, ())))

    def text(self, name: str) -> TableText:
        frame = self[name]
        return TableText(tuple(frame.columns), frame, frame[ROW].clear())


@lru_cache(1000)
def _built(name: str, rows: tuple[tuple[tuple[str, str], ...], ...]) -> pl.DataFrame:
    """A typed frame, which is never changed; most tests have most of them in common."""
    table, cells = model().table(name), [dict(row) for row in rows]
    unknown = {column for row in cells for column in row} - set(table.names)
    assert not unknown, f"{name} has no {unknown}"
    text = pl.DataFrame(
        {
            ROW: pl.Series(range(2, len(cells) + 2), dtype=pl.UInt32),
            **{
                column: pl.Series([row.get(column, "") for row in cells], dtype=pl.String)
                for column in table.names
            },
        }
    )
    return typed_frame(table, text)


def spoken(rule: Rule, tables: Snapshot) -> list[str]:
    """The findings of one rule, each as 'table row field: message remedy'."""
    found = rule.find(tables)
    columns = found.columns
    table = pl.col("table") if rule.table == EVERY_TABLE else pl.lit(rule.table)
    field = pl.col("field") if "field" in columns else pl.lit(rule.field)
    sentences = found.select(
        pl.format(
            "{} {} {}: {} {}",
            table,
            ROW,
            field,
            worded(rule.says, columns, tables.model),
            worded(rule.remedy, columns, tables.model),
        )
    )
    return sentences.to_series().to_list()


def only(sentences: list[str], *parts: str) -> None:
    """Assert that there is one finding and that it names every part."""
    assert len(sentences) == 1, sentences
    missing = [part for part in parts if part not in sentences[0]]
    assert not missing, (missing, sentences[0])


@cache
def a_sound_record() -> Record:
    """One whole chain of an invented place, with a datum, a tie, a parcel and ring widths."""
    record = Record({})
    for party in PARTIES:
        person = {"may_be_named": "false"} if party["kind"] == "person" else {}
        record = record.with_bare_row("party", **party, **person)
    record = (
        record.but("party", "LAB", roles="laboratory")
        .with_bare_row("party", party_id="REPO", kind="organisation", name="Deep Shelf (invented)")
        .with_row("site")
        .with_row("place")
        .with_row("datum")
        .with_row("datum", datum_id="D2", held="false", x_m="3", y_m="4")
        .with_row("tie")
        .with_row("element")
        .with_row("sample")
        .with_row("plug")
        .with_row("consignment")
    )
    events = (
        {"event": "collected", "happened_on": "2024-06-04", "to_party_id": "MB"},
        {"event": "packed", "happened_on": "2024-06-15", "consignment_id": "C-1"},
        {
            "event": "handed_over",
            "happened_on": "2024-06-16",
            "from_party_id": "MB",
            "to_party_id": "LAB",
        },
        {"event": "received", "happened_on": "2024-06-20", "to_party_id": "LAB"},
    )
    for number, event in enumerate(events, start=1):
        record = record.with_bare_row("custody", custody_id=number, sample_id="231", **event)
    return (
        record.with_row("lab_result")
        .with_row("file")
        .with_row(
            "file",
            file_id="F-2",
            path="files/ring-widths-231.csv",
            kind="ring_widths",
            title="Ring widths of sample 231 (invented)",
            about_table="lab_result",
            about_id="R-1",
        )
        .with_row("episode")
    )


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return str(value)

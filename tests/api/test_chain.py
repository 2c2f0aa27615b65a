"""The joined chain is what a person would look up by hand, table by table, in any record."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import polars as pl
from hypothesis import given
from hypothesis import strategies as st

import provenance
from provenance._api.chain import CHAIN, chain_of
from provenance._catalogue.entry import SAMPLE_COLUMNS, read_entry
from provenance._ledger.holdings import Event, last_day, replay, standing_events
from provenance._model.profile import load_model
from provenance._record.reading import TableText, read_table_bytes
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW
from tests.builders import a_package

MODEL = load_model("blank")
Rows = Sequence[Mapping[str, str]]
COLUMNS = {
    "sample": ("sample_id", "site_id", "element_id", "kind", "collected_on"),
    "element": ("element_id", "place_id", "function", "species_field", "in_place"),
    "place": ("place_id", "name", "level"),
    "plug": ("plug_id", "sample_id", "stamp", "status", "replaced_by_plug_id"),
    "lab_result": (
        "result_id", "sample_id", "reported_on", "inner_year", "outer_year", "outer_symbol",
        "supersedes_result_id",
    ),
    "custody": (
        "custody_id", "event", "happened_on", "sample_id", "from_party_id", "to_party_id",
        "corrects_custody_id",
    ),
}  # fmt: skip
"""What the chain is made of."""

KEYS = st.sampled_from(["", "A", "B", "C"])
DAYS = st.sampled_from(
    ["", "2024", "2024-06", "2024-06-03", "2023-12-31", "[2020,2026]", "2021/..", "2024-06-03?",
     "2024-06-03T09:30:00Z", "soon"]
)  # fmt: skip
CELLS = {
    **dict.fromkeys(
        ("sample_id", "element_id", "place_id", "plug_id", "result_id", "custody_id"), KEYS
    ),
    **dict.fromkeys(("supersedes_result_id", "replaced_by_plug_id", "corrects_custody_id"), KEYS),
    **dict.fromkeys(("reported_on", "collected_on", "happened_on"), DAYS),
    **dict.fromkeys(("inner_year", "outer_year"), st.sampled_from(["", "1702", "-12", "about"])),
    **dict.fromkeys(("from_party_id", "to_party_id"), st.sampled_from(["", "MB", "LAB"])),
    "level": st.sampled_from(["", "0", "-1", "up"]),
    "status": st.sampled_from(["", "in_place", "replaced", "lost"]),
    "event": st.sampled_from(
        ["collected", "packed", "handed_over", "received", "returned", "lost", "found", "destroyed",
         "deposited", "corrected"]
    ),
}  # fmt: skip


def tables_of(columns: Sequence[str]) -> st.SearchStrategy[Rows]:
    """Some rows with those columns; keys come twice, lead nowhere, or are not written."""
    row = {one: CELLS.get(one, st.sampled_from(["", "x", "y"])) for one in columns}
    return st.lists(st.fixed_dictionaries(row), max_size=6)


RECORDS = st.fixed_dictionaries({name: tables_of(columns) for name, columns in COLUMNS.items()})
LACKING = st.sets(
    st.sampled_from(
        [f"{table}.{column}" for table, columns in COLUMNS.items() for column in columns[1:]]
        + ["place", "plug", "lab_result", "custody"]
    ),
    max_size=4,
)


def snapshot(record: Mapping[str, Rows], lacking: set[str]) -> Snapshot:
    """The tables of a record, with a model that lacks some columns and tables."""
    tables = {
        name: replace(
            table,
            fields=tuple(one for one in table.fields if f"{name}.{one.name}" not in lacking),
        )
        for name, table in MODEL.tables.items()
        if name not in lacking
    }

    def read(name: str) -> TableText:
        text = io.StringIO()
        writer = csv.DictWriter(text, tables[name].names, extrasaction="ignore")
        writer.writeheader()
        writer.writerows(record.get(name, ()))
        return read_table_bytes(text.getvalue().encode())

    return Snapshot(replace(MODEL, tables=MappingProxyType(tables)), "memory", read)


# -- the oracle: plain Python, a row at a time ----------------------------------------------------


def whole(text: str) -> int | None:
    return int(text) if text.lstrip("-").isdigit() else None


def looked_up(rows: Rows, key: str, value: str) -> Mapping[str, str]:
    """The first row with that key."""
    return next((row for row in rows if value and row[key] == value), {})


def standing_plug(plugs: Rows, sample: str) -> Mapping[str, str]:
    standing = [
        one
        for one in plugs
        if one["sample_id"] == sample
        and not one["replaced_by_plug_id"]
        and one["status"] != "replaced"
    ]
    return standing[-1] if sample and standing else {}


def standing_result(results: Rows, sample: str) -> Mapping[str, str]:
    superseded = {one["supersedes_result_id"] for one in results} - {""}
    live = [
        (whole(one["outer_year"]) is not None, last_day(day) or (-1,), place)
        for place, one in enumerate(results)
        if one["sample_id"] == sample and one["result_id"] not in superseded
        for day in [one["reported_on"].partition("T")[0]]
    ]
    return results[max(live)[2]] if sample and live else {}


def holder(events: Sequence[Event], sample: str) -> tuple[str, str]:
    """Who has it after the last event, and the date of the event since which nobody else had it."""
    held = [""]
    for count in range(1, len(events) + 1):
        now = replay(events[:count]).get(sample)
        held.append(now.holder if now else "")
    if not sample or not held[-1]:
        return "", ""
    start = len(held)
    while start and held[start - 1] == held[-1]:
        start -= 1
    return held[-1], events[start - 1].happened_on


def chain_by_hand(record: Mapping[str, Rows]) -> list[dict[str, Any]]:
    events = [
        Event(**{name: row[name] for name in COLUMNS["custody"]}) for row in record["custody"]
    ]
    events = list(standing_events(events))
    chain = []
    for number, sample in enumerate(record["sample"], start=2):
        wood = looked_up(record["element"], "element_id", sample["element_id"])
        place = looked_up(record["place"], "place_id", wood.get("place_id", ""))
        plug = standing_plug(record["plug"], sample["sample_id"])
        result = standing_result(record["lab_result"], sample["sample_id"])
        party, since = holder(events, sample["sample_id"])
        texts = {
            **{name: sample[name] for name in COLUMNS["sample"]},
            "place_id": wood.get("place_id"),
            "place_name": place.get("name"),
            "wood_function": wood.get("function"),
            "wood_species": wood.get("species_field"),
            "in_place": wood.get("in_place"),
            "plug_id": plug.get("plug_id"),
            "stamp": plug.get("stamp"),
            "plug_status": plug.get("status"),
            **{name: result.get(name) for name in ("result_id", "reported_on", "outer_symbol")},
            "holder_party_id": party,
            "holder_since": since,
        }
        years = {name: whole(result.get(name, "")) for name in ("inner_year", "outer_year")}
        chain.append(
            {ROW: number, "place_level": whole(place.get("level", "")), **years}
            | {name: text or None for name, text in texts.items()}
        )
    return chain


@given(RECORDS, LACKING)
def test_the_chain_is_what_one_looks_up_by_hand(record, lacking) -> None:
    found = chain_of(snapshot(record, lacking))
    assert found.columns == [ROW, *CHAIN]
    seen = {
        table: [
            {
                column: "" if {table, f"{table}.{column}"} & lacking else row[column]
                for column in COLUMNS[table]
            }
            for row in ([] if table in lacking else rows)
        ]
        for table, rows in record.items()
    }
    by_hand = chain_by_hand(seen)
    assert found.to_dicts() == [{name: row[name] for name in found.columns} for row in by_hand]
    assert found.schema == {ROW: pl.UInt32(), **CHAIN}


# -- on disk --------------------------------------------------------------------------------------


def test_the_chain_of_one_sample_says_where_it_is_and_what_was_found(pristine) -> None:
    with provenance.open(pristine / "bundle.zip") as record:
        chain = record.chain()
    assert chain.index.to_list() == [2]
    assert chain.iloc[0].to_dict() == {
        "sample_id": "231",
        "site_id": "HOLL",
        "element_id": "B1-014",
        "kind": "core",
        "collected_on": "2024-06-04",
        "place_id": "B1",
        "place_name": "North house",
        "place_level": None,
        "wood_function": "beam",
        "wood_species": "PIPO",
        "in_place": "in_place",
        "plug_id": "P-231",
        "stamp": "231",
        "plug_status": "in_place",
        "result_id": "R-1",
        "reported_on": "2025-02-01",
        "inner_year": 1702,
        "outer_year": 1781,
        "outer_symbol": "B",
        "holder_party_id": "LAB",
        "holder_since": "2024-06-20",
    }


def test_a_storage_event_does_not_make_the_holder_new(tmp_path) -> None:
    builder = a_package(tmp_path).with_chain().with_row("custody")
    builder.with_row("custody", custody_id="2", event="stored", happened_on="2024-07-01")
    chain = provenance.open(builder.package.folder).chain()
    assert chain[["holder_party_id", "holder_since"]].to_numpy().tolist() == [["MB", "2024-06-04"]]


def test_chain_and_catalogue_give_the_same_answer_about_a_date(tmp_path) -> None:
    """A second laboratory found no date; that of the first stands in both."""
    builder = a_package(tmp_path).with_chain().with_row("lab_result")
    builder.with_bare_row(
        "lab_result", result_id="R-2", sample_id="231", outcome="undated", reported_on="2026-01-01"
    )
    folder = builder.package.folder
    chain = provenance.open(folder).chain()
    entry = [dict(zip(SAMPLE_COLUMNS, row, strict=False)) for row in read_entry(folder).samples]
    assert chain["outer_year"].to_list() == [one["outer_year"] for one in entry] == [1781]
    assert chain["result_id"].to_list() == ["R-1"]


def test_a_result_without_a_date_of_report_is_not_the_newest() -> None:
    result = dict.fromkeys(COLUMNS["lab_result"], "") | {"sample_id": "A", "outer_year": "1702"}
    record = {name: [] for name in COLUMNS} | {
        "sample": [dict.fromkeys(COLUMNS["sample"], "") | {"sample_id": "A"}],
        "lab_result": [
            result | {"result_id": "R-1", "reported_on": "2024-06"},
            result | {"result_id": "R-2", "reported_on": "2023"},
            result | {"result_id": "R-3"},
        ],
    }
    assert chain_of(snapshot(record, set()))["result_id"].to_list() == ["R-1"]

"""The tables of one bundle joined on disk, and rows packed to be handed on."""

from __future__ import annotations

import tracemalloc
from contextlib import closing

import pytest

from provenance._catalogue.entry import TABLE_COLUMNS
from provenance._catalogue.joining import STRETCH_ROWS, JoinedTables, pack_rows


@pytest.fixture
def tables():
    with closing(JoinedTables(TABLE_COLUMNS)) as tables:
        yield tables


def add(tables: JoinedTables, table: str, *rows: dict[str, str]) -> None:
    columns = TABLE_COLUMNS[table]
    tables.fill(table, [[row.get(name, "") for name in columns] for row in rows])


def test_each_sample_is_found_beside_its_wood_and_its_last_result(tables) -> None:
    add(tables, "element", {"element_id": "E-1", "function": "beam"})
    add(tables, "sample", {"sample_id": "231", "element_id": "E-1"}, {"sample_id": "232"})
    add(
        tables,
        "lab_result",
        {"result_id": "R2", "sample_id": "231", "outer_year": "1781", "reported_on": "2025-03"},
        {"result_id": "R1", "sample_id": "231", "outer_year": "1779", "reported_on": "2025-02"},
    )
    tables.settle()
    first, second = tables.samples()
    assert first["element"]["function"] == "beam"
    assert first["last_result"]["outer_year"] == "1781"
    assert (second["element"], second["last_result"], second["held"]) == ({}, {}, {})


@pytest.mark.parametrize(
    ("later", "year"),
    [
        # what a later report replaced does not stand, whenever it was reported
        ({"supersedes_result_id": "R1", "outer_year": "", "reported_on": "2024-01"}, ""),
        # a date that one laboratory found is not undone by another that found none
        ({"outer_year": "", "reported_on": "2025-03"}, "1779"),
    ],
)
def test_the_result_that_stands_is_the_one_that_counts(tables, later, year) -> None:
    first = {"result_id": "R1", "sample_id": "231", "outer_year": "1779", "reported_on": "2025-02"}
    add(tables, "sample", {"sample_id": "231"})
    add(tables, "lab_result", first, {"result_id": "R2", "sample_id": "231", **later})
    tables.settle()
    assert next(tables.samples())["last_result"]["outer_year"] == year


def test_of_two_pieces_of_wood_with_one_code_the_last_counts(tables) -> None:
    add(tables, "element", {"element_id": "E-1", "function": "beam"}, {"element_id": "E-1"})
    add(tables, "sample", {"sample_id": "231", "element_id": "E-1"})
    add(tables, "plug", {"plug_id": "P-1", "sample_id": "231", "stamp": "231"}, {"plug_id": "P-2"})
    tables.settle()
    assert [one["element"]["function"] for one in tables.samples()] == [""]
    assert [one["plug"]["plug_id"] for one in tables.plugs()] == ["P-1"]


def test_a_sample_is_where_the_events_of_its_parcel_left_it(tables) -> None:
    add(tables, "sample", {"sample_id": "231"}, {"sample_id": "232"})
    collected = {"event": "collected", "to_party_id": "MB", "happened_on": "2024-06-04"}
    add(
        tables,
        "custody",
        {**collected, "custody_id": "1", "sample_id": "231"},
        {**collected, "custody_id": "2", "sample_id": "232"},
        {"custody_id": "3", "event": "packed", "sample_id": "231", "consignment_id": "C-1"},
        {"custody_id": "4", "event": "handed_over", "consignment_id": "C-1", "to_party_id": "LAB"},
    )
    tables.settle()
    held = [one["held"] for one in tables.samples()]
    assert [(one["holder"], one["on_the_way_to"]) for one in held] == [("", "LAB"), ("MB", "")]


def test_packed_rows_come_back_as_they_went_in() -> None:
    rows = [(number, f"{number}", None) for number in range(2 * STRETCH_ROWS + 1)]
    packed = pack_rows(iter(rows))
    assert list(packed) == rows
    assert list(packed) == rows
    assert len(packed.stretches) == 3


def test_four_times_the_samples_take_hardly_more_memory() -> None:
    """What the events, results and rows of one record take must not grow with the record."""

    def peak(samples: int) -> int:
        codes = range(samples)
        rows = {
            "element": ({"element_id": f"E{n}", "function": "beam"} for n in codes),
            "sample": ({"sample_id": f"{n}", "element_id": f"E{n}"} for n in codes),
            "custody": (
                {"custody_id": f"{n}", "event": "collected", "sample_id": f"{n}"} for n in codes
            ),
            "lab_result": ({"result_id": f"{n}", "sample_id": f"{n}"} for n in codes),
        }
        tracemalloc.start()
        with closing(JoinedTables(TABLE_COLUMNS)) as tables:
            for table, given in rows.items():
                columns = TABLE_COLUMNS[table]
                tables.fill(table, ([row.get(name, "") for name in columns] for row in given))
            tables.settle()
            assert sum(1 for _ in tables.samples()) == samples
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    assert peak(8_000) < 1.5 * peak(2_000)

"""The tables of one bundle joined on disk, and rows packed to be handed on."""

from __future__ import annotations

import tracemalloc
from contextlib import closing
from typing import Any

import pytest

from provenance._catalogue.build import update_catalogue
from provenance._catalogue.entry import SAMPLE_COLUMNS, TABLE_COLUMNS, read_entry
from provenance._catalogue.joining import STRETCH_ROWS, JoinedTables, pack_rows
from provenance._catalogue.query import Wanted, find_in_catalogue
from provenance._derive.summary import derive_package
from tests.builders import a_package


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

    peak(2_000)  # the interpreter keeps tuples of the first run for the next ones
    assert peak(8_000) < 1.5 * peak(2_000)


def test_a_range_stays_open_and_the_felling_is_that_of_all_samples_where_it_was_derived(
    tmp_path,
) -> None:
    """231 has a range 'after 1720' only; 17 is of wood whose other sample has a cutting date."""
    builder = a_package(tmp_path).with_chain()
    builder.with_row("sample", sample_id="17").with_row("sample", sample_id="18")
    bare = dict.fromkeys(("inner_year", "outer_year", "outer_symbol", "inner_symbol", "notation"))
    builder.with_row("lab_result", **bare, felled_from_year=1720)
    builder.with_row("lab_result", result_id="R2", sample_id="17", **bare | {"outer_year": 1781,
                     "outer_symbol": "B"})  # fmt: skip

    def kept() -> dict[str, list[Any]]:
        names = ("end_from_year", "end_to_year", "felled_from_year", "felled_to_year")
        rows = read_entry(builder.package.folder).samples
        columns = [SAMPLE_COLUMNS.index(one) for one in ("sample_id", *names, "felling_class")]
        return {row[columns[0]]: [row[one] for one in columns[1:]] for row in rows}

    alone = {
        "231": [1720, None, 1720, None, "after"],
        "17": [1781, 1781, 1781, 1782, "cutting"],
        "18": [None, None, None, None, ""],
    }
    assert kept() == alone
    derive_package(builder.package)
    together = {key: [*ends[:2], 1781, 1782, "cutting"] for key, ends in alone.items()}
    assert kept() == together
    index = tmp_path / "catalogue.sqlite"
    update_catalogue(tmp_path, index)
    for wanted, expected in (
        ({"from_year": 1800}, ["231"]),
        ({"to_year": 1700}, []),
        ({"from_year": 1700, "to_year": 1781}, ["231", "17"]),
    ):
        assert (
            find_in_catalogue(index, "samples", Wanted(**wanted))["sample_id"].to_list() == expected
        )

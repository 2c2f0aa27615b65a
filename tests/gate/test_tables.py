"""A table is counted on its bytes before it is read: what real records have passes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.refusal import RefusedInput
from provenance._gate.tables import why_no_table, why_unreadable
from provenance._record.reading import read_table_bytes


def test_a_thousand_columns_and_a_million_rows_pass() -> None:
    wide = b",".join(b"c%d" % n for n in range(1_000)) + b"\n" + b"," * 999 + b"\n"
    assert len(read_table_bytes(wide).labels) == 1_000
    long = b"a,b\n" + b"1,\n" * 1_000_000
    assert len(read_table_bytes(long)) == 1_000_000
    # an old program ends its lines by carriage returns alone: this is not one line
    old = b"a,b\r" + b"1,2\r" * 20_000
    assert len(read_table_bytes(old)) == 20_000
    for data in (wide, long, old):
        assert why_no_table([data]) == why_no_table([data[:7], data[7:]]) == ""


def test_a_table_that_asks_for_too_much_is_refused_before_it_is_read() -> None:
    """As seen: a header of a million columns; and files of some bytes that fill the memory."""
    header = b",".join(b"c%d" % n for n in range(1_000_000)) + b"\n"
    quoted = b",".join(b'"c%d\n"' % n for n in range(6_000)) + b"\n"
    for data, says in (
        (header + header, "1,000,000 columns"),
        (b"," * 6_000 + b"\n1\n", "6,001 columns"),
        (quoted, "6,000 columns"),
        (b"a," * 4_000 + b"\n" + b"\n" * 70_000, "280,074,001 cells"),
        (b"a," * 999 + b"\n" + b"\n" * 7_000, "lacks more than 5,000,000 cells"),
        (b"a,b\n" + b"x" * 35_000_000, "a line of more than"),
    ):
        with pytest.raises(RefusedInput, match=says) as refused:
            read_table_bytes(data, "tables/plug.csv")
        assert str(refused.value).startswith("tables/plug.csv ")


def test_rows_that_are_filled_up_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """A row of one byte takes as much room as any, once it has all its cells."""
    small = replace(DEFAULT_BUDGET, most_uneven_rows=4, most_missing_cells=6)
    monkeypatch.setattr("provenance._record.reading.DEFAULT_BUDGET", small)
    # with sound quotes, and where only a full reading tells what the quotes mean
    for first in (b"1,2,3\n", b'"1"x,2,3\n'):
        for rows, says in (
            (b"\n" * 2, ""),
            (b"1,2\n" * 4, ""),
            (b"1,2,3,4\n" * 4, ""),
            (b"\n" * 4, "lacks more than 6 cells in its rows"),
            (b"1,2\n" * 5, "5 rows with too few or too many cells"),
            (b"1,2,3,4\n" * 5, "5 rows with too few or too many cells"),
        ):
            data = b"a,b,c\n" + first + rows
            if not says:
                assert len(read_table_bytes(data)) == 1 + rows.count(b"\n")
                continue
            with pytest.raises(RefusedInput, match=says):
                read_table_bytes(data)


def test_each_limit_is_just_where_it_is_said() -> None:
    small = replace(
        DEFAULT_BUDGET, most_columns=3, most_rows=4, most_cells=10, longest_line_bytes=8,
        most_table_bytes=40,
    )  # fmt: skip
    for data, says in (
        (b"a,b,c\n", ""),
        (b"a,b,c,d\n", "4 columns"),
        (b"a\n1\n2\n3\n", ""),
        (b"a\n1\n2\n3\n4\n", "5 rows"),
        (b"a,b,c\n1,1,1\n2,2,2\n", ""),
        (b"a,b,c\n1,1,1\n2,2,2\n3,3,3\n", "12 cells"),
    ):
        for found in (why_unreadable(data, small), why_no_table([data], small)):
            assert bool(found) is bool(says), data
            assert says in found
    assert why_no_table([b"a\n12345678\n"], small) == ""
    assert "a line of more than 8" in why_no_table([b"a\n1234", b"56789\n"], small)
    assert "a line of more than 8" in why_unreadable(b"a\n" + b"1" * 24, small)
    assert "more than 40 bytes" in why_no_table([b"a\n" * 30], small)
    assert "NUL" in why_no_table([b"a\n\x00"], small)


def test_a_table_file_beyond_the_budget_is_not_read(tmp_path: Path) -> None:
    """A file of one terabyte takes no room on a disk where nothing is written in it."""
    from tests.builders import a_package

    package = a_package(tmp_path).with_row("party").package
    with open(package.table_path("party"), "ab") as stream:
        stream.truncate(10**12)
    with pytest.raises(RefusedInput, match=r"party\.csv has 1,000,000,000,000 bytes"):
        package.tables.texts("party")

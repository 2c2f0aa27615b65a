"""Every record of a table keeps the number that the reader of the file sees."""

from __future__ import annotations

import csv
import io
import random
from pathlib import Path

import polars as pl
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from provenance._base.errors import UnusablePackage
from provenance._base.frames import write_csv
from provenance._record.reading import TableText, read_table_bytes, read_table_text, table_of
from provenance._record.tables import ROW


def _read(folder: Path, content: bytes) -> TableText:
    path = folder / "element.csv"
    path.write_bytes(content)
    return read_table_text(path)


def _rows(text: TableText) -> list[tuple[object, ...]]:
    return text.frame.rows()


def test_rows_are_counted_from_the_header(tmp_path: Path) -> None:
    assert _rows(_read(tmp_path, b"a,b\n1,2\n3,4\n")) == [(2, "1", "2"), (3, "3", "4")]


def test_a_line_end_inside_quotes_is_not_the_end_of_a_row(tmp_path: Path) -> None:
    text = _read(tmp_path, b'a,b\n1,"two\nlines, and a ""quote"""\n3,4\n')
    assert _rows(text) == [(2, "1", 'two\nlines, and a "quote"'), (3, "3", "4")]


def test_a_blank_row_is_counted_and_named(tmp_path: Path) -> None:
    text = _read(tmp_path, b"a,b\n1,2\n\n,\n3,4\n")
    assert text.blank.to_list() == [3, 4]
    assert _rows(text)[-1] == (5, "3", "4")
    assert text.faults.short == {3: 0}


def test_columns_that_are_not_there_are_blank_and_no_columns_are_rows_all_the_same(
    tmp_path: Path,
) -> None:
    text = _read(tmp_path, b"a,b\n1,2\n3,4\n")
    assert [*text.tuples(["c", "b"])] == [("", "2"), ("", "4")]
    assert [*text.tuples(["c"])] == [("",), ("",)]
    assert [*text.tuples([])] == [(), ()]
    assert [*_read(tmp_path, b"a,b\n").tuples(["c", "b"])] == []


def test_short_and_long_rows_are_mended_and_named(tmp_path: Path) -> None:
    text = _read(tmp_path, b'a,b,c\n1\n1,2,3,4,"5,6"\n1,2,3\n"x,y",2\n')
    assert text.faults.short == {2: 1, 5: 2}
    assert text.faults.long == {3: (5, "4,5,6")}
    assert _rows(text)[3] == (5, "x,y", "2", "")


def test_a_long_row_does_not_make_up_for_a_short_one(tmp_path: Path) -> None:
    """The file has as many commas as it should have."""
    text = _read(tmp_path, b"a,b\n1\n1,2,3\n4,5\n")
    assert text.faults.short == {2: 1}
    assert text.faults.long == {3: (3, "3")}


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbfa,b\n1,2\n3,4\n",
        b"a,b\r\n1,2\r\n3,4\r\n",
        b"a,b\r1,2\r3,4\r",
        b"a,b\n1,2\r\n3,4",
        b'"a",b\n"1","2"\r\n3,"4"',
    ],
    ids=["byte order mark", "CRLF", "CR", "mixed", "quoted"],
)
def test_line_ends_and_marks_of_every_system_read_alike(tmp_path: Path, content: bytes) -> None:
    text = _read(tmp_path, content)
    assert text.labels == ("a", "b")
    assert _rows(text) == [(2, "1", "2"), (3, "3", "4")]


def test_a_cell_that_is_not_utf8_is_named_and_its_bytes_are_shown(tmp_path: Path) -> None:
    text = _read(tmp_path, b"a,b\n1,sound\n2,M\xe4rz\n")
    assert text.faults.undecodable == {3: (1,)}
    assert _rows(text)[1] == (3, "2", "M\\xe4rz")


def test_a_quote_that_is_never_closed_is_named(tmp_path: Path) -> None:
    text = _read(tmp_path, b'a,b\n1,"two\n3,4\n5,6\n')
    assert text.faults.unclosed == 2
    assert _rows(text) == [(2, "1", "two\n3,4\n5,6\n")]


def test_a_row_that_says_what_the_reader_adds_hides_nothing(tmp_path: Path) -> None:
    """The line that detects an unclosed quote may stand in the file itself."""
    text = _read(tmp_path, b'a,b"\nend,end\n1,2\n')
    assert [row[0] for row in _rows(text)] == [2, 3]
    assert text.faults.unclosed is None


def test_a_quote_inside_a_cell_is_kept_as_written(tmp_path: Path) -> None:
    assert _rows(_read(tmp_path, b'a,b\n1,3/4" thick\n2,x\n')) == [
        (2, "1", '3/4" thick'),
        (3, "2", "x"),
    ]


def test_an_empty_file_is_said_to_be_empty(tmp_path: Path) -> None:
    assert _read(tmp_path, b"").empty
    assert _read(tmp_path, b"\xef\xbb\xbf").empty
    assert not _read(tmp_path, b"a,b\n").empty


def test_a_blank_first_line_is_no_header(tmp_path: Path) -> None:
    text = _read(tmp_path, b"\na,b\n1,2\n")
    assert text.labels == ()
    assert len(text) == 2


def test_of_two_columns_with_one_label_the_first_counts(tmp_path: Path) -> None:
    assert _rows(_read(tmp_path, b"a,b,a\n1,2,3\n")) == [(2, "1", "2")]


def test_a_column_labelled_row_does_not_take_the_place_of_the_row_number(tmp_path: Path) -> None:
    assert _rows(_read(tmp_path, b"row,b\n9,2\n")) == [(2, "2")]


def test_a_cell_of_a_million_characters_is_read(tmp_path: Path) -> None:
    long = "x" * 1_000_000
    assert _rows(_read(tmp_path, f"a,b\n1,{long}\n2\n".encode()))[0] == (2, "1", long)


def test_a_header_without_end_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnusablePackage, match="6,000 columns"):
        _read(tmp_path, b",".join(b"x%d" % number for number in range(6000)) + b"\n1\n")


def test_python_keeps_its_own_limit_for_long_cells(tmp_path: Path) -> None:
    before = csv.field_size_limit()
    _read(tmp_path, b"a,b\n1\n")
    assert csv.field_size_limit() == before


def test_a_large_file_reads_as_python_reads_it(tmp_path: Path) -> None:
    """Records are counted many at once: too long ones must not make up for short ones there."""
    rng = random.Random(5)
    rows = []
    for number in range(4_000):
        width = rng.choices((4, 0, 1, 3, 5, 7), (94, 1, 1, 2, 1, 1))[0]
        cells = [rng.choice(("", "plain", 'a "b", c', "two\nlines")) for _ in range(width)]
        rows.append([str(number), *cells[1:]] if cells else [])
    written = io.StringIO(newline="")
    csv.writer(written, lineterminator="\n").writerows([["a", "b", "c", "d"], *rows])
    text = _read(tmp_path, written.getvalue().encode())
    width = dict(enumerate(map(len, rows), start=2))
    assert text.faults.short == {row: count for row, count in width.items() if count < 4}
    assert {row: count for row, (count, _) in text.faults.long.items()} == {
        row: count for row, count in width.items() if count > 4
    }
    assert [row[1:] for row in _rows(text)] == [tuple((cells + [""] * 4)[:4]) for cells in rows]


_PIECES = st.sampled_from(
    ["a", "7", ",", ",", "\n", "\n", "\r\n", "\r", '"', '""', '","', " ", "ä", "€", "end,end"]
)


@given(pieces=st.lists(_PIECES, max_size=40))
@example(pieces=["a", '"', "\n", '"'])
def test_any_file_reads_as_python_reads_it(
    tmp_path_factory: pytest.TempPathFactory, pieces: list[str]
) -> None:
    """Oracle: Python's csv module, which the reference library reads with as well."""
    content = "".join(pieces)
    expected = list(csv.reader(io.StringIO(content, newline="")))
    text = _read(tmp_path_factory.getbasetemp(), content.encode())
    assert list(text.labels) == (expected[0] if expected else [])
    assert len(text) == max(len(expected) - 1, 0)
    if not text.labels:
        return
    width = len(text.labels)
    for (row, *_), cells in zip(text.frame.select(ROW).rows(), expected[1:], strict=True):
        assert text.faults.short.get(row, width) == min(len(cells), width)
        assert (row in text.faults.long) == (len(cells) > width)
        assert (row in text.blank) == (not any(cells[:width]))
        for label in set(text.labels) - {"", ROW}:
            place = text.labels.index(label)
            written = cells[place] if place < len(cells) else ""
            assert text.frame[label][row - 2] == written


@given(
    cells=st.lists(
        st.lists(st.text(st.sampled_from('ab,"\n\r ä'), max_size=6), min_size=3, max_size=3),
        min_size=1,
        max_size=12,
    ),
    ending=st.sampled_from(["\n", "\r\n"]),
)
def test_what_a_program_wrote_reads_back_as_it_was(
    tmp_path_factory: pytest.TempPathFactory, cells: list[list[str]], ending: str
) -> None:
    written = io.StringIO(newline="")
    # without quotes around everything, the csv module leaves a lone carriage return bare
    writer = csv.writer(written, lineterminator=ending, quoting=csv.QUOTE_ALL)
    writer.writerows([["x", "y", "z"], *cells])
    text = _read(tmp_path_factory.getbasetemp(), written.getvalue().encode())
    assert [list(row[1:]) for row in _rows(text)] == cells
    assert not text.faults.short
    assert not text.faults.long


def same(text: TableText, other: TableText) -> bool:
    return (
        (text.labels, text.faults, text.empty, text.unwritten)
        == (other.labels, other.faults, other.empty, other.unwritten)
        and text.frame.equals(other.frame)
        and text.frame.schema == other.frame.schema
        and text.blank.equals(other.blank)
    )


@given(
    rows=st.lists(st.tuples(*[st.text(st.sampled_from('ab,"\n\r ä'), max_size=3)] * 3), max_size=9)
)
@example(rows=[("", "", ""), ("", "", "x")])
def test_a_table_in_memory_is_what_will_be_read_of_its_file(
    rows: list[tuple[str, str, str]],
) -> None:
    frame = pl.DataFrame(rows, schema=dict.fromkeys("xyz", pl.String), orient="row")
    written = io.BytesIO()
    write_csv(written, frame)
    assert same(table_of(frame), read_table_bytes(written.getvalue()))

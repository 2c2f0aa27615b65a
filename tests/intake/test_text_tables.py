"""Text tables of any dialect and encoding in common use are read as they were written."""

from __future__ import annotations

import csv
import itertools

import pytest

from provenance._base.errors import UnusableInput
from provenance._gate.budget import SheetBudget
from provenance._intake.files.encodings import find_encoding
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import TextHabits
from provenance._intake.files.text_tables import TextTable

ROWS = [
    ["No", "Größe", "Notes, etc"],
    ["1", '7 3/8"', "two\nlines"],
    ["2", "12' 6 1/2\"", "a; b|c"],
    ["3", "1,5", ""],
    ["4", "½", "it's ok"],
    ["5", "", "Zoë; Péron"],
]


def read(path, **habits):
    table = TextTable(path, TextHabits(**habits), SheetBudget())
    return [cells for _, cells in table.rows()]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_every_dialect_of_the_csv_library_comes_back(tmp_path, delimiter, encoding) -> None:
    """Python's csv module writes (RFC 4180 and its common variants); the reader finds out how."""
    path = tmp_path / "form.csv"
    choices = itertools.product(
        ['"', "'"], [True, False], ["\r\n", "\n"], [csv.QUOTE_MINIMAL, csv.QUOTE_ALL]
    )
    for quote, doubled, end, quoting in choices:
        with open(path, "w", encoding=encoding, newline="") as stream:
            csv.writer(
                stream,
                delimiter=delimiter,
                quotechar=quote,
                doublequote=doubled,
                escapechar=None if doubled else "\\",
                lineterminator=end,
                quoting=quoting,
            ).writerows(ROWS)
        assert read(path) == ROWS, (quote, doubled, end, quoting)


@pytest.mark.parametrize("dialect", csv.list_dialects())
def test_the_named_dialects_of_the_csv_library_come_back(tmp_path, dialect) -> None:
    path = tmp_path / "form.csv"
    with open(path, "w", encoding="utf-8", newline="") as stream:
        csv.writer(stream, dialect).writerows(ROWS)
    assert read(path) == ROWS


@pytest.mark.parametrize(
    ("encoding", "text"),
    [
        ("cp1252", "1,Zoë Farrowgill,½ in\n"),
        ("cp1252", "1,the ‘big’ beam’s end,7\n"),
        ("cp1252", "1,48° – 50°,“bark on”\n"),
        ("mac_roman", "1,Zoë Farrowgill,3 in\n"),
        ("mac_roman", "1,the ‘big’ beam’s end,7\n"),
        ("cp850", "1,Ständer größer als 7½,Säge\n"),
        ("cp850", "1,año señal niño cañón,7\n"),
    ],
)
def test_old_encodings_are_told_by_where_their_letters_stand(tmp_path, encoding, text) -> None:
    path = tmp_path / "form.csv"
    whole = "No,Text,More\n" + "2,plain,7 3/8\n" * 200 + text
    path.write_bytes(whole.encode(encoding))
    found = find_encoding(path)
    assert whole.encode(encoding).decode(found.name) == whole
    assert "encoding:" in found.remark
    assert "line 202" in found.remark


def test_a_named_encoding_goes_before_every_guess(tmp_path) -> None:
    path = tmp_path / "form.csv"
    path.write_bytes("No,Name\n1,Łódź\n".encode("cp1250"))
    assert read(path, encoding="cp1250")[1] == ["1", "Łódź"]


def test_an_encoding_that_does_not_exist_is_named(tmp_path) -> None:
    path = tmp_path / "form.csv"
    path.write_text("a,b\n")
    with pytest.raises(UnusableInput, match="'latin-99', which does not exist"):
        read(path, encoding="latin-99")


def test_a_wrong_named_encoding_is_an_error_not_a_guess(tmp_path) -> None:
    path = tmp_path / "form.csv"
    path.write_bytes("No,Name\n1,Zoë\n".encode("cp1252"))
    with pytest.raises(UnusableInput, match=r"form\.csv is not utf-8"):
        read(path, encoding="utf-8")


def test_utf8_with_one_spoilt_byte_names_the_line(tmp_path) -> None:
    path = tmp_path / "form.csv"
    path.write_bytes("No,Name\n1,Zoë\n2,Péron\n3,Ægir\n".encode() + b"4,caf\xe9\n")
    with pytest.raises(UnusableInput, match=r"first in row 5 \(0xE9\)"):
        read(path)


def test_rows_are_counted_as_a_spreadsheet_counts_them(tmp_path) -> None:
    """A quoted line break makes no new row; an empty line is a row."""
    path = tmp_path / "form.csv"
    path.write_text('No,Notes\n1,"one\ntwo\nthree"\n\n3,x\n')
    rows = TextTable(path, TextHabits(), SheetBudget()).rows()
    assert [number for number, _ in rows] == [1, 2, 4]


def test_lone_carriage_returns_end_lines(tmp_path) -> None:
    path = tmp_path / "form.csv"
    path.write_bytes(b"No,Size\r1,7\r2,8\r")
    assert read(path) == [["No", "Size"], ["1", "7"], ["2", "8"]]


def test_a_line_that_names_the_separator_is_obeyed_and_is_no_row(tmp_path) -> None:
    path = tmp_path / "form.csv"
    path.write_text("sep=|\nNo|Size, in\n1|7,5\n")
    assert read(path) == [["No", "Size, in"], ["1", "7,5"]]


def test_decimal_commas_do_not_look_like_columns(tmp_path) -> None:
    path = tmp_path / "form.csv"
    path.write_text("x;y;z\n1,5;2,5;3,5\n1,25;2,25;3\n")
    assert read(path)[1] == ["1,5", "2,5", "3,5"]


def test_inch_marks_that_nobody_quoted_are_kept(tmp_path) -> None:
    path = tmp_path / "form.tsv"
    path.write_text('No\tSize\tLength\n1\t7 3/8"\t12\' 6"\n2\t8"\t3\'\n')
    assert read(path)[1] == ["1", '7 3/8"', "12' 6\""]


def test_a_column_of_quoted_numbers_is_no_single_quoted_table(tmp_path) -> None:
    path = tmp_path / "form.csv"
    path.write_text("No,Length\n1,12'\n2,13'\n3,14'\n")
    assert read(path)[1:] == [["1", "12'"], ["2", "13'"], ["3", "14'"]]


def test_a_quote_that_is_never_closed_is_named_with_its_row(tmp_path) -> None:
    path = tmp_path / "form.csv"
    path.write_text("No,Notes\n1,ok\n" + '2,"open\n' + "3,more\n" * 500)
    with pytest.raises(UnusableInput, match=r"form\.csv, row 3: .*never closed"):
        read(path)


def test_a_file_above_the_limit_is_refused_before_it_is_read(tmp_path) -> None:
    """200 MB on disk (sparse), and nothing of it read."""
    path = tmp_path / "form.csv"
    with open(path, "wb") as stream:
        stream.write(b"No,Size\n")
        stream.truncate(200 << 20)
    with pytest.raises(UnusableInput, match=r"has 200 MB; .* hand it in as several files"):
        open_received(path)


def test_too_many_cells_are_refused_while_reading(tmp_path) -> None:
    path = tmp_path / "form.csv"
    path.write_text("No,Size\n" + "1,7\n" * 100)
    table = TextTable(path, TextHabits(), SheetBudget(cells=50))
    with pytest.raises(UnusableInput, match=r"row 26: .*50 cells"):
        list(table.rows())


def test_zero_bytes_are_no_text(tmp_path) -> None:
    path = tmp_path / "form.csv"
    path.write_bytes(b"No,Size\n1,\x00\n" * 5)
    with pytest.raises(UnusableInput, match="zero bytes"):
        open_received(path)

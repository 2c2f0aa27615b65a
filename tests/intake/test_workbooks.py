"""Workbooks are read with what a person should know of them, and hostile ones are refused.

Written by openpyxl, odfpy and (where installed) LibreOffice; values held against python-calamine,
which this project does not read with.
"""

from __future__ import annotations

import io
import shutil
import zipfile
from contextlib import closing
from datetime import date, datetime, time, timedelta

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import CoveredTableCell, Table, TableCell, TableColumn, TableRow
from odf.text import P
from openpyxl.styles import PatternFill

from provenance._base.errors import UnusableInput
from provenance._gate.budget import SheetBudget
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import ErrorCell, UncachedFormula, shown


def rows_of(path, sheet=None, **limits):
    with closing(open_received(path, limits=SheetBudget(**limits))) as received:
        return list(received.sheet(sheet or received.sheet_names[0]).rows())


def facts_of(path, sheet=None):
    with closing(open_received(path)) as received:
        return received.sheet(sheet or received.sheet_names[0]).facts()


@pytest.fixture(scope="module")
def crowded(tmp_path_factory):
    """A workbook with one of everything that goes wrong on field forms."""
    path = tmp_path_factory.mktemp("books") / "crowded.xlsx"
    book = openpyxl.Workbook()
    page = book.active
    page.title = "Timbers"
    page.append(["No", "Size", "Seen", "At", "Whole", "Sum"])
    page.append(["007", 1.5, date(2023, 6, 5), time(3, 30), 12, "=1+1"])
    page.append(["3/8", 45082, datetime(2023, 6, 5, 12, 30), timedelta(hours=30), True, "=A1/0"])
    page["A5"] = "#REF!"
    page["A5"].data_type = "e"
    page.merge_cells("B6:C7")
    page["B6"] = "merged"
    page.row_dimensions[3].hidden = True
    page.column_dimensions["C"].hidden = True
    hidden = book.create_sheet("Old")
    hidden["A1"] = 1
    hidden.sheet_state = "hidden"
    book.save(path)
    return path


def test_cells_keep_their_kind(crowded) -> None:
    rows = dict(rows_of(crowded))
    assert rows[2][:5] == ["007", 1.5, datetime(2023, 6, 5), time(3, 30), 12]
    assert rows[3][:5] == ["3/8", 45082, datetime(2023, 6, 5, 12, 30), timedelta(hours=30), True]
    assert 4 not in rows


def test_error_cells_are_not_blank(crowded) -> None:
    assert dict(rows_of(crowded))[5][0] == ErrorCell("#REF!")


def test_a_workbook_under_the_name_of_a_text_table_is_read_for_what_it_is(
    crowded, tmp_path
) -> None:
    renamed = tmp_path / "timbers.csv"
    shutil.copy(crowded, renamed)
    assert rows_of(renamed) == rows_of(crowded)


def test_a_formula_without_its_result_is_not_blank(crowded) -> None:
    assert dict(rows_of(crowded))[2][5] == UncachedFormula("=1+1")


def test_formulas_merged_and_hidden_cells_are_told(crowded) -> None:
    facts = facts_of(crowded)
    assert facts.formulas == {(2, 6): "=1+1", (3, 6): "=A1/0"}
    assert [str(area) for area in facts.merged] == ["B6:C7"]
    assert (facts.hidden_rows, facts.hidden_columns) == ({3}, {3})
    assert facts.epoch == 1900
    assert not facts_of(crowded, "Old").visible


def test_day_numbers_of_the_other_epoch_are_told(tmp_path) -> None:
    """The 1904 date system, ECMA-376 Part 1, 18.17.4.1."""
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    book = openpyxl.Workbook()
    book.epoch = CALENDAR_MAC_1904
    book.active.append([date(2023, 6, 5)])
    book.save(tmp_path / "mac.xlsx")
    assert facts_of(tmp_path / "mac.xlsx").epoch == 1904
    assert dict(rows_of(tmp_path / "mac.xlsx"))[1][0] == datetime(2023, 6, 5)


def test_one_stray_cell_far_away_does_no_harm(tmp_path) -> None:
    book = openpyxl.Workbook()
    book.active["A1"] = "No"
    book.active["AZ90000"] = "stray"
    book.save(tmp_path / "stray.xlsx")
    rows = rows_of(tmp_path / "stray.xlsx")
    assert [number for number, _ in rows] == [1, 90000]


def test_the_stated_size_of_a_sheet_is_not_believed(tmp_path) -> None:
    """Some programs write a dimension that is too small; the cells beyond it are read as well."""
    path = tmp_path / "lying.xlsx"
    book = openpyxl.Workbook()
    for number in range(5):
        book.active.append([number, "x", "y"])
    book.save(tmp_path / "honest.xlsx")
    with zipfile.ZipFile(tmp_path / "honest.xlsx") as before, zipfile.ZipFile(path, "w") as after:
        for name in before.namelist():
            content = before.read(name)
            after.writestr(name, content.replace(b'ref="A1:C5"', b'ref="A1:A2"'))
    assert len(rows_of(path)) == 5
    assert len(rows_of(path)[4][1]) == 3


@pytest.mark.heavy
@pytest.mark.parametrize("kind", ["ods", "xlsx"])
def test_what_libreoffice_saves_is_read_alike(
    crowded, saved_by_libreoffice, tmp_path, kind
) -> None:
    path = saved_by_libreoffice(crowded, kind, tmp_path)
    rows = dict(rows_of(path))
    assert [shown(value) for value in rows[2]] == ["007", "1.5", "2023-06-05", "03:30", "12", "2"]
    assert [shown(value) for value in rows[3]][:3] == ["3/8", "45082", "2023-06-05 12:30:00"]
    assert isinstance(rows[3][5], ErrorCell)
    facts = facts_of(path)
    assert (2, 6) in facts.formulas
    assert [str(area) for area in facts.merged] == ["B6:C7"]
    assert (facts.hidden_rows, facts.hidden_columns) == ({3}, {3})
    assert not facts_of(path, "Old").visible


@pytest.mark.heavy
@pytest.mark.parametrize("kind", ["ods", "xlsx"])
def test_values_agree_with_an_independent_reader(
    crowded, saved_by_libreoffice, tmp_path, kind
) -> None:
    """python-calamine reads the same values, but for error cells, which it leaves out."""
    from python_calamine import CalamineWorkbook

    path = saved_by_libreoffice(crowded, kind, tmp_path)
    sheet = CalamineWorkbook.from_path(path).get_sheet_by_name("Timbers")
    theirs = sheet.to_python(skip_empty_area=False)
    for number, ours in rows_of(path):
        for place, value in enumerate(ours):
            other = theirs[number - 1][place] if number <= len(theirs) else ""
            if isinstance(value, ErrorCell | timedelta):
                continue
            if isinstance(value, datetime) and not isinstance(other, datetime):
                value = value.date()
            assert value == (None if other == "" else other), (number, place)


def odf(path, *tables):
    document = OpenDocumentSpreadsheet()
    for table in tables:
        document.spreadsheet.addElement(table)
    document.save(path)
    return path


def text_cell(text, **attributes):
    cell = TableCell(valuetype="string", **attributes)
    for paragraph in text.split("\n"):
        cell.addElement(P(text=paragraph))
    return cell


def test_an_odfpy_table_with_repeats_and_spans_is_read(tmp_path) -> None:
    """OpenDocument 1.3 Part 3: number-columns-repeated, number-rows-repeated, spans, formulas."""
    table = Table(name="Timbers")
    table.addElement(TableColumn(numbercolumnsrepeated=4))
    row = TableRow()
    row.addElement(text_cell("two\nlines"))
    row.addElement(TableCell(numbercolumnsrepeated=2))
    row.addElement(text_cell("x", numbercolumnsrepeated=2))
    table.addElement(row)
    table.addElement(TableRow(numberrowsrepeated=3))
    row = TableRow(numberrowsrepeated=2)
    row.addElement(TableCell(valuetype="float", value="7.375"))
    row.addElement(TableCell(valuetype="date", datevalue="2023-06-05"))
    row.addElement(TableCell(valuetype="time", timevalue="PT03H30M00S"))
    row.addElement(TableCell(valuetype="boolean", booleanvalue="true"))
    table.addElement(row)
    row = TableRow()
    row.addElement(text_cell("wide", numbercolumnsspanned=2, numberrowsspanned=1))
    row.addElement(CoveredTableCell())
    row.addElement(TableCell(formula="of:=[.A1]"))
    row.addElement(TableCell(valuetype="float", value="2", formula="of:=1+1"))
    table.addElement(row)
    path = odf(tmp_path / "t.ods", table)
    values = [7.375, date(2023, 6, 5), time(3, 30), True]
    assert rows_of(path) == [
        (1, ["two\nlines", None, None, "x", "x"]),
        (5, values),
        (6, values),
        (7, ["wide", None, UncachedFormula("=[.A1]"), 2]),
    ]
    facts = facts_of(path)
    assert [str(area) for area in facts.merged] == ["A7:B7"]
    assert facts.formulas[7, 4] == "=1+1"


def test_repeats_that_explode_are_refused(tmp_path) -> None:
    table = Table(name="Timbers")
    row = TableRow(numberrowsrepeated=1_000_000)
    row.addElement(text_cell("x", numbercolumnsrepeated=16_000))
    table.addElement(row)
    path = odf(tmp_path / "bomb.ods", table)
    with pytest.raises(UnusableInput, match=r"sheet 'Timbers' has more than"):
        rows_of(path)


def archive(path, **parts):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name.replace("__", "/").replace("_DOT_", "."), content)
    return path


def test_a_workbook_that_unpacks_to_too_much_is_refused(tmp_path) -> None:
    path = archive(
        tmp_path / "bomb.xlsx",
        xl__workbook_DOT_xml="<workbook/>",
        xl__worksheets__sheet1_DOT_xml=b"0" * (3 << 20),
    )
    assert path.stat().st_size < 10_000
    with pytest.raises(UnusableInput, match="unpacks to 3 MB"):
        open_received(path, limits=SheetBudget(unpacked_bytes=1 << 20))


def exchanged(path, part, old, new):
    """A workbook in which bytes of a part are others."""
    with zipfile.ZipFile(path) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    assert old in parts[part], part
    parts[part] = parts[part].replace(old, new, 1)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name, content)
    return path


def test_a_place_that_no_sheet_has_is_not_counted_up_to(tmp_path) -> None:
    """ECMA-376 Part 1, 18.3.1.4 and 18.3.1.73: a cell and a row say where they stand."""
    sheet = "xl/worksheets/sheet1.xml"
    for old, new in (
        (b'r="A1"', b'r="A99999999999"'),
        (b'r="A1"', b'r="XFE1"'),
        (b'r="A1"', b'r="A0"'),
        (b'<row r="1"', b'<row r="99999999999"'),
        (b'<row r="1"', b'<row r="-7"'),
        (b'<mergeCell ref="A1:B1"', b'<mergeCell ref="A1:XFD9999999"'),
    ):
        book = openpyxl.Workbook()
        book.active.append(["No", "Size"])
        book.active.merge_cells("A1:B1")
        book.save(tmp_path / "strange.xlsx")
        with pytest.raises(UnusableInput, match="which no spreadsheet has"):
            rows_of(exchanged(tmp_path / "strange.xlsx", sheet, old, new))


def test_a_cell_far_to_the_right_is_named_unless_it_is_blank(tmp_path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["No", "Size"])
    book.active["XFD1"].fill = PatternFill("solid", fgColor="FFFF00")
    book.save(tmp_path / "colored.xlsx")
    assert rows_of(tmp_path / "colored.xlsx") == [(1, ["No", "Size"])]
    book.active["XFD1"] = "x"
    book.save(tmp_path / "wide.xlsx")
    with pytest.raises(UnusableInput, match="row 1 has something in column XFD; 2,000 columns"):
        rows_of(tmp_path / "wide.xlsx")


def test_a_part_that_is_read_by_the_way_is_no_bomb_either(tmp_path) -> None:
    """The theme is read by the library, and by a link between parts anything else is."""
    book = openpyxl.Workbook()
    book.active.append(["No"])
    book.save(tmp_path / "book.xlsx")
    theme = "xl/theme/theme1.xml"
    path = exchanged(tmp_path / "book.xlsx", theme, b"</a:theme>", b" " * (3 << 20) + b"</a:theme>")
    with pytest.raises(UnusableInput, match="unpacks to 3 MB"):
        rows_of(path, unpacked_bytes=1 << 20)


def test_entities_neither_multiply_nor_bring_a_file_in(tmp_path) -> None:
    """CWE-776 and CWE-611, in the parts that the library reads by itself."""
    (tmp_path / "secret").write_text("a secret", encoding="utf-8")
    laughs = "".join(f"<!ENTITY l{n} '{f'&l{n - 1};' * 10}'>" for n in range(1, 12))
    book = openpyxl.Workbook()
    book.active.append(["No", "Size"])
    book.save(tmp_path / "sound.xlsx")
    with zipfile.ZipFile(tmp_path / "sound.xlsx") as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    for entities in (
        f"<!ENTITY l0 'ha'>{laughs}",
        f"<!ENTITY l11 SYSTEM 'file://{tmp_path}/secret'>",
    ):
        document_type = f"<!DOCTYPE x [{entities}]>".encode()
        for part, content in parts.items():
            begin = content.index(b"?>") + 2 if content.startswith(b"<?xml") else 0
            head, text, tail = content[begin:].partition(b">No<")
            if not text:
                head, text, tail = content[begin:].rpartition(b"</")
            changed = content[:begin] + document_type + head
            changed += b">&l11;<" + tail if text == b">No<" else b"&l11;" + text + tail
            shutil.copy(tmp_path / "sound.xlsx", tmp_path / "entities.xlsx")
            try:
                said = rows_of(exchanged(tmp_path / "entities.xlsx", part, content, changed))
            except UnusableInput as error:
                said = str(error)
            assert len(str(said)) < 2_000, part
            assert "a secret" not in str(said)
            assert "haha" not in str(said)


def test_a_repetition_that_is_none_counts_once(tmp_path) -> None:
    path = tmp_path / "negative.ods"
    document = OpenDocumentSpreadsheet()
    table = Table(name="Timbers")
    for repeated in ("-3", "0", "1"):
        row = TableRow(numberrowsrepeated=repeated)
        row.addElement(text_cell("x", numbercolumnsrepeated=repeated))
        table.addElement(row)
    document.spreadsheet.addElement(table)
    document.save(path)
    assert rows_of(path) == [(1, ["x"]), (2, ["x"]), (3, ["x"])]


def test_a_document_type_in_a_sheet_is_refused(tmp_path) -> None:
    """Entities that multiply need a document type, which office files never have."""
    path = tmp_path / "laughs.ods"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        packed.writestr("META-INF/manifest.xml", "<manifest/>")
        packed.writestr("content.xml", '<!DOCTYPE x [<!ENTITY a "ha">]><x>&a;</x>')
    with pytest.raises(UnusableInput, match="document type"):
        open_received(path)


def test_too_many_cells_in_a_workbook_are_refused(tmp_path) -> None:
    book = openpyxl.Workbook()
    for _ in range(20):
        book.active.append(["a", "b", "c"])
    book.save(tmp_path / "many.xlsx")
    with pytest.raises(UnusableInput, match=r"many\.xlsx, sheet 'Sheet' has more than 50 cells"):
        rows_of(tmp_path / "many.xlsx", cells=50)


def foreign_files(folder):
    ole = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600
    locked_ods = folder / "locked.ods"
    with zipfile.ZipFile(locked_ods, "w") as packed:
        packed.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        packed.writestr("META-INF/manifest.xml", "<manifest:encryption-data/>")
        packed.writestr("content.xml", "x")
    contents = {
        "old.xls": (ole + "Workbook".encode("utf-16-le"), "before 2007"),
        "locked.xlsx": (ole + "EncryptedPackage".encode("utf-16-le"), "password"),
        "report.pdf": (b"%PDF-1.7 ...", "is a PDF"),
        "page.xls": (b"<html><table><tr><td>1</td></tr></table></html>", "web page"),
        "sheet.xml": (b"<?xml version='1.0'?><Workbook/>", "is XML"),
        "photo.csv": (b"\x89PNG\r\n\x1a\n" + b"\0" * 20, "is a picture"),
        "cut.xlsx": (b"PK\x03\x04" + b"\0" * 50, "damaged or cut off"),
        "empty.csv": (b"", "is empty"),
        "blank.csv": (b"\xef\xbb\xbf \r\n\n", "is empty"),
    }
    for name, (content, word) in contents.items():
        (folder / name).write_bytes(content)
        yield folder / name, word
    yield locked_ods, "password"
    yield archive(folder / "letter.docx", word__document_DOT_xml="<w/>"), "text document"
    yield archive(folder / "b.xlsb", xl__workbook_DOT_bin="x"), "binary workbook"
    yield archive(folder / "any.zip", form_DOT_csv="a,b"), "is an archive"
    yield archive(folder / "n.numbers", Index__Document_DOT_iwa="x"), "Numbers"
    yield archive(folder / "broken.xlsx", xl__workbook_DOT_xml="<workbook"), "save it again"
    yield folder / "missing.xlsx", "check the name"
    yield folder, "is a folder"


def test_what_is_no_table_is_named_for_what_it_is(tmp_path) -> None:
    count = 0
    for path, word in foreign_files(tmp_path):
        with pytest.raises(UnusableInput, match=word) as caught:
            open_received(path)
        assert path.name in str(caught.value)
        count += 1
    assert count == 17


@settings(max_examples=60)
@given(
    kind=st.sampled_from(["xlsx", "ods"]),
    inside=st.booleans(),
    harm=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), min_size=1, max_size=6),
    which=st.integers(0, 50),
)
def test_a_damaged_workbook_is_read_or_refused_and_never_crashes(
    pristine, kind, inside, harm, which
) -> None:
    """A law: bytes changed anywhere, in the archive or in a part of it, raise nothing else."""
    whole = pristine[kind]
    path = pristine["folder"] / f"harmed.{kind}"
    if inside:
        with zipfile.ZipFile(io.BytesIO(whole)) as before, zipfile.ZipFile(path, "w") as after:
            names = before.namelist()
            for name in names:
                content = before.read(name)
                is_victim = name == names[which % len(names)]
                after.writestr(name, harmed(content, harm) if is_victim else content)
    else:
        path.write_bytes(harmed(whole, harm))
    said = path.name
    try:
        with closing(open_received(path)) as received:
            for name in received.sheet_names:
                received.sheet(name).facts()
                list(received.sheet(name).rows())
    except UnusableInput as refusal:
        said = str(refusal)
    assert path.name in said


def harmed(content, harm):
    spoilt = bytearray(content)
    for share, byte in harm:
        if spoilt:
            spoilt[int(share * (len(spoilt) - 1))] = byte
    return bytes(spoilt)


@pytest.fixture(scope="module")
def pristine(tmp_path_factory, crowded):
    """The bytes of a sound workbook of each kind."""
    folder = tmp_path_factory.mktemp("pristine")
    table = Table(name="Timbers")
    for text in ("No", "007"):
        row = TableRow()
        row.addElement(text_cell(text))
        row.addElement(TableCell(valuetype="float", value="7.375"))
        table.addElement(row)
    ods = odf(folder / "t.ods", table).read_bytes()
    return {"folder": folder, "xlsx": crowded.read_bytes(), "ods": ods}

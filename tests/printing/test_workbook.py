"""The crew's workbook: made from schema and profile, opened by independent readers."""

from __future__ import annotations

import csv
import json

import openpyxl
import pytest

from provenance._base.errors import TreenailError
from provenance._model.profile import load_model
from provenance._printing.workbook import (
    FIRST_ROW,
    HEADER_ROW,
    HELP_SHEET,
    LENGTHS,
    LISTS_SHEET,
    MARKER_SHEET,
    heading,
    sheet_name,
    write_workbook,
)
from tests.builders import a_package

MODEL = load_model("timber_frame")


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """The blank workbook as an independent reader (openpyxl) sees it."""
    path = write_workbook(MODEL, tmp_path_factory.mktemp("book") / "crew.xlsx")
    return openpyxl.load_workbook(path)


def test_there_is_one_sheet_a_table_and_a_sheet_that_explains(book) -> None:
    assert book.sheetnames[0] == HELP_SHEET
    for table in MODEL.of_role("record"):
        assert (sheet_name(table) in book.sheetnames) == bool(table.form_fields())


def test_headings_are_the_fields_of_schema_and_profile(book) -> None:
    sheet = book["Timbers"]
    shown = [cell.value for cell in sheet[HEADER_ROW + 1]]
    assert shown == [heading(one, one.unit) for one in MODEL.table("element").form_fields()]
    assert "Bay or truss" in shown


def test_every_heading_has_a_note_with_help_and_unit(book) -> None:
    for cell in book["Samples"][HEADER_ROW + 1]:
        assert cell.comment is not None
    bore = next(c for c in book["Samples"][HEADER_ROW + 1] if c.value.startswith("Bit size"))
    assert "Unit: mm." in bore.comment.text


def test_headings_are_locked_and_frozen_and_lines_are_not(book) -> None:
    sheet = book["Samples"]
    assert sheet.protection.sheet
    assert sheet.cell(HEADER_ROW + 1, 1).protection.locked
    assert not sheet.column_dimensions["B"].protection.locked
    assert sheet.freeze_panes == "B3"


def validations(sheet):
    """Column letter → validation, as the independent reader sees them."""
    return {
        str(v.sqref).split(":")[0].rstrip("0123456789"): v
        for v in sheet.data_validations.dataValidation
    }


def test_drop_downs_offer_exactly_the_labels_of_the_vocabulary(book) -> None:
    sheet = book["Timbers"]
    for column, one in enumerate(MODEL.table("element").form_fields(), start=1):
        if not one.vocabulary:
            continue
        letter = sheet.cell(1, column).column_letter
        rule = validations(sheet)[letter]
        first, last = rule.formula1.split("!")[1].replace("$", "").split(":")
        offered = [row[0].value for row in book[LISTS_SHEET][f"{first}:{last}"]]
        assert offered == [term.label for term in MODEL.vocabularies[one.vocabulary].terms]


def test_numbers_are_held_to_the_limits_of_the_schema(book) -> None:
    sheet = book["Samples"]
    names = [one.name for one in MODEL.table("sample").form_fields()]
    letter = sheet.cell(1, names.index("clock") + 1).column_letter
    rule = validations(sheet)[letter]
    assert (rule.type, rule.operator or "between") == ("decimal", "between")
    assert (float(rule.formula1), float(rule.formula2)) == (0, 12)


def test_a_length_may_be_typed_with_its_own_unit(book) -> None:
    """A rule that looks at numbers only; what a program makes of it is tried with LibreOffice."""
    sheet = book["Timbers"]
    lengths = 0
    for column, one in enumerate(MODEL.table("element").form_fields(), start=1):
        if one.type != "number":
            continue
        rule = validations(sheet)[sheet.cell(1, column).column_letter]
        assert (rule.type == "custom") == (one.unit in LENGTHS)
        lengths += rule.type == "custom"
    assert lengths > 5


@pytest.mark.heavy
def test_the_rule_for_lengths_lets_feet_and_inches_pass_and_wrong_numbers_not(
    book, tmp_path, saved_by_libreoffice
) -> None:
    """LibreOffice, headless, works the rule out as a formula beside each value."""
    page = book["Timbers"]
    names = [one.name for one in MODEL.table("element").form_fields()]
    letter = page.cell(1, names.index("length_m") + 1).column_letter
    rule = validations(page)[letter].formula1.lstrip("=")
    tried = openpyxl.Workbook()
    expected = {4.2: True, -1: False, 1e6: False, "9' 6\"": True, "5/8 in": True, "9 ft 6 in": True}
    for line, value in enumerate(expected, start=1):
        tried.active.cell(line, 1).value = value
        formula = rule.replace(f"{letter}{FIRST_ROW + 1}", f"A{line}")
        tried.active.cell(line, 2).value = f'=IF({formula},"yes","no")'
    tried.save(tmp_path / "tried.xlsx")
    answered = saved_by_libreoffice(tmp_path / "tried.xlsx", "csv", tmp_path)
    with open(answered, encoding="utf-8", newline="") as stream:
        answers = [row[1] == "yes" for row in csv.reader(stream)]
    assert answers == list(expected.values())


def test_the_marker_names_the_field_of_every_column(book) -> None:
    marker = json.loads(book[MARKER_SHEET]["A1"].value)
    assert book[MARKER_SHEET].sheet_state == "veryHidden"
    assert marker["treenail_workbook"] == 1
    samples = marker["sheets"]["Samples"]
    assert samples["table"] == "sample"
    assert set(samples["columns"].values()) == {
        one.name for one in MODEL.table("sample").form_fields()
    }


def test_the_same_model_gives_the_same_bytes(tmp_path) -> None:
    first = write_workbook(MODEL, tmp_path / "1.xlsx").read_bytes()
    assert write_workbook(MODEL, tmp_path / "2.xlsx").read_bytes() == first


def test_text_that_looks_like_a_formula_stays_text(tmp_path) -> None:
    package = a_package(tmp_path).with_chain().with_row("element", element_id="X", notes="=1+1")
    package = package.package
    frame = package.table("element")
    path = write_workbook(package.model, tmp_path / "filled.xlsx", rows={"element": frame})
    sheet = openpyxl.load_workbook(path)["Timbers"]
    cells = [c for c in sheet[FIRST_ROW + 2] if c.value == "=1+1"]
    assert [c.data_type for c in cells] == ["s"]


def test_a_filled_sheet_shows_labels_and_numbers(tmp_path) -> None:
    package = a_package(tmp_path).with_chain().package
    rows = {"sample": package.table("sample")}
    path = write_workbook(package.model, tmp_path / "filled.xlsx", rows=rows)
    sheet = openpyxl.load_workbook(path)["Samples"]
    names = [one.name for one in package.model.table("sample").form_fields()]
    line = dict(zip(names, [c.value for c in sheet[FIRST_ROW + 1]], strict=False))
    assert line["sample_id"] == "231"
    assert line["kind"] == "Core"
    assert line["bore_mm"] == 12.7


def test_a_text_that_no_cell_can_hold_is_refused_with_its_place(tmp_path) -> None:
    package = (
        a_package(tmp_path).with_chain().with_row("element", element_id="X", notes="x" * 40000)
    )
    package = package.package
    out = tmp_path / "filled.xlsx"
    with pytest.raises(TreenailError, match=r"'element'.*'notes'.*X.*40000"):
        write_workbook(package.model, out, rows={"element": package.table("element")})
    assert not out.exists()


@pytest.mark.heavy
def test_it_opens_clean_in_libreoffice(tmp_path, saved_by_libreoffice) -> None:
    """LibreOffice, headless, reads the workbook and writes its first sheet as CSV."""
    book = write_workbook(MODEL, tmp_path / "crew.xlsx")
    path = saved_by_libreoffice(book, "ods", tmp_path)
    from python_calamine import CalamineWorkbook

    again = CalamineWorkbook.from_path(str(path))
    assert "Samples" in again.sheet_names
    rows = again.get_sheet_by_name("Samples").to_python(skip_empty_area=False)
    assert rows[HEADER_ROW][0] == "Field specimen number *"

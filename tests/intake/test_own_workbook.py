"""The workbook that this project writes for a crew comes back without a mapping."""

from __future__ import annotations

import json

import openpyxl
import pytest

from provenance._base.errors import UnusableInput
from provenance._intake.mapping.workbook_marker import mapping_of_workbook
from provenance._model.profile import load_model
from provenance._printing.workbook import write_workbook
from tests.builders import a_package
from tests.intake.forms import bring_in, content_of


@pytest.fixture
def filled(tmp_path):
    """A package with one whole chain, and the workbook that shows it."""
    package = a_package(tmp_path).with_chain().package
    names = [table.name for table in package.model.of_role("record")]
    rows = {name: package.table(name) for name in names}
    return package, write_workbook(package.model, tmp_path / "crew.xlsx", rows=rows), rows


def same_record(before, package) -> None:
    for name, frame in before.items():
        key = list(package.model.table(name).primary_key)
        after = package.table(name).sort_values(key).to_dict("records")
        assert after == frame.sort_values(key).to_dict("records"), name


def test_a_filled_workbook_comes_back_as_it_was(filled, tmp_path) -> None:
    """Round trip: record → workbook → an empty package → the same record."""
    _, path, rows = filled
    empty = a_package(tmp_path / "other").package
    result = bring_in(empty, path, mapping=None)
    assert result.unread == 0
    assert [finding for finding in result.findings if finding.severity != "note"] == []
    same_record(rows, empty)


def test_a_filled_workbook_changes_nothing_in_its_own_package(filled) -> None:
    package, path, _ = filled
    tables = {k: v for k, v in content_of(package.folder).items() if k.startswith("tables/")}
    result = bring_in(package, path, mapping=None)
    assert result.added == {}
    assert result.changes == ()
    books = ("original", "origin", "act", "change", "party")  # the last is put in order
    intake = [f"tables/{name}.csv" for name in books]
    after = content_of(package.folder)
    assert {k: after[k] for k in tables if k not in intake} == {
        k: v for k, v in tables.items() if k not in intake
    }


@pytest.mark.heavy
def test_it_comes_back_after_another_program_saved_it_in_another_format(
    filled, tmp_path, saved_by_libreoffice
) -> None:
    _, path, rows = filled
    empty = a_package(tmp_path / "other").package
    path = saved_by_libreoffice(path, "ods", tmp_path)
    assert bring_in(empty, path, mapping=None).unread == 0
    same_record(rows, empty)


def changed(path, change):
    book = openpyxl.load_workbook(path)
    change(book)
    book.save(path)
    return path


def test_sheets_and_columns_that_the_crew_took_out_are_not_missed(filled, tmp_path) -> None:
    path = filled[1]

    def shorten(book) -> None:
        del book["Plugs"]
        page = book["Timbers"]
        for cell in page[2]:
            if cell.value == "Length (m)":
                page.delete_cols(cell.column)
                break
        else:
            raise AssertionError("there is no column 'Length (m)'")

    empty = a_package(tmp_path / "other").package
    result = bring_in(empty, changed(path, shorten), mapping=None)
    assert "plug" not in result.added
    assert result.added["element"] == 1
    assert list(empty.table("element")["length_m"]) == [""]


def test_what_is_typed_wrong_is_named_by_sheet_row_and_heading(filled, tmp_path) -> None:
    def spoil(book) -> None:
        page = book["Samples"]
        column = next(cell.column for cell in page[2] if cell.value.startswith("Clock"))
        page.cell(3, column).value = "13:00"

    empty = a_package(tmp_path / "other").package
    result = bring_in(empty, changed(filled[1], spoil), mapping=None)
    (finding,) = [one for one in result.findings if one.severity == "warning"]
    assert (
        finding.origin
        == "crew.xlsx, sheet 'Samples', row 3, column 'Clock position, seen from end A (h)'"
    )


def test_a_workbook_for_fields_that_the_package_lacks_is_refused(tmp_path) -> None:
    path = write_workbook(load_model("timber_frame"), tmp_path / "frame.xlsx")
    with pytest.raises(UnusableInput, match=r"made for another profile: .*element\."):
        bring_in(a_package(tmp_path).package, path, mapping=None)


def test_a_marker_of_a_later_version_or_a_damaged_one_is_named(filled) -> None:
    def say(text):
        def change(book) -> None:
            book["_treenail"]["A1"] = text

        return change

    path = filled[1]
    with pytest.raises(UnusableInput, match="later version"):
        mapping_of_workbook(changed(path, say(json.dumps({"treenail_workbook": 2}))))
    with pytest.raises(UnusableInput, match="is damaged"):
        mapping_of_workbook(changed(path, say("{")))


def test_any_other_file_brings_no_mapping(tmp_path) -> None:
    (tmp_path / "form.csv").write_text("a,b\n1,2\n")
    assert mapping_of_workbook(tmp_path / "form.csv") is None

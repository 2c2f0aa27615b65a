"""Whatever a crew hands in, the command answers with place, value and remedy.

Nothing is ever half-written.
Each case runs the command line as a user does; a traceback would fail it.
"""

from __future__ import annotations

import os
import sys
from datetime import datetime

import pytest
from click.testing import CliRunner

from provenance._cli import main, treenail
from tests.builders import a_package
from tests.intake.forms import HEADINGS, TIMBERS, a_line, content_of, write_csv, write_xlsx


@pytest.fixture
def package(tmp_path):
    return a_package(tmp_path).package


def run(package, path, *more, mapping=TIMBERS):
    """Exit code and words of one call of the program."""
    rules = package.folder.parent / "mapping.yaml"
    rules.write_text(mapping, "utf-8")
    line = ["import", str(package.folder), str(path), "--mapping", str(rules), *more]
    return call(line)


def call(line):
    def start(arguments):
        sys.argv = ["treenail", *arguments]
        main()

    runner = CliRunner()
    before = sys.argv
    try:
        with runner.isolation() as (out, err, _):
            try:
                start(line)
            except SystemExit as stop:
                code = stop.code
            said = out.getvalue().decode() + err.getvalue().decode()
    finally:
        sys.argv = before
    return code, said


def unusable(package, path, *words, mapping=TIMBERS) -> None:
    before = content_of(package.folder)
    code, said = run(package, path, mapping=mapping)
    assert code == 2, said
    assert "Traceback" not in said
    for word in words:
        assert word in said
    assert content_of(package.folder) == before


def test_a_missing_column(package, tmp_path) -> None:
    headings = ["Dia. A" if one == "Dia A" else one for one in HEADINGS]
    path = write_csv(tmp_path / "timbers.csv", [a_line()], headings)
    unusable(
        package, path, "timbers.csv, row 1", "no column 'Dia A'", "Did you mean 'Dia. A'?",
        "Correct the mapping",
    )  # fmt: skip


def test_a_wrong_sheet_name(package, tmp_path) -> None:
    def add_another(book, page) -> None:
        book.create_sheet("Legend")["A1"] = "x"

    path = write_xlsx(tmp_path / "timbers.xlsx", [a_line()], sheet="Timber", change=add_another)
    mapping = TIMBERS.replace('files: "timbers*"', 'files: "timbers*"\n    sheet: Timbers')
    words = ("no sheet 'Timbers'", "Did you mean 'Timber'?", "'Timber', 'Legend'")
    unusable(package, path, "timbers.xlsx", *words, mapping=mapping)


def test_a_workbook_with_several_sheets_and_none_named(package, tmp_path) -> None:
    def add_another(book, page) -> None:
        book.create_sheet("Legend")["A1"] = "x"

    path = write_xlsx(tmp_path / "timbers.xlsx", [a_line()], change=add_another)
    unusable(package, path, "several sheets: 'Timbers', 'Legend'", "sheet:")


def test_a_merged_cell(package, tmp_path) -> None:
    path = write_xlsx(
        tmp_path / "timbers.xlsx",
        [a_line(), a_line(House=None, Timber_no="015", FS_no=None, Bit=None, By=None)],
        change=lambda book, page: page.merge_cells("B2:B3"),
    )
    code, said = run(package, path)
    assert code == 1
    assert (
        "timbers.xlsx, sheet 'Timbers', row 2, column 'House': The cells B2:B3 are merged" in said
    )
    assert "fill_down" in said
    assert "without element_id" in said


def test_a_formula_cell(package, tmp_path) -> None:
    path = write_xlsx(tmp_path / "timbers.xlsx", [a_line(Dia_A="=8+5/8")])
    code, said = run(package, path)
    assert code == 1
    assert "sheet 'Timbers', row 2, column 'Dia A': \"=8+5/8\" is a formula whose result" in said
    assert list(package.table("unread")["cell_text"]) == ["=8+5/8"]


def test_a_spreadsheet_date_as_a_number(package, tmp_path) -> None:
    code, said = run(package, write_csv(tmp_path / "timbers.csv", [a_line(Date="45082")]))
    assert code == 1
    assert "row 2, column 'Date': \"45082\" is a bare number" in said
    assert "serial_epoch" in said
    path = write_xlsx(tmp_path / "timbers.xlsx", [a_line(Date=45082)])
    code, said = run(package, path)
    assert list(package.table("element")["recorded_on"]) == ["2023-06-05"]
    assert "bare numbers such as 45082" in said


def test_a_size_that_the_spreadsheet_made_a_date(package, tmp_path) -> None:
    path = write_xlsx(tmp_path / "timbers.xlsx", [a_line(Dia_A=datetime(2024, 5, 8))])
    code, said = run(package, path)
    assert code == 1
    assert "column 'Dia A'" in said
    assert "has turned a size such as 3/8 into one" in said


def test_a_wrong_encoding(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line(Remarks="Zoë")], encoding="cp1252")
    wrong = TIMBERS.replace('files: "timbers*"', 'files: "timbers*"\n    encoding: utf-8')
    unusable(package, path, "timbers.csv is not utf-8", "encoding", mapping=wrong)
    code, said = run(package, path)
    assert code == 0
    assert "read as Windows, western (cp1252), so that line 2 says 'Zoë'" in said
    assert list(package.table("element")["notes"]) == ["Zoë"]


@pytest.mark.parametrize("content", ["", "\n\n \n", "\ufeff"])
def test_an_empty_file(package, tmp_path, content) -> None:
    (tmp_path / "timbers.csv").write_text(content, "utf-8")
    unusable(package, tmp_path / "timbers.csv", "timbers.csv is empty", "export it again")


def test_a_form_without_lines(package, tmp_path) -> None:
    code, said = run(package, write_csv(tmp_path / "timbers.csv", []))
    assert code == 0
    assert "No line of this sheet gave a row" in said


def test_a_file_of_200_megabytes(package, tmp_path) -> None:
    path = tmp_path / "timbers.csv"
    with open(path, "wb") as stream:
        stream.truncate(200 << 20)
        stream.seek(0)
        stream.write(b"House,Timber no\n")
    unusable(package, path, "timbers.csv has 200 MB", "several files")


def test_a_duplicated_heading(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line()], [*HEADINGS, "Dia A"])
    unusable(package, path, "row 1", "'Dia A' is in several columns", "'Dia A (1)'")


def test_an_unknown_unit_in_the_mapping_and_in_a_cell(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line(Dia_A="3 spans")])
    wrong = TIMBERS.replace("units: in", "units: spans")
    unusable(package, path, "mapping.yaml", "'spans' is not one of", mapping=wrong)
    code, said = run(package, path)
    assert code == 1
    assert "\"3 spans\" has the unknown unit 'spans'. Write in, ft, yd, mm, cm or m." in said


def test_a_size_that_is_none(package, tmp_path) -> None:
    """The sentence that stands in the style guide as the model of all of them."""
    code, said = run(package, write_xlsx(tmp_path / "timbers.xlsx", [a_line(Dia_A="7 3/")]))
    assert code == 1
    assert (
        "timbers.xlsx, sheet 'Timbers', row 2, column 'Dia A': \"7 3/\" is not a size. "
        "Write 7 3/8 or 7.375 (in)" in said
    )


def test_many_cells_with_one_fault_are_one_line(package, tmp_path) -> None:
    lines = [
        a_line(Timber_no=f"{number:03}", Use="spar", FS_no="", Bit="", By="")
        for number in range(40)
    ]
    code, said = run(package, write_csv(tmp_path / "timbers.csv", lines))
    assert code == 1
    assert said.count('"spar" is not in the list') == 1
    assert "rows 2, 3, 4, 5, 6, 7, 8, 9 … (40 cells), column 'Use'" in said
    assert "40 cells still to be settled" in said


def test_a_file_that_no_source_of_the_mapping_takes(package, tmp_path) -> None:
    path = write_csv(tmp_path / "beams.csv", [a_line()])
    unusable(package, path, "says nothing of beams.csv", "'timbers*'")


def test_a_file_that_is_not_there(package, tmp_path) -> None:
    unusable(package, tmp_path / "timbers.csv", "timbers.csv cannot be read", "check the name")


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is forbidden to the superuser")
def test_a_package_that_may_not_be_written(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line()])
    package.folder.chmod(0o555)
    try:
        unusable(package, path, "cannot be written")
    finally:
        package.folder.chmod(0o755)


def test_no_mapping_at_all(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line()])
    code, said = call(["import", str(package.folder), str(path)])
    assert code == 2
    assert "needs a mapping" in said
    assert "--draft" in said


def test_a_dry_run_reports_and_writes_nothing(package, tmp_path) -> None:
    before = content_of(package.folder)
    path = write_csv(tmp_path / "timbers.csv", [a_line(Dia_A="7 3/")])
    code, said = run(package, path, "--dry-run")
    assert code == 1
    assert "element: 1 new row" in said
    assert "nothing written" in said
    assert content_of(package.folder) == before


def test_changes_are_listed_before_and_after(package, tmp_path) -> None:
    path = tmp_path / "timbers.csv"
    run(package, write_csv(path, [a_line()]))
    code, said = run(package, write_csv(path, [a_line(Dia_A="9")]))
    assert code == 0
    assert 'element B1-014, diameter_a1_cm: "21.9075" → "22.86"  (timbers.csv, row 2' in said


def test_a_draft_goes_to_the_screen_or_to_a_file_that_is_not_there_yet(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line()])
    line = ["import", str(package.folder), str(path), "--draft"]
    code, said = call(line)
    assert code in (0, None)
    assert "table: element" in said
    out = tmp_path / "draft.yaml"
    assert call([*line, "--out", str(out)])[0] in (0, None)
    assert "table: element" in out.read_text("utf-8")
    code, said = call([*line, "--out", str(out)])
    assert code == 2
    assert "already there" in said


def test_the_command_explains_itself() -> None:
    said = CliRunner().invoke(treenail, ["import", "--help"]).output
    assert "Exit codes: 0 everything read, 1 cells, conflicts" in said

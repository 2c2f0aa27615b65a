"""One line of a form becomes rows of several tables, and nothing that was written gets lost."""

from __future__ import annotations

from collections import Counter
from contextlib import closing

import pytest

from provenance._base.errors import UnusableInput
from provenance._base.yaml_text import read_yaml
from provenance._intake.files.readers import open_received
from provenance._intake.lines.lines import read_sheet
from provenance._intake.lines.readings import Place
from provenance._intake.mapping.mapping_file import mapping_from
from provenance._model.profile import load_model
from tests.intake.forms import HEADINGS, TIMBERS, a_line, write_csv, write_xlsx

MODEL = load_model("blank")


def reading(path, mapping=TIMBERS, sheet="", **changes):
    """Read one sheet; `changes` are put into the mapping's first source."""
    written = path.parent / "mapping.yaml"
    written.write_text(mapping, "utf-8")
    raw = read_yaml(written)
    raw["sources"][0] |= changes
    (source,) = mapping_from(raw, MODEL, "mapping.yaml").sources
    with closing(open_received(path, source.text)) as received:
        return read_sheet(source, received.sheet(sheet), Place(path.name, sheet), MODEL)


def rules_of(found):
    return Counter(finding.rule for finding in found.findings)


def test_one_wide_line_fills_several_tables(tmp_path) -> None:
    found = reading(write_csv(tmp_path / "timbers.csv", [a_line()]))
    element, sample = found.rows
    assert (element.table, element.key) == ("element", "B1-014")
    assert element.values == {
        "element_id": "B1-014",
        "site_id": "HOLL",
        "function": "main_beam",
        "length_m": "4.200525",
        "diameter_a1_cm": "21.9075",
        "tool_marks": "adze; broadaxe",
        "sampled": "true",
        "recorded_on": "2024-06-04",
    }
    assert (sample.table, sample.key) == ("sample", "231")
    assert sample.values["element_id"] == "B1-014"
    assert sample.values["bore_mm"] == "12.7"
    assert str(element.place) == "timbers.csv, row 2"
    assert not found.unread
    assert not found.findings


def test_a_second_core_on_a_line_of_its_own_makes_no_second_beam(tmp_path) -> None:
    second = {"House": "B1", "Timber no": "014", "FS no": "232", "Bit": "1/2", "Date": "4/6/24"}
    found = reading(write_csv(tmp_path / "timbers.csv", [a_line(), second]))
    assert [row.key for row in found.rows] == ["B1-014", "231", "232"]
    assert not found.unread


def test_an_unreadable_cell_costs_its_row_nothing_else(tmp_path) -> None:
    found = reading(write_csv(tmp_path / "timbers.csv", [a_line(Dia_A="7 3/")]))
    (cell,) = found.unread
    assert (cell.table, cell.key, cell.field) == ("element", "B1-014", "diameter_a1_cm")
    assert str(cell.place) == "timbers.csv, row 2, column 'Dia A'"
    assert cell.text == "7 3/"
    assert cell.why.startswith("is not a size; write 7 3/8 or 7.375 (in)")
    assert found.rows[0].values["length_m"] == "4.200525"


def test_texts_on_a_line_without_their_row_are_kept(tmp_path) -> None:
    """A bit is written down, but no specimen number: no sample can be made, and that is said."""
    found = reading(write_csv(tmp_path / "timbers.csv", [a_line(FS_no="")]))
    assert [row.table for row in found.rows] == ["element"]
    texts = {cell.place.column: (cell.table, cell.text) for cell in found.unread}
    assert texts == {"Bit": ("sample", "1/2"), "By": ("sample", "MB")}
    assert "'FS no' is blank" in found.unread[0].why


def test_a_line_without_its_key_keeps_every_text(tmp_path) -> None:
    found = reading(
        write_csv(tmp_path / "timbers.csv", [a_line(House="", FS_no="", Bit="", By="")])
    )
    assert not found.rows
    kept = {cell.field: cell.text for cell in found.unread}
    assert kept["length_m"] == "13' 9 3/8\""
    assert kept["element_id"] == "014"
    assert "without element_id" in found.unread[0].why


def test_a_column_that_the_mapping_does_not_know_is_reported_when_it_holds_data(tmp_path) -> None:
    headings = (*HEADINGS, "Weather", "Empty")
    lines = [a_line(Weather="rain"), a_line(Timber_no="015", FS_no="232", Weather="sun")]
    found = reading(write_csv(tmp_path / "timbers.csv", lines, headings))
    (finding,) = found.findings
    assert finding.rule == "intake.column_not_taken"
    assert finding.origin == "timbers.csv, row 2, column 'Weather'"
    assert "2 cell(s)" in finding.message
    assert '"rain"' in finding.message


def test_cells_beyond_the_headings_are_reported_by_their_letter(tmp_path) -> None:
    path = tmp_path / "timbers.csv"
    write_csv(path, [a_line()])
    path.write_text(path.read_text().rstrip("\r\n") + ",,beyond\r\n")
    (finding,) = reading(path).findings
    assert finding.origin.endswith("column 'column O'")


def test_spacers_are_counted_and_lines_with_other_text_are_reported(tmp_path) -> None:
    lines = [a_line(), {}, {"Remarks": "Total 34"}, dict(zip(HEADINGS, HEADINGS, strict=True))]
    path = write_csv(tmp_path / "timbers.csv", lines)
    found = reading(path, keep=["Timber no", "FS no"])
    assert (found.lines, found.spacers) == (1, 3)
    finding, again = found.findings
    assert finding.rule == "intake.line_left_out"
    assert "Remarks: Total 34" in finding.message
    assert again.message == 'Left out, taken for the headings again (1): row 5 ("Page").'


def test_without_keep_a_lone_remark_is_an_unread_cell(tmp_path) -> None:
    found = reading(write_csv(tmp_path / "timbers.csv", [a_line(), {"Remarks": "see page 2"}]))
    (cell,) = found.unread
    assert cell.text == "see page 2"


def test_blank_cells_are_filled_from_above_where_the_mapping_says_so(tmp_path) -> None:
    lines = [a_line(), a_line(House="", Timber_no="015", FS_no="232"), a_line(House="B2", FS_no="")]
    path = write_csv(tmp_path / "timbers.csv", lines)
    found = reading(path, fill_down=["House"])
    keys = [row.key for row in found.rows if row.table == "element"]
    assert keys == ["B1-014", "B1-015", "B2-014"]


def test_conditions_may_ask_for_a_word(tmp_path) -> None:
    mapping = TIMBERS.replace("when: FS no", "when: {column: Sampled, one_of: [Yes]}")
    path = write_csv(tmp_path / "timbers.csv", [a_line(), a_line(Sampled="no", FS_no="232")])
    found = reading(path, mapping)
    assert [row.key for row in found.rows if row.table == "sample"] == ["231"]
    assert "does not say so" in next(c for c in found.unread if c.text == "232").why


def test_the_first_filled_of_several_columns_and_all_of_several_are_read(tmp_path) -> None:
    mapping = TIMBERS.replace("notes: {column: Remarks}", "notes: {all_of: [Remarks, By]}").replace(
        "recorded_on: {column: Date}", "recorded_on: {first_of: [Page, Date]}"
    )
    found = reading(
        write_csv(tmp_path / "timbers.csv", [a_line(Page="-", Remarks="split")]), mapping
    )
    assert found.rows[0].values["notes"] == "split; MB"
    assert found.rows[0].values["recorded_on"] == "2024-06-04"


def test_half_a_template_and_the_second_of_two_texts_are_kept(tmp_path) -> None:
    """Only one of two columns counts, or a code needs both: the text is not lost without a word."""
    mapping = TIMBERS.replace(
        "notes: {column: Remarks}",
        'notes: {first_of: [Remarks, Weather]}\n          place_id: {template: "{Wing}-{Room}"}',
    )
    headings = (*HEADINGS, "Weather", "Wing", "Room")
    line = a_line(Remarks="split", Weather="rain", Wing="N")
    found = reading(write_csv(tmp_path / "timbers.csv", [line], headings), mapping)
    kept = {cell.place.column: cell for cell in found.unread}
    assert kept["Weather"].text == "rain"
    assert kept["Weather"].why.startswith("is beside another text for notes")
    assert kept["Wing"].text == "N"
    assert "needs all of 'Wing + Room'" in kept["Wing"].why


def test_a_heading_that_stands_twice_is_named_with_its_remedy(tmp_path) -> None:
    headings = [*HEADINGS[:6], "Dia A", *HEADINGS[6:]]
    path = write_csv(tmp_path / "timbers.csv", [a_line()], headings)
    with pytest.raises(UnusableInput, match=r"'Dia A' is in several .*'Dia A \(1\)'"):
        reading(path)
    mapping = TIMBERS.replace("column: Dia A", "column: Dia A (2)")
    assert reading(path, mapping).rows[0].values["diameter_a1_cm"] == "21.9075"


def test_headings_on_another_row_are_pointed_out(tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line()])
    path.write_text("Timbers of the north crew\n\n" + path.read_text())
    with pytest.raises(UnusableInput, match="set header_row: 3"):
        reading(path)
    assert reading(path, header_row=3).rows[0].place.row == 4


def test_merged_cells_below_the_headings_are_a_warning(tmp_path) -> None:
    def merge(book, page) -> None:
        page.merge_cells("B2:B3")

    path = write_xlsx(
        tmp_path / "timbers.xlsx",
        [a_line(), a_line(House=None, Timber_no="015", FS_no="232")],
        change=merge,
    )
    found = reading(path, sheet="Timbers")
    (finding,) = [one for one in found.findings if one.severity == "warning"]
    assert finding.origin == "timbers.xlsx, sheet 'Timbers', row 2, column 'House'"
    assert "B2:B3 are merged" in finding.message
    assert "fill_down" in finding.remedy
    assert not rules_of(reading(path, sheet="Timbers", fill_down=["House"]))["intake.merged_cells"]


def test_hidden_rows_columns_and_formulas_are_noted_and_read(tmp_path) -> None:
    def hide(book, page) -> None:
        page.row_dimensions[2].hidden = True
        page.column_dimensions["F"].hidden = True
        page["M2"] = "=1+1"

    found = reading(write_xlsx(tmp_path / "timbers.xlsx", [a_line()], change=hide), sheet="Timbers")
    assert len(found.rows) == 2
    hidden = next(one for one in found.findings if one.rule == "intake.hidden_cells")
    assert "the row(s) 2 and the column(s) F" in hidden.message
    assert rules_of(found)["intake.formulas"] == 1
    assert [cell.text for cell in found.unread] == ["=1+1"]


def test_numbers_as_text_and_dates_as_numbers_are_noted_once_a_sheet(tmp_path) -> None:
    lines = [
        a_line(Dia_A="8", Date=45082),
        a_line(Timber_no="015", FS_no="232", Dia_A="9", Date=45083),
    ]
    found = reading(write_xlsx(tmp_path / "timbers.xlsx", lines), sheet="Timbers")
    assert found.rows[0].values["recorded_on"] == "2023-06-05"
    assert rules_of(found) == {"intake.numbers_as_text": 1, "intake.day_numbers": 1}
    note = next(one for one in found.findings if one.rule == "intake.numbers_as_text")
    assert note.message == "Numbers are kept as text in 'Dia A' (2); they were read as numbers."


def test_a_constant_that_cannot_be_is_the_mappings_fault(tmp_path) -> None:
    mapping = TIMBERS.replace("kind: core", "kind: corr")
    with pytest.raises(UnusableInput, match=r'the mapping gives the constant "corr".*sample\.kind'):
        reading(write_csv(tmp_path / "timbers.csv", [a_line()]), mapping)

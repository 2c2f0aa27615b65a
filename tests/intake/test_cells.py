"""One cell becomes one value of the record, or a sentence that says what to write instead."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import UnreadableValue
from provenance._intake.files.received import ErrorCell, UncachedFormula
from provenance._intake.lines.cells import CellReader, number_text
from provenance._intake.mapping.mapping import ReadingHabits
from provenance._model.profile import load_model

MODEL = load_model("blank")


def read(table, field, value, epoch=None, **habits):
    one = MODEL.table(table).field(field)
    return CellReader(one, ReadingHabits(**habits), MODEL, epoch).read(value)


def why(table, field, value, **habits) -> str:
    with pytest.raises(UnreadableValue) as caught:
        read(table, field, value, **habits)
    return str(caught.value)


@pytest.mark.parametrize(
    ("table", "field", "value", "habits", "text"),
    [
        # 1 in = 25.4 mm exactly: NIST Special Publication 811, appendix B
        ("element", "diameter_a1_cm", "7 3/8", {"unit": "in"}, "18.7325"),
        ("element", "length_m", "12' 6 1/2\"", {"unit": "ft-in"}, "3.8227"),
        ("sample", "bore_mm", "1/2", {"unit": "in"}, "12.7"),
        ("sample", "bore_mm", '5/8"', {}, "15.875"),
        ("element", "length_m", 338.0, {"unit": "cm"}, "3.38"),
        ("element", "length_m", "3,38", {"decimal": ","}, "3.38"),
        ("element", "length_m", 4, {}, "4"),
        ("site", "easting_m", "-1500.5", {}, "-1500.5"),
        ("site", "latitude", "-48.00000", {}, "-48"),
        ("sample", "clock", "3:30", {}, "3.5"),
        ("sample", "clock", time(3, 30), {}, "3.5"),
        ("sample", "inclination_deg", "90", {}, "90"),
        ("sample", "pieces", 2.0, {}, "2"),
        ("element", "sampled", "x", {}, "true"),
        ("element", "sampled", False, {}, "false"),
        ("element", "sampled", "ja", {"yes": frozenset({"ja"})}, "true"),
        ("element", "sampled", "cored", {"synonyms": {"cored": "true"}}, "true"),
        ("element", "recorded_on", "14/6/87", {"formats": ("D/M/YY",), "century_pivot": 1950},
         "1987-06-14"),
        ("element", "recorded_on", datetime(2023, 6, 5), {}, "2023-06-05"),
        ("element", "recorded_on", date(2023, 6, 5), {}, "2023-06-05"),
        ("element", "notes", 231.0, {}, "231"),
        ("element", "notes", "a\tb\x07", {}, "a\tb"),
        ("element", "element_id", 14, {}, "14"),
    ],
)  # fmt: skip
def test_cells_are_read_into_the_unit_and_form_of_the_field(
    table, field, value, habits, text
) -> None:
    assert read(table, field, value, **habits) == text


@pytest.mark.parametrize("word", ["main_beam", "Main beam", "MAIN  BEAM", "girder", "Summer-beam"])
def test_a_code_may_be_written_as_code_label_or_synonym(word) -> None:
    assert read("element", "function", word) == "main_beam"


def test_the_crews_own_word_goes_before_the_list(tmp_path) -> None:
    assert read("element", "function", "Beam", synonyms={"beam": "joist"}) == "joist"


def test_a_word_that_is_in_no_list_comes_with_the_nearest_and_some_others() -> None:
    said = why("element", "reused", "nope")
    assert said.startswith('"nope" is not in the list')
    assert "Yes, No, Not known" in said
    assert "synonyms" in said
    assert "Did you mean 'Lintel'?" in why("element", "function", "lintle")


def test_signs_that_differ_by_their_capitals_alone_are_told_apart() -> None:
    """An unbroken ring is 'c', complete sapwood 'C'; where nothing else is meant 'b' is bark."""
    for word, code in {"c": "c", "C": "C", "c; B": "c; B", "b": "B", "½c": "½C"}.items():
        assert read("lab_result", "outer_symbol", word) == code
    for word in ("c", "C"):
        assert read("lab_result", "outer_symbol", word, synonyms={"c": "r"}) == "r"
    for code in load_model().vocabularies["result_symbol"].codes:
        assert read("lab_result", "outer_symbol", code) == code


def test_several_codes_stand_in_one_cell() -> None:
    assert read("element", "tool_marks", "Adze; stone axe") == "adze; stone_axe"
    assert read("element", "tool_marks", "adze, adze/stone axe", split="[,/]") == "adze; stone_axe"
    said = why("element", "tool_marks", "adze, laser", split=",")
    assert said.startswith("\"adze, laser\" has 'laser', which is not in the list")


@pytest.mark.parametrize("mark", ['"', "〃", "ditto", "do."])
def test_a_ditto_mark_is_no_value(mark) -> None:
    assert "ditto mark" in why("element", "notes", mark)
    assert "ditto mark" in why("element", "length_m", mark)


@pytest.mark.parametrize("value", [ErrorCell("#REF!"), "#DIV/0!", "#N/A"])
def test_an_error_of_the_spreadsheet_is_no_text(value) -> None:
    assert "spreadsheet error" in why("element", "notes", value)


def test_a_formula_without_result_keeps_its_text() -> None:
    said = why("element", "length_m", UncachedFormula("=B3*2"))
    assert said.startswith('"=B3*2" is a formula whose result')


def test_a_code_or_size_that_the_spreadsheet_made_a_date_is_said_so() -> None:
    assert "such as 3-4" in why("element", "element_id", datetime(2024, 4, 3))
    assert "such as 3/8" in why("element", "diameter_a1_cm", datetime(2024, 8, 3))
    assert "span of time" in why("sample", "clock", timedelta(hours=30))


def test_a_bare_number_is_a_day_only_in_a_workbook() -> None:
    """Day 45082 of the 1900 system is 5 June 2023 (as LibreOffice shows it)."""
    assert read("element", "recorded_on", 45082, epoch=1900) == "2023-06-05"
    assert "serial_epoch" in why("element", "recorded_on", "45082")


def test_sizes_below_zero_are_refused_and_positions_below_zero_are_not() -> None:
    assert "below zero" in why("element", "length_m", "-3")
    assert read("element", "xa_m", "-3") == "-3"


@given(st.floats(allow_nan=False, allow_infinity=False, width=64))
def test_a_stored_number_says_what_the_number_was(value) -> None:
    """Round trip: text of any number gives that number, without an exponent."""
    text = number_text(value)
    assert float(text) == value
    assert "e" not in text.casefold()


ANYTHING = st.one_of(
    st.text(max_size=70),
    st.integers(),
    st.floats(),
    st.booleans(),
    st.datetimes(),
    st.dates(),
    st.times(),
    st.timedeltas(),
    st.sampled_from(["12' 6", "7 3/8", "N 35 E", "13:00", "c. 1987", "1,234", "yes", "ax; adze"]),
    st.builds(ErrorCell, st.text(max_size=8)),
)
FIELDS = [
    (table.name, one.name)
    for table in MODEL.of_role("record")
    for one in table.fields
    if one.obtained != "computed"
]


@given(st.sampled_from(FIELDS), ANYTHING)
def test_whatever_stands_in_a_cell_is_read_or_refused_with_a_sentence(field, value) -> None:
    """A law: no value of any kind in any field stops an import."""
    try:
        outcome = read(*field, value, epoch=1900)
    except UnreadableValue as refusal:
        outcome = refusal.expected if len(refusal.expected) > 10 else None
    assert isinstance(outcome, str)

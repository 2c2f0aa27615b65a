"""Lines that are no rows, marks that repeat, and doubts: nothing of them gets into the record."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

from provenance._intake.files.received import Row, SheetFacts
from provenance._intake.lines.lines import read_sheet
from provenance._intake.lines.readings import Place, SheetReading
from provenance._intake.mapping.mapping_file import mapping_from
from provenance._model.profile import load_model
from tests.intake.test_lines import reading as reading_of_file

MODEL = load_model("blank")
HEADINGS = ["Page", "House", "Timber", "Use", "Length", "Dia", "Wood", "Cored", "Date", "FS no",
            "Bit", "Core", "Remarks"]  # fmt: skip
FORM: dict[str, Any] = {
    "title": "Barn of Hollin Reach (invented)",
    "sources": [
        {
            "files": "barn*",
            "columns_left_out": ["Page"],
            "fill_down": ["House", "Wood"],
            "rows": [
                {
                    "table": "element",
                    "fields": {
                        "element_id": {"template": "{House}-{Timber}"},
                        "function": {"column": "Use"},
                        "length_m": {"column": "Length"},
                        "diameter_a1_cm": {"column": "Dia"},
                        "species_field": {"column": "Wood"},
                        "sampled": {"column": "Cored"},
                        "recorded_on": {"column": "Date"},
                        "notes": {"column": "Remarks"},
                    },
                },
                {
                    "table": "sample",
                    "when": {"column": "Cored", "one_of": ["yes"]},
                    "fields": {
                        "sample_id": {"column": "FS no"},
                        "element_id": {"template": "{House}-{Timber}"},
                        "bore_mm": {"column": "Bit"},
                        "length_mm": {"column": "Core", "unit": "cm"},
                        "collected_on": {"column": "Date"},
                    },
                },
            ],
        }
    ],
}


@dataclass
class TypedSheet:
    """A sheet as a reader of files hands it on; a blank line is one without cells."""

    lines: list[list[Any]]
    known: SheetFacts = field(default_factory=lambda: SheetFacts("Barn"))

    def facts(self) -> SheetFacts:
        return self.known

    def rows(self) -> Iterator[Row]:
        for number, line in enumerate(self.lines, start=1):
            if any(value is not None for value in line):
                yield number, list(line)


def read(lines: list[list[Any]], facts: SheetFacts | None = None, **changes: Any) -> SheetReading:
    """Read lines below their headings; `changes` are put into the mapping's source."""
    raw = FORM | {"sources": [FORM["sources"][0] | changes]}
    (source,) = mapping_from(raw, MODEL, "mapping.yaml").sources
    sheet = TypedSheet(lines, facts or SheetFacts("Barn"))
    return read_sheet(source, sheet, Place("barn.xlsx", "Barn"), MODEL)


def a_line(**cells: Any) -> list[Any]:
    """Cells by their heading, blanks as underscores."""
    return [cells.get(name.replace(" ", "_")) for name in HEADINGS]


def a_beam(number: int = 1, **cells: Any) -> list[Any]:
    """A whole line of an unsampled joist in house B1."""
    beam = {"House": "B1", "Timber": number, "Use": "joist", "Length": 3.5, "Dia": 21,
            "Wood": "PSME", "Cored": "no", "Date": "2024-06-04"}  # fmt: skip
    return a_line(**(beam | cells))


def keys(found: SheetReading, table: str = "element") -> list[str]:
    return [row.key for row in found.rows if row.table == table]


def left_out(found: SheetReading) -> str:
    """What the findings say of lines that were set aside."""
    said = [one.message for one in found.findings if one.rule == "intake.lines_set_aside"]
    return " ".join(said)


def rows_left_out(found: SheetReading) -> list[int]:
    """The rows that these findings name, also those beyond the first of a kind."""
    rows = {int(number) for number in re.findall(r"row ([0-9]+) \(", left_out(found))}
    for listed in re.findall(r"row\(s\) ([-0-9, ]+)", left_out(found)):
        for part in listed.split(", "):
            first, _, end = part.partition("-")
            rows |= set(range(int(first), int(end or first) + 1))
    return sorted(rows)


# --- all of it mixed ------------------------------------------------------------------------------

TOTALS = ["Total", "TOTAL:", "Subtotal", "Grand total", "Sum", "n = 14", "Mean", "Total of page 2",
          "Summe", "Gesamt", "Somme", "Totaal", "Итого", "合計"]  # fmt: skip
DOUBTS = [
    "[14]",
    "(14?)",
    "14?",
    "14-16",
    "14 to 16",
    "ca. 14",
    "c. 14",
    "~14",
    "about 14",
    "14 (?)",
]
DITTOS = ['"', "〃", "do.", "ditto", "same", "As above", '- " -']
USUAL = {"1/2": "12.7", "5/8": "15.875", "3/4": "19.05", "7/8": "22.225"}
FRACTIONS = ["9-1/4", "4 7/8", "1/4", "9½", "1 1/16", "3⁄8"]

junk_lines = st.one_of(
    st.just(a_line()),
    st.just(list(HEADINGS)),
    st.just([None, *(text.upper() for text in HEADINGS[1:])]),
    st.just(a_line(Length="m", Dia="(cm)", Core="cm.")),
    st.just(a_line(Timber="no.", Length="m", Cored="y/n", Date="d/m/y")),
    st.builds(lambda text: a_line(Page=text), st.sampled_from(["North wing", "Room 3", "Page 2"])),
    st.builds(
        lambda text, where, sizes: a_line(**{where: text} | sizes),
        st.sampled_from(TOTALS),
        st.sampled_from(["Page", "House", "Timber"]),
        st.fixed_dictionaries({}, optional={"Length": st.just(34.5), "Core": st.just("170 cm")}),
    ),
)


@st.composite
def true_rows(draw: st.DrawFn) -> dict[str, Any]:
    """What a crew may write of one timber; keys are put in later."""
    core = st.integers(40, 900) | st.sampled_from(DOUBTS)
    bit = st.sampled_from([*USUAL, *FRACTIONS, 12.7, '5/8"', None])
    optional = {
        "Use": st.sampled_from(["joist", "rafter"]),
        "Length": st.sampled_from([3.5, "4.25", "12' 6\"", "c. 4"]),
        "Dia": st.integers(9, 40) | st.sampled_from([*FRACTIONS, '9 1/4"', "[14]"]),
        "Wood": st.sampled_from(["PSME", "PIPO", *DITTOS]),
        "Date": st.just("2024-06-04"),
        "Remarks": st.sampled_from(["sum of two", "split at end A", *DITTOS]),
    }
    cells = draw(st.fixed_dictionaries({}, optional=optional))
    if draw(st.booleans()):
        cells |= {"Cored": "yes", "Bit": draw(bit), "Core": draw(core)}
    else:
        cells["Cored"] = "no"
    return {name: value for name, value in cells.items() if value is not None}


def expected_number(field_name: str, written: Any) -> str | None:
    """What becomes of a size, told without the program's readers; None for what stays unread."""
    text = str(written)
    if field_name == "bore_mm" and text in USUAL:
        return USUAL[text]
    known = {"12' 6\"": "3.81", '9 1/4"': "23.495", '5/8"': "15.875", "4.25": "4.25"}
    if text in known:
        return known[text]
    if text in DOUBTS or text in FRACTIONS or text == "c. 4":
        return None
    size = Decimal(text) * (10 if field_name == "length_mm" else 1)
    return f"{size.normalize():f}"


SIZES = {"Length": ("element", "length_m"), "Dia": ("element", "diameter_a1_cm"),
         "Bit": ("sample", "bore_mm"), "Core": ("sample", "length_mm")}  # fmt: skip


@settings(max_examples=100, deadline=None)
@given(st.lists(true_rows() | junk_lines, min_size=1, max_size=14))
def test_every_true_row_is_read_once_and_nothing_else_becomes_wood_or_a_sample(drawn) -> None:
    lines: list[list[Any]] = [list(HEADINGS)]
    rows: dict[tuple[str, str], dict[str, str]] = {}
    asked: Counter[tuple[str, str, str]] = Counter()
    fractions: Counter[str] = Counter()
    filled: Counter[str] = Counter()
    junk, above_wood, wood, known_wood = [], None, None, None
    for number, one in enumerate(drawn, start=1):
        if isinstance(one, list):
            lines.append(one)
            if any(cell is not None for cell in one):
                junk.append(len(lines))
                if one[0] not in (None, "Page") or any(str(cell) in TOTALS for cell in one):
                    known_wood = None  # a total or a title: another part of the sheet begins
            above_wood = None
            continue
        lines.append(a_line(House="B1", Timber=number, **one, FS_no=200 + number))
        if one["Cored"] == "no":
            lines[-1][HEADINGS.index("FS no")] = None
        key = f"B1-{number}"
        element = rows["element", key] = {"element_id": key}
        wood = one.get("Wood", known_wood)
        if wood in DITTOS:
            wood = above_wood
            if wood is None:
                asked["element", key, "species_field"] += 1
        above_wood = wood
        known_wood = wood or known_wood
        sample = {"sample_id": str(200 + number), "element_id": key}
        element |= {"sampled": "true" if one["Cored"] == "yes" else "false"}
        element |= {"function": one["Use"]} if "Use" in one else {}
        element |= {"species_field": wood} if wood else {}
        if one.get("Remarks") in DITTOS:
            asked["element", key, "notes"] += 1
        elif "Remarks" in one:
            element["notes"] = one["Remarks"]
        if "Date" in one:
            element["recorded_on"] = sample["collected_on"] = one["Date"]
        for name in SIZES.keys() & one.keys():
            table, field_name = SIZES[name]
            row = element if table == "element" else sample
            filled[name] += 1
            size = expected_number(field_name, one[name])
            if size is not None:
                row[field_name] = size
            elif one[name] in FRACTIONS:
                fractions[name] += 1
            else:
                asked[table, key if table == "element" else str(200 + number), field_name] += 1
        if one["Cored"] == "yes":
            rows["sample", str(200 + number)] = sample

    found = read(lines)

    assert Counter((row.table, row.key) for row in found.rows) == Counter(rows.keys())
    for row in found.rows:
        assert dict(row.values) == rows[row.table, row.key]
    as_sure = [cell for cell in found.unread if "is a fraction" not in cell.why]
    assert Counter((cell.table, cell.key, cell.field) for cell in as_sure) == asked
    for name, count in fractions.items():
        cells = [cell for cell in found.unread if cell.place.column == name]
        cells = [cell for cell in cells if "is a fraction" in cell.why]
        if count * 3 >= filled[name]:
            (cell,) = cells
            assert f"{count} of its {filled[name]} filled cell(s)" in cell.why
        else:
            assert len(cells) == count
    last = max(number for number, line in enumerate(lines, 1) if line != a_line())
    assert found.lines + found.spacers == last - 1
    assert rows_left_out(found) == junk
    assert {one.severity for one in found.findings} <= {"note"}


# --- the cases that were seen ---------------------------------------------------------------------


@pytest.mark.parametrize("word", TOTALS)
def test_a_total_is_left_out_and_named_and_the_mapping_gets_it_in_again(word) -> None:
    lines = [HEADINGS, a_beam(), a_line(House=word, Timber=34, Length="34 m")]
    found = read(lines)
    assert keys(found) == ["B1-1"]
    assert f'taken for totals (1): row 3 ("{word}")' in left_out(found)
    again = read(lines, keep_lines=[word.lower()])
    assert keys(again) == ["B1-1", f"{word}-34"]
    assert not left_out(again)


@pytest.mark.parametrize(
    "cells",
    [
        {"House": "Sum", "Use": "joist"},
        {"Remarks": "Total loss of bark"},
        {"House": "Total-1"},
        {"Remarks": "n = 14 rings"},
        {"Remarks": "cm"},
        {"Use": "joist", "Length": None, "Dia": None, "Date": None, "Cored": None},
    ],
)
def test_a_true_row_with_a_word_of_a_total_or_unit_stays_a_row(cells) -> None:
    found = read([HEADINGS, a_beam(), a_beam(2, **cells)])
    assert len(keys(found)) == 2
    assert not left_out(found)


def test_a_formula_that_runs_down_its_column_makes_a_total_whatever_its_name() -> None:
    facts = SheetFacts("Barn", formulas={(4, 5): "=SUM(E2:E3)"})
    lines = [HEADINGS, a_beam(), a_beam(2), a_line(Timber="everything", Length=7.0)]
    assert keys(read(lines, facts)) == ["B1-1", "B1-2"]
    # a running number is such a formula, too, on a line that is a row
    facts = SheetFacts("Barn", formulas={(3, 3): "=MAX(C$2:C2)+1"})
    assert keys(read([HEADINGS, a_beam(), a_beam(2)], facts)) == ["B1-1", "B1-2"]


def test_units_that_agree_are_passed_over_and_units_that_do_not_are_an_error() -> None:
    units = a_line(Length="m", Dia="in", Core="cm")
    found = read([HEADINGS, units, a_beam(), a_beam(2)])
    (error,) = [one for one in found.findings if one.severity == "error"]
    assert error.rule == "intake.units_disagree"
    assert error.origin == "barn.xlsx, sheet 'Barn', row 2, column 'Dia'"
    assert "The sheet says in" in error.message
    assert "unit: in for diameter_a1_cm" in error.remedy
    assert [row.values.get("diameter_a1_cm") for row in found.rows] == [None, None]
    assert [row.values["length_m"] for row in found.rows] == ["3.5", "3.5"]
    (cell,) = found.unread
    assert (cell.key, cell.text) == ("B1-1", "21")
    assert cell.why.startswith("is one of 2 filled cell(s) of this column that were not read")
    # a page further down that says it again is no second error
    found = read([HEADINGS, units, a_beam(), units, a_beam(2)])
    assert [one.rule for one in found.findings if one.severity == "error"] == [error.rule]


def test_a_heading_with_a_unit_in_brackets_is_held_against_the_mapping_too() -> None:
    headings = ["Dia (in)" if name == "Dia" else name for name in HEADINGS]
    raw = {**FORM["sources"][0]["rows"][0]}
    raw["fields"] = raw["fields"] | {"diameter_a1_cm": {"column": "Dia (in)"}}
    found = read([headings, a_beam()], rows=[raw], fill_down=["House"])
    assert [one.rule for one in found.findings if one.severity == "error"] == [
        "intake.units_disagree"
    ]
    raw["fields"]["diameter_a1_cm"] = {"column": "Dia (in)", "unit": "in"}
    found = read([headings, a_beam()], rows=[raw], fill_down=["House"])
    assert found.rows[0].values["diameter_a1_cm"] == "53.34"


@pytest.mark.parametrize("header_row", [1, 2])
def test_headings_in_two_rows_are_called_by_both(header_row) -> None:
    """'Length' over 'ft' and 'in', which makes one length of two columns."""
    top = ["House", "Timber", "Length", None, "Dia"]
    below = [None, None, "(ft)", "in", "cm"]
    rule = {
        "table": "element",
        "fields": {
            "element_id": {"template": "{House}-{Timber}"},
            "length_m": {"template": "{Length (ft)}' {Length (in)}\""},
            "diameter_a1_cm": {"column": "Dia"},
        },
    }
    lines = [top, below, ["B1", 14, 12, 6, 22], top, below, ["B1", 15, 11, 0, 23]]
    changes = {"rows": [rule], "fill_down": ["House"], "columns_left_out": ["House"]}
    found = read(lines, header_row=header_row, **changes)
    # 12 ft 6 in = 150 x 25.4 mm, 11 ft = 132 x 25.4 mm (1 in = 25.4 mm exactly)
    assert [row.values["length_m"] for row in found.rows] == ["3.81", "3.3528"]
    assert keys(found) == ["B1-14", "B1-15"]
    assert not found.unread
    rule["fields"]["diameter_a1_cm"] = {"column": "Dia", "unit": "in"}
    found = read(lines, header_row=header_row, **changes)
    assert "intake.units_disagree" in {one.rule for one in found.findings}


def test_headings_of_another_table_below_the_first_are_a_warning() -> None:
    other = ["Page", "Sample", "Number", "Kind", "Depth", "Bore", "Wood", "State", "Taken"]
    found = read([HEADINGS, a_beam(), a_beam(2), other])
    assert keys(found) == ["B1-1", "B1-2"]
    (finding,) = [one for one in found.findings if one.severity == "warning"]
    assert "taken for headings of another table (1)" in finding.message
    assert "a sheet of its own" in finding.remedy


def test_a_title_in_a_column_that_is_filled_down_goes_for_the_rows_below_it() -> None:
    lines = [HEADINGS, a_beam(), a_line(House="B2"), a_beam(House=None), a_line(Page="South aisle"),
             a_beam(3, House=None)]  # fmt: skip
    found = read(lines)
    assert keys(found) == ["B1-1", "B2-1"]
    assert 'row 3 ("B2"); row 5 ("South aisle")' in left_out(found)
    # what follows another title says nothing of its house, so it is asked
    assert "without element_id" in next(one.why for one in found.unread if one.text == "joist")


def test_a_lone_text_is_a_row_where_it_looks_like_the_other_keys() -> None:
    rule = {
        "table": "place",
        "fields": {"place_id": {"column": "Room"}, "kind": {"column": "Kind"},
                   "notes": {"column": "Remarks"}},
    }  # fmt: skip
    top = ["Room", "Kind", "Remarks"]
    lines = [top, ["Upper floor"], ["R 1", "room"], ["R 2"], ["R3"], ["4"], ["Attic"]]
    found = read(lines, rows=[rule], fill_down=["Kind"], columns_left_out=["Kind"])
    assert keys(found, "place") == ["R 1", "R 2", "R3", "4"]
    assert 'row 2 ("Upper floor"); row 7 ("Attic")' in left_out(found)
    found = read(lines, rows=[rule], fill_down=["Kind"], columns_left_out=["Kind"],
                 keep_lines=["Attic"])  # fmt: skip
    assert keys(found, "place")[-1] == "Attic"


def test_a_ditto_mark_is_the_cell_right_above_and_is_kept_as_written() -> None:
    lines = [HEADINGS, a_beam(), a_beam(2, Wood="〃"), a_beam(3, Wood="same"), a_line(),
             a_beam(4, Wood='"'), a_beam(5, Use="ditto")]  # fmt: skip
    found = read(lines)
    assert [row.values.get("species_field") for row in found.rows] == ["PSME"] * 3 + [None, "PSME"]
    assert [row.written.get("species_field") for row in found.rows[1:3]] == ["〃", "same"]
    no_row, not_listed = found.unread
    assert (no_row.key, no_row.text) == ("B1-4", '"')
    assert "no row right above it" in no_row.why
    assert "list the column under fill_down" in not_listed.why


def test_a_word_of_the_crew_that_reads_like_a_ditto_mark_is_the_mappings_to_say() -> None:
    raw = {**FORM["sources"][0]["rows"][0]}
    raw["fields"] = raw["fields"] | {"function": {"column": "Use", "synonyms": {"same": "joist"}}}
    found = read([HEADINGS, a_beam(Use="Same")], rows=[raw])
    assert found.rows[0].values["function"] == "joist"


@pytest.mark.parametrize("number", ["2?", "[2]", "(2?)"])
def test_a_number_with_a_doubt_names_no_row(number) -> None:
    found = read([HEADINGS, a_beam(), a_beam(number)])
    assert keys(found) == ["B1-1"]
    doubt = next(cell for cell in found.unread if cell.field == "element_id")
    assert doubt.why.startswith("leaves a doubt about the number")
    assert "write 2 if that is the best reading" in doubt.why
    assert "could not be read" in next(cell.why for cell in found.unread if cell.text == "joist")


def test_a_doubt_stays_unread_where_a_field_has_no_place_for_it_and_a_date_keeps_it() -> None:
    line = a_beam(Wood="(PSME?)", Date="ca. 2024", Remarks="c. 1900?", Use="[joist]")
    found = read([HEADINGS, line, a_beam(2, Date="[2024]")])
    first, second = found.rows
    assert first.values["recorded_on"] == "2024~"
    assert first.values["notes"] == "c. 1900?"
    assert {cell.text: cell.why.partition("; ")[2] for cell in found.unread} == {
        "(PSME?)": "write PSME and put the doubt into the remarks, or say under synonyms in the "
        "mapping what '(PSME?)' means",
        "[joist]": "write joist and put the doubt into the remarks, or say under synonyms in the "
        "mapping what '[joist]' means",
        "[2024]": "write 2024? if they are a doubt, 2024 if not",
    }
    assert "recorded_on" not in second.values


def test_usual_bits_are_taken_for_inches_and_that_is_said() -> None:
    cored = [a_beam(n, Cored="yes", FS_no=230 + n, Bit=bit) for n, bit in enumerate(USUAL, 1)]
    found = read([HEADINGS, *cored, a_beam(9, Cored="yes", FS_no=240, Bit="5/8")])
    bores = [row.values["bore_mm"] for row in found.rows if row.table == "sample"]
    assert bores == [*USUAL.values(), "15.875"]
    (note,) = [one for one in found.findings if one.rule == "intake.fractions_matched"]
    assert note.severity == "note"
    assert note.message.startswith("5 fraction(s) without a unit were taken for usual sizes")
    assert "3/4 for 3/4 in (19.05 mm)" in note.message
    assert not found.unread


def test_a_form_with_one_line_a_timber_makes_no_samples_of_unsampled_wood() -> None:
    lines = [HEADINGS, a_beam(), a_beam(2, Cored="yes", FS_no=232, Bit="1/2")]
    found = read(lines)
    assert keys(found, "sample") == ["232"]
    assert not found.unread
    wood, sample = FORM["sources"][0]["rows"]
    unsaid = {name: part for name, part in sample.items() if name != "when"}
    asked = read(lines, rows=[wood, unsaid]).unread
    assert {cell.table for cell in asked} == {"sample"}
    assert all('under table: sample with when: "FS no"' in cell.why for cell in asked)
    assert not read(lines, rows=[wood, unsaid | {"when": "FS no"}]).unread


def test_a_form_without_a_column_for_it_says_what_was_sampled_by_the_numbers() -> None:
    wood, sample = FORM["sources"][0]["rows"]
    wood = wood | {"fields": wood["fields"] | {"sampled": {"filled": "FS no"}}}
    lines = [HEADINGS, a_beam(), a_beam(2, Cored="yes", FS_no=232), a_beam(3, FS_no="233")]
    found = read(lines, rows=[wood, sample | {"when": "FS no"}])
    said = [row.values["sampled"] for row in found.rows if row.table == "element"]
    assert said == ["false", "true", "true"]
    assert keys(found, "sample") == ["232", "233"]
    # a number that no table takes is asked for all the same
    (cell,) = read(lines, rows=[wood, sample]).unread
    assert (cell.text, cell.field) == ("233", "sample_id")


def test_a_lone_number_below_its_house_is_a_row() -> None:
    lines = [HEADINGS, a_beam("14"), a_line(Timber="14a"), a_line(Timber="15"), a_line(Timber=16)]
    assert keys(read(lines)) == ["B1-14", "B1-14a", "B1-15", "B1-16"]
    lines = [HEADINGS, a_beam("14"), a_line(House="B1", Timber=15), a_line(Timber='"')]
    assert keys(read(lines, fill_down=["House", "Timber"])) == ["B1-14", "B1-15"]


def test_units_below_columns_that_make_a_length_together_are_no_row() -> None:
    wood = FORM["sources"][0]["rows"][0]
    both = {"template": "{Length}' {Dia}\""}
    fields = {"element_id": {"column": "Timber"}, "length_m": both}
    lines = [HEADINGS, a_line(Length="ft", Dia="in"), a_line(Timber="14", Length=12, Dia=6)]
    found = read(lines, rows=[wood | {"fields": fields}])
    assert [row.values["length_m"] for row in found.rows] == ["3.81"]
    assert not found.unread


def write_xlsx(path: Path, sizes: list[float]) -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.title = "Timbers"
    page.append(["House", "Timber no", "Dia A"])
    for number, size in enumerate(sizes, start=1):
        page.append(["B1", number, size])
    page["C4"].number_format = "# ?/?"
    book.save(path)


def write_ods(path: Path, sizes: list[float]) -> None:
    table = Table(name="Timbers")
    lines = [["House", "Timber no", "Dia A"], *(["B1", n, x] for n, x in enumerate(sizes, start=1))]
    for line in lines:
        row = TableRow()
        for value in line:
            kind = {} if isinstance(value, str) else {"valuetype": "float", "value": value}
            cell = TableCell(**(kind or {"valuetype": "string"}))
            cell.addElement(P(text="9 1/4" if value == 9.25 else str(value)))
            row.addElement(cell)
        table.addElement(row)
    document = OpenDocumentSpreadsheet()
    document.spreadsheet.addElement(table)
    document.save(path)


@pytest.mark.parametrize(("write", "name"), [(write_xlsx, "t.xlsx"), (write_ods, "t.ods")])
def test_a_fraction_that_a_workbook_keeps_as_a_number_is_one_all_the_same(
    write, name, tmp_path
) -> None:
    """A spreadsheet makes 9.25, shown as 9 1/4, of a typed 9 1/4 (openpyxl and odfpy write it)."""
    write(tmp_path / name, [21.5, 20, 9.25, 22, 19.25])
    mapping = """
title: Timbers (invented)
sources:
  - files: "t.*"
    rows:
      - table: element
        fields:
          element_id: {template: "{House}-{Timber no}"}
          diameter_a1_cm: {column: Dia A}
"""
    found = reading_of_file(tmp_path / name, mapping, sheet="Timbers")
    sizes = [row.values.get("diameter_a1_cm") for row in found.rows]
    assert sizes == ["21.5", "20", None, "22", "19.25"]
    assert [cell.text for cell in found.unread] == ["9 1/4"]
    inches = mapping.replace("Dia A}", "Dia A, unit: in}")
    found = reading_of_file(tmp_path / name, inches, sheet="Timbers")
    assert found.rows[2].values["diameter_a1_cm"] == "23.495"  # 9.25 x 2.54 cm

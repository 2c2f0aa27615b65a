"""A drafted mapping is a start that a person can mend: it is valid, and it hides no column."""

from __future__ import annotations

import re

import pytest

from provenance._base.errors import UnusableInput
from provenance._base.resources import shipped
from provenance._intake.draft import draft_mapping
from provenance._intake.guessing import ColumnValues, guess_date_formats, guess_unit, plain_heading
from provenance._intake.importing import import_exports
from provenance._intake.mapping.mapping_file import mapping_from, read_mapping, read_mapping_text
from provenance._model.profile import check_against_schema, load_model
from tests.builders import a_package
from tests.intake.forms import HEADINGS, a_line, write_csv, write_xlsx

MODEL = load_model("blank")


def drafted(tmp_path, *files):
    text = draft_mapping(MODEL, files)
    path = tmp_path / "draft.yaml"
    path.write_text(text, "utf-8")
    raw = read_mapping_text(path)
    check_against_schema(raw, "mapping.schema.json", path)
    return text, raw


def fields_of(raw, table):
    return next(
        rows["fields"] for source in raw["sources"] for rows in source["rows"]
        if rows["table"] == table
    )  # fmt: skip


def test_a_wide_sheet_is_parted_into_the_tables_of_the_chain(tmp_path) -> None:
    text, raw = drafted(tmp_path, write_xlsx(tmp_path / "timbers.xlsx", [a_line(), a_line()]))
    element, sample = fields_of(raw, "element"), fields_of(raw, "sample")
    assert element["element_id"] == {"column": "Timber no"}
    assert element["length_m"] == {"column": "Length", "unit": "ft-in"}
    assert element["diameter_a1_cm"] == {"column": "Dia A", "unit": "in"}
    assert element["tool_marks"]["split"] == "[,;/+&]"
    assert sample["sample_id"] == {"column": "FS no"}
    assert sample["element_id"] == {"column": "Timber no"}
    assert '# ? column "House" (2 cells, such as "B1")' in text
    assert "# ? site_id: every row needs it" in text
    assert '# ? not in the list (2): "big beam"' in text


def test_a_form_with_the_titles_of_the_record_can_be_imported_as_drafted(tmp_path) -> None:
    """Headings that are the titles of the fields need nobody's help."""
    line = {
        "Sample": "", "Field specimen number": "231", "Site": "HOLL", "Element": "B1-014",
        "Kind of sample": "core", "Bore (in)": "1/2", "Collected on": "2024-06-04",
        "Collected by": "MB",
    }  # fmt: skip
    path = write_csv(tmp_path / "samples.csv", [line], tuple(line))
    (tmp_path / "draft.yaml").write_text(draft_mapping(MODEL, [path]), "utf-8")
    package = a_package(tmp_path).package
    mapping = read_mapping(tmp_path / "draft.yaml", package.model)
    result = import_exports(package, [path], mapping)
    assert result.added == {"sample": 1}
    assert result.unread == 0
    assert list(package.table("sample")["bore_mm"]) == ["12.7"]


def test_every_form_of_the_demonstration_gets_a_valid_draft_that_hides_no_column(tmp_path) -> None:
    folder = shipped("demo_package")
    paths = [p for part in ("field", "laboratory") for p in (folder / part).iterdir()]
    forms = [path for path in paths if path.suffix in (".csv", ".tsv", ".xlsx")]
    assert len(forms) >= 8
    for path in sorted(forms):
        text, raw = drafted(tmp_path, path)
        mapped = set(re.findall(r'column: ("(?:[^"\\]|\\.)*")', text))
        asked = set(re.findall(r'# \? column ("(?:[^"\\]|\\.)*")', text))
        assert mapped | asked, path
        if path.suffix == ".tsv":
            headings = path.read_text("utf-8").splitlines()[1].split("\t")
            assert {f'"{heading}"' for heading in headings} <= mapped | asked
        # a draft may lack a key, which only a person knows; it is wrong in nothing else
        faults = faults_of(raw, path)
        assert all("without it no row can be told" in fault for fault in faults), faults


def faults_of(raw, path):
    try:
        mapping_from(raw, MODEL, path.name)
    except UnusableInput as error:
        return str(error).splitlines()[1:]
    return []


def seen(*texts):
    values = ColumnValues(len(texts))
    values.texts.update(texts)
    return values


@pytest.mark.parametrize(
    ("texts", "formats", "word"),
    [
        (("14/6/87", "3/6/87"), ["D/M/YY"], ""),
        (("6/14/1987", "6/3/1987"), ["M/D/YYYY"], ""),
        (("4.6.2023", "14.6.2023"), ["D.M.YYYY"], ""),
        (("4/6/87", "5/6/87"), ["D/M/YY", "M/D/YY"], "4/6/87 can be either"),
        (("14/6/87", "6/14/87"), ["D/M/YY", "M/D/YY"], "mixes day/month and month/day"),
        (("2023-06-05", "June 1987"), [], ""),
    ],
)  # fmt: skip
def test_date_formats_are_told_by_days_above_twelve(texts, formats, word) -> None:
    found, doubt = guess_date_formats(seen(*texts))
    assert found == formats
    assert word in doubt


@pytest.mark.parametrize(
    ("heading", "texts", "unit"),
    [
        ("Length (ft)", ("12",), "ft"),
        ("Length [cm]", ("338",), "cm"),
        ("L cm", ("338",), "cm"),
        ("Length", ("12' 6\"", "3'"), "ft-in"),
        ("Length", ("7 3/8", "8"), "in"),
        ("Length", ("3.38", "4.1"), ""),
    ],
)
def test_units_are_told_by_the_heading_then_by_the_values(heading, texts, unit) -> None:
    one = MODEL.table("element").field("length_m")
    assert guess_unit(heading, one, seen(*texts))[0] == unit


def test_what_looks_like_nothing_is_refused_with_a_way_out(tmp_path) -> None:
    (tmp_path / "x.csv").write_text("colour,weather\nred,rain\n")
    with pytest.raises(UnusableInput, match=r"mapping\.example\.yaml"):
        draft_mapping(MODEL, [tmp_path / "x.csv"])


def test_headings_are_compared_without_units_and_marks() -> None:
    assert plain_heading("Sampled?") == "sampled"
    assert plain_heading(HEADINGS[5] + " (in)*") == "dia a"

"""A laboratory's table comes in: notation read, revisions linked, nothing dropped."""

from __future__ import annotations

from copy import deepcopy

import openpyxl
import pytest
import yaml

from provenance._intake.mapping.mapping_file import read_mapping
from provenance._lab.consign import consign_samples, write_results_form
from provenance._lab.results import import_results
from provenance._ledger.handover import record_events
from tests.builders import a_package

MAPPING = {
    "title": "Table of the Alder Ring Laboratory (invented)",
    "dates": {"formats": ["YYYY-MM-DD"]},
    "sources": [
        {
            "files": "*.csv",
            "rows": [
                {
                    "table": "lab_result",
                    "fields": {
                        "result_id": {"column": "No"},
                        "sample_id": {"column": "FS"},
                        "laboratory_id": {"constant": "LAB"},
                        "method": {"constant": "crossdating"},
                        "notation": {"column": "Dating"},
                        "ring_count": {"column": "Rings"},
                        "species": {"column": "Sp"},
                        "reported_on": {"column": "Reported"},
                    },
                }
            ],
        }
    ],
}
HEAD = "No,FS,Dating,Rings,Sp,Reported,Lab's own\n"


@pytest.fixture
def package(tmp_path):
    return a_package(tmp_path).with_chain().with_row("sample", sample_id="232").package


@pytest.fixture
def mapping(tmp_path, package):
    path = tmp_path / "mapping.yaml"
    path.write_text(yaml.safe_dump(MAPPING), "utf-8")
    return read_mapping(path, package.model)


def reported(package, mapping, tmp_path, *lines, name="lab.csv"):
    path = tmp_path / name
    path.write_text(HEAD + "".join(line + "\n" for line in lines), "utf-8")
    return import_results(package, [path], mapping)


def rows(package):
    return package.table("lab_result").set_index("result_id")


def test_a_notation_fills_years_symbols_and_outcome(package, mapping, tmp_path) -> None:
    read = reported(package, mapping, tmp_path, "A1,231,1702p - 1781rB,80,PIPO,2025-02-01,x")
    row = rows(package).loc["A1"]
    assert (row["inner_year"], row["inner_symbol"]) == ("1702", "p")
    assert (row["outer_year"], row["outer_symbol"]) == ("1781", "r;B")
    assert row["outcome"] == "dated"
    assert row["notation"] == "1702p - 1781rB"
    assert read.filled == 5


def test_what_a_laboratory_reports_of_growth_comes_in(package, mapping, tmp_path) -> None:
    """By the labels and synonyms of the list of marks, and in the units of the heading."""
    growth = {
        "mean_width_mm": {"column": "MRW"},
        "mean_sensitivity": {"column": "MS"},
        "missing_ring_count": {"column": "Absent rings"},
        "growth_marks": {"column": "Growth features"},
    }
    form = deepcopy(MAPPING)
    form["sources"][0]["rows"][0]["fields"] |= growth
    (tmp_path / "mapping.yaml").write_text(yaml.safe_dump(form), "utf-8")
    path = tmp_path / "lab.csv"
    path.write_text(
        "No,FS,Dating,Rings,Sp,Reported,MRW,MS,Absent rings,Growth features\n"
        'A1,231,1702p - 1781B,80,PIPO,2025-02-01,1.14,0.31,2,"Fire scar; false ring"\n',
        "utf-8",
    )
    import_results(package, [path], read_mapping(tmp_path / "mapping.yaml", package.model))
    row = rows(package).loc["A1"]
    assert [row[name] for name in growth] == ["1.14", "0.31", "2", "fire_scar; double_ring"]


def test_undated_comes_with_its_reason(package, mapping, tmp_path) -> None:
    reported(package, mapping, tmp_path, "A1,231,undated: too few rings,22,PIPO,2025-02-01,")
    row = rows(package).loc["A1"]
    assert (row["outcome"], row["undated_reason"]) == ("undated", "too_few_rings")


def test_what_cannot_be_read_is_named_and_kept(package, mapping, tmp_path) -> None:
    read = reported(package, mapping, tmp_path, "A1,231,1702 - 1781Q,80,PIPO,2025-02-01,")
    assert "results.notation_unread" in {one.rule for one in read.findings}
    assert rows(package).loc["A1", "notation"] == "1702 - 1781Q"
    assert rows(package).loc["A1", "outer_year"] == ""


def test_a_column_of_the_laboratorys_own_is_not_dropped_in_silence(
    package, mapping, tmp_path
) -> None:
    read = reported(package, mapping, tmp_path, "A1,231,1702 - 1781B,80,PIPO,2025-02-01,secret")
    assert any("Lab's own" in one.message + one.value + one.origin for one in read.findings)


def test_a_later_report_supersedes_and_the_history_stays(package, mapping, tmp_path) -> None:
    reported(package, mapping, tmp_path, "A1,231,1702 - 1779vv,78,PIPO,2025-02-01,")
    read = reported(
        package, mapping, tmp_path, "B1,231,1702 - 1781B,80,PIPO,2025-06-01,", name="second.csv"
    )
    assert read.superseded == (("B1", "A1"),)
    table = rows(package)
    assert table.loc["B1", "supersedes_result_id"] == "A1"
    assert table.loc["B1", "revision"] == "2"
    assert table.loc["A1", "outer_year"] == "1779"


def test_the_same_file_again_changes_nothing(package, mapping, tmp_path) -> None:
    line = "A1,231,1702 - 1781B,80,PIPO,2025-02-01,"
    reported(package, mapping, tmp_path, line)
    before = package.table("lab_result")
    read = reported(package, mapping, tmp_path, line)
    assert package.table("lab_result").equals(before)
    assert read.superseded == ()


def test_the_same_result_twice_is_named_and_not_linked(package, mapping, tmp_path) -> None:
    read = reported(
        package,
        mapping,
        tmp_path,
        "A1,231,1702 - 1781B,80,PIPO,2025-02-01,",
        "A2,231,1702 - 1781B,80,PIPO,2025-06-01,",
    )
    assert [one.rule for one in read.findings if one.rule.startswith("results.")] == [
        "results.same_twice"
    ]
    assert read.superseded == ()


def test_a_result_is_never_overwritten_under_its_own_number(package, mapping, tmp_path) -> None:
    reported(package, mapping, tmp_path, "A1,231,1702 - 1779vv,78,PIPO,2025-02-01,")
    read = reported(
        package, mapping, tmp_path, "A1,231,1702 - 1781B,80,PIPO,2025-06-01,", name="second.csv"
    )
    assert rows(package).loc["A1", "outer_year"] == "1779"
    assert {one.key for one in read.imported.conflicts} == {"A1"}
    assert read.imported.exit_code == 1


def test_a_notation_that_contradicts_its_columns_is_named(package, mapping, tmp_path) -> None:
    reported(package, mapping, tmp_path, "A1,231,1702 - 1781B,80,PIPO,2025-02-01,")
    frame = package.table("lab_result")
    frame.loc[2, "outer_year"] = "1780"
    package.write_table("lab_result", frame)
    read = reported(
        package, mapping, tmp_path, "A2,232,1702 - 1781B,80,PIPO,2025-02-01,", name="b.csv"
    )
    assert [(o.rule, o.key) for o in read.findings if o.rule == "results.notation_differs"] == [
        ("results.notation_differs", "A1")
    ]
    assert rows(package).loc["A1", "outer_year"] == "1780"


def test_the_form_that_went_with_the_parcel_comes_back_without_a_mapping(package, tmp_path) -> None:
    record_events(
        package,
        "collected",
        ["231", "232"],
        happened_on="2024-06-04",
        recorded_on="2024-06-04",
        to_party_id="MB",
    )
    consign_samples(
        package, ["231", "232"], to_party_id="LAB", packed_on="2024-06-15", recorded_on="2024-06-15"
    )
    form = write_results_form(package, "C-2024-1", tmp_path / "form.xlsx")
    book = openpyxl.load_workbook(form)
    sheet = book["Laboratory results"]
    names = [one.name for one in package.model.table("lab_result").form_fields()]
    answers = {"notation": "1702p - 1781B", "ring_count": 80, "reported_on": "2025-02-01"}
    answers |= {"outcome": "Dated", "species": "Pinus ponderosa"}
    for field, value in answers.items():
        sheet.cell(3, names.index(field) + 1).value = value
    book.save(form)
    import_results(package, [form])
    row = rows(package).loc["C-2024-1-231"]
    assert (row["outer_year"], row["outer_symbol"], row["species"]) == ("1781", "B", "PIPO")
    assert (row["consignment_id"], row["laboratory_id"]) == ("C-2024-1", "LAB")

"""What a finding of the structure layer tells the person who has to mend it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import polars as pl
import pytest

from provenance._base.errors import UnusablePackage
from provenance._base.findings import Finding
from provenance._checks.check import check_package
from provenance._checks.language.kinds import kind, structure_kinds
from provenance._checks.structure.patterns import Patience, UnusablePattern, mismatches
from provenance._checks.structure.structure import check_structure
from provenance._record.package import Package, open_package
from tests.builders import a_package


def _found(package: Package, rule: str) -> list[Finding]:
    return [one for one in check_structure(package) if one.rule == f"structure.{rule}"]


def _one(package: Package, rule: str) -> Finding:
    (found,) = _found(package, rule)
    return found


def _with_constraint(package: Package, table: str, field: str, **constraints: object) -> Package:
    """The package with the constraints of one field replaced, as a stranger's schemas may be."""
    path = package.folder / "schemas" / f"{table}.json"
    schema = json.loads(path.read_text(encoding="utf-8"))
    for one in schema["fields"]:
        if one["name"] == field:
            one["constraints"] = constraints
    path.write_text(json.dumps(schema), encoding="utf-8")
    return open_package(package.folder)


def test_a_mistyped_code_is_named_with_its_list_and_the_code_that_was_meant(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().with_row("element", function="lintl").package
    found = _one(package, "not_in_list")
    assert found.message == "'lintl' is not in the list 'Use of the timber'; did you mean 'lintel'?"
    assert (found.table, found.row, found.field, found.value) == ("element", 3, "function", "lintl")
    assert found.key == "B1-014"
    assert "main_beam" in found.remedy


def test_a_word_for_a_code_is_understood(tmp_path: Path) -> None:
    """People write the label or a synonym of the list, in capitals and with blanks."""
    package = a_package(tmp_path).with_chain().package
    term = package.model.vocabularies["element_function"].term("door_frame")
    assert term is not None
    written = f" {term.label.upper()} "
    package = a_package(tmp_path / "two").with_chain().with_row("element", function=written).package
    assert "did you mean 'door_frame'?" in _one(package, "not_in_list").message


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("PINE", "; did you mean 'PISP'?"),
        ("red cedar", "; did you mean 'JUVI' or 'THPL'?"),
        ("NYSSA", "."),
    ],
)
def test_a_wood_is_understood_by_its_genus_and_not_by_spelling(tmp_path, written, meant) -> None:
    package = a_package(tmp_path).with_chain().with_row("element", species_field=written).package
    found = _one(package, "not_in_list")
    assert found.message == f"'{written}' is not in the list 'Species of wood'{meant}"


def test_of_several_codes_the_wrong_one_is_named(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().with_row("site", hazards="dust; overhed").package
    found = _one(package, "not_in_list")
    assert "for 'overhed', did you mean 'overhead'?" in found.message


def test_a_link_to_nowhere_names_the_table_and_the_nearest_code(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().with_row("plug", sample_id="B1-14 ").package
    found = _one(package, "link_broken")
    assert found.message == "'B1-14 ' is not a 'Field specimen number' in the table 'Samples'."
    package = (
        a_package(tmp_path / "two").with_chain().with_row("sample", element_id="b1 014").package
    )
    assert "did you mean 'B1-014'?" in _one(package, "link_broken").message


def test_a_repeated_key_names_the_row_that_has_it_too(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().with_row("plug").package
    found = _one(package, "key_repeated")
    assert found.row == 3
    assert "Row 2 has the same key 'P-231'" in found.message


def test_a_number_out_of_bounds_is_named_with_the_bound_and_its_unit(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain(bore_mm="0").package
    assert "0 is not greater than 0 mm" in _one(package, "not_above").message


def test_a_date_in_another_form_is_told_by_example(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain(collected_on="4.6.2024").package
    found = _one(package, "wrong_form")
    assert "'4.6.2024'" in found.message
    assert "EDTF" in found.message
    assert "2024-06-0" in found.remedy


def test_a_heading_that_is_nearly_right_is_recognised(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    path = package.table_path("plug")
    path.write_text(path.read_text("utf-8").replace("dowel_mm", "Dowel diameter", 1), "utf-8")
    assert "did you mean 'dowel_mm'?" in _one(package, "label_extra").message
    assert _one(package, "label_missing").field == "dowel_mm"


def test_a_finding_names_the_line_of_the_field_file(tmp_path: Path) -> None:
    package = (
        a_package(tmp_path)
        .with_chain()
        .with_row("element", element_id="B1-015", function="lintl")
        .with_bare_row("original", original_id="O-1", file_name="timbers.xlsx")
        .with_bare_row(
            "origin",
            table_name="element",
            row_key="B1-015",
            original_id="O-1",
            sheet="Timbers",
            line=14,
        )
        .package
    )
    assert _one(package, "not_in_list").origin == "timbers.xlsx, sheet 'Timbers', row 14"


def test_a_very_long_value_is_cut_in_the_finding(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().with_row("element", shape="x" * 100_000).package
    found = _one(package, "not_in_list")
    assert len(found.value) == 201
    assert len(found.message) < 300


def test_findings_stand_in_the_order_of_tables_rows_and_fields(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    path = package.table_path("element")
    header, row = path.read_text("utf-8").splitlines()
    wrong = row.replace("beam", "?").replace("round", "?")
    rows = [wrong.replace("B1-014", f"X{number}") for number in range(20, 0, -1)]
    path.write_text("\n".join([header, row, *rows]), "utf-8")
    order = check_structure(package).found.select("row", "field").rows()
    assert order == [(row, name) for row in range(3, 23) for name in ("function", "shape")]


def test_every_kind_has_its_own_id_and_says_what_to_do() -> None:
    kinds = structure_kinds()
    assert len({one.id for one in kinds}) == len(kinds)
    for one in kinds:
        assert one.remedy, one.id
        assert one.source, one.id
        assert kind(one.id.removeprefix("structure.")) is one


# -- schemas and patterns of strangers -----------------------------------------------------------


def test_a_pattern_that_would_run_for_ever_is_stopped() -> None:
    with pytest.raises(UnusablePattern, match="took more than"):
        mismatches(r"(\w+\w+)+!", pl.Series(["a" * 60]), seconds=1)


def test_patterns_that_never_end_keep_a_check_waiting_only_once() -> None:
    """A schema has hundreds of fields, and each may have one of its own."""
    patience = Patience(left=0.5)
    with pytest.raises(UnusablePattern, match=r"took more than 0\.5 s"):
        mismatches(r"(\w+\w+)+!", pl.Series(["a" * 60]), patience=patience)
    with pytest.raises(UnusablePattern, match="others took too long"):
        mismatches(r"(\w+\w+)+\?", pl.Series(["a" * 60]), patience=patience)
    # what the columnar engine reads in linear time is tried all the same
    assert mismatches("a+", pl.Series(["aa", "b"]), patience=patience).to_list() == [False, True]


@pytest.mark.parametrize("pattern", ["(", "a)(b", "[a", "a" * 30_000, "(?P<x"])
def test_a_pattern_that_is_none_is_refused(pattern: str) -> None:
    with pytest.raises(UnusablePattern):
        mismatches(pattern, pl.Series(["a"]))


@pytest.mark.parametrize("field", ["stamp", "notes"])
def test_an_unusable_pattern_is_a_finding_and_hides_no_other(tmp_path: Path, field: str) -> None:
    """Also where nothing is written in its field, as in the notes here."""
    package = a_package(tmp_path).with_chain().with_row("plug", sample_id="NOPE").package
    package = _with_constraint(package, "plug", field, pattern="(")
    rules = {one.rule for one in check_structure(package)}
    assert rules == {
        "structure.pattern_unusable",
        "structure.link_broken",
        "structure.key_repeated",
    }


@pytest.mark.parametrize(
    ("pattern", "value", "fits"),
    [
        (r"(?=.*B)[A-Z]+", "ABC", True),
        (r"(?=.*B)[A-Z]+", "ACC", False),
        (r"(\d)\1", "77", True),
        (r"(\d)\1", "78", False),
        (r"beam|post", "beams", False),
        (r"\w+", "Träger", True),
        (r"[^-a]", "a", False),
        (r"[a-]", "-", True),
        (r"a{2}", "aa", True),
        (r"x\.y", "xzy", False),
    ],
)
def test_patterns_with_and_without_look_around_are_matched_whole(
    pattern: str, value: str, fits: bool
) -> None:
    assert mismatches(pattern, pl.Series([value, ""])).to_list() == [not fits, False]


@pytest.mark.parametrize(
    "constraints",
    # infinity as a number is none of JSON's, and is refused when the schema is read
    [{"minimum": "much"}, {"minLength": 3}, {"minimum": "Infinity"}, {"sideways": True}],
)
def test_a_constraint_that_cannot_be_is_refused(
    tmp_path: Path, constraints: dict[str, object]
) -> None:
    package = a_package(tmp_path).with_chain().package
    package = _with_constraint(package, "plug", "dowel_mm", **constraints)
    with pytest.raises(UnusablePackage, match="dowel_mm"):
        check_structure(package)


def test_a_table_name_that_climbs_out_of_the_package_is_refused(tmp_path: Path) -> None:
    package = a_package(tmp_path).package
    table = replace(package.model.table("plug"), name="../../secret")
    model = replace(package.model, tables=MappingProxyType({"../../secret": table}))
    with pytest.raises(UnusablePackage, match="file name"):
        check_structure(replace(package, model=model))


def test_a_missing_table_is_named_and_so_are_the_rules_that_need_it(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    package.table_path("lab_result").unlink()
    report = check_package(package)
    rules = {one.rule: one for one in report if one.table == "lab_result"}
    assert set(rules) == {"structure.file_missing", "structure.rules_skipped"}
    assert "result." in rules["structure.rules_skipped"].message
    assert "structure.file_missing" in report.rules_run
    assert not [one for one in report.rules_run if one.startswith("result.")]


def test_a_table_is_judged_anew_when_it_or_its_schema_changed(tmp_path: Path) -> None:
    """What was found in the same bytes is kept, by table and schema."""
    package = a_package(tmp_path).with_chain().with_row("element", function="main_beam").package
    assert not _found(package, "not_in_list")
    path = package.table_path("element")
    sound = path.read_bytes()
    path.write_bytes(sound.replace(b"main_beam", b"main_baem"))
    assert _one(open_package(package.folder), "not_in_list").value == "main_baem"
    path.write_bytes(sound)
    assert not _found(open_package(package.folder), "not_in_list")
    fewer = _with_constraint(package, "element", "function", enum=["lintel"])
    assert "main_beam" in [one.value for one in _found(fewer, "not_in_list")]

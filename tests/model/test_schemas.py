"""The shipped table schemas hold together, and say what every reader of them needs."""

from __future__ import annotations

import json
import re

import pytest
import yaml

from provenance._base.resources import shipped
from provenance._model.edtf import EDTF_PATTERN
from provenance._model.profile import load_model, shipped_profiles
from provenance._model.schema import (
    ROLES,
    SENSITIVITIES,
    Field,
    compile_model,
    read_core,
    table_as_dict,
)

MODEL = compile_model(read_core())
EACH = pytest.mark.parametrize("table", MODEL.tables.values(), ids=lambda t: t.name)


def test_every_table_of_the_chain_is_there() -> None:
    chain = [
        "site",
        "party",
        "agreement",
        "place",
        "relation",
        "datum",
        "declination",
        "tie",
        "element",
    ]
    chain += ["sample", "plug", "consignment", "custody", "lab_result", "file", "assumption"]
    chain += [
        "episode",
        "reservation",
        "number_range",
        "standin",
        "withdrawal",
        "plan_fit",
        "plan_point",
    ]
    assert [table.name for table in MODEL.of_role("record")] == chain


@EACH
def test_the_reference_library_accepts_every_schema(table) -> None:
    """Table Schema (Data Package v2), as implemented by frictionless."""
    from frictionless import Schema

    schema = Schema.from_descriptor(table_as_dict(table))
    assert schema.field_names == list(table.names)
    assert schema.primary_key == list(table.primary_key)


@EACH
def test_keys_point_at_fields_that_exist(table) -> None:
    assert all(name in table for name in table.primary_key)
    for key in table.foreign_keys:
        assert all(name in table for name in key.fields)
        assert all(name in MODEL.table(key.table) for name in key.reference_fields)
        assert MODEL.table(key.table).primary_key == key.reference_fields


@EACH
def test_every_field_can_be_understood_printed_and_redacted(table) -> None:
    for field in table.fields:
        assert field.title, field
        endings = (".", "!", "…", "?", ")")
        assert field.description.endswith(endings) or "." in field.description, field
        assert field.sensitivity in SENSITIVITIES, field
        assert field.section in table.sections, field
        assert re.fullmatch(r"[a-z][a-z0-9_]*", field.name), field
    assert table.role in ROLES


@EACH
def test_a_field_whose_name_ends_in_a_unit_says_that_unit(table) -> None:
    for field in table.fields:
        suffix = field.name.rsplit("_", 1)[-1]
        if suffix in ("m", "cm", "mm", "deg"):
            assert (field.unit, field.type) == (suffix, "number"), field


OF_THE_ROW = "it says so of what its own table is about, which its title names"
OF_THE_ACT = "it names a cell or a person in the bookkeeping of its own table"
SEVERAL_MEANINGS = {
    **dict.fromkeys(("kind", "condition", "title", "name", "path", "rights"), OF_THE_ROW),
    **dict.fromkeys(("reason", "why", "who", "decision", "under", "digest"), OF_THE_ROW),
    **dict.fromkeys(("shape", "outer_surface", "orientation_mark"), OF_THE_ROW),
    **dict.fromkeys(("recorded_on", "recorded_by"), OF_THE_ROW),
    **dict.fromkeys(("table_name", "row_key", "field", "said_by"), OF_THE_ACT),
    "uncertainty_m": "in tie it is hidden and only read where sd_m, which took its place, is blank",
    "along_m": "along the wood in sample, along the baseline in tie: both titles say along what",
    "height_m": "above the floor in sample, on the site grid in tie: both titles say above what",
    "length_mm": "of the dowel in plug, of the core or slice in sample: both titles say of what",
    "latitude": "in position it is computed, and its datum is known; in site as the crew had it",
    "longitude": "as latitude",
    "declination_deg": "of the day of the survey in site, of the day beside it in declination",
    "source": "of what happened in episode, of the figure in declination",
    "felled_from_year": "the laboratory's in lab_result; in span felled_by says what it rests on",
    "felled_to_year": "as felled_from_year",
    "felling_season": "as felled_from_year",
    "species": "lab_result has what the laboratory found; derived tables say which one they took",
}
"""Columns that two tables describe in different words, and why that misleads nobody."""
OTHER_CODES = {"kind", "condition", "shape", "outer_symbol"}
"""Of these each table has a list of its own, or the derived table none."""


def test_a_column_name_has_one_meaning_in_all_tables() -> None:
    """A key is a row's own in one table and names that row in all others."""
    described: dict[str, set[str]] = {}
    for name, fields in _columns_of_several_tables().items():
        assert len({(one.type, one.unit) for one in fields}) == 1, name
        is_key = name.endswith("_id")
        if len({one.vocabulary for one in fields}) > 1:
            assert name in OTHER_CODES, name
        if not is_key and len({one.description for one in fields}) > 1:
            described[name] = {one.description for one in fields}
    assert described.keys() == SEVERAL_MEANINGS.keys(), described


def test_one_number_is_never_an_uncertainty_of_two_kinds() -> None:
    """95 % or one standard deviation: the name decides, and what is hidden is on no form."""
    for name, fields in _columns_of_several_tables().items():
        shown = [one for one in fields if not one.hidden]
        if any(word in name for word in ("uncertainty", "sd_", "u95")):
            assert len({one.description for one in shown}) == 1, name


def _columns_of_several_tables() -> dict[str, list[Field]]:
    columns: dict[str, list[Field]] = {}
    for profile in shipped_profiles():
        for table in load_model(profile).tables.values():
            for one in table.fields:
                if one not in columns.setdefault(one.name, []):
                    columns[one.name].append(one)
    return {name: fields for name, fields in columns.items() if len(fields) > 1}


def test_the_stored_date_pattern_is_the_one_that_the_date_module_explains() -> None:
    assert MODEL.notations["edtf"].pattern == EDTF_PATTERN


def test_examples_of_notations_fit_their_patterns() -> None:
    for notation in MODEL.notations.values():
        assert re.fullmatch(notation.pattern, notation.example), notation.name


@EACH
def test_examples_of_fields_fit_their_constraints(table) -> None:
    for field in table.fields:
        if field.example and "pattern" in field.constraints:
            assert re.fullmatch(field.constraints["pattern"], field.example), field


def test_a_path_that_climbs_or_hides_is_no_path_inside_the_package() -> None:
    pattern = MODEL.notations["relative_path"].pattern
    for good in ("files/photo-001.jpg", "originals/0a1b/Timber sheets.xlsx", "files/Épure №2.png"):
        assert re.fullmatch(pattern, good)
    for bad in ("/etc/passwd", "../x", "files/../../x", "C:/x", "files\\x", ".lock", "a//b", ""):
        assert not re.fullmatch(pattern, bad)


@EACH
def test_crosswalks_are_addresses_of_open_terms(table) -> None:
    """Darwin Core (rs.tdwg.org/dwc/terms), Dublin Core terms, PROV-O and schema.org."""
    spaces = (
        "http://rs.tdwg.org/dwc/terms/",
        "http://purl.org/dc/terms/",
        "http://www.w3.org/ns/prov#",
        "https://schema.org/",
    )
    for field in table.fields:
        terms = [link["term"] for link in field.crosswalk]
        for term in [*terms, *([field.rdf_type] if field.rdf_type else [])]:
            assert term.startswith(spaces), field


def test_forms_leave_out_what_the_machine_computes() -> None:
    names = [field.name for field in MODEL.table("custody").form_fields()]
    assert "event" in names
    assert "event_sha256" not in names


def test_schema_files_are_written_as_the_project_writes_them() -> None:
    """Reading a schema and writing it again loses nothing."""
    core = read_core()
    for table in core.tables.values():
        raw = json.loads((shipped("schemas") / "tables" / f"{table.name}.json").read_text("utf-8"))
        again = table_as_dict(table)
        for key in raw.get("foreignKeys", []):
            if key["reference"]["resource"] == table.name:
                key["reference"]["resource"] = ""
        assert again == raw


def test_notations_do_without_look_around() -> None:
    """RE2-like engines (Polars, DuckDB) know neither look-around nor back-references."""
    raw = yaml.safe_load((shipped("schemas") / "notations.yaml").read_text("utf-8"))
    for notation in raw.values():
        assert "(?" not in notation["pattern"]
        assert not re.search(r"\\[1-9]", notation["pattern"])


@EACH
def test_every_branch_of_a_pattern_is_held_to_the_whole_value(table) -> None:
    """The reference library (frictionless) puts ^ and $ round a pattern as it stands."""
    for field in table.fields:
        pattern = field.constraints.get("pattern")
        if pattern and "|" in pattern:
            assert pattern.startswith("("), field
            assert pattern.endswith(")"), field


def test_a_code_with_something_behind_it_is_no_code() -> None:
    pattern = MODEL.table("file").field("about_table").constraints["pattern"]
    assert re.match(f"^{pattern}$", "element")
    assert not re.match(f"^{pattern}$", "site nonsense")

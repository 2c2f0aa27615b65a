"""A mapping says what is meant, or the slip in it is named before anything is read."""

from __future__ import annotations

import json

import jsonschema
import pytest

from provenance._base.errors import UnusableInput
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._intake.mapping.mapping_file import read_mapping
from provenance._model.profile import load_model
from tests.intake.forms import TIMBERS

MODEL = load_model("blank")


def mapping(tmp_path, text):
    path = tmp_path / "north.yaml"
    path.write_text(text, "utf-8")
    return read_mapping(path, MODEL)


def refused(tmp_path, text) -> str:
    with pytest.raises(UnusableInput) as caught:
        mapping(tmp_path, text)
    assert "north.yaml" in str(caught.value)
    return str(caught.value)


def with_field(line: str, table: str = "element") -> str:
    return f"""
title: t
sources:
  - files: "*"
    rows:
      - table: {table}
        fields:
          {table}_id: {{column: Number}}
          {line}
"""


def test_the_schema_is_sound() -> None:
    """JSON Schema 2020-12, by the metaschema that the jsonschema library ships."""
    schema = json.loads((shipped("schemas") / "mapping.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)


def test_every_mapping_of_the_demonstration_can_be_used() -> None:
    paths = sorted((shipped("demo_package") / "mappings").glob("*.yaml"))
    assert len(paths) >= 8
    for path in paths:
        assert read_mapping(path, MODEL).sources


def test_defaults_reach_every_field_that_says_nothing_else(tmp_path) -> None:
    (source,) = mapping(tmp_path, TIMBERS).sources
    fields = {rule.name: rule for rule in source.rows[0].fields}
    assert fields["diameter_a1_cm"].habits.unit == "in"
    assert fields["length_m"].habits.unit == "ft-in"
    assert fields["recorded_on"].habits.formats == ("D/M/YY",)
    assert fields["recorded_on"].habits.century_pivot == 2000
    assert fields["notes"].habits.missing == {"", "-", "n/a"}


def test_no_is_a_heading_and_a_day_is_a_text(tmp_path) -> None:
    """YAML 1.2 core schema, yaml.org/spec/1.2.2 section 10.3.2."""
    path = tmp_path / "m.yaml"
    path.write_text("{a: No, b: 2023-11-14, c: 3:30, d: yes, e: true, f: 12, g: 1.5, h: ~, i: off}")
    assert read_yaml(path) == {
        "a": "No",
        "b": "2023-11-14",
        "c": "3:30",
        "d": "yes",
        "e": True,
        "f": 12,
        "g": 1.5,
        "h": None,
        "i": "off",
    }


def test_a_field_that_stands_twice_is_not_lost_silently(tmp_path) -> None:
    text = with_field("notes: {column: A}\n          notes: {column: B}")
    assert "line 10, column 11: 'notes' occurs here a second time" in refused(tmp_path, text)


def test_an_unquoted_colon_is_explained(tmp_path) -> None:
    said = refused(tmp_path, with_field("sampled: {column: Core: slice}"))
    assert "line 9" in said
    assert "double quotes" in said


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("lenght_m: {column: L}", ["no field 'lenght_m'", "Did you mean 'length_m'?"]),
        ("function: {column: Use, synonyms: {big: main_baem}}", ["'main_baem'", "'main_beam'?"]),
        ("notes: {column: R, unit: in}", ["notes", "has no unit"]),
        ("length_m: {column: L, unit: furlong}", ["furlong", "is not one of"]),
        ("recorded_on: {column: D, formats: [D-Q-Y]}", ["D-Q-Y", "is not understood"]),
        ("tool_marks: {column: T, split: '['}", ["not a regular expression"]),
        ("function: {column: U, split: ','}", ["holds one code"]),
        ("length_m: {column: L, constant: 3}", ["is valid under each of"]),
        ("length_m: {unit: in}", ["is not valid under any"]),
        ("notes: {filled: R}", ["notes", "is not a yes-or-no field"]),
        ("place_id: {template: plain}", ["does not match"]),
        ("sampled: {column: S, synonyms: {ja: perhaps}}", ["'perhaps'", "true, false"]),
    ],
)
def test_a_slip_in_a_field_is_named(tmp_path, line, words) -> None:
    said = refused(tmp_path, with_field(line))
    for word in words:
        assert word in said


def test_a_table_that_is_not_there_is_named_with_the_nearest(tmp_path) -> None:
    text = with_field("notes: {column: R}").replace("table: element", "table: elements")
    said = refused(tmp_path, text)
    assert "no table 'elements'" in said
    assert "Did you mean 'element'?" in said


def test_tables_that_the_program_keeps_are_not_read_in(tmp_path) -> None:
    assert "no table 'origin'" in refused(
        tmp_path, with_field("notes: {column: R}").replace("table: element", "table: origin")
    )


def test_computed_fields_are_not_read_in(tmp_path) -> None:
    said = refused(tmp_path, with_field("sha256: {column: S}", "file"))
    assert "sha256: it is computed" in said


def test_a_table_without_its_key_cannot_be_read(tmp_path) -> None:
    text = with_field("notes: {column: R}").replace("element_id: {column: Number}\n", "\n")
    assert "element_id is missing" in refused(tmp_path, text)


def test_all_slips_are_named_at_once(tmp_path) -> None:
    said = refused(tmp_path, with_field("lenght_m: {column: L}\n          color: {column: C}"))
    assert "lenght_m" in said
    assert "color" in said


def test_a_file_that_is_not_there_or_no_text_is_named(tmp_path) -> None:
    with pytest.raises(UnusableInput, match=r"gone\.yaml cannot be read"):
        read_mapping(tmp_path / "gone.yaml", MODEL)
    (tmp_path / "m.yaml").write_bytes(b"title: \xff\n")
    with pytest.raises(UnusableInput, match="not UTF-8"):
        read_mapping(tmp_path / "m.yaml", MODEL)

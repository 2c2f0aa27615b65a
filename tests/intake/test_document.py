"""A mapping that is changed choice by choice stays a mapping, and its YAML says just that."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.yaml_text import read_yaml, yaml_of
from provenance._intake.mapping.document import (
    change_habit,
    decided,
    lacking,
    set_condition,
    set_field,
    tidy,
    unread_source,
    uses,
    with_column,
)
from provenance._intake.mapping.mapping_file import LEFT_OUT, OPEN
from provenance._model.profile import check_against_schema, load_model

MODEL = load_model("blank")
HEADINGS = ("No", "Länge", "1e3", "yes", "A: b", '"quoted" {x', "2024-06-04")
FIELDS = ("element.element_id", "element.length_m", "element.sampled", "sample.sample_id",
          "sample.element_id", "plug.plug_id")  # fmt: skip
SOURCES: tuple[dict[str, Any] | None, ...] = (
    None, {"constant": "NO"}, {"constant": True}, {"template": "{No}-{1e3}"}, {"filled": "yes"},
    {"all_of": ["No", "A: b"]},
)  # fmt: skip
column = st.tuples(
    st.sampled_from(HEADINGS), st.lists(st.sampled_from((*FIELDS, LEFT_OUT)), max_size=3)
)
field = st.tuples(st.sampled_from(FIELDS), st.sampled_from(SOURCES))
choice = st.tuples(st.just("column"), column) | st.tuples(st.just("field"), field)
steps = st.lists(choice)


@given(steps=steps, unit=st.sampled_from(("cm", None)), when=st.sampled_from((*HEADINGS, None)))
def test_any_choices_leave_a_mapping_in_which_every_column_is_accounted_for(
    steps: list[tuple[str, Any]], unit: str | None, when: str | None
) -> None:
    source = unread_source("form.csv", "", 1, HEADINGS)
    for kind, (first, second) in steps:
        if kind == "column":
            source = with_column(source, first, second, {"element.length_m": {"unit": "in"}})
            wanted = {one for one in second if one != LEFT_OUT}
            simple = {one.where for one in uses(source) if (one.how, one.said) == ("column", first)}
            assert simple == wanted, "just what was chosen"
        else:
            set_field(source, first, second)
            assert (second is not None) == any(one.where == first for one in uses(source))
        tidy(source)
        check_against_schema({"title": "x", "sources": [source]}, "mapping.schema.json", Path("x"))
        used = {one for use in uses(source) for one in use.columns}
        for heading in HEADINGS:
            is_used = heading.casefold() in used
            assert (decided(source, heading) != "") != is_used, heading
    change_habit(source, "element.length_m", "unit", unit)
    set_condition(source, "element", when)
    document = {"title": "x: y", "missing": ["", "-", "~", "null"], "sources": [source]}
    check_against_schema(document, "mapping.schema.json", Path("x"))
    lacked = {f"{table}.{one.name}" for table, one in lacking(source, MODEL)}
    assert not lacked & {one.where for one in uses(source) if one.said != OPEN}


@settings(max_examples=40)
@given(
    st.recursive(
        st.text() | st.integers() | st.booleans(),
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
        max_leaves=12,
    )
)
def test_what_is_written_as_yaml_is_read_back(tmp_path_factory: Any, value: Any) -> None:
    path = tmp_path_factory.getbasetemp() / "written.yaml"
    path.write_text(yaml_of(value), "utf-8", newline="")
    assert read_yaml(path) == value

"""The form for phones: a sound XLSForm for every profile, with nothing in it that tells too much.

xlsform.org says what a form is. The reference converter (pyxform) turns it into XForms, and the
validator that comes with it, which needs Java, looks at the outcome.
"""

from __future__ import annotations

import re
import shutil
from collections import Counter
from dataclasses import replace
from itertools import product
from pathlib import Path

import openpyxl
import pytest
from lxml import etree

from provenance._intake.answers.names import QUESTION
from provenance._model.measures import FEET_INCHES, METRIC
from provenance._model.profile import load_model, shipped_profiles
from provenance._model.schema import Model
from provenance._printing.phone_form import schema_digest, write_phone_form
from tests.builders import a_package
from tests.phone import evaluated

ENGLISH, SPANISH = "English (en)", "Español (es)"
XFORMS = "{http://www.w3.org/2002/xforms}"


def converted(form: Path, *, validate: bool = False) -> etree._Element:
    from pyxform.xls2xform import convert

    outcome = convert(str(form), validate=validate)
    assert outcome.warnings == []
    return etree.fromstring(outcome.xform.encode())


def sheets(form: Path) -> dict[str, list[dict[str, str]]]:
    book = openpyxl.load_workbook(form)
    read = {}
    for sheet in book:
        heads, *rows = sheet.iter_rows(values_only=True)
        read[sheet.title] = [
            {
                str(head): str(cell)
                for head, cell in zip(heads, row, strict=True)
                if cell is not None
            }
            for row in rows
        ]
    return read


@pytest.fixture(scope="module")
def forms(tmp_path_factory) -> dict[tuple[str, str], tuple[Model, Path]]:
    """The form of every profile in both habits."""
    folder = tmp_path_factory.mktemp("forms")
    made = {}
    for profile, units in product(shipped_profiles(), (METRIC, FEET_INCHES)):
        model = replace(load_model(profile), units=units)
        out = folder / f"{profile}-{units}.xlsx"
        made[profile, units] = model, write_phone_form(model, profile, out)
    return made


def test_every_profile_makes_a_sound_form_that_asks_for_nothing_but_what_is_open(
    forms, monkeypatch
) -> None:
    from pyxform.survey_element import SurveyElement

    # it looks for a group among groups by all that they hold, which takes most of its time
    monkeypatch.setattr(SurveyElement, "__eq__", object.__eq__)
    for case, (model, form) in forms.items():
        read = sheets(form)
        begun = [one for one in read["survey"] if not one["type"].startswith("end_")]
        names = Counter(one["name"] for one in begun)
        assert set(names.values()) == {1}, case
        # every question stands in the form that a phone gets
        groups = {one["name"] for one in begun if one["type"].startswith("begin_")}
        binds = converted(form).iter(f"{XFORMS}bind")
        nodes = {one.get("nodeset", "").rpartition("/")[2] for one in binds}
        assert names.keys() - groups <= nodes, case
        codes = Counter((one["list_name"], one["name"]) for one in read["choices"])
        assert set(codes.values()) == {1}, case
        assert not any(" " in name for _, name in codes), case
        asked = {one["type"].split(" ")[1] for one in begun if one["type"].startswith("select")}
        assert asked == {name for name, _ in codes}, case
        assert not any(one["type"].startswith("geo") for one in begun), case
        for name in filter(QUESTION.fullmatch, names):
            table, field = name.split("__")[:2]
            if field != "photo":
                of = model.table(table).field(field)
                assert of.sensitivity == "open", name
                assert of.obtained != "computed", name
                assert of.section != "grid", name


@pytest.mark.skipif(shutil.which("java") is None, reason="the second validator needs Java 8")
@pytest.mark.heavy
def test_the_second_validator_takes_the_form_of_a_record(tmp_path) -> None:
    package = a_package(tmp_path, "log_building").with_chain().with_row("place", place_id="B1-R1",
        parent_place_id="B1", kind="room").package  # fmt: skip
    form = tmp_path / "form.xlsx"
    model = replace(package.model, units=FEET_INCHES)
    write_phone_form(model, "holl", form, tables=package.tables)
    converted(form, validate=True)


def test_lists_of_places_and_timbers_hold_codes_and_kinds_alone(tmp_path) -> None:
    package = (
        a_package(tmp_path).with_chain()
        .with_row("place", place_id="B1-R1", parent_place_id="B1", kind="room", name="The hermit's")
        .with_row("element", element_id="B1-015", place_id="B1-R1", position_note="by the grotto")
        .package
    )  # fmt: skip
    out = tmp_path / "form.xlsx"
    write_phone_form(package.model, package.name, out, tables=package.tables)
    read = sheets(out)
    choices = {(one["list_name"], one["name"]): one[f"label::{ENGLISH}"] for one in read["choices"]}
    assert choices["building", "B1"] == "B1 (Building)"
    assert choices["room", "B1-R1"] == "B1-R1 (Room)"
    assert choices["timber", "B1-015"] == "B1-015 (Beam)"
    filters = {one["name"]: one.get("choice_filter") for one in read["survey"]}
    assert (filters["room"], filters["recorded"]) == (
        "building = ${building}",
        "place = ${place}",
    )
    text = str(read)
    for row in (*package.tables.rows("party"), *package.tables.rows("site")):
        assert row["name"] not in text
    assert not re.search("hermit|grotto|North house", text)
    (settings,) = read["settings"]
    assert re.fullmatch("treenail_holl_[0-9a-f]{8}", settings["form_id"])
    assert settings["default_language"] == ENGLISH


def test_the_same_model_makes_the_same_bytes_and_another_one_another_id(forms, tmp_path) -> None:
    model, form = forms["blank", METRIC]
    again = write_phone_form(model, "blank", tmp_path / "again.xlsx")
    assert again.read_bytes() == form.read_bytes()
    models = [model, load_model("log_building"), forms["blank", FEET_INCHES][0]]
    assert len({schema_digest(one) for one in models}) == 3


def test_a_record_in_spanish_has_both_languages_and_asks_for_the_same(forms, tmp_path) -> None:
    english, form = forms["blank", FEET_INCHES]
    out = tmp_path / "form.xlsx"
    write_phone_form(replace(english, language="es"), "blank", out)
    converted(out)  # which warns of a text that one of the languages lacks
    read, alone = sheets(out), sheets(form)
    assert read["settings"][0]["default_language"] == SPANISH
    assert read["settings"][0]["form_id"] == alone["settings"][0]["form_id"]
    for sheet in ("survey", "choices"):
        for row, same in zip(read[sheet], alone[sheet], strict=True):
            spanish = {key for key in row if key.endswith(SPANISH)}
            assert {key: row[key] for key in row.keys() - spanish} == same
            assert {key.split("::")[0] for key in spanish} == {
                key.split("::")[0] for key in same if key.endswith(ENGLISH)
            }
    words = {
        one["name"]: one[f"label::{SPANISH}"]
        for one in read["survey"]
        if f"label::{SPANISH}" in one
    }
    assert words["crew"] == "Su código en el registro"
    assert words["sample__bore_mm__in"].endswith(": pulgadas enteras")
    assert words["care"] == "Lea esto primero (Traducción no revisada por hablante nativo)"
    codes = {(one["list_name"], one["name"]): one[f"label::{SPANISH}"] for one in read["choices"]}
    assert (codes["sample_kind", "core"], codes["yes_no", "yes"]) == ("Testigo", "Sí")


def test_parts_of_a_length_come_to_its_metric_value(forms) -> None:
    """The inch is exactly 25.4 mm (NIST Special Publication 811, appendix B)."""
    _, form = forms["blank", FEET_INCHES]
    said = {one["name"]: one.get("calculation", "") for one in sheets(form)["survey"]}
    cases = {
        ("element__length_m", 12, 6, 8): 3.8227,
        ("element__length_m", 12, "", ""): 3.6576,
        ("element__diameter_a1_cm", "", 11, 6): 28.8925,
        ("sample__bore_mm", "", "", 10): 15.875,
        ("sample__height_m", -2, 6, ""): -0.762,
        ("sample__height_m", "", -6, 8): -0.1651,
        ("sample__height_m", "", "", ""): "",
    }
    for (name, *parts), wanted in cases.items():
        known = dict(zip((f"{name}__{one}" for one in ("ft", "in", "frac")), parts, strict=True))
        assert evaluated(said[name], known) == wanted, name

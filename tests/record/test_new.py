"""Starting a package, and fitting it to a changed profile."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest
import yaml
from click.testing import CliRunner

from provenance._base.errors import AlreadyThere, UnusableInput, UnusablePackage, UnusableSchema
from provenance._cli import treenail
from provenance._model.profile import general_cautions, shipped_profiles
from provenance._record.new import new_package, package_name, update_package
from provenance._record.package import open_package
from tests.builders import a_package, pack_bundle
from tests.intake.forms import content_of

NOON = datetime(2031, 5, 4, 12, 0, tzinfo=UTC)


def test_a_new_package_is_a_sound_data_package(tmp_path) -> None:
    """Data Package v2, as implemented by frictionless, read without a network."""
    from frictionless import Package as Reference

    package = new_package(tmp_path / "hollin", created=NOON)
    descriptor = json.loads((package.folder / "datapackage.json").read_text("utf-8"))
    assert descriptor["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert descriptor["created"] == "2031-05-04T12:00:00Z"
    reference = Reference(str(package.folder / "datapackage.json"))
    report = reference.validate()
    assert report.valid, report.flatten()


def test_a_package_is_read_with_the_schemas_that_lie_inside_it(tmp_path) -> None:
    package = new_package(tmp_path / "hollin", created=NOON)
    path = package.folder / "schemas" / "sample.json"
    raw = json.loads(path.read_text("utf-8"))
    raw["fields"][0]["title"] = "Number that is on the label"
    path.write_text(json.dumps(raw), "utf-8")
    again = open_package(package.folder)
    assert again.model.table("sample").fields[0].title == "Number that is on the label"


def test_a_folder_that_is_there_is_never_started_anew(tmp_path) -> None:
    new_package(tmp_path / "hollin", created=NOON)
    with pytest.raises(AlreadyThere, match="already there"):
        new_package(tmp_path / "hollin", created=NOON)


def test_an_unknown_profile_is_answered_with_the_ones_there_are(tmp_path) -> None:
    with pytest.raises(UnusableSchema, match="blank"):
        new_package(tmp_path / "hollin", "logs", created=NOON)
    assert not (tmp_path / "hollin").exists()


@pytest.mark.parametrize("profile", shipped_profiles())
def test_every_shipped_profile_starts_a_package(tmp_path, profile) -> None:
    package = new_package(tmp_path / profile, profile, created=NOON)
    assert package.model.profile == profile
    readme = (package.folder / "README.md").read_text("utf-8")
    assert package.model.cautions
    assert all(caution in readme for caution in package.model.cautions)
    assert readme.index(general_cautions()[0]) < readme.index(general_cautions()[1])
    assert all(f"{one.item}: {one.purpose}" in readme for one in package.model.equipment)


def test_the_example_mapping_follows_the_mapping_schema(tmp_path) -> None:
    from provenance._model.profile import check_against_schema

    package = new_package(tmp_path / "hollin", "log_building", created=NOON)
    path = package.folder / "mapping.example.yaml"
    check_against_schema(yaml.safe_load(path.read_text("utf-8")), "mapping.schema.json", path)


def a_profile(tmp_path, **parts):
    raw = {"name": "mine", "title": "Mine", "description": "A kind of place of our own."} | parts
    path = tmp_path / "mine.yaml"
    path.write_text(yaml.safe_dump(raw), "utf-8")
    return str(path)


NOTCH = {
    "name": "corner_notch",
    "type": "string",
    "title": "Corner notch",
    "description": "How the corner is joined.",
    "section": "surface",
}


def test_a_profile_adds_a_field_in_one_place(tmp_path) -> None:
    profile = a_profile(tmp_path, add={"element": [NOTCH]})
    package = new_package(tmp_path / "hollin", profile, created=NOON)
    assert "corner_notch" in package.table("element").columns
    assert package.model.table("element").field("corner_notch").sensitivity == "open"


def test_a_profile_narrows_a_list_and_the_reference_library_holds_to_it(tmp_path) -> None:
    profile = a_profile(tmp_path, narrow={"sample_kind": ["core"]})
    package = new_package(tmp_path / "hollin", profile, created=NOON)
    raw = json.loads((package.folder / "schemas" / "sample.json").read_text("utf-8"))
    kind = next(field for field in raw["fields"] if field["name"] == "kind")
    assert kind["constraints"]["enum"] == ["core"]


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        ({"narrow": {"sample_kind": ["slice_of_bread"]}}, "slice_of_bread"),
        ({"hide": {"sample": ["sample_id"]}}, "sample_id"),
        ({"hide": {"samples": ["bore_mm"]}}, "there is no table 'samples'"),
        ({"add": {"sample": [NOTCH | {"name": "bore_mm"}]}}, "bore_mm"),
        ({"add": {"sample": [NOTCH | {"type": "colour"}]}}, "colour"),
        ({"add": {"sample": [NOTCH | {"name": "row"}]}}, "add/sample/0/name"),
        ({"add": {"sample": [NOTCH | {"section": "attic"}]}}, "attic"),
        ({"shape": {}}, "shape"),
    ],
)
def test_a_faulty_profile_is_refused_with_the_place_of_the_fault(tmp_path, parts, says) -> None:
    with pytest.raises(UnusableSchema, match=says):
        new_package(tmp_path / "hollin", a_profile(tmp_path, **parts), created=NOON)
    assert not (tmp_path / "hollin").exists()


def test_a_changed_profile_adds_its_column_and_keeps_every_row(tmp_path) -> None:
    package = new_package(tmp_path / "hollin", created=NOON)
    frame = package.table("party")
    frame.loc[2] = dict.fromkeys(frame, "") | {"party_id": "MB", "name": "M. Birch (invented)"}
    package.write_table("party", frame)
    field = NOTCH | {"name": "hat_size", "section": "contact"}
    updated = update_package(package, a_profile(tmp_path, add={"party": [field]}))
    assert list(updated.table("party")["party_id"]) == ["MB"]
    assert "hat_size" in updated.table("party")


def test_a_column_that_holds_data_outlives_its_profile(tmp_path) -> None:
    profile = a_profile(tmp_path, add={"party": [NOTCH | {"section": "contact"}]})
    package = new_package(tmp_path / "hollin", profile, created=NOON)
    frame = package.table("party")
    frame.loc[2] = dict.fromkeys(frame, "") | {"party_id": "MB", "corner_notch": "saddle"}
    package.write_table("party", frame)
    updated = update_package(package, "blank")
    assert list(updated.table("party")["corner_notch"]) == ["saddle"]
    assert updated.model.table("party").field("corner_notch").hidden
    # with its own profile it is asked for again; once it is empty, no other one keeps it
    assert not update_package(updated, profile).model.table("party").field("corner_notch").hidden
    frame["corner_notch"] = ""
    updated.write_table("party", frame)
    assert "corner_notch" not in update_package(updated, "blank").table("party")
    updated.table_path("party").write_text("party_id,hat\nMB,tall\n", "utf-8")
    with pytest.raises(UnusablePackage, match="hat"):
        update_package(open_package(updated.folder), "blank")


def test_a_package_is_brought_to_several_profiles(tmp_path) -> None:
    package = new_package(tmp_path / "hollin", "log_building", created=NOON)
    frame = package.table("element")
    frame.loc[2] = dict.fromkeys(frame, "") | {"element_id": "B1-1", "course": "3"}
    package.write_table("element", frame)
    updated = update_package(package, "log_building+church")
    assert updated.model.profile == updated.descriptor["profileName"] == "log_building+church"
    assert list(updated.table("element")["course"]) == ["3"]
    assert {"bay", "chinking"} <= {*updated.table("element")}
    assert "profile" in [one.name for one in updated.model.table("place").form_fields()]
    assert open_package(updated.folder).model == updated.model


def test_general_cautions_are_shown_for_a_record_from_before_they_were_kept(tmp_path) -> None:
    package = new_package(tmp_path / "hollin", "log_building", created=NOON)
    path = package.folder / "schemas" / "model.json"
    raw = json.loads(path.read_text("utf-8"))
    own = [one for one in raw["cautions"] if one not in general_cautions()]
    older = {key: raw[key] for key in raw if key not in ("equipment", "logs", "profiles")}
    path.write_text(json.dumps(older | {"cautions": own}), "utf-8")
    model = open_package(package.folder).model
    assert model.cautions == (*general_cautions(), *own) == package.model.cautions
    assert (model.equipment, dict(model.logs), model.profiles) == ((), {}, ())


def test_a_name_is_made_plain_for_the_descriptor() -> None:
    assert package_name("Hollin Reach, été 2024") == "hollin-reach-ete-2024"
    assert package_name("…") == "package"


def test_how_a_record_measures_is_set_once_and_stays(tmp_path) -> None:
    record = tmp_path / "holl"
    run = CliRunner().invoke
    assert run(treenail, ["new", str(record), "--units", "feet-inches"]).exit_code == 0
    assert open_package(record).model.units == "feet_inches"
    shown = run(treenail, ["settings", str(record)])
    assert shown.output == (
        "units     feet-inches (feet, inches and fractions)\nlanguage  en\n"
        "numbering strict (numbers and site codes in the form of new ones)\n"
    )
    assert run(treenail, ["new", str(record), "--update", "--profile", "blank"]).exit_code == 0
    assert open_package(record).model.units == "feet_inches"
    before = content_of(record)
    assert run(treenail, ["settings", str(record), "--units", "metric"]).exit_code == 0
    after = content_of(record)
    assert {path for path in before if before[path] != after[path]} == {"schemas/model.json"}
    assert open_package(record).model.units == "metric"
    for option, word, known in (
        ("units", "cubits", "metric or feet-inches"),
        ("language", "xx", "en or es"),
    ):
        refused = run(treenail, ["settings", str(record), f"--{option}", word])
        assert isinstance(refused.exception, UnusableInput)
        assert str(refused.exception) == f"{option} '{word}' is not known; write {known}"
    assert content_of(record) == after
    # what somebody wrote into the file by hand
    path = record / "schemas" / "model.json"
    path.write_text(path.read_text("utf-8").replace('"metric"', '"cubits"'), "utf-8")
    with pytest.raises(UnusablePackage, match="units is 'cubits'; there are metric, feet_inches"):
        open_package(record)
    bundle = pack_bundle(a_package(tmp_path / "other").with_chain().package)
    refused = run(treenail, ["settings", str(bundle / "data"), "--units", "feet-inches"])
    assert "never changed" in str(refused.exception)

"""One profile or several: what they add, and what nobody can lose by choosing one."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import UnusableSchema
from provenance._intake.lines.cells import CellReader
from provenance._intake.mapping.mapping import ReadingHabits
from provenance._model.profile import general_cautions, load_model, shipped_profiles
from provenance._model.schema import Model
from provenance._model.stacking import way_to_place

SHIPPED = sorted(shipped_profiles())
loaded = cache(load_model)


def a_profile(folder: Path, name: str = "mine", **parts: Any) -> str:
    raw = {"name": name, "title": name.title(), "description": "A kind of place (invented)."}
    path = folder / f"{name}.yaml"
    path.write_text(yaml.safe_dump(raw | parts), "utf-8")
    return str(path)


def a_field(name: str, **parts: Any) -> dict[str, Any]:
    return {"name": name, "type": "string", "title": name, "description": f"The {name}."} | parts


def a_term(code: str, label: str = "", **parts: Any) -> dict[str, Any]:
    source = "common practice, no source"
    return {"code": code, "label": label or code, "definition": code, "source": source} | parts


def hidden(model: Model) -> set[tuple[str, str]]:
    return {(table.name, one.name) for table, one in model.every_field() if one.hidden}


@settings(max_examples=20)
@given(st.lists(st.sampled_from(SHIPPED), min_size=1, max_size=4, unique=True))
def test_profiles_add_up_and_take_nothing_away(names: list[str]) -> None:
    parts, model = [loaded(one) for one in names], load_model("+".join(names))
    general = general_cautions()
    assert general[0] == "Local codes, permits and licensed practice come first."
    assert "owner's consent" in general[1]
    assert "permit" in general[1]
    assert model.cautions[: len(general)] == general
    assert list(model.cautions) == list(dict.fromkeys(c for one in parts for c in one.cautions))
    assert list(model.equipment) == list(dict.fromkeys(e for one in parts for e in one.equipment))
    assert len({one.item for one in model.equipment}) == len(model.equipment)
    assert model.profile == "+".join(names)
    assert (
        [one.name for one in model.profiles] == list(model.vocabularies["profile"].codes) == names
    )
    for part in parts:
        for table, one in part.every_field():
            assert one.name in model.table(table.name)
        for name, vocabulary in part.vocabularies.items():
            terms = {term.code: term for term in model.vocabularies[name].terms}
            for term in vocabulary.terms:
                assert {*term.synonyms} <= {*terms[term.code].synonyms}, (name, term.code)
    not_asked = {("place", "profile")} if len(names) > 1 else set()
    assert hidden(model) == set.intersection(*map(hidden, parts)) - not_asked
    for table, one in loaded("blank").every_field():
        asking = [part.table(table.name).field(one.name).required for part in parts]
        everybody = any if way_to_place(model, table.name) is None else all
        assert model.table(table.name).field(one.name).required == everybody(asking)


def test_a_profile_brings_lists_and_the_words_of_its_region(tmp_path: Path) -> None:
    profile = a_profile(
        tmp_path,
        lists={"kiln": {"title": "Kilns", "description": "Kinds.", "terms": [a_term("lime")]}},
        add={"place": [a_field("kiln_kind", vocabulary="kiln")]},
        extend={"place_kind": [a_term("kiln_house", "Kiln house")]},
        synonyms={
            "element_function": {"main_beam": ["hollin tree"]},
            "element.element_id": ["tree tally"],
        },
    )
    model = load_model(profile)
    assert model.table("place").field("kiln_kind").constraints["enum"] == ["lime"]
    assert "tree tally" in model.table("element").field("element_id").synonyms
    function = model.table("element").field("function")
    read = CellReader(function, ReadingHabits(), model, None).read
    assert read("Hollin tree") == "main_beam"
    # the earthen village's own words and those of the core alike
    function = loaded("earthen_village").table("element").field("function")
    read = CellReader(function, ReadingHabits(), loaded("earthen_village"), None).read
    assert [read("viga"), read("Canoa"), read("latillas")] == [
        "main_beam",
        "roof_spout",
        "ceiling_pole",
    ]


def test_what_a_building_may_be_of_does_not_bind_the_dowel(tmp_path: Path) -> None:
    def codes(model: Model, table: str, field: str) -> list[str]:
        return list(model.table(table).field(field).constraints["enum"])

    narrow: dict[str, Any] = {"species": ["PIPO", "PSME"]}
    model = load_model(a_profile(tmp_path, narrow=narrow, extend={"species": [a_term("HOLX")]}))
    assert codes(model, "element", "species_field") == ["PIPO", "PSME", "HOLX"]
    assert codes(model, "plug", "dowel_species") == [
        *loaded("blank").vocabularies["species"].codes,
        "HOLX",
    ]
    narrow["plug.dowel_species"] = ["PSME"]
    narrow["sample.species_field"] = ["PIPO"]
    model = load_model(a_profile(tmp_path, narrow=narrow))
    assert codes(model, "plug", "dowel_species") == ["PSME"]
    assert codes(model, "sample", "species_field") == ["PIPO"]
    assert codes(model, "element", "species_field") == ["PIPO", "PSME"]


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        ({"lists": {"hazard": {"title": "H", "description": "D", "terms": [a_term("x")]}}},
         "lists/hazard is there"),
        ({"add": {"place": [a_field("kiln", vocabulary="kilns")]}}, "no vocabulary 'kilns'"),
        ({"synonyms": {"element_function": {"beem": ["log"]}}}, "not there: beem"),
        ({"synonyms": {"element_function": {"lintel": ["viga"]}}}, "means 'main_beam' already"),
        ({"synonyms": {"element.vigas": ["viga"]}}, "synonyms/element names fields.*vigas"),
        ({"narrow": {"plug.stamp": ["a"]}}, "plug.stamp: the field has no list"),
        ({"narrow": {"plug.dowel_species": ["a"]}}, "plug.dowel_species keeps codes.*: a"),
        ({"log": {"element": ["vigas"]}}, "log/element names fields.*vigas"),
        ({"equipment": [{"item": "Tape"}]}, "'purpose' is a required property"),
    ],
)  # fmt: skip
def test_what_a_profile_gets_wrong_is_named(tmp_path: Path, parts: Any, says: str) -> None:
    for others in ("", "+log_building"):
        with pytest.raises(UnusableSchema, match=says):
            load_model(a_profile(tmp_path, **parts) + others)


def test_profiles_that_say_different_things_of_one_name_are_not_put_together(
    tmp_path: Path,
) -> None:
    for first, second, says in (
        ({"add": {"place": [a_field("kiln")]}},
         {"add": {"place": [a_field("kiln", type="integer")]}},
         "add/place/kiln differently: type is 'string' and 'integer'"),
        ({"extend": {"place_kind": [a_term("kiln", "Kiln")]}},
         {"extend": {"place_kind": [a_term("kiln", "Oven")]}},
         "extend/place_kind/kiln differently: label is 'Kiln' and 'Oven'"),
    ):  # fmt: skip
        both = a_profile(tmp_path, "one", **first) + "+" + a_profile(tmp_path, "two", **second)
        with pytest.raises(UnusableSchema, match=says):
            load_model(both)
    same = {"add": {"place": [a_field("kiln")]}, "extend": {"place_kind": [a_term("kiln")]}}
    both = a_profile(tmp_path, "one", **same) + "+" + a_profile(tmp_path, "two", **same)
    assert load_model(both).table("place").names.count("kiln") == 1


def test_a_list_is_narrowed_to_what_any_of_them_keeps() -> None:
    narrow = load_model("church+mine").vocabularies["site_kind"].codes
    assert narrow == ("mixed", "mine", "church", "other", "unknown")
    whole = load_model("church+log_building").vocabularies["site_kind"]
    assert whole == loaded("blank").vocabularies["site_kind"]

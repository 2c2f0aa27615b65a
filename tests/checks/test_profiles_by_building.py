"""In a mixed village each building is asked what its own profile asks."""

from __future__ import annotations

from pathlib import Path

import yaml

from provenance._checks.check import check_package
from provenance._checks.language.profiles import without_unasked
from provenance._checks.language.rule import Rule
from provenance._checks.registry import package_rules
from tests.builders import PackageBuilder, a_package

REQUIRES = "place.profile_requires"


def a_village(tmp_path: Path) -> PackageBuilder:
    """A kiln with a room and a loft above it, a barn, and a house of both kinds."""
    paths = []
    for name, parts in (
        (
            "kiln",
            {"require": {"element": ["position_note"], "sample": ["notes"], "site": ["region"]}},
        ),
        ("barn", {"hide": {"element": ["condition"]}, "require": {"place": ["name"]}}),
    ):
        raw = {"name": name, "title": name.title(), "description": "Invented."} | parts
        paths.append(tmp_path / f"{name}.yaml")
        paths[-1].write_text(yaml.safe_dump(raw), "utf-8")
    builder = a_package(tmp_path, "+".join(map(str, paths))).with_row("site", region="North")
    for place, values in {
        "K": {"kind": "building", "profile": "kiln"},
        "K1": {"kind": "room", "parent_place_id": "K"},
        "K2": {"kind": "room", "parent_place_id": "K1"},
        "B": {"kind": "building", "profile": "barn"},
        "H": {"kind": "building"},
        "M": {"kind": "building", "profile": "kiln; barn", "name": "Malt house"},
        # the check has its own finding for these two
        "C": {"kind": "room", "parent_place_id": "D"},
        "D": {"kind": "room", "parent_place_id": "C"},
    }.items():
        builder.with_bare_row("place", place_id=place, site_id="HOLL", **values)
        builder.with_row("element", element_id=f"{place}-1", place_id=place)
    return builder


def asked(builder: PackageBuilder, rule: str = REQUIRES) -> list[tuple[str, str, str]]:
    rules = [one for one in package_rules() if one.id == rule]
    found = check_package(builder.package, rules=rules).found
    rows = found.filter(found["rule"] == rule).select("table", "key", "field").rows()
    return sorted(rows)


def test_a_cell_is_required_in_the_buildings_whose_profile_requires_it(tmp_path: Path) -> None:
    builder = a_village(tmp_path).with_row("sample", sample_id="1", element_id="K2-1")
    builder.with_row("sample", sample_id="2", element_id="B-1")
    # rooms follow their building; where no profile is named, all hold
    wood = [f"{place}-1" for place in ("C", "D", "H", "K", "K1", "K2", "M")]
    assert asked(builder) == [
        *(("element", key, "position_note") for key in wood),
        *(("place", key, "name") for key in ("B", "C", "D", "H")),
        ("sample", "1", "notes"),
    ]
    # a site has no one building, so that any of the profiles may require what it says
    assert builder.package.model.table("site").field("region").required
    assert not builder.package.model.table("element").field("position_note").required


def test_no_warning_is_given_of_what_no_profile_of_the_building_asks(tmp_path: Path) -> None:
    tables = a_village(tmp_path).package.tables

    def left(severity: str, field: str = "condition") -> list[str]:
        one = Rule("x.y", "element", field, severity, "", "", "", lambda tables: tables["element"])
        return without_unasked(one, tables["element"], tables)["element_id"].to_list()

    everything = tables["element"]["element_id"].to_list()
    assert [one for one in everything if one not in left("warning")] == ["B-1"]
    # what contradicts itself stays, and so does what is written or asked everywhere
    assert left("error") == left("warning", "length_m") == left("note", "notes") == everything


def test_one_profile_asks_no_rule_of_its_own(tmp_path: Path) -> None:
    assert asked(a_package(tmp_path, "masonry_ruin").with_chain()) == []

"""Assumptions: which figure holds for a kind of wood and a place."""

from __future__ import annotations

import dataclasses

from provenance._record.assumptions import Assumptions, assumptions_of
from tests.builders import a_package

SAID = {"figure": 12, "source": "Invented handbook, p. 3"}


def test_own_species_goes_before_all_and_the_nearest_place_before_one_around_it(tmp_path) -> None:
    builder = a_package(tmp_path).with_row("site").with_row("place")
    builder.with_row("place", place_id="R4", kind="room", parent_place_id="B1")
    builder.with_row("place", place_id="B2")
    given = {"1": {}, "2": {"place_id": "B1"}, "3": {"species": "PIPO"}}
    given["4"] = {"species": "PIPO", "place_id": "R4"}
    given["5"] = {"species": "ABCO", "place_id": "B2"}
    for key, values in given.items():
        kind = {"assumption_kind": "longest_stem"}
        builder.with_bare_row("assumption", assumption_id=key, **kind, **SAID, **values)
    assumed = assumptions_of(builder.package.tables)
    for species, place, key in (
        ("", "", "1"),
        ("QUSP", "", "1"),
        ("QUSP", "R4", "2"),
        ("PIPO", "", "3"),
        ("PIPO", "B1", "3"),
        ("PIPO", "R4", "4"),
        ("ABCO", "R4", "2"),
        ("ABCO", "B2", "5"),
        ("", "not recorded", "1"),
    ):
        found = assumed.find("longest_stem", species=species, place=place)
        assert getattr(found, "assumption_id", None) == key, (species, place)
    assert assumed.find("density") is None


def test_each_work_has_its_own_rate(tmp_path) -> None:
    builder = a_package(tmp_path).with_row("site").with_row("place")
    rows = [
        ("1", "felling", {}),
        ("2", "felling", {"place_id": "B1"}),
        ("3", "hauling", {"spread": 2}),
    ]
    for key, work, values in rows:
        builder.with_bare_row(
            "assumption",
            assumption_id=key,
            assumption_kind="work_per_tree",
            activity=work,
            **SAID,
            **values,
        )
    assumed = assumptions_of(builder.package.tables)
    rates = assumed.rates("work_per_tree", "work_per_cut", place="B1")
    assert [(one.assumption_id, one.spread) for one in rates] == [("2", None), ("3", 2)]


def test_an_older_package_assumes_nothing(tmp_path) -> None:
    tables = a_package(tmp_path).package.tables
    older = {name: one for name, one in tables.model.tables.items() if name != "assumption"}
    model = dataclasses.replace(tables.model, tables=older)
    assert assumptions_of(dataclasses.replace(tables, model=model)) == Assumptions((), {})

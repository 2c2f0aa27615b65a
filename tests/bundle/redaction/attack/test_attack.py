"""What somebody with a register of every building makes of a public edition."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from provenance._bundle.derivation import verify_derivation
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.pack import pack
from provenance._bundle.redaction.candidates import (
    BUILDINGS_A_PLACE,
    ENOUGH,
    USUAL_BUILDINGS,
    Detail,
    candidates_left,
    radius_m,
)
from provenance._bundle.redaction.own_grids import Size
from provenance._bundle.redaction.places import CELLS
from provenance._bundle.redaction.redact import redact
from provenance._record.package import as_json, open_package
from tests.builders import PackageBuilder, pack_bundle
from tests.bundle.redaction.attack.farms import Farms, invented_farms, recorded, registered
from tests.bundle.redaction.attack.search import SLACK_M, Clues, Left, read_clues, search

MOST_SEARCHED = 100_000


def searched(clues: Clues, farm: Farms, cell: float, buildings: int, seed: int) -> Left:
    """What is left of all farms in the cell, of which the last one is the true one.

    Of more than a hundred thousand a part is searched, and the wrong ones left are counted up.
    """
    chance = np.random.default_rng(seed + 1000)
    count = max(round(buildings / BUILDINGS_A_PLACE * (cell / 0.1) ** 2), 2)
    part = min(count, MOST_SEARCHED)
    others = invented_farms(part - 1, cell, chance)
    register = registered(others.followed_by(farm), chance)
    left = search(clues, register, part - 1)
    return replace(left, farms=1 + (left.farms - 1) * count / part)


@pytest.mark.parametrize(("buildings", "farms"), [(USUAL_BUILDINGS, 2), (300, 2)])
def test_an_edition_leaves_enough_farms_where_one_grid_for_all_left_one(
    tmp_path: Path, buildings: int, farms: int
) -> None:
    """Where few buildings stand the edition is made coarser until it holds."""
    before, after, misses, shown = [], [], [], []
    for seed in range(farms):
        farm = invented_farms(1, 0.1, np.random.default_rng(seed))
        package = recorded(tmp_path / str(seed), farm, buildings_in_cell=buildings)
        on_one_grid = read_clues(package.folder / "tables")
        redacted = redact(package, tmp_path / f"public-{seed}")
        found = redacted.account.inference
        assert found.holds
        assert found.cell
        before.append(searched(on_one_grid, farm, 0.1, USUAL_BUILDINGS, seed))
        clues = read_clues(redacted.package.folder / "tables")
        after.append(searched(clues, farm, float(found.cell), buildings, seed))
        misses.append(after[-1].miss_m / radius_m(found.cell))
        shown.append(f"{found.cell} degree, {dict(found.shown)}")
    # a search that loses the true one would prove nothing
    assert all(one.true_one_is_left for one in before + after)
    one_grid, own_grids = (np.median([one.farms for one in all_]) for all_ in (before, after))
    print(
        f"\n{buildings} buildings in 0.1 degree: {one_grid:.1f} farms left on one grid, "
        f"{own_grids:.0f} in the edition ({'; '.join(sorted(set(shown)))}); the likeliest is "
        f"{np.mean(misses):.2f} radii off"
    )
    assert one_grid < 1.5
    assert own_grids >= ENOUGH
    assert np.mean(misses) >= 0.5


def test_the_count_does_not_promise_more_farms_than_a_search_leaves() -> None:
    """The formula against the simulated search: medians of 15 farms, sizes exactly or in steps."""
    for known, step, cell in ((1, 0, "0.1"), (1, 1, "0.1"), (3, 1, "0.2"), (3, 2, "0.1")):
        left, counted = [], []
        for seed in range(15):
            farm = invented_farms(1, 0.1, np.random.default_rng(seed))
            size = farm.size[0, :known]
            most = np.ceil(size / step) * step if step else size
            nothing = np.full((known, 2), np.nan)
            clues = Clues(most - step - SLACK_M, most + SLACK_M, nothing, nothing[:, 0],
                          nothing[:, 0])  # fmt: skip
            left.append(searched(clues, farm, float(cell), USUAL_BUILDINGS, seed).farms)
            detail = Detail.TO_2_M if step == 2 else Detail.TO_1_M
            site = {str(at): Size(*two, 4, step == 0) for at, two in enumerate(size)}
            details = dict.fromkeys(site, detail)
            counted.append(candidates_left(site, details, Decimal(cell), USUAL_BUILDINGS))
        said, true = np.median(counted), np.median(left)
        print(f"\n{known} buildings to {step} m in {cell}: {said:.0f} counted, {true:.0f} left")
        assert said <= 1.1 * true
        assert said >= true / 8


def test_moved_and_turned_as_a_whole_a_building_shows_the_same_numbers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So nothing of where it stands, how it lies, and how high, can be in them.

    What is left differs by less than the step that coordinates are written to.
    """
    farm = invented_farms(1, 0.1, np.random.default_rng(3))
    chosen = "provenance._bundle.redaction.stand_ins.secrets.choice"
    monkeypatch.setattr(chosen, random.Random(1).choice)
    there = redact(recorded(tmp_path / "a", farm), tmp_path / "public-a").package
    moves = {
        "east_m": np.array([12.3, 640.0, -9_000.0]),
        "raised_m": np.array([-300.0, 55.5, 7.25]),
        "turned_deg": np.array([90.0, 201.7, -17.3]),
    }
    monkeypatch.setattr(chosen, random.Random(1).choice)
    elsewhere = redact(recorded(tmp_path / "b", farm, **moves), tmp_path / "public-b").package
    for table, one in there.model.every_field():
        pairs = zip(*(p.table(table.name)[one.name] for p in (there, elsewhere)), strict=True)
        for here, other in pairs:
            if one.public_form in ("site_x", "site_y", "site_z") and here and other:
                assert abs(float(here) - float(other)) <= 0.013, (table.name, one.name)
            elif one.public_form != "site_section":
                # a post's two diameters are measured along the axes of the site grid
                assert here == other, (table.name, one.name)


def test_nothing_runs_from_one_building_to_another_or_to_north(tmp_path: Path) -> None:
    """In an edition of a package with schemas from before as well."""
    farm = invented_farms(1, 0.1, np.random.default_rng(4))
    package = recorded(tmp_path, farm)
    for name in ("tie", "sample", "site"):
        path = package.folder / "schemas" / f"{name}.json"
        schema = json.loads(path.read_text("utf-8"))
        for one in schema["fields"]:
            one.pop("public", None)
        path.write_text(as_json(schema), encoding="utf-8")
    public = redact(open_package(package.folder), tmp_path / "public").package
    ties = public.table("tie").set_index("tie_id")
    assert ties.loc["LH-T", "distance_m"] == "3.21"
    assert ties.loc["T2", "distance_m"] == ""
    assert "Distance" in ties.loc["T2", "information_withheld"]
    assert (ties.loc["T3", "distance_m"], ties.loc["T3", "bearing_deg"]) == ("2.5", "")
    assert set(public.table("site")["grid_north_deg"]) == {""}
    # a clock on a post is read against the site grid
    assert set(public.table("sample")["clock"]) == {""}


def test_two_editions_tell_no_more_than_one(tmp_path: Path) -> None:
    """The record grows by points outside, lower ones and a building; what was shown stays."""
    farm = invented_farms(1, 0.1, np.random.default_rng(5))
    package = recorded(tmp_path, farm)
    first = pack(package, tmp_path / "first", edition=PUBLIC)
    pack_bundle(open_package(package.folder), tmp_path / "full")
    assert verify_derivation(tmp_path / "first", tmp_path / "full").proved
    builder = PackageBuilder(package)
    site = package.table("datum").iloc[0]
    far = {"x_m": f"{float(site['x_m']) - 40:.3f}", "y_m": f"{float(site['y_m']) - 25:.3f}"}
    builder.with_bare_row("place", place_id="AB", site_id="HOLL", kind="building", name="Shed")
    for code, place in (("LH-A", "LH"), ("AB-1", "AB")):
        builder.with_bare_row("datum", datum_id=code, site_id="HOLL", place_id=place, kind="nail",
                              z_m="3.5", held="true", **far)  # fmt: skip
    second = pack(open_package(package.folder), tmp_path / "second", edition=PUBLIC)
    assert first.account
    assert second.account
    assert first.account.grid == second.account.grid
    tables = [tmp_path / name / "data" / "tables" for name in ("first", "second")]
    for name in ("place", "element", "datum", "sample", "tie"):
        old, new = ((folder / f"{name}.csv").read_text("utf-8").splitlines() for folder in tables)
        assert set(old) <= set(new), name
    clues = [read_clues(folder) for folder in tables]
    cell = float(first.account.grid or CELLS[-1])
    left = searched(clues[0], farm, cell, USUAL_BUILDINGS, 5)
    print(f"\n{left.farms:.0f} farms left by two editions")
    assert left.true_one_is_left
    assert left.farms >= ENOUGH

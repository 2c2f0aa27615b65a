"""What somebody with a register of every building makes of a public edition."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.pack import pack
from provenance._bundle.redaction.candidates import (
    BUILDINGS_A_PLACE,
    ENOUGH,
    USUAL_BUILDINGS,
    Detail,
    Inference,
    candidates_left,
    coarse_enough,
    radius_m,
)
from provenance._bundle.redaction.own_grids import Size
from provenance._bundle.redaction.places import CELLS
from provenance._bundle.redaction.redact import redact
from provenance._record.package import Package
from tests.bundle.redaction.attack.farms import (
    Farms,
    invented_farms,
    recorded,
    registered,
)
from tests.bundle.redaction.attack.search import Clues, Left, read_clues, search


def searched(clues: Clues, farm: Farms, cell: float, buildings: int, seed: int) -> Left:
    """What is left of all farms in the cell, of which the last one is the true one."""
    chance = np.random.default_rng(seed)
    count = round(buildings / BUILDINGS_A_PLACE * (cell / 0.1) ** 2)
    all_ = registered(invented_farms(max(count, 2) - 1, cell, chance).followed_by(farm), chance)
    return search(clues, all_, len(all_.at) - 1)


def edition(package: Package, folder: Path) -> tuple[Path, Inference]:
    redacted = redact(package, folder)
    return folder / "tables", redacted.account.inference


@pytest.mark.parametrize("buildings", [USUAL_BUILDINGS, 300])
def test_an_edition_leaves_enough_farms_where_one_grid_for_all_left_one(
    tmp_path: Path, buildings: int
) -> None:
    """Medians of seven farms; where buildings are few the edition is made coarser until it holds."""
    before, after, misses = [], [], []
    for seed in range(7):
        farm = invented_farms(1, 0.1, np.random.default_rng(seed))
        package = recorded(tmp_path / str(seed), farm, buildings_in_cell=buildings)
        on_one_grid = read_clues(package.folder / "tables")
        tables, found = edition(package, tmp_path / f"public-{seed}")
        assert found.holds
        before.append(searched(on_one_grid, farm, 0.1, USUAL_BUILDINGS, seed))
        # without a cell as many places are counted as in one of ten degrees, too many to search
        cell = float(found.cell or 2)
        after.append(searched(read_clues(tables), farm, cell, buildings, seed))
        misses.append(after[-1].miss_m / radius_m(found.cell or CELLS[-2]))
        assert before[-1].true_one_is_left
        assert after[-1].true_one_is_left
    left = [np.median([one.farms for one in all_]) for all_ in (before, after)]
    print(
        f"{buildings} buildings in a cell of 0.1 degree: {left[0]:.1f} farms left on one grid, "
        f"{left[1]:.0f} in the edition; the likeliest is {np.mean(misses):.2f} radii off"
    )
    assert left[0] < 1.5
    assert left[1] >= ENOUGH
    assert np.mean(misses) >= 0.5

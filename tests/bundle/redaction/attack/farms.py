"""Invents farms, the register of them that a searcher has, and the record of one of them.

Own model: three buildings a farm, whose sizes spread by 15 % about those of a house, a barn and a
shed; a register that has every footprint to half a metre, its direction to a degree, and heights
above the sea to a metre.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from provenance._record.edition_key import EDITION_KEY
from provenance._record.package import Package, open_package
from tests.builders import PackageBuilder, a_package

Floats = npt.NDArray[np.float64]
USUAL_M = np.array([[9.0, 6.5], [12.5, 7.5], [8.0, 5.5]])
SPREAD, FOOTPRINT_M, DIRECTION_DEG, HEIGHT_M = 0.15, 0.5, 1.0, 1.0
CODES = ("LH", "BN", "SH")
KEY = "5a" * 32
METRES_A_DEGREE = 111_000.0


@dataclass(frozen=True)
class Farms:
    """n farms: `at` (n, 2) in m from a corner of the cell, `height` (n,) in m above the sea.

    Of their buildings (n, 3): `middle` (n, 3, 2) in m from the farm's own point, `direction` of the
    long side in degrees, clockwise from north, `size` (n, 3, 2) in m, the longer one first.
    """

    at: Floats
    height: Floats
    middle: Floats
    direction: Floats
    size: Floats

    def followed_by(self, others: Farms) -> Farms:
        pairs = ((getattr(self, n), getattr(others, n)) for n in self.__dataclass_fields__)
        return Farms(*(np.concatenate(pair) for pair in pairs))


def invented_farms(count: int, cell_deg: float, chance: np.random.Generator) -> Farms:
    """Farms all over a cell."""
    size = USUAL_M * np.exp(chance.normal(0, SPREAD, (count, 3, 2)))
    angle = chance.uniform(0, 2 * np.pi, (count, 1)) + np.array([0.0, 2.1, 4.2])
    away = chance.uniform(14, 30, (count, 3))
    return Farms(
        at=chance.uniform(0, cell_deg * METRES_A_DEGREE, (count, 2)),
        height=chance.uniform(200, 400, count),
        middle=np.stack([away * np.cos(angle), away * np.sin(angle)], axis=-1),
        direction=chance.uniform(0, 180, (count, 3)),
        size=np.sort(size, axis=-1)[..., ::-1],
    )


def registered(farms: Farms, chance: np.random.Generator) -> Farms:
    """The farms as a register has them."""

    def off(values: Floats, most: float) -> Floats:
        return np.asarray(values + chance.uniform(-most, most, values.shape))

    return Farms(
        at=farms.at,
        height=off(farms.height, HEIGHT_M),
        middle=off(farms.middle, FOOTPRINT_M),
        direction=off(farms.direction, DIRECTION_DEG),
        size=off(farms.size, FOOTPRINT_M),
    )


def recorded(
    folder: Path,
    farm: Farms,
    *,
    east_m: Floats | float = 451_000.0,
    turned_deg: Floats | float = 0.0,
    raised_m: Floats | float = 0.0,
    buildings_in_cell: int | None = None,
) -> Package:
    """The record of one farm by a crew that used map coordinates, and the sea, for its site grid.

    `east_m`, `turned_deg` and `raised_m` (of each building) put buildings elsewhere as a whole.
    """
    builder = a_package(folder).with_row(
        "site", latitude="51.47391", longitude="-1.28376", coordinate_uncertainty_m="25",
        easting_m="0", northing_m="0", elevation_m="0", grid_epsg="32630", grid_north_deg="0",
        declination_deg="1.5", crew_lead_id=None, permit_authority_id=None, owner_id=None,
    )  # fmt: skip
    shape = np.ones(len(CODES))
    for number, code in enumerate(CODES):
        turn = farm.direction[0, number] + (turned_deg * shape)[number]
        along = np.array([np.sin(np.radians(turn)), np.cos(np.radians(turn))])
        left = np.array([-along[1], along[0]])
        middle = farm.middle[0, number] + [(east_m * shape)[number], 5_731_000.0]
        floor = float(farm.height[0] + (raised_m * shape)[number] + 0.3 * number)
        _record_building(builder, code, middle, (along, left), farm.size[0, number], floor)
    builder.with_row("tie", tie_id="T2", kind="distance", from_datum_id="LH-D1",
                     target_datum_id="BN-D1", distance_m="31.27")  # fmt: skip
    builder.with_row("tie", tie_id="T3", kind="bearing", from_datum_id="LH-D1", distance_m="2.5",
                     element_id="LH-0", element_end="a", bearing_deg="211",
                     bearing_reference="magnetic")  # fmt: skip
    more = {} if buildings_in_cell is None else {"publicBuildingsInCell": buildings_in_cell}
    builder.package.with_descriptor({EDITION_KEY: KEY, **more})
    return open_package(builder.package.folder)


def _record_building(
    builder: PackageBuilder,
    code: str,
    middle: Floats,
    axes: tuple[Floats, Floats],
    size: Floats,
    floor: float,
) -> None:
    """An outline, two datums, a post and the four logs of the walls, which stick out a little."""
    along, left = axes

    def at(forward: float, aside: float) -> Floats:
        return np.asarray(middle + forward * size[0] / 2 * along + aside * size[1] / 2 * left)

    corners = [at(-1, -1), at(1, -1), at(1, 1), at(-1, 1)]
    builder.with_bare_row(
        "place", place_id=code, site_id="HOLL", kind="building", name=code,
        outline=", ".join(f"{x:.3f} {y:.3f}" for x, y in corners), floor_height_m=f"{floor:.2f}",
    )  # fmt: skip
    for number, (x, y) in enumerate((at(-0.9, -1), at(0.7, 1)), start=1):
        builder.with_bare_row(
            "datum", datum_id=f"{code}-D{number}", site_id="HOLL", place_id=code, kind="nail",
            x_m=f"{x:.3f}", y_m=f"{y:.3f}", z_m=f"{floor + number:.2f}", held="true",
        )  # fmt: skip
    sides = zip(corners, [*corners[1:], corners[0]], strict=True)
    wood = [(a, b, floor + 1.0, floor + 1.0) for a, b in sides] + [
        (at(0.5, 0.5), at(0.5, 0.5), floor, floor + 2.2)
    ]
    for number, (a, b, low, high) in enumerate(wood):
        length = float(np.hypot(np.hypot(*(b - a)), high - low)) + 0.3 * (number < 4)
        builder.with_row(
            "element", element_id=f"{code}-{number}", place_id=code, recorded_by=None,
            length_m=f"{length:.2f}", xa_m=f"{a[0]:.3f}", ya_m=f"{a[1]:.3f}", za_m=f"{low:.2f}",
            xb_m=f"{b[0]:.3f}", yb_m=f"{b[1]:.3f}", zb_m=f"{high:.2f}",
        )  # fmt: skip
    builder.with_row("sample", sample_id=f"9{CODES.index(code)}1", element_id=f"{code}-4",
                     collected_by=None, clock="3", along_m="1.2")  # fmt: skip
    builder.with_row("tie", tie_id=f"{code}-T", from_datum_id=f"{code}-D1",
                     element_id=f"{code}-0", element_end="b", distance_m="3.21")  # fmt: skip

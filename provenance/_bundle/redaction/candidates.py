"""Counts how many places a public edition could be about, and makes it coarser until it is enough.

Who looks for a place has the edition, the footprint of every building in the cell to half a metre,
and a list of the places that the buildings belong to. Each size that can be read from the edition
rules out the places whose sizes differ. How much one size tells is the information between a size
and its image in a register, as for a normal spread and errors that are evenly spread (T. M. Cover
and J. A. Thomas, Elements of Information Theory, chapters 8 and 9, from memory). What is left is
the exponential of the entropy: that many places, had they all the same chance. The spread of sizes,
the register's error, and that a building may be taken for one of its neighbors are our own model;
docs/inference.md says what it takes for granted, and a simulated search in the tests holds it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import IntEnum
from typing import Any

from provenance._base.errors import UnusablePackage
from provenance._bundle.redaction.own_grids import Size
from provenance._bundle.redaction.places import CELLS, METRES_A_DEGREE
from provenance._record.package import DESCRIPTOR, Package

BUILDINGS = "publicBuildingsInCell"
"""Property of the descriptor: about how many buildings a cell of 0.1 degree there holds."""
USUAL_BUILDINGS = 6000
BUILDINGS_A_PLACE = 3
ENOUGH = 20.0
"""A public edition leaves at least so many places that it could be about."""
WIDEST = Decimal(2)
"""Cells are widened to this before plans are given up."""
_COUNTED_IN = Decimal("0.1")
_NO_CELL = Decimal(10)
"""An edition without coordinates still names the region: counted like a cell of this size."""
_SPREAD = 0.15
_REGISTER_M = 1.0
_ALIKE = 2.0
"""So many ways there are, about, to take a place's buildings for each other."""
_APART = 2 / 3
"""Two places in a cell lie at least so much of its radius apart, on average."""


class Detail(IntEnum):
    """What a public edition shows of a building's shape, from most to least."""

    TO_1_M = 0
    TO_2_M = 1
    SIZE_ALONE = 2
    NOTHING = 3

    @property
    def step_m(self) -> int:
        """The step that outlines are made coarse to."""
        return 1 if self is Detail.TO_1_M else 2

    @property
    def shows_points(self) -> bool:
        """Whether points inside a building are shown."""
        return self <= Detail.TO_2_M

    @property
    def words(self) -> str:
        """What is done, in words."""
        return {
            Detail.TO_1_M: "points inside each building, its outline to 1 m",
            Detail.TO_2_M: "points inside each building, its outline to 2 m",
            Detail.SIZE_ALONE: "no points; of each outline the rectangle round it, to 2 m",
            Detail.NOTHING: "no points and no outlines",
        }[self]


@dataclass(frozen=True)
class Inference:
    """What can be inferred from a public edition, and how coarse it was made for that.

    `cell` is the size in degrees that is used, None for no coordinates, and `asked` the one that
    was asked for. `left` is the least number of candidates of any site, `miss_m` how far off the
    likeliest one is on average (None without a cell). `buildings` is the number in a cell of 0.1
    degree that was counted with, which the record says itself if `said`.
    """

    asked: Decimal | None
    cell: Decimal | None
    detail: Detail
    left: float
    miss_m: float | None
    buildings: int
    said: bool

    @property
    def holds(self) -> bool:
        """Whether enough candidates are left, and the likeliest is half a radius off or more."""
        far = self.miss_m is None or self.miss_m >= radius_m(self.cell or _NO_CELL) / 2
        return self.left >= ENOUGH and far

    @property
    def is_coarser(self) -> bool:
        """Whether the edition was made coarser than asked."""
        return self.cell != self.asked or self.detail != Detail.TO_1_M

    def as_dict(self) -> Mapping[str, Any]:
        """For bundle.json."""
        return {
            "coordinateCellAsked": None if self.asked is None else str(self.asked),
            "buildingsShown": self.detail.words,
            "candidatesLeft": round(self.left),
            "candidatesWanted": round(ENOUGH),
            "meanMissMetres": None if self.miss_m is None else round(self.miss_m, -2),
            "buildingsInTenthOfDegree": self.buildings,
            "buildingsCounted": "said in the record" if self.said else "taken as usual",
        }


def buildings_in_cell(package: Package) -> tuple[int, bool]:
    """About how many buildings a cell of 0.1 degree holds, and whether the record says so.

    Raises UnusablePackage for a number that is none.
    """
    said = package.descriptor.get(BUILDINGS)
    if said is None:
        return USUAL_BUILDINGS, False
    if isinstance(said, bool) or not isinstance(said, int) or said < 1:
        raise UnusablePackage(
            f"{package.folder / DESCRIPTOR}: '{BUILDINGS}' is {said!r}; write about how many "
            "buildings stand in a cell of 0.1 degree (11 km) round the place, as in 400, or take "
            f"it out for {USUAL_BUILDINGS}"
        )
    return said, True


def information(size_m: float, step_m: float) -> float:
    """What one size tells a searcher, in nats, shown to steps of `step_m` (0 for exactly).

    Rounding and the register's error add up to a trapezoid, whose entropy is that of its wider part
    and half the ratio of both.

    >>> round(information(7.4, 0.0), 2), round(information(7.4, 1.0), 2)
    (1.54, 1.07)
    """
    wide, narrow = max(_REGISTER_M, step_m), min(_REGISTER_M, step_m)
    noise = wide * math.exp(narrow / (2 * wide))
    return math.log1p(2 * math.pi * math.e * (_SPREAD * size_m / noise) ** 2) / 2


def sizes_told(size: Size, detail: Detail) -> Iterator[tuple[float, float]]:
    """The sizes of a building that an edition tells, each with the step it is shown to, in m."""
    if not detail.shows_points:
        # the lengths of its wood go on telling about both of them
        yield from ((size.long_m, 1.0), (size.short_m, 1.0))
        return
    step = 0.0 if size.seen_exactly else float(detail.step_m)
    yield from ((size.long_m, step), (size.short_m, step))
    for _ in range(size.corner_count - 4):
        yield size.short_m / 2, step


def candidates_left(sizes: Sequence[Size], detail: Detail, cell: Decimal, buildings: int) -> float:
    """How many places are left for a site with buildings of these sizes; never less than 1.

    `cell` is in degrees, `buildings` the number in a cell of 0.1 degree.
    """
    places = buildings / BUILDINGS_A_PLACE * float(cell / _COUNTED_IN) ** 2
    told = sum(information(*one) for size in sizes for one in sizes_told(size, detail))
    left = places * math.exp(-told) * _ALIKE
    return max(1.0, min(places, left))


def coarse_enough(
    sites: Sequence[Sequence[Size]], asked: Decimal | None, buildings: int, *, said: bool
) -> Inference:
    """The least coarse edition that leaves enough candidates for every site.

    Cells are widened before anything of a building is left out: a dot on a map is the least loss to
    those who read the record. An edition that is left with too few all the same says so.
    """
    tried = (
        Inference(asked, cell, detail, left, miss_m(left, cell), buildings, said)
        for cell, detail in _from_fine_to_coarse(asked)
        for left in [
            min(candidates_left(one, detail, cell or _NO_CELL, buildings) for one in sites or [()])
        ]
    )
    last = None
    for last in tried:
        if last.holds:
            break
    assert last is not None
    return last


def _from_fine_to_coarse(asked: Decimal | None) -> Iterator[tuple[Decimal | None, Detail]]:
    if asked is None:
        yield from ((None, detail) for detail in Detail)
        return
    cells = [one for one in CELLS if one == asked or asked < one <= WIDEST]
    for details in ((Detail.TO_1_M, Detail.TO_2_M), (Detail.SIZE_ALONE,), (Detail.NOTHING,)):
        yield from ((cell, detail) for cell in cells for detail in details)
    yield None, Detail.NOTHING


def miss_m(left: float, cell: Decimal | None) -> float | None:
    """How far from the true place the likeliest candidate is on average, in m; None for no cell."""
    return None if cell is None else (1 - 1 / left) * _APART * radius_m(cell)


def radius_m(cell: Decimal) -> float:
    """Half the diagonal of a cell that is as wide as high, in m."""
    return METRES_A_DEGREE * float(cell) / math.sqrt(2)

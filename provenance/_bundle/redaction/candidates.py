"""Counts how many places a public edition could be about, and makes it coarser until it is enough.

Who looks for a place has the edition, the footprint of every building in the cell to half a metre,
and a list of the places that the buildings belong to. Each size that can be read from the edition
leaves those places that have a building of that size: as many as there are buildings to the metre
(the density of sizes) times how many metres wide the size and its image in the register may differ
(the exponential of the entropy of both errors; T. M. Cover and J. A. Thomas, Elements of
Information Theory, chapters 2 and 8, from memory). What is left is that many places. How sizes
spread, the register's error, and that a building may be any of a place's are our own model;
docs/inference.md says what it takes for granted, and a simulated search in the tests holds it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import IntEnum
from typing import Any

from provenance._base.errors import UnusablePackage
from provenance._bundle.redaction.own_grids import Size
from provenance._bundle.redaction.places import CELLS, METRES_A_DEGREE, as_decimal
from provenance._record.package import DESCRIPTOR, Package

BUILDINGS = "publicBuildingsInCell"
"""Property of the descriptor: about how many buildings a cell of 0.1 degree there holds."""
CELL_SHOWN = "publicCellShown"
"""Property of the descriptor: the finest cell that a published edition of the record showed."""
USUAL_BUILDINGS = 6000
BUILDINGS_A_PLACE = 3
ENOUGH = 20.0
"""A public edition leaves at least so many places that it could be about."""
WIDEST = Decimal(2)
"""Cells are widened to this before plans are given up; the region that is named is no wider."""
_COUNTED_IN = Decimal("0.1")
_REGISTER_M = 1.0
_USUAL_M = (9.5, 6.4)
_USUAL_SPREAD, _ANY_SPREAD, _UNUSUAL = 0.25, 0.8, 0.1
"""Sizes of most buildings (long and short side) spread by a quarter; one in ten has any size."""
SMALLEST_M = 0.5
"""No building is narrower: points in a line tell one side alone."""
_WOOD_M = 1.0
"""Logs stick out of a wall, so that their lengths tell its length to this."""
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
            Detail.TO_1_M: "points inside and outline to 1 m",
            Detail.TO_2_M: "points inside and outline to 2 m",
            Detail.SIZE_ALONE: "no points, and of the outline the rectangle round it, to 2 m",
            Detail.NOTHING: "no points and no outline",
        }[self]


@dataclass(frozen=True)
class Inference:
    """What can be inferred from a public edition, and how coarse it was made for that.

    `cell` is the size in degrees that is used, None for no coordinates, and `asked` the one that
    was asked for. `details` says what is shown of each building. `left` is the least number of
    candidates of any site, `miss_m` how far off the likeliest one is on average (None without a
    cell). `buildings` is the number in a cell of 0.1 degree that was counted with, which the record
    says itself if `said`. `published` is the finest cell that an edition has shown before: whoever
    has that one looks for this one's buildings in it.
    """

    asked: Decimal | None
    cell: Decimal | None
    details: Mapping[str, Detail]
    left: float
    miss_m: float | None
    buildings: int
    said: bool
    published: Decimal | None = None

    @property
    def holds(self) -> bool:
        """Whether enough candidates are left, and the likeliest is half a radius off or more."""
        far = self.miss_m is None or self.miss_m >= radius_m(self.cell or WIDEST) / 2
        return self.left >= ENOUGH and far

    @property
    def is_coarser(self) -> bool:
        """Whether the edition was made coarser than asked."""
        return self.cell != self.asked or any(self.details.values())

    @property
    def left_words(self) -> str:
        """The number of candidates, to the two figures that it is good to."""
        return f"{int(float(f'{self.left:.2g}')):,}"

    @property
    def shown(self) -> Mapping[str, int]:
        """How many buildings are shown in which detail, in words, from most to least."""
        counts = Counter(self.details.values())
        return {detail.words: counts[detail] for detail in Detail if counts[detail]}

    def as_dict(self) -> Mapping[str, Any]:
        """For bundle.json."""
        return {
            "coordinateCellAsked": None if self.asked is None else str(self.asked),
            "buildingsShown": dict(self.shown),
            "candidatesLeft": round(self.left),
            "candidatesWanted": round(ENOUGH),
            "meanMissMetres": None if self.miss_m is None else round(self.miss_m, -2),
            "buildingsInTenthOfDegree": self.buildings,
            "finestCellPublished": None if self.published is None else str(self.published),
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


def cell_published(package: Package) -> Decimal | None:
    """The finest cell that a published edition showed, as the record says; None for none.

    Raises UnusablePackage for a size that is none.
    """
    said = package.descriptor.get(CELL_SHOWN)
    if said is None:
        return None
    cell = as_decimal(str(said))
    if cell not in CELLS:
        raise UnusablePackage(
            f"{package.folder / DESCRIPTOR}: '{CELL_SHOWN}' is {said!r}; write the finest cell "
            f"that an edition has shown: {', '.join(map(str, CELLS))} (degrees)"
        )
    return cell


def share_alike(size_m: float, usual_m: float, step_m: float) -> float:
    """Which share of buildings a searcher cannot tell by one size that is shown to `step_m`.

    `usual_m` is what such a size usually is, `step_m` is 0 for a size that is shown exactly.
    Rounding and the register's error add up to a trapezoid, whose entropy is that of its wider part
    and half the ratio of both.

    >>> round(share_alike(9.0, 9.5, 0.0), 2), round(share_alike(17.0, 9.5, 0.0), 3)
    (0.16, 0.008)
    """
    wide, narrow = max(_REGISTER_M, step_m), min(_REGISTER_M, step_m)
    width = wide * math.exp(narrow / (2 * wide))
    usual, unusual = (
        math.exp(-((math.log(size_m / usual_m) / spread) ** 2) / 2)
        / (size_m * spread * math.sqrt(2 * math.pi))
        for spread in (_USUAL_SPREAD, _ANY_SPREAD)
    )
    return min(1.0, ((1 - _UNUSUAL) * usual + _UNUSUAL * unusual) * width)


def _shares(size: Size, detail: Detail) -> Iterator[float]:
    """Which share of buildings is alike, by each size of one building that an edition tells."""
    step = 0.0 if size.seen_exactly else float(detail.step_m)
    sides = ((size.long_m, size.long_wood), (size.short_m, size.short_wood))
    for (size_m, in_wood), usual_m in zip(sides, _USUAL_M, strict=True):
        if size_m < SMALLEST_M or (detail is Detail.NOTHING and not in_wood):
            continue
        if not detail.shows_points:
            step = _WOOD_M if in_wood else float(detail.step_m)
        yield share_alike(size_m, usual_m, step)
    if detail.shows_points:
        for _ in range(size.corner_count - 4):
            yield share_alike(_USUAL_M[1] / 2, _USUAL_M[1] / 2, step)


def alike(size: Size, detail: Detail) -> float:
    """Which share of buildings cannot be told from one that is shown in that detail."""
    return math.prod(_shares(size, detail))


def candidates_left(
    site: Mapping[str, Size], details: Mapping[str, Detail], cell: Decimal | None, buildings: int
) -> float:
    """How many places are left for a site with these buildings; never less than 1.

    `cell` is in degrees, None for no coordinates; `buildings` the number in a cell of 0.1 degree.
    """
    wide = min(cell or WIDEST, WIDEST)
    places = buildings / BUILDINGS_A_PLACE * float(wide / _COUNTED_IN) ** 2
    share = math.prod(alike(size, details[code]) for code, size in site.items())
    # the buildings of a place have no names in a register
    ways = math.perm(BUILDINGS_A_PLACE, min(len(site), BUILDINGS_A_PLACE))
    return max(1.0, min(places, places * share * ways))


def coarse_enough(
    sites: Sequence[Mapping[str, Size]],
    asked: Decimal | None,
    buildings: int,
    *,
    said: bool,
    published: Decimal | None = None,
) -> Inference:
    """The least coarse edition that leaves enough candidates for every site; see `Inference`.

    Cells are widened before anything of a building is left out: a dot on a map is the least loss to
    those who read the record. Then the buildings that tell most lose their points. An edition that
    is left with too few all the same has no coordinates, and says so.
    """
    cells = (
        [asked]
        if asked is None
        else [one for one in CELLS if one == asked or asked < one <= WIDEST]
    )

    def found(details: Mapping[str, Detail], cell: Decimal | None) -> Inference:
        known = min(cell or WIDEST, published or WIDEST)
        left = min(candidates_left(one, details, known, buildings) for one in sites or [{}])
        off = miss_m(left, cell)
        return Inference(asked, cell, details, left, off, buildings, said, published)

    for details in _from_fine_to_coarse(sites, buildings):
        for cell in cells:
            inference = found(details, cell)
            if inference.holds:
                return inference
    return found(details, None)


def _from_fine_to_coarse(
    sites: Sequence[Mapping[str, Size]], buildings: int
) -> Iterator[Mapping[str, Detail]]:
    """What may be shown of each building, one step coarser each time."""
    details = {code: Detail.TO_1_M for site in sites for code in site}
    yield dict(details)
    details |= {
        code: Detail.TO_2_M
        for site in sites
        for code, size in site.items()
        if not size.seen_exactly
    }
    while True:
        yield dict(details)
        shown = [
            (candidates_left(site, details, None, buildings), alike(size, details[code]), code)
            for site in sites
            for code, size in site.items()
            if details[code] != Detail.NOTHING
        ]
        if not shown:
            return
        _, _, most_telling = min(shown)
        step = max(details[most_telling], Detail.TO_2_M)
        details[most_telling] = Detail(step + 1)


def miss_m(left: float, cell: Decimal | None) -> float | None:
    """How far from the true place the likeliest candidate is on average, in m; None for no cell."""
    return None if cell is None else (1 - 1 / left) * _APART * radius_m(cell)


def radius_m(cell: Decimal) -> float:
    """Half the diagonal of a cell that is as wide as high, in m."""
    return METRES_A_DEGREE * float(cell) / math.sqrt(2)

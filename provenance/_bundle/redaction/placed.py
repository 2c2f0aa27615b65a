"""Puts what a table says of positions on the own grid of the building that each row is in.

What runs between two buildings is left blank. Which field is what, its `public` form says; fields
of one point stand after each other in the schema: an x, its y and its height.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property

import numpy as np

from provenance._bundle.redaction.candidates import Detail
from provenance._bundle.redaction.own_grids import (
    Grids,
    OwnGrid,
    coarse_outline_on,
    float_in,
    number,
    outline_on,
)
from provenance._bundle.redaction.people import Columns
from provenance._model.schema import Table
from provenance._survey.adjust.positions import ellipse_95

AXES = ("site_x", "site_y", "site_z")
SPREADS = (
    "site_sd_x", "site_sd_y", "site_corr_xy", "site_corr_xz", "site_corr_yz", "site_axis",
)  # fmt: skip
WOOD = "element"
SOURCES, FROM_WOOD = "position_source", "geometry"
"""The vocabulary of a field that says how a point was found; from the wood and its clock."""
PLACED_FORMS = (
    *AXES, *SPREADS, "site_outline", "site_bearing", "site_clock", "site_section", "in_building",
)  # fmt: skip
"""Forms of fields that say where something is, or how it lies."""


def placed_columns(
    table: Table,
    written: Columns,
    forms: Mapping[str, str],
    grids: Grids,
    details: Mapping[str, Detail],
) -> dict[str, list[str]]:
    """Every column of `table` with one of PLACED_FORMS, as the public edition has it."""
    return _Placing(table, written, forms, grids, details).columns()


def grids_of_rows(table: Table, written: Columns, grids: Grids) -> list[str]:
    """The name of the grid that each row is on; '' for none, and where a row names two."""
    count = len(written[table.names[0]])
    named: list[set[str]] = [set() for _ in range(count)]
    own = table.primary_key[0] if len(table.primary_key) == 1 else ""
    keys = {own: table.name} if table.name in grids.on else {}
    for key in table.foreign_keys:
        if len(key.fields) == 1 and key.table in grids.on and table.name not in grids.on:
            keys[key.fields[0]] = key.table
    for name, target in keys.items():
        for place, text in enumerate(written[name]):
            if text:
                named[place].add(grids.on[target].get(text, ""))
    return [next(iter(one)) if len(one) == 1 else "" for one in named]


class _Placing:
    """The columns of one table, each turned when its point or pair is complete."""

    def __init__(
        self,
        table: Table,
        written: Columns,
        forms: Mapping[str, str],
        grids: Grids,
        details: Mapping[str, Detail],
    ) -> None:
        self.table, self.written, self.forms = table, written, forms
        self.grids = grids
        self.names = grids_of_rows(table, written, grids)
        self.details = [details.get(name, Detail.TO_1_M) for name in self.names]
        self.on: list[OwnGrid | None] = [
            grids.grids.get(name) if detail.shows_points else None
            for name, detail in zip(self.names, self.details, strict=True)
        ]
        # a hole that was placed by its clock shows, beside its post, how the site grid lies
        sources = [one.name for one in table.fields if one.vocabulary == SOURCES]
        self.by_clock = [
            up and any(written[name][place] == FROM_WOOD for name in sources)
            for place, up in enumerate(self._on_upright)
        ]

    def columns(self) -> dict[str, list[str]]:
        placed = [name for name in self.table.names if self.forms[name] in PLACED_FORMS]
        found = {name: [""] * len(self.on) for name in placed}
        for x, y, z in _points(placed, self.forms):
            if x and y:
                found[x], found[y] = self._level(x, y)
            if z:
                found[z] = self._heights(z)
        found |= self._spreads()
        for name in placed:
            form = self.forms[name]
            if form == "site_outline":
                found[name] = self._outlines(name)
            elif form == "site_clock":
                found[name] = self._clocks(name)
            elif form == "in_building":
                found[name] = self._each(name, lambda grid, text: text)
        pairs = [name for name in placed if self.forms[name] == "site_section"]
        for one, two in zip(pairs[::2], pairs[1::2], strict=False):
            found[one], found[two] = self._sections(one, two)
        return found

    def _each(self, name: str, show: Callable[[OwnGrid, str], str | None]) -> list[str]:
        """A column with what `show` makes of each cell on a grid; '' for any other."""
        cells = zip(self.on, self.written[name], strict=True)
        return [(show(grid, text) or "") if grid and text else "" for grid, text in cells]

    # -- points

    def _level(self, x: str, y: str) -> tuple[list[str], list[str]]:
        shown: tuple[list[str], list[str]] = ([], [])
        cells = zip(self.on, self.by_clock, self.written[x], self.written[y], strict=True)
        for grid, hidden, *texts in cells:
            one, two = map(float_in, texts)
            if grid is None or hidden or one is None or two is None:
                here = ["", ""]
            else:
                here = [number(value) for value in grid.shown(one, two)]
            for column, text in zip(shown, here, strict=True):
                column.append(text)
        return shown

    def _heights(self, name: str) -> list[str]:
        def above(grid: OwnGrid, text: str) -> str | None:
            value = float_in(text)
            return None if value is None else number(value - grid.z_m)

        return self._each(name, above)

    def _spreads(self) -> dict[str, list[str]]:
        """Standard deviations, correlations and ellipses, which turn with the coordinates."""
        by_form = {self.forms[name]: name for name in self.table.names}
        if not set(SPREADS) <= set(by_form):
            return {}
        names = [by_form[form] for form in SPREADS]
        rows = []
        columns = (self.written[name] for name in names)
        for grid, hidden, *texts in zip(self.on, self.by_clock, *columns, strict=True):
            shown = [""] * len(SPREADS)
            if grid and not hidden:
                shown = _turned_spread(grid, [float_in(text) for text in texts])
            rows.append(shown)
        turned_columns = zip(*rows, strict=True) if rows else ([] for _ in names)
        return {name: list(texts) for name, texts in zip(names, turned_columns, strict=True)}

    # -- single fields

    def _outlines(self, name: str) -> list[str]:
        """Outlines: that of a whole building made coarse, those of its rooms as they are."""
        own_keys = self.written[self.table.primary_key[0]]
        shown = []
        for building, key, detail, text in zip(
            self.names, own_keys, self.details, self.written[name], strict=True
        ):
            grid, outline = self.grids.grids.get(building), None
            if grid and key == building and detail is not Detail.NOTHING:
                box = detail is Detail.SIZE_ALONE
                outline = coarse_outline_on(grid, text, detail.step_m, box=box)
            elif grid and key != building and detail.shows_points:
                outline = outline_on(grid, text)
            shown.append(outline or "")
        return shown

    def _clocks(self, name: str) -> list[str]:
        """Clock positions but for upright wood: there they are read against the site grid."""
        upright = self._on_upright
        return ["" if up else text for up, text in zip(upright, self.written[name], strict=True)]

    def _sections(self, one: str, two: str) -> tuple[list[str], list[str]]:
        """Two diameters square to each other, which change places with the axes on upright wood."""
        pairs = [
            (b, a) if grid and up and grid.swaps_axes else (a, b)
            for grid, up, a, b in zip(
                self.on, self._on_upright, self.written[one], self.written[two], strict=True
            )
        ]
        return [a for a, _ in pairs], [b for _, b in pairs]

    @cached_property
    def _on_upright(self) -> list[bool]:
        """Which rows are upright wood, or about it."""
        links = [key.fields[0] for key in self.table.foreign_keys if key.table == WOOD]
        column = self.table.primary_key[0] if self.table.name == WOOD else next(iter(links), "")
        if not column:
            return [False] * len(self.on)
        return [key in self.grids.upright for key in self.written[column]]


def _points(placed: Sequence[str], forms: Mapping[str, str]) -> Iterator[tuple[str, str, str]]:
    """(x, y, height) of each point, '' for what a point lacks."""
    point = ["", "", ""]
    for name in placed:
        if forms[name] not in AXES:
            continue
        axis = AXES.index(forms[name])
        if any(point[axis:]):
            yield point[0], point[1], point[2]
            point = ["", "", ""]
        point[axis] = name
    yield point[0], point[1], point[2]


def _turned_spread(grid: OwnGrid, numbers: Sequence[float | None]) -> list[str]:
    """sd of x and y, correlations xy, xz, yz and the ellipse's bearing on a turned grid, as texts.

    The bearing is computed anew: that of a circle, which has none, must not turn with the grid.
    """
    sd_x, sd_y, xy, xz, yz, axis = numbers
    if sd_x is None or sd_y is None:
        return [""] * len(numbers)
    covariance = np.diag([sd_x**2, sd_y**2, 1.0])
    for (i, j), ratio, product in (
        ((0, 1), xy, sd_x * sd_y), ((0, 2), xz, sd_x), ((1, 2), yz, sd_y),
    ):  # fmt: skip
        covariance[i, j] = covariance[j, i] = (ratio or 0.0) * product
    sine, cosine = math.sin(math.radians(grid.turn_deg)), math.cos(math.radians(grid.turn_deg))
    turn = np.array([[cosine, sine, 0.0], [-sine, cosine, 0.0], [0.0, 0.0, 1.0]])
    new = turn @ covariance @ turn.T
    new_x, new_y = (math.sqrt(max(float(new[i, i]), 0.0)) for i in (0, 1))
    # rounding of the correlation, and a hundredth of a millimetre, make no ellipse of a circle
    is_circle = abs(sd_x - sd_y) < 2e-5 and abs(xy or 0.0) < 1e-3
    _, _, bearing = ellipse_95(new[None])
    return [
        number(new_x, 5),
        number(new_y, 5),
        "" if xy is None else _ratio(new[0, 1], new_x * new_y),
        "" if xz is None else _ratio(new[0, 2], new_x),
        "" if yz is None else _ratio(new[1, 2], new_y),
        "" if axis is None else number(0.0 if is_circle else float(bearing[0]), 1),
    ]


def _ratio(part: float, whole: float) -> str:
    return number(max(-1.0, min(1.0, part / whole)) if whole > 0 else 0.0, 4)

"""Searches a register for the farm that an edition is about, by all that its tables say.

Every clue is used that the files hold: sizes from outlines, from the timber ends and from its
lengths; how buildings lie to each other, where they stand on one grid; how they lie to north, where
the grid's own bearing is told; heights above the sea. Which building is which is not taken for
known.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from itertools import permutations
from pathlib import Path

import numpy as np

from tests.bundle.redaction.attack.farms import (
    DIRECTION_DEG,
    FOOTPRINT_M,
    HEIGHT_M,
    Farms,
    Floats,
)

LOG_ENDS_M = 1.0
"""So much longer a wall's log may be than the wall."""
SLACK_M = 0.02
LOWEST_OF_SEA_M = 50.0
"""Heights from here on are counted from the sea."""


@dataclass(frozen=True)
class Clues:
    """What an edition says of k buildings; NaN where it says nothing.

    `least` and `most` (k, 2) bound their sizes in m, longer one first. `middle` (k, 2) is on one
    grid, `direction` (k,) clockwise from north, `height` (k,) above the sea.
    """

    least: Floats
    most: Floats
    middle: Floats
    direction: Floats
    height: Floats


@dataclass(frozen=True)
class Left:
    """What is left after the search: how many farms (exponential of the entropy), and the miss."""

    farms: float
    miss_m: float
    true_one_is_left: bool


def read_clues(tables: Path) -> Clues:
    """The clues in the folder of an edition's tables."""
    rows = {
        name: list(csv.DictReader((tables / f"{name}.csv").read_text("utf-8").splitlines()))
        for name in ("site", "place", "element", "tie")
    }
    buildings = [row for row in rows["place"] if not row["parent_place_id"]]
    north = rows["site"][0]["grid_north_deg"]
    bounds, middles, directions = [], [], []
    for row in buildings:
        wood = [one for one in rows["element"] if one["place_id"] == row["place_id"]]
        outline = _outline(row["outline"])
        ends = _ends(wood)
        points = ends if len(ends) else outline
        bounds.append(_sizes(outline, ends, wood))
        middles.append(
            (points.max(axis=0) + points.min(axis=0)) / 2 if len(points) else [np.nan] * 2
        )
        directions.append(_direction(points) + float(north) if north and len(points) else np.nan)
    heights = np.array([float(row["floor_height_m"] or "nan") for row in buildings])
    middle = np.array(middles)
    apart = np.hypot(*(middle[:, None] - middle[None]).transpose(2, 0, 1))
    if not (apart + 99 * np.eye(len(middle)) > 3).all():
        # buildings do not stand in each other: these are on grids of their own
        middle = np.full_like(middle, np.nan)
    return Clues(
        np.array([one[0] for one in bounds]),
        np.array([one[1] for one in bounds]),
        middle,
        np.array(directions),
        np.where(heights > LOWEST_OF_SEA_M, heights, np.nan),
    )


def _outline(text: str) -> Floats:
    pairs = [part.split() for part in text.split(",")] if text else []
    return np.array(pairs, dtype=float).reshape(-1, 2)


def _ends(wood: list[dict[str, str]]) -> Floats:
    """The ends of lying wood whose position is told."""
    found = [
        (one[f"x{end}_m"], one[f"y{end}_m"])
        for one in wood
        for end in "ab"
        if one["xa_m"] and one["xb_m"]
    ]
    return np.array(found, dtype=float).reshape(-1, 2)


def _direction(points: Floats) -> float:
    """The direction of the longer side of a rectangle by its corners, clockwise from y."""
    way = _sides(points)[0]
    return float(np.degrees(np.arctan2(way[0], way[1])) % 180)


def _sides(points: Floats) -> tuple[Floats, Floats]:
    one, two = points[1] - points[0], points[2] - points[1]
    if np.hypot(*two) < 0.5:
        two = points[3] - points[2]
    return (one, two) if np.hypot(*one) >= np.hypot(*two) else (two, one)


def _sizes(outline: Floats, ends: Floats, wood: list[dict[str, str]]) -> tuple[Floats, Floats]:
    """Bounds of the two sizes, by all that is told of them."""
    lengths = sorted((float(one["length_m"]) for one in wood if one["length_m"]), reverse=True)
    least, most = np.zeros(2), np.full(2, np.inf)
    if len(lengths) >= 4:
        logs = np.array([min(lengths[:2]), min(lengths[2:4])])
        least, most = np.maximum(least, logs - LOG_ENDS_M), np.minimum(most, logs + SLACK_M)
    if len(ends):
        told = np.array([np.hypot(*side) for side in _sides(ends)])
        least, most = np.maximum(least, told - SLACK_M), np.minimum(most, told + SLACK_M)
    elif len(outline):
        told = np.sort(np.ptp(outline, axis=0))[::-1]
        whole = (outline % 1 == 0).all()
        step = 0.0 if not whole else 1.0 if (outline % 2 == 1).any() else 2.0
        least, most = np.maximum(least, told - step - SLACK_M), np.minimum(most, told + SLACK_M)
    return least, most


def search(clues: Clues, register: Farms, true_one: int) -> Left:
    """Go through a register for farms that fit, each as likely as its buildings' sizes are."""
    count, known = len(register.at), len(clues.least)
    # how much of the stretch that each size may lie in is within the register's error
    low = np.maximum(clues.least, register.size[:, :, None] - FOOTPRINT_M)
    high = np.minimum(clues.most, register.size[:, :, None] + FOOTPRINT_M)
    share = np.clip(high - low, 0, None) / (clues.most - clues.least)
    fits = share.prod(axis=-1)
    off = np.abs((clues.direction - register.direction[:, :, None] + 90) % 180 - 90)
    fits = fits * np.where(np.isnan(clues.direction), 1.0, off <= DIRECTION_DEG + 0.5)
    far = np.abs(clues.height - register.height[:, None, None])
    # floors of one farm differ a little
    fits = fits * np.where(np.isnan(clues.height), 1.0, far <= HEIGHT_M + 1.0)
    weight = np.zeros(count)
    for order in permutations(range(register.size.shape[1]), known):
        chance = np.ones(count)
        for building, theirs in enumerate(order):
            chance *= fits[:, theirs, building]
        for one, two in zip(range(known), range(1, known), strict=False):
            told = np.hypot(*(clues.middle[one] - clues.middle[two]))
            theirs = register.middle[:, order[one]] - register.middle[:, order[two]]
            if np.isfinite(told):
                chance *= np.abs(np.hypot(*theirs.T) - told) <= 2 * FOOTPRINT_M * np.sqrt(2)
        weight += chance
    share_of = weight / weight.sum()
    some = share_of[share_of > 0]
    best = int(np.argmax(share_of))
    return Left(
        float(np.exp(-(some * np.log(some)).sum())),
        float(np.hypot(*(register.at[best] - register.at[true_one]))),
        bool(share_of[true_one] > 0),
    )

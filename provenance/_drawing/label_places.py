"""Finds room for labels so that none covers another or a symbol, the same way every time.

Each label tries the places nearest to what it names first, and goes further out, with a leader
line, until there is room; what is named first has first choice. Greedy placement, no source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import cos, hypot, pi, radians, sin

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_RINGS_MM = (0.6, 1.6, 3.0, 5.0, 7.5, 10.5, 14.0, 18.0, 23.0, 29.0)
_DIRECTIONS = 16
_LEADER_FROM_MM = 2.4
_GAP_MM = 0.35


@dataclass(frozen=True)
class Wanted:
    """A label to place: text size in mm, anchor, and how far the thing itself reaches from there.

    `inside` are places (x, y, turn) of the label's middle that need no leader, tried first.
    """

    key: str
    width: float
    height: float
    anchor: tuple[float, float]
    reach: float = 0.0
    inside: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class Placed:
    """Where a label's middle goes; `leader` is a line from the thing to the label, or None."""

    key: str
    x: float
    y: float
    turn_deg: float
    leader: tuple[tuple[float, float], tuple[float, float]] | None


def place_labels(
    wanted: Sequence[Wanted],
    symbols: Sequence[tuple[float, float, float]],
    area: tuple[float, float, float, float],
) -> tuple[list[Placed], list[str]]:
    """Places for the labels, in their order, and the keys of those that found no room.

    `symbols` are discs (x, y, radius) that no label may cover, `area` (left, bottom, width, height)
    what all labels stay in; all in mm.
    """
    taken = _Taken(len(wanted) + len(symbols))
    for x, y, radius in symbols:
        taken.add(_corners(x, y, 2 * radius, 2 * radius, 0.0))
    placed: list[Placed] = []
    homeless: list[str] = []
    for one in wanted:
        found = _find(one, taken, area)
        if found is None:
            homeless.append(one.key)
            continue
        placed.append(found)
        taken.add(_corners(found.x, found.y, one.width, one.height, found.turn_deg))
    return placed, homeless


def told_apart(words: Mapping[str, str]) -> dict[str, str]:
    """The word for each code; where several have the same, with the code behind it.

    >>> told_apart({"S1": "LH-01", "S2": "LH-02", "S3": "LH-01"})
    {'S1': 'LH-01 (S1)', 'S2': 'LH-02', 'S3': 'LH-01 (S3)'}
    """
    uses = Counter(words.values())
    return {code: word if uses[word] == 1 else f"{word} ({code})" for code, word in words.items()}


def _find(one: Wanted, taken: _Taken, area: tuple[float, float, float, float]) -> Placed | None:
    for x, y, turn in one.inside:
        box = _corners(x, y, one.width + 2 * _GAP_MM, one.height + 2 * _GAP_MM, turn)
        if _within(box, area) and taken.free(box):
            return Placed(one.key, x, y, turn, None)
    ax, ay = one.anchor
    for ring in _RINGS_MM:
        for step in range(_DIRECTIONS):
            # right, left, above and below come first, then what lies between
            angle = _TURNS[step]
            ux, uy = cos(angle), sin(angle)
            # the label's near side, not its middle, is at the ring
            away = one.reach + ring
            x = ax + ux * away + _side(ux) * one.width / 2
            y = ay + uy * away + _side(uy) * one.height / 2
            box = _corners(x, y, one.width + 2 * _GAP_MM, one.height + 2 * _GAP_MM, 0.0)
            if not _within(box, area) or not taken.free(box):
                continue
            leader = None
            if ring > _LEADER_FROM_MM:
                near_x = min(max(ax, x - one.width / 2), x + one.width / 2)
                near_y = min(max(ay, y - one.height / 2), y + one.height / 2)
                length = max(hypot(near_x - ax, near_y - ay), 1e-6)
                start = (
                    ax + (near_x - ax) / length * one.reach,
                    ay + (near_y - ay) / length * one.reach,
                )
                leader = (start, (near_x, near_y))
            return Placed(one.key, x, y, 0.0, leader)
    return None


def _turns() -> tuple[float, ...]:
    step = 2 * pi / _DIRECTIONS
    order = sorted(range(_DIRECTIONS), key=lambda i: (i % 4 != 0, i % 2 != 0, i))
    return tuple(i * step for i in order)


_TURNS = _turns()


def _side(share: float) -> float:
    return 0.0 if abs(share) < 0.3 else (1.0 if share > 0 else -1.0)


def _corners(x: float, y: float, width: float, height: float, turn_deg: float) -> Floats:
    turn = radians(turn_deg)
    along = np.array([cos(turn), sin(turn)]) * width / 2
    up = np.array([-sin(turn), cos(turn)]) * height / 2
    middle = np.array([x, y])
    return np.array(
        [middle - along - up, middle + along - up, middle + along + up, middle - along + up]
    )


def _within(box: Floats, area: tuple[float, float, float, float]) -> bool:
    left, bottom, width, height = area
    low, high = box.min(axis=0), box.max(axis=0)
    return bool(
        low[0] >= left
        and low[1] >= bottom
        and high[0] <= left + width
        and high[1] <= bottom + height
    )


class _Taken:
    """The boxes that are taken, with their extents for a quick first look."""

    def __init__(self, room: int) -> None:
        self._extents = np.empty((room, 4))
        self._boxes = np.empty((room, 4, 2))
        self._count = 0

    def add(self, box: Floats) -> None:
        self._extents[self._count] = [*box.min(axis=0), *box.max(axis=0)]
        self._boxes[self._count] = box
        self._count += 1

    def free(self, box: Floats) -> bool:
        low, high = box.min(axis=0), box.max(axis=0)
        extents = self._extents[: self._count]
        near = (
            (extents[:, 0] < high[0])
            & (extents[:, 2] > low[0])
            & (extents[:, 1] < high[1])
            & (extents[:, 3] > low[1])
        )
        return not any(_overlap(box, self._boxes[at]) for at in np.flatnonzero(near))


def _overlap(one: Floats, other: Floats) -> bool:
    """Whether two rectangles overlap: no side of either parts them (separating axis theorem)."""
    for box in (one, other):
        for edge in (box[1] - box[0], box[3] - box[0]):
            first, second = one @ edge, other @ edge
            if first.max() <= second.min() or second.max() <= first.min():
                return False
    return True

"""Lays out boxes in rows from the bottom upwards, with level and upright lines between them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

Point = tuple[float, float]
GAP = 4.0
"""Between boxes beside each other, in mm."""
_LANE, _TRACK = 2.4, 1.9
"""Room for an upright line between boxes, and from one level line to the next, in mm."""
_NEAR = 0.9
"""Upright lines of different boxes are at least so far apart, where there is room, in mm."""
_SWEEPS = 12

Slot = tuple[str, int]
"""A box (its code and -1), or the line from a box where it passes a row (code and row)."""


@dataclass(frozen=True)
class Laid:
    """Boxes by code (left, bottom, width, height), lines, and dots where a line parts; in mm."""

    width: float
    height: float
    boxes: Mapping[str, tuple[float, float, float, float]] = field(default_factory=dict)
    lines: tuple[tuple[Point, ...], ...] = ()
    dots: tuple[Point, ...] = ()


def lay_out(
    layers: Mapping[str, int],
    steps: Iterable[tuple[str, str]],
    heights: Mapping[str, float],
    box_width: float,
    most_width: float,
) -> Laid | None:
    """Boxes that hang together, each in the row of its layer; None where the width does not do.

    A row that is too wide is continued in the row above it, which changes no order. All lines that
    leave one box share a trunk; lines of different boxes share no stretch.
    """
    upward = sorted(steps)
    most = max(1, int(most_width // (box_width + GAP)))
    for a_row in range(most, 0, -1):
        rows, into = _rows(layers, upward, a_row)
        least = [_packed(row, box_width) for row in rows]
        if max(least) <= most_width:
            break
    else:
        return None
    width = max(least)
    rows = _with_few_crossings(rows, into)
    x = _across(rows, into, box_width, width)
    return _drawn(rows, into, x, heights, box_width, width)


def _rows(
    layers: Mapping[str, int], steps: Sequence[tuple[str, str]], a_row: int
) -> tuple[list[list[Slot]], dict[Slot, list[Slot]]]:
    """The slots of each row, from the bottom, and what leads into each slot from the row below."""
    by_layer: dict[int, list[str]] = defaultdict(list)
    for code in sorted(layers):
        by_layer[layers[code]].append(code)
    rows: list[list[Slot]] = []
    for layer in sorted(by_layer):
        codes = by_layer[layer]
        # rows of one layer that are about equally long
        parts = -(-len(codes) // a_row)
        ends = [len(codes) * part // parts for part in range(parts + 1)]
        rows += [[(code, -1) for code in codes[a:b]] for a, b in pairwise(ends)]
    at = {code: number for number, row in enumerate(rows) for code, _ in row}
    into: dict[Slot, list[Slot]] = defaultdict(list)
    for here, there in steps:
        last: Slot = (here, -1)
        for number in range(at[here] + 1, at[there]):
            slot = (here, number)
            if slot not in into:
                rows[number].append(slot)
                into[slot].append(last)
            last = slot
        into[there, -1].append(last)
    return rows, dict(into)


def _is_box(slot: Slot) -> bool:
    return slot[1] < 0


def _packed(row: Sequence[Slot], box_width: float) -> float:
    return sum(_room_of(slot, box_width) for slot in row)


def _room_of(slot: Slot, box_width: float) -> float:
    return box_width + GAP if _is_box(slot) else _LANE


# -- from left to right ----------------------------------------------------------------------------


def _with_few_crossings(
    rows: list[list[Slot]], into: Mapping[Slot, Sequence[Slot]]
) -> list[list[Slot]]:
    """Each row in the order in which the fewest lines cross: the best of some sweeps of means
    (Sugiyama, Tagawa and Toda 1981, from memory).
    """
    out_of = _turned(into)
    best, fewest = rows, _crossings(rows, into)
    now = [list(row) for row in rows]
    for sweep in range(_SWEEPS):
        if not fewest:
            break
        upwards = sweep % 2 == 0
        towards = into if upwards else out_of
        numbers = range(1, len(now)) if upwards else range(len(now) - 2, -1, -1)
        for number in numbers:
            beside = now[number - 1 if upwards else number + 1]
            at = {slot: place for place, slot in enumerate(beside)}
            own = {slot: place for place, slot in enumerate(now[number])}
            ranked = sorted(
                (_mean([at[one] for one in towards.get(slot, ())], place), place, slot)
                for slot, place in own.items()
            )
            now[number] = [slot for _, _, slot in ranked]
        crossings = _crossings(now, into)
        if crossings < fewest:
            best, fewest = [list(row) for row in now], crossings
    return best


def _turned(into: Mapping[Slot, Sequence[Slot]]) -> dict[Slot, list[Slot]]:
    out_of: dict[Slot, list[Slot]] = defaultdict(list)
    for slot, below in into.items():
        for one in below:
            out_of[one].append(slot)
    return out_of


def _mean(values: Sequence[float], otherwise: float) -> float:
    return sum(values) / len(values) if values else otherwise


def _crossings(rows: Sequence[Sequence[Slot]], into: Mapping[Slot, Sequence[Slot]]) -> int:
    count = 0
    for below, row in pairwise(rows):
        at = {slot: place for place, slot in enumerate(below)}
        seen: list[int] = []
        for slot in row:
            here = sorted(at[one] for one in into.get(slot, ()))
            count += sum(before > one for one in here for before in seen)
            seen += here
    return count


def _across(
    rows: Sequence[Sequence[Slot]],
    into: Mapping[Slot, Sequence[Slot]],
    box_width: float,
    width: float,
) -> dict[Slot, float]:
    """The middle of every slot: as near to what it is linked with as the others in its row let."""
    out_of = _turned(into)
    x: dict[Slot, float] = {}
    for row in rows:
        x |= _beside_each_other(row, dict.fromkeys(row, width / 2), box_width, width)
    for sweep in range(_SWEEPS):
        for row in rows if sweep % 2 == 0 else reversed(rows):
            linked = {slot: [*into.get(slot, ()), *out_of.get(slot, ())] for slot in row}
            wanted = {
                slot: _mean([x[one] for one in others], x[slot]) for slot, others in linked.items()
            }
            x |= _beside_each_other(row, wanted, box_width, width)
    return x


def _beside_each_other(
    row: Sequence[Slot], wanted: Mapping[Slot, float], box_width: float, width: float
) -> dict[Slot, float]:
    """Places in the order of the row that are least moved, in squares, from the wanted ones."""
    offsets: list[float] = []
    end = 0.0
    for slot in row:
        offsets.append(end + _room_of(slot, box_width) / 2)
        end += _room_of(slot, box_width)
    room = width - end
    # with the offsets taken away the places must only rise: pool those that do not
    blocks: list[tuple[float, int]] = []
    for slot, offset in zip(row, offsets, strict=True):
        total, count = wanted[slot] - offset, 1
        while blocks and blocks[-1][0] / blocks[-1][1] >= total / count:
            before = blocks.pop()
            total, count = total + before[0], count + before[1]
        blocks.append((total, count))
    level = [total / count for total, count in blocks for _ in range(count)]
    return {
        slot: min(max(one, 0.0), max(room, 0.0)) + offset
        for slot, one, offset in zip(row, level, offsets, strict=True)
    }


# -- from the bottom upwards -----------------------------------------------------------------------


@dataclass
class _Trunk:
    """All lines that leave one slot: where they leave and where each arrives."""

    start: float
    ends: dict[Slot, float]

    @property
    def span(self) -> tuple[float, float]:
        reached = (self.start, *self.ends.values())
        return min(reached), max(reached)


def _drawn(
    rows: Sequence[Sequence[Slot]],
    into: Mapping[Slot, Sequence[Slot]],
    x: dict[Slot, float],
    heights: Mapping[str, float],
    box_width: float,
    width: float,
) -> Laid:
    boxes: dict[str, tuple[float, float, float, float]] = {}
    lines: list[tuple[Point, ...]] = []
    dots: list[Point] = []
    bottom = 0.0
    leading = {one for below in into.values() for one in below}
    for number, row in enumerate(rows):
        high = max(heights[code] for code, at in row if at < 0)
        if number:
            trunks = _trunks(rows[number - 1], row, into, x, box_width)
            tracks = _tracks(trunks)
            top = bottom + (max(tracks.values()) + 2) * _TRACK
            for slot, trunk in trunks.items():
                _draw_trunk(trunk, bottom, bottom + (tracks[slot] + 1) * _TRACK, top, lines, dots)
            bottom = top
        for slot in row:
            if _is_box(slot):
                own = heights[slot[0]]
                left = x[slot] - box_width / 2
                # boxes stand on the floor of their row, and a line leads on from their top
                boxes[slot[0]] = (left, bottom, box_width, own)
                if own < high and slot in leading:
                    lines.append(((x[slot], bottom + own), (x[slot], bottom + high)))
            else:
                lines.append(((x[slot], bottom), (x[slot], bottom + high)))
        bottom += high
    return Laid(width, bottom, boxes, tuple(lines), tuple(dots))


def _trunks(
    below: Sequence[Slot],
    row: Sequence[Slot],
    into: Mapping[Slot, Sequence[Slot]],
    x: dict[Slot, float],
    box_width: float,
) -> dict[Slot, _Trunk]:
    """What leads from one row to the next; no two upright lines of different slots meet."""
    leading = {one for slot in row for one in into.get(slot, ())}
    trunks = {slot: _Trunk(x[slot], {}) for slot in below if slot in leading}
    taken = [(trunk.start, slot) for slot, trunk in trunks.items()]
    for slot in row:
        sources = sorted(into.get(slot, ()), key=lambda one: x[one])
        pitch = box_width / (len(sources) + 1)
        for number, source in enumerate(sources, start=1):
            at = x[slot] + (number * pitch - box_width / 2 if _is_box(slot) else 0.0)
            room = box_width / 2 - 0.5 if _is_box(slot) else _LANE / 2
            straight = trunks[source].start
            if abs(straight - at) < (pitch / 3 if _is_box(slot) else room):
                at = straight
            at = _free(at, x[slot] - room, x[slot] + room, source, taken)
            if not _is_box(slot):
                x[slot] = at
            trunks[source].ends[slot] = at
            taken.append((at, source))
    return trunks


def _free(
    wanted: float, low: float, high: float, source: Slot, taken: Sequence[tuple[float, Slot]]
) -> float:
    """The place nearest to the wanted one that is away from lines of other slots."""
    others = [at for at, slot in taken if slot != source and low - _NEAR < at < high + _NEAR]
    tried = [wanted, *(at + side * _NEAR for at in others for side in (-1, 1))]
    fit = [
        at
        for at in tried
        if low <= at <= high and all(abs(at - one) >= _NEAR - 1e-9 for one in others)
    ]
    return min(fit, key=lambda at: (abs(at - wanted), at), default=wanted)


def _tracks(trunks: Mapping[Slot, _Trunk]) -> dict[Slot, int]:
    """The level on which each trunk runs across, so that no two share a stretch."""
    tracks: dict[Slot, int] = {}
    busy: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for slot in sorted(trunks, key=lambda one: (trunks[one].span, one)):
        low, high = trunks[slot].span
        track = 0
        while any(low < b + _NEAR and a < high + _NEAR for a, b in busy[track]):
            track += 1
        busy[track].append((low, high))
        tracks[slot] = track
    return tracks


def _draw_trunk(
    trunk: _Trunk,
    bottom: float,
    level: float,
    top: float,
    lines: list[tuple[Point, ...]],
    dots: list[Point],
) -> None:
    low, high = trunk.span
    lines.append(((trunk.start, bottom), (trunk.start, level)))
    if high > low:
        lines.append(((low, level), (high, level)))
    for end in trunk.ends.values():
        lines.append(((end, level), (end, top)))
    # where more than two lines meet they part; where lines only cross there is no dot
    for at in {trunk.start, *trunk.ends.values()}:
        sides = (at > low) + (at < high)
        uprights = (at == trunk.start) + (at in trunk.ends.values())
        if sides + uprights > 2:
            dots.append((at, level))

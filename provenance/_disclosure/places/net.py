"""Finds in texts what tells where a protected place is, in any notation.

No notation has a pattern of its own. Every run of figures is read in every way in which it could
mean an angle or a grid coordinate, and each reading is compared with the protected points. A hit is
measured in bits: how unlikely is it that a number of this form comes so near by chance? Codes are
decoded by libraries and then measured; what cannot be computed is found by its form.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from provenance._disclosure.hits import Hit
from provenance._disclosure.places.codes import Codes
from provenance._disclosure.places.frames import (
    OTHER_GRID_BITS,
    SMALLEST_MAP_FIGURE,
    Line,
    Point,
    Stretch,
    areas_of,
    degrees,
    grids_here,
    last_figures,
    on_grid,
    other_grids,
    own_metres,
)
from provenance._disclosure.places.readings import MOST_FIGURES, Figures, Number
from provenance._disclosure.places.shapes import by_form
from provenance._disclosure.places.spoken import in_figures
from provenance._disclosure.plain_text import plain

SINGLE_BITS, PAIR_BITS = 12.5, 17.0
"""What one axis must reach, and both together: about one note in a thousand by chance."""
NEAR = " near a withheld place"
NEAR_CHARS = 60
"""So near both halves of a position stand."""
CERTAIN = 99.0
CROWD = 8
"""Where more numbers than these stand together, so many more could agree by chance."""
FINEST_DEGREES, FINEST_METRES = 1e-5, 0.5
"""No number is taken for more exact than this, about a metre."""
KILOMETRES_BITS, LAST_FIGURES_BITS, IN_A_ROW_BITS = 4.0, 3.0, 3.0
"""What these ways of reading cost: so many other ways could have been tried."""
BITS_A_FIGURE = math.log2(10)
MOST_DIGIT_ROWS = 256
FEWEST_OF_A_GRID = 3
_ODD = re.compile(r"[0-9][eE][+-]?[0-9]|gon\b|grad\b|ᵍ", re.IGNORECASE)
"""Powers of ten and gons, whose first figures are not those of the degrees."""
_POINT_BEFORE = re.compile(r"[0-9]\.$")
"""The decimals of a number are no map coordinate themselves."""
_KILOMETRES = re.compile(r"\s*km\b", re.IGNORECASE)
_MAY_BE_GRID = re.compile(r"[0-9](?:[ ,.'_]?[0-9]){4}")
_TAIL = re.compile(r"[\s°'\"]{0,3}[NSEWO](?![^\W\d_])|\s?[°'\"]+", re.IGNORECASE)
_NAMES = ("latitude", "longitude")
_Reading = tuple[float, float, Line, float, bool]
"""Value, half a unit, where to look, cost, and whether one axis may stand alone."""


@dataclass(frozen=True, slots=True)
class _Half:
    """One axis of a position, as a reading has it."""

    start: int
    end: int
    frame: tuple[int, int]
    axis: int
    bits: float
    alone: bool

    @property
    def what(self) -> str:
        """What it is, for a person."""
        axis = _NAMES[self.axis] if self.frame == (-1, 0) else "grid coordinate"
        return axis + NEAR


@dataclass(frozen=True, slots=True)
class _Found:
    start: int
    end: int
    what: str
    bits: float


class PlaceNet:
    """Finds what tells where protected points are; made once for a package."""

    def __init__(
        self,
        points: Sequence[Point],
        own_metres: Iterable[float] = (),
        *,
        latitudes: Iterable[float] = (),
        longitudes: Iterable[float] = (),
    ) -> None:
        """`own_metres` are map coordinates as the record has them, of either axis; `latitudes` and
        `longitudes` are angles in degrees whose other half is not known.
        """
        self._areas = areas_of(points)
        latitudes, longitudes = set(latitudes), set(longitudes)
        self._degrees = degrees(self._areas, latitudes, longitudes)
        self._wholes = frozenset(_whole_degrees(self._degrees))
        self._metres = tuple(own_metres)
        angles = [angle for one in points for angle in ((0, one.latitude), (1, one.longitude))]
        angles += [(0, one) for one in latitudes] + [(1, one) for one in longitudes]
        self._rows = _digit_rows(angles)
        self._codes = [Codes(area) for area in self._areas]
        self._begins: dict[str, bool] = {}
        self._exact: dict[tuple[int, int], dict[int, Stretch]] = {}

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """What is found in each text, in their order; places are those of the text as given."""
        known = {text: self._hits(text) for text in dict.fromkeys(texts)}
        return [known[text] for text in texts]

    def hits_in_file(self, lines: Sequence[str]) -> list[Hit]:
        """What is found in the lines of a text file, joined by line feeds.

        A position may be broken over two lines. A line without letters is a row of measurements,
        in which half a position counts only where the other half stands beside it.
        """
        return self._hits("\n".join(lines), is_file=True)

    def _hits(self, text: str, *, is_file: bool = False) -> list[Hit]:
        if not text:
            return []
        read = plain(text)
        rows = _rows_of_figures(text, read.places) if is_file else []
        found = [_Found(*one, CERTAIN) for one in by_form(read.text)]
        found = [one for one in found if not _is_in(rows, one.start)]
        for codes in self._codes:
            found += [
                _Found(start, end, what + NEAR, CERTAIN)
                for start, end, what in codes.find(read.text)
            ]
        found += self._numbers(read.text, rows)
        for spoken in in_figures(read.text):
            for one in self._numbers(spoken.text):
                start, end = _whole_words(read.text, *spoken.span(one.start, one.end))
                found.append(_Found(start, end, f"{one.what}, in words", one.bits))
        return [Hit(*read.span(one.start, one.end), one.what) for one in _joined(found)]

    # -- numbers ---------------------------------------------------------------------------------

    def _numbers(self, text: str, rows: Sequence[tuple[int, int]] = ()) -> list[_Found]:
        """Every stretch whose figures agree with a coordinate; singles in `rows` do not count."""
        figures = Figures(text)
        if not figures.runs:
            return []
        has_grid = _MAY_BE_GRID.search(text) is not None
        is_odd = _ODD.search(text) is not None
        halves: list[_Half] = list(self._in_a_row(figures))
        found: list[_Found] = []
        on_a_map: list[tuple[Number, float]] = []
        for run, (start, _, digits) in enumerate(figures.runs):
            may_be_angle = is_odd or self._may_be_angle(digits)
            may_be_grid = has_grid and not _POINT_BEFORE.search(text, max(start - 2, 0), start)
            if not (may_be_angle or may_be_grid):
                continue
            crowd = max(math.log2(figures.crowd(run) / CROWD), 0.0)
            for number in figures.numbers(run):
                if may_be_angle:
                    halves += self._angles(figures, run, number, crowd)
                if may_be_grid and number.figures >= FEWEST_OF_A_GRID:
                    halves += self._grids(figures, number, crowd)
                    if number.value >= SMALLEST_MAP_FIGURE or _is_in_km(figures, number):
                        on_a_map.append((number, crowd))
            if may_be_grid:
                found += self._split(figures, run, crowd)
        halves += self._grids_elsewhere(figures, on_a_map)
        alone = [one for one in halves if one.alone and one.bits >= SINGLE_BITS]
        alone = [one for one in alone if not _is_in(rows, one.start)]
        found += [_Found(one.start, one.end, one.what, one.bits) for one in alone]
        return [_with_signs(one, text) for one in (*found, *_pairs(halves))]

    def _may_be_angle(self, digits: str) -> bool:
        """Whether an angle that matters can begin with these figures, which saves most readings."""
        known = self._begins.get(digits)
        if known is None:
            known = int(digits[:MOST_FIGURES]) in self._wholes or any(
                2 <= len(digits) - width <= 9 and int(digits[:width]) in self._wholes
                for width in (1, 2, 3)
            )
            self._begins[digits] = known
        return known

    def _angles(self, figures: Figures, run: int, number: Number, crowd: float) -> Iterator[_Half]:
        for angle in figures.angles(run, number, self._wholes):
            for one in self._degrees.between(angle.degrees, angle.degrees):
                bits = one.bits(angle.degrees, angle.half, FINEST_DEGREES)
                if bits is None or bits < 0:
                    continue
                leaning = figures.leaning_of(angle, number)
                bits += leaning - angle.cost - crowd
                yield _Half(angle.start, angle.end, one.frame, one.axis, bits, True)

    def _grids(self, figures: Figures, number: Number, crowd: float) -> Iterator[_Half]:
        for value, half, line, cost, alone in self._metric_readings(figures, number):
            for one in line.between(value, value):
                bits = one.bits(value, half, FINEST_METRES)
                if bits is not None and bits > 0:
                    bits += _leaning(figures, number) - cost - crowd
                    yield _Half(number.start, number.end, one.frame, one.axis, bits, alone)

    def _grids_elsewhere(
        self, figures: Figures, numbers: Sequence[tuple[Number, float]]
    ) -> Iterator[_Half]:
        """A grid that nobody said is used here counts only with both axes."""
        if not _are_two(numbers):
            return
        near: dict[tuple[int, int], list[tuple[int, float, float, Number, float]]]
        near = defaultdict(list)
        for number, crowd in numbers:
            unit = 1000 if _is_in_km(figures, number) else 1
            value, half = number.value * unit, number.half * unit
            for one in self._elsewhere.between(value, value):
                near[one.frame].append((one.axis, value, half, number, crowd))
        for frame, readings in near.items():
            if len({axis for axis, *_ in readings}) < 2:
                continue
            exact = self._exact_grid(frame)
            for axis, value, half, number, crowd in readings:
                bits = exact[axis].bits(value, half, FINEST_METRES) if axis in exact else None
                if bits is not None and bits > 0:
                    bits += _leaning(figures, number) - number.cost - crowd
                    yield _Half(number.start, number.end, frame, axis, bits, False)

    def _metric_readings(self, figures: Figures, number: Number) -> Iterator[_Reading]:
        value, half, cost = number.value, number.half, number.cost
        if value >= SMALLEST_MAP_FIGURE:
            yield value, half, self._here, cost, True
        in_km = _is_in_km(figures, number)
        if in_km or (half < 0.5 and number.figures >= 4 and value >= 100):
            cost_km = cost + (0.0 if in_km else KILOMETRES_BITS)
            yield value * 1000, half * 1000, self._here, cost_km, True
        if half == 0.5 and number.figures in (3, 4):
            # the square of a kilometre
            yield (value + 0.5) * 1000, 500, self._here, cost + KILOMETRES_BITS, False
        cost += LAST_FIGURES_BITS
        whole = len(str(int(value))) if value < SMALLEST_MAP_FIGURE * 10 else 0
        if whole == 5:
            yield value, half, self._last_five, cost, False
        if whole == 4 and number.figures < 8:
            yield value, half, self._last_four, cost, False
        if half == 0.5 and value and number.figures in (3, 4):
            # the last five figures, without one or two at their end
            unit = 10.0 ** (5 - number.figures)
            yield (value + 0.5) * unit, half * unit, self._last_five, cost, False

    def _split(self, figures: Figures, run: int, crowd: float) -> Iterator[_Found]:
        """A reference of both axes in one run of figures, such as 123678 for 12300 and 67800."""
        start, end, digits = figures.runs[run]
        if len(digits) in (6, 8, 10):
            width = len(digits) // 2
            unit, line, cost = 10.0 ** (5 - width), self._last_five, 2 * LAST_FIGURES_BITS
        elif len(digits) in (12, 13):
            width, unit, line, cost = 6, 1.0, self._here, LAST_FIGURES_BITS
        else:
            return
        best: dict[tuple[int, int], dict[int, float]] = defaultdict(dict)
        for axis, part in enumerate((digits[:width], digits[width:])):
            value = (int(part) + 0.5) * unit
            for one in line.between(value, value):
                bits = one.bits(value, unit / 2, FINEST_METRES)
                if bits is not None and one.axis == axis:
                    best[one.frame][axis] = max(best[one.frame].get(axis, 0.0), bits)
        for axes in best.values():
            bits = sum(axes.values()) - cost - crowd + figures.leaning(start, end)
            if len(axes) == 2 and bits >= PAIR_BITS:
                yield _Found(start, end, f"grid reference{NEAR}", bits)

    def _in_a_row(self, figures: Figures) -> Iterator[_Half]:
        """The figures of an angle one after the other, whatever stands between them."""
        digits = "".join(one for _, _, one in figures.runs)
        if not any(wanted in digits for wanted, _ in self._rows):
            return
        at = [place for start, end, _ in figures.runs for place in range(start, end)]
        # leading zeros aside
        begins = {start + len(one) - len(one.lstrip("0")): start for start, _, one in figures.runs}
        crowd = max(math.log2(len(digits) / (2 * CROWD)), 0.0)
        for wanted, axis in self._rows:
            place = digits.find(wanted)
            while place >= 0:
                first, last = at[place], at[place + len(wanted) - 1] + 1
                run = begins.get(first)
                is_near = last - first <= 3 * len(wanted)
                if run is not None and is_near and figures.leaning(run, last) >= 0:
                    bits = BITS_A_FIGURE * len(wanted) - IN_A_ROW_BITS - crowd
                    yield _Half(first, last, (-1, 0), axis, bits, True)
                place = digits.find(wanted, place + 1)

    # -- where to look ---------------------------------------------------------------------------

    @cached_property
    def _grid_stretches(self) -> list[Stretch]:
        found = own_metres(self._metres)
        for number, area in enumerate(self._areas):
            found += grids_here(number, area)
        return found

    @cached_property
    def _here(self) -> Line:
        return Line(self._grid_stretches)

    @cached_property
    def _last_five(self) -> Line:
        return last_figures(self._grid_stretches, 5)

    @cached_property
    def _last_four(self) -> Line:
        return last_figures(self._grid_stretches, 4)

    @cached_property
    def _elsewhere(self) -> Line:
        return Line(
            one for number, area in enumerate(self._areas) for one in other_grids(number, area)
        )

    def _exact_grid(self, frame: tuple[int, int]) -> dict[int, Stretch]:
        """Axis → stretch of a grid of the area, with the shift between datums."""
        if frame not in self._exact:
            number, code = frame
            found = on_grid(number, self._areas[number], code, OTHER_GRID_BITS)
            self._exact[frame] = {one.axis: one for one in found}
        return self._exact[frame]


def _whole_words(text: str, start: int, end: int) -> tuple[int, int]:
    while start > 0 and text[start - 1].isalpha():
        start -= 1
    while end < len(text) and text[end].isalpha():
        end += 1
    return start, end


def _leaning(figures: Figures, number: Number) -> float:
    is_long = number.value >= SMALLEST_MAP_FIGURE
    return figures.leaning(number.start, number.end, is_long=is_long)


def _is_in_km(figures: Figures, number: Number) -> bool:
    return number.figures >= 4 and _KILOMETRES.match(figures.text, number.end) is not None


def _are_two(numbers: Sequence[tuple[Number, float]]) -> bool:
    """Whether the last begins behind the end of the first."""
    ends = [number.end for number, _ in numbers]
    return bool(ends) and max(number.start for number, _ in numbers) >= min(ends)


def _whole_degrees(line: Line) -> Iterator[int]:
    for one in line.stretches:
        yield from range(max(int(one.low - one.reach), 0), int(one.high + one.reach) + 1)


def _digit_rows(angles: Iterable[tuple[int, float]]) -> list[tuple[str, int]]:
    """The first six figures of angles, or more: decimals, and minutes and seconds; with the axis.

    Cut and rounded. Those that begin with zeros are met everywhere, and left out.
    """
    rows: dict[tuple[str, int], None] = {}
    for axis, angle in angles:
        whole = int(abs(angle))
        places = max(4, 6 - len(str(whole)))
        if len(rows) > MOST_DIGIT_ROWS or not whole:
            continue
        for rounded in (0.0, 0.5):
            rows[str(int(abs(angle) * 10**places + rounded)), axis] = None
            seconds = int(abs(angle) * 3600 * 10 ** (places - 4) + rounded)
            rest, part = divmod(seconds, 60 * 10 ** (places - 4))
            degree, minute = divmod(rest, 60)
            rows[f"{degree}{minute:02d}{part:0{places - 2}d}", axis] = None
    return list(rows)


def _rows_of_figures(text: str, places: Sequence[int]) -> list[tuple[int, int]]:
    """Start and end, in the plain text, of the lines that have no letters."""
    rows = []
    done = 0
    for line in text.splitlines(keepends=True):
        if not any(map(str.isalpha, line)):
            rows.append((bisect_left(places, done), bisect_left(places, done + len(line))))
        done += len(line)
    return rows


def _is_in(rows: Sequence[tuple[int, int]], place: int) -> bool:
    before = bisect_right(rows, (place, math.inf)) - 1
    return before >= 0 and place < rows[before][1]


def _pairs(halves: Iterable[_Half]) -> Iterator[_Found]:
    """Both axes of one frame near each other, which together are unlikely enough."""
    by_frame: dict[tuple[int, int], tuple[list[_Half], list[_Half]]] = defaultdict(lambda: ([], []))
    for one in halves:
        by_frame[one.frame][one.axis].append(one)
    for firsts, seconds in by_frame.values():
        seconds.sort(key=lambda one: one.start)
        starts = [one.start for one in seconds]
        for first in firsts:
            lowest = bisect_left(starts, first.start - NEAR_CHARS)
            highest = bisect_right(starts, first.end + NEAR_CHARS)
            for second in seconds[lowest:highest]:
                apart = first.end <= second.start or second.end <= first.start
                bits = first.bits + second.bits
                if apart and bits >= PAIR_BITS:
                    for one in (first, second):
                        yield _Found(one.start, one.end, one.what, bits)


def _with_signs(found: _Found, text: str) -> _Found:
    """With the sign of the hemisphere and those of degrees behind it."""
    tail = _TAIL.match(text, found.end)
    return replace(found, end=tail.end()) if tail else found


def _joined(found: Iterable[_Found]) -> list[_Found]:
    """Hits that overlap as one, named after the strongest."""
    joined: list[_Found] = []
    for one in sorted(found, key=lambda one: (one.start, -one.end)):
        if joined and one.start < joined[-1].end:
            last = joined[-1]
            strongest = max(last, one, key=lambda hit: hit.bits)
            joined[-1] = _Found(last.start, max(last.end, one.end), strongest.what, strongest.bits)
        else:
            joined.append(one)
    return joined

"""Chooses round numbers for the ticks of an axis, as many as there is room for their words."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from provenance._model.notation import write_year

_AD_1_FROM_STEP = 5
"""With smaller steps the year AD 1 would stand too near to its neighbours."""
_APART = 3
"""Characters that would have room between the words of two ticks."""


@dataclass(frozen=True)
class Axis:
    """From values to mm: `low` lies at `start`, `high` at `end`; ticks with their words."""

    low: float
    high: float
    start: float
    end: float
    ticks: tuple[tuple[float, str], ...] = ()

    def __call__(self, value: float) -> float:
        """Where a value lies."""
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)


def round_steps(first: float) -> Iterator[float]:
    """1, 2 and 5 times the powers of ten, from `first` (one of them) upwards without end.

    >>> from itertools import islice
    >>> list(islice(round_steps(5), 4))
    [5, 10, 20, 50]
    """
    step = first
    while True:
        yield step
        # 2 → 5; 1 → 2 and 5 → 10
        step = step * 5 / 2 if f"{step:e}"[0] == "2" else step * 2
        step = int(step) if step == int(step) else step


def year_axis(
    low: float, high: float, start: float, end: float, width: Callable[[str], float]
) -> Axis:
    """An axis of years with ticks at round ones, counted as people count: there is no year 0.

    `width` says how many mm a text takes; no two words of ticks stand too near.
    """
    bare = Axis(low, high, start, end)
    return _with_ticks(bare, 1, _round_years, lambda year: write_year(int(year)), width)


def count_axis(
    high: float,
    start: float,
    end: float,
    width: Callable[[str], float],
    *,
    first_step: float = 1,
    low: float = 0.0,
) -> Axis:
    """An axis of counts or measures with round ticks; `first_step` is the smallest of use."""
    bare = Axis(low, high, start, end)
    return _with_ticks(bare, first_step, _multiples, lambda value: f"{value:.12g}", width)


def _with_ticks(
    bare: Axis,
    first_step: float,
    values_at: Callable[[float, float, float], Sequence[float]],
    words: Callable[[float], str],
    width: Callable[[str], float],
) -> Axis:
    """The axis with the smallest step at which no words meet; the loop ends with a single tick."""
    apart = _APART * width("0")
    for step in round_steps(first_step):
        # more ticks than there is room for characters need not be tried
        if (bare.high - bare.low) / step * apart > abs(bare.end - bare.start):
            continue
        ticks = tuple((one, words(one)) for one in values_at(bare.low, bare.high, step))
        boxes = [(bare(value), width(text) / 2) for value, text in ticks]
        if all(
            abs(there - here) >= half + other_half + apart
            for (here, half), (there, other_half) in pairwise(boxes)
        ):
            return replace(bare, ticks=ticks)
    raise AssertionError("round_steps has no end")


def _multiples(low: float, high: float, step: float) -> list[float]:
    first = int(-(-low // step))
    return [number * step for number in range(first, int(high // step) + 1)]


def _round_years(low: float, high: float, step: float) -> list[float]:
    """Astronomical years that people write as a multiple of the step, and AD 1 between them."""
    after = _multiples(max(low, step), high, step)
    before = [1 - year for year in _multiples(max(1 - high, step), 1 - low, step)]
    middle = [1] if low <= 1 <= high and step >= _AD_1_FROM_STEP else []
    return [*reversed(before), *middle, *after]

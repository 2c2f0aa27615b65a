"""How far the readings of a piece of wood may be off, by how finely they were written.

A reading is known to half of the step with which it was read, and every value in between is as
likely: standard deviation step/√12 (JCGM 100:2008, 4.3.7 and F.2.2.1). The step is the finest that
the same person used at the same site, because zeros at the end of a number are not stored.
Readings in inches are stored in centimeters and meters, and known again by being whole parts of an
inch.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

import polars as pl

from provenance._record.cells import decimal_of
from provenance._record.snapshot import Snapshot

DIAMETERS = ("diameter_a1_cm", "diameter_a2_cm", "diameter_b1_cm", "diameter_b2_cm", "diagonal_cm")
LENGTH = "length_m"
_INCH_STEPS = [Decimal(1) / parts for parts in (1, 2, 4, 8, 10, 16, 32, 100)]
"""Of rules and calipers, and hundredths for decimals; the coarsest first."""
_KINDS = {
    "diameter_sd_cm": (DIAMETERS, Decimal("2.54"), Decimal("0.00005")),
    "length_sd_m": ((LENGTH,), Decimal("0.0254"), Decimal("0.0000005")),
}
"""Columns of each kind of reading, an inch in their unit, and how closely it is stored."""


def reading_sds(tables: Snapshot) -> pl.DataFrame:
    """Columns diameter_sd_cm and length_sd_m, one row for each row of the table `element`.

    One standard deviation of each reading of that kind; missing where none was taken.
    """
    crews = list(tables.tuples("element", ("site_id", "recorded_by")))
    metric: dict[str, list[Decimal | None]] = {}
    inches: dict[str, list[Decimal | None]] = {}
    for kind, (columns, inch, stored) in _KINDS.items():
        texts = zip(*(tables.column("element", one) for one in columns), strict=True)
        pieces = [[one for text in row if (one := _positive(text))] for row in texts]
        metric[kind] = [min(map(_last_digit, piece), default=None) for piece in pieces]
        inches[kind] = [_step_in_inches(piece, inch, stored) for piece in pieces]
    used = [
        all(inches[kind][row] or not metric[kind][row] for kind in _KINDS)
        for row in range(len(crews))
    ]
    found = {}
    for kind in _KINDS:
        steps = [
            inches[kind][row] if by_inch else metric[kind][row] for row, by_inch in enumerate(used)
        ]
        finest: dict[tuple[tuple[str, ...], bool], Decimal] = {}
        groups = list(zip(crews, used, strict=True))
        for group, step in zip(groups, steps, strict=True):
            if step:
                finest[group] = min(step, finest.get(group, step))
        found[kind] = [
            float(finest[group]) / math.sqrt(12) if step else None
            for group, step in zip(groups, steps, strict=True)
        ]
    return pl.DataFrame(found, dict.fromkeys(_KINDS, pl.Float64))


def _positive(text: str) -> Decimal | None:
    number = decimal_of(text) if text else None
    return number if number and number.is_finite() and number > 0 else None


def _last_digit(number: Decimal) -> Decimal:
    """The unit of the last digit as written: 24.5 → 0.1."""
    return Decimal(1).scaleb(int(number.as_tuple().exponent))


def _step_in_inches(readings: Sequence[Decimal], inch: Decimal, stored: Decimal) -> Decimal | None:
    """The coarsest step of which all readings are whole numbers, in their unit; None if none is."""
    for step in _INCH_STEPS:
        size = step * inch
        if readings and all(abs(round(one / size) * size - one) <= stored for one in readings):
            return size
    return None

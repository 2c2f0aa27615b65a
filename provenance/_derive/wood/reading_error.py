"""How far the readings of a piece of wood may be off, by how finely they were written.

A reading is known to half of the step with which it was read, and every value in between is as
likely: standard deviation step/√12 (JCGM 100:2008, 4.3.7 and F.2.2.1). The step is the finest that
the same person used at the same site, because zeros at the end of a number are not stored.
Readings in inches are stored in centimeters and meters, and known again by being whole parts of an
inch.
"""

from __future__ import annotations

import math
from decimal import Decimal
from functools import lru_cache

import polars as pl

from provenance._record.cells import decimal_of
from provenance._record.snapshot import Snapshot

DIAMETERS = ("diameter_a1_cm", "diameter_a2_cm", "diameter_b1_cm", "diameter_b2_cm", "diagonal_cm")
LENGTH = "length_m"
_INCH_STEPS = [Decimal(1) / parts for parts in (1, 2, 4, 8, 10, 16, 32, 100)]
"""Of rules and calipers, and hundredths for decimals; the coarsest first."""
_SMALLEST, _LARGEST = Decimal("1e-6"), Decimal("1e6")
"""What lies beyond is no size of wood, and the check names it."""
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
    # the step of each kind of reading of each piece, if read in inches and if not
    inches: dict[str, list[Decimal | None]] = {}
    metric: dict[str, list[Decimal | None]] = {}
    for kind, (columns, inch, stored) in _KINDS.items():
        texts = zip(*(tables.column("element", one) for one in columns), strict=True)
        pieces = [[one for text in row if (one := _told(text, inch, stored))] for row in texts]
        inches[kind] = [
            max(frozenset.intersection(*(fits for _, fits in piece)), default=None)
            if piece
            else None
            for piece in pieces
        ]
        metric[kind] = [min((digit for digit, _ in piece), default=None) for piece in pieces]
    in_inches = [
        all(inches[kind][row] or not metric[kind][row] for kind in _KINDS)
        for row in range(len(crews))
    ]
    groups = list(zip(crews, in_inches, strict=True))
    found = {}
    for kind in _KINDS:
        steps = [
            inch if by_inch else other
            for by_inch, inch, other in zip(in_inches, inches[kind], metric[kind], strict=True)
        ]
        finest: dict[tuple[tuple[str, ...], bool], Decimal] = {}
        for group, step in zip(groups, steps, strict=True):
            if step:
                finest[group] = min(step, finest.get(group, step))
        found[kind] = [
            float(finest[group]) / math.sqrt(12) if step else None
            for group, step in zip(groups, steps, strict=True)
        ]
    return pl.DataFrame(found, dict.fromkeys(_KINDS, pl.Float64))


@lru_cache(maxsize=100_000)
def _told(text: str, inch: Decimal, stored: Decimal) -> tuple[Decimal, frozenset[Decimal]] | None:
    """The unit of the last digit of a reading, and the steps in inches, in its own unit, of which
    it is a whole number; None for what is not a size.

    >>> digit, steps = _told("24.13", Decimal("2.54"), Decimal("0.00005"))
    >>> float(digit), float(max(steps))  # nine inches and a half
    (0.01, 1.27)
    """
    number = decimal_of(text) if text else None
    if number is None or not number.is_finite() or not _SMALLEST < number < _LARGEST:
        return None
    sizes = (step * inch for step in _INCH_STEPS)
    fits = frozenset(one for one in sizes if abs(round(number / one) * one - number) <= stored)
    return Decimal(1).scaleb(int(number.as_tuple().exponent)), fits

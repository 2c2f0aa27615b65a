"""Says a length as the crew of a record measures: metric, or in feet, inches and fractions.

Tables hold SI. What is shown has the step of its column (the finest division that anybody read
there) or else that of its kind, and is never finer than the range around it. All arithmetic is in
exact fractions. The inch is exactly 25.4 mm (international yard and pound agreement, 1959; NIST
Special Publication 811, appendix B).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from types import MappingProxyType

INCH, FOOT = Fraction(254, 10), Fraction(3048, 10)
MM_PER: Mapping[str, Fraction] = MappingProxyType(
    {
        "mm": Fraction(1),
        "cm": Fraction(10),
        "m": Fraction(1000),
        "in": INCH,
        "ft": FOOT,
        "yd": 3 * FOOT,
    }
)
METRIC, FEET_INCHES = "metric", "feet_inches"
SYSTEMS: Mapping[str, str] = MappingProxyType(
    {METRIC: "Metric", FEET_INCHES: "Feet, inches and fractions"}
)


@dataclass(frozen=True)
class Kind:
    """How lengths of one kind are said: unit and decimals where metric; step (mm) and style else.

    The style is 'in', 'ft-in', 'ft' (decimals of a foot), or 'mm' for what is metric everywhere.
    """

    metric: str
    decimals: int
    step: Fraction
    style: str


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "bore": Kind("mm", 1, INCH / 32, "in"),
        "core": Kind("mm", 0, INCH / 8, "in"),
        "diameter": Kind("cm", 1, INCH / 8, "in"),
        "timber": Kind("m", 2, INCH / 4, "ft-in"),
        "tape": Kind("m", 3, INCH / 8, "ft-in"),
        "survey": Kind("m", 2, FOOT / 100, "ft"),
        "range": Kind("cm", 0, INCH / 2, "in"),
        "ring": Kind("mm", 3, Fraction(1, 1000), "mm"),
    }
)
"""Bits and dowels; cores and plugs; faces of wood; timbers and heights; tape distances; surveyed
coordinates; the range around a place (rounded up); ring widths."""

_OF_UNIT = MappingProxyType({"mm": "core", "cm": "diameter", "m": "tape"})
# bits and dowels are called by these, so a bore of 15.9 mm is one of 5/8 in
_NOMINAL = tuple(Fraction(eighths, 8) * INCH for eighths in range(1, 17))
_NEAR_NOMINAL = Fraction(1, 10)
_HAIR = Fraction(1, 10_000)
_COARSER = (INCH / 8, INCH / 4, INCH / 2, INCH, FOOT / 2)
_GLYPHS = MappingProxyType({"½": 2, "¼": 4, "¾": 4, "⅛": 8, "⅜": 8, "⅝": 8, "⅞": 8})
_LAST_NUMBER = re.compile(r"(\d+)(?:[.,](\d+))?\s*(mm|cm|m|in|ft|\"|”|''|'|’)\.?\s*$")
INCH_MARK = re.compile(r"in|ft|[\"”'’]")
"""Stands in what is measured in feet or inches."""
_MARKS = MappingProxyType({'"': "in", "”": "in", "''": "in", "'": "ft", "’": "ft"})


def step_of(written: str, unit: str = "") -> Fraction | None:
    """The division in mm that a reading shows; `unit` is that of its column, None if none tells.

    >>> step_of("12' 6 1/2\\"") == INCH / 2, step_of("3.82 m"), step_of("3.82")
    (True, Fraction(10, 1), None)
    """
    text = written.strip()
    if fractions := re.findall(r"\d+/(\d+)", text):
        return INCH / int(fractions[-1]) if int(fractions[-1]) else None
    glyph = next((_GLYPHS[letter] for letter in reversed(text) if letter in _GLYPHS), None)
    if glyph:
        return INCH / glyph
    if re.fullmatch(r"[\d.,-]+", text) and unit in MM_PER:
        text += f" {unit}"
    last = _LAST_NUMBER.search(text)
    if last is None:
        return None
    return MM_PER[_MARKS.get(last[3], last[3])] / Fraction(10 ** len(last[2] or ""))


def step_of_column(readings: Iterable[str], unit: str = "") -> Fraction | None:
    """The finest step in mm: one reading on the half inch does not make it a half-inch tape."""
    return min((step for one in readings if (step := step_of(one, unit)) is not None), default=None)


def fraction_text(number: Fraction) -> str:
    """A number as on a rule, reduced.

    >>> fraction_text(Fraction(91, 8)), fraction_text(Fraction(1, 2)), fraction_text(Fraction(0))
    ('11 3/8', '1/2', '0')
    """
    whole, rest = divmod(number, 1)
    parts = [str(whole)] if whole or not rest else []
    return " ".join([*parts, f"{rest.numerator}/{rest.denominator}"] if rest else parts)


@dataclass(frozen=True)
class Measures:
    """How a record says its lengths; `system` is one of SYSTEMS."""

    system: str = METRIC

    @property
    def other(self) -> Measures:
        """The system that the record does not use, for those who have no rule in its own."""
        return Measures(FEET_INCHES if self.system == METRIC else METRIC)

    def unit(self, unit: str, kind: str | None = None) -> str:
        """What stands behind a heading: 'cm', 'in', 'ft-in' or 'ft' for lengths, else `unit`.

        >>> Measures(FEET_INCHES).unit("cm"), Measures().unit("m", "timber")
        ('in', 'm')
        """
        if unit not in MM_PER:
            return unit
        one = KINDS[kind or _OF_UNIT[unit]]
        return one.metric if self.system == METRIC else one.style

    def say(
        self,
        value: float | Fraction | str,
        unit: str,
        kind: str | None = None,
        *,
        step: Fraction | None = None,
        u95_mm: float | None = None,
        other: bool = False,
    ) -> str:
        """A length with its unit, in the record's system; `other` puts the other one behind it.

        `value` is in `unit` (mm, cm, m). `step` (mm) is that of the column it was read in and goes
        before the kind's own; no step is finer than half of the 95 % range `u95_mm`.

        >>> Measures(FEET_INCHES).say(28.8925, "cm"), Measures().say("15.875", "mm", "bore")
        ('11 3/8 in', '15.9 mm')
        >>> Measures(FEET_INCHES).say(3.81, "m", "timber", other=True)
        '12\\' 6" (3.81 m)'
        """
        kind = kind or _OF_UNIT[unit]
        mm = Fraction(str(value)) * MM_PER[unit]
        metric = self.system == METRIC or KINDS[kind].style == "mm"
        words = _metric if metric else _feet_inches
        text = words(mm, kind, step, u95_mm)
        if not other or KINDS[kind].style == "mm":
            return text
        return f"{text} ({(_feet_inches if metric else _metric)(mm, kind, None, u95_mm)})"

    def volume(self, write: Callable[[float], str]) -> str:
        """A volume, in cubic feet with m³ behind them where the record counts in feet.

        `write` words what is known in m³, multiplied by the number that it is given.

        >>> Measures(FEET_INCHES).volume(lambda per: f"{0.5 * per:.2f}")
        '17.66 ft³ (0.50 m³)'
        """
        metric = f"{write(1.0)} m³"
        if self.system == METRIC:
            return metric
        return f"{write(float((1000 / FOOT) ** 3))} ft³ ({metric})"


SI = Measures()
"""For what is metric whatever the record measures in."""


def _rounded(number: Fraction, kind: str) -> int:
    # a range that is rounded down would promise too much; 0.04 m as computed may be a hair above it
    return ceil(number - _HAIR) if kind == "range" else round(number)


def _as_said(kind: str, mm: Fraction) -> tuple[Kind, Kind]:
    """How a length of that kind and size is said, metric and in feet and inches."""
    one = KINDS[kind]
    if kind != "range":
        return one, one
    metric = Kind("mm", 0, one.step, "in") if mm <= 10 else one
    feet = Kind("cm", 0, INCH / 8, "in") if mm <= INCH else one
    return (
        Kind("m", 1, one.step, "in") if mm > 1000 else metric,
        Kind("cm", 0, INCH, "ft-in") if mm > 3 * FOOT else feet,
    )


def _metric(mm: Fraction, kind: str, step: Fraction | None, u95_mm: float | None) -> str:
    one = _as_said(kind, mm)[0]
    decimals = one.decimals
    if step is not None and (MM_PER[one.metric] / step).denominator == 1:
        decimals = len(str(MM_PER[one.metric] / step)) - 1
    while decimals and u95_mm and MM_PER[one.metric] / 10**decimals * 2 < Fraction(str(u95_mm)):
        decimals -= 1
    steps = _rounded(mm / MM_PER[one.metric] * 10**decimals, kind)
    return f"{float(Fraction(steps, 10**decimals)):.{decimals}f} {one.metric}"


def _feet_inches(mm: Fraction, kind: str, step: Fraction | None, u95_mm: float | None) -> str:
    sign, mm = ("-" if mm < 0 else ""), abs(mm)
    one = _as_said(kind, mm)[1]
    if kind == "bore":
        nominal = min(_NOMINAL, key=lambda size: abs(size - mm))
        if abs(nominal - mm) <= _NEAR_NOMINAL:
            return f"{fraction_text(nominal / INCH)} in"
        if 0 < mm < INCH / 16:
            # how loose a dowel is shows in thousandths
            return f"{sign}{float(mm / INCH):.3f} in"
    style = one.style
    if step is not None and (FOOT / step).denominator == 1 and (INCH / step).denominator != 1:
        # read in tenths or hundredths of a foot
        style = "ft"
    elif step is None or (INCH / step).denominator != 1:
        step = one.step
    if style == "ft":
        decimals = 2 if step <= FOOT / 100 else 1
        hundredths = Fraction(_rounded(mm / FOOT * 10**decimals, kind), 10**decimals)
        return f"{sign if hundredths else ''}{float(hundredths):.{decimals}f} ft"
    for wider in _COARSER:
        if u95_mm and step < wider and wider * 2 <= Fraction(str(u95_mm)):
            step = wider
    length = _rounded(mm / step, kind) * step
    sign = sign if length else ""
    if style == "in":
        return f"{sign}{fraction_text(length / INCH)} in"
    feet, rest = divmod(length, FOOT)
    return f"{sign}{feet}' {fraction_text(rest / INCH)}\""

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
from decimal import Decimal
from fractions import Fraction
from math import ceil
from types import MappingProxyType

INCH, FOOT = Fraction(254, 10), Fraction(3048, 10)
BY_RULE = ("ft-in", "in", "ft")
"""Units of a crew that measures in feet and inches."""
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

    The style is 'in', 'ft-in', 'ft' (decimals of a foot), or METRIC for what is metric everywhere.
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
        "ring": Kind("mm", 3, Fraction(1, 1000), METRIC),
        "map": Kind("m", 2, Fraction(10), METRIC),
    }
)
"""Bits and dowels; cores and plugs; faces of wood; timbers and heights; tape distances; surveyed
coordinates; the range around a place (rounded up); ring widths and other small things; what is of
national maps."""

KIND_OF_UNIT: Mapping[str, str] = MappingProxyType({"mm": "core", "cm": "diameter", "m": "tape"})
# bits and dowels are called by these, so a bore of 15.9 mm is one of 5/8 in
_NOMINAL = tuple(Fraction(eighths, 8) * INCH for eighths in range(1, 17))
_NEAR_NOMINAL = Fraction(1, 10)
_HAIR = Fraction(1, 10_000)
_COARSER = (INCH / 8, INCH / 4, INCH / 2, INCH, FOOT / 2)
INCH_MARK = re.compile(r"in|ft|[\"”'’]")
"""Stands in what is measured in feet or inches."""


def step_of_column(steps: Iterable[Fraction], system: str) -> Fraction | None:
    """The finest of the divisions (mm) that a column was read to, of those that a system can say.

    One reading to the half inch does not make it a half-inch tape. None where nobody read so, and
    then the kind's own holds.

    >>> step_of_column([FOOT, INCH / 2, INCH / 8, Fraction(1)], FEET_INCHES) == INCH / 8
    True
    """
    known = sorted(set(steps))
    rules = (_is_metric,) if system == METRIC else (_is_ruled, _is_decimal_foot, _is_inch_part)
    return next((step for fits in rules for step in known if fits(step)), None)


def _is_metric(step: Fraction) -> bool:
    return _is_power(1000 / step, 10)


def _is_ruled(step: Fraction) -> bool:
    """Whole inches and their halves, quarters … on a rule."""
    return (step / INCH).denominator == 1 or _is_power(INCH / step, 2)


def _is_decimal_foot(step: Fraction) -> bool:
    return step < FOOT and _is_power(FOOT / step, 10)


def _is_inch_part(step: Fraction) -> bool:
    return (INCH / step).denominator == 1


def _is_power(number: Fraction, base: int) -> bool:
    while number.denominator == 1 and number > 1:
        number /= base
    return number == 1


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
        one = KINDS[kind or KIND_OF_UNIT[unit]]
        return one.metric if METRIC in (self.system, one.style) else one.style

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

        `value` is in `unit` (mm, cm, m). `step` (mm) is that of the column it was read in (see
        `step_of_column`) and goes before the kind's own; no step is finer than half of the 95 %
        range `u95_mm`.

        >>> Measures(FEET_INCHES).say(28.8925, "cm"), Measures().say("15.875", "mm", "bore")
        ('11 3/8 in', '15.9 mm')
        >>> Measures(FEET_INCHES).say(3.81, "m", "timber", other=True)
        '12\\' 6" (3.81 m)'
        """
        kind = kind or KIND_OF_UNIT[unit]
        mm = Fraction(str(value)) * MM_PER[unit]
        metric = METRIC in (self.system, KINDS[kind].style)
        words = _metric if metric else _feet_inches
        text = words(mm, kind, step, u95_mm)
        if not other or KINDS[kind].style == METRIC:
            return text
        return f"{text} ({(_feet_inches if metric else _metric)(mm, kind, None, u95_mm)})"

    def volume(self, write: Callable[[float], str]) -> str:
        """A volume, in cubic feet with m³ behind them where the record counts in feet.

        `write` words what is known in m³, multiplied by the number that it is given.

        >>> Measures(FEET_INCHES).volume(lambda per: f"{0.5 * per:.2f}")
        '17.66 ft³ (0.50 m³)'
        """
        metric = f"{write(1.0)} m³"
        unit, per = self.volume_unit
        return metric if self.system == METRIC else f"{write(per)} {unit} ({metric})"

    @property
    def volume_unit(self) -> tuple[str, float]:
        """The unit of volumes, and how many of it a cubic meter has."""
        return ("m³", 1.0) if self.system == METRIC else ("ft³", float((1000 / FOOT) ** 3))


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
    feet = Kind("cm", 0, INCH / 8, "in") if mm <= INCH / 2 else one
    return (
        Kind("m", 1, one.step, "in") if mm > 1000 else metric,
        Kind("cm", 0, INCH, "ft-in") if mm > 3 * FOOT else feet,
    )


def _decimals(mm: Fraction, unit: Fraction, decimals: int, kind: str, u95_mm: float | None) -> str:
    """A length in decimals of a unit, fewer where the range is wide."""
    while decimals and u95_mm and unit / 10**decimals * 2 < Fraction(str(u95_mm)):
        decimals -= 1
    number = Decimal(_rounded(mm / unit * 10**decimals, kind)).scaleb(-decimals)
    return f"{number:f}"


def _places(unit: Fraction, step: Fraction) -> int:
    """How many decimals of a unit a step has, which is a tenth, hundredth … of it."""
    return max(0, len(str(int(unit / step))) - 1)


def _metric(mm: Fraction, kind: str, step: Fraction | None, u95_mm: float | None) -> str:
    one = _as_said(kind, mm)[0]
    unit = MM_PER[one.metric]
    fits = step is not None and _is_metric(step)
    decimals = _places(unit, step) if fits and step is not None else one.decimals
    return f"{_decimals(mm, unit, decimals, kind, u95_mm)} {one.metric}"


def _feet_inches(mm: Fraction, kind: str, step: Fraction | None, u95_mm: float | None) -> str:
    sign, mm = ("-" if mm < 0 else ""), abs(mm)
    one = _as_said(kind, mm)[1]
    if kind == "bore":
        nominal = min(_NOMINAL, key=lambda size: abs(size - mm))
        if abs(nominal - mm) <= _NEAR_NOMINAL:
            return f"{sign}{fraction_text(nominal / INCH)} in"
        if 0 < mm < INCH / 16:
            # how loose a dowel is shows in thousandths
            return f"{sign}{float(mm / INCH):.3f} in"
    style = one.style
    if step is None or not (_is_ruled(step) or _is_decimal_foot(step) or _is_inch_part(step)):
        step = one.step
    elif _is_decimal_foot(step) and not _is_ruled(step):
        style = "ft"
    elif style == "ft":
        style = "ft-in"
    if style == "ft":
        text = _decimals(mm, FOOT, _places(FOOT, step), kind, u95_mm)
        return f"{sign if Decimal(text) else ''}{text} ft"
    wide = Fraction(str(u95_mm or 0)) / 2
    step = next((wider for wider in (step, *_COARSER) if wider >= max(step, wide)), FOOT)
    length = _rounded(mm / step, kind) * step
    sign = sign if length else ""
    feet, rest = divmod(length, FOOT) if style == "ft-in" else (0, length)
    inches = fraction_text(rest / INCH)
    if step < INCH and _is_power(INCH / step, 10):
        inches = f"{Decimal(round(rest / step)).scaleb(-_places(INCH, step)):f}"
    return f"{sign}{feet}' {inches}\"" if style == "ft-in" else f"{sign}{inches} in"

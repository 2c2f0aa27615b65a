"""Lengths are said as they were read; the numbers are worked out apart, in exact fractions.

The inch is exactly 25.4 mm and the foot 304.8 mm: NIST Special Publication 811 (2008), appendix
B.8. The unit library pint holds the same numbers.
"""

from __future__ import annotations

import re
from fractions import Fraction

import pint
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._intake.lines.cells import number_text
from provenance._intake.values.units import read_length
from provenance._model.measures import (
    FEET_INCHES,
    FOOT,
    INCH,
    KINDS,
    METRIC,
    MM_PER,
    Measures,
    step_of_column,
)
from provenance._model.schema import read_core
from provenance._model.written import reading, step_of

US, SI = Measures(FEET_INCHES), Measures(METRIC)


def test_units_are_those_of_the_published_tables() -> None:
    units = pint.UnitRegistry(non_int_type=Fraction)
    names = {"in": "inch", "ft": "foot", "yd": "yard", "mm": "millimeter", "cm": "cm", "m": "meter"}
    for unit, mm in MM_PER.items():
        assert units.Quantity(Fraction(1), names[unit]).to("millimeter").magnitude == mm, unit
    assert (Fraction("25.4"), Fraction("304.8")) == (INCH, FOOT)


def test_lengths_are_said_as_crews_say_them() -> None:
    in_feet = {
        # what is stored, unit, kind, and the rest: as it is said
        ("28.8925", "cm", "diameter", None, None): "11 3/8 in",
        ("123.825", "mm", "core", None, None): "4 7/8 in",
        # one thirty-second of an inch is 0.79375 mm
        ("15.875", "mm", "bore", None, None): "5/8 in",
        ("15.9", "mm", "bore", None, None): "5/8 in",
        ("15.776", "mm", "bore", None, None): "5/8 in",
        ("14.2875", "mm", "bore", None, None): "9/16 in",
        ("15.1", "mm", "bore", None, None): "19/32 in",
        ("7.35965", "m", "timber", None, None): "24' 1 3/4\"",
        ("2.961", "m", "tape", None, None): "9' 8 5/8\"",
        # inches that round to twelve carry
        ("3.65759", "m", "timber", None, None): "12' 0\"",
        ("0.30479", "m", "timber", None, None): "1' 0\"",
        # zero has no sign, what is below zero has one
        ("-0.0001", "m", "timber", None, None): "0' 0\"",
        ("-0.1524", "m", "timber", None, None): "-0' 6\"",
        ("-0.0001", "m", "survey", None, None): "0.00 ft",
        ("-3.048", "m", "survey", None, None): "-10.00 ft",
        # read to tenths of a foot, to hundredths, to sixteenths, to tenths of an inch
        ("3.6576", "m", "timber", FOOT / 10, None): "12.0 ft",
        ("3.822192", "m", "tape", FOOT / 100, None): "12.54 ft",
        ("3.8227", "m", "survey", INCH / 16, None): "12' 6 1/2\"",
        ("2.1336", "m", "timber", FOOT, None): "7' 0\"",
        ("18.796", "cm", "diameter", INCH / 10, None): "7.4 in",
        ("1.7145", "cm", "diameter", INCH / 12, None): "2/3 in",
        # half of a range of 20 mm is more than a quarter of an inch, and less than a half
        ("3.8227", "m", "tape", INCH / 8, 20.0): "12' 6 1/2\"",
        ("3.8227", "m", "tape", INCH / 8, 12.6): "12' 6 1/2\"",
        ("3.8165", "m", "tape", INCH / 8, 12.6): "12' 6 1/4\"",
        ("3.8227", "m", "tape", INCH / 8, 2000.0): "13' 0\"",
        ("3.8227", "m", "survey", None, 20.0): "12.5 ft",
        # a range is never said smaller than it is
        ("0.0001", "m", "range", None, None): "1/8 in",
        ("0.0128", "m", "range", None, None): "1 in",
        ("0.0127", "m", "range", None, None): "1/2 in",
        # ring widths and national grids are metric everywhere
        ("1.234", "mm", "ring", None, None): "1.234 mm",
        ("5731234.79", "m", "map", None, None): "5731234.79 m",
    }
    for (value, unit, kind, step, u95), said in in_feet.items():
        assert US.say(value, unit, kind, step=step, u95_mm=u95) == said, (value, kind, step, u95)
    in_metric = {
        ("15.875", "mm", "bore", None, None): "15.9 mm",
        ("15.875", "mm", "bore", Fraction(1), None): "16 mm",
        ("28.8925", "cm", "diameter", None, None): "28.9 cm",
        ("28.8925", "cm", "diameter", INCH / 8, None): "28.9 cm",
        ("38", "cm", "diameter", Fraction(10), None): "38 cm",
        ("3.82", "m", "timber", None, None): "3.82 m",
        ("3.824", "m", "timber", Fraction(1), None): "3.824 m",
        ("-0.001", "m", "timber", None, None): "0.00 m",
        ("3.824", "m", "tape", None, 150.0): "3.8 m",
        ("3.824", "m", "tape", None, 9000.0): "4 m",
        ("0.0001", "m", "range", None, None): "1 mm",
        ("0.0101", "m", "range", None, None): "2 cm",
        ("1.2345", "mm", "ring", None, None): "1.234 mm",
    }
    for (value, unit, kind, step, u95), said in in_metric.items():
        assert SI.say(value, unit, kind, step=step, u95_mm=u95) == said, (value, kind, step, u95)
    assert US.say("15.875", "mm", "bore", other=True) == "5/8 in (15.9 mm)"
    assert SI.say("3.81", "m", "timber", other=True) == "3.81 m (12' 6\")"
    assert US.say("1.5", "mm", "ring", other=True) == "1.500 mm"


def test_every_length_of_the_record_is_of_a_kind_that_goes_with_its_unit() -> None:
    for table, one in read_core().every_field():
        # rows of corners, and lengths that are computed of pixels, are said by nobody
        lone = one.type == "number" and "pixel" not in one.name and table.name != "plan_fit"
        if one.unit in MM_PER and table.role in ("record", "derived") and lone:
            assert one.measure in KINDS, f"{table.name}.{one.name}"


def test_a_reading_is_known_again_with_the_unit_of_its_column() -> None:
    known = {
        # written, stored, unit: said with its unit, and the division in mm
        ("11 3/8", "28.8925", "cm"): ("11 3/8 in", INCH / 8),
        ("11⅜", "28.8925", "cm"): ("11⅜ in", INCH / 8),
        ("11.375", "28.8925", "cm"): ("11.375 in", INCH / 1000),
        ("5/8 in", "15.875", "mm"): ("5/8 in", INCH / 8),
        ("12' 6 1/2\"", "3.8227", "m"): ("12' 6 1/2\"", INCH / 2),
        ("12’  6½”", "3.8227", "m"): ("12’ 6½”", INCH / 2),
        ("12' 6", "3.81", "m"): ("12' 6", INCH),
        ("12-6 1/2", "3.8227", "m"): ("12' 6 1/2\"", INCH / 2),
        ("12 ft, 6 in.", "3.81", "m"): ("12 ft, 6 in.", INCH),
        ("9' 3/8\"", "2.752725", "m"): ("9' 3/8\"", INCH / 8),
        ("-0' 6\"", "-0.1524", "m"): ("-0' 6\"", INCH),
        ("12.54", "3.822192", "m"): ("12.54 ft", FOOT / 100),
        ("3,82 m", "3.82", "m"): ("3,82 m", Fraction(10)),
        ("1 m 20 cm", "1.2", "m"): ("1 m 20 cm", Fraction(10)),
        ("3.80", "3.8", "m"): ("3.80 m", Fraction(10)),
        ("1,234.5 mm", "1.2345", "m"): ("1,234.5 mm", Fraction(1, 10)),
    }
    for (written, value, unit), (text, step) in known.items():
        found = reading(written, value, unit)
        assert found is not None, written
        assert (found.text, found.step) == (text, step), written
    strange = (
        # another value; no number; ring counts; noise of a calculation; zero in any unit
        *(("11 3/8", "28.9"), ("about 5", "5"), ("", "5"), ("7 3/", "7.5"), ("5 in x 4 in", "5")),
        *(("3/0 in", "1"), ("11.33333333333 in", "28.7867"), ("0.0", "0"), ("5", "five")),
        *(("5 furlongs", "5"), ("6 in 5 ft", "167.64"), ("1" * 70, "1"), ("1.2.3", "1.23")),
    )
    for written, value in strange:
        assert reading(written, value, "cm") is None, written
    assert step_of("7'") == FOOT
    assert step_of("3.82", "m") == 10
    assert step_of("3.82") is None


def test_the_finest_reading_of_a_column_counts_in_the_units_of_the_record() -> None:
    def finest(system: str, *texts: str) -> Fraction | None:
        return step_of_column((step_of(text) or FOOT for text in texts), system)

    assert finest(FEET_INCHES, "12' 6 1/2\"", "9' 3/8\"", "7'") == INCH / 8
    # a metric tape, or tenths of a foot, among them are not what the crew's rule is divided into
    assert finest(FEET_INCHES, "12' 6 1/2\"", "3.824 m") == INCH / 2
    assert finest(FEET_INCHES, "12.5 ft", "12' 6\"") == INCH
    assert finest(FEET_INCHES, "12.5 ft", "12.54 ft") == FOOT / 100
    assert finest(FEET_INCHES, "3.82 m") is None
    assert finest(METRIC, "12' 6 1/2\"", "3.824 m", "38 cm") == 1
    assert finest(METRIC, "12' 6 1/2\"") is None


DIVISIONS = (2, 4, 8, 16, 32, 64)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 80), st.integers(0, 11), st.sampled_from(DIVISIONS), st.integers())
    ),
    st.lists(st.decimals("0.001", "99", places=3)),
    st.sampled_from(["m", "cm"]),
)
def test_what_is_read_and_stored_is_said_again_as_it_was_read(rule, tape, unit) -> None:
    read = []
    for feet, inches, under, over in rule:
        part = Fraction(over % under, under)
        fraction = f" {part.numerator}/{part.denominator}" if part else ""
        read.append((f"{feet}' {inches}{fraction}\"", feet * 12 + inches + part))
    for measures, column, size in (
        (US, [text.replace("' 0 ", "' ") for text, _ in read], INCH),
        (SI, [f"{number} {unit}" for number in tape], MM_PER[unit]),
    ):
        stored = [number_text(read_length(text, "ft-in", unit)) for text in column]
        found = [reading(text, value, unit) for text, value in zip(column, stored, strict=True)]
        assert all(one is not None for one in found)
        step = step_of_column((one.step for one in found if one), measures.system)
        exact = [inches for _, inches in read] if measures is US else map(Fraction, tape)
        for text, value, length in zip(column, stored, exact, strict=True):
            kind = "tape" if unit == "m" or measures is US else "diameter"
            said = measures.say(value, unit, kind, step=step)
            if measures is US:
                assert said == text, value
            assert _length_mm(said) == length * size, (said, text)


def _length_mm(said: str) -> Fraction:
    """A length as this program says it, read without its help."""
    if metric := re.fullmatch(r"([0-9.]+) (m|cm)", said):
        return Fraction(metric[1]) * {"m": 1000, "cm": 10}[metric[2]]
    feet, _, inches = said.rstrip('"').partition("' ")
    parts = [Fraction(part) for part in inches.split()]
    return Fraction("304.8") * int(feet) + Fraction("25.4") * sum(parts)

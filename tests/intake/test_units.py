"""Sizes, numbers, angles and clock positions as crews write them."""

from datetime import date, datetime, time
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._intake.values.directions import read_angle, read_clock
from provenance._intake.values.numerals import (
    RULE_DIVISIONS,
    read_boolean,
    read_integer,
    read_number,
)
from provenance._intake.values.units import (
    MM_PER,
    BareFraction,
    exact_length_mm,
    read_length,
    unit_in_heading,
    unit_named,
)


@pytest.mark.parametrize(
    ("unit", "metres"),
    [
        # NIST Special Publication 811 (2008), appendix B.8: exact factors (values from memory)
        ("in", "0.0254"),
        ("ft", "0.3048"),
        ("yd", "0.9144"),
    ],
)
def test_one_inch_foot_and_yard_are_the_exact_metric_lengths_of_1959(unit: str, metres: str):
    assert exact_length_mm("1", unit) == Fraction(metres) * 1000
    assert read_length(1, unit, "m") == float(metres)


@pytest.mark.parametrize(
    ("written", "millimetres"),
    [("1/2", 12.7), ("5/8", 15.875), ("7/8", 22.225), ("½", 12.7), ("⅝", 15.875), ("⅞", 22.225)],
)
def test_bores_in_inches_are_exact_in_millimetres(written: str, millimetres: float):
    """Usual bores; common practice, no source. The millimetres are 25.4 times the fraction."""
    assert read_length(written, "in", "mm") == millimetres


@pytest.mark.parametrize(
    ("written", "unit", "inches"),
    [
        ("7 3/8", "in", "7.375"),
        ("7-3/8", "in", "7.375"),
        ("7⅜", "in", "7.375"),
        ("7 ⅜", "in", "7.375"),
        ("7³⁄₈", "in", "7.375"),
        ("7 3⁄8", "in", "7.375"),
        ('7-3/8"', "cm", "7.375"),
        ("7 3/8”", "cm", "7.375"),
        ("7 3/8″", "cm", "7.375"),
        ("7 3/8''", "cm", "7.375"),
        ("7 3/8 in.", "cm", "7.375"),
        ("7.375 INCHES", "m", "7.375"),
        ("7,375,000", "in", "7375000"),
        (".5", "in", "0.5"),
        ("7.", "in", "7"),
        (7.375, "in", "7.375"),
        (Decimal("7.375"), "in", "7.375"),
        (0, "ft-in", "0"),
        ("12' 6 1/2\"", "ft-in", "150.5"),
        ("12′ 6½″", "ft-in", "150.5"),
        ("12’6½”", "m", "150.5"),
        ("12ft 6in", "m", "150"),
        ("12 ft. 6 in.", "m", "150"),
        ("12 ft, 6 in", "m", "150"),
        ("12 feet and 6 inches", "m", "150"),
        ("12' 6", "m", "150"),
        ("12-6", "ft-in", "150"),
        ("12-6 1/2", "ft-in", "150.5"),
        ("6'-0\"", "m", "72"),
        ("6' – 0\"", "m", "72"),
        ("6'-1/2\"", "m", "72.5"),
        ("1 ft.", "m", "12"),
        ("12.5'", "in", "150"),
        ("1 yd 2 ft 3 in", "m", "63"),
        ("12.5", "ft", "150"),
    ],
)
def test_feet_and_inches_are_read_as_written(written: Any, unit: str, inches: str):
    assert exact_length_mm(written, unit) == Fraction(inches) * Fraction("25.4")


@pytest.mark.parametrize(
    ("written", "unit", "millimetres"),
    [
        ("18.7", "cm", "187"),
        ("18,7", "cm", "187"),
        ("0,125", "m", "125"),
        ("18,75", "cm", "187.5"),
        ("1.234,5", "mm", "1234.5"),
        ("1,234.5", "mm", "1234.5"),
        ("187 mm", "in", "187"),
        ("18.7cm", "in", "187"),
        ("1.87 m.", "in", "1870"),
        ("1 m 20 cm", "in", "1200"),
        ("1\u00a0m", "in", "1000"),
        ("3 metres", "ft", "3000"),
    ],
)
def test_metric_sizes_are_read_and_the_cells_own_unit_wins(
    written: str, unit: str, millimetres: str
):
    assert exact_length_mm(written, unit) == Fraction(millimetres)


@pytest.mark.parametrize(
    ("written", "word"),
    [
        ("7 3/", "is not a size; write 7 3/8 or 7.375"),
        ("/8", "is not a size"),
        ("7 3/9", "not a division of a ruler"),
        ("7 3/0", "not a division of a ruler"),
        ("7 9/8", "one or more"),
        ("7 furlongs", "unknown unit 'furlongs'"),
        ("7..5", "is not a number"),
        ("1,234", "can be 1.234 or 1234"),
        ("12²", "is not a size"),
        ("seven", "is not a size"),
        ("", "is empty"),
        (None, "is empty"),
        ("   ", "is empty"),
        ("-7", "below zero"),
        (-7.0, "below zero"),
        ("−7", "below zero"),
        ("~7", "range or an estimate"),
        ("c. 7", "range or an estimate"),
        ("ca 7", "range or an estimate"),
        ("7?", "range or an estimate"),
        ("7+", "range or an estimate"),
        (">7", "range or an estimate"),
        ("7 ± 1", "range or an estimate"),
        ("7-8", "range or an estimate"),
        ("7–8 cm", "range or an estimate"),
        ("7 - 8", "range or an estimate"),
        ("7 to 8", "range or an estimate"),
        ("7 or 8", "range or an estimate"),
        ("5' 13\"", "more in than make one ft"),
        ("5.5' 3\"", "broken number of ft"),
        ("5' 3 cm", "is not a size"),
        ("1m20", "is not a size"),
        ("3\" 5'", "is not a size"),
        ("5' 3' 2\"", "is not a size"),
        (True, "yes or no"),
        (float("nan"), "not a number"),
        (float("inf"), "not a number"),
        (date(2024, 3, 8), "turned a size such as 3/8"),
        (datetime(2024, 3, 8), "turned a size such as 3/8"),
        (time(3, 8), "turned a size such as 3/8"),
        ("9" * 61, "longer than"),
        ("٧", "is not a size"),
    ],
)
def test_what_is_no_single_size_is_refused_with_what_to_write(written: Any, word: str):
    with pytest.raises(UnreadableValue, match=word):
        read_length(written, "in", "cm")


@pytest.mark.parametrize("written", ["12", "12 1/2", 12, "7-3/8", "12.5"])
def test_a_bare_number_in_a_column_of_feet_and_inches_is_refused(written: Any):
    with pytest.raises(UnreadableValue, match="does not say whether it is feet or inches"):
        read_length(written, "ft-in", "m")


def test_a_message_quotes_the_cell_and_says_what_to_do():
    with pytest.raises(UnreadableValue) as caught:
        read_length("7 3/", "in", "cm")
    assert str(caught.value).startswith('"7 3/" is not a size; write 7 3/8 or 7.375 (in)')
    assert caught.value.value == "7 3/"


def test_the_mappings_decimal_mark_settles_what_can_be_taken_two_ways():
    assert read_length("1,234", "m", "m", decimal=",") == 1.234
    assert read_length("1,234", "m", "m", decimal=".") == 1234
    assert read_length("1.234", "m", "m", decimal=",") == 1234
    with pytest.raises(UnreadableValue):
        read_length("7,5", "m", "m", decimal=".")


def test_below_zero_is_read_where_the_mapping_allows_it():
    assert read_length("-7 3/8", "in", "in", allow_negative=True) == -7.375
    assert read_length(-1.5, "m", "m", allow_negative=True) == -1.5


@pytest.mark.parametrize(("unit", "into"), [("furlong", "m"), ("in", "furlong"), ("in", "ft-in")])
def test_a_unit_that_does_not_exist_is_a_mistake_of_the_mapping(unit: str, into: str):
    with pytest.raises(UnusableInput, match="unknown"):
        read_length("7", unit, into)


NAMES = {"mm": "millimeter", "cm": "centimeter", "m": "meter", "in": "inch", "ft": "foot",
         "yd": "yard"}  # fmt: skip


@pytest.fixture(scope="module")
def registry() -> Any:
    pint = pytest.importorskip("pint")
    return pint.UnitRegistry(non_int_type=Decimal)


# --- laws -----------------------------------------------------------------------------------------

sixty_fourths = st.integers(0, 64 * 12 * 100)


def _as_written(count: int) -> str:
    """A number of sixty-fourths of an inch the way it is read off a rule."""
    inches = Fraction(count, 64)
    feet, rest = divmod(inches, 12)
    whole, part = divmod(rest, 1)
    fraction = f" {part.numerator}/{part.denominator}" if part else ""
    return f"{feet}' {whole}{fraction}\""


@given(sixty_fourths, st.sampled_from(["mm", "cm", "m"]))
def test_every_sixty_fourth_of_an_inch_can_be_told_from_the_stored_metric_value(
    count: int, into: str
):
    stored = read_length(_as_written(count), "ft-in", into)
    back = read_length(stored, into, "in", decimals=9)
    assert round(back * 64) == count
    assert abs(back * 64 - count) < 0.01


@given(st.decimals(0, 1000, places=3), st.sampled_from(["mm", "cm", "m", "in", "ft", "yd"]))
def test_a_plain_number_comes_back_unchanged_in_its_own_unit(number: Decimal, unit: str):
    assert read_length(f"{number:f}", unit, unit) == float(number)
    assert read_length(f"{number:f} {unit}", "cm", unit) == float(number)


@given(st.integers(0, 500), st.integers(1, 63), st.sampled_from(sorted(RULE_DIVISIONS)))
def test_all_ways_to_write_a_fraction_agree(whole: int, part: int, division: int):
    part %= division
    texts = [
        f"{whole} {part}/{division}",
        f'{whole}-{part}/{division}"',
        f"{whole}  {part}⁄{division} in",
    ]
    assert {exact_length_mm(text, "in") for text in texts} == {
        (whole + Fraction(part, division)) * Fraction("25.4")
    }


@given(st.integers(0, 500), st.integers(1, 63), st.sampled_from(sorted(RULE_DIVISIONS)),
       st.sampled_from(["mm", "cm", "m"]))  # fmt: skip
def test_a_fraction_without_a_unit_is_never_metric(whole: int, part: int, division: int, unit: str):
    """Rules and bits are divided so in inches alone (common practice, no source)."""
    part = part % division or 1
    texts = [f"{whole} {part}/{division}", f"{whole}-{part}/{division}", f"{part}⁄{division}"]
    for text in [*texts, f"{whole}½", "⅝"]:
        with pytest.raises(BareFraction, match=f"never taken for {unit}; write .* in, or"):
            read_length(text, unit, unit)
    # who writes the unit is taken at his word
    exact = whole + Fraction(part, division)
    assert exact_length_mm(f"{texts[0]} {unit}", "in") == exact * MM_PER[unit]


@settings(deadline=None)  # the first conversion builds that library's tables
@given(
    number=st.decimals(0, 10000, places=2),
    unit=st.sampled_from(["mm", "cm", "m", "in", "ft", "yd"]),
    into=st.sampled_from(["mm", "cm", "m", "in", "ft", "yd"]),
)
def test_an_independent_unit_library_converts_alike(
    registry: Any, number: Decimal, unit: str, into: str
):
    """pint (PyPI), with its own table of units, in decimal arithmetic."""
    expected = registry.Quantity(number, registry.parse_units(NAMES[unit])).to(NAMES[into])
    assert read_length(f"{number:f}", unit, into, decimals=12) == pytest.approx(
        float(expected.magnitude), rel=1e-12, abs=1e-12
    )


@given(st.text(alphabet="0123456789 /-.,'\"ftinmc½⅝~?x", max_size=12))
def test_any_text_is_a_size_or_refused_with_a_sentence(text: str):
    try:
        size = read_length(text, "in", "mm")
    except UnreadableValue as error:
        size, sentence = 0.0, str(error)
    else:
        sentence = "read"
    assert size >= 0
    assert sentence == "read" or len(sentence) > 20


@given(st.text(max_size=20))
def test_hostile_text_never_breaks_a_reader(text: str):
    for read in (read_number, read_integer, read_boolean, read_angle, read_clock):
        try:
            read(text)
        except UnreadableValue as error:
            assert str(error).startswith('"')  # noqa: PT017 - either outcome is right


# --- numbers, yes and no --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "number"),
    [("7 3/8", 7.375), ("-7,5", -7.5), ("+3", 3.0), ("½", 0.5), (3, 3.0), ("12,345,678", 12345678)],
)
def test_numbers_are_read_with_fractions_and_either_decimal_mark(written: Any, number: float):
    assert read_number(written) == number


@pytest.mark.parametrize("written", ["x", "--3", "+-3", "-", ".", "1,2,3", "7%", "", None, True,
                                     float("nan"), date(2024, 3, 8)])  # fmt: skip
def test_what_is_no_number_is_refused(written: Any):
    with pytest.raises(UnreadableValue):
        read_number(written)


def test_a_number_below_zero_is_refused_where_none_can_be():
    with pytest.raises(UnreadableValue, match="below zero"):
        read_number("-1", allow_negative=False)
    with pytest.raises(UnreadableValue, match="below zero"):
        read_integer(-1, allow_negative=False)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_cell_comes_back_to_the_last_digit(number: float):
    assert read_number(number) == number


@given(st.integers(-(10**12), 10**12))
def test_whole_numbers_come_back_from_text_and_from_number_cells(number: int):
    assert read_integer(str(number)) == read_integer(float(number)) == number


@pytest.mark.parametrize(
    "written", ["85+", "[85]", "(85?)", "80-90", "ca. 85", "about 85", "85 or 86"]
)
def test_a_number_or_angle_with_a_doubt_is_refused_and_says_where_the_doubt_goes(written: str):
    for read in (read_number, read_integer, read_angle, read_clock):
        with pytest.raises(UnreadableValue, match="put the doubt into the remarks"):
            read(written)


@pytest.mark.parametrize("written", ["12.5", 12.5, "½", "twelve", ""])
def test_what_is_no_whole_number_is_refused(written: Any):
    with pytest.raises(UnreadableValue):
        read_integer(written)


@pytest.mark.parametrize(
    "written", ["yes", "Y", "TRUE", "x", "X", "✓", "✔", "☑", 1, 1.0, True, "1"]
)
def test_ticks_and_crosses_of_a_form_mean_yes(written: Any):
    assert read_boolean(written) is True


@pytest.mark.parametrize("written", ["no", "N", "false", "☐", 0, False, "0", " No "])
def test_these_mean_no(written: Any):
    assert read_boolean(written) is False


@pytest.mark.parametrize("written", ["", None, "maybe", 2, "✗", "☒", "yes?"])
def test_what_is_neither_yes_nor_no_is_refused(written: Any):
    with pytest.raises(UnreadableValue):
        read_boolean(written)


def test_the_mappings_own_words_go_first():
    assert read_boolean("Ja", yes=["ja"], no=["nein"]) is True
    assert read_boolean("x", no=["x"]) is False
    assert read_boolean("✗", no=["✗"]) is False


# --- angles ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "degrees"),
    [
        # quadrant bearings against azimuths: common practice of surveyors, no source
        ("N 35 E", 35),
        ("S 35 E", 145),
        ("S 35 W", 215),
        ("N 35 W", 325),
        ("n35°e", 35),
        ("N 35° 30' E", 35.5),
        ("north 35 east", 35),
        ("N 0 W", 0),
        ("N 90 W", 270),
        ("N", 0),
        ("due west", 270),
        ("NNW", 337.5),
        ("south-east", 135),
        ("35", 35),
        ("35.5°", 35.5),
        ("35º", 35),
        ("35 deg", 35),
        ("35° 30′", 35.5),
        ("35°30′36″", 35.51),
        (35.25, 35.25),
        ("360", 360),
    ],
)
def test_bearings_are_clockwise_from_north(written: Any, degrees: float):
    assert read_angle(written) == degrees


@pytest.mark.parametrize(
    "written",
    ["", "N 95 E", "400", "-5", "N 35", "E 35 N", "35° 75'", "35.5° 30'", "up", date(2024, 3, 8)],
)
def test_what_is_no_bearing_is_refused(written: Any):
    with pytest.raises(UnreadableValue):
        read_angle(written)


def test_a_dip_below_the_horizon_is_read_where_the_mapping_allows_it():
    assert read_angle("-12.5", lowest=-90, highest=90) == -12.5


@given(st.integers(0, 360 * 3600 - 1))
def test_degrees_minutes_and_seconds_are_read_to_the_second(seconds: int):
    minutes, second = divmod(seconds, 60)
    degree, minute = divmod(minutes, 60)
    assert round(read_angle(f"{degree}° {minute}' {second}\"") * 3600) == seconds


# --- clock face -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "hours"),
    [
        ("3", 3),
        (3, 3),
        (3.5, 3.5),
        ("3:30", 3.5),
        ("3h30", 3.5),
        ("3 o'clock", 3),
        ("3 o’clock", 3),
        ("2 1/2 o'clock", 2.5),
        ("1½", 1.5),
        ("½", 0.5),
        ("3,5", 3.5),
        ("12", 12),
        ("0", 0),
        ("0:20", 0.333333),
        (time(3, 30), 3.5),
        (time(0, 0), 0),
    ],
)
def test_clock_positions_become_hours(written: Any, hours: float):
    assert read_clock(written) == hours


@pytest.mark.parametrize(
    "written",
    [
        "",
        None,
        "13",
        12.5,
        "-1",
        "3:75",
        "3.30",
        "3,15",
        "noon",
        time(15, 0),
        date(2024, 3, 1),
        True,
    ],
)
def test_what_is_on_no_clock_face_is_refused(written: Any):
    with pytest.raises(UnreadableValue):
        read_clock(written)


@given(st.integers(0, 12 * 60))
def test_every_minute_of_the_clock_face_is_told_apart(minutes: int):
    hour, minute = divmod(minutes, 60)
    assert round(read_clock(f"{hour}:{minute:02}") * 60) == minutes


@pytest.mark.parametrize(
    ("into", "finest", "finer"),
    [
        ("mm", "0.001", "0.0004"),
        ("cm", "0.0001", "0.00004"),
        ("m", "0.000001", "0.0000004"),
        ("in", "0.00001", "0.000004"),
        ("ft", "0.000001", "0.0000004"),
        ("yd", "0.000001", "0.0000004"),
    ],
)
def test_a_length_is_kept_to_a_thousandth_of_a_millimetre_and_no_finer(
    into: str, finest: str, finer: str
):
    assert read_length(finest, into, into) == float(finest)
    assert read_length(finer, into, into) == 0


@pytest.mark.parametrize(
    ("written", "unit", "millimetres"),
    [
        ("5' 11 63/64\"", "ft", 1828.403),
        ("1 m 99.9 cm", "m", 1999.0),
        ("1 cm 9.9 mm", "m", 19.9),
        ("2 yd 2 ft 11 in", "m", 2717.8),
    ],
)
def test_the_smaller_unit_stays_below_one_of_the_larger(
    written: str, unit: str, millimetres: float
):
    """1 in is exactly 25.4 mm: 71 63/64 in are 1828.403125 mm."""
    assert read_length(written, unit, "mm") == millimetres


@pytest.mark.parametrize("written", ["5' 12\"", "1 m 100 cm", "1 cm 10 mm", "2 yd 3 ft"])
def test_as_much_of_the_smaller_unit_as_makes_one_of_the_larger_is_refused(written: str):
    with pytest.raises(UnreadableValue, match="make one"):
        read_length(written, "m", "mm")


@pytest.mark.parametrize("written", ["-0", "0", "-0.0", 0, -0.0])
def test_nothing_is_not_below_zero(written: Any):
    assert str(read_length(written, "in", "mm")) == "0.0"


def test_the_mapping_may_ask_for_fewer_decimals():
    assert read_length("7 3/8", "in", "cm", decimals=1) == 18.7
    assert read_length("7 3/8", "in", "cm", decimals=0) == 19.0


def test_the_unit_that_a_cell_or_a_heading_names() -> None:
    named = {
        "(cm)": "cm",
        "[in.]": "in",
        "Feet & inches": "ft-in",
        "ft-in": "ft-in",
        "in-ft": "",
        "inches, feet": "",
        "yes/no": "",
        "": "",
    }
    assert {text: unit_named(text) for text in named} == named
    headings = {"Length (ft)": "ft", "Dia A [in] *": "in", "Rings (count)": "", "Length ft": ""}
    assert {text: unit_in_heading(text) for text in headings} == headings

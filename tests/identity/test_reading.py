"""What a worn stamp could have been."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.wear import answers, simulate_readings
from provenance._base.errors import UnreadableValue
from provenance._identity.reading import (
    CHARACTERS,
    READ,
    Reading,
    Way,
    for_pages,
    likelihoods,
    parse_reading,
    read_wear,
    stranger_likelihood,
)
from provenance._identity.rotation import turned

WEAR = read_wear()
STAMPS = [str(number) for number in range(101, 401)]


def weigh(stamps, reading: str, **options) -> np.ndarray:
    return likelihoods(stamps, parse_reading(reading), WEAR, **options).sum(0)


def best(reading: str, stamps=STAMPS, **options) -> str:
    return stamps[int(weigh(stamps, reading, **options).argmax())]


def chances(reading: str, stamps=STAMPS) -> tuple[dict[str, float], float]:
    """Probability of each stamp and of none, all plugs of one state."""
    each = 0.95 / len(stamps) * weigh(stamps, reading)
    none = 0.05 * stranger_likelihood(parse_reading(reading), WEAR)
    total = each.sum() + none
    return dict(zip(stamps, each / total, strict=True)), none / total


def test_upside_down_it_fits_the_turned_stamp() -> None:
    assert best("691", ["169", "231", "311"], upright=False) == "169"
    assert turned("169") == "691"


def test_a_sure_reader_rules_the_turned_stamp_out() -> None:
    assert weigh(["169"], "691", upright=True)[0] < weigh(["169"], "691")[0] / 50


def test_letters_that_look_like_digits_are_read_as_these() -> None:
    """Upside down a 7 looks like L, a 3 like E, a 4 like h: plain to see on any sans-serif type."""
    for reading, stamp in (
        ("2O7", "207"),
        ("L0E", "307"),
        ("23I", "231"),
        ("2l2", "212"),
        ("30S", "305"),
        ("L0Z", "207"),
        ("ZO9", "209"),
        ("60Z", "209"),
        ("hEI", "134"),
        ("2-07", "207"),
        ("2.15", "215"),
    ):
        assert best(reading) == stamp, reading
    assert best("A12", ["112", "A12", "412", "A21"]) == "A12"
    assert best("a12", ["112", "A12", "412", "A21"]) == "A12"
    # nobody reads an A on a plug of digits, but for plugs of another record
    assert chances("A12")[1] > 0.4 > chances("207")[1] * 10


def test_an_orientation_mark_speaks_against_upside_down() -> None:
    both = ["169", "169"]
    without, with_mark = weigh(both, "691", marked=[False, True])
    assert with_mark < without / 5
    for reading, first in (("66.", "66"), (".99", "66"), ("99.", "99"), (".66", "99")):
        stamps = ["66", "99"]
        weights = weigh(stamps, reading, marked=[True, True])
        assert stamps[int(weights.argmax())] == first, reading
        assert weights.max() > 5 * weights.min(), reading


def test_an_unreadable_digit_leaves_all_that_fit_around_it() -> None:
    stamps = [f"2{digit}1" for digit in range(10)] + ["345"]
    weights = weigh(stamps, "2?1")
    assert weights[-1] < min(weights[:-1]) / 10


def test_a_choice_of_digits_favours_those() -> None:
    weights = dict(zip(STAMPS, weigh(STAMPS, "2[38]1"), strict=True))
    assert min(weights["231"], weights["281"]) > weights["271"] * 5


def test_a_gap_may_hide_any_number_of_digits() -> None:
    for reading, fit, unfit in (
        ("2..", ["2", "23", "231", "2317"], "117"),
        ("..31", ["31", "231", "5231"], "118"),
        ("2..7", ["27", "207", "217", "2337"], "811"),
    ):
        weights = weigh([*fit, unfit], reading, upright=True)
        assert all(weights[:-1] > weights[-1] * 5), reading
    unbroken = weigh(["2", "231"], "2", upright=True)
    broken = weigh(["2", "231"], "2..", upright=True)
    assert broken[1] / broken[0] > 100 * unbroken[1] / unbroken[0]


def test_digits_exchanged_are_an_unlikely_slip() -> None:
    stamps = ["270", "207", "538"]
    weights = weigh(stamps, "270", upright=True)
    assert weights[0] > 20 * weights[1] > 100 * weights[2]
    assert parse_reading("270").exchanged == ("720", "207")
    assert parse_reading("2?0").exchanged == parse_reading("2..0").exchanged == ()


def test_either_or_counts_both() -> None:
    weights = weigh(["6", "8", "4"], "6 or 8", upright=True)
    assert weights[0] > 10 * weights[2]
    assert weights[1] > 10 * weights[2]


@pytest.mark.parametrize(
    "text", ["", "  ", "2[", "[]1", "[/]1", "a/b", "..", ".", "-", "2€1", "1" * 41]
)
def test_a_faulty_reading_is_answered_with_how_to_write_one(text) -> None:
    with pytest.raises(UnreadableValue, match="write"):
        parse_reading(text)


@given(st.text(max_size=50) | st.text("0123456789?[]./,|- orOIlLE…_A", max_size=50))
def test_any_text_is_a_reading_or_refused(text: str) -> None:
    try:
        reading = parse_reading(text)
    except UnreadableValue:
        return
    found = likelihoods(["231", "A12", "9"], reading, WEAR, marked=[True, False, False])
    assert np.isfinite(found).all()
    assert ((found >= 0) & (found <= 1)).all()
    assert 0 <= stranger_likelihood(reading, WEAR) <= 1


@given(
    st.lists(st.from_regex(r"[A-Z]{0,2}[1-9][0-9]{0,3}", fullmatch=True), min_size=1, unique=True)
)
def test_no_other_stamp_outdoes_one_that_is_read_as_it_stands(stamps: list[str]) -> None:
    """Also not one that reads so upside down, as 99 does beside 66."""
    for stamp in stamps[:2]:
        other = [one for one in (turned(stamp),) if one]
        weights = weigh([stamp, *stamps, *STAMPS, *other], stamp)
        assert weights[0] == weights.max(), stamp


def test_the_chances_of_all_readings_of_a_stamp_add_up() -> None:
    """A place that may be any character sums over all of them; likewise all lengths."""
    for stamp in ("7", "231", "A12", "2317"):
        every = [Reading("", (Way((READ,) * length),)) for length in range(1, 12)]
        total = sum(float(likelihoods([stamp], one, WEAR).sum()) for one in every)
        assert 0.95 < total <= 0.98 + 1e-3, stamp  # the rest has an imagined dot, or is empty


def test_every_row_of_the_wear_model_is_a_share() -> None:
    for level in WEAR.levels:
        for table in (level.upright, level.turned, WEAR.nothing[None]):
            assert table.sum(1) == pytest.approx(1, abs=5e-5)
            assert (table >= 0).all()
    assert sum(level.plugs for level in WEAR.levels) == pytest.approx(1)
    assert sum(WEAR.settings["strangers"].values()) == pytest.approx(1)


def test_the_pages_get_the_rows_that_they_need_and_no_more() -> None:
    plugs, upright, shares = for_pages(WEAR, set("A12€"))["levels"][0]
    assert plugs == WEAR.levels[0].plugs
    assert set(upright) == set(shares) == {*"0123456789A", "d", "a"}
    assert shares["A"] == WEAR.levels[0].turned[CHARACTERS.index("A")].tolist()


def test_stamps_of_other_signs_count_as_unfit() -> None:
    assert np.array_equal(weigh(["2/1", ""], "21"), [0, 0])


def test_what_is_stated_of_readings_in_another_font_is_right_as_often() -> None:
    """A small run of benchmarks/wear.py, whose simulation shares no table with the model."""
    stamps = STAMPS[::3]
    found = answers(stamps, simulate_readings(stamps, 120, 11, severity=(0.1, 1.6)))
    stated, first = (
        np.array([getattr(one, name) for one in found]) for name in ("stated", "first")
    )
    for some in (stated < 0.4, stated >= 0.4):
        assert first[some].mean() == pytest.approx(stated[some].mean(), abs=0.15)
    assert np.mean([one.third for one in found if not one.strange]) > 0.35
    none, strange = (
        np.array([getattr(one, name) for one in found]) for name in ("none", "strange")
    )
    assert none.mean() == pytest.approx(strange.mean(), abs=0.05)
    assert none[strange].mean() > 2 * none[~strange].mean()

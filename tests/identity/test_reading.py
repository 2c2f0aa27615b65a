"""What a worn stamp could have been."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import UnreadableValue
from provenance._identity.reading import likelihoods, parse_reading, read_wear
from provenance._identity.rotation import turned

WEAR = read_wear()
STAMPS = [str(number) for number in range(100, 400)]


def best(reading: str, stamps=STAMPS, **options) -> str:
    return stamps[int(likelihoods(stamps, parse_reading(reading), WEAR, **options).argmax())]


def test_a_clear_reading_fits_its_own_stamp_best() -> None:
    assert best("231") == "231"


def test_upside_down_it_fits_the_turned_stamp() -> None:
    assert best("691", ["169", "231", "311"], upright=False) == "169"
    assert turned("169") == "691"


def test_a_sure_reader_rules_the_turned_stamp_out() -> None:
    plain = likelihoods(["169"], parse_reading("691"), WEAR)[0]
    sure = likelihoods(["169"], parse_reading("691"), WEAR, upright=True)[0]
    assert sure < plain / 100


def test_an_orientation_mark_speaks_against_upside_down() -> None:
    without, with_mark = likelihoods(
        ["169", "169"], parse_reading("691"), WEAR, marked=[False, True]
    )
    assert with_mark < without / 5


def test_an_unreadable_digit_leaves_all_that_fit_around_it() -> None:
    stamps = [f"2{digit}1" for digit in range(10)] + ["345"]
    weights = likelihoods(stamps, parse_reading("2?1"), WEAR)
    assert weights[-1] < min(weights[:-1]) / 10


def test_a_choice_of_digits_favours_those() -> None:
    weights = dict(zip(STAMPS, likelihoods(STAMPS, parse_reading("2[38]1"), WEAR), strict=True))
    assert min(weights["231"], weights["281"]) > weights["271"] * 5


def test_a_broken_end_may_hide_any_number_of_digits() -> None:
    stamps = ["2", "23", "231", "2317", "117"]
    weights = likelihoods(stamps, parse_reading("2.."), WEAR, upright=True)
    assert all(weights[:4] > weights[4] * 10)
    unbroken = likelihoods(stamps, parse_reading("2"), WEAR, upright=True)
    assert weights[2] / weights[0] > 100 * unbroken[2] / unbroken[0]


def test_either_or_counts_both() -> None:
    weights = likelihoods(["6", "8", "4"], parse_reading("6 or 8"), WEAR, upright=True)
    assert weights[0] > 10 * weights[2]
    assert weights[1] > 10 * weights[2]


@pytest.mark.parametrize("text", ["", "  ", "2-31", "2[", "[]1", "a/b", "..", "2€1"])
def test_a_faulty_reading_is_answered_with_how_to_write_one(text) -> None:
    with pytest.raises(UnreadableValue, match="write"):
        parse_reading(text)


@given(
    st.text("0123456789", min_size=1, max_size=6), st.text("0123456789?", min_size=1, max_size=6)
)
def test_no_reading_is_impossible_and_none_more_than_certain(stamp, reading) -> None:
    chance = likelihoods([stamp], parse_reading(reading), WEAR)[0]
    assert 0 <= chance <= 1.0000001
    if len(stamp) == len(reading):
        assert chance > 0


def test_the_chances_of_all_readings_of_a_stamp_add_up() -> None:
    """Over every reading of up to 4 places the shares of one struck digit sum to nearly one."""
    readings = ["?", *"0123456789"]
    two = [a + b for a in readings for b in readings]
    total = sum(
        float(likelihoods(["7"], parse_reading(r), WEAR, upright=True)[0]) for r in readings + two
    )
    assert total == pytest.approx(1, abs=0.02)


def test_every_row_of_the_wear_model_is_a_share() -> None:
    for table in (WEAR.upright, WEAR.turned):
        for struck, row in table.items():
            assert sum(row.values()) == pytest.approx(1, abs=0.01), struck


def test_stamps_of_other_signs_count_as_unfit() -> None:
    assert np.array_equal(likelihoods(["2/1", ""], parse_reading("21"), WEAR), [0, 0])

"""Stamps seen upside down."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._identity.rotation import (
    HALF_TURN,
    ambiguous_with,
    is_marked,
    mark_orientation,
    reads_alike,
    turned,
)

stamps = st.text("0123456789ABHIMNOSWXZ", min_size=1, max_size=5)

# strobogrammatic numbers below 1,000: sequence A000787 of the On-Line Encyclopedia of Integer
# Sequences (values from memory)
SAME_UPSIDE_DOWN = [
    0, 1, 8, 11, 69, 88, 96, 101, 111, 181, 609, 619, 689, 808, 818, 888, 906, 916, 986,
]  # fmt: skip


def test_numbers_that_look_the_same_upside_down_are_those_published():
    found = [number for number in range(1000) if turned(str(number)) == str(number)]
    assert found == SAME_UPSIDE_DOWN


@pytest.mark.parametrize(
    ("stamp", "reading"),
    [("6", "9"), ("68", "89"), ("86", "98"), ("66", "99"), ("16", "91"), ("WOW", "MOM")],
)
def test_a_turned_stamp_reads_as_another(stamp: str, reading: str):
    assert turned(stamp) == reading
    assert reads_alike(stamp, reading)
    assert ambiguous_with(stamp, {"12", reading}) == reading


@pytest.mark.parametrize("stamp", ["12", "231", "A1", "", "66.", "6?"])
def test_a_stamp_that_reads_as_nothing_upside_down_is_ambiguous_with_none(stamp: str):
    assert turned(stamp) is None
    assert ambiguous_with(stamp, {"12", "66", "99"}) is None


@given(stamps)
def test_turning_twice_gives_the_stamp_back(stamp: str):
    once = turned(stamp)
    assert once is None or turned(once) == stamp


@given(stamps, stamps)
def test_reading_alike_goes_both_ways(one: str, other: str):
    assert reads_alike(one, other) == reads_alike(other, one)


@given(stamps, st.sets(stamps))
def test_ambiguity_is_a_different_stamp_that_reads_alike(stamp: str, used: set[str]):
    other = ambiguous_with(stamp, used)
    expected = {one for one in used if one != stamp and reads_alike(stamp, one)}
    assert ({other} if other is not None else set()) == expected


@pytest.mark.parametrize("stamp", ["1", "69", "88", "101"])
def test_a_stamp_that_is_its_own_rotation_is_no_ambiguity(stamp: str):
    assert ambiguous_with(stamp, {stamp}) is None


@given(stamps)
def test_an_orientation_mark_ends_all_ambiguity(stamp: str):
    marked = mark_orientation(stamp)
    assert is_marked(marked)
    assert mark_orientation(marked) == marked
    assert turned(marked) is None


def test_the_table_turns_a_whole_column_the_same_way():
    """Translate and reverse, as a columnar check does it, agrees with one stamp at a time."""
    table = str.maketrans(dict(HALF_TURN))
    for number in range(2000):
        stamp = str(number)
        if set(stamp) <= set(HALF_TURN):
            assert stamp.translate(table)[::-1] == turned(stamp)


def test_the_table_is_its_own_inverse():
    assert all(HALF_TURN[HALF_TURN[character]] == character for character in HALF_TURN)

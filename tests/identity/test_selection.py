"""Selections of samples as people write them."""

import pytest

from provenance._base.errors import TreenailError
from provenance._identity.selection import select_samples

KNOWN = ["201", "202", "204", "260", "N7", "N9", "M8"]


@pytest.mark.parametrize(
    ("selection", "chosen"),
    [
        ("204", ["204"]),
        ("201-204", ["201", "202", "204"]),
        ("260,201-202, 201", ["260", "201", "202"]),
        ("n7-n9", ["N7", "N9"]),
        ("all", ["201", "202", "204", "260", "M8", "N7", "N9"]),
    ],
)
def test_numbers_and_ranges_are_taken_in_their_order(selection, chosen) -> None:
    assert select_samples(KNOWN, selection) == chosen


@pytest.mark.parametrize(
    ("selection", "says"),
    [
        ("203", "no sample '203'"),
        ("300-310", "'300-310'"),
        ("204-201", "backwards"),
        (" , ", "selects no sample"),
        ("abc", "no sample 'ABC'"),
    ],
)
def test_a_part_that_selects_nothing_is_named(selection, says) -> None:
    with pytest.raises(TreenailError, match=says):
        select_samples(KNOWN, selection)

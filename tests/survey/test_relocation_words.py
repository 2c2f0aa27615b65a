"""Words of the relocation sheet for clock positions and slopes."""

from __future__ import annotations

import pytest

from provenance._survey.relocation_facts import clock_words, slope_words


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (0.0, "12 o'clock"),
        (12.0, "12 o'clock"),
        (1.0, "1 o'clock"),
        (11.0, "11 o'clock"),
        (3.009, "3 o'clock"),
        (3.02, "3:01 on the clock"),
        (3.25, "3:15 on the clock"),
        (3.495, "half past 3"),
        (3.505, "half past 3"),
        (3.52, "3:31 on the clock"),
        (12.5, "half past 12"),
    ],
)
def test_a_clock_position_is_said_as_people_say_it(hours: float, words: str) -> None:
    assert clock_words(hours) == words


@pytest.mark.parametrize(
    ("degrees", "words"),
    [
        (0, "level"),
        (1.9, "level"),
        (-1.9, "level"),
        (2, "2° upwards"),
        (-2, "2° downwards"),
        (85, "85° upwards"),
        (-85, "85° downwards"),
        (85.1, "straight up"),
        (-85.1, "straight down"),
    ],
)
def test_a_slope_is_said_as_people_say_it(degrees: float, words: str) -> None:
    assert slope_words(degrees) == words

"""Withheld values inside open texts: found in any spelling, and plain words left alone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._bundle.redaction.masking import WITHHELD, Masker, WithheldValues, squeezed


def a_masker() -> Masker:
    values = WithheldValues(
        phrases={"Hollin Reach", "Zoë Farrowgill", "OOB-2023-11", "post", "Nail", "梁木", "Ива"},
        names={"Tove", "Room", "Ива"},
        codes={"TQ": "person-1", "A": "person-2"},
        latitudes={51.47391},
        longitudes={-1.28376},
        metres={451234.5, 5731234.7},
        numbers={1871.93},
    )
    return Masker(values, trade_words=["post", "room"])


@pytest.mark.parametrize(
    ("text", "masked"),
    [
        ("at hollin_reach", "at [withheld]"),
        ("HOLLIN-REACH, north", "[withheld], north"),
        ("HollinReach2023", "[withheld]2023"),
        ("ZOE FARROWGILL said so", "[withheld] said so"),
        ("permit OOB 2023 11", "permit [withheld]"),
        ("Tove drilled", "[withheld] drilled"),
        ("昨日梁木取樣", "昨日[withheld]取樣"),
        ("ИВА сказала", "[withheld] сказала"),
        ("TQ/MB and TQ's tape", "person-1/MB and person-1's tape"),
        ("51.474 is near", "[withheld] is near"),
        ("51,47391", "[withheld]"),
        ("5.147391e1", "[withheld]"),
        ("lat51.47391N", "lat[withheld]N"),
        ("51°28'26\" N", "[withheld]"),
        ("51 28 26 N", "[withheld]"),
        ("51:28:26", "[withheld]"),
        ("1,51.47391,-1.28376", "1,[withheld]"),
        ("grid 451300 5731300", "grid [withheld]"),
        ("bench mark 1871.93", "bench mark [withheld]"),
        ("write to a@b.example.org", "write to [withheld]"),
        ("call +44 123 456 7890", "call [withheld]"),
        ("seal " + "ab" * 32, "seal [withheld]"),
    ],
)
def test_a_withheld_value_is_found_in_another_spelling(text: str, masked: str) -> None:
    assert a_masker().mask(text) == masked


@pytest.mark.parametrize(
    "text",
    [
        "a plumb post in room 4",
        "Room 4, post 2",
        "nail, knee high",
        "TQ-014 and STQ",
        "the tove of it",
        "beam A",
        "hole 1.28 m above the floor",
        "felled 1871, 51 rings, 28 of sapwood",
        "2024-06-03",
        "12 7/8 by 3 1/2",
    ],
)
def test_plain_words_and_sizes_are_left_alone(text: str) -> None:
    assert a_masker().mask(text) == text


@pytest.mark.parametrize(
    "line", ["1745 0208 0185 51 28 26", "1.234 1.284 0.915", "451234", "1871 451 5731"]
)
def test_rows_of_ring_widths_are_no_positions_and_no_telephone_numbers(line: str) -> None:
    assert a_masker().is_clean_file([line])


@pytest.mark.parametrize(
    "lines",
    [
        ["51.47391 -1.28376"],
        ["1,51.47391,-1.28376"],
        ["451230.1;5731230.2"],
        ["measured by Tove"],
        ["measured at Hollin", "Reach in June"],
    ],
)
def test_a_text_file_with_a_position_or_a_name_is_not_clean(lines: list[str]) -> None:
    assert not a_masker().is_clean_file(lines)


@given(st.text(max_size=60), st.text(max_size=60))
def test_a_long_name_is_never_left_whatever_stands_round_it(before: str, after: str) -> None:
    masked = a_masker().mask(f"{before}Hollin Reach{after}")
    assert "hollinreach" not in squeezed(masked.replace(WITHHELD, "\n\n").split("\n\n")[0])
    assert WITHHELD in masked


@given(st.text(max_size=80))
def test_masking_twice_is_masking_once(text: str) -> None:
    once = a_masker().mask(text)
    assert a_masker().mask(once) == once

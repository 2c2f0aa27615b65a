"""Withheld values inside open texts: found in any spelling, and plain words left alone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._bundle.redaction.masking import WITHHELD, Masker, WithheldValues, masker_for
from provenance._disclosure.flat import letters_of
from provenance._disclosure.numbers import WithheldNumber


def a_masker() -> Masker:
    values = WithheldValues(
        phrases={"Hollin Reach", "Zoë Farrowgill", "OOB-2023-11", "post", "Nail", "梁木", "Ива"},
        names={"Tove", "Room", "Ива"},
        codes={"TQ": "person-1", "A": "person-2"},
        latitudes={51.47391},
        longitudes={-1.28376},
        metres={451234.5, 5731234.7},
        numbers={WithheldNumber("1871.93")},
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
        ("lat51.47391N", "lat[withheld]"),
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
    assert "hollinreach" not in letters_of(masked.replace(WITHHELD, "\n\n").split("\n\n")[0])
    assert WITHHELD in masked


@given(st.text(max_size=80))
def test_masking_twice_is_masking_once(text: str) -> None:
    once = a_masker().mask(text)
    assert a_masker().mask(once) == once


EDGES = WithheldValues(
    phrases={"Rill", "Elm", "Birkwood", "Farrows", "木", "林野", "2023", "20231", "Oak 7"},
    codes={"MB": "person-1", "Q": "person-2"},
    latitudes={51.47391},
    longitudes={-1.28376},
    metres={461234.5, 12000.5},
    numbers={WithheldNumber(one) for one in ("18.71", "1.87", "1870", "1.871e-7")},
)


@pytest.mark.parametrize(
    ("inside", "outside"),
    [
        # four letters are looked for as they were written, three are not
        ("at Rill", "at rill"),
        ("at RILL", "at Elm"),
        # eight letters count within a longer word, seven do not
        ("in Birkwoodside", "in Farrowside"),
        ("of Farrows", "of Farrowson"),
        # two ideographs are a name, one is a word
        ("在林野中", "在木中"),
        # five figures are a number of something, four may be a year
        ("file 20231", "file 2023"),
        # one half alone must come within a kilometre, with its letter within some seven
        ("at 51.481", "at 51.482"),
        ("at N 51.535", "at N 51.537"),
        ("at 51.47", "at 51.46"),
        # small numbers are met everywhere
        ("at 1.2838", "at 1.28"),
        # a number with a unit is a size up to three decimals
        ("51.4739 m", "51.474 m"),
        ("51.474 max", "51.474m"),
        # a map figure has five digits
        ("grid 461900", "grid 461950"),
        ("grid 12001", "grid 1200"),
        # four figures are hardly met by chance
        ("mark 18.71", "mark 1.87"),
        ("mark 1.871e-7", "mark 1870"),
        # minutes and seconds: 51.4739 degrees are 51 degrees 28 minutes 26 seconds
        ("51:28:21", "51:28:15"),
        ("51:28:26", "51:28"),
        ("51°29", "51°32"),
        ("51°28", "51°"),
        ("51 28 26", "51 28"),
        ("at 1 17 02 north", "at 1 17 north"),
        ("MB said", "Q said"),
    ],
)
def test_what_is_withheld_ends_where_it_says(inside: str, outside: str) -> None:
    masker = Masker(EDGES)
    assert masker.mask(inside) != inside
    assert masker.mask(outside) == outside


@pytest.mark.parametrize(
    ("position", "widths"),
    [
        ("51.55 1.30", "51.56 1.32"),
        ("51.47 1.28", "51 1.28"),
        ("51.47391 1.28376", "51.47391 0.97132"),
        ("461230 12000.5", "461230 51"),
        ("0208 18.71 0185", "0208 1.87 0185"),
    ],
)
def test_a_row_of_measurements_is_a_position_when_both_halves_are_near(
    position: str, widths: str
) -> None:
    masker = Masker(EDGES)
    assert not masker.is_clean_file(["ring widths", position])
    assert masker.is_clean_file(["ring widths", widths])


def test_a_whole_number_in_a_row_of_measurements_is_a_width() -> None:
    masker = Masker(WithheldValues(numbers={WithheldNumber("1871"), WithheldNumber("18.71")}))
    assert masker.is_clean_file(["0208 1871 0185"])
    assert not masker.is_clean_file(["0208 18.71 0185"])


@pytest.mark.parametrize("seal", ["ab" * 32, "12" * 32])
def test_a_seal_is_withheld_where_nothing_else_stands(seal: str) -> None:
    masker = Masker(WithheldValues())
    assert masker.mask(seal) == WITHHELD
    assert masker.mask(seal[:-1]) == seal[:-1]


def test_withheld_words_side_by_side_become_one() -> None:
    masker = Masker(EDGES)
    assert masker.mask("by Birkwood Birkwood, Rill") == "by [withheld], [withheld]"
    assert masker.mask("Birkwood or Rill") == "[withheld] or [withheld]"


def test_by_the_equator_small_numbers_are_met_everywhere() -> None:
    masker = Masker(WithheldValues(latitudes={0.0}, longitudes={36.81945}))
    assert masker.mask("0.0000 36.8194") == WITHHELD
    sizes = "0.150 of 0.1 and 0:09:00, 0.001, 0.0000"
    assert masker.mask(sizes) == sizes


def test_every_hit_has_its_words_and_stands_where_it_says() -> None:
    text = "at Hollin Reach, 51.474 N: TQ, a@b.example.org, mark 1871.93"
    hits = a_masker().hits([text, "a plumb post"])
    assert hits[1] == []
    assert [(text[one.start : one.end], one.what) for one in hits[0]] == [
        ("Hollin Reach", "a text that is withheld"),
        ("51.474 N", "latitude near a withheld place"),
        ("TQ", "the code of someone not named"),
        ("a@b.example.org", "an e-mail address"),
        ("1871.93", "a number that is withheld"),
    ]


def test_one_masker_is_kept_for_the_same_values_and_for_no_others() -> None:
    """What it found before is found again, whoever changed what they were given."""
    words = frozenset({"post"}), frozenset({"oak"})
    masker = masker_for(WithheldValues(names={"Tove"}, codes={"TQ": "person-1"}), *words)
    assert masker_for(WithheldValues(names={"Tove"}, codes={"TQ": "person-1"}), *words) is masker
    masker.hits(["Tove drilled"])[0].clear()
    assert masker.mask("Tove drilled") == "[withheld] drilled"
    for others in (
        WithheldValues(people={"Tove"}, codes={"TQ": "person-1"}),
        WithheldValues(names={"Tove"}, codes={"TQ": "person-2"}),
        WithheldValues(names={"Tove"}, codes={"TQ": "person-1"}, metres={451234.5}),
    ):
        assert masker_for(others, *words) is not masker
    assert masker_for(WithheldValues(), *words).mask("Tove drilled") == "Tove drilled"

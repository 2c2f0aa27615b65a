"""The laboratory's own notation, read again and held against the columns; estimates of sapwood."""

from __future__ import annotations

from tests.checks.rules.record import Record, a_sound_record, only

DIFFERS = "result.notation_differs"


def result(**values: str) -> Record:
    return a_sound_record().but("lab_result", **values)


def test_a_year_entered_ten_years_beside_the_notation_is_an_error_that_names_both() -> None:
    only(result(outer_year="1791").says(DIFFERS), "outer_year", "'1702p - 1781B' says 1781", "1791")
    only(result(inner_symbol="±p").says(DIFFERS), "inner_symbol", "says p", "says ±p")
    only(result(outer_symbol="").but("lab_result", outcome="undated").says(DIFFERS), "outcome")
    # another spelling, another order and a column that nobody filled differ from nothing
    same = result(notation="AD 1702 p to 1781 B, r", outer_symbol="r; B", inner_year="")
    assert same.says(DIFFERS) == []


def test_a_notation_that_cannot_be_read_is_named_as_not_compared() -> None:
    broken = result(notation="1702p - 1781Q")
    only(broken.says("result.notation_unread"), "'Q' at the outside year")
    assert broken.says(DIFFERS) == []


def test_heartwood_and_sapwood_lie_side_by_side() -> None:
    rule = "result.heartwood_does_not_fit_sapwood"
    assert result(sapwood_count="12", heartwood_year="1769").says(rule) == []
    only(result(sapwood_count="12", heartwood_year="1770").says(rule), "1769", "1770")


def test_an_estimate_of_sapwood_needs_its_source_and_fits_the_sample() -> None:
    estimate = {"sapwood_least": "9", "sapwood_most": "41", "sapwood_count": "12"}
    source = {"estimate_source": "Oak of Northfold (invented)"}
    without, beyond = "result.sapwood_estimate_without_source", "result.sapwood_beyond_estimate"
    only(result(**estimate).says(without), "9 to 41", "not applied")
    sound = result(**estimate, **source)
    assert sound.says(without) == sound.says(beyond) == []
    only(sound.but("lab_result", sapwood_count="42").says(beyond), "42", "9 to 41")
    only(sound.but("lab_result", sapwood_least="50").says(beyond), "50 to 41")


def test_a_range_of_felling_that_is_open_is_a_date() -> None:
    rule = "result.dated_without_year"
    assert result(outer_year="", felled_from_year="1720").says(rule) == []
    assert result(outer_year="", felled_to_year="1745").says(rule) == []

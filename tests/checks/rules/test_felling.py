"""Fellings that must be one: of a piece of wood, and of the pieces of a tree."""

from __future__ import annotations

from tests.checks.rules.record import Record, a_sound_record, only


def two_pieces(**second: str) -> Record:
    """Wood B1-014 (cutting date 1781) and B1-015, whose result has these values."""
    return (
        a_sound_record()
        .with_row("element", element_id="B1-015", same_tree_element_id="B1-014")
        .with_row("sample", sample_id="232", element_id="B1-015")
        .with_row("lab_result", result_id="R-2", sample_id="232", **second)
    )


def two_samples(**second: str) -> Record:
    return two_pieces(**second).but("sample", "232", element_id="B1-014")


def test_samples_of_one_piece_leave_a_common_year_of_felling() -> None:
    rule = "felling.samples_at_odds"
    later = two_samples(outer_year="1790", outer_symbol="vv")
    only(later.says(rule), "outer_year", "231 and 232", "felled in 1790 or later", "B1-014",
         "felled between 1781 and 1782")  # fmt: skip
    before = two_samples(outer_year="", outer_symbol="", felled_to_year="1760", inner_year="")
    only(before.says(rule), "232 and 231", "felled in 1760 or earlier")
    assert two_samples(outer_year="1779", outer_symbol="vv").says(rule) == []
    # two cutting dates are for result.cutting_dates_differ
    assert two_samples(outer_year="1785").says(rule) == []
    # another laboratory's later result takes the place of the first one
    replaced = later.with_row("lab_result", result_id="R-3", sample_id="232", outer_year="1779",
                              outer_symbol="vv", supersedes_result_id="R-2")  # fmt: skip
    assert replaced.says(rule) == []


def test_pieces_of_one_tree_leave_a_common_year_of_felling() -> None:
    rule = "felling.tree_at_odds"
    broken = two_pieces(outer_year="1790", outer_symbol="vv")
    only(broken.says(rule), "B1-014 and B1-015", "felled in 1790 or later",
         "felled between 1781 and 1782")  # fmt: skip
    assert two_pieces(outer_year="1779", outer_symbol="vv").says(rule) == []
    # by the word of the laboratory too
    alone = broken.but("element", "B1-015", same_tree_element_id="")
    assert alone.says(rule) == []
    only(alone.but("lab_result", "R-2", same_tree_sample_id="231").says(rule), "B1-014 and B1-015")
    # samples that disagree on their own are named as such, and say nothing of the tree
    unsure = broken.with_row("sample", sample_id="233", element_id="B1-015").with_row(
        "lab_result", result_id="R-3", sample_id="233", outer_year="", outer_symbol="",
        inner_year="", felled_to_year="1760",
    )  # fmt: skip
    assert unsure.says(rule) == []


def test_pieces_of_one_tree_are_of_one_species() -> None:
    rule = "felling.tree_of_two_species"
    only(two_pieces(species="QUSP").says(rule), "B1-014 and B1-015", "PIPO", "QUSP")
    # the genus agrees with the species, and the laboratory's word stands before that of the crew
    assert two_pieces(species="PISP").says(rule) == []
    assert two_pieces().but("element", "B1-015", species_field="QUSP").says(rule) == []
    by_field = two_pieces(species="").but("element", "B1-015", species_field="QUSP")
    only(by_field.says(rule), "QUSP")

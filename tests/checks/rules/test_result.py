"""Results: whose they are, what they replace, when they came."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import Record, a_sound_record, only
from tests.checks.rules.test_custody import after, then


def second_result(**values: str) -> Record:
    return a_sound_record().with_row("lab_result", **{"result_id": "R-2"} | values)


def revised(**values: str) -> Record:
    return second_result(**{"revision": "2", "supersedes_result_id": "R-1"} | values)


def test_a_result_cannot_be_reported_before_its_sample_was_taken() -> None:
    broken = a_sound_record().but("lab_result", reported_on="2024-06-03")
    only(broken.says("result.before_sample"), "lab_result 2 reported_on", "231", "2024-06-04")


def test_a_result_cannot_be_reported_before_the_sample_came_to_the_laboratory() -> None:
    broken = a_sound_record().but("lab_result", reported_on="2024-06-10")
    only(broken.says("result.before_arrival"), "reached LAB only on 2024-06-16")


def test_a_result_from_a_laboratory_that_never_had_the_sample_is_reported() -> None:
    broken = a_sound_record().but("lab_result", laboratory_id="REPO")
    only(broken.says("result.never_sent"), "REPO", "no transfer of sample 231")


def test_a_sample_without_any_custody_is_not_reported_twice() -> None:
    assert a_sound_record().without("custody").says("result.never_sent") == []


def test_a_result_of_a_lost_sample_is_an_error() -> None:
    lost = after("lost", "2024-08-01")
    only(lost.says("result.of_a_lost_sample"), "R-1", "lost on 2024-08-01")
    assert after("lost", "2025-08-01").says("result.of_a_lost_sample") == []
    missing = a_sound_record().but("custody", "4", state="missing")
    only(missing.says("result.of_a_lost_sample"), "missing on 2024-06-20")


def test_two_results_that_both_hold_are_reported() -> None:
    only(second_result().says("result.two_live"), "lab_result 3", "R-1 and R-2", "231")


def test_a_revision_that_supersedes_the_first_result_is_sound() -> None:
    for rule in ("two_live", "supersedes_itself", "revision_not_rising", "superseded_twice"):
        assert revised().says(f"result.{rule}") == []


def test_another_method_may_hold_beside_the_first() -> None:
    assert second_result(method="radiocarbon").says("result.two_live") == []


def test_results_that_supersede_each_other_in_a_circle_are_an_error() -> None:
    circle = revised().but("lab_result", "R-1", supersedes_result_id="R-2")
    assert len(circle.says("result.supersedes_itself")) == 2


def test_a_result_supersedes_one_of_the_same_sample() -> None:
    broken = revised(sample_id="232")
    only(broken.says("result.supersedes_another_sample"), "R-2 of sample 232", "sample 231")


@pytest.mark.parametrize("revision", ["1", "0"])
def test_revisions_count_upwards(revision: str) -> None:
    broken = revised(revision=revision)
    only(broken.says("result.revision_not_rising"), f"revision {revision}", "revision 1.")


def test_a_revision_names_what_it_supersedes() -> None:
    broken = revised(supersedes_result_id="")
    only(broken.says("result.revision_of_nothing"), "R-2", "revision 2")


def test_a_result_is_superseded_once() -> None:
    forked = revised().with_row("lab_result", result_id="R-3", supersedes_result_id="R-1")
    only(forked.says("result.superseded_twice"), "R-2 and R-3 both supersede R-1")


def test_a_dated_result_has_a_year() -> None:
    broken = a_sound_record().but("lab_result", outer_year="")
    only(broken.says("result.dated_without_year"), "outer_year", "'dated'")


def test_a_radiocarbon_date_may_be_a_felling_range_only() -> None:
    range_only = a_sound_record().but(
        "lab_result", outer_year="", felled_from_year="1400", felled_to_year="1440"
    )
    assert range_only.says("result.dated_without_year") == []


@pytest.mark.parametrize("outcome", ["undated", "not_measured", "pending", "species_only"])
def test_a_result_that_is_not_dated_gives_no_years(outcome: str) -> None:
    broken = a_sound_record().but("lab_result", outcome=outcome)
    only(broken.says("result.undated_with_year"), "outcome", outcome, "1702 to 1781")


def test_an_undated_result_says_why() -> None:
    broken = a_sound_record().but("lab_result", outcome="undated")
    only(broken.says("result.undated_without_reason"), "undated_reason", "R-1")


def test_a_crossdate_names_its_reference() -> None:
    broken = a_sound_record().but("lab_result", reference_chronology="")
    only(broken.says("result.no_reference_named"), "R-1")


def test_results_come_from_laboratories() -> None:
    broken = a_sound_record().but("party", "LAB", roles="owner; carrier")
    only(broken.says("result.laboratory_without_role"), "LAB")
    analyst = a_sound_record().but("party", "LAB", roles="carrier; analyst")
    assert analyst.says("result.laboratory_without_role") == []


def test_a_laboratory_number_is_of_one_sample() -> None:
    broken = second_result(sample_id="232", lab_number="X-9").but(
        "lab_result", "R-1", lab_number="X-9"
    )
    only(broken.says("result.laboratory_number_twice"), "X-9", "sample 232", "sample 231")


def test_another_genus_than_in_the_field_is_a_warning() -> None:
    """ITRDB: PIPO is Pinus ponderosa, PCEN Picea engelmannii."""
    broken = a_sound_record().but("lab_result", species="PCEN")
    only(broken.says("result.genus_differs"), "as PCEN", "is PIPO")
    assert broken.says("result.species_differs") == []


def test_another_species_of_the_same_genus_is_a_note() -> None:
    """ITRDB: PIED is Pinus edulis."""
    broken = a_sound_record().but("lab_result", species="PIED")
    only(broken.says("result.species_differs"), "PIED", "PIPO")
    assert broken.says("result.genus_differs") == []


def test_a_genus_named_as_a_whole_agrees_with_its_species() -> None:
    """ITRDB: PISP is any pine."""
    sound = a_sound_record().but("sample", species_field="PISP")
    assert sound.says("result.species_differs") == sound.says("result.genus_differs") == []


def test_the_species_of_the_wood_stands_in_where_the_sample_has_none() -> None:
    broken = a_sound_record().but("sample", species_field="").but("element", species_field="QUSP")
    only(broken.says("result.genus_differs"), "QUSP")


@pytest.mark.parametrize(
    ("rule", "day", "told"),
    [
        ("result.before_sample", "2024-06-04", False),
        ("result.before_arrival", "2024-06-16", False),
        ("result.before_arrival", "2024-06-15", True),
        ("result.of_a_lost_sample", "2024-08-01", False),
        ("result.of_a_lost_sample", "2024-08-02", True),
    ],
)
def test_a_report_of_the_same_day_is_in_order(rule: str, day: str, told: bool) -> None:
    lost = after("lost", "2024-08-01").but("lab_result", reported_on=day)
    assert bool(lost.says(rule)) is told


def test_a_first_result_supersedes_nothing() -> None:
    assert a_sound_record().says("result.revision_of_nothing") == []
    unsaid = a_sound_record().but("lab_result", revision="")
    assert unsaid.says("result.revision_of_nothing") == []


def test_a_lost_sample_that_was_found_may_be_examined() -> None:
    found = then(after("lost", "2024-08-01"), "found", "2024-08-15")
    assert found.says("result.of_a_lost_sample") == []
    missing = a_sound_record().but("custody", "4", state="missing")
    again = then(missing, "found", "2024-07-01", state="missing")
    assert again.says("result.of_a_lost_sample") == []


@pytest.mark.parametrize("values", [{"outcome": "tentative"}, {"method": "radiocarbon"}])
def test_a_reference_is_asked_of_firm_crossdates_only(values: dict[str, str]) -> None:
    unnamed = a_sound_record().but("lab_result", reference_chronology="", **values)
    assert unnamed.says("result.no_reference_named") == []

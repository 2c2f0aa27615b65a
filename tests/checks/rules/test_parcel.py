"""Parcels to laboratories and stores."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import Record, a_sound_record, only


def unreported() -> Record:
    """The sound record with its result still to come, seen from the end of 2024."""
    record = a_sound_record().but("lab_result", outcome="pending", reported_on="2024-12-31")
    return record.but("consignment", due_on="2024-11-30")


def test_a_parcel_cannot_be_received_before_it_was_sent() -> None:
    broken = a_sound_record().but("consignment", received_on="2024-06-10")
    only(broken.says("parcel.received_before_sent"), "consignment 2 received_on", "2024-06-10")


def test_a_parcel_cannot_be_sent_before_it_was_packed() -> None:
    broken = a_sound_record().but("consignment", sent_on="2024-06-14")
    only(broken.says("parcel.sent_before_packed"), "2024-06-14", "2024-06-15")


def test_a_parcel_cannot_be_packed_before_its_samples_were_taken() -> None:
    broken = a_sound_record().but("consignment", packed_on="2024-06-03")
    only(broken.says("parcel.packed_before_its_samples"), "C-1", "sample 231", "2024-06-04")


def test_a_parcel_goes_to_somebody_else() -> None:
    broken = a_sound_record().but("consignment", to_party_id="MB")
    only(broken.says("parcel.to_oneself"), "to_party_id", "C-1", "MB")


def test_the_count_of_a_parcel_is_the_number_of_its_samples() -> None:
    broken = a_sound_record().but("consignment", sample_count="2")
    only(broken.says("parcel.count_differs"), "sample_count", "declares 2 samples", "has 1 in it")


def test_a_parcel_without_samples_is_reported() -> None:
    broken = a_sound_record().but("custody", "2", consignment_id="")
    only(broken.says("parcel.empty"), "C-1")
    assert broken.says("parcel.count_differs") == []


def test_a_parcel_whose_answer_is_overdue_is_noted() -> None:
    only(unreported().says("parcel.overdue"), "due_on", "C-1", "2024-11-30", "without a result: 1")


def test_a_parcel_that_was_answered_is_not_overdue() -> None:
    answered = unreported().but("lab_result", outcome="undated")
    assert answered.says("parcel.overdue") == []


def test_an_answer_is_not_overdue_while_the_record_ends_before_its_day() -> None:
    """The newest day in the record stands for today, so that every check says the same."""
    early = unreported().but("consignment", due_on="2025-01-31")
    assert early.says("parcel.overdue") == []


def test_a_parcel_nobody_acknowledged_for_two_months_is_reported() -> None:
    silent = a_sound_record().but("consignment", received_on="").but("custody", "4", event="stored")
    only(silent.says("parcel.no_receipt"), "received_on", "C-1", "LAB", "2024-06-16")


def test_an_event_received_with_the_parcels_number_is_a_receipt() -> None:
    silent = a_sound_record().but("consignment", received_on="")
    assert silent.but("custody", "4", consignment_id="C-1").says("parcel.no_receipt") == []


def test_a_result_cannot_be_reported_before_its_parcel_arrived() -> None:
    broken = a_sound_record().but("lab_result", reported_on="2024-06-19")
    only(broken.says("parcel.result_before_receipt"), "lab_result 2", "R-1", "2024-06-20")


def test_a_result_comes_from_where_its_parcel_went() -> None:
    broken = a_sound_record().but("consignment", to_party_id="REPO")
    only(broken.says("parcel.to_another_laboratory"), "R-1 is by LAB", "went to REPO")


@pytest.mark.parametrize(
    ("rule", "table", "field", "day"),
    [
        ("received_before_sent", "consignment", "received_on", "2024-06-16"),
        ("sent_before_packed", "consignment", "sent_on", "2024-06-15"),
        ("packed_before_its_samples", "consignment", "packed_on", "2024-06-04"),
        ("result_before_receipt", "lab_result", "reported_on", "2024-06-20"),
    ],
)
def test_what_happens_on_one_day_is_in_order(rule: str, table: str, field: str, day: str) -> None:
    assert a_sound_record().but(table, **{field: day}).says(f"parcel.{rule}") == []


def test_the_newest_sample_of_a_parcel_counts() -> None:
    more = a_sound_record().with_row("sample", sample_id="232", collected_on="2024-06-16")
    packed = {"event": "packed", "happened_on": "2024-06-15", "consignment_id": "C-1"}
    more = more.with_bare_row("custody", custody_id="5", sample_id="232", **packed)
    only(more.says("parcel.packed_before_its_samples"), "sample 232", "2024-06-16")


@pytest.mark.parametrize(("due", "told"), [("2024-12-31", False), ("2024-12-30", True)])
def test_an_answer_is_overdue_from_the_day_after(due: str, told: bool) -> None:
    assert bool(unreported().but("consignment", due_on=due).says("parcel.overdue")) is told


def test_an_answer_is_hoped_for_only_from_a_laboratory() -> None:
    assert unreported().but("consignment", purpose="storage").says("parcel.overdue") == []


@pytest.mark.parametrize(("today", "told"), [("2024-08-15", False), ("2024-08-16", True)])
def test_a_parcel_may_be_on_its_way_for_sixty_days(today: str, told: bool) -> None:
    """Sent on 16 June: 14 days of June, 31 of July and 15 of August are sixty."""
    silent = a_sound_record().but("consignment", received_on="").but("custody", "4", event="stored")
    silent = silent.but("lab_result", reported_on=today)
    assert bool(silent.says("parcel.no_receipt")) is told

"""The ledger of who had a sample."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import Record, a_sound_record, only

CUSTODY_RULES = ("custody.giver_does_not_have_it", "custody.two_holders")


def then(record: Record, event: str, day: str, **values: str) -> Record:
    """The record with one more event of sample 231 (or of nothing, with sample_id='')."""
    number = len(record.rows["custody"]) + 1
    more = {"event": event, "happened_on": day, "sample_id": "231"} | values
    return record.with_bare_row("custody", custody_id=number, **more)


def after(event: str, day: str, **values: str) -> Record:
    """The sound record, which ends with sample 231 at the laboratory, and one more event."""
    return then(a_sound_record(), event, day, **values)


def test_a_sample_without_custody_is_reported() -> None:
    broken = a_sound_record().with_row("sample", sample_id="232")
    only(broken.says("custody.none"), "sample 3 sample_id", "232")


def test_an_image_needs_no_custody() -> None:
    sound = a_sound_record().with_row("sample", sample_id="232", kind="image")
    assert sound.says("custody.none") == []


def test_an_event_of_neither_sample_nor_parcel_is_an_error() -> None:
    broken = after("stored", "2024-07-01", sample_id="")
    only(broken.says("custody.about_nothing"), "custody 6", "Event 5 (stored, 2024-07-01)")


def test_an_event_of_nothing_that_was_corrected_is_settled() -> None:
    wrong = after("stored", "2024-07-01", sample_id="")
    settled = then(wrong, "corrected", "2024-07-02", corrects_custody_id="5")
    assert settled.says("custody.about_nothing") == []


def test_the_first_event_is_collected() -> None:
    broken = a_sound_record().but("custody", "1", event="stored")
    only(broken.says("custody.first_is_not_collected"), "custody 2 event", "'stored'")


def test_a_sample_is_collected_once() -> None:
    broken = after("collected", "2024-07-01", to_party_id="MB")
    only(broken.says("custody.collected_twice"), "custody 6", "event 5")


@pytest.mark.parametrize(
    ("number", "field", "did"),
    [("1", "to_party_id", "has it afterwards"), ("3", "from_party_id", "gave it")],
)
def test_events_that_move_a_sample_name_who(number: str, field: str, did: str) -> None:
    broken = a_sound_record().but("custody", number, **{field: ""})
    only(broken.says("custody.party_missing"), f"custody {int(number) + 1} {field}", did)


def test_a_giver_who_never_had_the_sample_is_a_gap_in_the_chain() -> None:
    broken = after("handed_over", "2024-07-01", from_party_id="OWN", to_party_id="REPO")
    only(broken.says("custody.giver_does_not_have_it"), "from_party_id", "LAB held it", "OWN never")
    assert broken.says("custody.two_holders") == []


def test_who_hands_to_himself_what_another_has_did_not_have_it_before() -> None:
    broken = after("handed_over", "2024-07-01", from_party_id="OWN", to_party_id="OWN")
    only(broken.says("custody.giver_does_not_have_it"), "from_party_id", "OWN never")


def test_a_sample_given_away_twice_has_two_holders() -> None:
    broken = after("handed_over", "2024-07-01", from_party_id="MB", to_party_id="REPO")
    only(broken.says("custody.two_holders"), "MB gave it away earlier", "LAB has it")
    assert broken.says("custody.giver_does_not_have_it") == []


def test_a_receipt_that_names_the_sender_fits_the_handing_over_before() -> None:
    sound = a_sound_record().but("custody", "4", from_party_id="MB")
    assert [sound.says(rule) for rule in CUSTODY_RULES] == [[], []]


def test_a_sample_that_comes_back_and_goes_again_is_sound() -> None:
    back = after("returned", "2024-09-01", from_party_id="LAB", to_party_id="MB")
    again = then(back, "handed_over", "2024-10-01", from_party_id="MB", to_party_id="REPO")
    assert [again.says(rule) for rule in CUSTODY_RULES] == [[], []]


def test_after_an_event_that_names_no_taker_nobody_is_accused() -> None:
    unknown = a_sound_record().but("custody", "4", to_party_id="")
    given = then(unknown, "handed_over", "2024-10-01", from_party_id="OWN", to_party_id="REPO")
    assert [given.says(rule) for rule in CUSTODY_RULES] == [[], []]


def test_a_sample_received_by_another_than_it_was_sent_to_is_an_error() -> None:
    broken = a_sound_record().but("custody", "4", to_party_id="REPO")
    only(broken.says("custody.received_by_another"), "on its way to LAB", "REPO received it")


def test_nobody_gives_a_sample_to_himself() -> None:
    broken = a_sound_record().but("custody", "3", to_party_id="MB")
    only(broken.says("custody.given_to_oneself"), "custody 4", "from MB to itself")


def test_events_stand_in_the_order_in_which_they_happened() -> None:
    broken = a_sound_record().but("custody", "3", happened_on="2024-06-14")
    only(broken.says("custody.out_of_order"), "custody 4 happened_on", "2024-06-14")


def test_events_of_one_day_and_of_uncertain_days_are_in_order() -> None:
    """EDTF: 2024-06 may be any day of June."""
    sound = a_sound_record().but("custody", "3", happened_on="2024-06")
    assert sound.says("custody.out_of_order") == []
    timed = a_sound_record().but("custody", "1", happened_on="2024-06-15T18:00:00Z")
    assert timed.says("custody.out_of_order") == []


def test_a_corrected_event_no_longer_counts_and_its_correction_stands_in_its_place() -> None:
    broken = a_sound_record().but("custody", "3", to_party_id="OWN")
    assert broken.says("custody.received_by_another") != []
    right = {"from_party_id": "MB", "to_party_id": "LAB"}
    mended = then(broken, "handed_over", "2024-06-16", corrects_custody_id="3", **right)
    for rule in (*CUSTODY_RULES, "custody.received_by_another", "custody.out_of_order"):
        assert mended.says(rule) == []


def test_a_correction_that_was_corrected_stands_where_the_first_event_stood() -> None:
    wrong = {"from_party_id": "MB", "to_party_id": "OWN"}
    first = then(a_sound_record(), "handed_over", "2024-06-16", corrects_custody_id="3", **wrong)
    assert first.says("custody.received_by_another") != []
    right = {"from_party_id": "MB", "to_party_id": "LAB"}
    second = then(first, "handed_over", "2024-06-16", corrects_custody_id="5", **right)
    for rule in (*CUSTODY_RULES, "custody.received_by_another", "custody.out_of_order"):
        assert second.says(rule) == []


def test_an_event_that_was_struck_out_no_longer_counts() -> None:
    twice = after("collected", "2024-07-01", to_party_id="MB")
    struck = then(twice, "corrected", "2024-07-02", corrects_custody_id="5")
    assert struck.says("custody.collected_twice") == []


def test_no_event_happens_before_the_sample_is_taken() -> None:
    broken = a_sound_record().but("custody", "1", happened_on="2024-06-03")
    only(broken.says("custody.before_the_sample"), "custody 2", "2024-06-03", "2024-06-04")


def test_ledger_and_sample_agree_on_the_day_of_collection() -> None:
    broken = a_sound_record().but("custody", "1", happened_on="2024-06-05")
    only(broken.says("custody.collected_on_another_day"), "2024-06-05", "2024-06-04")


def test_nothing_happens_to_a_sample_after_it_was_destroyed() -> None:
    broken = then(after("destroyed", "2024-08-01"), "stored", "2024-09-01", place_held="Box 1")
    only(broken.says("custody.after_destruction"), "custody 7 event", "stored")


def test_a_lost_sample_is_found_before_it_moves() -> None:
    lost = after("lost", "2024-08-01")
    given = {"from_party_id": "LAB", "to_party_id": "REPO"}
    only(
        then(lost, "handed_over", "2024-09-01", **given).says("custody.moved_while_lost"),
        "Event 6 (handed_over, 2024-09-01)",
    )
    found = then(lost, "found", "2024-08-15")
    assert then(found, "handed_over", "2024-09-01", **given).says("custody.moved_while_lost") == []


def test_a_sample_that_is_missing_at_last_count_is_reported() -> None:
    broken = a_sound_record().but("custody", "4", state="missing")
    only(broken.says("custody.missing_now"), "custody 5 state", "231")
    found = then(broken, "found", "2024-07-01", state="present")
    assert found.says("custody.missing_now") == []


def test_a_store_has_a_shelf() -> None:
    only(after("stored", "2024-07-01").says("custody.stored_nowhere"), "custody 6 place_held")


def test_a_correction_names_an_earlier_event() -> None:
    only(after("corrected", "2024-07-01").says("custody.corrects_nothing"), "of no event")
    later = after("corrected", "2024-07-01", corrects_custody_id="9")
    only(later.says("custody.corrects_nothing"), "of event 9, which is not earlier")


def test_a_correction_is_about_the_sample_of_the_corrected_event() -> None:
    broken = after("corrected", "2024-07-01", sample_id="232", corrects_custody_id="4")
    only(broken.says("custody.corrects_another_sample"), "sample 232", "event 4", "sample 231")


def test_a_loan_has_an_end() -> None:
    """The ledger's own newest day stands for today."""
    lent = after("loaned", "2024-07-01", to_party_id="OWN", loan_due_on="2026-09-30")
    assert lent.says("custody.loan_overdue") == []
    later = then(lent, "stored", "2026-10-01", sample_id="", consignment_id="C-9")
    only(later.says("custody.loan_overdue"), "custody 6 loan_due_on", "OWN", "2026-09-30")
    only(then(later, "lost", "2026-10-02").says("custody.loan_overdue"), "231")
    for end in (
        ("taken_back", {"to_party_id": "LAB"}),
        ("destroyed", {"notes": "burned (invented)"}),
        ("deaccessioned", {"notes": "no use (invented)"}),
    ):
        ended = then(later, end[0], "2026-10-02", **end[1])
        assert ended.says("custody.loan_overdue") == [], end
    back = then(lent, "taken_back", "2024-09-01", to_party_id="LAB")
    for rule in (*CUSTODY_RULES, "custody.given_to_oneself", "custody.party_missing"):
        assert back.says(rule) == [], rule


def test_what_uses_up_a_sample_was_granted_or_has_a_reason() -> None:
    asked = after("requested", "2024-07-01", to_party_id="LAB", reference="R1", notes="dating")
    granted = then(asked, "decided", "2024-07-02", reference="R1", request_decision="granted")
    refused = then(asked, "decided", "2024-07-02", reference="R1", request_decision="refused")
    rule = "custody.destroyed_without_decision"
    day = "2024-07-03"
    assert then(granted, "destroyed", day, reference="R1").says(rule) == []
    assert then(asked, "destroyed", day, notes="burned (invented)").says(rule) == []
    for record in (asked, refused):
        only(
            then(record, "destroyed", day, reference="R1").says(rule), "request R1 was not granted"
        )
    only(then(granted, "destroyed", day).says(rule), "neither request nor reason")
    only(then(granted, "destroyed", day, reference="R2").says(rule), "request R2 was not granted")


def test_a_part_and_a_sample_found_in_the_store_begin_without_being_collected() -> None:
    whole = a_sound_record().with_row("sample", sample_id="231A", parent_sample_id="231")
    rules = ("custody.first_is_not_collected", "custody.giver_does_not_have_it", "custody.none")
    part = {"sample_id": "231A", "parent_sample_id": "231", "to_party_id": "LAB"}
    cut = then(whole, "sub_sampled", "2024-07-01", **part)
    gone = then(
        cut, "loaned", "2024-07-02", **part | {"from_party_id": "LAB", "to_party_id": "OWN"}
    )
    found = then(whole, "found_in_collection", "2024-07-01", sample_id="231A", to_party_id="LAB")
    for rule in rules:
        assert gone.says(rule) == [], rule
        assert found.says(rule) == [], rule


def parcel_event(record: Record, event: str, day: str, **values: str) -> Record:
    return then(record, event, day, sample_id="", consignment_id="C-1", **values)


def test_an_event_of_a_parcel_counts_for_every_sample_in_it() -> None:
    broken = parcel_event(
        a_sound_record(), "handed_over", "2024-07-01", from_party_id="OWN", to_party_id="REPO"
    )
    only(broken.says("custody.giver_does_not_have_it"), "custody 6", "sample 231", "LAB held it")


def test_what_is_said_of_the_sample_itself_is_not_counted_again_for_its_parcel() -> None:
    both = parcel_event(
        a_sound_record(), "handed_over", "2024-06-16", from_party_id="MB", to_party_id="LAB"
    )
    assert [both.says(rule) for rule in CUSTODY_RULES] == [[], []]


def test_a_parcel_with_a_hundred_events_of_its_own_is_not_followed() -> None:
    record = a_sound_record()
    for _ in range(101):
        record = parcel_event(record, "stored", "2024-07-01", place_held="Box 1")
    only(record.says("parcel.with_many_events"), "C-1", "101 events")


def test_a_parcel_with_a_hundred_events_is_followed() -> None:
    record = a_sound_record()
    for _ in range(100):
        record = parcel_event(record, "stored", "2024-07-01", place_held="Box 1")
    assert record.says("parcel.with_many_events") == []


@pytest.mark.parametrize(
    ("rule", "number", "day"),
    [
        ("custody.out_of_order", "3", "2024-06-15"),
        ("custody.before_the_sample", "1", "2024-06-04"),
        ("custody.collected_on_another_day", "1", "2024-06-04"),
    ],
)
def test_events_of_the_same_day_are_in_order(rule: str, number: str, day: str) -> None:
    assert a_sound_record().but("custody", number, happened_on=day).says(rule) == []


def test_an_event_cannot_correct_itself() -> None:
    itself = after("corrected", "2024-07-01", corrects_custody_id="5")
    only(itself.says("custody.corrects_nothing"), "of event 5, which is not earlier")


def test_an_event_without_a_number_is_looked_at_like_any_other() -> None:
    unnumbered = a_sound_record().with_bare_row(
        "custody", event="handed_over", happened_on="2024-07-01", sample_id="231"
    )
    corrected = then(unnumbered, "corrected", "2024-07-02", corrects_custody_id="3")
    said = corrected.says("custody.party_missing")
    assert [line.split(":")[0] for line in said] == ["custody 6 to_party_id"]


def test_a_receipt_that_names_no_taker_confirms_nothing() -> None:
    broken = after("received", "2024-07-01", from_party_id="OWN")
    only(broken.says("custody.giver_does_not_have_it"), "LAB held it", "OWN never")

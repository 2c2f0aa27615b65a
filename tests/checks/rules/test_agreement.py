"""Agreements: what was taken without one, what ended, and conditions that are not kept."""

from __future__ import annotations

from typing import Any

import pytest

from tests.checks.rules.record import Record, a_sound_record, only

GIVEN: dict[str, Any] = {
    "agreement_id": "AG-1",
    "site_id": "HOLL",
    "agreement_status": "given",
    "scope": "visit; core",
    "given_by_party_id": "OWN",
    "agreed_on": "2024-05-01",
}
WITHOUT = "agreement.sampled_without"


def agreed(record: Record | None = None, **values: Any) -> Record:
    """A site protected by its community, with one agreement."""
    record = record or a_sound_record().but("site", protection="community")
    return record.with_bare_row("agreement", **(GIVEN | values))


def test_a_place_of_a_community_sampled_without_its_agreement_is_an_error() -> None:
    """CARE Principles (Carroll and others 2020): people decide about what is theirs."""
    broken = a_sound_record().but("site", protection="community", permit_number=None)
    only(broken.says(WITHOUT), "1 hole(s)", "HOLL", "protected by its community", "231")
    assert broken.says("site.no_permit") == []
    assert a_sound_record().says(WITHOUT) == []
    only(broken.but("site", protection="both").says(WITHOUT), "231")


@pytest.mark.parametrize(
    ("values", "held"),
    [
        ({}, True),
        ({"agreement_status": "given_in_part"}, True),
        ({"scope": "visit; photograph"}, False),
        ({"scope": "cut"}, False),
        ({"agreement_status": "asked"}, False),
        ({"agreement_status": "refused"}, False),
        # sample 231 was taken on 2024-06-04
        ({"agreed_on": "2024-06-04"}, True),
        ({"agreed_on": "2024-06-05"}, False),
        ({"agreed_on": "2024-06"}, True),
        ({"valid_until": "2024-06-04"}, True),
        ({"valid_until": "2024-06-03"}, False),
        ({"agreement_status": "withdrawn", "valid_until": "2024-07-01"}, True),
        ({"agreement_status": "withdrawn", "valid_until": "2024-06-01"}, False),
        ({"agreement_status": "withdrawn"}, False),
        ({"place_id": "B1"}, True),
        ({"place_id": "B2"}, False),
        ({"site_id": "FAR"}, False),
        ({"agreed_on": "no date"}, True),
    ],
)
def test_an_agreement_covers_what_it_names_while_it_holds(values, held: bool) -> None:
    record = agreed(**values)
    assert (record.says(WITHOUT) == []) is held
    # an attempt that gave nothing made a hole too
    failed = record.but("sample", attempt="no_sample", failure_cause="rot")
    assert (failed.says(WITHOUT) == []) is held


def test_what_was_asked_and_not_given_needs_no_protection_to_be_an_error() -> None:
    refused = agreed(a_sound_record(), agreement_status="refused")
    only(refused.says(WITHOUT), "AG-1", "refused")
    again = refused.with_bare_row("agreement", **(GIVEN | {"agreement_id": "AG-2"}))
    assert again.says(WITHOUT) == []
    # loose wood and pictures leave what stands as it is
    assert refused.but("sample", kind="image").says(WITHOUT) == []
    elsewhere = agreed(a_sound_record(), agreement_status="refused", place_id="B2")
    assert elsewhere.says(WITHOUT) == []


def test_an_agreement_that_ended_is_told() -> None:
    only(agreed(agreement_status="withdrawn").says("agreement.ended"), "AG-1", "withdrawn")
    assert agreed().says("agreement.ended") == []
    # the newest day of the record is that of the report, 2025-02-01
    only(agreed(valid_until="2025-01-31").says("agreement.ran_out"), "2025-01-31", "given")
    assert agreed(valid_until="2025-02-01").says("agreement.ran_out") == []


def test_dates_and_gaps_of_an_agreement() -> None:
    backwards = agreed(valid_until="2024-04-30")
    only(backwards.says("agreement.ends_before_it_starts"), "2024-04-30", "2024-05-01")
    assert agreed(valid_until="2024-05-01").says("agreement.ends_before_it_starts") == []
    bare = agreed(scope=None, agreed_on=None, given_by_party_id=None)
    only(bare.says("agreement.incomplete"), "who agreed, the day, what was agreed to")
    only(agreed(agreement_status="expired").says("agreement.incomplete"), "lacks: the last day")
    assert agreed().says("agreement.incomplete") == []
    assert agreed(agreement_status="asked", scope=None).says("agreement.incomplete") == []


def test_a_place_of_another_site_is_covered_by_nothing() -> None:
    far = a_sound_record().with_bare_row("place", place_id="B9", site_id="FAR", kind="building")
    only(agreed(far, place_id="B9").says("agreement.place_of_another_site"), "AG-1", "FAR")
    assert agreed(place_id="B1").says("agreement.place_of_another_site") == []


def test_an_open_picture_against_the_condition_is_an_error() -> None:
    asked = agreed(conditions="acknowledge; no_images")
    only(asked.says("agreement.open_images"), "F-1", "AG-1")
    assert agreed(conditions="acknowledge").says("agreement.open_images") == []
    assert asked.but("file", access="restricted").says("agreement.open_images") == []
    # an agreement about one building binds pictures of that building
    assert agreed(conditions="no_images", place_id="B2").says("agreement.open_images") == []
    only(agreed(conditions="no_images", place_id="B1").says("agreement.open_images"), "F-1")
    of_nothing = asked.but("file", about_table=None, about_id=None)
    only(of_nothing.says("agreement.open_images"), "F-1")

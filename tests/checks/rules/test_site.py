"""Permit, consent, visit and rights of a site."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import a_sound_record, only


def test_a_protected_site_sampled_without_a_permit_is_an_error() -> None:
    broken = a_sound_record().but("site", protection="listed", permit_number=None)
    only(
        broken.says("site.protected_without_permit"),
        "site 2 permit_number",
        "listed",
        "sampled (1)",
    )
    assert broken.says("site.no_permit") == []


@pytest.mark.parametrize("protection", ["unknown", ""])
def test_a_missing_permit_is_a_warning_where_nobody_asked(protection: str) -> None:
    broken = a_sound_record().but("site", protection=protection, permit_number=None)
    only(broken.says("site.no_permit"), "No permit is recorded for site HOLL")


def test_an_unprotected_site_needs_no_permit() -> None:
    assert a_sound_record().but("site", permit_number=None).says("site.no_permit") == []


def test_a_permit_must_name_the_authority_that_gave_it() -> None:
    broken = a_sound_record().but("site", permit_authority_id=None)
    only(broken.says("site.permit_without_authority"), "permit_authority_id", "HOLL")


def test_a_permit_cannot_end_before_it_starts() -> None:
    broken = a_sound_record().but("site", permit_until="2023-12-31")
    only(broken.says("site.permit_ends_before_it_starts"), "2023-12-31", "2024-01-01")


def test_a_sample_taken_after_the_permit_ran_out_is_an_error() -> None:
    broken = a_sound_record().but("sample", collected_on="2025-01-01")
    only(broken.says("site.sampled_outside_permit"), "sample 2 collected_on", "231", "2025-01-01")


def test_a_sample_whose_day_is_not_known_may_lie_within_the_permit() -> None:
    """EDTF: 2024 takes in every day of that year."""
    unsure = a_sound_record().but("sample", collected_on="2024").but("site", permit_from="2024-05")
    assert unsure.says("site.sampled_outside_permit") == []


def test_samples_from_an_owner_who_refused_are_an_error() -> None:
    broken = a_sound_record().but("site", owner_consent="refused")
    only(broken.says("site.consent_refused"), "HOLL")
    assert broken.says("site.no_consent") == []


@pytest.mark.parametrize("answer", ["pending", "unknown", ""])
def test_samples_without_the_owners_consent_are_reported(answer: str) -> None:
    broken = a_sound_record().but("site", owner_consent=answer)
    only(broken.says("site.no_consent"), "site 2 owner_consent", answer or "?")


def test_consent_is_asked_for_only_where_samples_were_taken() -> None:
    unsampled = a_sound_record().but("site", owner_consent="pending").without("sample")
    assert unsampled.says("site.no_consent") == []


def test_a_sample_taken_before_the_owner_agreed_is_reported() -> None:
    broken = a_sound_record().but("site", consent_on="2024-06-05")
    only(broken.says("site.sampled_before_consent"), "231", "2024-06-05")


def test_a_visit_cannot_end_before_it_starts() -> None:
    broken = a_sound_record().but("site", visit_end="2024-06-02")
    only(broken.says("site.visit_ends_before_it_starts"), "2024-06-02", "2024-06-03")


def test_hazards_that_nobody_wrote_down_are_noted() -> None:
    only(a_sound_record().but("site", hazards=None).says("site.no_hazards"), "HOLL")


def test_a_site_without_a_licence_is_noted() -> None:
    """FAIR Guiding Principles, R1.1."""
    only(a_sound_record().but("site", rights=None).says("site.no_rights"), "HOLL")


def test_a_record_without_a_home_is_noted() -> None:
    only(a_sound_record().but("site", repository_id=None).says("site.no_repository"), "HOLL")


@pytest.mark.parametrize(
    ("rule", "day", "told"),
    [
        ("site.sampled_outside_permit", "2024-01-01", False),
        ("site.sampled_outside_permit", "2023-12-31", True),
        ("site.sampled_outside_permit", "2024-12-31", False),
        ("site.sampled_before_consent", "2024-02-01", False),
        ("site.sampled_before_consent", "2024-01-31", True),
    ],
)
def test_the_first_and_the_last_day_are_within_permit_and_consent(
    rule: str, day: str, told: bool
) -> None:
    assert bool(a_sound_record().but("sample", collected_on=day).says(rule)) is told


@pytest.mark.parametrize(
    ("rule", "field", "day"),
    [
        ("site.permit_ends_before_it_starts", "permit_until", "2024-01-01"),
        ("site.visit_ends_before_it_starts", "visit_end", "2024-06-03"),
    ],
)
def test_permit_and_visit_may_be_of_a_single_day(rule: str, field: str, day: str) -> None:
    assert a_sound_record().but("site", **{field: day}).says(rule) == []


@pytest.mark.parametrize(
    ("protection", "permit", "told"),
    [("none", None, False), ("none", "INV-1", True), ("listed", None, True), ("both", None, True)],
)
def test_an_authority_is_asked_for_where_there_is_a_permit_or_a_protection(
    protection: str, permit: str | None, told: bool
) -> None:
    record = a_sound_record().but("site", protection=protection, permit_number=permit)
    record = record.but("site", permit_authority_id=None)
    assert bool(record.says("site.permit_without_authority")) is told

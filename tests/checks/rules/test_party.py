"""Identifiers of people and organisations, and the part they play."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import a_sound_record, only


def test_the_published_example_of_an_orcid_is_sound() -> None:
    """ORCID's own example, 0000-0002-1825-0097 (support.orcid.org, structure of the identifier)."""
    sound = a_sound_record().but("party", "MB", orcid="0000-0002-1825-0097")
    assert sound.says("party.orcid_check_digit") == []


@pytest.mark.parametrize("orcid", ["0000-0002-1825-0079", "0000-0002-1825-009X"])
def test_an_orcid_with_a_wrong_character_is_an_error(orcid: str) -> None:
    """ISO/IEC 7064 MOD 11-2 finds every single wrong digit and every exchange of neighbours."""
    broken = a_sound_record().but("party", "MB", orcid=orcid)
    only(broken.says("party.orcid_check_digit"), "party 2 orcid", orcid)


def test_an_orcid_may_end_in_x() -> None:
    """ISO 27729: X stands for ten; this one is computed by ISO/IEC 7064 MOD 11-2."""
    from stdnum.iso7064 import mod_11_2

    base = next(f"{n:015d}" for n in range(999) if mod_11_2.calc_check_digit(f"{n:015d}") == "X")
    digits = base + "X"
    orcid = "-".join(digits[start : start + 4] for start in range(0, 16, 4))
    assert a_sound_record().but("party", "MB", orcid=orcid).says("party.orcid_check_digit") == []


# identifiers that ROR prints in its documentation; from memory
@pytest.mark.parametrize("code", ["00k4n6c32", "02mhbdp94", "05dxps055", "03yrm5c26"])
def test_published_ror_identifiers_are_sound_and_break_with_one_character(code: str) -> None:
    """ISO/IEC 7064 MOD 97-10 over Crockford's base 32."""
    sound = a_sound_record().but("party", "LAB", ror=f"https://ror.org/{code}")
    assert sound.says("party.ror_check_digits") == []
    slip = code[:3] + ("7" if code[3] != "7" else "8") + code[4:]
    broken = a_sound_record().but("party", "LAB", ror=f"https://ror.org/{slip}")
    only(broken.says("party.ror_check_digits"), slip, "LAB")


def test_an_address_that_is_no_ror_identifier_is_an_error() -> None:
    broken = a_sound_record().but("party", "LAB", ror="https://ror.org/0lolol099")
    only(broken.says("party.ror_check_digits"), "0lolol099")


def test_an_organisation_has_no_orcid() -> None:
    broken = a_sound_record().but("party", "LAB", orcid="0000-0002-1825-0097")
    only(
        broken.says("party.identifier_of_the_other_kind"),
        "LAB is entered as organisation",
        "a person",
    )


def test_a_person_has_no_ror() -> None:
    broken = a_sound_record().but("party", "MB", ror="https://ror.org/00k4n6c32")
    only(
        broken.says("party.identifier_of_the_other_kind"),
        "MB is entered as person",
        "an organization",
    )


def test_nobody_works_for_a_person() -> None:
    broken = a_sound_record().but("party", "MB", organisation_id="OWN")
    only(broken.says("party.organisation_is_a_person"), "MB", "OWN")


def test_one_party_under_two_codes_is_reported() -> None:
    broken = a_sound_record().with_bare_row(
        "party", party_id="LAB2", kind="organisation", name="alder ring  laboratory (Invented)"
    )
    only(broken.says("party.listed_twice"), "LAB2 and LAB")


def test_a_party_that_plays_no_part_is_noted() -> None:
    broken = a_sound_record().with_bare_row(
        "party", party_id="XX", kind="person", name="No one Here (invented)"
    )
    only(broken.says("party.mentioned_nowhere"), "XX")

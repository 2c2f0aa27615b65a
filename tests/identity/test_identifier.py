"""Full identifiers as printed on a label and typed back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import UnreadableValue
from provenance._identity.check_character import ALPHABET
from provenance._identity.identifier import checked_identifier, full_identifier, parse_identifier

codes = st.text(ALPHABET, min_size=1, max_size=9)


def test_the_check_letters_stand_apart_from_the_number():
    assert full_identifier("holl", "231") == "HOLL-231"
    assert checked_identifier("HOLL", "231").startswith("HOLL-231-")


@given(codes, codes)
def test_what_is_printed_is_read_back(site_id: str, sample_id: str):
    read = parse_identifier(checked_identifier(site_id, sample_id))
    assert read == (site_id, sample_id)


@pytest.mark.parametrize(
    "typed", ["holl 231 jv", " HOLL–231–JV ", "HOLL - 231 - Jv", "HOLL-231-H", "holl 231 h"]
)
def test_blanks_dashes_small_letters_and_labels_of_before_are_as_good(typed: str):
    assert parse_identifier(typed) == ("HOLL", "231")


def test_the_check_letters_cannot_be_left_out():
    with pytest.raises(UnreadableValue, match="lacks a part"):
        parse_identifier("HOLL-231")


def test_a_swap_is_named_with_what_was_perhaps_meant():
    with pytest.raises(UnreadableValue, match=r"perhaps .*HOLL-231-H") as caught:
        parse_identifier("HOLL-321-H")
    assert "should be" in str(caught.value)
    assert caught.value.value == "HOLL-321-H"


@pytest.mark.parametrize(
    ("typed", "word"),
    [
        ("", "0 parts"),
        ("HOLL", "1 parts"),
        ("A-B-C-D", "4 parts"),
        ("HOLL-231-KKK", "two check letters"),
        ("HOLL-231-17", "two check letters"),
        ("HOLL-231-KK", "should be JV"),
        ("HOLL-2ß1-K", "as character"),
    ],
)
def test_what_is_no_identifier_is_refused_with_the_reason(typed: str, word: str):
    with pytest.raises(UnreadableValue, match=word):
        parse_identifier(typed)


@pytest.mark.parametrize("number", ["HÖLL", "ДОМ", "L#1", "STRAßE", "ı1"])
def test_other_characters_are_refused_with_their_place(number: str):
    with pytest.raises(UnreadableValue, match="as character"):
        full_identifier("HOLL", number)


@pytest.mark.parametrize(("site_id", "sample_id"), [("", "1"), ("HO-LL", "1"), ("HOLL", "2 3")])
def test_a_code_with_a_hyphen_or_blank_is_refused(site_id: str, sample_id: str):
    with pytest.raises(UnreadableValue, match="cannot be a"):
        full_identifier(site_id, sample_id)

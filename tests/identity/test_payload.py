"""The text inside the QR code of a label, a box or a parcel."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import UnreadableValue
from provenance._identity.check_character import ALPHABET
from provenance._identity.payload import (
    LONGEST_INSIDE,
    compose_code,
    compose_inside,
    inside_code,
    is_inside,
    is_scan,
    one_line,
    parcel_code,
    read_scan,
    split_scans,
)
from tests.builders import code_of_before

codes = st.text(ALPHABET, min_size=1, max_size=8)
addresses = st.sampled_from(["", "https://example.org/s/1", "http://localhost:8000/x?y=1#z"])
BEFORE = code_of_before("HOLL", "231", "core", "date 1987-06-14", site_name="Hollow Farm")
PRINTED = """treenail 1 HOLL-231 H
site Hollow Farm
number 231
kind core
date 1987-06-14"""
"""As such labels were printed, letter for letter."""


@given(codes, codes, addresses, st.sampled_from(["", "\r\n"]))
def test_a_code_is_read_back_as_written(site: str, number: str, address: str, end: str):
    text = compose_code(site, number, address)
    assert is_scan(text)
    assert not is_inside(text)
    for form in (text, text.lower(), "\ufeff" + text + end, text.replace(" ", "\n")):
        assert (read_scan(form).site_id, read_scan(form).sample_id) == (site, number)


@given(codes, st.text(min_size=1, max_size=80))
def test_the_code_of_a_box_is_read_back_as_written(site: str, words: str):
    code = inside_code(words)
    assert len(code) <= LONGEST_INSIDE
    if not code:
        return
    text = compose_inside(site, code)
    for form in (text, text.lower() + "\n", text.removeprefix("TREENAIL ")):
        assert is_scan(form)
        assert is_inside(form)
        assert (read_scan(form).site_id, read_scan(form).inside) == (site, code)
    assert inside_code(code) == code


def test_the_codes_of_boxes_and_parcels_are_made_from_their_words():
    assert compose_inside("holl", inside_code("Box 12")) == "TREENAIL HOLL:BOX-12-TD"
    assert inside_code("Shelf 7,  box 12") == inside_code("shelf 7 - BOX 12") == "SHELF-7-BOX-12"
    assert inside_code("Krabice č. 7") == "KRABICE-C-7"
    assert inside_code("-") == inside_code("x" * 61) == ""
    assert parcel_code("C-2023-1") == "PARCEL-C-2023-1"
    for own in ("LAB:2023-1", "LAB:2023-AB", "shelf: A-12-XY", "12:30"):
        assert not is_scan(own)


@given(st.text())
def test_cleaning_twice_changes_nothing(text: str):
    assert one_line(one_line(text)) == one_line(text)


def test_marks_that_turn_the_reading_direction_are_left_out():
    assert one_line("a\u202eb\u2066c\u200bd\ufeff") == "abcd"
    assert all(not unicodedata.category(sign).startswith("C") for sign in one_line("\x00a\x1b"))


def test_a_usual_code_fits_the_smallest_symbol_of_round_tags():
    """ISO/IEC 18004 table 7: version 2-H holds 20 characters in alphanumeric mode (from memory)."""
    assert compose_code("HOLL", "201") == "TREENAIL HOLL-201-AY"
    assert len(compose_code("HOLL", "201")) == 20


def test_codes_of_before_are_read_for_ever():
    """Line ends of any system, made into blanks or lost; a name with words of the layout in it."""
    assert BEFORE == PRINTED
    hostile = code_of_before("HOLL", "231", site_name="Mill number 999 kind")
    for text in (
        BEFORE,
        hostile,
        BEFORE.partition("\n")[0],
        BEFORE.replace("treenail", "TREENAIL"),
    ):
        for end in ("\n", "\r\n", "\r", " ", ""):
            assert read_scan("\ufeff" + text.replace("\n", end) + end).identifier == "HOLL-231"


def test_scans_are_parted_however_they_follow_one_another():
    new, box = compose_code("HOLL", "201"), "TREENAIL HOLL:BOX-12-TD"
    scanned = f"{new}{BEFORE}\n{new}\n231\n{box}{new}\n\n"
    assert [text for _, text in split_scans(scanned)] == [new, BEFORE, new, "231", box, new]
    assert [line for line, _ in split_scans(scanned)] == [1, 1, 6, 7, 8, 8]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("https://example.org", "not a label of this kind"),
        ("", "not a label of this kind"),
        ("x" * 5000, "far longer"),
        ("TREENAIL", "not complete"),
        ("TREENAIL HOLL-201", "lacks a part"),
        ("TREENAIL HOLL-201-AY 17", "not complete"),
        ("TREENAIL HOLL-201-AX", "should be AY"),
        ("TREENAIL HOLL-210-AY", "perhaps HOLL-201-AY was meant"),
        ("TREENAIL HOLL:BOX-12-TE", "should be TD"),
        ("TREENAIL HOLL:BOX-21-TD", "perhaps HOLL-BOX-12-TD was meant"),
        ("TREENAIL HOLL:BOX-12", "check letters"),
        (BEFORE.replace("treenail 1", "treenail 2"), "layout 2"),
        (BEFORE.replace("HOLL-231 H", "HOLL-231"), "not complete"),
        (BEFORE.replace("HOLL-231 H", "HOLL-321 H"), "does not fit its check"),
        (BEFORE.replace("number 231", "number 232"), "same number as before"),
        (BEFORE.replace("number 231\n", ""), "not complete"),
    ],
)
def test_a_code_that_is_not_as_it_should_be_is_refused(text: str, word: str):
    with pytest.raises(UnreadableValue, match=word):
        read_scan(text)


@given(st.text(), st.sampled_from(["treenail 1 HOLL-231 H\n", "TREENAIL ", "TREENAIL HOLL:", ""]))
def test_any_text_is_read_or_refused_with_a_sentence(text: str, before: str):
    try:
        said = read_scan(before + text).identifier
    except UnreadableValue as error:
        said = str(error)
    assert len(said) >= 3


@pytest.mark.parametrize(
    "address", ["ftp://example.org", "https://", "https://exa mple.org", "https://e.org/\x07", "x"]
)
def test_an_unusable_address_is_refused(address: str):
    with pytest.raises(UnreadableValue, match="web address"):
        compose_code("HOLL", "231", address)

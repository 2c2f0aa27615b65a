"""The text inside a label's QR code."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import UnreadableValue
from provenance._identity.check_character import ALPHABET
from provenance._identity.payload import (
    SampleLabel,
    cleaned,
    compose_payload,
    one_line,
    read_payload,
)

codes = st.text(ALPHABET, min_size=1, max_size=8)
labels = st.builds(
    SampleLabel,
    site_id=codes,
    sample_id=codes,
    kind=st.text(max_size=60),
    date=st.text(max_size=60),
    site_name=st.text(max_size=60),
    address=st.sampled_from(["", "https://example.org/s/1", "http://localhost:8000/x?y=1#z"]),
)
A_LABEL = SampleLabel("HOLL", "231", "core", "1987-06-14", "Hollow Farm")


@given(labels)
def test_a_label_is_read_back_as_written(label: SampleLabel):
    assert read_payload(compose_payload(label)) == cleaned(label)


@given(labels)
def test_no_text_can_forge_a_line_or_turn_the_reading_direction(label: SampleLabel):
    payload = compose_payload(label)
    words = [line.split(" ")[0] for line in payload.splitlines()]
    assert len(words) == len(set(words)) <= 6
    assert words[0] == "treenail"
    assert not any(
        unicodedata.category(character).startswith("C") for character in payload.replace("\n", "")
    )


@given(st.text())
def test_cleaning_twice_changes_nothing(text: str):
    assert one_line(one_line(text)) == one_line(text)


@pytest.mark.parametrize(
    "name",
    ["Mill\nnumber 999", "Mill\r\nnumber 999", "Mill\u2028number 999", "Mill\x0bnumber 999"],
)
def test_a_line_break_in_a_name_becomes_a_blank(name: str):
    label = SampleLabel("HOLL", "231", "core", site_name=name)
    assert read_payload(compose_payload(label)).sample_id == "231"
    assert "site Mill number 999\n" in compose_payload(label)


def test_marks_that_turn_the_reading_direction_are_left_out():
    assert one_line("a\u202eb\u2066c\u200bd\ufeff") == "abcd"


def test_a_usual_label_is_short_enough_for_a_small_code():
    """ISO/IEC 18004 table 7: version 7-Q holds 86 bytes (value from memory)."""
    assert len(compose_payload(A_LABEL).encode()) <= 86


def test_the_longest_label_still_fits_one_code():
    """A version 40-Q code holds 1,663 bytes (ISO/IEC 18004 table 7, from memory)."""
    label = SampleLabel(
        "A" * 10, "1" * 8, "木" * 99, "1" * 99, "木" * 99, "https://e.org/" + "x" * 186
    )
    assert len(compose_payload(label).encode()) < 700


def test_line_ends_of_any_system_and_a_byte_order_mark_are_read():
    payload = compose_payload(A_LABEL)
    assert read_payload("\ufeff" + payload.replace("\n", "\r\n") + "\r\n") == A_LABEL
    assert read_payload(payload.replace("\n", "\r")) == A_LABEL


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (("treenail 1", "https://example.org"), "not a sample label"),
        (("treenail 1", "treenail 2"), "layout 2"),
        (("treenail 1", "treenail one"), "not whole"),
        (("HOLL-231 H", "HOLL-231"), "not whole"),
        (("HOLL-231 H", "HOLL-321 H"), "does not fit its check character"),
        (("number 231", "number 232"), "the first line says 231"),
        (("number 231\n", ""), "'number' is missing"),
        (("kind core", "kind core\nkind beam"), "second line 'kind'"),
        (("kind core", "kind core\ncolour red"), "no line of a label"),
        (("date 1987-06-14", "see javascript:alert(1)"), "not a web address"),
    ],
)
def test_a_label_that_is_not_as_it_should_be_is_refused(change: tuple[str, str], word: str):
    payload = compose_payload(A_LABEL)
    assert change[0] in payload
    with pytest.raises(UnreadableValue, match=word):
        read_payload(payload.replace(*change))


@pytest.mark.parametrize("text", ["", "\n\n", "x" * 5000])
def test_nothing_and_too_much_are_refused(text: str):
    with pytest.raises(UnreadableValue):
        read_payload(text)


@given(st.text())
def test_any_text_is_read_or_refused_with_a_sentence(text: str):
    try:
        label = read_payload("treenail 1 HOLL-231 H\n" + text)
    except UnreadableValue as error:
        sentence = str(error)
    else:
        sentence = compose_payload(label)
    assert len(sentence) > 20


@pytest.mark.parametrize(
    "address", ["ftp://example.org", "https://", "https://exa mple.org", "https://e.org/\x07", "x"]
)
def test_an_unusable_address_is_refused(address: str):
    with pytest.raises(UnreadableValue, match="web address"):
        compose_payload(SampleLabel("HOLL", "231", "core", address=address))

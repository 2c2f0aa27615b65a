"""Numbers and names of older collections are read back from labels and codes letter for letter."""

from __future__ import annotations

import re
import unicodedata
from pathlib import PurePosixPath

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import TreenailError, UnreadableValue
from provenance._base.portable import folded, unportable_because
from provenance._bundle.finding_aid.addresses import page_path, relocation_path
from provenance._checks.rules.numbering import _is_hidden
from provenance._identity.check_character import ALPHABET, check_letters
from provenance._identity.identifier import KEY, checked_identifier, identifier_in, joined_key
from provenance._identity.locate import locate_plug
from provenance._identity.naming import SampleNames
from provenance._identity.payload import (
    compose_code,
    compose_inside,
    compose_store_code,
    is_inside,
    is_scan,
    read_scan,
    split_scans,
    store_check,
)
from provenance._identity.plug_fit import PlugRecord
from provenance._identity.selection import select_samples
from provenance._model.schema import AS_FOUND, read_core, with_numbering
from provenance._survey.plan.plan_content import file_name_parts
from tests.builders import code_of_before

AS_WRITTEN = with_numbering(read_core(), AS_FOUND).notations[AS_FOUND].pattern
# what an older collection may hold: any script, signs and blanks within, and twins of one another
SIGNS = st.one_of(
    st.sampled_from("AaFf1 -._/,;:%\"'<>|?*~#(){}&=@+[]\\ÄßıІ東😀"),
    st.characters(codec="utf-8", exclude_categories=("C", "Z")),
)
KEYS = st.text(SIGNS, min_size=1, max_size=48).map(
    lambda text: unicodedata.normalize("NFC", text).strip()
).filter(lambda text: 1 <= len(text) <= 48) | st.sampled_from(
    ["AF-1", "AF-11", "AF1-1", "af 11", "AF 11", "NUL", "-", ".", "231-JV"]
)

STORE_NUMBERS = st.from_regex(
    r"[0-9A-Z]([0-9A-Za-z ._/-]{0,20}[0-9a-z])?/[0-9]{1,6}", fullmatch=True
)


@settings(max_examples=60)
@given(st.lists(st.tuples(KEYS, KEYS), min_size=1, max_size=5, unique_by=lambda one: one[1]))
def test_what_label_and_code_say_is_read_back_and_file_names_are_safe(record) -> None:
    names = SampleNames(record, as_found=True)
    numbers = [number for _, number in record]
    for site, number in record:
        assert re.fullmatch(AS_WRITTEN, number), number
        assert not _is_hidden(number), number
        text = compose_code(site, number, numbering=AS_FOUND)
        assert text.isascii()
        assert is_scan(text)
        assert not is_inside(text)
        for form in (text, f"\ufeff{text}\r\n", f"{text} see https://example.org/a"):
            assert (read_scan(form).site_id, read_scan(form).sample_id) == (site, number)
            assert names.sample(form) == (site, number)
        assert [part for _, part in split_scans(text + text)] == [text, text]
        # a keyboard that has lost the capitals leads to no other number than a twin
        for one in names.samples(text.lower()):
            assert one[1].casefold() == number.casefold() or len(record) > 1
        whole = identifier_in(AS_FOUND, site, number)
        label = f"{whole}-{check_letters(whole)}"
        for typed in (number, whole, label):
            assert is_scan(typed) or (site, number) in names.samples(typed), typed
        if not is_scan(number):
            assert names.number_in_cell(number) == number
        if len(record) == 1 and not is_scan(label):
            assert names.number_in_cell(label) == number
        assert select_samples(numbers, f'"{number}"' if '"' not in number else number) == [number]
        box = compose_inside(site, "BOX-1")
        assert read_scan(box).inside == read_scan(box.lower()).inside == "BOX-1"
    for paths in (
        [page_path("sample", number) for number in numbers],
        [relocation_path(number) for number in numbers],
        [f"relocation-{part}.pdf" for part in file_name_parts(numbers).values()],
    ):
        assert len({folded(one) for one in paths}) == len(paths)
        for path in paths:
            assert unportable_because(path) is None, path
            assert len(PurePosixPath(path).parts) == path.count("/") + 1


@given(KEYS)
def test_a_number_that_is_not_known_yet_stays_in_a_cell_as_it_is_written(number: str) -> None:
    """Also where a strict record would take a part of it for a site or for check letters."""
    names = SampleNames([("AF", "1"), ("Alder Ford", "12")], ["AF"], as_found=True)
    if is_scan(number) or number in (f"AF-1-{check_letters('AF-1')}",):
        return
    assert names.number_in_cell(number) == number
    assert names.number_in_cell(f"AF-1-{check_letters('AF-1')}") == "1"


def test_a_code_says_case_only_where_it_matters() -> None:
    """RFC 3986, section 2.1: percent-encoding of the bytes of UTF-8."""
    for site, number, said in (
        ("HOLL", "231", "HOLL-231-JV"),
        ("Alder Ford", "AF-1", "Alder%20Ford-AF%2D1-PL"),
        ("HOLL", "af1", "HOLL-%61f1-CY"),
        ("HOLL", "Ä-3", f"HOLL-%C3%84%2D3-{check_letters('HOLLC3843')}"),
    ):
        assert checked_identifier(site, number, AS_FOUND) == said
    assert checked_identifier("HOLL", "231") == checked_identifier("HOLL", "231", AS_FOUND)


def test_a_key_made_of_a_number_has_the_form_of_keys() -> None:
    assert read_core().notations["identifier"].pattern == KEY.pattern
    numbers = ["231", "AF-1", "AF 1", "AF  1", "12,3", "x" * 48, "Ä"]
    made = [joined_key("C-2024-1", number) for number in numbers]
    assert made[:2] == ["C-2024-1-231", "C-2024-1-AF-1"]
    assert len(set(made)) == len(numbers)
    assert all(map(KEY.fullmatch, made))


def test_labels_of_before_whose_number_holds_a_hyphen_are_read() -> None:
    names = SampleNames([("AF", "AF-1"), ("AF", "AF-12")], as_found=True)
    before = code_of_before("AF", "AF-1")
    assert before.startswith("treenail 1 AF-AF-1 ")
    for text in (before, before.replace("\n", " "), before.partition("\n")[0]):
        assert names.sample(text).sample_id == "AF-1"
    with pytest.raises(UnreadableValue):
        names.sample(before.replace("AF-AF-1 ", "AF-AF-2 ", 1))


@settings(max_examples=60)
@given(
    st.from_regex(r"[0-9A-Z]([0-9A-Za-z ._/-]{0,20}[0-9a-z])?/[0-9]{1,6}", fullmatch=True),
    st.data(),
)
def test_a_store_number_is_read_back_and_no_wrong_sign_in_it_passes(number, data) -> None:
    """Signs between its parts are covered too, unlike those of a sample's own number."""
    text = compose_store_code(number)
    for form in (text, text + "\n", f"{text} see https://example.org/a"):
        assert is_scan(form)
        assert read_scan(form).store_number == number
    assert read_scan(text.lower()).store_number.upper() == number.upper()
    assert [part for _, part in split_scans(text + text)] == [text, text]
    place = data.draw(st.integers(0, len(number) - 1))
    other = data.draw(st.sampled_from(ALPHABET + "./-_"))
    wrong = number[:place] + other + number[place + 1 :]
    same_kind = number[place].isalnum() and other.isalnum()
    if same_kind and wrong.upper() != number.upper():
        assert store_check(wrong) != store_check(number)
    with pytest.raises(UnreadableValue, match="a number that a store gave"):
        SampleNames([("HOLL", "231")]).sample(text)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("TREENAIL 2 2026.0003/17", "not complete"),
        ("TREENAIL 2 2026.0003/17 WE", "does not fit"),
        ("TREENAIL 2 2026.0003/71 WD", "does not fit"),
        ("TREENAIL 2 2026.00031/7 WD", "does not fit"),
        ("TREENAIL 3 2026.0003/17 WD", "layout 3"),
        ("TREENAIL Alder%20Ford-AF%2D1-PX", "should be PL"),
    ],
)
def test_a_code_that_is_not_as_it_should_be_is_refused(text: str, word: str) -> None:
    with pytest.raises(UnreadableValue, match=word):
        read_scan(text)


def test_a_selection_takes_the_number_that_is_written_before_a_range() -> None:
    known = ["AF-1", "AF-2", "AF-3", "AF-11", "12,3", "231", "233", "234", 'x"y', "1-3", "1", "2"]
    for text, chosen in (
        ("AF-1", ["AF-1"]),
        ("AF-1, 12,3,231,233-240", ["AF-1", "12,3", "231", "233", "234"]),
        ('"12,3","AF-2"', ["12,3", "AF-2"]),
        ("AF-1–AF-3", ["AF-1", "AF-2", "AF-3"]),
        ("1-3", ["1-3"]),
        ("1-2", ["1", "2"]),
        ('x"y', ['x"y']),
    ):
        assert select_samples(known, text) == chosen, text
    with pytest.raises(TreenailError, match="there is no sample '12'"):
        select_samples(known, "12,4")


def plug(number: str, stamp: str) -> PlugRecord:
    return PlugRecord("r", "Alder Ford", number, f"P {number}", stamp, "none", None, "in_place",
                      "B", "beam", "PIPO", "", "", "2024")  # fmt: skip


def test_a_stamp_as_found_is_found_by_what_is_written_and_worn_ones_as_ever() -> None:
    plugs = [plug("a", "AF/1"), plug("b", "A.F 11"), plug("c", "AF1-1"), plug("d", "231")]
    plugs.append(plug("AF-1", "Ä-3"))

    def best(reading: str) -> list[str]:
        found = locate_plug(plugs, reading).candidates
        return [one.plug.sample_id for one in found if one.probability > 0.3]

    assert best("AF/1") == best("af 1") == ["a"]
    assert best("AF11") == ["b", "c"]
    assert best("AF1-1") == ["c"]
    assert best("ä3") == ["AF-1"]
    assert best("2?1") == ["d"]
    assert best("AF-1") == ["AF-1"], "the number of a sample goes before the reading of a stamp"
    with pytest.raises(UnreadableValue, match="is not a reading"):
        locate_plug(plugs, "Ö/9")

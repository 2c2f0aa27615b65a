"""What people type and scanners read leads to the one sample that is meant, or is refused."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import TreenailError, UnreadableValue
from provenance._identity.check_character import ALPHABET, check_character, check_letters
from provenance._identity.identifier import checked_identifier
from provenance._identity.naming import SampleNames, key_of
from provenance._identity.selection import select_samples
from tests.builders import renderings

NUMBERS = st.from_regex(r"[0-9A-Z]{0,3}[0-9][0-9A-Z]{0,3}", fullmatch=True)
SITES = st.from_regex(r"[A-Z][A-Z0-9]{1,5}", fullmatch=True)
RECORDS = st.dictionaries(NUMBERS, SITES, min_size=1, max_size=8).map(
    lambda sites: [(site, number) for number, site in sites.items()]
)
# of few letters and digits, so that a slip often meets another sample
NEIGHBORS = st.dictionaries(
    st.from_regex(r"[12]{1,2}[12A]?", fullmatch=True),
    st.sampled_from(["HO", "HA", "H1"]),
    min_size=4,
    max_size=12,
).map(lambda sites: [(site, number) for number, site in sites.items()])
HERE = SampleNames([("HOLL", "231"), ("HOLL", "213"), ("HOLL", "502"), ("HOLL", "12")])


def check_of(number: str) -> str:
    return check_character(f"HOLL-{number}")


def meant(names: SampleNames, text: str) -> str | None:
    """The sample that a text leads to, site and number; None where it is refused."""
    try:
        return "-".join(names.sample(text))
    except UnreadableValue:
        return None


@settings(max_examples=60)
@given(RECORDS)
def test_every_rendering_of_every_sample_leads_to_it(record) -> None:
    """In commands and in cells; but a number of its own (231H) is never taken for another's."""
    names = SampleNames(record)
    of_number = {number: f"{site}-{number}" for site, number in record}
    own = {*of_number, *of_number.values()}
    for site, number in record:
        for text in renderings(site, number):
            expected = f"{site}-{number}"
            if key_of(text) in own:
                expected = of_number.get(key_of(text), key_of(text))
            assert meant(names, text) == expected, text
            if f"{site}-{number}" == expected and key_of(text)[-1] not in names._own_letters:
                assert names.number_in_cell(text.strip()) == number, text


@settings(max_examples=40)
@given(NEIGHBORS, st.data())
def test_no_slip_in_a_label_leads_to_another_sample(record, data) -> None:
    """One wrong letter or digit, anywhere, is found, on new labels and on those of before.

    A sign that is lost or comes in between is no such slip: the text may then be just what the
    label of another sample says, and only then does it lead there.
    """
    names = SampleNames(record)
    labels = {key_of(text): f"{s}-{n}" for s, n in record for text in renderings(s, n)[1:-8]}
    site, number = data.draw(st.sampled_from(record))
    before = f"{site}-{number}-{check_character(f'{site}-{number}')}"
    text = data.draw(st.sampled_from([checked_identifier(site, number), before]))
    for place, sign in enumerate(text):
        for other in (*ALPHABET, "-", " ", ".", ""):
            slip = text[:place] + other + text[place + 1 :]
            found = names.samples(slip)
            if {sign, other} <= set(ALPHABET):
                assert (found == []) == (sign != other), slip
            elif found and found != [(site, number)]:
                assert labels[key_of(slip)] == "-".join(*found), slip


@given(RECORDS, st.data())
def test_no_wrong_letter_or_digit_of_a_label_makes_a_number_in_a_cell(record, data) -> None:
    names = SampleNames(record)
    site, number = data.draw(st.sampled_from(record))
    text = checked_identifier(site, number)
    place = data.draw(st.sampled_from([at for at, sign in enumerate(text) if sign != "-"]))
    wrong = data.draw(st.sampled_from([one for one in ALPHABET if one != text[place]]))
    with pytest.raises(UnreadableValue):
        names.number_in_cell(text[:place] + wrong + text[place + 1 :])


@given(RECORDS, NUMBERS)
def test_a_crews_own_new_number_stays_as_it_is_written(record, number) -> None:
    """But where the number before its last letters is known, it is asked what is meant."""
    names = SampleNames(record)
    known = {one for _, one in record}
    if any(number[:-n] in known and number[-n:].isalpha() for n in (1, 2)):
        return
    assert names.number_in_cell(number) == number


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("502T", r"that of 502 is 3, not T; .*write 502-3, or HOLL-502T-JE if 502T is another"),
        ("502TX", r"that of 502 is \w\w, not TX; .*, or HOLL-502TX-\w\w if 502TX is another"),
        ("HOLL-231-JW", "that of 231 is JV, not JW; compare it with the label and write 231-JV$"),
        ("HOLL-231-J7", "that of 231 is JV, not J7"),
        ("TREENAIL HOLL-231-JW", "should be JV"),
        ("TREENAIL HOLL:BOX-12-TD", "is the code of a box, drawer or parcel, not of one sample"),
        ("502-T", "that of 502 is 3, not T; compare it with the label and write 502-3$"),
        ("HOLL-502-T", "write 502-3$"),
        ("treenail 1 HOLL-502 T", "should be 3"),
        ("HOLL-132-H", r"that of 132 is \w, not H"),
        ("H0LL-231-H", "is of no site of this record, which has HOLL; perhaps 231-JV is meant"),
        (f"600-{check_letters('HOLL-600')}", "600 is neither recorded nor reserved here; write"),
        (f"600-{check_of('600')}", "600 is neither recorded nor reserved here; write HOLL-600-"),
        ("treenail 1 BARN-12 3", "does not fit"),
        (f"treenail 1 BARN-12 {check_character('BARN-12')}", "is of site BARN, and this record"),
    ],
)
def test_what_is_in_doubt_in_a_cell_is_asked(text, says) -> None:
    with pytest.raises(UnreadableValue, match=says):
        HERE.number_in_cell(text)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("13A", "13A"),
        ("RB-4b", "RB-4b"),
        ("B2-4", "B2-4"),
        ("5023", "5023"),
        ("HOLL-600", "600"),
        (checked_identifier("HOLL", "502T"), "502T"),
    ],
)
def test_a_number_that_is_no_others_is_taken(text, number) -> None:
    assert HERE.number_in_cell(text) == number


def test_a_record_that_numbers_by_letters_goes_on_so() -> None:
    """12 and 12A are two samples here, so 502A is one more; where A fits as well, it is asked."""
    names = SampleNames([("HOLL", "12"), ("HOLL", "12A"), ("HOLL", "502")])
    assert names.number_in_cell("502A") == "502A"
    with pytest.raises(UnreadableValue, match="write 502-3"):
        names.number_in_cell("502T")
    fits = next(str(n) for n in range(100, 999) if check_of(str(n)) == "A")
    names = SampleNames([("HOLL", "12"), ("HOLL", "12A"), ("HOLL", fits)])
    with pytest.raises(UnreadableValue, match=rf"write {fits}-\w\w for the one, or HOLL-{fits}A-"):
        names.number_in_cell(f"{fits}A")


def test_a_misfit_names_what_was_likely_meant() -> None:
    with pytest.raises(UnreadableValue, match=r"write 213-\w or 231-H$"):
        HERE.sample("HOLL-213-H")
    with pytest.raises(UnreadableValue, match=r"write 213-EA or 231-JV$"):
        HERE.sample("HOLL-213-JV")


@pytest.mark.parametrize(
    ("selection", "chosen"),
    [
        ("201–204", ["201", "202", "204"]),
        ("HOLL-201-T", ["201"]),
        ("HOLL-201-AY,201-AY", ["201"]),
        ("TREENAIL HOLL-201-AY\n204", ["201", "204"]),
        ("TREENAIL HOLL:BOX-12-TD, 204", ["260", "201", "204"]),
        ("holl 201 t, 260", ["201", "260"]),
        ("treenail 1 HOLL-201 T\nsite A, B\nnumber 201\nkind core\n204", ["201", "204"]),
        (f"204-{check_of('204')},N7-N9", ["204", "N7", "N9"]),
    ],
)
def test_a_selection_takes_labels_codes_and_what_box_labels_print(selection, chosen) -> None:
    known = ["201", "202", "204", "260", "N7", "N9"]
    names = SampleNames([("HOLL", one) for one in known])
    in_box = {"TREENAIL HOLL:BOX-12-TD": ["260", "201"]}
    assert select_samples(known, selection, names, inside=in_box.__getitem__) == chosen


def test_a_range_that_could_be_a_check_character_is_asked() -> None:
    """A check character may be a digit, so '2-9' can be 2 with its own."""
    number = next(
        str(n) for n in range(10) if check_of(str(n)).isdigit() and check_of(str(n)) > str(n)
    )
    known = [str(n) for n in range(10)]
    names = SampleNames([("HOLL", one) for one in known])
    with pytest.raises(TreenailError, match=rf"write HOLL-{number}-\w\w, or"):
        select_samples(known, f"{number}-{check_of(number)}", names)

"""Check letters by their own promise, and the characters of before against ISO/IEC 7064."""

import itertools
import random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from provenance._base.errors import UnreadableValue
from provenance._identity.check_character import (
    ALPHABET,
    LETTERS,
    check_character,
    check_letters,
    covered_characters,
    fits_check,
    likely_meant,
)

written_identifiers = st.text(ALPHABET, min_size=2, max_size=18)


@pytest.mark.parametrize(
    ("identifier", "check"),
    [
        # python-stdnum 2.2, docstring of stdnum.iso7064.mod_37_36
        ("A12425GABC1234002", "M"),
        # python-stdnum 2.2, docstring of stdnum.grid (Global Release Identifier, MOD 37,36)
        ("A1-2425G-ABC1234002", "M"),
        # python-stdnum 2.2, docstring of stdnum.isan (ISO 15706 audiovisual numbers, MOD 37,36)
        ("0000-0001-8947-0000", "8"),
        ("0000-0000-D07A-0090", "Q"),
        ("0000-0001-8CFA-0000", "I"),
        ("1881-66C7-3420-6541", "Y"),
    ],
)
def test_published_examples_get_their_published_check_character(identifier: str, check: str):
    assert check_character(identifier) == check
    assert fits_check(identifier, check.lower())


def _by_the_standard(text: str, alphabet: str) -> str:
    """The recursive method for hybrid systems (ISO/IEC 7064, from memory), written out by hand."""
    modulus = len(alphabet)
    product = modulus
    for character in text:
        total = (product + alphabet.index(character)) % modulus or modulus
        product = total * 2 % (modulus + 1)
    return alphabet[(1 - product) % modulus]


def test_the_recursive_method_solves_the_standards_own_hybrid_example():
    """ISO/IEC 7064, example for the hybrid system MOD 11,10: 0794 takes 5 (from memory)."""
    assert _by_the_standard("0794", "0123456789") == "5"


@given(written_identifiers)
def test_the_standards_recursive_method_gives_the_same_character(identifier: str):
    assert check_character(identifier) == _by_the_standard(identifier, ALPHABET)


@given(written_identifiers)
def test_the_reference_library_accepts_what_is_issued(identifier: str):
    assert mod_37_36.is_valid(identifier + check_character(identifier))


@given(written_identifiers, st.data())
def test_any_single_wrong_character_is_found(identifier: str, data: st.DataObject):
    whole = identifier + check_character(identifier)
    place = data.draw(st.integers(0, len(whole) - 1))
    wrong = data.draw(st.sampled_from(ALPHABET))
    assume(wrong != whole[place])
    typed = whole[:place] + wrong + whole[place + 1 :]
    assert not fits_check(typed[:-1], typed[-1])


@given(written_identifiers, st.data())
def test_a_swap_is_found_unless_the_two_follow_one_another_in_the_alphabet(
    identifier: str, data: st.DataObject
):
    whole = identifier + check_character(identifier)
    place = data.draw(st.integers(0, len(whole) - 2))
    first, second = whole[place], whole[place + 1]
    assume(first != second)
    typed = whole[:place] + second + first + whole[place + 2 :]
    neighbours = abs(ALPHABET.index(first) - ALPHABET.index(second)) in (1, 35)
    assert neighbours or not fits_check(typed[:-1], typed[-1])


def test_one_pair_in_630_slips_through_at_each_state_of_the_sum():
    """Exhaustive over the 36 states: what the module's promise rests on."""

    def step(product: int, value: int) -> int:
        return ((product + value) % 36 or 36) * 2 % 37

    for product in range(1, 37):
        missed = [
            pair
            for pair in itertools.combinations(range(36), 2)
            if step(step(product, pair[0]), pair[1]) == step(step(product, pair[1]), pair[0])
        ]
        assert len(missed) == 1
        assert missed[0][1] - missed[0][0] in (1, 35)
    assert len(list(itertools.combinations(range(36), 2))) == 630


def test_a_swap_that_slips_through_exists():
    """The promise is no stronger than the truth: these two differ and share a character."""
    pairs = (
        (front + a + b, front + b + a)
        for front in ALPHABET
        for a, b in itertools.pairwise(ALPHABET)
    )
    assert any(check_character(one) == check_character(other) for one, other in pairs)


@given(written_identifiers)
def test_separators_and_case_do_not_matter(identifier: str):
    written = "-".join(identifier.lower())
    assert covered_characters(written) == identifier
    assert check_character(written) == check_character(identifier)


@pytest.mark.parametrize("identifier", ["", "A" * 98])
def test_nothing_and_too_much_are_refused(identifier: str):
    with pytest.raises(UnreadableValue):
        check_character(identifier)


@given(written_identifiers, st.data())
def test_a_swap_or_a_confused_letter_is_among_what_was_likely_meant(
    identifier: str, data: st.DataObject
):
    check = check_character(identifier)
    place = data.draw(st.integers(0, len(identifier) - 2))
    typed = identifier[:place] + identifier[place + 1] + identifier[place] + identifier[place + 2 :]
    assume(not fits_check(typed, check))
    assert identifier in likely_meant(typed, check)


def test_a_letter_o_for_a_zero_is_recognised():
    check = check_character("HOLL-201")
    assert "HOLL-201" in likely_meant("HOLL-2O1", check)


def _identifiers() -> list[str]:
    """250 as crews make them: sites of 2 to 6 signs, numbers with and without letters."""
    draw = random.Random(7)
    sites = [
        "HOLL",
        "MILL",
        "B2",
        "OAK7",
        "NORTH3",
        *("".join(draw.sample(ALPHABET, 4)) for _ in range(45)),
    ]
    numbers = ["1", "37", "201", "1024", "12A", "N7"]
    return [f"{site}-{draw.choice(numbers)}" for site in sites for _ in range(5)]


def test_the_letters_find_every_wrong_sign_swap_and_jump_of_250_identifiers() -> None:
    """Enumerated; a swap across the border of number and letters is not promised."""
    passed_of_lost = lost = 0
    for identifier in _identifiers():
        body, check = covered_characters(identifier), check_letters(identifier)
        assert len(check) == 2
        assert set(check) <= set(LETTERS)
        for at in range(len(body)):
            for other in set(ALPHABET) - {body[at]}:
                assert not fits_check(body[:at] + other + body[at + 1 :], check), (body, other)
            for far in (1, 2):
                if at + far < len(body) and body[at] != body[at + far]:
                    signs = list(body)
                    signs[at], signs[at + far] = signs[at + far], signs[at]
                    assert not fits_check("".join(signs), check), (body, at, far)
            without = body[:at] + body[at + 1 :]
            lost += 1
            passed_of_lost += bool(without) and without != body and fits_check(without, check)
        for wrong in itertools.product(ALPHABET, repeat=2):
            assert fits_check(body, "".join(wrong)) == ("".join(wrong) == check)
    # 1 in 359 by chance, so a few of some 1,500
    assert passed_of_lost / lost < 3 / 359


def test_the_letters_are_as_the_formula_says_and_no_look_alikes() -> None:
    """p = (37 p + value + 1) mod 359, worked by hand for 'A1': 11, then 37 * 11 + 2 = 409 - 359."""
    assert check_letters("A1") == LETTERS[50 // 19] + LETTERS[50 % 19] == "DR"
    assert not set(LETTERS) & set("BGIOQSZ0123456789")


def test_what_was_likely_meant_is_found_by_letters_too() -> None:
    assert likely_meant("HOLL-2O1", "AY") == ("HOLL-201",)
    assert "HOLL-231" in likely_meant("HOLL-213", check_letters("HOLL-231"))

"""Computes the letters that tell a mistyped identifier from a true one.

New labels carry two letters, of a system of this project's own: the characters of the identifier
(0-9 A-Z, values 0 to 35) in turn give p = (37 p + value + 1) mod 359, from p = 0, and p is written
with two of the 19 letters ACDEFHJKLMNPRTUVWXY, which leave out those that are taken for a digit or
for one another (0 and O, 1 and I, 2 and Z, 5 and S, 6 and G, 8 and B). So nobody takes them for a
part of a number. ISO/IEC 7064 has no system for letters and digits whose check characters are such
letters: MOD 37,36 gives digits too, MOD 37-2 also *, MOD 1271-36 two characters of all 36, and the
systems that give letters only (MOD 27,26, MOD 661-26) are for strings of letters.

What they promise. Because 359 is a prime and no power of 37, nor 36 or 37*37 - 1, is a multiple of
it, these are always found: one wrong letter or digit, in the identifier or the letters; two
neighbors in the identifier, or the two letters, that changed places; two characters with one
between them that did. Any other mistake, a lost character too, passes with a chance of 1 in 359.
The tests go through every such mistake in 250 identifiers.

Labels of before carry one character, a letter or digit, by ISO/IEC 7064:2003, hybrid system
MOD 37,36, as carried out by the library python-stdnum; they are read for ever. It finds every
single wrong character, of swaps all but one pair in 630, and misses other mistakes 1 time in 36.

Separators and case are not covered: 'HOLL-231', 'holl 231' and 'HOL-L231' share their letters. Any
other sign of a number as found counts as the hexadecimal digits of its UTF-8.
"""

from __future__ import annotations

import unicodedata

from stdnum.iso7064 import mod_37_36

from provenance._base.errors import UnreadableValue

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
IGNORED = frozenset(" -._/")
LONGEST = 97
"""Two codes of 48 characters, and the hyphen between them."""
LETTERS = "ACDEFHJKLMNPRTUVWXY"
_PRIME = 359

# what hands and old printers confuse; common practice, no source
LOOK_ALIKES = (
    ("0", "O"),
    ("0", "D"),
    ("0", "Q"),
    ("1", "I"),
    ("1", "L"),
    ("1", "7"),
    ("2", "Z"),
    ("3", "8"),
    ("4", "A"),
    ("5", "S"),
    ("6", "G"),
    ("6", "9"),
    ("8", "B"),
    ("M", "N"),
    ("U", "V"),
    ("V", "Y"),
)


def covered_characters(identifier: str) -> str:
    """What the check character covers, as digits and capitals.

    Spaces and `- . _ /` are passed over, unless there is nothing else. Letters with marks and other
    scripts are not transliterated, which two crews would do in two ways.

    >>> covered_characters("holl-231"), covered_characters("É-3")
    ('HOLL231', 'C3893')
    """
    if len(identifier) > LONGEST:
        raise UnreadableValue(
            identifier[:LONGEST] + "…", f"is longer than the {LONGEST} characters of an identifier"
        )
    if not identifier:
        raise UnreadableValue(identifier, "holds no letter or digit to make an identifier of")
    # str.upper() of the whole would turn ß into SS and dotless ı into I without a word
    signs = [
        one.upper() if one.isascii() else one for one in unicodedata.normalize("NFC", identifier)
    ]
    covered = "".join(_covered(one) for one in signs if one not in IGNORED)
    return covered or "".join(map(_covered, signs))


def _covered(sign: str) -> str:
    return sign if sign in ALPHABET else sign.encode("utf-8", "surrogatepass").hex().upper()


def check_letters(identifier: str) -> str:
    """The two letters that new labels carry, over site code and sample number together.

    >>> check_letters("HOLL-201")
    'AY'
    """
    return letters_over(covered_characters(identifier))


def letters_over(covered: str) -> str:
    """The two letters over digits and capitals, each of which counts."""
    state = 0
    for character in covered:
        state = (37 * state + ALPHABET.index(character) + 1) % _PRIME
    return LETTERS[state // len(LETTERS)] + LETTERS[state % len(LETTERS)]


def check_character(identifier: str) -> str:
    """The one check character (0-9 or A-Z) that labels of before carry.

    >>> check_character("A12425-GABC-1234002")
    'M'
    """
    return str(mod_37_36.calc_check_digit(covered_characters(identifier)))


def check_like(identifier: str, written: str) -> str:
    """What would fit in the place of what was written: one character, or else the two letters."""
    return (check_character if len(written) == 1 else check_letters)(identifier)


def is_check(text: str) -> bool:
    """Whether a text stands for check letters: one character, or two that are no number.

    What is in their place may be wrong, also a digit or a stain that was typed as '?'.
    """
    return len(text) == 1 or (len(text) == 2 and not text.isdigit())


def fits_check(identifier: str, check: str) -> bool:
    """Whether letters, or the one character, belong to the identifier; case does not matter."""
    return check.upper() == check_like(identifier, check)


def _one_slip_away(text: str) -> list[str]:
    """Readings one swap of neighbours or one confused shape away, swaps first."""
    readings: list[str] = []
    for place in range(len(text) - 1):
        first, second = text[place], text[place + 1]
        if first != second and {first, second} <= set(ALPHABET):
            readings.append(text[:place] + second + first + text[place + 2 :])
    for place, character in enumerate(text):
        for one, other in LOOK_ALIKES:
            if character in (one, other):
                meant = other if character == one else one
                readings.append(text[:place] + meant + text[place + 1 :])
    return readings


def likely_meant(identifier: str, check: str) -> tuple[str, ...]:
    """Identifiers one common slip away that the check letters do fit, likeliest first.

    A slip is two neighbours that changed places, or a shape taken for another (O for 0). Of the
    readings tried one in 359 fits by chance (one in 36 where one character was written), so this
    is a hint for a person, never a correction.
    """
    covered_characters(identifier)
    readings = dict.fromkeys(_one_slip_away(identifier.upper()))
    return tuple(one for one in readings if fits_check(one, check))

"""Computes the character that tells a mistyped identifier from a true one.

Source: ISO/IEC 7064:2003, hybrid system MOD 37,36 (letters and digits, one check character that is
a letter or a digit), as carried out by the library python-stdnum.

What it promises. Every single wrong character is found. Of two neighbouring characters that
changed places nearly all are found: one pair of characters in 630 slips through at each place,
and always two that follow one another in the order 0-9 A-Z (with 0 after Z). Any other mistake
passes with a chance of about 1 in 36. Separators and case are not covered: 'HOLL-231', 'holl 231'
and 'HOL-L231' share one check character.

It may be any digit or letter, also one that looks like another (0 and O, 1 and I). The system of
the standard that gives letters only (MOD 27,26) is for strings of letters. For letters and digits
together there are MOD 37,36, MOD 37-2 (which adds *) and MOD 1271-36 (two characters); MOD 97-10,
as bank accounts use it, gives two digits, which pass for a part of the number even more easily. So
none gives our identifiers a character without look-alikes. What is printed sets it apart from the
number by place, size, a frame and the word 'check', and whatever reads it verifies it.
"""

from __future__ import annotations

from stdnum.iso7064 import mod_37_36

from provenance._base.errors import UnreadableValue

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
IGNORED = frozenset(" -._/")
LONGEST = 64

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
    """The letters and digits that the check character covers, in capitals.

    Spaces and `- . _ /` are passed over. Letters with marks and other scripts are refused, not
    transliterated: two crews would transliterate them in two ways.

    >>> covered_characters("holl-231")
    'HOLL231'
    """
    if len(identifier) > LONGEST:
        raise UnreadableValue(
            identifier[:LONGEST] + "…", f"is longer than the {LONGEST} characters of an identifier"
        )
    covered: list[str] = []
    for place, character in enumerate(identifier, start=1):
        # str.upper() alone would turn ß into SS and dotless ı into I without a word
        capital = character.upper() if character.isascii() else character
        if capital in ALPHABET:
            covered.append(capital)
        elif capital not in IGNORED:
            raise UnreadableValue(
                identifier,
                f"has {character!r} as character {place}; an identifier is written with the "
                "letters A-Z, digits, and . _ / - between them",
            )
    if not covered:
        raise UnreadableValue(identifier, "holds no letter or digit to make an identifier of")
    return "".join(covered)


def check_character(identifier: str) -> str:
    """The check character (0-9 or A-Z) of a full identifier, site code and sample number together.

    Raises UnreadableValue for characters outside A-Z, 0-9 and the ignored separators.

    >>> check_character("A12425-GABC-1234002")
    'M'
    """
    return str(mod_37_36.calc_check_digit(covered_characters(identifier)))


def fits_check_character(identifier: str, check: str) -> bool:
    """Whether `check` belongs to `identifier`; case does not matter."""
    return check.upper() == check_character(identifier)


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
    """Identifiers one common slip away that the check character does fit, likeliest first.

    A slip is two neighbours that changed places, or a shape taken for another (O for 0). About
    one in 36 of the readings tried fits by chance, so this is a hint for a person, never a
    correction.
    """
    covered_characters(identifier)
    readings = dict.fromkeys(_one_slip_away(identifier.upper()))
    return tuple(one for one in readings if fits_check_character(one, check))

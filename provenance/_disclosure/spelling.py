"""The ways in which a name is written in plain letters, and the endings that it may have."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain, combinations, islice, product

from anyascii import anyascii

from provenance._disclosure.flat import letters_of

_TWO_LETTERS = (
    ("ä", "ae"), ("ö", "oe"), ("ø", "oe"), ("ü", "ue"), ("å", "aa"), ("ñ", "ny"), ("đ", "dj"),
    ("ð", "dh"),
)  # fmt: skip
"""Letters that are written as two where they are missing; see also ICAO Doc 9303, part 3."""
_ONE_LETTER = (("ae", "a"), ("oe", "o"), ("ue", "u"), ("aa", "a"), ("ou", "oy"))
"""What such a pair may stand for, as plain letters; the last one is Greek."""
_FROM_CYRILLIC = (
    # passports (ICAO Doc 9303, part 3, section 6)
    {"ё": "e", "й": "i", "ю": "iu", "я": "ia", "ъ": "ie"},
    # ISO 9, without its accents
    {"ж": "z", "й": "j", "х": "h", "ц": "c", "ч": "c", "ш": "s", "щ": "s", "ю": "u", "я": "a"},
    # as Slavic languages in Latin letters have it, without their accents
    {"ж": "z", "й": "j", "х": "ch", "ц": "c", "ч": "c", "ш": "s", "щ": "sc", "ю": "ju", "я": "ja",
     "ё": "jo"},
    # German
    {"в": "w", "ж": "sch", "з": "s", "й": "j", "х": "ch", "ц": "z", "ч": "tsch", "ш": "sch",
     "щ": "schtsch", "ю": "ju", "я": "ja", "ё": "jo"},
)  # fmt: skip
MOST_WAYS = 64
"""Names of many words are not tried in more combinations of their spellings."""
SHORTEST_STEM = 4
"""A shorter name with an ending is too often another word."""
_CASES = (
    # English, German, Scandinavian
    "s es n en ens e ar ir ur sche sches schen scher sson sen "
    # Slavic, Baltic, Finnish
    "a u y i em om ov ova ovi ove ovy ovych ou ym im ami am ach ich ie ej oj owi a ek nek is as us "
    "lla sta ssa lle ksi in nak nek val vel t ot"
)
ENDINGS = frozenset(_CASES.split())
"""What may follow a whole name."""
_STEM_CASES = (
    "a e i o u y ou oi oj oy oju oyu ej ey ei ie em im om ym am ami ach ich ych ech ovi ova ine in "
    "ina iny inu iej ya yu yem yom eho ego iho iego ieho emu imu iemu imi ymi aja oho omu"
)
STEM_ENDINGS = frozenset(_STEM_CASES.split())
"""What may follow a name without its last vowel, or without the e in its last syllable."""


def spellings(word: str) -> set[str]:
    """A word as `letters_of` gives it, in every way in which it may be written.

    >>> sorted(spellings("Møller"))
    ['moeller', 'moller']
    >>> sorted(spellings("Mueller"))
    ['mueller', 'muller']
    """
    low = word.lower()
    present = [pair for pair in _TWO_LETTERS if pair[0] in low]
    some = chain.from_iterable(combinations(present, size) for size in range(len(present) + 1))
    found = {letters_of(_exchanged(low, pairs)) for pairs in islice(some, MOST_WAYS)}
    found.update(_from_cyrillic(low))
    found |= {_exchanged(one, (("oy", "ou"),)) for one in found if _is_greek(low)}
    found |= {_exchanged(one, (pair,)) for one in found for pair in _ONE_LETTER if len(one) > 4}
    found |= {_romanized(low)}
    return found - {""}


def _exchanged(text: str, pairs: tuple[tuple[str, str], ...]) -> str:
    for old, new in pairs:
        text = text.replace(old, new)
    return text


def _is_greek(low: str) -> bool:
    return any("\u0370" <= one <= "\u03ff" or "\u1f00" <= one <= "\u1fff" for one in low)


def _from_cyrillic(low: str) -> Iterator[str]:
    if not any("\u0400" <= one <= "\u04ff" for one in low):
        return
    for way in _FROM_CYRILLIC:
        yield letters_of("".join(way.get(one, one) for one in low))
    for old, new in (("ский", "ski"), ("ий", "y"), ("ый", "y")):
        if low.endswith(old):
            yield letters_of(low.removesuffix(old) + new)
    if low.endswith("ов") or low.endswith("ев"):
        yield letters_of(low[:-1] + "ff")


def _romanized(low: str) -> str:
    """A name of a script without capitals in Latin letters, as it may stand in another text."""
    return letters_of(anyascii(low))


def stems(word: str) -> set[str]:
    """What is left of a name, in plain letters, before some of its endings.

    >>> sorted(stems("jana")), sorted(stems("pavel")), sorted(stems("novotny"))
    ([], ['pavl'], ['novotn'])
    """
    found = {word[:-1]} if word[-1:] in ("a", "e", "i", "o", "y") else set()
    if word[-3:-2] not in ("a", "e", "i", "o", "u", "y") and word[-2:] in ("el", "ec", "ek", "en"):
        found.add(word[:-2] + word[-1])
    return {one for one in found if one.isascii() and len(one) >= SHORTEST_STEM}


def short_cases(word: str) -> set[str]:
    """Forms of a short Slavic name in -a, whose stem alone is too short to be looked for.

    >>> sorted(short_cases("iva"))
    ['ive', 'ivoi', 'ivou', 'ivoy', 'ivu', 'ivy']
    """
    if not word.isascii() or word[-1:] != "a" or not 3 <= len(word) <= SHORTEST_STEM:
        return set()
    return {word[:-1] + ending for ending in ("y", "e", "u", "ou", "oy", "oi")}


def joined(words: list[str]) -> set[str]:
    """Several words written as one, each in any of its spellings."""
    return {"".join(ways) for ways in islice(product(*map(spellings, words)), MOST_WAYS)}

"""Tells keys that count or abbreviate from those that could tell a place or a person.

What may stand in public as it is has the form of a counter: B1-014, T001, P-231, C-2023-1. A word,
a long number, two numbers with points of the compass, the initials of somebody who is not named, or
the beginning of a withheld name are taken for telling, and get a stand-in.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from provenance._bundle.redaction.masking import Masker
from provenance._disclosure.flat import letters_of

MOST_LETTERS = 3
"""So many letters in a row abbreviate something; more are a word, which must be of the trade."""
MOST_DIGITS = 8
MOST_COUNTED = 5
"""A counter of that many digits; six are the degrees, minutes and seconds of a place."""
SHORTEST_BEGINNING = 3
_PART = re.compile(r"([A-Za-z]*)([0-9]{0,5})([A-Za-z]?)")
_YEAR = re.compile(r"1[0-9]{3}|20[0-9]{2}")
_COMPASS = re.compile(r"[NSEWnsew][0-9]{2,}|[0-9]{2,}[NSEWnsew]")
_LETTERS = re.compile(r"[^\W\d_]+")
_BRACKETS = re.compile(r"\([^)]*\)")


class KeyJudge:
    """Judges the keys of one record; made once."""

    def __init__(self, masker: Masker, names: Iterable[str], trade_words: Iterable[str]) -> None:
        """`names` are withheld names of people and places; `trade_words` give nobody away."""
        self._masker = masker
        self._trade = {one for word in trade_words if len(one := letters_of(word)) > MOST_LETTERS}
        self._initials: set[str] = set()
        self._words: set[str] = set()
        for name in names:
            words = [letters_of(word) for word in _LETTERS.findall(_BRACKETS.sub(" ", name))]
            words = [word for word in words if word]
            self._words.update(words)
            first = "".join(word[0] for word in words)
            if len(words) > 1:
                # written either way round, and without what stands in the middle
                self._initials.update({first, first[-1] + first[:-1], first[0] + first[-1]})

    def telling(self, keys: Sequence[str]) -> set[str]:
        """Those of the keys that must not stand in public."""
        found = {key for key in keys if not self._has_safe_form(key)}
        return found | self.holding(keys)

    def holding(self, keys: Sequence[str]) -> set[str]:
        """Those of the keys that hold something withheld, whatever form they have."""
        spelled = [(key, text) for key in keys for text in _spellings(key)]
        masked = self._masker.masked([text for _, text in spelled])
        found = {key for (key, text), new in zip(spelled, masked, strict=True) if new != text}
        return found | {key for key in keys if any(map(self._abbreviates, _runs(key)))}

    def _has_safe_form(self, key: str) -> bool:
        if key.isascii() and key.isdigit():
            return len(key) <= MOST_COUNTED
        parts = re.split(r"[-._/:]", key)
        digits = re.findall("[0-9]+", key)
        if sum(map(len, digits)) > MOST_DIGITS or len(_COMPASS.findall(key)) > 1:
            return False
        # two words together are a name, though each of them is a plain one
        if sum(len(one) >= MOST_LETTERS for one in _LETTERS.findall(key)) > 1:
            return False
        # a long number counts where at most a figure or year is beside it: B1-01234, not 724-4145
        numbers = [one for one in digits if len(one) > 1 and not _YEAR.fullmatch(one)]
        if len(numbers) > 1 and max(map(len, numbers)) > 3:
            return False
        return all(
            (match := _PART.fullmatch(part))
            and (len(match[1]) <= MOST_LETTERS or letters_of(match[1]) in self._trade)
            for part in parts
        )

    def _abbreviates(self, letters: str) -> bool:
        if letters in self._initials:
            return True
        return len(letters) >= SHORTEST_BEGINNING and any(
            word.startswith(letters) for word in self._words
        )


def _runs(key: str) -> Iterator[str]:
    """The letters of a key, between its digits and marks."""
    for one in _LETTERS.findall(key):
        yield letters_of(one)


def _spellings(key: str) -> Iterator[str]:
    """A key as it stands, and with blanks where a reader would part it."""
    yield key
    apart = re.sub(r"[^\w.]|_", " ", key)
    yield apart
    yield re.sub(r"(?<=[^\W\d])(?=\d)|(?<=\d)(?=[^\W\d])", " ", apart)

"""Reads a text as its letters and digits alone, so that no blank, hyphen or accent hides a word.

Scripts with small and capital letters become plain Latin letters (Møller is moller, Петров is
petrov); others stay as they are, since Latin letters would make many of their words alike.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

from anyascii import anyascii

from provenance._disclosure.plain_text import plain

_OTHER = re.compile("[^0-9a-z]+")


@lru_cache(maxsize=16384)  # the words of the vocabularies are asked for with every record
def letters_of(text: str) -> str:
    """The letters and digits of a text, small, without accents.

    >>> letters_of("Old-Mill_House (Zoë Møller)")
    'oldmillhousezoemoller'
    """
    if text.isascii():
        return _OTHER.sub("", text.lower())
    return "".join(map(_fold, plain(text).text))


@lru_cache(maxsize=4096)
def _fold(character: str) -> str:
    if character.lower() != character.upper() or character.isascii():
        return _OTHER.sub("", anyascii(character).lower())
    parts = unicodedata.normalize("NFKD", character)
    return "".join(one for one in parts if one.isalnum())


def is_ideograph(character: str) -> bool:
    """Whether it is of a script that writes whole names in two or three characters, unparted."""
    return character >= "\u2e80" and character.isalpha()


class Flat:
    """One text, its plain form, and where in that each of its letters stands."""

    def __init__(self, text: str) -> None:
        self.given = text
        self.plain = plain(text)
        self.text = self.plain.text
        letters: list[str] = []
        self._at: list[int] = []
        for place, character in enumerate(self.text):
            for one in _fold(character):
                letters.append(one)
                self._at.append(place)
        self.letters = "".join(letters)

    def stretches(self, key: str) -> Iterator[tuple[int, int]]:
        """Where in the plain text the letters stand in a row; never half of a character."""
        at = self._at
        start = self.letters.find(key)
        while start >= 0:
            end = start + len(key)
            starts = start == 0 or at[start - 1] != at[start]
            if starts and (end == len(at) or at[end - 1] != at[end]):
                yield at[start], at[end - 1] + 1
            start = self.letters.find(key, start + 1)

    def lines_between(self, first: int, last: int) -> bool:
        """Whether a line ends within a stretch of the plain text."""
        start, end = self.plain.span(first, last)
        return "\n" in self.given[start:end]


class Wanted:
    """Letters or digits that are looked for in many texts at once."""

    def __init__(self, keys: Iterable[str]) -> None:
        self._keys = sorted(set(keys) - {""})

    def held_by(self, texts: Sequence[str]) -> list[list[str]]:
        """Which of them each text holds; the texts are letters or digits alone as well."""
        import polars as pl

        if not self._keys or not texts:
            return [[] for _ in texts]
        series = pl.Series(texts, dtype=pl.String)
        found = series.str.extract_many(self._keys, overlapping=True).to_list()
        return [list(dict.fromkeys(keys)) for keys in found]

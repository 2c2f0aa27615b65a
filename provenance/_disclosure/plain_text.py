"""Reads a text as a search must: digits of any script as ASCII, nothing hidden, places kept."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

_HIDDEN = frozenset({"Cf", "Cc", "Mn", "Me", "Co", "Cs"})
"""Joiners, direction marks, controls and accents that stand alone."""
_SAME_SIGN = str.maketrans("‐‑‒–—−º˚’‘‛`´“”‟٫٬", "------°°'''''\"\"\".,")


@dataclass(frozen=True)
class PlainText:
    """A text in its compatible form (Unicode NFKC) and where each character of it came from."""

    text: str
    places: Sequence[int]

    def span(self, start: int, end: int) -> tuple[int, int]:
        """The stretch of the text as it was given that stands for one of the plain text."""
        return self.places[start], self.places[end - 1] + 1


def plain(text: str) -> PlainText:
    """The text as it is read, not as it is coded.

    >>> plain("３７°２８′\\u200b N").text
    "37°28' N"
    """
    if text.isascii() and text.isprintable():
        return PlainText(text, range(len(text)))
    letters: list[str] = []
    places: list[int] = []
    for place, character in enumerate(text):
        if character in "\n\r\t":
            read = " "
        elif character in "′″":
            read = "'" if character == "′" else '"'
        else:
            read = unicodedata.normalize("NFKC", character).translate(_SAME_SIGN)
        for one in read:
            if unicodedata.category(one) in _HIDDEN:
                continue
            digit = unicodedata.decimal(one, None)
            letters.append(one if digit is None else str(digit))
            places.append(place)
    return PlainText("".join(letters), places)

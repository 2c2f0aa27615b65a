"""Reads a text as a search must: digits of any script as ASCII, nothing hidden, places kept."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

_HIDDEN = frozenset({"Cf", "Cc", "Mn", "Me", "Co", "Cs"})
"""Joiners, direction marks, controls and accents that stand alone."""
_SAME_SIGN = {
    ord(written): meant
    for meant, many in (
        ("-", "‐‑‒–—−"), ("°", "º˚∘◦⁰ᵒ"), ("'", "′’‘‛`´"), ('"', "″“”‟"),
        (" ", "\n\r\t"), (".", "٫"), (",", "٬"),
    )
    for written in many
}  # fmt: skip
"""Signs as they are typed; the compatible form of some is a letter or another sign."""


@dataclass(frozen=True)
class PlainText:
    """A text in its compatible form (Unicode NFKC) and where each character of it came from."""

    text: str
    places: Sequence[int]

    def span(self, start: int, end: int) -> tuple[int, int]:
        """The stretch of the text as it was given that stands for one of the plain text."""
        return self.places[start], self.places[end - 1] + 1


@lru_cache(maxsize=4096)
def plain(text: str) -> PlainText:
    """The text as it is read, not as it is coded; kept, because each net asks for it.

    >>> plain("３７°２８′\\u200b N").text
    "37°28' N"
    """
    if text.isascii():
        typed = text.translate(_SAME_SIGN)
        if typed.isprintable():
            return PlainText(typed, range(len(text)))
    letters = list(map(_read, text))
    places = [place for place, read in enumerate(letters) for _ in read]
    return PlainText("".join(letters), places)


@lru_cache(maxsize=65_536)
def _read(character: str) -> str:
    """What a character is read as: a sign, several (a ligature), or none."""
    read = unicodedata.normalize("NFKC", character.translate(_SAME_SIGN)).translate(_SAME_SIGN)
    shown = (one for one in read if unicodedata.category(one) not in _HIDDEN)
    digits = ((one, unicodedata.decimal(one, None)) for one in shown)
    return "".join(one if digit is None else str(digit) for one, digit in digits)

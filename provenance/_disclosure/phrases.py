"""Finds whole texts that are withheld, such as a permit or an address, within other texts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from provenance._disclosure.common_words import CommonWords, common_words
from provenance._disclosure.flat import Flat, Wanted, is_ideograph, letters_of
from provenance._disclosure.hits import Hit

ANYWHERE = 8
"""A text of so many letters and digits counts even within a longer word."""
SHORTEST = 4
"""Shorter ones are too often a part of plain words."""


class PhraseNet:
    """Searches texts for whole texts that are withheld, with any blanks and signs within them."""

    def __init__(self, phrases: Mapping[str, str], common: CommonWords | None = None) -> None:
        """`phrases` maps each text to the table and field that it is withheld in."""
        common = common or common_words()
        self._anywhere: dict[str, str] = {}
        self._whole: dict[str, dict[str, str]] = {}
        for phrase, field in phrases.items():
            letters = letters_of(phrase)
            ideographic = len(letters) > 1 and any(map(is_ideograph, letters))
            is_small_number = letters.isdigit() and len(letters) <= 4
            is_short = len(letters) < SHORTEST and not ideographic
            if letters in common.trade or is_small_number or is_short:
                continue
            if len(letters) >= ANYWHERE or ideographic:
                self._anywhere.setdefault(letters, field)
            else:
                self._whole.setdefault(letters, {})[phrase] = field
        self._wanted = Wanted(self._anywhere.keys() | self._whole)

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """Every withheld text in each text."""
        held = self._wanted.held_by(list(map(letters_of, texts)))
        return [
            list(self._hits_in(text, keys)) if keys else []
            for text, keys in zip(texts, held, strict=True)
        ]

    def _hits_in(self, text: str, keys: Sequence[str]) -> Iterator[Hit]:
        flat = Flat(text)
        for key in keys:
            for first, last in flat.stretches(key):
                field = self._anywhere.get(key)
                if field is None:
                    field = self._field_of_whole(flat.text, first, last, key)
                if field is not None:
                    what = f"a text withheld in {field}" if field else "a text that is withheld"
                    yield Hit(*flat.plain.span(first, last), what)

    def _field_of_whole(self, text: str, first: int, last: int, key: str) -> str | None:
        if text[first - 1 : first].isalnum() or text[last : last + 1].isalnum():
            return None
        here = text[first:last]
        for phrase, field in self._whole[key].items():
            # one short plain word counts only as it was written: 'post' is not 'Post'
            if not phrase.isalpha() or here == phrase or here.isupper():
                return field
        return None

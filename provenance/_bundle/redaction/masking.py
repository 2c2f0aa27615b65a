"""Finds withheld values inside open texts and replaces them.

Texts are compared squeezed: letters and digits alone, in small letters, without accents. So a name
is found with any blanks, hyphens or underscores between its words, in capitals, or run together.
"""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain, pairwise

from provenance._checks.rules.privacy import COORDINATES, EMAIL, PHONE
from provenance._disclosure.hits import Hit

WITHHELD = "[withheld]"
ANYWHERE = 8
"""A squeezed text of so many characters is replaced even within a longer word."""
SHORTEST = 4
"""Shorter ones are too often a part of plain words; people's codes are another matter."""
FIRST_IDEOGRAPH = "\u2e80"
"""From here on scripts write whole names in two or three characters, with no blanks between."""
NEAR_DEGREES = 0.15
NEAR_METRES = 10_000
SEAL = r"(?i)(?<![0-9a-f])([0-9a-f]{64})(?![0-9a-f])"
"""A seal in a text could be tried out against guesses of what it covers."""
_ADDRESS = re.compile(EMAIL)
_DIGITS = {
    "telephone number": re.compile(PHONE),
    "coordinates": re.compile(COORDINATES),
    "seal of the ledger": re.compile(SEAL),
}
_TELLING = re.compile(
    r"[0-9][.,][0-9]{2}|[0-9]{4}|[0-9][eE]|°|º|deg|[0-9][ :][0-9]{1,2}(?:[.,][0-9]+)?[ :'′’][0-9]?"
)
"""What a text must hold to be asked for coordinates one number at a time, which takes long."""
_NUMBERS = tuple(
    re.compile(rf"(?<![0-9.])[-+]?[0-9]+(?:{mark}[0-9]+)?(?:[eE][-+]?[0-9]{{1,2}})?(?![0-9])")
    for mark in (r"\.", ",")
)
"""Both ways of writing a decimal, since '1,51.4739' holds other numbers in each."""
_WORD = re.compile(r"[^\W_]+")
_UNIT = re.compile(r"\s?(?:mm|cm|m|km|ft|in|kg|%)(?![^\W_])")
_MINUTES = re.compile(
    r"(?<![0-9.,])([0-9]{1,3})(?:\s?(?:°|º|deg)\s?|[ :])(?:([0-9]{1,2}(?:[.,][0-9]+)?)"
    r"(?:\s?['′’]\s?|[ :]|(?![0-9]))(?:([0-9]{1,2}(?:[.,][0-9]+)?)\s?[\"″”]?)?)?\s?[NSEW]?"
)
"""Degrees, minutes, seconds with or without their signs; the last two may be missing."""


@dataclass
class WithheldValues:
    """What must not stand in an open text.

    `phrases` are whole withheld texts, `full_names` those of them that are names, `names` single
    words of names, which count when they are written with a capital; `codes` map people's codes to
    what stands for them in public; `latitudes`, `longitudes` (degrees), `metres` and `numbers` are
    withheld coordinates and other numbers.
    """

    phrases: set[str] = field(default_factory=set)
    full_names: set[str] = field(default_factory=set)
    names: set[str] = field(default_factory=set)
    codes: dict[str, str] = field(default_factory=dict)
    latitudes: set[float] = field(default_factory=set)
    longitudes: set[float] = field(default_factory=set)
    metres: set[float] = field(default_factory=set)
    numbers: set[float] = field(default_factory=set)


def squeezed(text: str) -> str:
    """The letters and digits of a text, small, without accents.

    >>> squeezed("Old-Mill_House (Zoë)")
    'oldmillhousezoe'
    """
    if text.isascii():
        return re.sub(r"[^0-9a-z]+", "", text.lower())
    return "".join(map(_fold, text))


def _fold(character: str) -> str:
    plain = unicodedata.normalize("NFKD", character.lower())
    return "".join(one for one in plain if one.isalnum())


class Masker:
    """Replaces withheld values in texts; made once for a package."""

    def __init__(self, values: WithheldValues, trade_words: Iterable[str] = ()) -> None:
        """`trade_words` are words of the vocabularies, which alone give nothing away."""
        common = {squeezed(word) for word in trade_words}
        self._anywhere: set[str] = set()
        self._whole: dict[str, set[str]] = {}
        for phrase in values.phrases:
            plain = squeezed(phrase)
            ideographic = len(plain) > 1 and any(one >= FIRST_IDEOGRAPH for one in plain)
            is_small_number = plain.isdigit() and len(plain) <= 4
            is_short = len(plain) < SHORTEST and not ideographic
            if plain in common or is_small_number or is_short:
                continue
            if len(plain) >= ANYWHERE or ideographic:
                self._anywhere.add(plain)
            else:
                self._whole.setdefault(plain, set()).add(phrase)
        self._names = {plain for name in values.names if (plain := squeezed(name)) not in common}
        self._codes = {code: new for code, new in values.codes.items() if len(code) > 1}
        self.codes = frozenset(self._codes)
        self._code = _code_pattern(self._codes)
        self._code_words = {_WORD.findall(code)[0] for code in self._codes if _WORD.search(code)}
        self._latitudes = sorted({abs(one) for one in values.latitudes})
        self._longitudes = sorted({abs(one) for one in values.longitudes})
        self._degrees = sorted({*self._latitudes, *self._longitudes})
        self._metres = sorted({abs(one) for one in values.metres})
        self._numbers = {abs(one) for one in values.numbers if _is_telling(one)}
        wanted = self._anywhere | set(self._whole) | self._names
        self._wanted = sorted(one for one in wanted if one)

    def masked(self, texts: Sequence[str]) -> list[str]:
        """The texts with every withheld value replaced; the same length and order."""
        known: dict[str, str] = {}
        once = list(dict.fromkeys(texts))
        found = self._found_in(once)
        for text, words in zip(once, found, strict=True):
            known[text] = self._mask_one(text, set(words)) if text else text
        return [known[text] for text in texts]

    def mask(self, text: str) -> str:
        """One text with every withheld value replaced."""
        return self.masked([text])[0]

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """What is found in each text, in their order; texts without anything have an empty list."""
        once = list(dict.fromkeys(texts))
        found = self._found_in(once)
        known = {
            text: _outermost(self._hits_in(text, set(words)))
            for text, words in zip(once, found, strict=True)
        }
        return [known[text] for text in texts]

    def _hits_in(self, text: str, words: set[str]) -> Iterator[Hit]:
        for what, spans in self._spans(text, words).items():
            yield from (Hit(*span, what) for span in dict.fromkeys(spans))
        if self._code and not self._code_words.isdisjoint(_WORD.findall(text)):
            for match in self._code.finditer(text):
                yield Hit(*match.span(), "code of a person")

    def is_clean(self, text: str) -> bool:
        """Whether nothing in the text had to be replaced."""
        return self.mask(text) == text

    def is_clean_file(self, lines: Sequence[str]) -> bool:
        """Whether nothing in the lines of a text file is withheld.

        A line without letters is a row of measurements: a number in it counts as half a position
        only where the other half stands beside it.
        """
        with_words = [line for line in lines if any(map(str.isalpha, line))]
        # a name may be broken over two lines
        pairs = [" ".join(pair) for pair in pairwise(lines)]
        if self.masked(with_words) != with_words or not self._without_words(pairs):
            return False
        return not any(self._holds_position(line) for line in set(lines) - set(with_words))

    def _without_words(self, texts: Sequence[str]) -> bool:
        found = self._found_in(texts)
        return not any(
            self._word_spans(text, set(words))
            for text, words in zip(texts, found, strict=True)
            if words
        )

    def _holds_position(self, line: str) -> bool:
        found = {one.span(): one[0] for form in _NUMBERS for one in form.finditer(line)}
        numbers = [float(text.replace(",", ".").lstrip("+-")) for text in found.values()]
        near = [
            [n for n in numbers if _nearest(axis, n) <= NEAR_DEGREES and n % 1]
            for axis in (self._latitudes, self._longitudes)
        ]
        far = [n for n in numbers if n >= 10_000 and _nearest(self._metres, n) <= NEAR_METRES]
        return all(near) or len(far) > 1 or any(n in self._numbers for n in numbers if n % 1)

    def _found_in(self, texts: Sequence[str]) -> list[list[str]]:
        """The withheld words that each text holds, squeezed."""
        import polars as pl

        if not self._wanted or not texts:
            return [[] for _ in texts]
        series = pl.Series([squeezed(text) for text in texts], dtype=pl.String)
        return series.str.extract_many(self._wanted, overlapping=True).to_list()

    def _mask_one(self, text: str, words: set[str]) -> str:
        spans = [span for found in self._spans(text, words).values() for span in found]
        masked = _replaced(text, spans)
        if self._code and not self._code_words.isdisjoint(_WORD.findall(text)):
            masked = self._code.sub(lambda match: self._codes[match[0]], masked)
        return masked

    def _spans(self, text: str, words: set[str]) -> dict[str, list[tuple[int, int]]]:
        """Where withheld values stand, by what they are in a few words."""
        found: dict[str, list[tuple[int, int]]] = {}
        if "@" in text:
            found["e-mail address"] = _groups(_ADDRESS, text)
        if len(text) >= 64 or any(map(str.isdigit, text)):
            for what, pattern in _DIGITS.items():
                found[what] = _groups(pattern, text)
            if _TELLING.search(text):
                found["number that is withheld elsewhere"] = self._number_spans(text)
        if words:
            found["name or words that are withheld elsewhere"] = self._word_spans(text, words)
        return found

    def _word_spans(self, text: str, words: set[str]) -> list[tuple[int, int]]:
        plain: list[str] = []
        places: list[int] = []
        for place, character in enumerate(text):
            for one in _fold(character):
                plain.append(one)
                places.append(place)
        joined = "".join(plain)
        spans = []
        for word in words:
            start = joined.find(word)
            while start >= 0:
                first, last = places[start], places[start + len(word) - 1] + 1
                if self._counts(word, text, first, last):
                    spans.append((first, last))
                start = joined.find(word, start + 1)
        return spans

    def _counts(self, word: str, text: str, first: int, last: int) -> bool:
        if word in self._anywhere:
            return True
        before, after = text[first - 1 : first], text[last : last + 1]
        if before.isalnum() or after.isalnum():
            return False
        here = text[first:last]
        if word in self._names and not here[0].islower():
            return True
        # one short plain word counts only as it was written: 'post' is not 'Post'
        return any(
            not phrase.isalpha() or here == phrase or here.isupper()
            for phrase in self._whole.get(word, ())
        )

    def _number_spans(self, text: str) -> list[tuple[int, int]]:
        spans = []
        for match in chain.from_iterable(one.finditer(text) for one in _NUMBERS):
            token = match[0].replace(",", ".").lstrip("+-")
            value = float(token)
            digits = token.split("e")[0]
            decimals = len(digits.partition(".")[2])
            is_size = decimals < 4 and _UNIT.match(text, match.end())
            # the fewer decimals, the nearer it must come to be taken for a withheld one
            reach = NEAR_DEGREES if decimals >= 3 else 0.006
            if (
                (decimals >= 2 and not is_size and _nearest(self._degrees, value) <= reach)
                or (value >= 10_000 and _nearest(self._metres, value) <= NEAR_METRES)
                or value in self._numbers
            ):
                spans.append(match.span())
        if self._degrees:
            for match in _MINUTES.finditer(text):
                value = float(match[1])
                for part, unit in ((match[2], 60), (match[3], 3600)):
                    value += float((part or "0").replace(",", ".")) / unit
                signed = match[2] and (match[3] or match[0][len(match[1])] not in " :")
                if signed and _nearest(self._degrees, value) <= NEAR_DEGREES:
                    spans.append(match.span())
        return spans


def _outermost(hits: Iterable[Hit]) -> list[Hit]:
    """Hits by where they begin, without those that lie within another."""
    kept: list[Hit] = []
    for one in sorted(hits, key=lambda one: (one.start, -one.end)):
        if not kept or one.end > kept[-1].end:
            kept.append(one)
    return kept


def _nearest(values: Sequence[float], value: float) -> float:
    """The distance to the nearest of sorted values."""
    place = bisect_left(values, value)
    return min((abs(one - value) for one in values[max(place - 1, 0) : place + 1]), default=1e99)


def _is_telling(value: float) -> bool:
    """Whether a number has four figures or more, so that it is hardly met by chance."""
    digits = f"{abs(value):.12g}".replace(".", "").strip("0")
    return len(digits) >= 4


def _code_pattern(codes: Mapping[str, str]) -> re.Pattern[str] | None:
    """People's codes where they stand alone: MB in 'MB/TQ', but not in 'MB-014' or 'plumb'."""
    if not codes:
        return None
    longest_first = sorted(codes, key=lambda code: (-len(code), code))
    any_code = "|".join(re.escape(code) for code in longest_first)
    return re.compile(rf"(?<![^\W_])(?<![^\W_][-._])(?:{any_code})(?![^\W_])(?![-._][^\W_])")


def _groups(pattern: re.Pattern[str], text: str) -> list[tuple[int, int]]:
    return [match.span(1) for match in pattern.finditer(text)]


def _replaced(text: str, spans: list[tuple[int, int]]) -> str:
    """The text with the spans replaced; spans that touch or overlap become one."""
    if not spans:
        return text
    parts: list[str] = []
    done = 0
    start, end = -1, -1
    for first, last in sorted(spans):
        if start >= 0 and not text[end:first].strip():
            end = max(end, last)
            continue
        if start >= 0:
            parts += [text[done:start], WITHHELD]
            done = end
        start, end = first, last
    parts += [text[done:start], WITHHELD, text[end:]]
    return "".join(parts)

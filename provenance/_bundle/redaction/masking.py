"""Finds withheld values inside open texts and replaces them.

Texts are compared squeezed: letters and digits alone, in small letters, without accents. So a name
is found with any blanks, hyphens or underscores between its words, in capitals, or run together.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain, pairwise

from provenance._checks.rules.privacy import EMAIL, PHONE
from provenance._disclosure.hits import Hit
from provenance._disclosure.places.frames import Point
from provenance._disclosure.places.net import PlaceNet

WITHHELD = "[withheld]"
ANYWHERE = 8
"""A squeezed text of so many characters is replaced even within a longer word."""
SHORTEST = 4
"""Shorter ones are too often a part of plain words; people's codes are another matter."""
FIRST_IDEOGRAPH = "\u2e80"
"""From here on scripts write whole names in two or three characters, with no blanks between."""
SEAL = r"(?i)(?<![0-9a-f])([0-9a-f]{64})(?![0-9a-f])"
"""A seal in a text could be tried out against guesses of what it covers."""
_ADDRESS = re.compile(EMAIL)
_DIGITS = {"telephone number": re.compile(PHONE), "seal": re.compile(SEAL)}
_NUMBERS = tuple(
    re.compile(rf"(?<![0-9.])[-+]?[0-9]+(?:{mark}[0-9]+)?(?:[eE][-+]?[0-9]{{1,2}})?(?![0-9])")
    for mark in (r"\.", ",")
)
"""Both ways of writing a decimal, since '1,51.4739' holds other numbers in each."""
_WORD = re.compile(r"[^\W_]+")


@dataclass
class WithheldValues:
    """What must not stand in an open text.

    `phrases` are whole withheld texts, `full_names` those of them that are names, `names` single
    words of names, which count when they are written with a capital; `codes` map people's codes to
    what stands for them in public; `points` are withheld places; `latitudes`, `longitudes`
    (degrees) and `metres` their coordinates one by one, `numbers` other withheld numbers.
    """

    phrases: set[str] = field(default_factory=set)
    full_names: set[str] = field(default_factory=set)
    names: set[str] = field(default_factory=set)
    codes: dict[str, str] = field(default_factory=dict)
    points: set[Point] = field(default_factory=set)
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
        self._places = PlaceNet(
            sorted(values.points),
            values.metres,
            latitudes=values.latitudes,
            longitudes=values.longitudes,
        )
        self._numbers = {abs(one) for one in values.numbers if _is_telling(one)}
        wanted = self._anywhere | set(self._whole) | self._names
        self._wanted = sorted(one for one in wanted if one)

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """What is withheld in each text, in the order in which it stands there."""
        return [
            sorted([*hits, *self._code_hits(text)], key=lambda one: (one.start, one.end))
            for text, hits in zip(texts, self._telling_hits(texts), strict=True)
        ]

    def masked(self, texts: Sequence[str]) -> list[str]:
        """The texts with every withheld value replaced; the same length and order."""
        once = list(dict.fromkeys(texts))
        found = zip(once, self._telling_hits(once), strict=True)
        known = {text: self._mask_one(text, hits) for text, hits in found}
        return [known[text] for text in texts]

    def mask(self, text: str) -> str:
        """One text with every withheld value replaced."""
        return self.masked([text])[0]

    def is_clean(self, text: str) -> bool:
        """Whether nothing in the text had to be replaced."""
        return self.mask(text) == text

    def is_clean_file(self, lines: Sequence[str]) -> bool:
        """Whether nothing in the lines of a text file is withheld."""
        with_words = [line for line in lines if any(map(str.isalpha, line))]
        # a name may be broken over two lines
        pairs = [" ".join(pair) for pair in pairwise(lines)]
        if not self._without_words([*with_words, *pairs]) or self._places.hits_in_file(lines):
            return False
        if any(self._other_hits(line, set()) or self._code_hits(line) for line in with_words):
            return False
        return not any(self._holds_number(line) for line in set(lines) - set(with_words))

    def _without_words(self, texts: Sequence[str]) -> bool:
        found = self._found_in(texts)
        return not any(
            self._word_spans(text, set(words))
            for text, words in zip(texts, found, strict=True)
            if words
        )

    def _holds_number(self, line: str) -> bool:
        """Whether a row of measurements has a withheld number; a whole one may be any width."""
        return any(float(token) % 1 for _, token in self._withheld_numbers(line))

    def _found_in(self, texts: Sequence[str]) -> list[list[str]]:
        """The withheld words that each text holds, squeezed."""
        import polars as pl

        if not self._wanted or not texts:
            return [[] for _ in texts]
        series = pl.Series([squeezed(text) for text in texts], dtype=pl.String)
        return series.str.extract_many(self._wanted, overlapping=True).to_list()

    def _telling_hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """Everything but the codes of people, which have something else that stands for them."""
        together = zip(texts, self._found_in(texts), self._places.hits(texts), strict=True)
        return [[*places, *self._other_hits(text, set(words))] for text, words, places in together]

    def _other_hits(self, text: str, words: set[str]) -> list[Hit]:
        found = {"e-mail address": _groups(_ADDRESS, text) if "@" in text else []}
        if len(text) >= 64 or any(map(str.isdigit, text)):
            found |= {what: _groups(pattern, text) for what, pattern in _DIGITS.items()}
            found["number"] = [span for span, _ in self._withheld_numbers(text)]
        if words:
            found["name or text"] = self._word_spans(text, words)
        return [Hit(*span, what) for what, spans in found.items() for span in spans]

    def _code_hits(self, text: str) -> list[Hit]:
        if not self._code or self._code_words.isdisjoint(_WORD.findall(text)):
            return []
        return [Hit(*one.span(), "code of a person") for one in self._code.finditer(text)]

    def _mask_one(self, text: str, hits: Sequence[Hit]) -> str:
        masked = _replaced(text, [(hit.start, hit.end) for hit in hits])
        if self._code and not self._code_words.isdisjoint(_WORD.findall(text)):
            masked = self._code.sub(lambda match: self._codes[match[0]], masked)
        return masked

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

    def _withheld_numbers(self, text: str) -> Iterator[tuple[tuple[int, int], str]]:
        """Place and figures of each number that is withheld elsewhere as a number."""
        for match in chain.from_iterable(one.finditer(text) for one in _NUMBERS):
            token = match[0].replace(",", ".").lstrip("+-")
            if float(token) in self._numbers:
                yield match.span(), token


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

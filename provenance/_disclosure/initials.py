"""Finds initials and codes of people in texts, with and without points and blanks."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations, islice, pairwise, product

from provenance._disclosure.common_words import (
    DIRECTIONS,
    ERAS,
    IN_CAPITALS,
    LITTLE_WORDS,
    UNITS,
    CommonWords,
    common_words,
)
from provenance._disclosure.flat import letters_of
from provenance._disclosure.hits import Hit
from provenance._disclosure.names import words_of
from provenance._disclosure.plain_text import plain
from provenance._disclosure.spelling import MOST_WAYS, spellings

INITIALS = "initials of someone not named"
CODE = "the code of someone not named"
MOST_INITIALS = 5
_LETTER = r"[^\W\d_]"
_POINTED = re.compile(rf"(?<![^\W_])(?:{_LETTER}\.[ -]{{0,2}})+{_LETTER}(?![^\W_])\.?")
_PARTED = re.compile(rf"(?<![^\W_])(?<![.'’]){_LETTER}(?:[ -]{_LETTER}){{1,3}}(?![^\W_])(?!['’.])")
_BARE = re.compile(
    rf"(?<![^\W_])(?<![^\W_][-._'’])(?<![.@]){_LETTER}{{2,4}}(?![^\W_])(?![-._][^\W_])"
)
_SIGNED = re.compile(r"(?:[(\[/]|(?<![^\W_])[Bb]y )$")
_DATE_BEFORE = re.compile(r"[0-9]{1,4}[-./][0-9]{1,2}[-./][0-9]{1,4}[ ,]*$")
_AT_AN_END = re.compile(r"(?:^|[.;,–—-])\s*$")


class InitialsNet:
    """Searches texts for initials of people who are not named, and for the codes that crews use."""

    def __init__(
        self,
        people: Iterable[str],
        codes: Iterable[str] = (),
        common: CommonWords | None = None,
    ) -> None:
        self._common = common or common_words()
        self._codes = _code_pattern([code for code in codes if len(code) > 1])
        self._of_codes = {
            letters_of(code) for code in codes if code.isalpha() and 1 < len(code) < 5
        }
        self._initials = {one for name in people for one in initials_of(name)} | self._of_codes

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """All initials and codes in each text."""
        if not self._initials and self._codes is None:
            return [[] for _ in texts]
        return [list(self._hits_in(text)) for text in texts]

    def _hits_in(self, text: str) -> Iterator[Hit]:
        read = plain(text)
        found: dict[tuple[int, int], str] = {}
        if self._initials:
            for pattern in (_POINTED, _PARTED):
                for match in pattern.finditer(read.text):
                    for first, last in self._runs(match):
                        found[first, last] = self._what(read.text[first:last])
            for match in _BARE.finditer(read.text):
                if self._counts_bare(read.text, match):
                    found[match.span()] = self._what(match[0])
        if self._codes:
            found |= {match.span(): CODE for match in self._codes.finditer(read.text)}
        for span, what in found.items():
            yield Hit(*read.span(*span), what)

    def _what(self, written: str) -> str:
        return CODE if _first_letters(written) in self._of_codes else INITIALS

    def _runs(self, match: re.Match[str]) -> Iterator[tuple[int, int]]:
        """The initials in single letters that stand in a row: of one person, or of several."""
        letters = list(re.finditer(rf"{_LETTER}\.?", match[0]))
        size = len(letters)
        parts = {0, *(n for n in range(1, size) if " " in _gap(match[0], letters, n)), size}
        done = 0
        for first in sorted(parts):
            for last in sorted(parts, reverse=True):
                if first < done or last - first < 2:
                    continue
                start, end = letters[first].start(), letters[last - 1].end()
                if self._counts_parted(match.string, match.start() + start, match[0][start:end]):
                    yield match.start() + start, match.start() + end
                    done = last

    def _counts_parted(self, text: str, place: int, written: str) -> bool:
        letters = _first_letters(written)
        if letters not in self._initials:
            return False
        if "." not in written and (written != written.upper() or _is_a_row(letters)):
            return False
        last = place + len(written)
        if written.islower() and self._common.holds(letters, written):
            return False
        if letters in DIRECTIONS:
            # N.E. is a corner of a building first
            return _is_signed(text, place, last)
        return not (letters in ERAS and _is_beside_figure(text, place, last))

    def _counts_bare(self, text: str, match: re.Match[str]) -> bool:
        written = match[0]
        letters = _first_letters(written)
        if letters not in self._initials:
            return False
        if not written.isupper() and not written.islower():
            # 'AvdB', but not 'Jm'
            return written[0].isupper() and written[-1].isupper()
        if written.islower():
            is_word = letters in LITTLE_WORDS or len(letters) > 2
            is_common = is_word or self._common.holds(letters, written)
            return not is_common and not _is_beside_figure(text, *match.span())
        shouts = text.isupper() and text.strip() != written
        if len(letters) > 2 and shouts and letters not in self._of_codes:
            return False
        if written < "\u0370" and (letters in IN_CAPITALS or letters in self._common):
            return _is_signed(text, *match.span())
        return not (letters in UNITS and _is_beside_figure(text, *match.span()))


def initials_of(name: str) -> set[str]:
    """The first letters of a name, small, in the orders in which they are written.

    >>> sorted(initials_of("John R. Mercer"))
    ['jm', 'jr', 'jrm', 'mj', 'mjr', 'rj', 'rmj']
    """
    words = words_of(name)
    large = [one for one in words if not one[0].islower()]
    found: set[str] = set()
    for some in (words, large):
        if len(some) > 1:
            ways = (sorted({one[0] for one in spellings(word)}) for word in some)
            for first in islice(product(*ways), MOST_WAYS):
                found |= {first[-1] + "".join(first[:-1]), "".join(first[1:]) + first[0]}
                for size in range(1, min(len(first), MOST_INITIALS)):
                    for rest in combinations(first[1:], size):
                        found |= {"".join((first[0], *rest)), rest[-1] + first[0]}
    return found


def _first_letters(written: str) -> str:
    """Single letters in plain letters, one of each: Ж is z, as the first of zh."""
    if written.isascii():
        return "".join(filter(str.isalpha, written.lower()))
    return "".join(letters_of(one)[:1] for one in written if one.isalpha())


def _gap(text: str, letters: Sequence[re.Match[str]], place: int) -> str:
    return text[letters[place - 1].end() : letters[place].start()]


def _is_a_row(letters: str) -> bool:
    """Whether letters follow on one another, as those of the sides of a beam do."""
    codes = list(map(ord, letters))
    return all(abs(after - before) <= 1 for before, after in pairwise(codes))


def _is_beside_figure(text: str, first: int, last: int) -> bool:
    """Whether a figure stands before or behind letters, and no date before them."""
    if re.match(r" ?[0-9]", text[last : last + 2]):
        return True
    before = text[max(first - 14, 0) : first]
    return re.search(r"[0-9] ?$", before) is not None and not _DATE_BEFORE.search(before)


def _is_signed(text: str, first: int, last: int) -> bool:
    """Whether letters stand where somebody signs: in brackets, after 'by', at the very end."""
    if _SIGNED.search(text, max(first - 4, 0), first):
        return True
    is_last = not text[last:].strip(" .)]\n")
    return is_last and _AT_AN_END.search(text, max(first - 4, 0), first) is not None


def _code_pattern(codes: Sequence[str]) -> re.Pattern[str] | None:
    """People's codes where they stand alone: MB in 'MB/TQ', but not in 'MB-014' or 'plumb'."""
    if not codes:
        return None
    longest_first = sorted(codes, key=lambda code: (-len(code), code))
    any_code = "|".join(re.escape(code) for code in longest_first)
    return re.compile(rf"(?<![^\W_])(?<![^\W_][-._])(?:{any_code})(?![^\W_])(?![-._][^\W_])")

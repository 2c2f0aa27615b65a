"""Finds names of people and places in texts, whatever their order, spelling and endings."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from provenance._disclosure.common_words import ABBREVIATIONS, CommonWords, common_words
from provenance._disclosure.flat import Flat, Wanted, is_ideograph, letters_of
from provenance._disclosure.hits import Hit
from provenance._disclosure.plain_text import plain
from provenance._disclosure.spelling import (
    ENDINGS,
    SHORTEST_STEM,
    STEM_ENDINGS,
    joined,
    short_cases,
    spellings,
    stems,
)

NAME = "a name that is withheld"
ANYWHERE = 8
"""A whole name of so many letters counts even within a longer word."""
RUN_TOGETHER = 6
"""A word of a name of so many letters counts at the beginning or end of a longer word."""
SMALL_LETTERS = 5
"""A word of a name of so many letters counts without its capital."""
_REMARK = re.compile(r"\([^)]*\)")
_BETWEEN_WORDS = re.compile(r"[\s,;:./&+()\[\]\"_-]+")
_WORD = re.compile(r"[^\W\d_]+")
_SENTENCE_START = re.compile(r"(?:^|[.!?:;•(\[/\"']\s*|[-*]\s+)$")
_INITIAL_BEFORE = re.compile(r"(?<![^\W_])([^\W\d_])\.?\s?-?$")
_INITIAL_AFTER = re.compile(r",?\s?([^\W\d_])(?:\.|(?![^\W_]))")
_TITLE_BEFORE = re.compile(
    r"(?i)(?<![^\W_])(?:mr|mrs|ms|mx|miss|mister|dr|prof|professor|sir|madam|rev|fr|herr|frau|pan|"
    r"pani|mme|mlle|señora?|sra?|signora?|family|familie|the late)\.?\s$|(?<![^\W_])by\s$"
)
_PREFIX = re.compile(r"(?i)(?:mc|mac|o|d|de|del|di|du|fitz|la|le|van|von|al|el|st)\s")
_NO_NAMES = frozenset({
    "mr", "mrs", "ms", "mx", "miss", "dr", "prof", "professor", "sir", "rev", "herr", "frau",
    "jr", "ii", "iii", "iv", "ltd", "inc", "llc", "plc", "gmbh", "ag", "sa", "srl", "bv",
})  # fmt: skip
"""What stands beside names: titles, numbers of namesakes, forms of companies."""
_OF_PEOPLE = (
    r"(?:said|says|told|tells|asked|thinks|thought|wrote|writes|remembers|remembered|owns|owned|"
    r"lives|lived|recalls|recalled|believes)"
)
_DOES = re.compile(rf"\s{_OF_PEOPLE}(?![^\W_])")
_DOES_IN_THE_TRADE = re.compile(
    rf"\s(?:{_OF_PEOPLE}|drilled|cored|measured|took|drew|photographed|held)(?![^\W_])"
)


@dataclass(frozen=True)
class _Word:
    """A word of names in one spelling.

    `initials` are those of the people who bear it; a place has none, and since places are named
    for what is there, their words count with a capital only.
    """

    initials: frozenset[str]
    needs_ending: bool
    has_capital: bool


class NameNet:
    """Searches texts for the names of people who are not named, and of places that are not told."""

    def __init__(
        self,
        people: Iterable[str],
        places: Iterable[str] = (),
        common: CommonWords | None = None,
    ) -> None:
        self._common = common or common_words()
        self._words: dict[str, _Word] = {}
        self._whole: set[str] = set()
        """Several words of a name as one; counts wherever a word begins and ends."""
        self._accounts: set[str] = set()
        """Surname and initial as one, as in names for machines: jmercer, mercerj."""
        for name in dict.fromkeys(places):
            words = words_of(name)
            if len(words) > 1:
                self._whole |= joined(words)
            self._add_words(words, frozenset())
        for name in dict.fromkeys(people):
            words = words_of(name)
            for order in _orders(words):
                self._whole |= joined(order)
            if len(words) > 1 and len(letters_of(words[-1])) >= SHORTEST_STEM:
                first, last = words[0][0], words[-1]
                self._accounts |= joined([first, last]) | joined([last, first])
            self._add_words(words, frozenset(letters_of(one)[:1] for one in words))
        self._short = {key for key in self._words if len(key) < SHORTEST_STEM and key.isascii()}
        long = (self._words.keys() | self._whole | self._accounts) - self._short
        self._wanted = Wanted(long)

    def _add_words(self, words: Sequence[str], initials: frozenset[str]) -> None:
        capitals = any(not one[0].islower() for one in words)
        for word in words:
            # 'of' and 'van der' are words of a name only where all of it is small
            if len(letters_of(word)) < 2 or (capitals and word.islower()):
                continue
            if any(map(str.isdigit, word)):
                continue
            prefix, mark, rest = word.partition("'")
            if mark and len(prefix) < 3 and len(rest) >= SHORTEST_STEM:
                # O'Dravney and d'Arblay are written without it too
                self._add_words([rest], initials)
            has_capital = word[0] != word[0].lower()
            for key in spellings(word):
                if key.isascii() and any(map(is_ideograph, word)):
                    # nothing says which of its syllables are written together
                    self._whole.add(key)
                    continue
                self._add_word(key, initials, False, has_capital)
                for case in short_cases(key):
                    self._add_word(case, initials, False, has_capital)
                if key not in self._common and len(key) > SHORTEST_STEM:
                    for stem in stems(key):
                        self._add_word(stem, initials, True, has_capital)

    def _add_word(
        self, key: str, initials: frozenset[str], needs_ending: bool, has_capital: bool
    ) -> None:
        if known := self._words.get(key):
            initials |= known.initials
            needs_ending = needs_ending and known.needs_ending
            has_capital = has_capital and known.has_capital
        self._words[key] = _Word(initials, needs_ending, has_capital)

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """Every name in each text, with the initials beside it."""
        found = []
        held = self._wanted.held_by(list(map(letters_of, texts)))
        for text, keys in zip(texts, held, strict=True):
            if self._short:
                keys += self._short.intersection(_small_words(text))
            found.append(list(self._hits_in(text, keys)) if keys else [])
        return found

    def _hits_in(self, text: str, keys: Sequence[str]) -> Iterator[Hit]:
        flat = Flat(text)
        for key in keys:
            for first, last in flat.stretches(key):
                span = None
                if key in self._whole:
                    span = self._whole_name(flat, first, last, key)
                if not span and key in self._accounts:
                    span = self._account(flat, first, last)
                if not span and key in self._words:
                    span = self._word(flat, first, last, key)
                if span:
                    yield Hit(*flat.plain.span(*span), NAME)

    def _whole_name(self, flat: Flat, first: int, last: int, key: str) -> tuple[int, int] | None:
        if not key.isascii() or len(key) >= ANYWHERE:
            return first, last
        end = self._end_of_word(flat.text, last)
        if not _begins_word(flat.text, first) or not _is_ending(flat.text[last:end]):
            return None
        here = flat.text[first:last]
        # two very short words written as one are a name with its capital only
        is_other_word = here.isalpha() and here[0].islower() and len(key) < RUN_TOGETHER
        return None if is_other_word or key in self._common else (first, end)

    def _account(self, flat: Flat, first: int, last: int) -> tuple[int, int] | None:
        text = flat.text
        is_whole = _begins_word(text, first) and not text[last : last + 1].isalpha()
        return (first, last) if is_whole and not re.search(r"\s", text[first:last]) else None

    def _word(self, flat: Flat, first: int, last: int, key: str) -> tuple[int, int] | None:
        text, word = flat.text, self._words[key]
        here = text[first:last]
        if not key.isascii():
            return self._word_without_capitals(text, first, last, key)
        if not here.isalpha() and not _is_one_word(flat, first, last):
            is_spaced = not word.needs_ending and _is_spaced(text, first, last)
            return (first, last) if is_spaced and key not in self._common else None
        end = self._end_of_word(text, last)
        begins = _begins_word(text, first)
        tail = text[last:end]
        capital = not here[0].islower() or not word.has_capital
        initials = self._with_initials(text, first, end, word.initials)
        if begins and not tail and not word.needs_ending:
            if self._common.holds(key, here):
                counts = self._counts_though_common(text, first, end, key, initials)
            else:
                counts = capital or self._counts_small(key) or initials != (first, end)
            return initials if counts else None
        if key in self._common or len(key) < SHORTEST_STEM:
            return None
        if begins and _is_case(tail, word.needs_ending):
            is_other_word = self._common.holds(letters_of(text[first:end]), here)
            counts = capital or (self._counts_small(key) and not word.needs_ending)
            return initials if counts and not is_other_word else None
        if len(key) >= (RUN_TOGETHER if word.initials else ANYWHERE) and not word.needs_ending:
            start = self._start_of_word(text, first)
            if (begins and end - last >= 3) or (not tail and first - start >= 3):
                return first, last
        return None

    def _counts_small(self, key: str) -> bool:
        return len(key) >= SMALL_LETTERS and bool(self._words[key].initials)

    def _word_without_capitals(
        self, text: str, first: int, last: int, key: str
    ) -> tuple[int, int] | None:
        enough = 2 if all(map(is_ideograph, key)) else SHORTEST_STEM
        if len(key) >= enough:
            return first, last
        is_whole = _begins_word(text, first) and not text[last : last + 1].isalnum()
        return (first, last) if is_whole and len(key) > 1 else None

    def _counts_though_common(
        self, text: str, first: int, last: int, key: str, initials: tuple[int, int]
    ) -> bool:
        here = text[first:last]
        if here[0].islower() or text[first - 1 : first].isalpha():
            return False
        if initials != (first, last):
            return True
        titled = _TITLE_BEFORE.search(text, max(first - 16, 0), first)
        if titled and not re.match(r"\s?#?\d", text[last : last + 4]):
            return True
        if key in self._common.trade or key in ABBREVIATIONS:
            return bool(_DOES.match(text, last)) and len(key) > 1
        shouts = here.isupper() and text.isupper()
        starts = _SENTENCE_START.search(text, max(first - 4, 0), first) is not None
        return bool(_DOES_IN_THE_TRADE.match(text, last)) or not (starts or shouts)

    def _with_initials(
        self, text: str, first: int, last: int, initials: frozenset[str]
    ) -> tuple[int, int]:
        """The word with an initial of its name before or behind it."""
        if not initials or text[first].islower():
            return first, last
        while found := _INITIAL_BEFORE.search(text, max(first - 6, 0), first):
            if found[1].islower() or letters_of(found[1])[:1] not in initials:
                break
            first = found.start(1)
        after = _INITIAL_AFTER.match(text, last)
        if after and not after[1].islower() and letters_of(after[1])[:1] in initials:
            last = after.end()
        return first, last

    @staticmethod
    def _end_of_word(text: str, last: int) -> int:
        """Where the word that goes on behind a stretch ends; a capital begins another one."""
        end = last
        while end < len(text) and text[end].isalpha():
            if text[end].isupper() and text[end - 1].islower():
                break
            end += 1
        return end

    @staticmethod
    def _start_of_word(text: str, first: int) -> int:
        while first and text[first - 1].isalpha():
            first -= 1
        return first


def words_of(name: str) -> list[str]:
    """The words of a name in the order in which it is said, without remarks in brackets.

    >>> words_of("Farrowgill-Tey, Zoë (crew lead)")
    ['Zoë', 'Farrowgill', 'Tey']
    """
    bare = _REMARK.sub(" ", plain(unicodedata.normalize("NFC", name)).text)
    last, comma, first = bare.partition(",")
    ordered = f"{first} {last}" if comma and "," not in first else bare
    words = [one.strip("'’`") for one in _BETWEEN_WORDS.split(ordered)]
    return [one for one in words if (letters := letters_of(one)) and letters not in _NO_NAMES]


def _orders(words: list[str]) -> Iterator[list[str]]:
    """The orders in which the words of a person's name are written side by side."""
    small = [one for one in words if not one[0].islower()] or words
    for some in (words, small):
        if len(some) > 1:
            yield some
            yield [some[-1], *some[:-1]]
            yield [*some[1:], some[0]]
            yield [some[0], some[-1]]
            yield [some[-1], some[0]]


def _small_words(text: str) -> set[str]:
    """The short words of a text in plain letters."""
    words = _WORD.findall(text if text.isascii() else plain(text).text)
    return {letters_of(one) for one in words if len(one) < SHORTEST_STEM}


def _begins_word(text: str, first: int) -> bool:
    """Whether a word begins here: behind a blank or a digit, or with a capital behind a small."""
    if first == 0 or not text[first - 1].isalpha():
        return True
    before, here = text[first - 1], text[first]
    return (before.islower() and here.isupper()) or is_ideograph(before) or is_ideograph(here)


def _is_case(tail: str, needs_ending: bool) -> bool:
    if needs_ending:
        return letters_of(tail) in STEM_ENDINGS and bool(tail)
    return _is_ending(tail)


def _is_ending(tail: str) -> bool:
    return not tail or letters_of(tail) in ENDINGS


def _is_one_word(flat: Flat, first: int, last: int) -> bool:
    """Whether a stretch with a sign in it is one word: O'Brien, or one that a line's end parts."""
    breaks = [one for one in re.split(r"[^\W\d_]+", flat.text[first:last]) if one]
    if breaks == [" "] and _PREFIX.match(flat.text, first):
        return True
    if len(breaks) != 1:
        return all(one in ("'", "`") for one in breaks)
    return breaks[0].strip() in (
        "-",
        "'",
        "`",
        "\\",
        "=",
        "¬",
        "/",
        "|",
        "*",
        "·",
    ) or flat.lines_between(first, last)


def _is_spaced(text: str, first: int, last: int) -> bool:
    """Whether every letter stands alone: M e r c e r, M-e-r-c-e-r."""
    here = text[first:last]
    alone = re.fullmatch(r"[^\W\d_](?:[\W_]{1,3}[^\W\d_]){2,}", here)
    before, after = text[first - 1 : first], text[last : last + 1]
    return alone is not None and not before.isalnum() and not after.isalnum()

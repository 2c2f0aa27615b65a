"""Finds withheld values inside open texts and replaces them."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import chain, pairwise

from provenance._checks.rules.privacy import COORDINATES
from provenance._disclosure.common_words import common_words
from provenance._disclosure.contacts import ContactNet
from provenance._disclosure.flat import letters_of
from provenance._disclosure.hits import Hit, Net
from provenance._disclosure.initials import InitialsNet
from provenance._disclosure.names import NameNet
from provenance._disclosure.numbers import NumberNet, WithheldNumber
from provenance._disclosure.phrases import PhraseNet
from provenance._disclosure.seals import SealNet

WITHHELD = "[withheld]"
POSITION = "a position near one that is withheld"
NEAR_DEGREES = 0.15
NEAR_METRES = 10_000
_COORDINATES = re.compile(COORDINATES)
_TELLING = re.compile(
    r"[0-9][.,][0-9]{2}|[0-9]{4}|[0-9][eE]|°|º|deg|[0-9][ :][0-9]{1,2}(?:[.,][0-9]+)?[ :'′’][0-9]?"
)
"""What a text must hold to be asked for coordinates one number at a time, which takes long."""
_NUMBERS = tuple(
    re.compile(rf"(?<![0-9.])[-+]?[0-9]+(?:{mark}[0-9]+)?(?:[eE][-+]?[0-9]{{1,2}})?(?![0-9])")
    for mark in (r"\.", ",")
)
"""Both ways of writing a decimal, since '1,51.4739' holds other numbers in each."""
_UNIT = re.compile(r"\s?(?:mm|cm|m|km|ft|in|kg|%)(?![^\W_])")
_MINUTES = re.compile(
    r"(?<![0-9.,])([0-9]{1,3})(?:\s?(?:°|º|deg)\s?|[ :])(?:([0-9]{1,2}(?:[.,][0-9]+)?)"
    r"(?:\s?['′’]\s?|[ :]|(?![0-9]))(?:([0-9]{1,2}(?:[.,][0-9]+)?)\s?[\"″”]?)?)?\s?[NSEW]?"
)
"""Degrees, minutes, seconds with or without their signs; the last two may be missing."""


@dataclass
class WithheldValues:
    """What must not stand in an open text.

    `phrases` are whole withheld texts, `people` names of people, `names` those of places and other
    things; `codes` map people's codes to what stands for them in public; `latitudes`, `longitudes`
    (degrees) and `metres` are withheld coordinates, `numbers` other numbers and the codes of gates
    and permits. `fields` says of a phrase in which table and field it is withheld.
    """

    phrases: set[str] = field(default_factory=set)
    people: set[str] = field(default_factory=set)
    names: set[str] = field(default_factory=set)
    codes: dict[str, str] = field(default_factory=dict)
    latitudes: set[float] = field(default_factory=set)
    longitudes: set[float] = field(default_factory=set)
    metres: set[float] = field(default_factory=set)
    numbers: set[WithheldNumber] = field(default_factory=set)
    fields: dict[str, str] = field(default_factory=dict)


class Masker:
    """Replaces withheld values in texts; made once for a package."""

    def __init__(
        self,
        values: WithheldValues,
        trade_words: Iterable[str] = (),
        everyday_words: Iterable[str] = (),
    ) -> None:
        """`trade_words` are those of the vocabularies, which alone give nothing away.

        `everyday_words` give something away only with a capital within a sentence.
        """
        common = common_words(trade_words, everyday_words)
        fields = {phrase: values.fields.get(phrase, "") for phrase in sorted(values.phrases)}
        people, names, codes = sorted(values.people), sorted(values.names), sorted(values.codes)
        self._word_nets: tuple[Net, ...] = (
            PhraseNet(fields, common),
            NameNet(people, names, common),
        )
        self._number_net = NumberNet(values.numbers)
        self._nets: tuple[Net, ...] = (
            *self._word_nets,
            InitialsNet(people, codes, common),
            ContactNet(common),
            self._number_net,
            SealNet(),
        )
        codes_told = {code: new for code, new in values.codes.items() if len(code) > 1}
        self.codes = frozenset(codes_told)
        # M.B. and mb stand for MB, unless there is an mb as well
        self._stand_ins = {letters_of(code): new for code, new in codes_told.items()} | codes_told
        self._latitudes = sorted({abs(one) for one in values.latitudes})
        self._longitudes = sorted({abs(one) for one in values.longitudes})
        self._degrees = sorted({*self._latitudes, *self._longitudes})
        self._metres = sorted({abs(one) for one in values.metres})

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """What is withheld in each text, in the order in which it stands there."""
        once = list(dict.fromkeys(texts))
        known = dict(zip(once, _hits_of(self._nets, once), strict=True))
        for text, hits in known.items():
            hits += [Hit(*span, POSITION) for span in self._position_spans(text)]
            hits.sort(key=lambda hit: (hit.start, hit.end))
        return [known[text] for text in texts]

    def masked(self, texts: Sequence[str]) -> list[str]:
        """The texts with every withheld value replaced; the same length and order."""
        found = zip(texts, self.hits(texts), strict=True)
        return [self._replaced(text, hits) if hits else text for text, hits in found]

    def mask(self, text: str) -> str:
        """One text with every withheld value replaced."""
        return self.masked([text])[0]

    def is_clean(self, text: str) -> bool:
        """Whether nothing in the text had to be replaced."""
        return not self.hits([text])[0]

    def is_clean_file(self, lines: Sequence[str]) -> bool:
        """Whether nothing in the lines of a text file is withheld.

        A line without letters is a row of measurements: a number in it counts as half a position
        only where the other half stands beside it.
        """
        with_words = [line for line in lines if any(map(str.isalpha, line))]
        # a name may be broken over two lines
        pairs = ["\n".join(pair) for pair in pairwise(lines)]
        if any(self.hits(with_words)) or any(_hits_of(self._word_nets, pairs)):
            return False
        return not any(self._holds_position(line) for line in set(lines) - set(with_words))

    def _holds_position(self, line: str) -> bool:
        found = {one.span(): one[0] for form in _NUMBERS for one in form.finditer(line)}
        numbers = [float(text.replace(",", ".").lstrip("+-")) for text in found.values()]
        near = [
            [n for n in numbers if _nearest(axis, n) <= NEAR_DEGREES and n % 1]
            for axis in (self._latitudes, self._longitudes)
        ]
        far = [n for n in numbers if n >= 10_000 and _nearest(self._metres, n) <= NEAR_METRES]
        told = [line[hit.start : hit.end] for hit in self._number_net.hits([line])[0]]
        return all(near) or len(far) > 1 or any("." in one or "," in one for one in told)

    def _replaced(self, text: str, hits: Iterable[Hit]) -> str:
        """The text with all hits replaced, those that overlap or stand side by side as one.

        A code of a person alone becomes what stands for it in public.
        """
        parts: list[str] = []
        done, start, end, stand_in = 0, -1, -1, ""
        for hit in hits:
            here = text[hit.start : hit.end]
            new = self._stand_ins.get(here) or self._stand_ins.get(letters_of(here), "")
            is_beside = start >= 0 and not (stand_in or new or text[end : hit.start].strip())
            if is_beside or hit.start < end:
                stand_in = new if hit.end > end else stand_in
                end = max(end, hit.end)
                continue
            if start >= 0:
                parts += [text[done:start], stand_in or WITHHELD]
                done = end
            start, end, stand_in = hit.start, hit.end, new
        return "".join([*parts, text[done:start], stand_in or WITHHELD, text[end:]])

    def _position_spans(self, text: str) -> list[tuple[int, int]]:
        if not any(map(str.isdigit, text)):
            return []
        spans = [match.span(1) for match in _COORDINATES.finditer(text)]
        return spans + self._number_spans(text) if _TELLING.search(text) else spans

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
            if (decimals >= 2 and not is_size and _nearest(self._degrees, value) <= reach) or (
                value >= 10_000 and _nearest(self._metres, value) <= NEAR_METRES
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


def _nearest(values: Sequence[float], value: float) -> float:
    """The distance to the nearest of sorted values."""
    place = bisect_left(values, value)
    return min((abs(one - value) for one in values[max(place - 1, 0) : place + 1]), default=1e99)


def _hits_of(nets: Iterable[Net], texts: Sequence[str]) -> list[list[Hit]]:
    """What all nets find in each text, each thing once."""
    each = [net.hits(texts) for net in nets]
    return [list(dict.fromkeys(chain.from_iterable(hits))) for hits in zip(*each, strict=True)]

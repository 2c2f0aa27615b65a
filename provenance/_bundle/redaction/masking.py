"""Finds withheld values inside open texts and replaces them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields
from itertools import chain, pairwise

from provenance._disclosure.common_words import common_words
from provenance._disclosure.contacts import ContactNet
from provenance._disclosure.flat import letters_of
from provenance._disclosure.hits import Hit, Net
from provenance._disclosure.initials import InitialsNet
from provenance._disclosure.names import NameNet
from provenance._disclosure.numbers import NumberNet, WithheldNumber
from provenance._disclosure.phrases import PhraseNet
from provenance._disclosure.places.frames import Point
from provenance._disclosure.places.net import PlaceNet
from provenance._disclosure.seals import SealNet

WITHHELD = "[withheld]"
_MOST_TEXTS = 50_000
"""Of so many texts a masker remembers what it found in them; then it begins anew."""
_MOST_MASKERS = 4


@dataclass
class WithheldValues:
    """What must not stand in an open text.

    `phrases` are whole withheld texts, `people` names of people, `names` those of places and other
    things; `codes` map people's codes to what stands for them in public; `points` are withheld
    places, `latitudes`, `longitudes` (degrees) and `metres` their coordinates one by one, `numbers`
    other numbers and the codes of gates and permits. `fields` says of a phrase in which table and
    field it is withheld.
    """

    phrases: set[str] = field(default_factory=set)
    people: set[str] = field(default_factory=set)
    names: set[str] = field(default_factory=set)
    codes: dict[str, str] = field(default_factory=dict)
    points: set[Point] = field(default_factory=set)
    latitudes: set[float] = field(default_factory=set)
    longitudes: set[float] = field(default_factory=set)
    metres: set[float] = field(default_factory=set)
    numbers: set[WithheldNumber] = field(default_factory=set)
    fields: dict[str, str] = field(default_factory=dict)


class Masker:
    """Replaces withheld values in texts; see `masker_for`."""

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
        self._place_net = PlaceNet(
            sorted(values.points),
            values.metres,
            latitudes=values.latitudes,
            longitudes=values.longitudes,
        )
        self._line_nets: tuple[Net, ...] = (
            *self._word_nets,
            InitialsNet(people, codes, common),
            ContactNet(common),
            self._number_net,
            SealNet(),
        )
        self._nets = (*self._line_nets, self._place_net)
        self._found: dict[str, tuple[Hit, ...]] = {}
        codes_told = {code: new for code, new in values.codes.items() if len(code) > 1}
        self.codes = frozenset(codes_told)
        # M.B. and mb stand for MB, unless there is an mb as well
        self._stand_ins = {letters_of(code): new for code, new in codes_told.items()} | codes_told

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """What is withheld in each text, in the order in which it stands there."""
        known = {text: self._found.get(text) for text in texts}
        if new := [text for text, hits in known.items() if hits is None]:
            found = dict(zip(new, map(tuple, _hits_of(self._nets, new)), strict=True))
            if len(self._found) + len(new) > _MOST_TEXTS:
                self._found.clear()
            self._found.update(found)
            known.update(found)
        return [list(known[text] or ()) for text in texts]

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

        In a line without letters, a row of measurements, a whole number may be any width.
        """
        with_words = [line for line in lines if any(map(str.isalpha, line))]
        # a name may be broken over two lines
        pairs = ["\n".join(pair) for pair in pairwise(lines)]
        if any(_hits_of(self._line_nets, with_words)) or any(_hits_of(self._word_nets, pairs)):
            return False
        rows = sorted(set(lines) - set(with_words))
        told = [
            line[hit.start : hit.end]
            for line, hits in zip(rows, self._number_net.hits(rows), strict=True)
            for hit in hits
        ]
        is_fraction = any("." in one or "," in one for one in told)
        return not is_fraction and not self._place_net.hits_in_file(lines)

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


_made: dict[tuple[object, ...], Masker] = {}


def masker_for(values: WithheldValues, *words: frozenset[str]) -> Masker:
    """The masker of these values and words, the same one as long as they are the same.

    A record is asked again with every decision about it and by the packing after the review; most
    of its texts have been searched by then.
    """
    parts = (getattr(values, one.name) for one in fields(values))
    key = *(tuple(p.items()) if isinstance(p, dict) else frozenset(p) for p in parts), *words
    masker = _made.get(key)
    if masker is None:
        if len(_made) == _MOST_MASKERS:
            _made.clear()
        _made[key] = masker = Masker(values, *words)
    return masker


def _hits_of(nets: Iterable[Net], texts: Sequence[str]) -> list[list[Hit]]:
    """What all nets find in each text, each thing once."""
    each = [net.hits(texts) for net in nets]
    return [
        sorted(set(chain.from_iterable(hits)), key=lambda hit: (hit.start, hit.end, hit.what))
        for hits in zip(*each, strict=True)
    ]

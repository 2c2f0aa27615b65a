"""Weighs what a stamp read on a worn plug could have been, whichever way up it was seen.

How a reading is typed:

    231         read so
    2?1         the middle digit is there but cannot be read
    2[38]1      the middle digit is a 3 or an 8
    2..         broken or hidden behind the 2; how much is missing is not known
    ..31        broken or hidden before it
    6 or 8      one whole reading or the other

The model: each struck digit is read right, read as another, or not at all, with the shares in
schemas/stamp_wear.yaml (fitted on simulated wear by benchmarks/wear.py, which says so); a digit at
an edge may be overlooked, and a nick may be taken for a digit. Upside down the digits come in
reverse order and with the shares of turned digits.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from provenance._base.errors import UnreadableValue
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml

if TYPE_CHECKING:
    import numpy as np

CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
UNREADABLE = "?"

OVERLOOKED_AT_EDGE = 0.01
OVERLOOKED_INSIDE = 0.002
NICK_TAKEN_FOR_DIGIT = 0.01
OVERLOOKED_WHERE_BROKEN = 0.5
"""Shares of digits missed or added (common practice, no source; small beside the wear itself)."""

LETTER_READ_RIGHT = 0.8
LETTER_UNREADABLE = 0.1
"""For dies with letters, whose wear nobody has simulated."""

SEEN_UPSIDE_DOWN = 0.5
MARK_OVERLOOKED = 0.05
"""Without an orientation mark either way up is as likely; a mark settles it nearly always."""


@dataclass(frozen=True)
class Seen:
    """One way to read a stamp: the possible characters at each place, None where unreadable."""

    places: tuple[frozenset[str] | None, ...]
    broken_before: bool = False
    broken_behind: bool = False


@dataclass(frozen=True)
class Reading:
    """What somebody typed, and the ways to read it that it holds."""

    text: str
    ways: tuple[Seen, ...]


@dataclass(frozen=True)
class Wear:
    """Shares of readings: `upright[struck][read]` and `turned[struck][read]`; '?' is unreadable."""

    upright: Mapping[str, Mapping[str, float]]
    turned: Mapping[str, Mapping[str, float]]


@cache
def read_wear() -> Wear:
    """The shipped confusion model, with letters filled in."""
    raw: dict[str, Any] = read_yaml(shipped("schemas") / "stamp_wear.yaml")
    return Wear(_with_letters(raw["upright"], {}), _with_letters(raw["turned"], _TURNED_LETTERS))


_TURNED_LETTERS = {"H": "H", "I": "I", "N": "N", "O": "O", "S": "S", "X": "X", "Z": "Z"} | {
    "M": "W",
    "W": "M",
}


def _with_letters(
    digits: Mapping[str, Mapping[str, float]], turned: Mapping[str, str]
) -> Mapping[str, Mapping[str, float]]:
    shares: dict[str, Mapping[str, float]] = dict(digits)
    rest = (1 - LETTER_READ_RIGHT - LETTER_UNREADABLE) / (len(CHARACTERS) - 1)
    for letter in CHARACTERS[10:]:
        right = turned.get(letter) if turned else letter
        row = dict.fromkeys(CHARACTERS, rest)
        if right is None:
            row = dict.fromkeys(CHARACTERS, 0.2 / len(CHARACTERS)) | {UNREADABLE: 0.8}
        else:
            row |= {right: LETTER_READ_RIGHT, UNREADABLE: LETTER_UNREADABLE}
        shares[letter] = row
    return MappingProxyType(shares)


_PLACE = re.compile(r"\[([0-9A-Z/,| ]+)\]|([0-9A-Z?])")


def parse_reading(text: str) -> Reading:
    """Understand a reading as typed; raises UnreadableValue that shows how to write it.

    >>> [len(way.places) for way in parse_reading("2[38]1 or 5?").ways]
    [3, 2]
    """
    said = text.strip()
    alternatives = re.split(r"\s+or\s+", said, flags=re.IGNORECASE)
    return Reading(said, tuple(_way(one, text) for one in alternatives))


def _way(written: str, text: str) -> Seen:
    rest = written.strip().upper().replace("…", "..").replace("_", "?")
    before, behind = rest.startswith(".."), rest.endswith("..") and len(rest) > 2
    body = rest.strip(".").replace(" ", "")
    places: list[frozenset[str] | None] = []
    position = 0
    while position < len(body):
        match = _PLACE.match(body, position)
        if match is None:
            raise UnreadableValue(
                text,
                "is not a reading; write 231, 2?1 (cannot be read), 2[38]1 (3 or 8), "
                "2.. (broken off behind), ..31 (broken off before), or '6 or 8'",
            )
        if match[1] is not None:
            places.append(frozenset(re.sub(r"[/,| ]", "", match[1])))
        else:
            places.append(None if match[2] == UNREADABLE else frozenset(match[2]))
        position = match.end()
    if not places:
        raise UnreadableValue(text, "holds no character; write ? for each one that is there")
    return Seen(tuple(places), before, behind)


def likelihoods(
    stamps: Sequence[str],
    reading: Reading,
    wear: Wear,
    *,
    marked: Sequence[bool] | None = None,
    upright: bool = False,
) -> np.ndarray:
    """How likely the reading is for each stamp, had that stamp been struck (shape: len(stamps)).

    `marked` says which stamps carry an orientation mark; `upright` that the reader is sure which
    way up the plug was. The values compare stamps with each other; they are no probabilities of
    the stamps. A stamp with other characters than digits and capitals gets 0.
    """
    import numpy as np

    total = np.zeros(len(stamps))
    by_length: dict[int, list[int]] = {}
    for index, stamp in enumerate(stamps):
        if stamp and all(character in CHARACTERS for character in stamp):
            by_length.setdefault(len(stamp), []).append(index)
    place_of = {character: place for place, character in enumerate(CHARACTERS)}
    share_turned = np.full(len(stamps), 0.0 if upright else SEEN_UPSIDE_DOWN)
    if marked is not None and not upright:
        share_turned[np.asarray(marked, dtype=bool)] = MARK_OVERLOOKED
    for indices in by_length.values():
        struck = np.array([[place_of[c] for c in stamps[index]] for index in indices])
        for way in reading.ways:
            plain = _aligned(struck, way, wear.upright)
            upside_down = _aligned(struck[:, ::-1], way, wear.turned)
            share = share_turned[indices]
            total[indices] += (1 - share) * plain + share * upside_down
    return total / len(reading.ways)


def _aligned(
    struck: np.ndarray, way: Seen, shares: Mapping[str, Mapping[str, float]]
) -> np.ndarray:
    """Likelihood of one way of reading, summed over all alignments with the struck characters.

    A forward pass over (struck so far, read so far), for all stamps of one length at once.
    """
    import numpy as np

    count, length = struck.shape
    read = len(way.places)
    table = _place_shares(way, shares)
    state = np.zeros((count, read + 1))
    state[:, 0] = 1.0
    state = _with_nick(state, way)
    for position in range(length):
        first, last = position == 0, position == length - 1
        missed = OVERLOOKED_AT_EDGE if first or last else OVERLOOKED_INSIDE
        after = np.zeros_like(state)
        for taken in range(read + 1):
            lost = missed
            if (taken == 0 and way.broken_before) or (taken == read and way.broken_behind):
                lost = OVERLOOKED_WHERE_BROKEN
            after[:, taken] += state[:, taken] * lost
            if taken < read:
                kept = 1 - missed
                after[:, taken + 1] += state[:, taken] * kept * table[taken][struck[:, position]]
        state = _with_nick(after, way)
    return np.asarray(state[:, read])


def _with_nick(state: np.ndarray, way: Seen) -> np.ndarray:
    """One step between two struck characters: mostly nothing, now and then a nick read as one."""
    after = state * (1 - NICK_TAKEN_FOR_DIGIT)
    for taken, place in enumerate(way.places):
        # a nick may look like any digit, or like one that cannot be read
        looks_so = (1 if place is None else len(place)) / 11
        after[:, taken + 1] += state[:, taken] * NICK_TAKEN_FOR_DIGIT * looks_so
    return after


def _place_shares(way: Seen, shares: Mapping[str, Mapping[str, float]]) -> list[np.ndarray]:
    """For each place read, the share of each struck character that would be read so."""
    import numpy as np

    tables = []
    for place in way.places:
        seen = {UNREADABLE} if place is None else place
        row = [sum(shares[struck].get(one, 0.0) for one in seen) for struck in CHARACTERS]
        tables.append(np.array(row))
    return tables

"""Weighs what a stamp read on a worn plug could have been, whichever way up it was seen.

How a reading is typed:

    231         read so; blanks and hyphens are passed over (2-07, 2 07, 2.07)
    2?1         the middle digit is there but cannot be read
    2[38]1      the middle digit is a 3 or an 8
    2.. ..31    broken or hidden behind the 2, before the 31; how much is missing is not known
    2..7        the same in the middle
    66.  .99    with the orientation mark, a dot behind the number, here seen upside down
    6 or 8      one whole reading or the other

A hidden Markov model over (struck so far, read so far): each struck character is read right, read
as another, or overlooked; two neighbors may be exchanged in writing down, and a nick may be taken
for a character. Upside down the characters come in reverse order and with the shares of turned
ones. All shares are in schemas/stamp_wear.yaml, which says where they come from; how worn the plug
is as a whole is not known, so every reading is weighed at several levels of wear.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

from provenance._base.errors import UnreadableValue
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml

if TYPE_CHECKING:
    import numpy as np

DIGITS = "0123456789"
CHARACTERS = DIGITS + "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
"""What may be struck."""
UNREADABLE = "?"
READ = CHARACTERS + "abcdefghijklmnopqrstuvwxyz" + UNREADABLE
"""What may be read: people write l for a stroke and L for a turned 7."""
MOST_PLACES = 40
"""A longer text is no reading of a stamp."""

_ANY_DIGIT, _ANY_LETTER = len(CHARACTERS), len(CHARACTERS) + 1
_COLUMN = {character: column for column, character in enumerate(READ)}
_DECIMALS = 6


@dataclass(frozen=True)
class Way:
    """One way to read a stamp.

    `places` are what each character may be, '?' where it cannot be read; `gaps` are the places
    before which some may be missing, len(places) for the end; `dot` is 'end' or 'begin' where the
    orientation mark was seen, else ''.
    """

    places: tuple[str, ...]
    gaps: frozenset[int] = frozenset()
    dot: str = ""


@dataclass(frozen=True)
class Reading:
    """What somebody typed, and the ways to read it that it holds."""

    text: str
    ways: tuple[Way, ...]

    @property
    def exchanged(self) -> tuple[str, ...]:
        """The stamps that it would be, had two neighbors been exchanged in writing it down."""
        found: dict[str, None] = {}
        for way in self.ways:
            text = "".join(way.places).upper()
            if not way.gaps and len(text) == len(way.places) and UNREADABLE not in text:
                for at in range(len(text) - 1):
                    other = text[:at] + text[at + 1] + text[at] + text[at + 2 :]
                    if other != text:
                        found[other] = None
        return tuple(found)


class Level(NamedTuple):
    """Stamps that are worn to one degree: the share of plugs, and what is read of each character.

    `upright` and `turned` have a row of shares for each of CHARACTERS, then one for a digit and one
    for a letter of which nothing is known; a column for each of READ.
    """

    plugs: float
    upright: np.ndarray
    turned: np.ndarray


@dataclass(frozen=True)
class Wear:
    """The model of schemas/stamp_wear.yaml.

    `nothing` (a column for each of READ) is what a nick is taken for, `rates` how often people
    overlook, exchange, imagine or turn something; `settings` are the other values of the file.
    """

    levels: tuple[Level, ...]
    nothing: np.ndarray
    rates: Mapping[str, float]
    settings: Mapping[str, Any]


@cache
def read_wear() -> Wear:
    """The shipped model, with all that `locate` and the finding aid weigh by."""
    import numpy as np

    raw: dict[str, Any] = read_yaml(shipped("schemas") / "stamp_wear.yaml")
    told, nothing = raw["nothing"], np.zeros(len(READ))
    nothing[: len(DIGITS)] = told["digits"] / len(DIGITS)
    nothing[[_COLUMN[letter] for letter in told["like"]]] = told["letters"] / len(told["like"])
    nothing[_COLUMN[UNREADABLE]] = told["unreadable"]

    def worn(shares: np.ndarray, level: Mapping[str, float]) -> np.ndarray:
        raised = shares ** level["power"]
        raised /= raised.sum(1, keepdims=True)
        mixed = (1 - level["nothing"]) * raised + level["nothing"] * nothing
        means = [mixed[: len(DIGITS)].mean(0), mixed[len(DIGITS) :].mean(0)]
        # the finding aid reads them as decimals; rounded here, so that both reckon with the same
        return np.vstack([mixed, *means]).round(_DECIMALS)

    upright, turned = _shares(raw, "upright"), _shares(raw, "turned")
    return Wear(
        tuple(Level(one["plugs"], worn(upright, one), worn(turned, one)) for one in raw["wear"]),
        nothing.round(_DECIMALS),
        raw["rates"],
        {name: raw[name] for name in ("strangers", "unrecorded", "states", "fits")},
    )


def _shares(raw: Mapping[str, Any], way_up: str) -> np.ndarray:
    import numpy as np

    rates, by_die = raw["rates"], raw["struck_letters"]
    letters: Mapping[str, Mapping[str, float]] = raw["letters"][way_up]
    table = np.zeros((len(CHARACTERS), len(READ)))
    for row, struck in zip(table, CHARACTERS, strict=True):
        if struck in DIGITS:
            for read, share in raw[way_up][struck].items():
                row[_COLUMN[read]] = share
            as_letter = row * (1 - sum(letters[struck].values()))
            for letter, share in letters[struck].items():
                as_letter[_COLUMN[letter]] += share
            row *= 1 - rates["letters"]
            row += rates["letters"] * as_letter / as_letter.sum()
        else:
            looks = struck if way_up == "upright" else by_die["turned"].get(struck)
            row[_COLUMN[UNREADABLE]] = by_die["unreadable" if looks else "unreadable_turned"]
            if looks:
                row[_COLUMN[looks]] += by_die["read"]
            for digit, shown in letters.items():
                # a letter that a digit looks like looks like that digit
                row[_COLUMN[digit]] += rates["letters"] * shown.get(struck, 0.0)
    table /= table.sum(1, keepdims=True)
    capitals, small = slice(10, 36), slice(36, 62)
    typed = table.copy()
    up, down = rates["typed_as_capital"], rates["typed_as_small"]
    typed[:, capitals] = table[:, capitals] * (1 - down) + table[:, small] * up
    typed[:, small] = table[:, small] * (1 - up) + table[:, capitals] * down
    typed[:, : len(DIGITS)] += rates["floor_digit"]
    typed[:, len(DIGITS) : -1] += rates["floor_letter"]
    return np.asarray(typed / typed.sum(1, keepdims=True))


_TOKEN = re.compile(r"\[([0-9A-Za-z/,|]+)\]|(\.\.+)|([0-9A-Za-z?])|\.")
_PASSED_OVER = re.compile(r"[\s\-‐‑‒–—−]+")


def parse_reading(text: str) -> Reading:
    """Understand a reading as typed; raises UnreadableValue that shows how to write it.

    >>> [len(way.places) for way in parse_reading("2[38]1 or 5?").ways]
    [3, 2]
    """
    said = text.strip()
    ways = tuple(_way(one, text) for one in re.split(r"\s+or\s+", said, flags=re.IGNORECASE))
    if sum(len(way.places) for way in ways) > MOST_PLACES:
        raise UnreadableValue(
            f"{said[:MOST_PLACES]}...", "is too long for a reading; write what the stamp says"
        )
    return Reading(said, ways)


def _way(written: str, text: str) -> Way:
    rest = _PASSED_OVER.sub("", written.replace("…", "..").replace("_", UNREADABLE))
    tokens = list(_TOKEN.finditer(rest))
    if "".join(token[0] for token in tokens) != rest:
        raise UnreadableValue(
            text,
            "is not a reading; write 231, 2?1 (cannot be read), 2[38]1 (3 or 8), 2.. or ..31 or "
            "2..1 (some may be missing), 66. (with its orientation dot), or '6 or 8'",
        )
    places: list[str] = []
    gaps: set[int] = set()
    for choice, gap, one in (token.groups() for token in tokens):
        if gap:
            gaps.add(len(places))
        elif choice or one:
            places.append(one or "".join(dict.fromkeys(re.sub(r"[/,|]", "", choice))))
    if not all(places) or not places:
        raise UnreadableValue(text, "holds no character; write ? for each one that is there")
    # a dot between two characters is a blank
    begin, end = tokens[0][0] == ".", tokens[-1][0] == "."
    return Way(tuple(places), frozenset(gaps), "" if begin == end else "end" if end else "begin")


def likelihoods(
    stamps: Sequence[str],
    reading: Reading,
    wear: Wear,
    *,
    marked: Sequence[bool] | None = None,
    upright: bool = False,
) -> np.ndarray:
    """How likely the reading is for each stamp, had that stamp been struck: (2, len(stamps)).

    Row 0 is the part seen the right way up, row 1 the part seen upside down. `marked` says which
    stamps carry an orientation mark; `upright` that the reader is sure which way up the plug was.
    The values compare stamps with each other; they are no probabilities of the stamps. A stamp with
    other characters than digits and capitals gets 0.
    """
    import numpy as np

    marks = np.zeros(len(stamps), bool) if marked is None else np.asarray(marked, bool)
    total = np.zeros((2, len(stamps)))
    by_length: dict[int, list[int]] = {}
    for index, stamp in enumerate(stamps):
        if stamp and all(character in CHARACTERS for character in stamp):
            by_length.setdefault(len(stamp), []).append(index)
    for indices in by_length.values():
        struck = np.array([[_COLUMN[c] for c in stamps[index]] for index in indices]).T
        total[:, indices] = _both_ways_up(struck, reading, wear, marks[indices], upright)
    return total


def stranger_likelihood(reading: Reading, wear: Wear, *, upright: bool = False) -> float:
    """How likely the reading is for a plug of which only the pattern of its number is guessed."""
    import numpy as np

    total = 0.0
    unmarked = np.zeros(1, bool)
    for pattern, share in wear.settings["strangers"].items():
        struck = np.array([[_ANY_DIGIT if sign == "d" else _ANY_LETTER] for sign in pattern])
        total += share * float(_both_ways_up(struck, reading, wear, unmarked, upright).sum())
    return total


def _both_ways_up(
    struck: np.ndarray, reading: Reading, wear: Wear, marked: np.ndarray, upright: bool
) -> np.ndarray:
    """(2, n) for stamps of one length; `struck` (length, n) are rows of the shares."""
    import numpy as np

    rates = wear.rates
    total = np.zeros((2, struck.shape[1]))
    for way in reading.ways:
        if way.dot:
            # the dot stands behind the last character: at the end of what was seen upright
            at_end = np.where(marked, 1 - rates["dot_misplaced"], 0.5)
            seen = np.where(marked, rates["dot_typed"], rates["dot_imagined"])
            turned = 0.0 if upright else 0.5
            ends = (at_end, 1 - at_end) if way.dot == "end" else (1 - at_end, at_end)
            shares = (seen * (1 - turned) * ends[0], seen * turned * ends[1])
        else:
            seen = np.where(marked, 1 - rates["dot_typed"], 1 - rates["dot_imagined"])
            over = np.where(marked, rates["mark_overlooked"], rates["upside_down"]) * (not upright)
            shares = (seen * (1 - over), seen * over)
        for level in wear.levels:
            for row, order, table in ((0, 1, level.upright), (1, -1, level.turned)):
                if order > 0 or not upright:
                    read = _aligned(struck[::order], way, table, wear)
                    total[row] += level.plugs / len(reading.ways) * shares[row] * read
    return total


def _aligned(struck: np.ndarray, way: Way, table: np.ndarray, wear: Wear) -> np.ndarray:
    """Likelihood of one way of reading, summed over all alignments with the struck characters."""
    import numpy as np

    rates = wear.rates
    length, count = struck.shape
    columns = [[_COLUMN[one] for one in place] for place in way.places]
    shares = [table[:, one].sum(1) for one in columns]
    nicks = [rates["nick"] * float(wear.nothing[one].sum()) for one in columns]
    read = len(columns)
    state = np.zeros((read + 1, count))
    state[0] = 1.0
    state = _with_nick(state, nicks, rates["nick"])
    before = state
    seen_before: list[np.ndarray] = []
    for position in range(length):
        at_edge = position in (0, length - 1)
        missed = rates["overlooked_at_edge" if at_edge else "overlooked_inside"]
        seen = [share[struck[position]] for share in shares]
        lost = [
            rates["overlooked_where_broken"] if j in way.gaps else missed for j in range(read + 1)
        ]
        after = state * np.array(lost)[:, None]
        for j in range(read):
            after[j + 1] += state[j] * ((1 - lost[j]) * (1 - rates["exchanged"])) * seen[j]
        for j in range(2, read + 1) if position else ():
            both = (1 - missed) ** 2 * rates["exchanged"]
            after[j] += before[j - 2] * both * seen[j - 2] * seen_before[j - 1]
        before, seen_before = state, seen
        state = _with_nick(after, nicks, rates["nick"])
    return np.asarray(state[read])


def _with_nick(state: np.ndarray, nicks: Sequence[float], rate: float) -> np.ndarray:
    """One step between two struck characters: mostly nothing, now and then a nick read as one."""
    after = state * (1 - rate)
    for j, nick in enumerate(nicks):
        after[j + 1] += state[j] * nick
    return after


def for_pages(wear: Wear, struck: set[str]) -> dict[str, Any]:
    """The model as JSON for the script of the finding aid, with the rows of what is struck."""
    rows = {one: _COLUMN[one] for one in sorted(struck | set(DIGITS)) if one in CHARACTERS}
    rows |= {"d": _ANY_DIGIT, "a": _ANY_LETTER}

    def shares(table: np.ndarray) -> dict[str, list[float]]:
        return {one: table[row].tolist() for one, row in rows.items()}

    return {
        "read": READ,
        "levels": [[one.plugs, shares(one.upright), shares(one.turned)] for one in wear.levels],
        "nothing": wear.nothing.tolist(),
        "rates": wear.rates,
        **wear.settings,
    }

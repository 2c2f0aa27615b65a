"""Reads the figures of a text in every way in which they could mean a coordinate."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Container, Iterator
from dataclasses import dataclass

MOST_FIGURES = 17
_RUN = re.compile(r"[0-9]+")
_WORD = re.compile(r"[^\W\d_]{2,}")
_MARK = re.compile(r"[.,·]|\s[.,]|[.,]\s")
"""A decimal mark, with a blank that slipped in."""
_GROUP = re.compile(r"[ ,.'_]")
_EXPONENT = re.compile(r"[eE]([+-]?[0-9]{1,2})(?![0-9])")
_SIGNS = r"[\s°'\",;:/._=*~-]*"
_LIGHT = re.compile(
    rf"{_SIGNS}(?:(?:d|o|deg|degs|degrees?|m|min|mins|minutes?|minuten?|grad|grado?s?|graus?|graden"
    rf"|degr[ée]s?|minutos?|minuti|[nsew]|north|south|east|west|and|und|et|y|en)\b{_SIGNS}){{0,3}}",
    re.IGNORECASE,
)
"""What may stand between degrees and minutes, or these and seconds."""
_ANY_WORD = re.compile(r"[\W_]*[^\W\d_]{1,12}[\W_]*")
MOST_BETWEEN = 24
ANY_WORD_BITS, PACKED_BITS, POINT_DROPPED_BITS, SEXAGESIMAL_BITS = 3.0, 2.0, 3.0, 2.0
"""What each way of reading costs: so many other ways could have been tried."""

AFTER = re.compile(
    r"\s*(?:°(?!\s?[CF]\b)|deg|d[0-9]|[nsewo]\b|north|south|east|west|lat|lon)", re.IGNORECASE
)
_BEFORE = re.compile(
    r"(?:(?<![^\W\d_])(?:lat|lon|lng|long|latitude|longitude|breite|länge|north|south|east|west"
    r"|northing|easting|rechts|hoch|utm|zone|grid|ref|gps|mgrs|wp|waypoint|coord(?:inate)?s?"
    r"|[nsewo])|[°@])[\s:=.,'\"(\[+-]*(?:[0-9][0-9.,]*[\s,;/-]{1,2})?$",
    re.IGNORECASE,
)
_BEFORE_REACH = 24
_UNIT = re.compile(
    r"\s?(?:mm|cm|dm|m|km|ft|feet|in|inch(?:es)?|yd|kg|g|%|°\s?[CF]|years?|yrs?|rings?)(?![^\W\d_])"
    r"|\s?[\"']",
    re.IGNORECASE,
)
_YEAR_BEFORE = re.compile(r"[12][0-9]{3}-$")
_LENGTH = re.compile(r"\s?(?:m|ft|feet)(?![^\W\d_])", re.IGNORECASE)
CUE_BITS, UNIT_BITS = 3.0, -6.0


@dataclass(frozen=True, slots=True)
class Number:
    """A number as one way of reading has it.

    `half` is half a unit of its last figure, `figures` how many were written, `next` the run of
    figures behind it, `cost` in bits what the way of reading costs.
    """

    start: int
    end: int
    next: int
    value: float
    half: float
    figures: int
    cost: float = 0.0


@dataclass(frozen=True, slots=True)
class Angle:
    """A number, or several, as degrees; `cost` in bits what the way of reading costs."""

    start: int
    end: int
    degrees: float
    half: float
    cost: float


class Figures:
    """The runs of figures in a text, as `plain` gives it."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.runs = [(*one.span(), one[0]) for one in _RUN.finditer(text)]
        words = [one.start() for one in _WORD.finditer(text)]
        self._stretch = [bisect_left(words, start) for start, _, _ in self.runs]
        self._crowd = Counter(self._stretch)

    def crowd(self, run: int) -> int:
        """How many runs of figures stand together with no word between: a table has many."""
        return self._crowd[self._stretch[run]]

    def numbers(self, run: int) -> Iterator[Number]:
        """Every number that begins with a run: whole, with decimals or exponent, in groups."""
        start, end, joined = self.runs[run]
        at = run
        groups = 0
        mark = ""
        yield from self._with_exponent(start, end, at + 1, joined, "", 0)
        while len(joined) <= MOST_FIGURES:
            if at + 1 == len(self.runs):
                return
            after, after_end, digits = self.runs[at + 1]
            between = self.text[end:after]
            if len(between) > 2:
                return
            if _MARK.fullmatch(between):
                cost = groups + (len(between) - 1) * 2
                yield from self._with_exponent(start, after_end, at + 2, joined, digits, cost)
            # groups of three; of two with commas, as in India
            is_group = len(digits) == 3 or (len(digits) == 2 and between == ",")
            if groups == 3 or not is_group or (mark or between) != between:
                return
            if not _GROUP.fullmatch(between):
                return
            mark = between
            joined, end, at, groups = joined + digits, after_end, at + 1, groups + 1
            yield self._number(start, end, at + 1, joined, "", groups)

    def _with_exponent(
        self, start: int, end: int, after: int, whole: str, decimals: str, cost: float
    ) -> Iterator[Number]:
        number = self._number(start, end, after, whole, decimals, cost)
        yield number
        if self.text[end : end + 1] in ("e", "E") and (found := _EXPONENT.match(self.text, end)):
            times = 10.0 ** int(found[1])
            yield Number(
                start, found.end(), after + 1, number.value * times, number.half * times,
                number.figures, cost + 1,
            )  # fmt: skip

    def _number(
        self, start: int, end: int, after: int, whole: str, decimals: str, cost: float
    ) -> Number:
        figures = len(whole) + len(decimals)
        value = float(f"{whole}.{decimals or 0}") if len(whole) <= MOST_FIGURES else 1e18
        return Number(start, end, after, value, 0.5 * 10.0 ** -len(decimals), figures, cost)

    def angles(self, run: int, number: Number, wholes: Container[int]) -> Iterator[Angle]:
        """Every angle that begins with a number; `wholes` are the whole degrees that matter."""
        if number.value <= 360:
            yield Angle(number.start, number.end, number.value, number.half, number.cost)
            gons = self.text[number.end : number.end + 5].lstrip().lower()
            if gons.startswith(("gon", "grad", "ᵍ")):
                value, half = number.value * 0.9, number.half * 0.9
                yield Angle(number.start, number.end, value, half, number.cost)
        if number.cost == 0 and number.next - run <= 2:
            yield from self._packed(run, number, wholes)
            if number.value in wholes:
                yield from self._sexagesimal(number)

    def _packed(self, run: int, number: Number, wholes: Container[int]) -> Iterator[Angle]:
        """DDMMSS.s, DDDMM.mmm and the like, and figures whose decimal point was dropped."""
        digits = self.runs[run][2]
        decimals = number.figures - len(digits)
        part = number.value % 1 if decimals else 0.0
        for width in (1, 2, 3):
            rest = digits[width:]
            if not 2 <= len(rest) <= 9 or int(digits[:width]) not in wholes:
                continue
            whole = int(digits[:width])
            readings = [(rest, "", 1.0)]
            if rest[:2] < "60":
                readings.append((rest[2:], rest[:2], 60.0))
                if len(rest) >= 4 and rest[2:4] < "60":
                    readings.append((rest[4:], rest[:4], 3600.0))
            for more, sixtieths, parts in readings:
                if decimals and more:
                    # a point stands behind the last of them, whichever that is
                    continue
                places = decimals + len(more)
                value = float(whole) + (int(more) / 10 ** len(more) if more else part) / parts
                if sixtieths:
                    value += int(sixtieths[:2]) / 60 + int(sixtieths[2:] or 0) / 3600
                cost = POINT_DROPPED_BITS if more else 0.0
                cost += PACKED_BITS if sixtieths else 0.0
                half = 0.5 * 10.0**-places / parts
                yield Angle(number.start, number.end, value, half, cost)

    def _sexagesimal(self, number: Number) -> Iterator[Angle]:
        for minutes, cost in self._sixtieths(number):
            value = number.value + minutes.value / 60
            so_far = SEXAGESIMAL_BITS + cost
            yield Angle(number.start, minutes.end, value, minutes.half / 60, so_far)
            if minutes.value.is_integer():
                for seconds, more in self._sixtieths(minutes):
                    yield Angle(
                        number.start, seconds.end, value + seconds.value / 3600,
                        seconds.half / 3600, so_far + more,
                    )  # fmt: skip

    def _sixtieths(self, before: Number) -> Iterator[tuple[Number, float]]:
        """The next number, below sixty, and the cost of what stands between."""
        if before.next >= len(self.runs):
            return
        between = self.text[before.end : self.runs[before.next][0]]
        if len(between) > MOST_BETWEEN:
            return
        if _LIGHT.fullmatch(between):
            cost = 0.0
        elif _ANY_WORD.fullmatch(between):
            cost = ANY_WORD_BITS
        else:
            return
        for number in self.numbers(before.next):
            if number.cost == 0 and number.value < 60 and number.figures <= 9:
                yield number, cost

    def leaning(self, start: int, end: int, *, is_long: bool = False) -> float:
        """Bits for signs beside a number that it is a coordinate, or is none but a size.

        A length may have metres behind it and still be a coordinate (`is_long`).
        """
        if _YEAR_BEFORE.search(self.text, max(start - 5, 0), start):
            # the month of a date
            return UNIT_BITS
        if AFTER.match(self.text, end):
            return CUE_BITS
        if _BEFORE.search(self.text, max(start - _BEFORE_REACH, 0), start):
            return CUE_BITS
        if _UNIT.match(self.text, end) and not (is_long and _LENGTH.match(self.text, end)):
            return UNIT_BITS
        return 0.0

    def leaning_of(self, angle: Angle, number: Number) -> float:
        """The same for an angle that begins with a number."""
        leaning = self.leaning(angle.start, angle.end)
        if angle.end == number.end:
            return leaning
        degrees = self.leaning(angle.start, number.end)
        if degrees < 0:
            # feet and inches, a date
            return degrees
        # what stands behind minutes and seconds is their sign, and no unit
        return max(leaning, degrees)

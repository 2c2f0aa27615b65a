"""Draws what stands beside the dates on an axis of years: phases as bands, events as lines."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from provenance._derive.figures.axes import Axis
from provenance._derive.figures.chart import RIGHT, SMALL, ChartPage
from provenance._drawing.drawing import Line
from provenance._model.edtf import bounds, is_edtf
from provenance._model.notation import write_year
from provenance._record.package import Package

_BAND_GREY, _EDGE_GREY = 0.92, 0.6
_EVENT, _STROKE = 0.3, 1.7
_ROW = 1.35 * SMALL
_APART = 1.5
_LONGEST = 70.0
_MOST_WORDS = 16
"""With more of them the words would take more room than the dates."""


@dataclass(frozen=True)
class Mark:
    """Years (astronomical) with words: of a phase, or of an event that may be less than sure."""

    first: int
    last: int
    words: str
    is_phase: bool = False
    sure: bool = True


@dataclass(frozen=True)
class Event:
    """A documented event as figures need it; `building` is '' where it concerns the whole site."""

    site_id: str
    building: str
    mark: Mark


def events_of(package: Package, buildings: dict[str, str]) -> tuple[Event, ...]:
    """The documented events of a record whose year can be read, the oldest first."""
    kinds = package.model.vocabularies.get("episode_kind")
    found = []
    for row in package.tables.rows("episode"):
        if (when := years_of(row["happened"])) is None:
            continue
        first, last, words = when
        kind = kinds.label(row["kind"]) if kinds else row["kind"]
        sure = row.get("certainty", "") in ("", "certain")
        words = " ".join([words, kind.lower(), *([] if sure else ["?"])])
        building = buildings.get(row.get("place_id", ""), "")
        found.append(Event(row["site_id"], building, Mark(first, last, words, sure=sure)))
    return tuple(sorted(found, key=lambda one: (one.mark.first, one.mark.last, one.mark.words)))


def years_of(happened: str) -> tuple[int, int, str] | None:
    """First and last year of an event with words for them; None where its date cannot be read.

    >>> years_of("1745-06"), years_of("1788/1795"), years_of("1801/..")
    ((1745, 1745, '1745'), (1788, 1795, '1788 to 1795'), (1801, 1801, '1801 or later'))
    """
    if not is_edtf(happened):
        return None
    first, last = bounds(happened)
    ends = [day.year for day in (first, last) if day is not None]
    side = " or later" if last is None else " or earlier" if first is None else ""
    return ends[0], ends[-1], years_in_words(ends[0], ends[-1]) + side


def years_in_words(first: int, last: int) -> str:
    """One year, or two with 'to' between them."""
    return write_year(first) if first == last else f"{write_year(first)} to {write_year(last)}"


def in_reach(marks: Iterable[Mark], low: int, high: int) -> tuple[list[Mark], list[Mark]]:
    """The marks that lie near the years of a figure, and those too far away to be drawn.

    Near is half the length of the figure, at least 30 years: an event of another age would leave
    the dates no room.
    """
    reach = max(30, (high - low) // 2)
    near: list[Mark] = []
    far: list[Mark] = []
    for one in marks:
        inside = one.first >= low - reach and one.last <= high + reach
        (near if inside else far).append(one)
    return near, far


def far_words(far: Sequence[Mark]) -> list[str]:
    """A sentence that names the events which the axis does not reach."""
    named = "; ".join(one.words for one in far)
    return [f"Too far from the dates to be drawn: {named}."] if far else []


class MarkRows:
    """Marks with their words in as many rows as they need, none over another.

    `height` is what the words take above the dates; `all_named` is false where there are so many
    marks that they are drawn without words. A year begins `before` years ahead of its
    number on the axis and ends `after` years behind it.
    """

    def __init__(
        self,
        page: ChartPage,
        axis: Axis,
        marks: Sequence[Mark],
        *,
        before: float = 0.5,
        after: float = 0.5,
        with_words: bool = True,
    ) -> None:
        self._page, self._axis = page, axis
        self._marks = sorted(marks, key=lambda one: (one.first, one.last, one.words))
        self._before, self._after = before, after
        self._most = min(_LONGEST, RIGHT - axis.start)
        self.all_named = len(self._marks) <= _MOST_WORDS
        self._rows: list[float] = []
        has_words = with_words and self.all_named
        self._words = [self._placed(one) for one in self._marks] if has_words else []
        self.height = _ROW * len(self._rows) + (0.8 if self._rows else 0.0)

    def _sides(self, one: Mark) -> tuple[float, float]:
        if one.is_phase:
            return self._axis(one.first - self._before), self._axis(one.last + self._after)
        middle = (self._after - self._before) / 2
        return self._axis(one.first + middle), self._axis(one.last + middle)

    def _placed(self, one: Mark) -> tuple[float, int]:
        """Where the words begin, and in which row above the dates."""
        left, right = self._sides(one)
        width = min(self._page.width(one.words), self._most)
        start = min(max((left + right - width) / 2, self._axis.start), RIGHT - width)
        row = next((at for at, end in enumerate(self._rows) if end + _APART <= start), None)
        if row is None:
            row = len(self._rows)
            self._rows.append(0.0)
        self._rows[row] = start + width
        return start, row

    def draw(self, top: float, bottom: float) -> None:
        """Draw bands, lines and words; the words stand above `top`, which is that of the dates."""
        add = self._page.add
        highest = [
            top + (0.4 + _ROW * self._words[at][1] if self._words else 0.0)
            for at in range(len(self._marks))
        ]
        for one, high in zip(self._marks, highest, strict=True):
            left, right = self._sides(one)
            if one.is_phase:
                corners = ((left, bottom), (right, bottom), (right, high), (left, high))
                add(Line(corners, closed=True, grey=None, fill=_BAND_GREY))
        for one, high in zip(self._marks, highest, strict=True):
            left, right = self._sides(one)
            for x in sorted({left, right}):
                if one.is_phase:
                    add(Line(((x, bottom), (x, high)), width=0.15, grey=_EDGE_GREY))
                else:
                    add(*_upright(x, bottom, high, sure=one.sure))
            if right > left and not one.is_phase:
                add(Line(((left, high), (right, high)), width=_EVENT))
        for one, (start, row) in zip(self._marks, self._words, strict=bool(self._words)):
            at = (start, top + 0.8 + _ROW * row + 0.25 * SMALL)
            self._page.write(at, one.words, most=self._most, halo=True)


def marks_caption(marks: Sequence[Mark], *, all_named: bool = True) -> list[str]:
    """What bands and lines mean, for the words below a figure; nothing where there are none."""
    said = []
    if any(one.is_phase for one in marks):
        said.append("Gray bands: felling phases.")
    if any(not one.is_phase for one in marks):
        doubt = any(not one.sure for one in marks if not one.is_phase)
        said.append(
            "Vertical lines: historical events"
            + (", dashed and with '?' where not certain." if doubt else ".")
        )
    if not all_named:
        said.append("There are too many to name them here; the tables do.")
    return [" ".join(said)] if said else []


def _upright(x: float, low: float, high: float, *, sure: bool) -> list[Line]:
    """A line of an event; broken where it is not certain."""
    if sure:
        return [Line(((x, low), (x, high)), width=_EVENT)]
    count = max(1, int((high - low) / _STROKE))
    step = (high - low) / count
    return [
        Line(((x, low + at * step), (x, low + (at + 0.6) * step)), width=_EVENT)
        for at in range(count)
    ]

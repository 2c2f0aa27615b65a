"""Compares the scans of a stocktake with what the store should hold, and where.

A label of a place opens that place; the next one, or END, closes it. What should lie in a place
that was closed and was not scanned is missing; what should lie in a place that nobody opened was
not looked at.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from provenance._collection.scans import PLACE, SAMPLE, UNREAD

WORDS: Mapping[str, str] = {
    "right": "in the right place",
    "misplaced": "in another place than recorded",
    "against_record": "here, though the record says otherwise",
    "twice": "seen in two places",
    "several": "number of several records: which one?",
    "unknown": "not known to this store",
    "unread": "label not readable",
    "no_place": "scanned before a place was opened",
    "unknown_place": "place not known to this store",
    "missing": "missing: should be in a place that was looked through",
    "not_looked_at": "not looked at: its place was not opened",
}
"""Outcome → what it means, in the order of the report."""

Expected = tuple[str, str, str, str, str]
"""Record, site, number, place, and who has it, in words: '' for what should lie in its place."""
Label = tuple[str, str]
"""Site and number, as a label says them; the site is '' where a number was typed alone."""


class Seen(NamedTuple):
    """One outcome: of a sample of a record, or of a scan that names none.

    `place` is where it was seen, `expected` where it should be or who should have it.
    """

    outcome: str
    record_id: str
    site_id: str
    sample_id: str
    place: str
    expected: str
    text: str = ""


@dataclass(frozen=True)
class Stocktake:
    """What came of a stocktake: how many of each outcome, and those that need a person.

    `rest` is what is neither right nor in a place that was not looked at; `seen` are (record,
    number, place) of samples that were seen in one place and that nobody else has.
    """

    counts: Mapping[str, int]
    rest: Sequence[Seen] = field(repr=False)
    seen: Sequence[tuple[str, str, str]] = field(default=(), repr=False)
    closed: Sequence[str] = ()
    still_open: str = ""

    @property
    def clean(self) -> bool:
        """Whether every sample was where it should be, as far as anybody looked."""
        return not self.rest and not self.still_open


def compare_scans(
    expected: Callable[[], Iterable[Expected]],
    sites_of: Callable[[str], Sequence[str]],
    codes: Mapping[str, str],
    scans: Iterable[Sequence[str]],
) -> Stocktake:
    """Hold scans (with the columns of `scans.Scan`) against what should be where.

    `expected` gives every sample that the store knows, each time that it is asked; `sites_of` the
    sites that have a sample of a number, and `codes` what the label of a place says → the place.
    """
    opened = _Opened(codes)
    comparing = _Comparing(sites_of)
    comparing.take_note(opened.of_scans(scans))
    closed = frozenset(opened.closed)
    # a label that two records have is no scan of either, so what was counted as one is not
    while comparing.set_aside(comparing.compare(expected(), closed)):
        pass
    rest = sorted([*opened.odd, *comparing.odd, *comparing.rest], key=_by_place)
    counts = Counter(one.outcome for one in rest) + comparing.counts
    return Stocktake(
        {one: counts[one] for one in WORDS if counts[one]},
        rest,
        comparing.seen,
        opened.closed,
        opened.place,
    )


def _by_place(one: Seen) -> tuple[str, ...]:
    return one.place, one.expected, one.site_id, one.sample_id


class _Comparing:
    """Which label was scanned where; `odd` are scans of no sample, `rest` samples that differ."""

    def __init__(self, sites_of: Callable[[str], Sequence[str]]) -> None:
        self._sites_of = sites_of
        self._first: dict[Label, str] = {}
        self._again: list[tuple[Label, str]] = []
        self.odd: list[Seen] = []

    def take_note(self, scans: Iterable[tuple[str, str, str]]) -> None:
        """Take note of scans: site, number, place."""
        first = self._first
        for site, number, place in scans:
            if not site:
                sites = self._sites_of(number)
                if len(sites) != 1:
                    self._add_odd("several" if sites else "unknown", (site, number), place)
                    continue
                site = sites[0]
            label = (site, number)
            if label in first:
                self._again.append((label, place))
            else:
                first[label] = place

    def _add_odd(self, outcome: str, label: Label, place: str) -> None:
        self.odd.append(Seen(outcome, "", *label, place, ""))

    def compare(self, expected: Iterable[Expected], closed: frozenset[str]) -> set[Label]:
        """Go through what should be where; gives labels that are of several samples."""
        first, waiting = self._first, dict(self._first)
        twice = {label for label, place in self._again if first[label] != place}
        shared: set[Label] = set()
        right = not_looked_at = 0
        self.rest: list[Seen] = []
        self.seen: list[tuple[str, str, str]] = []
        for record, site, number, place, state in expected:
            label = (site, number)
            where = waiting.pop(label, None)
            if where is None:
                if label in first:
                    shared.add(label)
                elif place in closed and not state:
                    self.rest.append(Seen("missing", record, site, number, "", place))
                else:
                    not_looked_at += not state
                continue
            if label in twice:
                outcome = "twice"
            elif state:
                outcome = "against_record"
            else:
                self.seen.append((record, number, where))
                if where == place:
                    right += 1
                    continue
                outcome = "misplaced"
            self.rest.append(Seen(outcome, record, site, number, where, state or place))
        self.counts = Counter({"right": right, "not_looked_at": not_looked_at})
        if not shared:
            self._put_aside(waiting, "unknown")
        return shared

    def set_aside(self, shared: set[Label]) -> bool:
        """Take labels of several samples out of the scans; whether there were any."""
        self._put_aside(shared, "several")
        return bool(shared)

    def _put_aside(self, labels: Iterable[Label], outcome: str) -> None:
        gone = dict.fromkeys(labels)
        if not gone:
            return
        for label in gone:
            self._add_odd(outcome, label, self._first.pop(label))
        for label, place in self._again:
            if label in gone:
                self._add_odd(outcome, label, place)
        self._again = [one for one in self._again if one[0] not in gone]


class _Opened:
    """Follows which place is open while scans come in; `odd` are those that name no sample."""

    def __init__(self, codes: Mapping[str, str]) -> None:
        self._codes = codes
        self._closed: dict[str, None] = {}
        self._opened: dict[str, None] = {}
        self.place = ""
        self.odd: list[Seen] = []

    def of_scans(self, scans: Iterable[Sequence[str]]) -> Iterator[tuple[str, str, str]]:
        """(site, number, place) of every sample that was scanned in a place."""
        for kind, code, site, number, text in scans:
            if kind == SAMPLE and self.place:
                yield site, number, self.place
            elif kind == SAMPLE:
                said = f"{site}-{number}" if site else number
                self.odd.append(Seen("no_place", "", "", said, "", ""))
            elif kind == PLACE and code in self._codes:
                self._open(self._codes[code])
            elif kind == UNREAD:
                self.odd.append(Seen("unread", "", "", "", self.place, "", text))
            else:
                # behind a place that nobody knows no sample is taken to lie in the one before
                self._open("")
                if kind == PLACE:
                    self.odd.append(Seen("unknown_place", "", "", "", "", "", text))

    @property
    def closed(self) -> list[str]:
        """The places that were looked through, in the order in which they were opened."""
        return [place for place in self._opened if place in self._closed]

    def _open(self, place: str) -> None:
        if self.place:
            self._closed[self.place] = None
        self.place = place
        if place:
            self._opened[place] = None

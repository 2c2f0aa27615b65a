"""Compares the scans of a stocktake with what the store should hold, and where.

A label of a place opens that place; the next one, or END, closes it. What should lie in a place
that was closed and was not scanned is missing; what should lie in a place that nobody opened was
not looked at.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from provenance._collection.scans import CLOSED, PLACE, SAMPLE

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

FOUND = ("right", "misplaced", "against_record")
"""Outcomes of samples that were seen, each in one place."""


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

    `found` are all samples that were seen, `rest` what is neither right nor not looked at.
    """

    counts: Mapping[str, int]
    found: Sequence[Seen] = field(repr=False)
    rest: Sequence[Seen] = field(repr=False)
    closed: Sequence[str] = ()
    still_open: str = ""

    @property
    def clean(self) -> bool:
        """Whether every sample was where it should be, as far as anybody looked."""
        return not self.rest and not self.still_open


def compare_scans(database: sqlite3.Connection, scans: Iterable[Sequence[str]]) -> Stocktake:
    """Hold scans (with the columns of `scans.Scan`) against what should be where.

    `database` has the table or view `expected` (sample_no, record_id, site_id, sample_id, place_id,
    state: blank for what should lie in its place, else who has it, in words) and `place` (place_id,
    code: what its label says).
    """
    database.executescript(_TABLES)
    codes = dict(database.execute("SELECT code, place_id FROM place"))
    opened = _Opened(codes)
    database.executemany("INSERT INTO scan VALUES (?, ?, ?, ?, ?, ?)", opened.of_scans(scans))
    database.executemany("INSERT INTO closed VALUES (?)", ((one,) for one in opened.closed))
    database.executescript(_COMPARED)
    counts = dict(database.execute("SELECT outcome, count(*) FROM outcome GROUP BY outcome"))
    asked = "SELECT outcome, record_id, site_id, sample_id, place, expected, text FROM outcome "
    order = " ORDER BY place, expected, site_id, sample_id, n"
    found = f"{asked}WHERE outcome IN ('right', 'misplaced', 'against_record'){order}"
    rest = f"{asked}WHERE outcome NOT IN ('right', 'not_looked_at'){order}"
    return Stocktake(
        {one: counts[one] for one in WORDS if one in counts},
        list(map(Seen._make, database.execute(found))),
        list(map(Seen._make, database.execute(rest))),
        list(opened.closed),
        opened.place,
    )


class _Opened:
    """Follows which place is open while scans come in."""

    def __init__(self, codes: Mapping[str, str]) -> None:
        self._codes = codes
        self.place = ""
        self.closed: dict[str, None] = {}

    def of_scans(
        self, scans: Iterable[Sequence[str]]
    ) -> Iterator[tuple[int, str, str, str, str, str]]:
        """(n, outcome or '', site, number, place, text) of every scan that names no place."""
        for n, (kind, code, site, sample, text) in enumerate(scans):
            if kind == SAMPLE:
                yield n, "" if self.place else "no_place", site, sample, self.place, text
            elif kind == PLACE and code in self._codes:
                self._open(self._codes[code])
            elif kind == CLOSED:
                self._open("")
            else:
                # behind a place that nobody knows no sample is taken to lie in the one before
                if kind == PLACE:
                    self._open("")
                outcome = "unknown_place" if kind == PLACE else "unread"
                yield n, outcome, "", "", self.place, text

    def _open(self, place: str) -> None:
        if self.place:
            self.closed[self.place] = None
        self.place = place


_TABLES = """
CREATE TEMP TABLE scan (n INTEGER PRIMARY KEY, outcome TEXT, site_id TEXT, sample_id TEXT,
  place TEXT, text TEXT);
CREATE TEMP TABLE closed (place_id TEXT PRIMARY KEY) WITHOUT ROWID;
CREATE TEMP TABLE hit (n INTEGER PRIMARY KEY, sample_no INTEGER, records INTEGER, place TEXT);
CREATE TEMP TABLE seen (sample_no INTEGER PRIMARY KEY, n INTEGER, place TEXT, places INTEGER);
CREATE TEMP TABLE outcome (outcome TEXT, n INTEGER, record_id TEXT, site_id TEXT, sample_id TEXT,
  place TEXT, expected TEXT, text TEXT);
"""
_COMPARED = """
INSERT INTO hit SELECT scan.n, min(sample_no), count(DISTINCT sample_no), scan.place
  FROM scan CROSS JOIN expected ON expected.sample_id = scan.sample_id
    AND (scan.site_id = '' OR expected.site_id = scan.site_id)
  WHERE scan.outcome = '' GROUP BY scan.n;
INSERT INTO seen SELECT sample_no, min(n), min(place), count(DISTINCT place)
  FROM hit WHERE records = 1 GROUP BY sample_no;
INSERT INTO outcome SELECT CASE WHEN places > 1 THEN 'twice' WHEN state <> '' THEN 'against_record'
    WHEN place_id = place THEN 'right' ELSE 'misplaced' END,
    n, record_id, site_id, sample_id, place, CASE WHEN state = '' THEN place_id ELSE state END, ''
  FROM seen JOIN expected USING (sample_no);
INSERT INTO outcome SELECT 'missing', NULL, record_id, site_id, sample_id, '', place_id, ''
  FROM closed JOIN expected USING (place_id)
  WHERE state = '' AND sample_no NOT IN (SELECT sample_no FROM seen);
INSERT INTO outcome SELECT 'not_looked_at', NULL, record_id, site_id, sample_id, '', place_id, ''
  FROM expected WHERE state = '' AND sample_no NOT IN (SELECT sample_no FROM seen)
    AND place_id NOT IN (SELECT place_id FROM closed);
INSERT INTO outcome SELECT 'several', n, '', site_id, sample_id, scan.place, '', text
  FROM hit JOIN scan USING (n) WHERE records > 1;
INSERT INTO outcome SELECT coalesce(nullif(outcome, ''), 'unknown'), n, '', site_id, sample_id,
    place, '', text FROM scan WHERE n NOT IN (SELECT n FROM hit);
"""

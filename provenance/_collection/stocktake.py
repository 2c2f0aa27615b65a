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

NOT_RIGHT = ("misplaced", "against_record", "twice")
"""Outcomes of samples that were seen, other than the right one."""


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

    `rest` is what is neither right nor in a place that was not looked at.
    """

    counts: Mapping[str, int]
    rest: Sequence[Seen] = field(repr=False)
    closed: Sequence[str] = ()
    still_open: str = ""

    @property
    def clean(self) -> bool:
        """Whether every sample was where it should be, as far as anybody looked."""
        return not self.rest and not self.still_open


def compare_scans(
    database: sqlite3.Connection, codes: Mapping[str, str], scans: Iterable[Sequence[str]]
) -> Stocktake:
    """Hold scans (with the columns of `scans.Scan`) against what should be where.

    `database` has the table or view `expected` (sample_no, record_id, site_id, sample_id, place_id,
    state: blank for what should lie in its place, else who has it, in words), and the same as
    `in_order`, read from one end to the other; `codes` maps what the label of a place says to it.
    """
    _run(database, _TABLES)
    opened = _Opened(codes)
    database.executemany("INSERT INTO scan VALUES (?, ?, ?)", opened.of_scans(scans))
    database.executemany("INSERT INTO opened VALUES (?, ?, ?)", opened.rows())
    database.executemany("INSERT INTO outcome VALUES (?, '', '', ?, ?, '', ?)", opened.odd)
    _run(database, _NAMED)
    database.execute(_SEEN)
    (matched,) = database.execute("SELECT coalesce(sum(scans), 0) FROM seen").fetchone()
    if matched < database.execute("SELECT count(*) FROM scan").fetchone()[0]:
        database.execute(_UNKNOWN)
    _run(database, _COMPARED)
    counts = dict(database.execute("SELECT outcome, count(*) FROM outcome GROUP BY outcome"))
    (seen,) = database.execute("SELECT count(*) FROM seen").fetchone()
    counts["right"] = seen - sum(counts.get(one, 0) for one in NOT_RIGHT)
    rest = database.execute(
        "SELECT * FROM outcome WHERE outcome <> 'not_looked_at' "
        "ORDER BY place, expected, site_id, sample_id, rowid"
    )
    return Stocktake(
        {one: counts[one] for one in WORDS if counts.get(one)},
        list(map(Seen._make, rest)),
        opened.closed,
        opened.place,
    )


def _run(database: sqlite3.Connection, script: str) -> None:
    # not by executescript, which would end the transaction of whoever asks
    for statement in script.split(";"):
        database.execute(statement)


def found_in(database: sqlite3.Connection) -> Iterator[tuple[str, str, str]]:
    """(record, number, place) of every sample that was seen in one place, once compared."""
    return database.execute(
        "SELECT record_id, sample_id, opened.place_id FROM seen JOIN expected USING (sample_no) "
        "JOIN opened USING (n) WHERE NOT twice AND state = '' ORDER BY record_id, sample_no"
    )


class _Opened:
    """Follows which place is open while scans come in; `odd` are those that name no sample."""

    def __init__(self, codes: Mapping[str, str]) -> None:
        self._codes = codes
        self._numbers: dict[str, int] = {}
        self._closed: set[str] = set()
        self.place = ""
        self.odd: list[tuple[str, str, str, str]] = []

    def of_scans(self, scans: Iterable[Sequence[str]]) -> Iterator[tuple[str, str, int]]:
        """(site, number, number of the place) of every sample that was scanned in a place."""
        number = 0
        for kind, code, site, sample, text in scans:
            if kind == SAMPLE and number:
                yield site, sample, number
            elif kind == SAMPLE:
                number_of = f"{site}-{sample}" if site else sample
                self.odd.append(("no_place", number_of, "", ""))
            elif kind == PLACE and code in self._codes:
                number = self._open(self._codes[code])
            elif kind == UNREAD:
                self.odd.append(("unread", "", self.place, text))
            else:
                # behind a place that nobody knows no sample is taken to lie in the one before
                number = self._open("")
                if kind == PLACE:
                    self.odd.append(("unknown_place", "", "", text))

    def rows(self) -> Iterator[tuple[int, str, bool]]:
        """Number and code of each place that was opened, and whether it was closed."""
        return ((n, place, place in self._closed) for place, n in self._numbers.items())

    @property
    def closed(self) -> list[str]:
        """The places that were looked through, in the order in which they were opened."""
        return [place for place in self._numbers if place in self._closed]

    def _open(self, place: str) -> int:
        if self.place:
            self._closed.add(self.place)
        self.place = place
        return self._numbers.setdefault(place, len(self._numbers) + 1) if place else 0


_TABLES = """
CREATE TEMP TABLE scan (site_id TEXT, sample_id TEXT, n INTEGER);
CREATE TEMP TABLE opened (n INTEGER PRIMARY KEY, place_id TEXT UNIQUE, closed INTEGER);
CREATE TEMP TABLE seen (sample_no INTEGER PRIMARY KEY, n INTEGER, twice INTEGER, scans INTEGER);
CREATE TEMP TABLE shared (sample_id TEXT, site_id TEXT);
CREATE TEMP TABLE outcome (outcome TEXT, record_id, site_id TEXT, sample_id TEXT, place TEXT,
  expected TEXT, text TEXT);
"""
_ODD = """
INSERT INTO outcome SELECT {outcome!r}, '', site_id, sample_id, place_id, '', ''
  FROM scan JOIN opened USING (n) WHERE {which}"""
_NAMED = f"""
INSERT INTO shared SELECT sample_id, site_id FROM expected GROUP BY sample_id, site_id
  HAVING count(*) > 1;
INSERT INTO shared SELECT sample_id, '' FROM scan WHERE site_id = '' AND
  1 < (SELECT count(*) FROM expected WHERE expected.sample_id = scan.sample_id);
{_ODD.format(outcome="several", which="(sample_id, site_id) IN shared")};
DELETE FROM scan WHERE EXISTS (SELECT 1 FROM shared) AND (sample_id, site_id) IN shared;
UPDATE scan SET site_id = coalesce(
    (SELECT site_id FROM expected WHERE expected.sample_id = scan.sample_id), '')
  WHERE site_id = '';
"""
_SEEN = """
INSERT INTO seen SELECT sample_no, min(n), min(n) <> max(n), count(*)
  FROM scan CROSS JOIN expected USING (sample_id, site_id) GROUP BY sample_no
"""
_UNKNOWN = _ODD.format(
    outcome="unknown",
    which="NOT EXISTS (SELECT 1 FROM expected WHERE expected.sample_id = scan.sample_id "
    "AND expected.site_id = scan.site_id)",
)
_COMPARED = """
INSERT INTO outcome SELECT * FROM (
  SELECT CASE WHEN twice THEN 'twice' WHEN n IS NULL AND state <> '' THEN 'right'
      WHEN n IS NULL AND in_order.place_id IN (SELECT place_id FROM opened WHERE closed)
        THEN 'missing'
      WHEN n IS NULL THEN 'not_looked_at' WHEN state <> '' THEN 'against_record'
      WHEN opened.place_id = in_order.place_id THEN 'right' ELSE 'misplaced' END AS outcome,
    record_id, site_id, sample_id, coalesce(opened.place_id, ''),
    CASE WHEN state = '' THEN in_order.place_id ELSE state END, ''
  FROM in_order LEFT JOIN seen USING (sample_no) LEFT JOIN opened USING (n))
  WHERE outcome <> 'right';
"""

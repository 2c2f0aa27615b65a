"""Compares the scans of a stocktake with what the store should hold, and where.

A label of a place opens that place; the next one, or END, closes it. What should lie in a place
that was closed and was not scanned is missing; what should lie in a place that nobody opened was
not looked at.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

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

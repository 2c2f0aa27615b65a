"""Counts what came, went and was asked of a store, year by year."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import NamedTuple

import polars as pl

from provenance import __version__
from provenance._base.languages import N_
from provenance._base.page_templates import page_templates
from provenance._base.spreadsheet import spreadsheet_csv
from provenance._collection.kept import Books
from provenance._ledger.holdings import Event, Holding, after, last_day
from provenance._store.acts import Act
from provenance._store.settings import settings_in
from provenance._store.store import Store

FIGURES: Mapping[str, str] = {
    "accessions": N_("bundles accessioned, editions and later seasons too"),
    "records": N_("records that came in for the first time"),
    "withdrawn": N_("bundles withdrawn"),
    "megabytes": N_("size of the bundles that came in and are still kept, MB (1,000,000 bytes)"),
    "records_held": N_("records at the end of the year"),
    "samples_in": N_("samples that came into the store"),
    "samples_out": N_("samples that left it for good: given away, lost, used up or deaccessioned"),
    "samples_held": N_("samples that belong to the store at the end of the year, on loan or not"),
    "loaned": N_("samples lent"),
    "taken_back": N_("samples that came back from a loan"),
    "on_loan": N_("samples on loan at the end of the year"),
    "overdue": N_("of these, overdue then"),
    "requests": N_("samples for which someone asked to sample or use them up"),
    "enquiries": N_("enquiries that came in"),
    "answered": N_("enquiries answered"),
}
"""Figure of a year → what it counts."""

OWN = N_(
    "A sample belongs to the store while the custody ledger says that it is with the repository's "
    "own code (party_id in repository.yaml), or lent by it."
)
_SUMMED = ("records_held", "samples_held", "on_loan")
"""What stands at the end of a year: all that came less all that went."""


@dataclass(frozen=True)
class Years:
    """The figures of each year, oldest first: year → figure → count."""

    counts: Mapping[int, Mapping[str, int]]

    def rows(self) -> Iterator[dict[str, int]]:
        """One row a year."""
        for year, counts in self.counts.items():
            yield {"year": year, **{name: counts.get(name, 0) for name in FIGURES}}


class _Loan(NamedTuple):
    """One sample on loan: the year, the day it was due, and the year in which the loan ended."""

    begun: int
    due_on: str
    ended: int | None = None

    def is_overdue_at_end_of(self, year: int) -> bool:
        due = last_day(self.due_on)
        was_out = self.begun <= year and (self.ended is None or self.ended > year)
        return was_out and due is not None and due < (year, 12, 31)


def count_years(store: Store, until: int) -> Years:
    """The figures from the store's first year to `until`, by the day on which things happened.

    A sample belongs to the store while the ledger says that it is with the repository of the
    settings, or lent by it. Raises UnusableInput for settings that cannot be read.
    """
    found: dict[int, Counter[str]] = defaultdict(Counter)
    for act in store.acts:
        _count_act(found, act, store.folder)
    own = settings_in(store.folder).party_id
    books = Books(store)
    loans: list[_Loan] = []
    known: dict[str, int] = {}
    for act in store.accessions:
        if not act.record_id:  # a bag of others
            continue
        year = _year(act.happened_on)
        known[act.record_id] = min(year, known.get(act.record_id, year))
    for record_id, year in known.items():
        found[year]["records"] += 1
        found[year]["records_held"] += 1
        if books.full(record_id):
            loans += _count_events(found, books.kept(record_id).events, own)
    for row in store.rows("enquiry"):
        found[_year(row["asked_on"])]["enquiries"] += 1
        if row["answered_on"]:
            found[_year(row["answered_on"])]["answered"] += 1
    first = min((year for year, counts in found.items() if counts["accessions"]), default=until)
    for year in range(first, until + 1):
        found[year]["overdue"] = sum(one.is_overdue_at_end_of(year) for one in loans)
    return Years(_filled(found, first, until))


def _filled(
    found: Mapping[int, Counter[str]], first: int, until: int
) -> dict[int, Mapping[str, int]]:
    """Every year from the first accession on, with what stands at its end."""
    standing: Counter[str] = Counter()
    for year in sorted(year for year in found if year < first):
        standing.update({name: found[year][name] for name in _SUMMED})
    filled: dict[int, Mapping[str, int]] = {}
    for year in range(first, until + 1):
        here = found.get(year, Counter())
        standing.update({name: here[name] for name in _SUMMED})
        filled[year] = {**here, **{name: standing[name] for name in _SUMMED}}
    return filled


def _count_act(found: dict[int, Counter[str]], act: Act, folder: Path) -> None:
    here = found[_year(act.happened_on)]
    if act.kind == "accession":
        here["accessions"] += 1
        here["megabytes"] += round(_bytes_at(folder / act.kept_at) / 1e6)
    elif act.kind == "withdrawn":
        here["withdrawn"] += 1


def _bytes_at(path: Path) -> int:
    """The bytes of a kept bundle; 0 for one that is not there, which the audit says."""
    if path.is_dir():
        return sum(one.stat().st_size for one in path.rglob("*") if one.is_file())
    return path.stat().st_size if path.is_file() else 0


def _count_events(
    found: dict[int, Counter[str]], events: Iterable[Event], own: str
) -> Iterator[_Loan]:
    """Count the events of one record; yields its loans."""
    held: dict[str, Holding] = {}
    out: dict[str, _Loan] = {}
    for event in events:
        sample, year = event.sample_id, _year(event.happened_on)
        before = held.get(sample, Holding(sample))
        now = held[sample] = after(before, event)
        here = found[year]
        was, belongs = _belongs(before, own), _belongs(now, own)
        here["samples_in"] += belongs and not was
        here["samples_out"] += was and not belongs
        here["samples_held"] += belongs - was
        here["requests"] += event.event == "requested"
        if sample in out and not (own and now.lender == own):
            here["taken_back"] += event.event == "taken_back"
            here["on_loan"] -= 1
            yield out.pop(sample)._replace(ended=year)
        elif sample not in out and own and now.lender == own:
            here["loaned"] += 1
            here["on_loan"] += 1
            out[sample] = _Loan(year, now.due_on)
    yield from out.values()


def _belongs(holding: Holding, own: str) -> bool:
    return bool(own) and own in (holding.holder, holding.lender)


def _year(text: str) -> int:
    """The latest year that a date can mean; 0 for a blank, which is before every accession."""
    day = last_day(text)
    return day[0] if day else 0


def years_text(years: Years, store: str, counted_on: date, shape: str) -> str:
    """The figures as 'csv' or 'json' (a row a year), as a 'table' for a terminal, or as a page."""
    rows = list(years.rows())
    if shape == "csv":
        return spreadsheet_csv(pl.DataFrame(rows))
    if shape == "json":
        return json.dumps(rows, indent=1) + "\n"
    figures = [(what, [row[name] for row in rows]) for name, what in FIGURES.items()]
    if shape == "html":
        return (
            page_templates("store", "bundle")
            .get_template("year.html")
            .render(
                title=f"{store}: the collection year by year",
                counted_on=counted_on.isoformat(),
                years=list(years.counts),
                figures=figures,
                own=OWN,
                program=f"treenail {__version__}",
            )
        )
    lines = [("", *map(str, years.counts)), *((what, *map(str, each)) for what, each in figures)]
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    padded = (
        "  ".join([first.ljust(widths[0]), *map(str.rjust, rest, widths[1:])])
        for first, *rest in lines
    )
    return "".join(f"{line.rstrip()}\n" for line in padded)

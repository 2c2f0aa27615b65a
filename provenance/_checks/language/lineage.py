"""Rules about numbers that an older bundle gave out: none is taken back or given to something else.

They need nothing but what `treenail unpack` left in the package, or what a bundle tells of those
before it; a package that was not unpacked from a bundle has no finding.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import polars as pl

from provenance._base.errors import UnusablePackage
from provenance._checks.language.rule import COMMON_PRACTICE, EVERY_TABLE, rule
from provenance._ledger.branches import covered_by
from provenance._ledger.custody import TABLE as LEDGER
from provenance._record.origin import NUMBERED, Ancestor, Origin, read_origin, told_origin
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

_WHOSE = {
    "element": "the site",
    "sample": "the timber",
    "plug": "the sample",
    "lab_result": "the sample",
    "reservation": "the site",
}
"""What the column of NUMBERED stands for, in words."""


@rule(
    "lineage.note_unreadable",
    table="sample",
    field="sample_id",
    severity="error",
    says="Which bundle this package came from cannot be read, so its numbers were not held "
    "against the older ones. {said}.",
    remedy="Unpack that bundle again and copy the file .origin.json from there.",
    source=COMMON_PRACTICE,
)
def note_unreadable(tables: Snapshot) -> pl.DataFrame:
    """What was not looked at is not sound."""
    lines = [{ROW: 0, "said": said} for said in _origin(tables)[1:] if said]
    return pl.DataFrame(lines, schema={ROW: pl.UInt32, "said": pl.String}, orient="row")


@rule(
    "lineage.number_gone",
    table=EVERY_TABLE,
    severity="error",
    says="{key} of '{table}' was in {bundle} and is gone.",
    remedy="Put the row back, from that bundle. What turned out to be wrong stays as a row, "
    "with a word in its notes.",
    source=COMMON_PRACTICE,
)
def number_gone(tables: Snapshot) -> pl.DataFrame:
    """Labels, stamps, letters and publications go on naming it."""
    return _frame(tables, _gone)


@rule(
    "lineage.number_moved",
    table=EVERY_TABLE,
    severity="error",
    says="{key} of '{table}' was of {whose} {before} in {bundle} and is of {now} now: one "
    "number would mean two things.",
    remedy="Give what is new a number of its own, and put the old row back. If the older "
    "bundle was wrong, say so in the notes and keep this finding in the report.",
    source=COMMON_PRACTICE,
)
def number_moved(tables: Snapshot) -> pl.DataFrame:
    """Whoever has the older bundle is led to another timber."""
    return _frame(tables, _moved)


@rule(
    "lineage.stamp_moved",
    table="plug",
    field="stamp",
    severity="error",
    says="Plug {key} had the stamp {before} in {bundle} and has {now} now.",
    remedy="A dowel keeps its stamp. If another dowel is in the hole, enter it as a new plug "
    "and set this one to 'replaced'.",
    source=COMMON_PRACTICE,
)
def stamp_moved(tables: Snapshot) -> pl.DataFrame:
    """The stamp is what leads from the wood to the older record."""
    return _frame(tables, _stamps)


@rule(
    "lineage.number_used_again",
    table=EVERY_TABLE,
    severity="error",
    says="{key} of '{table}' stood in a bundle before {bundle}, went out of the record, and is "
    "given out again.",
    remedy="Give it a number that no bundle has ever had; 'treenail stamps' knows them.",
    source=COMMON_PRACTICE,
)
def number_used_again(tables: Snapshot) -> pl.DataFrame:
    """The oldest bundle still says what that number was."""
    return _frame(tables, _used_again)


@rule(
    "lineage.ledger_rewritten",
    table=LEDGER,
    field="event_sha256",
    severity="error",
    says="The ledger of {bundle} had {count} sealed events, and this ledger no longer begins "
    "with them: history was rewritten.",
    remedy="Restore tables/custody.csv from that bundle, and record what happened since with "
    "'treenail custody handover'.",
    source="RFC 8785 (canonical JSON); FIPS 180-4 (SHA-256)",
)
def ledger_rewritten(tables: Snapshot) -> pl.DataFrame:
    """Who held what when is evidence only while it is only ever added to."""
    return _frame(tables, _ledger)


@rule(
    "lineage.from_damaged_bundle",
    table="sample",
    field="sample_id",
    severity="warning",
    says="This package was unpacked from {bundle}, which was not what was packed: {said}.",
    remedy="Look for a sound copy of that bundle, compare with it, and correct what differs.",
    source=COMMON_PRACTICE,
)
def from_damaged_bundle(tables: Snapshot) -> pl.DataFrame:
    """What was asked for in spite of damage is told from what was recorded."""
    return _frame(tables, _damaged)


@rule(
    "lineage.numbers_rewritten",
    table="sample",
    field="sample_id",
    severity="error",
    says="What is told of the numbers of {bundle} is not what its checksum was made of: it was "
    "rewritten.",
    remedy="Ask for the bundle again, or unpack that older bundle again.",
    source="FIPS 180-4 (SHA-256)",
)
def numbers_rewritten(tables: Snapshot) -> pl.DataFrame:
    """What a number stood for is evidence only while it cannot be changed unnoticed."""
    return _frame(tables, _false_cards)


_TEXTS = ("table", "field", "key", "bundle", "whose", "before", "now", "count", "said")
_Line = dict[str, str | int]
_Find = Callable[[Origin, Snapshot], Iterator[_Line]]


def _origin(tables: Snapshot) -> tuple[Origin | None, str]:
    """The origin, or why it cannot be read; read once for all rules, since it may be large."""
    return tables.once("origin", _read_origin)


def _read_origin(tables: Snapshot) -> tuple[Origin | None, str]:
    try:
        folder = Path(tables.where)
        return read_origin(folder) or told_origin(folder), ""
    except UnusablePackage as error:
        return None, str(error).removesuffix(".")


def _frame(tables: Snapshot, find: _Find) -> pl.DataFrame:
    """What `find` says of the origin, with what every sentence names; empty without an origin."""
    rows: list[_Line] = []
    origin, _ = _origin(tables)
    if origin is not None:
        blank: _Line = {**dict.fromkeys(_TEXTS, ""), "bundle": origin.bundle.in_words}
        rows = [{**blank, **line} for line in find(origin, tables)]
    schema = {ROW: pl.UInt32(), **dict.fromkeys(_TEXTS, pl.String())}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _keys(tables: Snapshot, table: str) -> Mapping[str, tuple[int, str]]:
    """Key → (record number, whose it is) of a table; none when this record has no such table."""
    if table not in tables.model.tables:
        return {}
    frame = tables[table]
    key = tables.model.table(table).primary_key[0]
    owner = NUMBERED[table]
    owners = frame[owner] if owner in frame.columns else pl.Series([None] * len(frame))
    rows = zip(frame[ROW].to_list(), frame[key].to_list(), owners.to_list(), strict=True)
    return {str(one): (row, str(whose or "")) for row, one, whose in rows if one is not None}


def _damaged(origin: Origin, tables: Snapshot) -> Iterator[_Line]:
    for said in origin.damaged:
        yield {ROW: 0, "said": said.removesuffix(".")}


def _gone(origin: Origin, tables: Snapshot) -> Iterator[_Line]:
    for table, known in origin.numbers.items():
        there = _keys(tables, table) if table in NUMBERED else {}
        for key in known:
            if key not in there:
                yield {ROW: 0, "table": table, "field": "", "key": key}


def _moved(origin: Origin, tables: Snapshot) -> Iterator[_Line]:
    for table, known in origin.numbers.items():
        for key, (row, now) in (_keys(tables, table) if table in _WHOSE else {}).items():
            before = known.get(key, "")
            if before and before != now:
                yield {
                    ROW: row,
                    "table": table,
                    "field": NUMBERED[table],
                    "key": key,
                    "whose": _WHOSE[table],
                    "before": before,
                    "now": now or "nothing",
                }


def _stamps(origin: Origin, tables: Snapshot) -> Iterator[_Line]:
    plugs = tables["plug"]
    for row, key, now in plugs.select(ROW, "plug_id", "stamp").iter_rows():
        before = origin.stamps.get(key or "", "")
        if before and before != (now or ""):
            yield {
                ROW: row,
                "table": "plug",
                "field": "stamp",
                "key": key,
                "before": before,
                "now": now or "nothing",
            }


def _used_again(origin: Origin, tables: Snapshot) -> Iterator[_Line]:
    for table, spent in origin.spent.items():
        there = _keys(tables, table) if table in NUMBERED else {}
        for key in spent:
            if key in there:
                yield {ROW: there[key][0], "table": table, "field": "", "key": key}


def _ledger(origin: Origin, tables: Snapshot) -> Iterator[_Line]:
    ledger = tables.rows(LEDGER)

    def line(one: Ancestor, count: int) -> _Line:
        told = {"bundle": one.in_words, "count": str(count)}
        return {ROW: 0, "table": LEDGER, "field": "event_sha256", **told}

    # a seal stands for every event before it, so the last one is enough
    if origin.event_count and len(covered_by(ledger, origin.last_seal)) != origin.event_count:
        yield line(origin.bundle, origin.event_count)
    for one in origin.earlier:
        if any(len(covered_by(ledger, head)) != one.events for head in one.heads):
            yield line(one, one.events)


def _false_cards(origin: Origin, tables: Snapshot) -> Iterator[_Line]:
    for one in origin.false_cards:
        yield {ROW: 0, "table": "sample", "field": "sample_id", "bundle": one.in_words}


RULES = (
    number_gone,
    number_moved,
    stamp_moved,
    number_used_again,
    ledger_rewritten,
    numbers_rewritten,
    note_unreadable,
)
"""The rules that a bundle can be judged by, with nothing beside it."""

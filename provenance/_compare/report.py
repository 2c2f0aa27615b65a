"""Puts a comparison into words, for a terminal or as a page, and into JSON and CSV as a whole."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import polars as pl

from provenance import __version__
from provenance._base.opinion_words import counted
from provenance._base.page_templates import page_templates
from provenance._base.spreadsheet import spreadsheet_csv
from provenance._base.visible import visible
from provenance._compare.difference import COLUMNS, NTH, Difference, TableDifference

_LONGEST_VALUE = 60


def headlines(found: Difference) -> tuple[str, ...]:
    """What must be known before the list is read, in sentences."""
    lines = []
    old, new = found.old, found.new
    lines += [
        f"The {name} one is not what was packed, so that what is said here may not be what was "
        f"recorded. {side.verdict}."
        for name, side in (("old", old), ("new", new))
        if side.is_damaged
    ]
    if found.kind == "other_site":
        lines.append(
            f"These are records of different sites: {', '.join(old.sites)} and "
            f"{', '.join(new.sites)}. Nothing further was compared."
        )
    if found.kind == "editions":
        public = "new" if new.edition == "public" else "old"
        lines.append(
            f"A full edition against a public one: what the {public} one lacks, or says less "
            "exactly, is usually withheld on purpose. This does not compare two seasons. It "
            "shows what is withheld, so keep it where the full edition is kept."
        )
    elif old.edition == new.edition == "public":
        lines.append("Both are public editions: what both withhold was not compared.")
    if found.lineage == "forward":
        lines.append("The new one says that it goes on from the old one.")
    elif found.lineage == "backward":
        lines.append(
            "The OLD one says that it goes on from the NEW one: they may be in the wrong order."
        )
    return tuple(lines)


def ledger_sentence(found: Difference) -> str:
    """What became of the custody ledger, in one sentence; '' when there is none."""
    ledger = found.ledger
    if ledger is None:
        return ""
    if ledger.state == "same":
        return f"The custody ledger is the same ({counted(ledger.new_count, 'event')})."
    if ledger.state == "appended":
        added = ledger.new_count - ledger.old_count
        return f"The custody ledger was added to: {counted(added, 'event')} behind the old ones."
    if ledger.state == "cut":
        gone = ledger.old_count - ledger.new_count
        return (
            f"HISTORY WAS CUT OFF: the custody ledger lacks the last {counted(gone, 'event')} of "
            "the old one."
        )
    return (
        f"HISTORY WAS REWRITTEN: from event {ledger.place} on the custody ledger is not the old "
        "one with events added. Ask whoever packed it; do not use it as evidence."
    )


# -- text ----------------------------------------------------------------------------------------


def difference_text(found: Difference, *, most: int = 20) -> str:
    """The comparison as lines; of each list no more than `most` (0: all), and how many more."""
    lines = []
    for name, side in (("old", found.old), ("new", found.new)):
        lines.append(f"{name}: {_on_a_line(side.in_words)}")
        if side.verdict:
            lines.append(f"     {_on_a_line(side.verdict)}")
    for name, before, after in found.about():
        lines.append(f"  {name}: {_shown(before)} -> {_shown(after)}")
    lines += [_on_a_line(one) for one in headlines(found)]
    if found.kind == "other_site":
        return "\n".join(lines) + "\n"
    if sentence := ledger_sentence(found):
        lines.append(sentence)
    if found.broken_numbers:
        lines += ["", f"NUMBERS BROKEN ({len(found.broken_numbers)})"]
        lines += _most((f"  {_on_a_line(one)}" for one in found.broken_numbers), most)
    for one in found.tables:
        if not one.same or one.rewritten:
            lines += ["", *_table_lines(one, most)]
    lines += _file_lines(found, most)
    counts = ", ".join(
        f"{found.count(what):,} {what}".replace(",", " ")
        for what in ("added", "changed", "withdrawn")
    )
    summary = "nothing of the record differs" if found.same else f"rows: {counts}"
    return "\n".join([*lines, "", summary]) + "\n"


def _table_lines(one: TableDifference, most: int) -> Iterator[str]:
    parts = [
        f"{count:,} {what}".replace(",", " ")
        for what, count in (
            ("added", len(one.added)),
            ("changed", one.changed_rows),
            ("withdrawn", len(one.withdrawn)),
        )
        if count
    ]
    if one.presence != "both":
        parts.insert(0, f"this table is only in the {one.presence} one")
    if one.rewritten:
        parts.append("the same rows, written in another order or another way")
    yield f"{one.table} ({one.old_count} -> {one.new_count} rows): {', '.join(parts)}".rstrip(": ")
    for word, columns in (("new", one.columns_added), ("gone", one.columns_removed)):
        if columns:
            yield f"  {word} columns: {_on_a_line(', '.join(columns))}"
    for sign, rows in (("+", one.added), ("-", one.withdrawn)):
        keys = one.keys(rows.head(most) if most else rows).to_list()
        yield from (f"  {sign} {_on_a_line(key)}" for key in keys)
        if len(rows) > len(keys):
            yield f"  {sign} ... and {len(rows) - len(keys)} MORE"
    shown = 0
    for key, field, old, new in one.changes(most or None):
        shown += 1
        yield f"  ~ {_on_a_line(key)}: {_on_a_line(field)} {_shown(old)} -> {_shown(new)}"
    if len(one.changed) > shown:
        yield f"  ~ ... and {len(one.changed) - shown} MORE changed cells"


def _file_lines(found: Difference, most: int) -> list[str]:
    if found.files.same:
        return []
    renamed = [f"{old} -> {new}" for old, new in (found.files.renamed or {}).items()]
    lines = ["", "files"]
    for sign, paths in (
        ("+", found.files.added),
        ("-", found.files.removed),
        ("~", found.files.changed),
        ("=", renamed),
    ):
        lines += _most((f"  {sign} {_on_a_line(path)}" for path in paths), most)
    return lines


def _most(lines: Iterator[str], most: int) -> list[str]:
    every = list(lines)
    if most and len(every) > most:
        return [*every[:most], f"  ... and {len(every) - most} MORE"]
    return every


def _shown(value: str) -> str:
    """A value in quotes, cut where it is long; '(blank)' where there is none."""
    if not value:
        return "(blank)"
    cut = value if len(value) <= _LONGEST_VALUE else value[: _LONGEST_VALUE - 1] + "…"
    return f"'{_on_a_line(cut)}'"


def _on_a_line(text: str) -> str:
    """Text of a record with its line ends shown: they could feign lines of the comparison."""
    return visible(text).replace("\n", "⟨U+000A⟩").replace("\t", "⟨U+0009⟩")


# -- for programs --------------------------------------------------------------------------------


def difference_json(found: Difference) -> str:
    """The whole comparison as JSON."""
    document: dict[str, Any] = {
        "old": found.old.as_dict(),
        "new": found.new.as_dict(),
        "same": found.same,
        "kind": found.kind,
        "lineage": found.lineage,
        "remarks": list(headlines(found)),
        "ledger": None,
        "brokenNumbers": list(found.broken_numbers),
        "tables": [_table_dict(one) for one in found.tables if not one.same or one.rewritten],
        "files": {
            "added": list(found.files.added),
            "removed": list(found.files.removed),
            "changed": list(found.files.changed),
            "renamed": dict(found.files.renamed or {}),
        },
    }
    if found.ledger:
        document["ledger"] = {
            "state": found.ledger.state,
            "oldCount": found.ledger.old_count,
            "newCount": found.ledger.new_count,
            "place": found.ledger.place,
        }
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


def _table_dict(one: TableDifference) -> dict[str, Any]:
    return {
        "table": one.table,
        "primaryKey": list(one.primary_key),
        "presence": one.presence,
        "oldCount": one.old_count,
        "newCount": one.new_count,
        "rewritten": one.rewritten,
        "columnsAdded": list(one.columns_added),
        "columnsRemoved": list(one.columns_removed),
        "added": one.added.drop(NTH).to_dicts(),
        "withdrawn": one.withdrawn.drop(NTH).to_dicts(),
        "changed": [
            {"key": key, "field": field, "old": old, "new": new}
            for key, field, old, new in one.changes()
        ],
    }


def difference_csv(found: Difference) -> str:
    """The whole comparison as CSV with the columns of `Difference.lines`."""
    lines = list(found.lines())
    return spreadsheet_csv(
        pl.DataFrame(lines, schema=dict.fromkeys(COLUMNS, pl.String), orient="row")
    )


MOST_ON_A_PAGE = 500
"""Lines of one list that a page shows; more make a page that no browser opens gladly."""


def difference_html(found: Difference, *, most: int = MOST_ON_A_PAGE) -> str:
    """The comparison as a page, every value escaped; of each list `most` lines (0: all).

    It says loudly how much it leaves out, and where all of it is.
    """
    return (
        page_templates("compare", "bundle")
        .get_template("compare.html")
        .render(
            title=f"{found.new.title}: what changed",
            program=f"treenail {__version__}",
            **shown_difference(found, most=most),
        )
    )


def shown_difference(found: Difference, *, most: int = MOST_ON_A_PAGE) -> dict[str, Any]:
    """What compared.html shows of a comparison; of each list `most` lines (0: all)."""
    files = found.files
    return {
        "most": most or None,
        "found": found,
        "sides": [("Old", found.old), ("New", found.new)],
        "remarks": headlines(found),
        "ledger": ledger_sentence(found),
        "history_broken": bool(found.ledger and not found.ledger.sound),
        "tables": [one for one in found.tables if not one.same or one.rewritten],
        "counts": {what: found.count(what) for what in ("added", "changed", "withdrawn")},
        "files": {
            "added": files.added,
            "removed": files.removed,
            "changed": files.changed,
            "renamed": [f"{old} → {new}" for old, new in (files.renamed or {}).items()],
        },
    }

"""Compares two bundles or packages of one site: what came, what changed, what went."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import polars as pl

from provenance._base.progress import Progress, say_nothing, stretch
from provenance._compare.difference import (
    Difference,
    FileDifference,
    LedgerDifference,
    TableDifference,
)
from provenance._compare.rows import compare_rows, read_rows
from provenance._compare.sides import OpenSide, opened_side
from provenance._ledger.custody import TABLE as LEDGER
from provenance._ledger.seals import BEFORE, FILLED_IN, SEALED_AS
from provenance._record.origin import NUMBERED

MOST_SENTENCES = 1000
"""So many broken numbers are put into words; the tables hold all of them."""
_NUMBERS = ("custody_id", "corrects_custody_id", SEALED_AS)
"""What merging copies changes in events of before, and no seal covers."""


def compare(
    old: Path | str,
    new: Path | str,
    *,
    even_if_damaged: bool = False,
    progress: Progress = say_nothing,
) -> Difference:
    """Tell two states of one record apart; each a bundle (folder or zip) or a package.

    Rows belong together by the primary key of their table, files by path, and renamed ones by their
    bytes. A bundle is verified first, whole if it is not very large. Raises UnusableInput for what
    is neither bundle nor package or cannot be read, and for a damaged bundle, unless
    `even_if_damaged` and its tables can be read.
    """
    with (
        opened_side(
            Path(old), even_if_damaged=even_if_damaged, progress=stretch(progress, 0, 3)
        ) as before,
        opened_side(
            Path(new), even_if_damaged=even_if_damaged, progress=stretch(progress, 1, 3)
        ) as after,
    ):
        found = _compare_sides(before, after, stretch(progress, 2, 3))
    return found


def _compare_sides(before: OpenSide, after: OpenSide, progress: Progress) -> Difference:
    old, new = before.side, after.side
    publics = [one.edition == "public" for one in (old, new)]
    kind = "editions" if any(publics) and not all(publics) else "same_site"
    are_others = old.sites and new.sites and not set(old.sites) & set(new.sites)
    if are_others and kind != "editions":
        # nothing of one place is a change of another, so a list of all rows would mislead; but a
        # public edition may call the same place otherwise
        return Difference(old, new, "other_site", "", (), FileDifference(), None, ())
    lineage = ""
    if old.tagmanifest_sha256 in new.revision_of:
        lineage = "forward"
    elif new.tagmanifest_sha256 in old.revision_of:
        lineage = "backward"
    every = {**before.package.model.tables, **after.package.model.tables}
    # what acts say stands in the tables of the record, and is compared there
    names = [
        name
        for name in dict.fromkeys((*after.package.model.tables, *every))
        if every[name].role != "history"
    ]
    tables = []
    ledger = None
    for done, name in enumerate(names, start=1):
        old_rows, new_rows = _rows(before, name), _rows(after, name)
        tables.append(_compare_table(before, after, name, old_rows, new_rows))
        # the public edition has no seals, and less in every event
        if name == LEDGER and kind != "editions":
            ledger = _compare_ledger(old_rows, new_rows)
        progress(done, len(names))
    broken = () if any(publics) else tuple(_broken_numbers(tables))
    files = _compare_files(before, after)
    return Difference(old, new, kind, lineage, tuple(tables), files, ledger, broken)


def _rows(side: OpenSide, name: str) -> pl.DataFrame:
    if name not in side.package.model.tables:
        return pl.DataFrame()
    return read_rows(side.package.tables, name, side.side.path)


def _compare_table(
    before: OpenSide, after: OpenSide, name: str, old: pl.DataFrame, new: pl.DataFrame
) -> TableDifference:
    tables = (before.package.model.tables, after.package.model.tables)
    presence = {(True, True): "both", (True, False): "old", (False, True): "new"}[
        (name in tables[0], name in tables[1])
    ]
    path = f"tables/{name}.csv"
    return compare_rows(
        tables[1].get(name) or tables[0][name],
        old,
        new,
        presence=presence,
        bytes_same=before.sums.get(path) == after.sums.get(path) or presence != "both",
    )


# -- ledger --------------------------------------------------------------------------------------


def _compare_ledger(old: pl.DataFrame, new: pl.DataFrame) -> LedgerDifference:
    """Whether the old ledger is the beginning of the new one.

    An event that was not sealed in the old one may have got its seal and number since, and a
    signature may have been put on top. Where copies were merged since, events of the other copy
    may stand among the old ones.
    """
    counts = (len(old), len(new))
    sealed = all("event_sha256" in one.columns for one in (old, new))
    telling = (SEALED_AS, BEFORE[1])
    merged = sealed and any(name in new.columns and (new[name] != "").any() for name in telling)
    if merged:
        places = {seal: n for n, seal in enumerate(old["event_sha256"].to_list())}
        ranks = [places.get(one, len(old)) for one in new["event_sha256"].to_list()]
        new = new[sorted(range(len(new)), key=ranks.__getitem__)]
    names = list(dict.fromkeys((*old.columns, *new.columns)))
    length = min(counts)
    left, right = (_with_columns(one.head(length), names) for one in (old, new))
    unsealed = left["event_sha256"] == "" if "event_sha256" in names else None
    same = pl.Series([True] * length, dtype=pl.Boolean)
    for name in names:
        equal = left[name] == right[name]
        if merged and name in _NUMBERS:
            continue
        if name in FILLED_IN:
            equal = equal | (left[name] == "")
        elif name == "custody_id" and unsealed is not None:
            equal = equal | unsealed
        same = same & equal
    if not same.all():
        return LedgerDifference("rewritten", *counts, place=int((~same).arg_max() or 0) + 1)
    if counts[1] < counts[0]:
        return LedgerDifference("cut", *counts, place=counts[1] + 1)
    return LedgerDifference("appended" if counts[1] > counts[0] else "same", *counts)


def _with_columns(frame: pl.DataFrame, names: list[str]) -> pl.DataFrame:
    missing = [pl.lit("").alias(one) for one in names if one not in frame.columns]
    return frame.with_columns(missing).select(names)


# -- files ---------------------------------------------------------------------------------------


def _compare_files(before: OpenSide, after: OpenSide) -> FileDifference:
    generated = before.generated | after.generated
    old, new = (_members(one, generated) for one in (before, after))
    removed = sorted(set(old) - set(new))
    added = sorted(set(new) - set(old))
    by_sum: dict[str, list[str]] = {}
    for path in added:
        by_sum.setdefault(new[path], []).append(path)
    renamed = {}
    for path in removed:
        if waiting := by_sum.get(old[path]):
            renamed[path] = waiting.pop(0)
    return FileDifference(
        added=tuple(path for path in added if path not in set(renamed.values())),
        removed=tuple(path for path in removed if path not in renamed),
        changed=tuple(sorted(path for path in set(old) & set(new) if old[path] != new[path])),
        renamed=renamed or None,
    )


def _members(side: OpenSide, generated: frozenset[str]) -> dict[str, str]:
    return {
        path: digest
        for path, digest in side.sums.items()
        if path.split("/")[0] not in generated and not path.startswith("tables/")
    }


# -- numbers -------------------------------------------------------------------------------------


def _broken_numbers(tables: list[TableDifference]) -> Iterator[str]:
    """Numbers that are gone or stand for something else, in sentences."""
    sentences = 0
    for one in tables:
        if one.table not in NUMBERED:
            continue
        for key in one.keys(one.withdrawn.head(MOST_SENTENCES - sentences)).to_list():
            sentences += 1
            yield f"{key} of '{one.table}' is gone; a number is never taken back"
        watched = [NUMBERED[one.table], *(["stamp"] if one.table == "plug" else [])]
        moved = one.changed.filter(pl.col("field").is_in(watched) & (pl.col("old") != ""))
        moved = moved.head(MOST_SENTENCES - sentences)
        cells = moved.select("field", "old", "new").iter_rows()
        for key, (field, old, new) in zip(one.keys(moved).to_list(), cells, strict=True):
            sentences += 1
            yield (
                f"{key} of '{one.table}' had the {field} {old} and has {new or 'none'} now; one "
                "number would mean two things"
            )

"""Brings laboratory results in: reads the table, then its date notation, then what supersedes what.

The table comes in as every field export does (provenance/intake), so the laboratory's file is kept,
a result is never overwritten, and what cannot be read is kept as text. A results form that was made
by `treenail custody consign` needs no mapping.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.errors import UnreadableValue
from provenance._base.findings import Finding
from provenance._base.progress import Progress, say_nothing
from provenance._history.entering import enter_table
from provenance._history.history import moment_text
from provenance._model.determination import columns_of, differences
from provenance._model.edtf import bounds, is_edtf
from provenance._model.notation import parse_notation
from provenance._model.schema import Model
from provenance._record.package import Package

if TYPE_CHECKING:
    import pandas as pd

    from provenance._intake.importing import ImportResult
    from provenance._intake.mapping.mapping import FormMapping

TABLE = "lab_result"
SAME_DETERMINATION = ("sample_id", "laboratory_id", "method")
CONTENT = (
    "outcome", "undated_reason", "inner_year", "inner_symbol", "outer_year", "outer_symbol",
    "felled_from_year", "felled_to_year", "felling_season", "heartwood_year", "estimate_percent",
    "estimate_source", "ring_count", "sapwood_count", "sapwood_least", "sapwood_most", "species",
    "mean_width_mm", "mean_sensitivity", "missing_ring_count", "growth_marks",
)  # fmt: skip
"""What makes two results of one sample the same result."""
_SAME_TWICE = (
    "If the laboratory only repeats itself, remove the later row; if it measured again, say in "
    "the notes what is new and let one supersede the other."
)


@dataclass(frozen=True)
class ResultsRead:
    """What came in.

    `filled` counts cells that the notation filled; `superseded` lists (newer, older) result codes
    that were linked.
    """

    imported: ImportResult
    filled: int
    superseded: tuple[tuple[str, str], ...]
    findings: tuple[Finding, ...]


def import_results(
    package: Package,
    files: Sequence[Path],
    mapping: FormMapping | None = None,
    *,
    progress: Progress = say_nothing,
    when: datetime | None = None,
) -> ResultsRead:
    """Import a laboratory's tables and read their dates.

    Raises what `import_exports` raises; the package is then as it was.
    """
    from provenance._intake.importing import import_exports

    imported = import_exports(package, files, mapping, progress=progress, when=when)
    return complete_results(package, imported, when=when)


def complete_results(
    package: Package, imported: ImportResult, *, when: datetime | None = None
) -> ResultsRead:
    """Read the dates of results that an import brought, and link what supersedes what."""
    with package.locked():
        results = package.table(TABLE)
        read, filled, findings = read_notations(package.model, results)
        linked, superseded, more = link_revisions(read)
        if not linked.equals(results):
            names = [str(name) for name in linked]
            rows = [dict(zip(names, texts, strict=True)) for texts in linked.values.tolist()]
            enter_table(package, TABLE, rows, why="results", when=moment_text(when))
    return ResultsRead(imported, filled, tuple(superseded), (*imported.findings, *findings, *more))


def preview_results(
    package: Package,
    files: Sequence[Path],
    mapping: FormMapping | None = None,
    *,
    progress: Progress = say_nothing,
) -> tuple[ResultsRead, list[dict[str, str]]]:
    """What `import_results` would do, and the rows that it would bring; nothing is written.

    A row that is there already is shown with what the files say of it. Raises as `import_results`.
    """
    from provenance._gate.budget import SheetBudget
    from provenance._intake.importing import import_exports
    from provenance._intake.incoming import read_file

    imported = import_exports(package, files, mapping, progress=progress, trial=True)
    names = [str(name) for name in package.table(TABLE)]
    by_key: dict[str, Mapping[str, str]] = {
        row["result_id"]: row for row in package.tables.rows(TABLE)
    }
    brought: dict[str, None] = {}
    with ExitStack() as keep:
        for path in files:
            incoming = read_file(package, path, mapping, SheetBudget(), lambda share: None, keep)
            for row in (one for reading in incoming.readings for one in reading.rows):
                if row.table == TABLE:
                    brought[row.key] = None
                    by_key[row.key] = {**by_key.get(row.key, {}), **row.values}
    import pandas as pd

    texts = [[row.get(name, "") for name in names] for row in by_key.values()]
    frame = pd.DataFrame(texts, columns=names, dtype=str)
    read, filled, findings = read_notations(package.model, frame)
    linked, superseded, more = link_revisions(read)
    rows = {str(row["result_id"]): row for row in linked.to_dict("records")}
    shown = [{str(name): str(text) for name, text in rows[key].items()} for key in brought]
    about = [one for one in (*findings, *more) if one.key in brought]
    pairs = tuple(pair for pair in superseded if pair[0] in brought)
    return ResultsRead(imported, filled, pairs, (*imported.findings, *about)), shown


# -- notation ------------------------------------------------------------------------------------


def read_notations(model: Model, results: pd.DataFrame) -> tuple[pd.DataFrame, int, list[Finding]]:
    """Fill years, symbols and outcome from the column `notation` where they are blank.

    `results` is the table lab_result as texts. Returns the filled frame, the number of cells that
    were filled, and findings: a notation that cannot be read (its text stays), or one that says
    something else than a column beside it (the column stays).
    """
    filled_frame = results.copy()
    filled = 0
    findings: list[Finding] = []
    symbols = model.vocabularies["result_symbol"]
    reasons = model.vocabularies["undated_reason"]
    seasons = model.vocabularies.get("felling_season")
    rows = zip(results.index, results.to_dict("records"), strict=True)
    for row, record in rows:
        result = {str(name): str(value) for name, value in record.items()}
        if not result["notation"]:
            continue
        try:
            said = parse_notation(result["notation"], symbols, reasons, seasons)
        except UnreadableValue as error:
            says = f"The dates of sample {result['sample_id']} cannot be read: {error}"
            remedy = (
                "Enter years and symbols in their own columns, or ask the laboratory; the text is "
                "kept."
            )
            findings.append(_warning("notation_unread", int(row), result, "notation", says, remedy))
            continue
        for field, value in columns_of(said).items():
            # a package of an older version lacks some columns
            if field in result and not result[field]:
                filled_frame.loc[row, field] = value
                filled += 1
        for field, value, there in differences(said, result):
            says = (
                f"The notation '{result['notation']}' of sample {result['sample_id']} says "
                f"{value}, the column '{field}' says {there}."
            )
            remedy = "Look at the report and correct the one that is wrong; the column was kept."
            findings.append(_warning("notation_differs", int(row), result, field, says, remedy))
    return filled_frame, filled, findings


def _warning(
    rule: str, row: int, result: Mapping[str, str], field: str, message: str, remedy: str
) -> Finding:
    key, value = result["result_id"], result[field]
    return Finding("warning", f"results.{rule}", TABLE, row, key, field, value, message, remedy)


# -- revisions -----------------------------------------------------------------------------------


def link_revisions(
    results: pd.DataFrame,
) -> tuple[pd.DataFrame, list[tuple[str, str]], list[Finding]]:
    """Let a later report on one sample supersede the earlier one of the same laboratory and method.

    Only results that nobody has linked yet are touched, and only where the reports lie on different
    days. Two with the same content are the same result twice: a finding, and neither is linked.
    """
    linked = results.copy()
    pairs: list[tuple[str, str]] = []
    findings: list[Finding] = []
    superseded = set(results["supersedes_result_id"]) - {""}
    live = results[~results["result_id"].isin(superseded)]
    for _, group in live.groupby(list(SAME_DETERMINATION), sort=False):
        if len(group) < 2:
            continue
        days = zip(map(_day, group["reported_on"]), group.index.tolist(), strict=True)
        ordered = sorted((day, row) for day, row in days if day is not None)
        for (first_day, older), (second_day, newer) in itertools.pairwise(ordered):
            before, after = results.loc[older], results.loc[newer]
            if all(before.get(name) == after.get(name) for name in CONTENT):
                says = (
                    f"Results {before['result_id']} and {after['result_id']} of sample "
                    f"{after['sample_id']} say the same."
                )
                findings.append(
                    _warning("same_twice", int(newer), after, "result_id", says, _SAME_TWICE)
                )
            elif first_day < second_day and not after["supersedes_result_id"]:
                linked.loc[newer, "supersedes_result_id"] = before["result_id"]
                linked.loc[newer, "revision"] = str(_revision(linked.loc[older, "revision"]) + 1)
                pairs.append((str(after["result_id"]), str(before["result_id"])))
    return linked, pairs, findings


def _day(text: str) -> tuple[int, int, int] | None:
    first = bounds(text)[0] if is_edtf(text) else None
    return None if first is None else (first.year, first.month, first.day)


def _revision(text: object) -> int:
    return int(str(text)) if str(text).isdigit() else 1

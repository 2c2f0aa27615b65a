"""Rules about measured ring widths in plain tables: how they are written, and whether dates fit.

Each fault is told once for a series, with its first place in the file.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._intake.ring_widths import RingSeries, WidthFile, ring_width_files
from provenance._record.joined import superseded
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

UNFINISHED_RINGS = 1
"""A ring that had only begun may be dated and not measured, or the other way round."""
NARROWEST_MM, WIDEST_MM = 0.1, 50.0
"""Mean widths beyond these are next to unknown; most likely the unit is another one."""
_TEXTS = ("file_id", "path", "where", "value", "why", "more", "sample_id", "result_id", "dates")
_NUMBERS = ("inner_year", "outer_year", "first_year", "last_year", "ring_count", "widths", "gaps")
_FOUND = {
    ROW: pl.UInt32,
    **dict.fromkeys(_TEXTS, pl.String),
    **dict.fromkeys(_NUMBERS, pl.Int64),
    "mean_width_mm": pl.Float64,
}
Line = dict[str, Any]


def _found(lines: Iterator[Line] | list[Line]) -> pl.DataFrame:
    return pl.DataFrame(list(lines), _FOUND)


def _about(file: WidthFile) -> Line:
    return {ROW: file.row, "file_id": file.file_id, "path": file.path}


def _with_state(tables: Snapshot, state: str) -> pl.DataFrame:
    return _found(
        _about(file) | {"why": file.why}
        for file in ring_width_files(tables)
        if file.state == state and file.is_table
    )


def _faults(tables: Snapshot, kind: str) -> pl.DataFrame:
    return _found(
        _about(file)
        | {"where": one.where, "value": one.value, "why": one.why}
        | {"more": f" (and {one.others:,} more like it)" if one.others else ""}
        for file in ring_width_files(tables)
        for one in file.faults
        if one.kind == kind
    )


def _series(tables: Snapshot) -> Iterator[tuple[Line, RingSeries]]:
    """Every series with what a finding says of it."""
    for file in ring_width_files(tables):
        for one in file.series:
            line = {"where": one.where, "sample_id": one.sample_id, "widths": len(one.years)}
            ends = {"first_year": one.years[0], "last_year": one.years[-1]}
            yield _about(file) | line | ends, one


def _with_results(tables: Snapshot) -> list[tuple[Line, RingSeries, Line]]:
    """Every series with each result to compare: that of the file, else those that stand."""
    files = {file.file_id: file for file in ring_width_files(tables)}
    if not files:
        return []
    of_sample: dict[str, list[Line]] = {}
    by_id: dict[str, Line] = {}
    results = tables["lab_result"].with_columns(superseded=superseded(tables))
    for row in results.iter_rows(named=True):
        by_id[row["result_id"]] = row
        if not row["superseded"]:
            of_sample.setdefault(row["sample_id"], []).append(row)
    found = []
    for line, one in _series(tables):
        table, key = files[line["file_id"]].about
        own = by_id.get(key) if table == "lab_result" else None
        compared = [own] if own and own["sample_id"] == one.sample_id else None
        for result in compared or of_sample.get(one.sample_id, []):
            names = ("result_id", "inner_year", "outer_year", "ring_count")
            found.append((line | {name: result[name] for name in names}, one, result))
    return found


def _gaps(one: RingSeries) -> int:
    """How many years between the first and the last have no width."""
    return one.years[-1] - one.years[0] + 1 - len(one.years)


def _beyond(one: RingSeries, result: Line) -> tuple[int, int]:
    """How many years a series begins before a result's dates and ends after them; 0 for none."""
    inner, outer = result["inner_year"], result["outer_year"]
    early = inner - one.years[0] if one.is_dated and inner is not None else 0
    late = one.years[-1] - outer if one.is_dated and outer is not None else 0
    return early, late


@rule(
    "widths.not_read",
    table="file",
    field="path",
    severity="error",
    says="The ring widths of file {file_id} cannot be read: {why}.",
    remedy="Ask the laboratory for the file again, or for a smaller one.",
    source=COMMON_PRACTICE,
)
def not_read(tables: Snapshot) -> pl.DataFrame:
    """What cannot be opened today will not be opened by anybody later."""
    return _with_state(tables, "refused")


@rule(
    "widths.no_years",
    table="file",
    field="path",
    severity="note",
    says="{path} of file {file_id} has no heading for years, so its ring widths are not read.",
    remedy="To have them read, head the columns 'year' (or 'ring' for an undated series), 'sample' "
    "and 'width' with its unit; the file itself may stay as it is.",
    source=COMMON_PRACTICE,
)
def no_years(tables: Snapshot) -> pl.DataFrame:
    """Widths that nothing reads are compared with nothing."""
    return _with_state(tables, "no_table")


@rule(
    "widths.unit_not_said",
    table="file",
    field="title",
    severity="warning",
    says="{path} of file {file_id}, {where}: nothing says in which unit the widths are ({value}), "
    "so they are not read.",
    remedy="Ask the laboratory, and write it into the title of this row: 'widths in 1/100 mm', or "
    "mm, or 1/1000 mm.",
    source=COMMON_PRACTICE,
)
def unit_not_said(tables: Snapshot) -> pl.DataFrame:
    """A guess is wrong by ten times or a hundred."""
    return _faults(tables, "unit")


@rule(
    "widths.unknown_sample",
    table="file",
    field="path",
    severity="warning",
    says="{path} of file {file_id}, {where}: '{value}' {why}{more}, so its widths are not read.",
    remedy="If the file names its samples otherwise, ask the laboratory for a table with the "
    "numbers of this record.",
    source=COMMON_PRACTICE,
)
def unknown_sample(tables: Snapshot) -> pl.DataFrame:
    """Widths of nobody knows what date nothing."""
    return _faults(tables, "sample")


@rule(
    "widths.unreadable",
    table="file",
    field="path",
    severity="error",
    says="{path} of file {file_id}, {where}: '{value}' {why}{more}.",
    remedy="Ask the laboratory what is meant; these cells are not read.",
    source=COMMON_PRACTICE,
)
def unreadable(tables: Snapshot) -> pl.DataFrame:
    """A ring that is left out shifts nothing here, but is missing in every mean."""
    return _faults(tables, "unreadable")


@rule(
    "widths.negative",
    table="file",
    field="path",
    severity="error",
    says="{path} of file {file_id}, {where}: the width {value} is below zero{more}.",
    remedy="Where it stands for 'no width', leave the cell blank; a missing ring is 0.",
    source=COMMON_PRACTICE,
)
def negative(tables: Snapshot) -> pl.DataFrame:
    """Some programs write such a number where a series ends."""
    return _faults(tables, "negative")


@rule(
    "widths.year_twice",
    table="file",
    field="path",
    severity="error",
    says="{path} of file {file_id}, {where}: {value} stands twice in one series{more}.",
    remedy="If they are two radii, ask for a column or a file for each; else ask which one counts. "
    "The first is read.",
    source=COMMON_PRACTICE,
)
def year_twice(tables: Snapshot) -> pl.DataFrame:
    """A tree grows one ring a year."""
    return _faults(tables, "twice")


@rule(
    "widths.gap",
    table="file",
    field="path",
    severity="warning",
    says="{path} of file {file_id}: the series of sample {sample_id} from {where} on has no width "
    "for {gaps} of its years.",
    remedy="A missing ring is 0; ask the laboratory what lies between.",
    source=COMMON_PRACTICE,
)
def gap(tables: Snapshot) -> pl.DataFrame:
    """Behind a gap of unknown length every year is a guess."""
    lines = (line | {"gaps": _gaps(one)} for line, one in _series(tables))
    return _found(lines).filter(pl.col("gaps") > 0)


@rule(
    "widths.unit_doubtful",
    table="file",
    field="path",
    severity="warning",
    says="{path} of file {file_id}: the rings of sample {sample_id} are {mean_width_mm} mm wide on "
    "average.",
    remedy="Compare the unit in the heading, or in the title of this row, with the report.",
    source=COMMON_PRACTICE,
)
def unit_doubtful(tables: Snapshot) -> pl.DataFrame:
    """Hardly any wood has such rings; hundredths are easily taken for thousandths."""
    lines = (
        line | {"mean_width_mm": round(sum(one.widths_mm) / len(one.widths_mm), 4)}
        for line, one in _series(tables)
    )
    return _found(lines).filter(~pl.col("mean_width_mm").is_between(NARROWEST_MM, WIDEST_MM))


@rule(
    "widths.outside_the_dates",
    table="file",
    field="path",
    severity="error",
    says="{path} of file {file_id}: the widths of sample {sample_id} run from {first_year} to "
    "{last_year}, but result {result_id} dates it {inner_year} to {outer_year}.",
    remedy="Compare the number of the sample and both years with the report.",
    source=COMMON_PRACTICE,
)
def outside_the_dates(tables: Snapshot) -> pl.DataFrame:
    """Either the date was changed after the file was written, or it is another sample's file."""
    return _found(
        line
        for line, one, result in _with_results(tables)
        for early, late in [_beyond(one, result)]
        if max(early, late) > UNFINISHED_RINGS or early == -late != 0
    )


@rule(
    "widths.short_of_the_dates",
    table="file",
    field="path",
    severity="note",
    says="{path} of file {file_id}: the widths of sample {sample_id} run from {first_year} to "
    "{last_year}, fewer years than result {result_id} has, {inner_year} to {outer_year}.",
    remedy="Ask for the other rings, or note that they were only counted.",
    source=COMMON_PRACTICE,
)
def short_of_the_dates(tables: Snapshot) -> pl.DataFrame:
    """The years that decide about the felling may be those that were not measured."""
    return _found(
        line
        for line, one, result in _with_results(tables)
        for early, late in [_beyond(one, result)]
        if min(early, late) < -UNFINISHED_RINGS and max(early, late) <= UNFINISHED_RINGS
        if early != -late
    )


@rule(
    "widths.rings_differ",
    table="file",
    field="path",
    severity="warning",
    says="{path} of file {file_id} has {widths} widths of sample {sample_id}, but result "
    "{result_id} counts {ring_count} rings.",
    remedy="Compare both with the report.",
    source=COMMON_PRACTICE,
)
def rings_differ(tables: Snapshot) -> pl.DataFrame:
    """The count may have been made with missing rings or without them."""
    lines = []
    for line, one, result in _with_results(tables):
        there = sum(width > 0 for width in one.widths_mm)
        low, high = there - UNFINISHED_RINGS, len(one.years) + UNFINISHED_RINGS
        counted = result["ring_count"]
        # what lies in a gap, or was not measured at an end, is told by another rule
        whole = min(_beyond(one, result)) >= -UNFINISHED_RINGS and not _gaps(one)
        if counted is not None and whole and not low <= counted <= high:
            lines.append(line)
    return _found(lines)


@rule(
    "widths.years_of_an_undated_sample",
    table="file",
    field="path",
    severity="warning",
    says="{path} of file {file_id} gives the widths of sample {sample_id} years ({first_year} to "
    "{last_year}), but result {result_id} gives it none.",
    remedy="If they only count rings, head the column 'ring'; if they are years, ask for the date.",
    source=COMMON_PRACTICE,
)
def years_of_an_undated_sample(tables: Snapshot) -> pl.DataFrame:
    """Somebody will take a count of rings for years."""
    years = ("inner_year", "outer_year")
    return _found(
        line
        for line, one, result in _with_results(tables)
        if one.is_dated and all(result[name] is None for name in years)
    )

"""Looks at the tables of a bundle: first whether they may be read at all, then their structure."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from provenance._bag.verdict import BundleFinding
from provenance._base.disk import CHUNK_BYTES
from provenance._base.errors import UnusablePackage
from provenance._base.findings import Finding, SecondOpinion
from provenance._gate.budget import Budget
from provenance._gate.tables import why_no_table
from provenance._record.package import DESCRIPTOR, Package


def check_tables(
    package: Package, *, limits: Budget, contents: bool, second_opinion: bool = False
) -> tuple[list[BundleFinding], SecondOpinion | None]:
    """What is wrong with the tables: unreadable ones, else faults that their schemas show.

    With `second_opinion` the reference library is asked as well, where the tables can be read.
    Without `contents` only the reading is tried. Trade rules are not asked: a bundle is sound when
    it is what was packed and holds together, and its own report says what was odd about the record.
    """
    findings = [
        fault
        for name in package.model.tables
        for fault in _unfit_to_read(package.table_path(name), f"data/tables/{name}.csv", limits)
    ]
    if findings or not contents:
        return findings, None
    from polars.exceptions import PolarsError

    from provenance._checks.structure.structure import check_structure

    try:
        report = check_structure(package)
        if second_opinion:
            from provenance._checks.second_opinion import with_second_opinion

            report = with_second_opinion(package, report)
    except UnusablePackage as error:
        return [_unreadable("data/tables", str(error))], None
    except (KeyError, TypeError, ValueError, AttributeError, PolarsError) as error:
        # the schemas are a stranger's too, and may ask for what cannot be
        message = f"cannot be checked by the schemas inside: {type(error).__name__} {error}"
        return [_unreadable("data/tables", message)], None
    found = [
        BundleFinding(
            "tables",
            one.severity,
            one.rule,
            f"data/{one.table if one.table == DESCRIPTOR else f'tables/{one.table}.csv'}",
            f"{_where(one)}: {one.message}",
            one.remedy,
        )
        for one in report
    ]
    return found, report.second_opinion


def _where(one: Finding) -> str:
    """Row and column, as far as the finding is about one."""
    line = f"line {one.row}" if one.row else ""
    return ", ".join(part for part in (line, one.field) if part) or "as a whole"


def _unreadable(path: str, message: str) -> BundleFinding:
    return BundleFinding(
        "tables", "error", "tables.unreadable", path, message, "Ask for the bundle again."
    )


def _unfit_to_read(path: Path, name: str, limits: Budget) -> Iterator[BundleFinding]:
    """A table that is not there, not text, or has a line that no table needs."""
    if not path.is_file():
        yield _unreadable(name, "is missing")
        return
    with open(path, "rb") as stream:
        if fault := why_no_table(iter(lambda: stream.read(CHUNK_BYTES), b""), limits):
            yield _unreadable(name, fault)

"""The rule that computed tables are not older than what they were computed from."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, EVERY_TABLE, rule
from provenance._record.computed_from import changed_sources
from provenance._record.package import DESCRIPTOR, described_package
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

COMMANDS = {"derive": ("derive", "span"), "survey": ("survey compute", "position")}
"""What the descriptor calls it → the command that computes tables, and the table that a finding
stands beside."""
_FINDING = {ROW: pl.UInt32, **dict.fromkeys(("table", "field", "command", "changed"), pl.String)}


@rule(
    "computed.older_than_its_sources",
    table=EVERY_TABLE,
    severity="warning",
    says="What 'treenail {command}' computed is stale: {changed} was changed since.",
    remedy="Run 'treenail {command}' on this package again.",
    source=COMMON_PRACTICE,
)
def older_than_its_sources(tables: Snapshot) -> pl.DataFrame:
    """A figure or a list made of it would show what the record no longer says."""
    folder = Path(tables.where)
    if not (folder / DESCRIPTOR).is_file():
        return pl.DataFrame(schema=_FINDING)
    package = described_package(folder)
    lines = []
    for noted, (command, table) in COMMANDS.items():
        changed = changed_sources(package, tables, noted)
        if changed and table in tables.model.tables:
            lines.append((0, table, "", command, ", ".join(f"'{one}'" for one in changed)))
    return pl.DataFrame(lines, _FINDING, orient="row")

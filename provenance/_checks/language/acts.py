"""The rule that the acts of a record are what their names say.

An act's name is a digest of every character of its lines, which typed frames no longer have, so
this asks for the texts.
"""

from __future__ import annotations

from pathlib import Path

import polars as pl

from provenance._checks.language.rule import rule
from provenance._history.acts import ACCEPT
from provenance._history.history import ACCEPTED, ACT, BrokenHistory, keeps_history, proved
from provenance._record.edition_key import edition_key
from provenance._record.package import DESCRIPTOR, open_package
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

_FINDING = {ROW: pl.UInt32, "said": pl.String}


@rule(
    "history.act_edited",
    table=ACT,
    field="act_id",
    severity="error",
    says="The acts of the record cannot be relied on. {said}.",
    remedy="Restore act.csv, change.csv and accepted.csv from a copy; to change what an act did, "
    "undo it.",
    source="RFC 2104 (HMAC); FIPS 180-4 (SHA-256)",
)
def act_edited(tables: Snapshot) -> pl.DataFrame:
    """Who said what, and what was decided, is proved by nothing else."""
    folder = Path(tables.where)
    if not (folder / DESCRIPTOR).is_file():
        return pl.DataFrame(schema=_FINDING)
    package = open_package(folder)
    if not keeps_history(package) or edition_key(package) is None:
        return pl.DataFrame(schema=_FINDING)
    try:
        history = proved(package, tables)
    except BrokenHistory as error:
        return pl.DataFrame([(0, str(error))], schema=_FINDING, orient="row")
    told = {
        (name, line.before, line.field, line.after)
        for name, act in history.live.items()
        if act.kind == ACCEPT
        for line in act.lines
    }
    strange = [
        (0, f"accepted.csv, row {row}: no one accepted {one['rule']} of {one['row_key']} so")
        for row, one in enumerate(tables.rows(ACCEPTED), start=2)
        if (one["act_id"], one["rule"], one["field"], one["message"]) not in told
    ]
    return pl.DataFrame(strange, schema=_FINDING, orient="row")

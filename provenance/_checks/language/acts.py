"""The rule that the acts of a record are what their names say.

An act's name is a digest of every character of its lines, which typed frames no longer have, so
this asks for the texts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import NamedTuple

import polars as pl

from provenance._checks.language.rule import rule
from provenance._history.acts import ACCEPT, live
from provenance._history.history import (
    ACCEPTED,
    ACT,
    CHANGE,
    BrokenHistory,
    first_act,
    keeps_history,
    proved,
    read_acts,
)
from provenance._record.edition_key import edition_key
from provenance._record.package import DESCRIPTOR, Package, described_package
from provenance._record.reading import TableText
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
    package = described_package(folder)
    if not keeps_history(package) or edition_key(package) is None:
        return pl.DataFrame(schema=_FINDING)
    proof = tables.once_more("acts proved", partial(_proof, package))
    if proof.fault:
        return pl.DataFrame([(0, proof.fault)], schema=_FINDING, orient="row")
    rows = tables.rows(ACCEPTED)
    told = _accepted(tables, proof) if rows else set()
    strange = [
        (0, f"accepted.csv, row {row}: no one accepted {one['rule']} of {one['row_key']} so")
        for row, one in enumerate(rows, start=2)
        if (one["act_id"], one["rule"], one["field"], one["message"]) not in told
    ]
    return pl.DataFrame(strange, schema=_FINDING, orient="row")


class _Proof(NamedTuple):
    """Acts and their lines, and what is wrong about them; '' where each is what its name says."""

    key: str | None
    first: str
    acts: pl.DataFrame
    lines: pl.DataFrame
    fault: str


def _proof(package: Package, tables: Snapshot, before: _Proof | None) -> _Proof:
    """Whether the acts are sound; where they were and some were added, these alone are proved."""
    acts, lines = tables.texts(ACT).clone(), tables.texts(CHANGE).clone()
    found = _Proof(edition_key(package), str(first_act(package)), acts, lines, "")
    if (
        before
        and not before.fault
        and (before.key, before.first) == (found.key, found.first)
        and acts.head(len(before.acts)).equals(before.acts)
        and lines.head(len(before.lines)).equals(before.lines)
    ):
        added = {ACT: acts.slice(len(before.acts)), CHANGE: lines.slice(len(before.lines))}
        try:
            proved(package, _with(tables, added), before.acts["act_id"].to_list())
        except BrokenHistory:
            pass  # said below, in view of all of them
        else:
            return found
    try:
        proved(package, tables)
    except BrokenHistory as error:
        return found._replace(fault=str(error))
    return found


def _accepted(tables: Snapshot, proof: _Proof) -> set[tuple[str, ...]]:
    """Act, rule, field and message of every finding that an act that stands accepts."""
    accepting = proof.acts.filter(pl.col("kind") == ACCEPT)["act_id"].to_list()
    lines = proof.lines.filter(pl.col("act_id").is_in(accepting))
    acts = read_acts(_with(tables, {ACT: proof.acts, CHANGE: lines}))
    return {
        (name, line.before, line.field, line.after)
        for name, act in live(acts).items()
        if act.kind == ACCEPT
        for line in act.lines
    }


def _with(tables: Snapshot, frames: Mapping[str, pl.DataFrame]) -> Snapshot:
    """The tables with other rows in some of them."""

    def read(name: str) -> TableText | None:
        text = tables.written(name)
        return replace(text, frame=frames[name]) if text and name in frames else text

    return Snapshot(tables.model, tables.where, read).with_faults()

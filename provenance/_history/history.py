"""The acts of a package: read and proved, hand edits absorbed, written with their tables."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cached_property

import polars as pl

from provenance._base.errors import UnusablePackage
from provenance._history.acts import (
    BEGUN,
    IMPORT,
    KEY_FIELD,
    KINDS,
    ROW_FIELD,
    SETTLE,
    Act,
    Line,
    heads,
    id_of,
    live,
)
from provenance._history.edits import Change, changes_between, table_lines
from provenance._history.projection import (
    State,
    columns_of,
    covered_tables,
    links_of,
    project,
    rows_in_order,
)
from provenance._model.measures import MM_PER
from provenance._model.written import reading
from provenance._record.edition_key import edition_key
from provenance._record.package import Package
from provenance._record.snapshot import Snapshot
from provenance._record.together import Staging

ACT, CHANGE, CONFLICT, ACCEPTED, ORIGIN = "act", "change", "conflict", "accepted", "origin"
FORMER_KEY, READING = "former_key", "reading"
_LINE_COLUMNS = (
    *("table_name", "row_key", "field", "before", "after"),
    *("said_by", "written", "sheet", "line", "column"),
)
"""The columns of 'change' in the order of a line's texts."""
BY_HAND = "changed in the tables themselves"
AS_IT_STOOD = "the tables as they stood before acts were kept"


class BrokenHistory(UnusablePackage):
    """The acts of a package do not fit together, or cannot be added to."""


@dataclass(frozen=True)
class History:
    """The acts of a package in an order in which each comes after those it names, proved.

    Raises BrokenHistory when they are read from tables that were edited by hand.
    """

    package: Package
    acts: Mapping[str, Act]
    key: bytes

    @cached_property
    def state(self) -> State:
        """What the acts come to."""
        return project(self.package.model, self.acts)

    def adding(self, act: Act) -> tuple[History, str]:
        """The history with one act more, which follows all others, and its name."""
        act = replace(act, parents=heads(self.acts), lines=tuple(sorted(set(act.lines))))
        name = act.act_id(self.key)
        return replace(self, acts={**self.acts, name: act}), name

    def changes_to(self, other: History) -> list[Change]:
        """What another history of this record changed in the tables."""
        return changes_between(self.state, other.state)

    @cached_property
    def live(self) -> dict[str, Act]:
        """The acts that are not undone."""
        return live(self.acts)


def record_key(package: Package) -> bytes:
    """The key of the digests; raises BrokenHistory for a public edition, which has none."""
    key = edition_key(package)
    if key is None:
        raise BrokenHistory(
            f"{package.folder} has no key of the record: it is a public edition, or the key was "
            "taken out of datapackage.json. Corrections are made in the full record"
        )
    return bytes.fromhex(key)


def keeps_history(package: Package) -> bool:
    """Whether the package's schemas know acts; those of older versions do not."""
    return ACT in package.model.tables


def read_acts(tables: Snapshot) -> dict[str, Act]:
    """The acts as they are written, unproved, in the order of the file."""
    lines: dict[str, list[Line]] = {}
    names = (name for (name,) in tables.tuples(CHANGE, ("act_id",)))
    for name, line in zip(
        names, map(Line._make, tables.tuples(CHANGE, _LINE_COLUMNS)), strict=True
    ):
        lines.setdefault(name, []).append(line)
    acts = {}
    for row in tables.rows(ACT):
        acts[row["act_id"]] = Act(
            kind=row["kind"],
            who=row["who"],
            when=row["when"],
            why=row["why"],
            source=row["source_id"],
            version=row["version_sha256"],
            replaces=tuple(row["replaces"].split()),
            undoes=row["undoes"],
            parents=tuple(row["parents"].split()),
            lines=tuple(lines.pop(row["act_id"], ())),
        )
    if lines:
        raise BrokenHistory(
            f"{tables.where}/tables/change.csv: lines of an act '{next(iter(lines))}' that "
            "act.csv does not have; restore both files from a copy"
        )
    return acts


def proved(package: Package, tables: Snapshot, known: Collection[str] = ()) -> History:
    """The history as it is written; nothing of the tables is looked at.

    `known` are acts that were proved and stand before those of `tables`, which has the others only.
    Raises BrokenHistory that names the first act that is not what its name says.
    """
    key = record_key(package)
    acts = read_acts(tables)
    written = len(tables.rows(ACT))
    if len(acts) != written or not acts.keys().isdisjoint(known):
        raise BrokenHistory(f"{tables.where}/tables/act.csv: an act occurs twice; restore the file")
    if not acts and not known:
        for name in (CONFLICT, ACCEPTED, FORMER_KEY, READING):
            if tables.rows(name):
                raise BrokenHistory(
                    f"{tables.where}/tables/act.csv: it has no acts, but {name}.csv lists the "
                    "results of acts; restore act.csv and change.csv from a copy"
                )
    seen = set(known)
    for name, act in acts.items():
        where = f"{tables.where}/tables/act.csv: act {name[:8]}"
        if act.kind not in KINDS or act.act_id(key) != name:
            raise BrokenHistory(
                f"{where} or its lines in change.csv were edited by hand, or are not of this "
                "record; restore both files from a copy. To change what an act did, undo it"
            )
        named = {*act.parents, *act.replaces, *filter(None, [act.undoes])}
        if missing := sorted(named - seen):
            raise BrokenHistory(
                f"{where} comes after act {missing[0][:8]}, which is missing before it; restore "
                "act.csv and change.csv from a copy"
            )
        seen.add(name)
    begun = first_act(package)
    if acts and begun.act_id(key) not in seen:
        raise BrokenHistory(f"{package.folder}: these acts are of another record; restore act.csv")
    return History(package, acts, key)


def fault_in_acts(package: Package) -> str:
    """Why the acts of a package are not what their names say; '' where they are.

    In a public edition the digests that stand in the place of withheld texts are asked.
    """
    if not keeps_history(package):
        return ""
    tables = package.tables
    try:
        if edition_key(package) is not None:
            proved(package, tables)
            return ""
        acts = read_acts(tables)
    except BrokenHistory as error:
        return str(error)
    digests: dict[str, list[str]] = {}
    for name, digest in tables.tuples(CHANGE, ("act_id", "digest")):
        digests.setdefault(name, []).append(digest)
    said = {row["act_id"]: row["digest"] for row in tables.rows(ACT)}
    for name, act in acts.items():
        if id_of(act, said[name], digests.get(name, [])) != name:
            return f"{tables.where}/tables/act.csv: act {name[:8]} does not match its digests"
    return ""


def first_act(package: Package) -> Act:
    """The act that every copy of this record begins with, and no other record."""
    return Act(BEGUN, why=package.name, when=str(package.descriptor.get("created", "")))


def moment_text(moment: datetime | None = None) -> str:
    """A moment as acts have it: UTC, whole seconds."""
    return (moment or datetime.now(UTC)).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def open_history(package: Package) -> History:
    """The history with what was changed in the tables by hand as an act of its own.

    Hold the package's lock. Nothing is written. Raises BrokenHistory for a package whose schemas
    know no acts, whose acts were edited, or whose tables cannot be read.
    """
    if not keeps_history(package):
        raise BrokenHistory(
            f"{package.folder} was made by an older version, which had no history; update it "
            f"with 'treenail new {package.folder} --update'"
        )
    tables = package.tables
    history = proved(package, tables)
    # by hand: when it was done nobody knows, and so it is one act in whichever copy it is noticed
    why, when = BY_HAND, ""
    if not history.acts:
        begun = first_act(package)
        history = replace(history, acts={begun.act_id(history.key): begun})
        # no moment of its own, so that it is one act in every copy that is brought forward
        why, when = AS_IT_STOOD, begun.when
    lines = list(_edits(history.state, tables))
    if lines:
        act = Act(SETTLE, when=when, why=why, lines=tuple(lines))
        history, _ = history.adding(act)
    return history


def _edits(state: State, tables: Snapshot) -> Iterator[Line]:
    for table in covered_tables(state.model):
        # most tables stand as they were written
        if not _same_rows(rows_in_order(state, table.name), tables.rows(table.name)):
            names = [*table.names, *(n for n in tables.columns(table.name) if n not in table)]
            yield from table_lines(state, table, tables.rows(table.name), names)


def _same_rows(ours: Sequence[Mapping[str, str]], theirs: Sequence[Mapping[str, str]]) -> bool:
    """Whether two tables say the same, in whatever order of rows and columns."""

    def filled(rows: Sequence[Mapping[str, str]]) -> list[dict[str, str]]:
        return [{name: text for name, text in row.items() if text} for row in rows]

    if len(ours) != len(theirs):
        return False
    one, other = filled(ours), filled(theirs)
    return one == other or _sorted_rows(one) == _sorted_rows(other)


def _sorted_rows(rows: Sequence[Mapping[str, str]]) -> list[list[tuple[str, str]]]:
    return sorted(sorted(row.items()) for row in rows)


# -- writing ---------------------------------------------------------------------------------------


def stage_history(
    history: History,
    staging: Staging,
    origin: Sequence[Mapping[str, str]] | None = None,
    *,
    before: History | None = None,
) -> tuple[str, ...]:
    """Stage the acts and every table that does not say what they come to; returns their names.

    `origin` are the rows of that table with new ones of custody events, which no act speaks of.
    `before` is the history as it was opened, which the tables say.
    """
    package, state = history.package, history.state
    tables = package.tables
    frames = dict(_frames_of_acts(history, tables))
    for table in covered_tables(package.model):
        if before is not None and before.state.rows[table.name] == state.rows[table.name]:
            continue
        rows = rows_in_order(state, table.name)
        if not _same_rows(rows, tables.rows(table.name)):
            columns = columns_of(state, table.name, tables.columns(table.name))
            frames[table.name] = frame_of(columns, rows)
    computed: tuple[tuple[str, Sequence[Mapping[str, str]]], ...] = (
        (CONFLICT, list(_conflict_rows(history))),
        (ACCEPTED, list(_accepted_rows(history))),
        (FORMER_KEY, list(_former_key_rows(history))),
        (READING, list(_reading_rows(history))),
        (ORIGIN, _origin_rows(history, tables.rows(ORIGIN) if origin is None else origin)),
    )
    for name, said in computed:
        if name in package.model.tables and not _same_rows(said, tables.rows(name)):
            frames[name] = frame_of(package.model.table(name).names, said)
    for name, frame in frames.items():
        with staging.writing(f"tables/{name}.csv") as stream:
            package.write_table_to(stream, name, frame)
    return tuple(frames)


def _frames_of_acts(history: History, tables: Snapshot) -> Iterator[tuple[str, pl.DataFrame]]:
    """The tables of acts and lines, where there are acts that are not written yet."""
    written = tables.column(ACT, "act_id")
    acts = dict(history.acts)
    if len(acts) == len(written):
        return
    kept = written == list(acts)[: len(written)]
    new = dict(list(acts.items())[len(written) :]) if kept else acts
    for name, rows in ((ACT, _act_rows(new)), (CHANGE, _change_rows(new))):
        frame = frame_of(history.package.model.table(name).names, list(rows))
        if kept:
            frame = pl.concat([tables.whole(name).select(frame.columns), frame])
        yield name, frame


def frame_of(columns: Iterable[str], rows: Sequence[Mapping[str, str]]) -> pl.DataFrame:
    """Rows of texts as a frame with these columns."""
    texts = {name: [row.get(name, "") for row in rows] for name in columns}
    return pl.DataFrame(texts, schema=dict.fromkeys(texts, pl.String))


def _act_rows(acts: Mapping[str, Act]) -> Iterator[dict[str, str]]:
    for name, act in acts.items():
        yield {
            "act_id": name,
            "kind": act.kind,
            "who": act.who,
            "when": act.when,
            "why": act.why,
            "source_id": act.source,
            "version_sha256": act.version,
            "replaces": " ".join(act.replaces),
            "undoes": act.undoes,
            "parents": " ".join(act.parents),
        }


def _change_rows(acts: Mapping[str, Act]) -> Iterator[dict[str, str]]:
    for name, act in acts.items():
        for number, one in enumerate(act.lines, start=1):
            texts = dict(zip(_LINE_COLUMNS, one, strict=True))
            yield {"act_id": name, "number": str(number), **texts}


def _conflict_rows(history: History) -> Iterator[dict[str, str]]:
    state = history.state
    number = 0
    for one in sorted(state.conflicts, key=lambda c: (c.table, c.key, c.field, c.kind)):
        for claim in one.claims:
            number += 1
            act = history.acts.get(claim.act)
            yield {
                "conflict_id": str(number),
                "kind": one.kind,
                "table_name": one.table,
                "row_key": one.key,
                "field": one.field,
                "value": as_shown(state, one.table, one.field, claim.value),
                "written": claim.line.written,
                "said_by": claim.said_by,
                "who": act.who if act else "",
                "original_id": act.source if act else "",
                "sheet": claim.line.sheet,
                "line": claim.line.line,
                "column": claim.line.column,
            }


def as_shown(state: State, table: str, field: str, value: str) -> str:
    """A value as the tables have it: what names a row by the key that it bears now."""
    target = links_of(state.model.table(table)).get(field)
    return state.keys.get((target, value), value) if target else value


def _accepted_rows(history: History) -> Iterator[dict[str, str]]:
    ordered = sorted(history.state.accepted, key=lambda a: (a.rule, a.table, a.key, a.field, a.act))
    for number, one in enumerate(ordered, start=1):
        act = history.acts[one.act]
        yield {
            "accepted_id": str(number),
            "rule": one.rule,
            "table_name": one.table,
            "row_key": one.key,
            "field": one.field,
            "message": one.message,
            "why": act.why,
            "who": act.who,
            "when": act.when,
            "act_id": one.act,
        }


def _former_key_rows(history: History) -> Iterator[dict[str, str]]:
    for (table, former), now in former_keys(history).items():
        yield {"table_name": table, "former_key": former, "row_key": now}


def _reading_rows(history: History) -> Iterator[dict[str, str]]:
    """Lengths as they were written, of the cells that hold what was read."""
    state = history.state
    for name, rows in state.rows.items():
        lengths = [one for one in state.model.table(name).fields if one.unit in MM_PER]
        for row, cells in rows.items():
            for one in lengths:
                if not (value := cells.get(one.name)):
                    continue
                said = state.said_of(name, row, one.name)
                texts = [claim.line.written for claim in said if not claim.refused]
                assert one.unit is not None
                found = (reading(text, value, one.unit) for text in texts if text)
                if known := next(filter(None, found), None):
                    yield {
                        "table_name": name,
                        "row_key": state.keys[name, row],
                        "field": one.name,
                        "as_written": known.text,
                        "step_mm": f"{float(known.step):.6f}".rstrip("0").rstrip("."),
                    }


def former_keys(history: History) -> dict[tuple[str, str], str]:
    """Table and key that a row bore and nobody bears now → the key that the row bears now."""
    state = history.state
    found: dict[tuple[str, str], str] = {}
    for table, rows in state.rows.items():
        for row in rows:
            said = [claim.value for claim in state.said_of(table, row, KEY_FIELD)]
            for former in dict.fromkeys([row, *said]):
                if "~" not in former and not state.names_of(table, former):
                    found.setdefault((table, former), state.keys[table, row])
    return found


def _origin_rows(history: History, written: Sequence[Mapping[str, str]]) -> list[Mapping[str, str]]:
    """Where every row of the record was read from; what no act speaks of stays as it is."""
    state = history.state
    read = {act.source for act in history.acts.values() if act.kind == IMPORT}
    found: dict[tuple[str, ...], dict[str, str]] = {}
    for name, act in history.live.items():
        if act.kind != IMPORT:
            continue
        for line in act.lines:
            if not line.row or line.field != ROW_FIELD or line.table not in state.rows:
                continue
            row = state.row_of(name, line)
            if row not in state.rows[line.table]:
                continue
            values = {
                "table_name": line.table,
                "row_key": state.keys[line.table, row],
                "original_id": act.source,
                "sheet": line.sheet,
                "line": line.line,
            }
            # stated by this copy, or by the newest one of the same file
            there = any(
                claim.said_by == state.lineage[name]
                for claim in state.said_of(line.table, row, ROW_FIELD)
            )
            key = tuple(values.values())
            found[key] = {**values, "still_there": "true" if there else "false"}
    kept = [
        row for row in written if row["table_name"] == "custody" or row["original_id"] not in read
    ]
    ordered = sorted(
        found.values(), key=lambda r: (r["original_id"], r["sheet"], int(r["line"]), *r.values())
    )
    return [*kept, *ordered]

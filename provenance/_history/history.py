"""The acts of a package: read and proved, hand edits absorbed, written with their tables."""

from __future__ import annotations

import io
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cached_property
from itertools import islice
from types import MappingProxyType
from typing import NamedTuple

import polars as pl

from provenance._base.errors import UnusablePackage
from provenance._base.frames import write_csv
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.folders import read_plain
from provenance._history.acts import (
    BEGUN,
    IMPORT,
    KEY_FIELD,
    KINDS,
    ROW_FIELD,
    SETTLE,
    UNDO,
    Act,
    Line,
    heads,
    id_of,
    live,
)
from provenance._history.edits import Change, changes_between, table_lines
from provenance._history.projection import (
    Conflict,
    Rows,
    State,
    columns_of,
    covered_tables,
    follow,
    links_of,
    project,
    rows_in_order,
)
from provenance._model.measures import MM_PER
from provenance._model.schema import Model
from provenance._model.written import reading
from provenance._record.edition_key import edition_key
from provenance._record.package import Package
from provenance._record.reading import TableText, table_of
from provenance._record.snapshot import Snapshot
from provenance._record.together import Staging

ACT, CHANGE, CONFLICT, ACCEPTED, ORIGIN = "act", "change", "conflict", "accepted", "origin"
FORMER_KEY, READING = "former_key", "reading"
_LINE_COLUMNS = (
    *("table_name", "row_key", "field", "before", "after"),
    *("said_by", "written", "sheet", "line", "column"),
)
"""The columns of 'change' in the order of a line's texts."""
NO_ACTS: Mapping[str, Act] = MappingProxyType({})
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
        act = replace(act, parents=self.heads, lines=tuple(sorted(set(act.lines))))
        name = act.act_id(self.key)
        return self.with_act(name, act), name

    def with_act(self, name: str, act: Act) -> History:
        """The history with one act more, which names those that it follows."""
        after = replace(self, acts={**self.acts, name: act})
        known = vars(after)  # where cached properties keep what they have found
        known["heads"] = tuple(sorted({*self.heads, name} - set(act.parents)))
        went = {one: self.live[one] for one in [act.undoes] if one in self.live}
        if any(one.kind == UNDO for one in went.values()):
            return after  # what that undid is back
        known["live"] = {one: kept for one, kept in self.live.items() if one not in went}
        known["live"][name] = act
        if "state" in vars(self):
            state = follow(self.state, after.acts, after.live, came={name: act}, went=went)
            if state is not None:
                known["state"] = state
                if "readings" in vars(self):
                    known["readings"] = _readings_after(self, state)
        return after

    @cached_property
    def heads(self) -> tuple[str, ...]:
        """The acts that no other act names as its parent, in order of name."""
        return heads(self.acts)

    def changes_to(self, other: History) -> list[Change]:
        """What another history of this record changed in the tables."""
        return changes_between(self.state, other.state)

    @cached_property
    def former_keys(self) -> dict[tuple[str, str], str]:
        """Table and key that a row bore and nobody bears now → the key that the row bears now."""
        found: dict[tuple[str, str], str] = {}
        called = self.state.called
        for table, rows in self.state.rows.items() if called else ():
            for row in (one for one in rows if (table, one) in called):
                key = self.state.keys[table, row]
                said = [claim.value for claim in self.state.said_of(table, row, KEY_FIELD)]
                for former in dict.fromkeys([row, *said]):
                    if "~" not in former and not self.state.names_of(table, former):
                        found.setdefault((table, former), key)
        return found

    @cached_property
    def readings(self) -> dict[str, dict[str, list[Reading]]]:
        """Lengths as they were written, of the cells that hold what was read, by table and row."""
        found: dict[str, dict[str, list[Reading]]] = {}
        for name, rows in self.state.rows.items():
            found[name] = dict(_readings(self.state, name, rows))
        return found

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


def read_acts(tables: Snapshot, known: Mapping[str, Act] = NO_ACTS) -> dict[str, Act]:
    """The acts as they are written, unproved, in the order of the file, without those `known`."""
    lines: dict[str, list[Line]] = defaultdict(list)
    told = zip(
        tables.column(CHANGE, "act_id"),
        map(Line._make, tables.tuples(CHANGE, _LINE_COLUMNS)),
        strict=True,
    )
    for name, line in islice(told, sum(len(act.lines) for act in known.values()), None):
        lines[name].append(line)
    acts = {}
    for row in tables.rows(ACT)[len(known) :]:
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
        if missing := sorted(act.named - seen):
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
        columns = columns_of(state, table.name, tables.columns(table.name))
        ours = frame_of(columns, list(state.rows[table.name].values()))
        if ours.equals(_with_columns(tables, table.name, columns)):
            continue
        if not same_rows(rows_in_order(state, table.name), tables.rows(table.name)):
            names = [*table.names, *(n for n in tables.columns(table.name) if n not in table)]
            yield from table_lines(state, table, tables.rows(table.name), names)


def _with_columns(tables: Snapshot, name: str, columns: Iterable[str]) -> pl.DataFrame:
    texts = tables.texts(name)
    return texts.select(one if one in texts.columns else pl.lit("").alias(one) for one in columns)


def same_rows(ours: Sequence[Mapping[str, str]], theirs: Sequence[Mapping[str, str]]) -> bool:
    """Whether two tables say the same, in whatever order of rows and columns."""
    if len(ours) != len(theirs):
        return False
    one, other = [*map(_filled, ours)], [*map(_filled, theirs)]
    return one == other or _sorted_rows(one) == _sorted_rows(other)


def _differ(before: Rows, now: Rows) -> bool:
    """Whether the rows of a table say something else than before; what is blank says nothing."""
    return before.keys() != now.keys() or any(
        one is not now[row] and _filled(one) != _filled(now[row]) for row, one in before.items()
    )


def _filled(row: Mapping[str, str]) -> dict[str, str]:
    return {name: text for name, text in row.items() if text}


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
    files = changed_tables(history, origin, before=before)
    for name, data in files.items():
        staging.write(f"tables/{name}.csv", data)
    return tuple(files)


def changed_tables(
    history: History,
    origin: Sequence[Mapping[str, str]] | None = None,
    *,
    before: History | None = None,
) -> dict[str, bytes]:
    """The CSV of every table that the files of the package do not have so; see `stage_history`."""
    files = {
        name: changed_table(history, name, origin, before=before)
        for name in told_tables(history.package.model)
    }
    return {name: data for name, data in files.items() if data is not None}


def told_tables(model: Model) -> list[str]:
    """The tables that the history determines."""
    covered = (table.name for table in covered_tables(model))
    names = (ACT, CHANGE, *covered, *_COMPUTED, ORIGIN)
    return [name for name in names if name in model.tables]


def changed_table(
    history: History,
    name: str,
    origin: Sequence[Mapping[str, str]] | None = None,
    *,
    before: History | None = None,
) -> bytes | None:
    """The CSV of one table, None where its file says that already; see `stage_history`."""
    package = history.package
    frame = _changed_frame(history, name, origin, before)
    if frame is None:
        return None
    data = _written_behind(package, name, frame) if name in (ACT, CHANGE) else None
    if data is None:
        stream = io.BytesIO()
        package.write_table_to(stream, name, frame)
        data = stream.getvalue()
    return data


class TablesToCome:
    """The tables that histories come to before they are written; one history after another.

    Of a long table only the rows are made that are others than in the history before.
    """

    def __init__(self) -> None:
        self._made: dict[str, tuple[Rows, pl.DataFrame, TableText]] = {}

    def table(self, history: History, name: str, before: History) -> TableText | None:
        """What will be read from the file of a table; None where it says so already.

        `before` is the history that the files say.
        """
        rows = history.state.rows.get(name)
        if rows is None:
            frame = _changed_frame(history, name, None, before)
            return None if frame is None else table_of(frame)
        if not _differ(before.state.rows[name], rows):
            return None
        made = self._made.get(name)
        if made is None or made[0] is not rows:
            columns = columns_of(history.state, name, history.package.tables.columns(name))
            frame = _frame_after(
                columns, rows, *(made[:2] if made else ({}, frame_of(columns, [])))
            )
            made = self._made[name] = rows, frame, table_of(frame)
        return made[2]


def _frame_after(
    columns: Sequence[str], rows: Rows, before: Rows, frame: pl.DataFrame
) -> pl.DataFrame:
    """The frame of rows, most of which stand in the frame of those before."""
    at = {row: place for place, row in enumerate(before)}
    new = [cells for row, cells in rows.items() if cells is not before.get(row)]
    number = iter(range(len(frame), len(frame) + len(new)))
    order = [at[row] if cells is before.get(row) else next(number) for row, cells in rows.items()]
    old = frame.select(one if one in frame.columns else pl.lit("").alias(one) for one in columns)
    return pl.concat([old, frame_of(columns, new)])[order]


def _written_behind(package: Package, name: str, frame: pl.DataFrame) -> bytes | None:
    """The file of a table with the new rows of `frame` behind it; None where that is not the same.

    The lines of all acts are by far the longest table, and nothing of it ever changes.
    """
    written = package.tables.whole(name).select(frame.columns)
    data = read_plain(package.table_path(name), DEFAULT_BUDGET.most_table_bytes)
    new = io.BytesIO()
    write_csv(new, frame.slice(len(written)))
    header, _, rows = new.getvalue().partition(b"\n")
    if (
        not data.startswith(header + b"\n")
        or not data.endswith(b"\n")
        # all cells are quoted where one holds a carriage return
        or b"\r" in data
        or b"\r" in rows
        or not frame.head(len(written)).equals(written)
    ):
        return None
    return data + rows


def _changed_frame(
    history: History,
    name: str,
    origin: Sequence[Mapping[str, str]] | None,
    before: History | None,
) -> pl.DataFrame | None:
    package, state = history.package, history.state
    tables = package.tables
    if name in (ACT, CHANGE):
        return _frame_of_acts(history, name, tables)
    if name in state.rows:
        if before is None:
            changed = not same_rows(rows_in_order(state, name), tables.rows(name))
        else:
            changed = _differ(before.state.rows[name], state.rows[name])
        columns = columns_of(state, name, tables.columns(name)) if changed else []
        return frame_of(columns, list(state.rows[name].values())) if changed else None
    if name == ORIGIN:
        if origin is None and before is not None and _same_origins(before, history):
            return None
        said = _origin_rows(history, tables.rows(ORIGIN) if origin is None else origin)
    else:
        said = list(_COMPUTED[name](history))
    return (
        None
        if same_rows(said, tables.rows(name))
        else frame_of(package.model.table(name).names, said)
    )


def _frame_of_acts(history: History, name: str, tables: Snapshot) -> pl.DataFrame | None:
    """The table of acts or of their lines, where there are acts that are not written yet."""
    written = tables.column(ACT, "act_id")
    acts = dict(history.acts)
    if len(acts) == len(written):
        return None
    kept = written == list(acts)[: len(written)]
    new = dict(list(acts.items())[len(written) :]) if kept else acts
    rows = _act_rows(new) if name == ACT else _change_rows(new)
    frame = frame_of(history.package.model.table(name).names, list(rows))
    return pl.concat([tables.whole(name).select(frame.columns), frame]) if kept else frame


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
    for one in sorted(state.conflicts, key=_order_of_conflict):
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


def _order_of_conflict(one: Conflict) -> tuple[str, ...]:
    return one.table, one.key, one.field, one.kind, one.row


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
    for (table, former), now in history.former_keys.items():
        yield {"table_name": table, "former_key": former, "row_key": now}


def _reading_rows(history: History) -> Iterator[dict[str, str]]:
    for name, rows in history.state.rows.items():
        told = history.readings[name]
        for row in rows if told else ():
            for one in told.get(row, ()):
                yield {
                    "table_name": name,
                    "row_key": history.state.keys[name, row],
                    "field": one.field,
                    "as_written": one.text,
                    "step_mm": one.step_mm,
                }


class Reading(NamedTuple):
    """A length as it was written, and how finely in mm it was read."""

    field: str
    text: str
    step_mm: str


def _readings(state: State, name: str, rows: Rows) -> Iterator[tuple[str, list[Reading]]]:
    lengths = [one for one in state.model.table(name).fields if one.unit in MM_PER]
    for row, cells in rows.items() if lengths else ():
        told = []
        for one in lengths:
            if not (value := cells.get(one.name)):
                continue
            said = state.said_of(name, row, one.name)
            texts = [claim.line.written for claim in said if not claim.refused]
            assert one.unit is not None
            found = (reading(text, value, one.unit) for text in texts if text)
            if known := next(filter(None, found), None):
                step = f"{float(known.step):.6f}".rstrip("0").rstrip(".")
                told.append(Reading(one.name, known.text, step))
        if told:
            yield row, told


def _readings_after(before: History, state: State) -> dict[str, dict[str, list[Reading]]]:
    """What was read, where `state` follows that of `before`, which shows most rows as they were."""
    found = dict(before.readings)
    for name, rows in state.rows.items():
        was = before.state.rows[name]
        if rows is was:
            continue
        told = {row: cells for row, cells in rows.items() if cells is not was.get(row)}
        kept = {row: one for row, one in found[name].items() if row in rows and row not in told}
        found[name] = kept | dict(_readings(state, name, told))
    return found


_COMPUTED: Mapping[str, Callable[[History], Iterator[dict[str, str]]]] = {
    CONFLICT: _conflict_rows,
    ACCEPTED: _accepted_rows,
    FORMER_KEY: _former_key_rows,
    READING: _reading_rows,
}
"""Tables that follow from the history alone."""


def _same_origins(before: History, history: History) -> bool:
    """Whether the same files were read, and the same rows stand and are called as they were."""
    was, now = before.state, history.state
    return (
        was.lineage is now.lineage
        and was.keys == now.keys
        and all(was.rows[name].keys() == rows.keys() for name, rows in now.rows.items())
    )


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

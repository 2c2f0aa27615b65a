"""A record that is checked again says what a whole check says, and asks only what it must."""

from __future__ import annotations

import csv
import random
import re
import shutil
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import given, note, settings
from hypothesis import strategies as st

from provenance._base.disk import write_text
from provenance._base.errors import UnusablePackage
from provenance._base.findings import Report
from provenance._checks.again import Checking
from provenance._checks.check import RuleFailed, check_package
from provenance._checks.language.rule import COMMON_PRACTICE, Find, Rule, rule
from provenance._checks.language.views import samples_with_wood
from provenance._checks.traced import Notes, TracedFrame
from provenance._history.deciding import accept, correct, decide
from provenance._history.edits import Change
from provenance._intake.working import Working
from provenance._record.journal import has_waiting
from provenance._record.package import Package, open_package
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW
from tests.builders import a_package
from tests.checks.rules.record import a_sound_record

CELLS = (
    "",
    "x",
    "0",
    "-1",
    "3.5",
    "1820",
    "2024-06-31",
    "true",
    "beam",
    "QUSP",
    "call 555 1234567",
)
Rows = list[list[str]]


def _rows(folder: Path, table: str) -> Rows:
    with open(folder / "tables" / f"{table}.csv", encoding="utf-8", newline="") as stream:
        return list(csv.reader(stream))


def _write(folder: Path, table: str, rows: Rows) -> None:
    lines = (",".join(f'"{cell.replace(chr(34), chr(34) * 2)}"' for cell in row) for row in rows)
    write_text(folder / "tables" / f"{table}.csv", "".join(f"{line}\n" for line in lines))


def _set(folder: Path, table: str, column: str, value: str, row: int = 1) -> None:
    rows = _rows(folder, table)
    rows[row][rows[0].index(column)] = value
    _write(folder, table, rows)


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """Each table of the chain twice, the second time with a fault or two, and one accepted."""
    built = a_package(tmp_path_factory.mktemp("full"))
    for table, rows in a_sound_record().rows.items():
        key = built.package.model.table(table).primary_key[0]
        for row in rows:
            built.with_bare_row(table, **row).with_bare_row(table, **row | {key: f"{row[key]}9"})
    built.with_row("sample", sample_id="77", length_mm="9000").with_row("plug", stamp="77")
    one = next(iter(check_package(built.package)))
    told = {"rule": one.rule, "table_name": one.table, "row_key": one.key, "field": one.field}
    said = {"message": one.message, "why": "It is so.", "who": "MB", "when": "2031-05-04"}
    return built.with_bare_row("accepted", **told, **said).package


def _assert_same(again: Report, whole: Report) -> None:
    assert again.found.rows() == whole.found.rows()
    assert again.found.schema == whole.found.schema
    assert (again.accepted is None) == (whole.accepted is None)
    if again.accepted is not None and whole.accepted is not None:
        assert again.accepted.rows() == whole.accepted.rows()
    assert again.rules_run == whole.rules_run
    assert again.rows_checked == whole.rows_checked


def _edit(folder: Path, names: Sequence[str], draw: Callable[[Sequence[Any]], Any]) -> str:
    """Change a cell, or now and then rows, headings or the file itself; says what was changed."""
    table = draw(names)
    path = folder / "tables" / f"{table}.csv"
    if not path.exists():
        path.with_suffix(".kept").rename(path)
        return f"{table} is back"
    rows = _rows(folder, table)
    what = draw(("cell",) * 8 + ("row twice", "no row", "short", "blank", "no column", "gone"))
    at = draw(range(1, len(rows)))
    if what == "cell" and rows[at]:
        column = draw(range(len(rows[at])))
        said = [row[column] for row in rows[1:] if column < len(row)]
        rows[at][column] = draw((*CELLS, *said))
    elif what == "row twice":
        rows.append(rows[at])
    elif what == "no row" and len(rows) > 2:
        del rows[at]
    elif what == "short" and len(rows[at]) > 1:
        rows[at].pop()
    elif what == "blank":
        rows[at] = [""]
    elif what == "no column" and len(rows[0]) > 1:
        column = draw(range(len(rows[0])))
        rows = [row[:column] + row[column + 1 :] for row in rows]
    _write(folder, table, rows)
    if what == "gone":
        path.rename(path.with_suffix(".kept"))
    return f"{table}, row {at + 1}: {what}, now {rows[-1] if at == len(rows) else rows[at]}"


@settings(max_examples=2)
@given(seed=st.integers(0))
def test_after_any_edits_it_says_what_a_whole_check_says(
    full: Package, tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    chance = random.Random(seed)
    folder = tmp_path_factory.mktemp("edited") / "holl"
    shutil.copytree(full.folder, folder)
    package = open_package(folder)
    names = [name for name in package.model.tables if package.tables.count(name)]
    checking = Checking(package)
    checking.findings()
    for _ in range(5):
        for _ in range(chance.randint(1, 3)):
            note(_edit(folder, names, chance.choice))
        try:
            whole = check_package(open_package(folder))
        except UnusablePackage as refused:
            # such as a heading that is gone from what a person accepted
            with pytest.raises(UnusablePackage, match=re.escape(str(refused))):
                checking.findings()
        else:
            _assert_same(checking.findings(), whole)


def _asked_of(table: str, field: str, find: Find, asked: list[str]) -> Rule:
    """A rule that says in `asked` when it was asked."""

    def noted(tables: Snapshot) -> pl.DataFrame:
        """Find and say so."""
        asked.append(field)
        return find(tables)

    made = rule(
        f"invented.{field}",
        table=table,
        field=field,
        severity="note",
        says=f"it is {{{field}}}",
        remedy="Look.",
        source=COMMON_PRACTICE,
    )
    return made(noted)


def test_only_rules_that_read_what_was_changed_are_asked_again(tmp_path: Path) -> None:
    """Also through a join, which hands on more columns than a rule reads, and a whole table."""
    package = a_package(tmp_path).with_chain().package
    asked: list[str] = []
    rules = [
        _asked_of("plug", "stamp", lambda tables: tables["plug"].drop_nulls("stamp"), asked),
        _asked_of("plug", "notes", lambda tables: tables["plug"].slice(0), asked),
        _asked_of(
            "sample",
            "direction",
            lambda tables: samples_with_wood(tables).filter(pl.col("wood_length_m") > 4),
            asked,
        ),
        _asked_of(
            "sample",
            "condition",
            lambda tables: samples_with_wood(tables).filter(in_place="in_place"),
            asked,
        ),
        _asked_of(
            "file",
            "path",
            lambda tables: pl.DataFrame({ROW: [0], "path": [Path(tables.where).name]}),
            asked,
        ),
    ]
    rules[-1] = Rule(**{**vars(rules[-1]), "on_disk": True})
    checking = Checking(package, rules=rules)

    def then_asked(table: str = "", column: str = "", value: str = "") -> set[str]:
        asked.clear()
        if table:
            _set(package.folder, table, column, value)
        _assert_same(checking.findings(), check_package(package, rules=rules))
        # the whole check asks each rule with rows once
        return {one for one in asked if asked.count(one) > 1}

    assert then_asked() == {"stamp", "notes", "direction", "condition", "path"}
    assert then_asked() == set()
    assert then_asked("plug", "stamp", "232") == {"stamp", "notes"}
    assert then_asked("plug", "dowel_mm", "12") == {"notes"}
    assert then_asked("element", "length_m", "4.1") == {"direction"}
    assert then_asked("element", "in_place", "reused") == {"condition"}
    assert then_asked("sample", "element_id", "B1-015") == {"direction", "condition"}
    assert then_asked("element", "recorded_by", "OWN") == set()
    write_text(package.folder / "files" / "note.txt", "Seen from the yard.")
    assert then_asked() == {"path"}


def test_a_file_that_was_changed_is_found_and_one_that_was_put_back(tmp_path: Path) -> None:
    built = a_package(tmp_path).with_chain()
    photo = built.package.folder / "files" / "end.txt"
    write_text(photo, "bark")
    package = built.with_bare_row(
        "file", file_id="F1", path="files/end.txt", byte_count="4"
    ).package
    checking = Checking(package)
    before = checking.findings()
    write_text(photo, "bark and pith")
    assert {"files.size_differs"} == {
        one.rule for one in checking.findings() if one not in list(before)
    }
    write_text(photo, "bark")
    _assert_same(checking.findings(), before)


def test_a_rule_that_broke_down_is_asked_until_it_does_not(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    broken = [True]

    def find(tables: Snapshot) -> pl.DataFrame:
        """Break down."""
        return tables["plug"].select("no_such_column" if broken else ROW, "stamp")

    checking = Checking(package, rules=[_asked_of("plug", "stamp", find, [])])
    for _ in range(2):
        with pytest.raises(RuleFailed, match=r"invented\.stamp"):
            checking.findings()
    broken.clear()
    assert [one.rule for one in checking.findings() if one.table == "plug"] == ["invented.stamp"]


def test_a_table_that_was_missing_is_no_longer_missed_when_it_is_back(tmp_path: Path) -> None:
    """Also by rules that miss it in the midst of what several of them share."""
    package = a_package(tmp_path).with_chain().package
    checking = Checking(package)
    before = checking.findings()
    path = package.table_path("sample")
    path.rename(path.with_suffix(".kept"))
    assert "structure.rules_skipped" in {one.rule for one in checking.findings()}
    path.with_suffix(".kept").rename(path)
    _assert_same(checking.findings(), before)


def test_acts_that_were_added_are_proved_with_those_before(tmp_path: Path) -> None:
    """Also where a line is pushed into an old act, and where what somebody let stand is forged."""
    package = a_package(tmp_path).with_chain().package
    folder = package.folder
    checking = Checking(package)

    def faults() -> list[str]:
        found = checking.findings()
        _assert_same(found, check_package(package))
        return [one.message for one in found if one.rule == "history.act_edited"]

    assert faults() == []
    for rings in ("99", "98"):
        decide(package, correct("sample", "231", {"rings_field": rings}), who="MB")
        assert faults() == []
    sound = _rows(folder, "change")
    one = next(iter(checking.findings()))
    said = (one.rule, one.table, one.key, one.field, one.message)
    decide(package, accept([said]), who="MB", why="It is so.")
    assert faults() == []
    assert one not in list(checking.findings())
    proved = _rows(folder, "change")
    for forged in ([*proved, [*sound[-1][:1], "9", *sound[-1][2:]]], proved[:-2], proved[:1]):
        _write(folder, "change", forged)
        assert len(faults()) == 1
        _write(folder, "change", proved)
        assert faults() == []
    _set(folder, "accepted", "rule", "plug.loose")
    (fault,) = faults()
    assert "no one accepted plug.loose" in fault


def test_tables_that_are_not_written_yet_are_asked_in_the_place_of_the_package_s(
    tmp_path: Path,
) -> None:
    package = a_package(tmp_path).with_chain().package
    checking = Checking(package)
    before = checking.findings()
    written = package.tables
    text = written.written("plug")
    assert text is not None
    other = replace(text, frame=text.frame.with_columns(dowel_mm=pl.lit("thick")))
    waiting = Snapshot(
        package.model,
        written.where,
        lambda name: other if name == "plug" else written.written(name),
    )
    found = checking.findings(waiting)
    assert ("structure.not_a_number", "thick") in {(one.rule, one.value) for one in found}
    _assert_same(checking.findings(), before)


def test_acts_that_wait_are_checked_and_no_rule_writes_them(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain(length_mm=None).package
    with Working(package, quiet=600) as working:
        checking = Checking(working.package)
        checking.findings(working.tables)
        working.change([Change("sample", "231", "length_mm", "", "9000")], who="MB")
        found = checking.findings(working.tables)
        assert "sample.longer_than_wood" in {one.rule for one in found}
        assert has_waiting(package.folder)
        checking.findings(working.tables)
        assert checking.asked == 0


FRAME = pl.DataFrame(
    {
        "a": ["x", "y", "x", None, "z"],
        "b": [1, 2, 3, 4, None],
        "c": ["p", "q", "q", "r", "x"],
        "d": [5.0, 4.0, 3.0, 2.0, 1.0],
    }
)
OTHER = pl.DataFrame({"a": ["x", "y", "x"], "c": ["u", "v", "w"], "e": [7, 8, 9]})
OPERATIONS: dict[str, Callable[[pl.DataFrame, pl.DataFrame], Any]] = {
    "column": lambda one, _: one["a"],
    "columns": lambda one, _: one[["a", "d"]],
    "filter": lambda one, _: one.filter(pl.col("b") > 1, a="x").select("d"),
    "filter by what another frame has": lambda one, other: one.filter(
        pl.col("a").is_in(other["a"].to_list())
    )["b"],
    "select": lambda one, _: one.select("a", pl.col("b", "d"), e=pl.col("c") + "!").select("e"),
    "select fewer rows": lambda one, _: one.select(pl.col("a").drop_nulls().unique().sort()),
    "count what is selected": lambda one, _: len(one.select(pl.col("a").drop_nulls())),
    "select a regular expression": lambda one, _: one.select("^[ab]$"),
    "select by type": lambda one, _: one.select(pl.col(pl.String)),
    "window": lambda one, _: one.with_columns(n=pl.col("b").sum().over("a")).select("c", "n"),
    "replace all": lambda one, _: one.select("a", "c").with_columns(pl.all().replace("x", "X"))[
        "c"
    ],
    "literal": lambda one, _: one.with_columns(a=pl.lit("k")).select("a", "b"),
    "when": lambda one, _: one.select("d", e=pl.when(pl.col("b") > 2).then("a").otherwise("c"))[
        "e"
    ],
    "left join": lambda one, other: one.join(other, on="a", how="left", maintain_order="left")[
        "c_right"
    ],
    "inner join": lambda one, other: one.join(
        other, left_on="c", right_on="a", maintain_order="left_right"
    ).select("b", "e"),
    "semi join": lambda one, other: one.join(other, on="a", how="semi", maintain_order="left")["b"],
    "join with some": lambda one, other: one.join(
        other.filter(pl.col("e") > 7), on="a", how="semi", maintain_order="left"
    )["b"],
    "full join": lambda one, other: one.select("a", "b").join(
        other.select("a"), on="a", how="full", maintain_order="left_right"
    ),
    "joined to": lambda one, other: other.join(one, on="a", how="left", maintain_order="left")["b"],
    "unique": lambda one, _: one.unique("c", keep="first", maintain_order=True)["b"],
    "unique rows": lambda one, _: len(one.select("a", "c").unique()),
    "sort": lambda one, _: one.sort("d", descending=True)["a"],
    "rename": lambda one, _: one.rename({"a": "z"})["z"],
    "drop": lambda one, _: one.drop("a", "b").sort("c"),
    "drop nulls": lambda one, _: one.drop_nulls(["a"]).height,
    "group": lambda one, _: one.group_by("a", maintain_order=True).agg(
        pl.col("b").sum(), n=pl.len()
    ),
    "groups": lambda one, _: [
        (key, part["b"].to_list()) for key, part in one.group_by("c", maintain_order=True)
    ],
    "rows": lambda one, _: one.select("a", "b").rows(),
    "concat": lambda one, _: pl.concat([one.select("a"), one.select("a")]),
    "lazy": lambda one, _: one.drop("d").lazy().select("a").collect(),
    "head": lambda one, _: one.select("b", "c").head(2),
    "hstack": lambda one, _: one.select("b").hstack([one["c"]]),
    "empty": lambda one, _: one.filter(pl.col("b") > 9).is_empty(),
    "clear": lambda one, _: one.clear(),
}


def _outcome(run: Callable[..., Any], frames: Iterable[pl.DataFrame]) -> Any:
    found = run(*frames)
    if isinstance(found, pl.DataFrame):
        return found.to_dict(as_series=False)
    return found.to_list() if isinstance(found, pl.Series) else found


def test_whatever_is_not_noted_as_read_changes_nothing() -> None:
    """And what is noted is not simply everything."""
    tables = {"one": FRAME, "other": OTHER}
    sources = {(table, column) for table, frame in tables.items() for column in frame.columns}
    for name, run in OPERATIONS.items():
        notes = Notes()
        made_of = {
            table: {one: frozenset([(table, one)]) for one in frame.columns}
            for table, frame in tables.items()
        }
        with notes.reading() as read:
            told = _outcome(
                run,
                [
                    TracedFrame(frame, made_of[table], frozenset(), notes)
                    for table, frame in tables.items()
                ],
            )
        assert told == _outcome(run, tables.values()), name
        assert read < sources, name
        for table, column in sources - read:
            values = tables[table][column]
            for other in (values.reverse(), values.clear(len(values))):
                changed = {**tables, table: tables[table].with_columns(other)}
                assert _outcome(run, changed.values()) == told, (name, table, column)

"""What holds for every trade rule."""

from __future__ import annotations

import re
from pathlib import Path

import polars as pl
import pytest

from provenance._base.findings import SEVERITIES
from provenance._base.resources import shipped
from provenance._checks.language.rule import EVERY_TABLE, Rule
from provenance._checks.registry import package_rules
from provenance._checks.rule_book import PAGE, rule_table_markdown
from provenance._record.snapshot import Snapshot, snapshot_of_frames
from provenance._record.tables import ROW, typed_frame
from tests.checks.rules.record import Record, a_sound_record, model, rules, spoken

EVERY_RULE = [pytest.param(one, id=one.id) for one in package_rules()]
MANY = 20_000


@pytest.mark.parametrize("rule_id", rules())
def test_no_rule_has_anything_to_say_about_a_sound_record(rule_id: str) -> None:
    assert a_sound_record().says(rule_id) == []


@pytest.mark.parametrize("rule_id", rules())
def test_no_rule_stumbles_over_an_empty_record(rule_id: str) -> None:
    assert Record({}).says(rule_id) == []


@pytest.mark.parametrize("rule_id", rules())
def test_no_rule_stumbles_over_rows_with_nothing_in_them(rule_id: str) -> None:
    """A cell that does not fit its type reaches the rules as an empty one."""
    blank = Record({table: [{}, {}] for table in model().tables})
    assert isinstance(blank.says(rule_id), list)


@pytest.mark.parametrize("rule", EVERY_RULE)
def test_every_rule_says_what_why_and_what_to_do(rule: Rule) -> None:
    assert re.fullmatch(r"[a-z]+\.[a-z_]+", rule.id)
    assert rule.severity in SEVERITIES
    assert rule.says.rstrip().endswith((".", "}"))
    assert rule.remedy.endswith(".")
    assert rule.source
    assert (rule.find.__doc__ or "").strip().endswith(".")
    if rule.table != EVERY_TABLE:
        assert rule.field in model().table(rule.table)


def test_no_two_rules_say_the_same() -> None:
    sentences = [one.values[0].says for one in EVERY_RULE]
    assert len(set(sentences)) >= len(sentences) - 1  # two kinds of blank in a measurement


def test_there_are_rules_for_every_table_of_the_chain() -> None:
    subjects = {one.values[0].subject for one in EVERY_RULE}
    assert {"site", "element", "sample", "plug", "custody", "result", "geometry"} <= subjects
    assert len(EVERY_RULE) >= 45


def test_every_rule_is_named_in_a_test() -> None:
    tests = Path(__file__).parents[2].rglob("test_*.py")
    texts = "".join(path.read_text(encoding="utf-8") for path in tests)
    # a loop over several rules may name them without their subject
    unnamed = [
        one.values[0].id
        for one in EVERY_RULE
        if f'"{one.values[0].id}"' not in texts
        and f'"{one.values[0].id.split(".")[1]}"' not in texts
    ]
    assert unnamed == []


def test_the_rule_book_has_not_drifted() -> None:
    """Write it again with `make docs`."""
    page = (shipped("schemas") / PAGE).read_text(encoding="utf-8")
    assert page == rule_table_markdown()
    assert all(f"| `{one.values[0].id}` |" in page for one in EVERY_RULE)


def one_key_for_all(count: int) -> Snapshot:
    """A record in which every row of a table is the same row again: the worst case for a join."""
    sound = a_sound_record()
    frames = {}
    for name, table in model().tables.items():
        first = (sound.rows.get(name) or [{}])[0]
        text = pl.DataFrame(
            {
                ROW: pl.Series(range(2, count + 2), dtype=pl.UInt32),
                **{
                    column: pl.repeat(first.get(column, ""), count, dtype=pl.String, eager=True)
                    for column in table.names
                },
            }
        )
        frames[name] = typed_frame(table, text)
    return snapshot_of_frames(model(), frames)


def own_key_for_each(count: int) -> Snapshot:
    """Many sound samples, each with its own wood, plug, events, result and file, numbered apart."""
    sound = a_sound_record()
    keys = {"element_id", "sample_id", "plug_id", "result_id", "file_id", "about_id", "stamp"}
    frames = {}
    for name, table in model().tables.items():
        rows = sound.rows.get(name, [])
        texts = {column: [row.get(column, "") for row in rows] for column in table.names}
        once = name in ("site", "party", "place", "datum", "tie", "consignment", "episode")
        text = pl.DataFrame(texts, schema=dict.fromkeys(table.names, pl.String))
        if not once and len(rows):
            copies = pl.DataFrame({"_copy": range(count)})
            numbered = [
                pl.when(pl.col(column) != "")
                .then(pl.format("{}{}", column, pl.col("_copy") + 100_000))
                .otherwise(pl.lit(""))
                .alias(column)
                for column in table.names
                if column in keys
            ]
            text = copies.join(text, how="cross").with_columns(numbered).drop("_copy")
            if name == "custody":
                text = text.with_columns(custody_id=(pl.int_range(len(text)) + 1).cast(pl.String))
        frames[name] = typed_frame(table, text.with_row_index(ROW, offset=2))
    return snapshot_of_frames(model(), frames)


def rows_of(tables: Snapshot, rule: Rule) -> int:
    if rule.table != EVERY_TABLE:
        return len(tables[rule.table])
    return sum(len(tables[table.name]) * len(table.names) for table in model().tables.values())


@pytest.mark.parametrize("make", [one_key_for_all, own_key_for_each])
def test_findings_never_outgrow_the_rows_they_are_about(make) -> None:
    """At 20,000 rows a table a rule that pairs rows with rows would return millions of lines."""
    tables = make(MANY)
    for rule in rules().values():
        found = rule.find(tables)
        assert len(found) <= rows_of(tables, rule), rule.id


def test_a_large_sound_record_is_as_silent_as_a_small_one() -> None:
    """Each of 20,000 samples on its own wood; only what hangs on sharing one parcel may speak."""
    tables = own_key_for_each(2_000)
    shared = {"parcel.count_differs", "files.paths_alike", "files.about_nothing"}
    loud = {one.id for one in rules().values() if spoken(one, tables)}
    assert loud <= shared


@pytest.mark.parametrize("rule", rules().values(), ids=lambda rule: rule.id)
def test_a_rule_has_nothing_to_say_of_a_table_without_rows(rule: Rule) -> None:
    """Which is why the check does not ask it then."""
    if rule.table != EVERY_TABLE:
        rows = {name: rows for name, rows in a_sound_record().rows.items() if name != rule.table}
        assert rule.find(Record(rows).tables).is_empty()

"""Structure and trade rules come together in one report."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from provenance._base.findings import COLUMNS
from provenance._checks.check import RuleFailed, check_package
from provenance._checks.language.rule import COMMON_PRACTICE, EVERY_TABLE, Rule, rule
from provenance._record.reading import TableText, read_table_text
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW
from tests.builders import a_package


def _rule(
    name: str, table: str = "plug", field: str = "stamp", says: str = "stamp {stamp}"
) -> Rule:
    @rule(
        f"invented.{name}",
        table=table,
        field=field,
        severity="warning",
        says=says,
        remedy="Look at {stamp}.",
        source=COMMON_PRACTICE,
    )
    def find(tables: Snapshot) -> pl.DataFrame:
        """Every plug."""
        return tables["plug"]

    return find


def test_a_rule_speaks_with_the_values_of_its_row(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    (found,) = check_package(package, rules=[_rule("one")])
    assert (found.rule, found.severity, found.table) == ("invented.one", "warning", "plug")
    assert (found.row, found.key, found.field, found.value) == (2, "P-231", "stamp", "231")
    assert (found.message, found.remedy) == ("stamp 231", "Look at 231.")


def test_the_frame_has_the_columns_of_a_finding(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    frame = check_package(package, rules=[_rule("one")]).frame
    assert tuple(frame.columns) == COLUMNS
    assert frame["row"].dtype == "int64"


def test_a_rule_over_many_tables_names_the_table_and_the_field(tmp_path: Path) -> None:
    @rule(
        "invented.everywhere",
        table=EVERY_TABLE,
        field="",
        severity="note",
        says="here",
        remedy="Look.",
        source=COMMON_PRACTICE,
    )
    def everywhere(tables: Snapshot) -> pl.DataFrame:
        """One row of two tables."""
        return pl.DataFrame(
            {"table": ["sample", "plug"], ROW: [2, 2], "field": ["bore_mm", "dowel_mm"]}
        )

    package = a_package(tmp_path).with_chain().package
    found = list(check_package(package, rules=[everywhere]))
    assert [(one.table, one.key, one.value) for one in found] == [
        ("sample", "231", "12.7"),
        ("plug", "P-231", "12.7"),
    ]


def test_a_rule_that_breaks_down_is_named_and_hides_no_other(tmp_path: Path) -> None:
    @rule(
        "invented.broken",
        table="plug",
        field="stamp",
        severity="error",
        says="",
        remedy="",
        source=COMMON_PRACTICE,
    )
    def broken(tables: Snapshot) -> pl.DataFrame:
        """Asks for what is not there."""
        return tables["plug"].filter(pl.col("colour") == "red")

    package = a_package(tmp_path).with_chain().with_row("element", shape="?").package
    with pytest.raises(RuleFailed, match=r"invented\.broken") as failed:
        check_package(package, rules=[broken, _rule("after")])
    rules = [one.rule for one in failed.value.report]
    assert rules == ["structure.key_repeated", "structure.not_in_list", "invented.after"]
    assert isinstance(failed.value.__cause__, pl.exceptions.ColumnNotFoundError)


def test_rules_are_named_in_their_order_whenever_they_were_asked(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    package.table_path("plug").unlink()
    several = [
        _rule("a", table="sample"),
        replace(_rule("b"), on_disk=True),
        _rule("c", table="element"),
    ]
    report = check_package(package, rules=several)
    (skipped,) = (one for one in report if one.rule == "structure.rules_skipped")
    assert "3 rules" in skipped.message
    assert "invented.a, invented.b, invented.c." in skipped.message
    assert not any(one.startswith("invented") for one in report.rules_run)
    broken = [replace(one, find=lambda tables: tables["sample"]["no"]) for one in several]
    with pytest.raises(RuleFailed) as failed:
        check_package(package, rules=broken)
    assert list(failed.value.failed) == ["invented.a", "invented.b", "invented.c"]


def test_each_table_is_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The ledger, whose seals cover what is written, is the largest of many records."""
    read: list[str] = []

    def read_and_noted(path: Path) -> TableText:
        read.append(path.stem)
        return read_table_text(path)

    monkeypatch.setattr("provenance._record.snapshot.read_table_text", read_and_noted)
    package = a_package(tmp_path).with_chain().package
    check_package(package)
    assert sorted(read) == sorted(package.model.tables)


def test_a_rule_that_names_an_unknown_word_breaks_down(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    with pytest.raises(RuleFailed, match="colour"):
        check_package(package, rules=[_rule("one", says="the {colour} stamp")])


def test_the_same_package_gives_the_same_report(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain()
    for code in ("X2", "X1", "X2"):
        builder = builder.with_row("element", element_id=code, shape="rond")
    package = builder.package
    first, second = check_package(package), check_package(package)
    assert first.found.equals(second.found)
    assert first.rules_run == second.rules_run


def test_progress_is_told_up_to_the_end(tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    check_package(
        a_package(tmp_path).package, progress=lambda done, total: told.append((done, total))
    )
    assert told[-1][0] == told[-1][1]
    assert told == sorted(told)


def test_cells_that_could_not_be_read_are_findings_until_somebody_settles_them(
    tmp_path: Path,
) -> None:
    package = (
        a_package(tmp_path)
        .with_chain()
        .with_bare_row("original", original_id="O-1", file_name="timbers.xlsx")
        .with_bare_row(
            "unread", unread_id="1", original_id="O-1", sheet="Timbers", line=9, cell_text="7 3/"
        )
        .with_bare_row("unread", unread_id="2", original_id="O-1", settled="entered by hand")
        .package
    )
    (found,) = [one for one in check_package(package) if one.rule == "intake.cell_unread"]
    assert (found.key, found.value) == ("1", "7 3/")
    assert found.origin == "timbers.xlsx, sheet 'Timbers', row 9"


def test_numbers_and_truths_in_every_spelling_reach_the_rules(tmp_path: Path) -> None:
    seen: dict[str, list[object]] = {}

    @rule(
        "invented.seen",
        table="element",
        field="length_m",
        severity="note",
        says="",
        remedy="",
        source=COMMON_PRACTICE,
    )
    def look(tables: Snapshot) -> pl.DataFrame:
        """Keeps what it sees."""
        for name in ("length_m", "sampled"):
            seen[name] = tables["element"][name].to_list()
        return tables["element"].clear()

    builder = a_package(tmp_path)
    for number, (length, sampled) in enumerate(
        [
            ("4.2", "true"),
            (" 4.2 ", "TRUE"),
            ("4_2", "0"),
            ("long", "maybe"),
            ("NaN", ""),
            ("", "1"),
        ]
    ):
        builder = builder.with_row(
            "element", element_id=f"E{number}", length_m=length, sampled=sampled
        )
    check_package(builder.package, rules=[look])
    assert seen["length_m"] == [4.2, 4.2, 42.0, None, None, None]
    assert seen["sampled"] == [True, True, False, None, None, True]

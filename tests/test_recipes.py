"""The recipes of DEVELOPERS.md, each followed to its end: what one adds in one place is there."""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType

import click
import polars as pl
import pytest
import yaml
from click.testing import CliRunner

from provenance._base.resources import shipped
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.registry import all_rules
from provenance._checks.rule_book import rule_table_markdown
from provenance._checks.rules import sample as sample_rules
from provenance._cli import SECTIONS, treenail
from provenance._cli.overview import commands_table
from provenance._derive.figures.figures import FIGURES, Kind, draw_figures
from provenance._derive.summary import derive_tables
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.app import MODULES
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._record.package import open_package
from provenance._record.snapshot import Snapshot
from tests.builders import a_package
from tests.desk.sitting import Sitting


def run(*words: object) -> str:
    """What a command prints; it must not break down."""
    done = CliRunner().invoke(treenail, [str(one) for one in words], catch_exceptions=False)
    assert done.exit_code in (0, 1), done.output
    return done.output


def test_a_rule(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    @rule(
        "sample.even_number",
        table="sample",
        field="sample_id",
        severity="note",
        says="Sample {sample_id} has an odd number.",
        remedy="Leave it; this rule is made for a test.",
        source=COMMON_PRACTICE,
    )
    def even_number(tables: Snapshot) -> pl.DataFrame:
        """Only to see a rule arrive."""
        return tables["sample"].filter(pl.col("sample_id").str.contains("[13579]$"))

    monkeypatch.setattr(sample_rules, "even_number", even_number, raising=False)
    assert even_number in all_rules()
    package = a_package(tmp_path).with_chain().package
    assert "Sample 231 has an odd number." in run("check", package.folder)
    assert "`sample.even_number`" in rule_table_markdown()


def test_a_command(monkeypatch: pytest.MonkeyPatch) -> None:
    @click.command()
    def count() -> None:
        """Count to three."""
        click.echo("1 2 3")

    module = ModuleType("provenance._cli.counting")
    module.count = count  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "provenance._cli.counting", module)
    monkeypatch.setitem(SECTIONS["In the field"], "count", ("counting:count", "Count to three."))
    assert run("count") == "1 2 3\n"
    assert "Count to three." in run("--help")
    assert "| `treenail count` | Count to three. |" in commands_table()


def test_a_page_of_the_desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pages = Pages()

    @pages.shown("/record/{record}/count", title="Count", group="Record")
    def count(asked: Asked) -> Answer:
        return Page("cannot.html", {"problem": f"{len(asked.record.table('sample'))} sample"})

    @pages.done("/record/{record}/count")
    def counted(asked: Asked) -> Answer:
        return Done(asked.at("count"), f"counted {asked.needed('what', 'What')}, {asked.by}")

    module = ModuleType("provenance._desk.counting")
    module.pages = pages  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "provenance._desk.counting", module)
    monkeypatch.setattr("provenance._desk.app.MODULES", (*MODULES, "counting"))
    sitting = Sitting(a_package(tmp_path).with_chain().package.folder)
    assert 'href="/record/holl/count"' in sitting.page("/record/holl")
    assert "1 sample" in sitting.page("/record/holl/count")
    assert "counted plugs, MB" in sitting.do("/record/holl/count", {"what": "plugs"})
    assert sitting.refused("/record/holl/count").startswith("What is blank")


def test_a_label_stock(tmp_path: Path) -> None:
    stock = yaml.safe_load((shipped("templates") / "stock" / "a4_70x37.yaml").read_text("utf-8"))
    stock["title"] = "A sheet of our own (invented)"
    path = tmp_path / "own.yaml"
    path.write_text(yaml.safe_dump(stock), "utf-8")
    package = a_package(tmp_path).with_chain().package
    out = tmp_path / "labels.pdf"
    run("print", "labels", package.folder, "--stock", path, "--out", out)
    assert out.read_bytes().startswith(b"%PDF")


def test_a_figure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def draw(page, derived, places) -> list[str]:
        page.write((10.0, page.y), "a word of its own")
        return [f"n = {len(derived.tables['size'])}."]

    own = Kind(
        "A figure of our own",
        "size",
        draw,
        lambda derived: "One word.",
        lambda derived, places: derived.tables["size"],
    )
    monkeypatch.setitem(FIGURES, "own", own)
    package = a_package(tmp_path).with_chain().package
    drawn = draw_figures(package, derive_tables(package), tmp_path / "figures")
    assert "a word of its own" in drawn[-1].files["svg"].read_text("utf-8")
    assert drawn[-1].files["png"].is_file()
    run("derive", package.folder, "--out", tmp_path / "more")
    run("pack", package.folder, "--out", tmp_path / "bundle")
    page = (tmp_path / "bundle" / "data" / "index.html").read_text("utf-8")
    assert "A figure of our own" in page
    assert "pages/figure/own.svg" in page
    assert "One word." in page


def test_a_profile(tmp_path: Path) -> None:
    path = tmp_path / "mill.yaml"
    path.write_text(
        """
name: mill
title: Mill (invented)
description: Mills, to see a profile arrive.
add:
  element:
    - {name: wheel_side, type: string, title: Wheel side, description: "Where the wheel is.",
       section: where}
""",
        "utf-8",
    )
    folder = tmp_path / "mill"
    run("new", folder, "--profile", path, "--profile", "barn", "--title", "Mill (invented)")
    package = open_package(folder)
    assert package.model.profile == "mill+barn"
    assert "Recorded as" in (folder / "README.md").read_text("utf-8")
    assert "wheel_side" in package.tables.columns("element")
    assert run("check", folder)
    run("print", "workbook", folder, "--out", tmp_path / "mill.xlsx")
    run("pack", folder, "--out", tmp_path / "bundle")
    assert "Wheel side" in (tmp_path / "bundle" / "data" / "CODEBOOK.md").read_text("utf-8")

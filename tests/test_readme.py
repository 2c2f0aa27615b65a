"""The README says what the program does now."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pytest

from provenance._cli.overview import with_commands_table
from provenance._desk.app import MODULES

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def test_the_table_of_commands_has_not_drifted() -> None:
    assert with_commands_table(README) == README


def test_the_walk_through_names_pages_and_headings_of_the_desk() -> None:
    walk = README.partition("## A walk-through at the desk")[2].partition("\n## ")[0]
    named = set(re.findall(r"(?<!\*)\*([^*\n]+)\*(?!\*)", walk))
    modules = [importlib.import_module(f"provenance._desk.{name}") for name in MODULES]
    there = {way.title for module in modules for way in module.pages.ways}
    for path in (ROOT / "templates" / "desk").rglob("*.html"):
        there.update(re.findall(r'_\("([^"]+)"\)', path.read_text("utf-8")))
    assert len(named) > 25
    assert named <= there


@pytest.mark.parametrize("link", sorted(set(re.findall(r"\]\((?!https?:)([^)#]+)\)", README))))
def test_what_the_readme_links_to_is_there(link) -> None:
    assert (ROOT / link).exists()

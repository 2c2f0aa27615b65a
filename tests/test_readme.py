"""The README says what the program does now."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from provenance._cli.overview import with_commands_table

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def test_the_table_of_commands_has_not_drifted() -> None:
    assert with_commands_table(README) == README


@pytest.mark.parametrize("link", sorted(set(re.findall(r"\]\((?!https?:)([^)#]+)\)", README))))
def test_what_the_readme_links_to_is_there(link) -> None:
    assert (ROOT / link).exists()

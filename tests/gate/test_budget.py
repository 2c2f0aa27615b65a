"""The limits that are told to people are those that hold."""

from __future__ import annotations

import re
from dataclasses import asdict
from pathlib import Path

from provenance._gate.budget import DEFAULT_BUDGET, FOREIGN_BUDGET, SheetBudget

LIMITS = Path(__file__).parents[2] / "docs" / "limits.md"


def test_the_page_of_limits_names_every_limit_as_it_is() -> None:
    page = LIMITS.read_text(encoding="utf-8")
    told = dict(re.findall(r"^\| `(\w+)` \| ([0-9,.]+) \|", page, re.MULTILINE))
    wanted = asdict(DEFAULT_BUDGET) | asdict(SheetBudget())
    assert told == {name: f"{limit:,}" for name, limit in wanted.items()}
    assert (FOREIGN_BUDGET.most_files, FOREIGN_BUDGET.most_total_bytes >> 30) == (10_000, 2)
    assert FOREIGN_BUDGET.most_json_bytes >> 20 == 32
    assert "10,000 parts\nor files, 2 GB in all, and JSON documents of 32 MB" in page

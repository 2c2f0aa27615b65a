"""Puts the derived figures into the finding aid, each with its numbers as a table."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._bundle.finding_aid.cells import Cells, table_page
from provenance._bundle.finding_aid.writing import put
from provenance._drawing.svg import svg_of

if TYPE_CHECKING:
    from provenance._derive.summary import Derived


@dataclass(frozen=True)
class Drawing:
    """One figure: its title, its file as seen from index.html, and where its numbers stand."""

    title: str
    href: str
    alternative: str
    numbers_href: str
    numbers_title: str


def draw_derived(cells: Cells, folder: Path) -> list[Drawing]:
    """Draw the figures of what 'treenail derive' wrote; none where it has not been run.

    The figures are drawn from the derived tables as they stand in the package.
    """
    record = cells.record
    needed = {"size", "stem", "span", "cluster"} <= set(record.model.tables)
    if not needed or not (record.rows("span") or record.rows("size")):
        return []
    from provenance._derive.figure_parts import Places
    from provenance._derive.figures import figures

    drawings = []
    for one in figures(_stored(cells), Places.of(record.package)):
        path = f"pages/figure/{one.name}.svg"
        put(folder / path, svg_of(one.sheet).encode())
        table = "size" if one.name == "volume" else "span"
        drawings.append(
            Drawing(
                one.title,
                path,
                one.words,
                table_page(table, 1),
                record.model.table(table).title,
            )
        )
    return drawings


def _stored(cells: Cells) -> Derived:
    from provenance._derive.dating import ClusterRule
    from provenance._derive.summary import Derived
    from provenance._derive.trees import StemRule

    record = cells.record
    rule = ClusterRule()
    if clusters := record.rows("cluster"):
        # the rule stands beside every cluster, in the sentence that ClusterRule writes
        numbers = [int(one) for one in re.findall(r"\d+", clusters[0]["rule"])]
        if len(numbers) == 2:
            rule = replace(rule, gap_years=numbers[0], least=numbers[1])
    tables = {name: record.package.tables[name] for name in ("size", "stem", "span", "cluster")}
    return Derived(tables, (), StemRule(), rule)

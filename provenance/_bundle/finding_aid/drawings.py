"""Puts the derived figures into the finding aid, each with its numbers as a table."""

from __future__ import annotations

import re
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._bundle.finding_aid.cells import Cells, table_page
from provenance._bundle.finding_aid.writing import put

if TYPE_CHECKING:
    from provenance._derive.summary import Derived

__all__ = ["Drawing", "draw_derived"]


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
    from provenance._derive.figures import draw_figures

    derived = _stored(cells)
    drawings = []
    with tempfile.TemporaryDirectory() as scratch:
        for one in draw_figures(record.package, derived, Path(scratch), ("svg",)):
            path = f"pages/figure/{one.name}.svg"
            put(folder / path, one.files["svg"].read_bytes())
            table = "size" if one.name == "volume" else "span"
            drawings.append(
                Drawing(
                    one.title,
                    path,
                    _in_words(derived, one.name),
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
    tables = {name: record.package.typed(name) for name in ("size", "stem", "span", "cluster")}
    return Derived(tables, (), StemRule(), rule)


def _in_words(derived: Derived, name: str) -> str:
    """What a figure shows, for those who cannot see it."""
    spans = derived.tables["span"]
    if name == "volume":
        volumes = derived.tables["size"]["newton_m3"].dropna()
        return (
            f"Bars by building and species; {len(volumes)} pieces, "
            f"{float(volumes.sum()):.1f} m³ in all."
        )
    if name == "rings":
        rings = spans["ring_count"].dropna()
        return (
            f"Bars in steps of ten; {len(rings)} samples of {int(rings.min())} to "
            f"{int(rings.max())} rings."
        )
    dated = spans[spans["outer_year"].notna()]
    cutting = int((dated["cutting"] == "cutting").sum())
    return (
        f"{len(dated)} dated samples; last rings from {int(dated['outer_year'].min())} to "
        f"{int(dated['outer_year'].max())}, {cutting} of them cutting dates."
    )

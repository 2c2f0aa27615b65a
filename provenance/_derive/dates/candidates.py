"""Marks wood that may be reused, stored or put in later beside the largest phase of its building.

These are hints for a person to look at, never findings. Which kinds of evidence speak for reuse,
storing and repair is common practice of building archaeology, no single source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from provenance._record.joined import split_codes
from provenance._record.package import Package

STORED_YEARS = 5
"""Wood felled up to so many years before a phase is a candidate for stockpiling, unless told."""
_NO_TOOL = ("none", "other", "unknown")


@dataclass(frozen=True)
class _Main:
    """The largest phase of a building: its years, its wood, and tools seen on two pieces or more
    of it.
    """

    first: int
    last: int
    pieces: frozenset[str]
    tools: frozenset[str]


def mark_candidates(
    package: Package,
    fellings: pl.DataFrame,
    phases: pl.DataFrame,
    phase_pieces: pl.DataFrame,
    stored_years: int = STORED_YEARS,
) -> pl.DataFrame:
    """The rows of `felling` with candidate, candidate_by and stored_years filled in.

    Compared with the largest phase of the building, wood in no phase of it whose whole interval is
    earlier is a candidate for stockpiling where it can have been felled up to `stored_years` before
    the phase, else for reuse; with the whole interval later it is one for repair. A date open to
    one side counts like any other: 'after 1700' contradicts a phase of 1650 and fits one of 1750.
    The crew's word makes any wood a candidate for reuse, and empty joints do where the wood is not
    of the phase and not later. Tools that are on none of the phase's wood speak beside these; alone
    they say that the wood is of another time.
    """
    wood = package.tables["element"].unique("element_id", keep="first", maintain_order=True)
    of = {row["element_id"]: row for row in wood.iter_rows(named=True)}
    tools = {element: _tools(row) for element, row in of.items()}
    in_phase, mains = _mains(phases, phase_pieces, tools)
    marked = []
    for row in fellings.iter_rows(named=True):
        element, building = row["element_id"], row["building_id"]
        main = mains.get(building)
        is_loose = main is not None and element not in in_phase[building]
        said = of.get(element, {})
        by_dates = _by_dates(row, main, stored_years) if main and is_loose else ""
        is_of_main = main is not None and element in main.pieces
        by: list[str] = []
        candidate = by_dates
        joints = said.get("empty_joints") == "yes" and not is_of_main and by_dates != "repair"
        if said.get("reused") == "yes" or joints:
            candidate = "reuse"
        if by_dates and (candidate == by_dates or by_dates == "stockpiling"):
            by.append("dates")
        by += ["field_word"] * (said.get("reused") == "yes") + ["empty_joints"] * joints
        if main and is_loose and tools[element] and main.tools and not tools[element] & main.tools:
            by.append("tool_marks")
            candidate = candidate or "other_time"
        marked.append((candidate or None, "; ".join(by) or None, stored_years if by else None))
    columns = ("candidate", "candidate_by", "stored_years")
    return fellings.with_columns(
        pl.Series(name, [one[place] for one in marked], fellings.schema[name])
        for place, name in enumerate(columns)
        if name in fellings.columns
    )


def _tools(row: Mapping[str, Any]) -> frozenset[str]:
    return frozenset(split_codes(row["tool_marks"])) - set(_NO_TOOL)


def _mains(
    phases: pl.DataFrame, phase_pieces: pl.DataFrame, tools: Mapping[str, frozenset[str]]
) -> tuple[Mapping[str, set[str]], Mapping[str, _Main]]:
    """Place → wood in any phase of it; place → its largest phase."""
    of_phase: dict[str, set[str]] = defaultdict(set)
    for phase, element in phase_pieces.select("phase_id", "element_id").iter_rows():
        of_phase[phase].add(element)
    in_phase: dict[str, set[str]] = defaultdict(set)
    mains = {}
    for row in largest_first(phases).iter_rows(named=True):
        pieces = of_phase[row["phase_id"]]
        in_phase[row["place_id"]] |= pieces
        seen = [tools[one] for one in sorted(pieces) if tools.get(one)]
        if row["place_id"] not in mains:
            mains[row["place_id"]] = _Main(
                row["first_year"],
                row["last_year"],
                frozenset(pieces),
                frozenset().union(*seen) if len(seen) > 1 else frozenset(),
            )
    return in_phase, mains


def largest_first(phases: pl.DataFrame) -> pl.DataFrame:
    """Phases with the most trees first, then with the most narrow ones, then the earliest."""
    return phases.sort(
        "tree_count",
        "narrow_count",
        "first_year",
        "phase_id",
        descending=[True, True, False, False],
    )


def _by_dates(row: Mapping[str, Any], main: _Main, stored_years: int) -> str:
    earliest, latest = row["felled_from_year"], row["felled_to_year"]
    if latest is not None and latest < main.first:
        return "stockpiling" if main.first - latest <= stored_years else "reuse"
    return "repair" if earliest is not None and earliest > main.last else ""

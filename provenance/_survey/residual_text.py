"""Lays out how well each reading of a survey fits, point by point, for the crew that took it."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from provenance._model.measures import SI, Measures
from provenance._survey.parts.observation import KINDS, LARGEST_RESIDUAL, Kind

if TYPE_CHECKING:
    import pandas as pd

EXPLANATION = (
    "Readings by point. Off by: measured minus computed, from all readings together. Times: the",
    "same against what chance allows that reading; beyond "
    f"{LARGEST_RESIDUAL:.1f} (one sound reading in a thousand)",
    "it does not fit. A reading that nothing checks fits always, right or wrong.",
)
_UNCHECKED = 1e-6
"""Share of a blunder that shows; below this, rounding is all that is left of it."""


def residual_lines(residuals: pd.DataFrame, measures: Measures = SI) -> Iterator[str]:
    """The table of RESIDUAL_COLUMNS as lines, a block a point; nothing for a survey without any.

    Lengths are as `measures` says, bearings in degrees; what a metric reading is off by is in mm.
    """
    if residuals.empty:
        return
    yield from EXPLANATION
    rows = residuals.to_dict("records")
    names = [_reading(row) for row in rows]
    width = max(map(len, names))
    point = None
    for name, row in zip(names, rows, strict=True):
        if row["point"] != point:
            point = row["point"]
            yield f"\n{_point(str(point))}"
            yield f"  {'reading':{width}}{'measured':>14}{'computed':>14}{'off by':>12}  times"
        yield f"  {name:{width}}  {_numbers(row, measures)}{_remark(row)}".rstrip()


def _point(point: str) -> str:
    """'end:B1-014:a' as 'End a of B1-014'."""
    kind, _, key = point.partition(":")
    if kind == "end":
        element, _, side = key.rpartition(":")
        return f"End {side} of {element}"
    return f"{kind.capitalize()} {key}"


def _reading(row: dict[Any, Any]) -> str:
    origin = f" from {row['from_datum_id']}" if row["from_datum_id"] else ""
    return f"{row['tie_id'] or 'recorded'}: {row['kind']}{origin}"


def _numbers(row: dict[Any, Any], measures: Measures) -> str:
    if row["kind"] == KINDS[Kind.BEARING]:
        measured, computed = f"{row['reading']:.2f} °", f"{row['fitted']:.2f} °"
        off = f"{row['residual']:+.2f} °"
    else:
        measured, computed = (
            measures.say(row[name], "m", "tape") for name in ("reading", "fitted")
        )
        # a residual shows at the step of a bit: whole millimeters, 1/32 in
        size = measures.say(abs(row["residual"]), "m", "bore", step=Fraction(1))
        off = f"{'-' if row['residual'] < 0 else '+'}{size}"
    times = "" if _unchecked(row) else f"{row['standard_residual']:+.1f}"
    return f"{measured:>12}  {computed:>12}  {off:>10}  {times:>5}"


def _unchecked(row: dict[Any, Any]) -> bool:
    # not '<', because of a share that could not be computed
    return not row["redundancy_share"] > _UNCHECKED


def _remark(row: dict[Any, Any]) -> str:
    if not row["used"]:
        return "  LEFT OUT: does not fit"
    if _unchecked(row):
        return "  nothing checks it"
    return "  DOES NOT FIT" if abs(row["standard_residual"]) > LARGEST_RESIDUAL else ""

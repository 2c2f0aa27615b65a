"""Lays out how well each reading of a survey fits, point by point, for the crew that took it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
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


@dataclass(frozen=True)
class ReadingFit:
    """How one reading fits, in words; `times` and `remark` are '' where there is nothing to say."""

    reading: str
    measured: str
    computed: str
    off_by: str
    times: str
    remark: str


def fits_of_points(
    residuals: pd.DataFrame, measures: Measures = SI
) -> dict[str, tuple[ReadingFit, ...]]:
    """The table of RESIDUAL_COLUMNS by point, as the table 'position' calls it.

    Lengths are as `measures` says, bearings in degrees; what a metric reading is off by is in mm.
    """
    found: dict[str, list[ReadingFit]] = {}
    for row in residuals.to_dict("records"):
        fit = ReadingFit(_reading(row), *_numbers(row, measures), _remark(row))
        found.setdefault(str(row["point"]), []).append(fit)
    return {point: tuple(fits) for point, fits in found.items()}


def residual_lines(residuals: pd.DataFrame, measures: Measures = SI) -> Iterator[str]:
    """What `fits_of_points` has as lines, a block a point; nothing for a survey without any."""
    by_point = fits_of_points(residuals, measures)
    if not by_point:
        return
    yield from EXPLANATION
    width = max(len(one.reading) for fits in by_point.values() for one in fits)
    for point, fits in by_point.items():
        yield f"\n{_point(point)}"
        yield f"  {'reading':{width}}{'measured':>14}{'computed':>14}{'off by':>12}  times"
        for one in fits:
            line = f"  {one.reading:{width}}  {one.measured:>12}  {one.computed:>12}"
            line += f"  {one.off_by:>10}  {one.times:>5}"
            yield (f"{line}  {one.remark}" if one.remark else line).rstrip()


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


def _numbers(row: dict[Any, Any], measures: Measures) -> tuple[str, str, str, str]:
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
    return measured, computed, off, times


def _unchecked(row: dict[Any, Any]) -> bool:
    # not '<', because of a share that could not be computed
    return not row["redundancy_share"] > _UNCHECKED


def _remark(row: dict[Any, Any]) -> str:
    if not row["used"]:
        return "LEFT OUT: does not fit"
    if _unchecked(row):
        return "nothing checks it"
    return "DOES NOT FIT" if abs(row["standard_residual"]) > LARGEST_RESIDUAL else ""

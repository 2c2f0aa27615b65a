"""Computes a site's points from what the crew measured, and writes them beside the record.

Datums are adjusted first, then every end of wood and every hole from them, by weighted least
squares with the standard deviations written beside the readings or assumed in Precision.
What the crew measured is never changed: results go to the derived table 'position'.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from provenance._base.errors import UnusablePackage
from provenance._base.findings import Finding
from provenance._base.frames import to_pandas
from provenance._base.progress import Progress, say_nothing
from provenance._record.computed_from import note_sources
from provenance._record.package import Package
from provenance._survey.adjust.control import Control, adjust_control
from provenance._survey.adjust.detail import Detail, adjust_detail
from provenance._survey.adjust.positions import end_positions, place_on_map, position_frame
from provenance._survey.adjust.readings import recorded_heights, take_readings
from provenance._survey.adjust.survey_findings import (
    control_findings,
    detail_findings,
    point_finding,
)
from provenance._survey.adjust.wood import HoleSet, set_holes
from provenance._survey.parts.field_record import SURVEYED, FieldRecord, read_field_record
from provenance._survey.parts.observation import (
    ELLIPSOID_95,
    KINDS,
    NOTICED_BLUNDER,
    Floats,
    Precision,
)
from provenance._survey.parts.solve import Rows

if TYPE_CHECKING:
    import pandas as pd

TABLE = "position"
RESIDUAL_COLUMNS = (
    "tie_id", "point", "kind", "from_datum_id", "reading", "fitted", "residual", "sd",
    "standard_residual", "redundancy_share", "noticed_from", "used",
)  # fmt: skip


_SAME_M = 0.02


@dataclass(frozen=True)
class SurveyResult:
    """What a survey gives.

    `position_table` has the columns of the table 'position', one row a datum, end of wood or hole.
    `residual_table` has RESIDUAL_COLUMNS, one row a reading, in m or degrees: `residual` is reading
    minus fitted, `redundancy_share` how much of a blunder would show (0 to 1), `noticed_from` the
    smallest blunder that is noticed four times in five (Baarda's marginal detectable error).
    `redundancy` and `chi_square` are sums over all points that were adjusted.
    """

    position_table: pl.DataFrame
    residual_table: pl.DataFrame
    findings: tuple[Finding, ...]
    redundancy: int
    chi_square: float

    @cached_property
    def positions(self) -> pd.DataFrame:
        """`position_table` in pandas."""
        return to_pandas(self.position_table)

    @cached_property
    def residuals(self) -> pd.DataFrame:
        """`residual_table` in pandas."""
        return to_pandas(self.residual_table)

    @property
    def spread_ratio(self) -> float:
        """How the readings scatter against what was assumed: 1 as assumed, 2 twice as much."""
        return (
            float(np.sqrt(self.chi_square / self.redundancy)) if self.redundancy else float("nan")
        )


def adjust_survey(
    package: Package,
    *,
    site: str | None = None,
    precision: Precision | None = None,
    progress: Progress = say_nothing,
) -> SurveyResult:
    """Compute the points of a package, of one site or of all, without writing anything.

    `precision` says how good readings are that have no uncertainty written beside them. `progress`
    is called with (steps done, steps). Raises UnusableInput for an unknown site.
    """
    precision = precision or Precision()
    record = read_field_record(package, site)
    progress(1, 5)
    readings = take_readings(record, precision)
    control = adjust_control(record, readings.control, precision)
    progress(2, 5)
    rows = _from_known_datums(readings.detail, control)
    rows = Rows.joined(rows, recorded_heights(record, rows, precision))
    detail = adjust_detail(record, rows, control)
    progress(3, 5)
    xyz, covariance, found = end_positions(record, detail, precision)
    ends = record.n_ends
    holes = set_holes(record, package.model, xyz[:ends], covariance[:ends], precision)
    frame = position_frame(record, control, detail, xyz, covariance, found, holes)
    frame, untied = place_on_map(record, frame)
    progress(4, 5)
    redundancy, chi_square = _totals(control, detail)
    findings = (
        *readings.findings,
        *control_findings(record, control, readings.detail),
        *detail_findings(record, control, detail),
        *_comparisons(record, detail, holes, xyz, found),
        *_not_on_map(record, untied),
        *_precision_finding(redundancy, chi_square),
    )
    if TABLE in package.model.tables:
        # a column of a newer version stays blank
        names = package.model.table(TABLE).names
        frame = frame.select(
            pl.col(one) if one in frame.columns else pl.lit("").alias(one) for one in names
        )
    result = SurveyResult(
        position_table=frame,
        residual_table=_residuals(record, control, detail),
        findings=findings,
        redundancy=redundancy,
        chi_square=chi_square,
    )
    progress(5, 5)
    return result


def survey_package(
    package: Package,
    *,
    site: str | None = None,
    precision: Precision | None = None,
    progress: Progress = say_nothing,
) -> SurveyResult:
    """Compute the points and put them into the table 'position', which is replaced as a whole.

    With `site` the rows of other sites stay as they are. Raises UnusablePackage when the package
    was started before there was such a table.
    """
    if TABLE not in package.model.tables:
        raise UnusablePackage(
            f"{package.folder} has no table '{TABLE}' yet; bring it up to date with "
            f"'treenail new {package.folder} --update --profile {package.model.profile}'"
        )
    with package.locked():
        result = adjust_survey(package, site=site, precision=precision, progress=progress)
        frame = result.position_table
        if site is not None:
            before = package.tables.whole(TABLE)
            kept = before.filter(before["site_id"] != site)
            frame = pl.concat([kept, _as_texts(frame)], how="diagonal")
        package.write_table(TABLE, frame)
        if site is None:
            note_sources(package, "survey", SURVEYED)
    return result


def _as_texts(frame: pl.DataFrame) -> pl.DataFrame:
    """The cells as they are written."""
    return pl.DataFrame(
        {one.name: ["" if cell is None else str(cell) for cell in one] for one in frame},
        schema=dict.fromkeys(frame.columns, pl.String),
    )


def _from_known_datums(rows: Rows, control: Control) -> Rows:
    known = np.isfinite(np.append(control.xyz[:, 0], 0.0))
    return rows.only(known[rows.start] & known[rows.end])


def _totals(control: Control, detail: Detail) -> tuple[int, float]:
    known = detail.known
    redundancy = control.redundancy + int(detail.redundancy[known].sum())
    return redundancy, control.chi_square + float(detail.chi_square[known].sum())


def _residuals(record: FieldRecord, control: Control, detail: Detail) -> pl.DataFrame:
    none = pl.Series([""])  # what number -1 stands for
    ties = pl.concat([record.column("tie", "tie_id"), none])
    datums = pl.concat([record.column("datum", "datum_id"), none])
    parts = []
    for source, of in ((control, record.datum_keys), (detail, record.point_keys)):
        rows = source.rows
        parts.append(
            pl.DataFrame(
                {
                    "tie_id": ties.gather(np.maximum(rows.tie, -1)),
                    "point": pl.Series(of, dtype=pl.String).gather(rows.point),
                    "kind": pl.Series(KINDS).gather(rows.kind),
                    "from_datum_id": datums.gather(rows.start),
                    "reading": rows.reading,
                    "fitted": rows.reading - source.residual,
                    "residual": source.residual,
                    "sd": rows.sd,
                    "standard_residual": source.standard_residual,
                    "redundancy_share": source.check,
                    "noticed_from": NOTICED_BLUNDER * source.blunder_sd,
                    "used": source.used,
                }
            )
        )
    return pl.concat(parts).select(RESIDUAL_COLUMNS).fill_nan(None)


def _comparisons(
    record: FieldRecord, detail: Detail, holes: HoleSet, xyz: Floats, found: np.ndarray
) -> Iterator[Finding]:
    """Where two ways to the same number disagree by more than both may be wrong."""
    recorded, radius = record.recorded_ends()
    apart = np.sqrt(np.nansum((detail.xyz - recorded) ** 2, axis=1))
    spread = np.einsum("nii->ni", np.nan_to_num(detail.covariance)).sum(axis=1)
    limit = np.hypot(np.nan_to_num(radius, nan=0.1), ELLIPSOID_95 * np.sqrt(spread)) + _SAME_M
    both = detail.known & np.isfinite(recorded[:, 0])
    for point in np.flatnonzero(both & (apart > limit)):
        yield point_finding(
            record,
            int(point),
            "survey.recorded_elsewhere",
            f"lies {apart[point]:.2f} m from the coordinates recorded for it",
            "Compare the ends (are A and B exchanged?) and the coordinates on the field sheet.",
            f"x{'ab'[point % 2]}_m" if point < record.n_ends else "",
        )
    ends = record.n_ends
    length = record.numbers("element", "length_m")
    between = np.sqrt(np.nansum((xyz[1:ends:2] - xyz[0:ends:2]) ** 2, axis=1))
    adjusted = (found[0:ends:2] == "adjusted") & (found[1:ends:2] == "adjusted")
    tolerance = 0.05 + 3 * np.sqrt(spread[0:ends:2] + spread[1:ends:2])
    for at in np.flatnonzero(adjusted & (np.abs(between - length) > tolerance)):
        yield point_finding(
            record,
            2 * int(at),
            "survey.length_differs",
            f"and end b are {between[at]:.2f} m apart, but the wood is recorded as "
            f"{length[at]:.2f} m long",
            "Tape the length again, and see that both ends were taped at the same piece.",
            "length_m",
        )
    tied = ends + holes.sample
    sure = holes.bores.sure_side & holes.is_hole & detail.known[tied]
    gap = np.sqrt(np.nansum((holes.bores.entry - detail.xyz[tied]) ** 2, axis=1))
    both_spread = np.einsum(
        "nii->n", np.nan_to_num(detail.covariance[tied] + holes.bores.entry_covariance)
    )
    for at in np.flatnonzero(sure & (gap > _SAME_M + ELLIPSOID_95 * np.sqrt(both_spread))):
        yield point_finding(
            record,
            int(tied[at]),
            "survey.hole_off_the_wood",
            f"was taped {gap[at]:.2f} m from where its distance from end A, clock and the size "
            "of the wood put it",
            "Compare the distance from end A (was it taken from end B?), the clock and the ties.",
            "along_m",
        )


def _not_on_map(record: FieldRecord, untied: dict[str, str]) -> Iterator[Finding]:
    for site_id, reason in untied.items():
        at = record.find("site", site_id)
        yield Finding(
            "note",
            "survey.not_on_map",
            "site",
            record.record_number("site", at),
            site_id,
            "grid_epsg",
            record.cell("site", "grid_epsg", at),
            f"No latitude and longitude were computed: {reason}.",
            "Fill these in if the points are to go on a map; keep exact places out of open fields.",
        )


def _precision_finding(redundancy: int, chi_square: float) -> Iterator[Finding]:
    """Global test with Wilson and Hilferty's approximation to chi-square, good from 10 upwards."""
    if redundancy < 10:
        return
    cube = 2 / (9 * redundancy)
    normal = ((chi_square / redundancy) ** (1 / 3) - (1 - cube)) / np.sqrt(cube)
    if abs(normal) < 3.29:
        return
    ratio = np.sqrt(chi_square / redundancy)
    how = "more" if ratio > 1 else "less"
    yield Finding(
        "note",
        "survey.precision",
        "tie",
        0,
        "",
        "uncertainty_m",
        "",
        f"The readings scatter {ratio:.2f} times as much as was assumed, {how} than chance "
        f"explains ({redundancy} readings more than needed).",
        "Write the standard deviation that fits your tape and crew beside the ties; the 95 % "
        "ranges follow it.",
    )

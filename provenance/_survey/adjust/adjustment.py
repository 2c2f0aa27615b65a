"""Computes a site's points from what the crew measured, and writes them beside the record.

Datums are adjusted first, then every end of wood and every hole from them, by weighted least
squares with the standard deviations written beside the readings or assumed in Precision.
What the crew measured is never changed: results go to the derived table 'position'.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
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
from provenance._survey.adjust.blunders import BY_WOOD
from provenance._survey.adjust.control import Control, adjust_control
from provenance._survey.adjust.detail import (
    Detail,
    judge,
    locate_detail,
    solved_again,
    with_wood,
    wood_gaps,
)
from provenance._survey.adjust.positions import (
    end_positions,
    place_frame,
    place_on_map,
    position_frame,
)
from provenance._survey.adjust.readings import Readings, recorded_heights, take_readings
from provenance._survey.adjust.scatter import (
    GROUPS,
    Scatter,
    chance_of,
    groups_of,
    measured_scatter,
)
from provenance._survey.adjust.survey_findings import (
    control_findings,
    detail_findings,
    point_finding,
)
from provenance._survey.adjust.trust import Trust, datum_trust, point_trust
from provenance._survey.adjust.wood import HoleSet, set_holes
from provenance._survey.parts.field_record import SURVEYED, FieldRecord, read_field_record
from provenance._survey.parts.observation import (
    ELLIPSOID_95,
    KINDS,
    LARGEST_RESIDUAL,
    NOTICED_BLUNDER,
    Floats,
    Precision,
)
from provenance._survey.parts.solve import Rows

if TYPE_CHECKING:
    import pandas as pd

TABLE, PLACE_TABLE = "position", "position_place"
RESIDUAL_COLUMNS = (
    "tie_id", "point", "kind", "from_datum_id", "reading", "fitted", "residual", "sd",
    "standard_residual", "redundancy_share", "noticed_from", "used",
)  # fmt: skip


_SAME_M = 0.02
_SCATTER_ROUNDS = 4
_LEAST_DF = 8
"""Below this the approximation to chi-square is too rough for a test."""
_CHECKED = 1e-3
"""A reading of which less of a blunder shows says nothing of scatter."""


@dataclass(frozen=True)
class SurveyResult:
    """What a survey gives.

    `position_table` has the columns of the table 'position', one row a datum, end of wood or hole.
    `place_table` has those of the table 'position_place', one row a place that a point may be at
    whose readings conflict or fit two places.
    `residual_table` has RESIDUAL_COLUMNS, one row a reading, in m or degrees: `residual` is reading
    minus fitted, `redundancy_share` how much of a blunder would show (0 to 1), `noticed_from` the
    smallest blunder that is noticed four times in five (Baarda's marginal detectable error).
    `redundancy` and `chi_square` are sums over all points whose readings agree on one place, with
    standard deviations as they were assumed.
    """

    position_table: pl.DataFrame
    place_table: pl.DataFrame
    residual_table: pl.DataFrame
    findings: tuple[Finding, ...]
    redundancy: int
    chi_square: float

    @cached_property
    def positions(self) -> pd.DataFrame:
        """`position_table` in pandas."""
        return to_pandas(self.position_table)

    @cached_property
    def places(self) -> pd.DataFrame:
        """`place_table` in pandas."""
        return to_pandas(self.place_table)

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
    control, detail, scatter = _adjusted(record, readings, precision)
    progress(2, 5)
    points = np.arange(record.n_points)
    detail = judge(detail, points < record.n_ends)
    detail, gaps = _beside_wood(package, record, detail, scatter, precision)
    progress(3, 5)
    stretched = detail.covariance * scatter.stretch(record.point_sites)[:, None, None]
    xyz, covariance, found = end_positions(record, detail, stretched, precision)
    ends = record.n_ends
    holes = set_holes(record, package.model, xyz[:ends], covariance[:ends], precision)
    of_datums = datum_trust(record, control, scatter)
    of_points = point_trust(record, detail, scatter, holes, xyz[:ends], gaps)
    stretch = scatter.stretch(record.datum_sites)
    frame = position_frame(
        record, control, detail, xyz, covariance, found, holes, of_datums, of_points, stretch
    )
    frame, untied = place_on_map(record, frame)
    progress(4, 5)
    redundancy, chi_square = _totals(record, control, detail, scatter)
    findings = (
        *readings.findings,
        *control_findings(record, control, readings.detail),
        *detail_findings(record, control, detail, stretched),
        *_comparisons(record, detail, of_points, holes, xyz),
        *_not_on_map(record, untied),
        *_scatter_findings(record, scatter),
    )
    if TABLE in package.model.tables:
        # a column of a newer version stays blank
        names = package.model.table(TABLE).names
        frame = frame.select(
            pl.col(one) if one in frame.columns else pl.lit("").alias(one) for one in names
        )
    result = SurveyResult(
        position_table=frame,
        place_table=place_frame(record, of_datums, of_points),
        residual_table=_residuals(record, control, detail),
        findings=findings,
        redundancy=redundancy,
        chi_square=chi_square,
    )
    progress(5, 5)
    return result


def _adjusted(
    record: FieldRecord, readings: Readings, precision: Precision
) -> tuple[Control, Detail, Scatter]:
    """Datums and points from all readings, widened by as much as these scatter."""
    control = adjust_control(record, readings.control, precision)
    rows = _from_known_datums(readings.detail, control)
    rows = Rows.joined(rows, recorded_heights(record, rows, precision))
    detail = locate_detail(record, rows, control)
    assumed, scatter = detail.rows, Scatter.as_assumed(record.count("site"))
    for _ in range(_SCATTER_ROUNDS):
        before, scatter = scatter, _scatter_of(record, control, detail, scatter)
        if not scatter.unlike(before):
            return control, detail, replace(scatter, taken=before.taken)
        control = adjust_control(record, readings.control, precision, scatter)
        rows = scatter.widened(assumed, record.point_sites[assumed.point])
        detail = solved_again(detail, rows, control)
    return control, detail, scatter


def _scatter_of(record: FieldRecord, control: Control, detail: Detail, widened: Scatter) -> Scatter:
    """How much readings scatter, of which residuals are known as `widened` has them."""
    parts = []
    for source, sites in ((control, record.datum_sites), (detail, record.point_sites)):
        good = np.isfinite(source.standard_residual) & source.used & (source.check > _CHECKED)
        rows = source.rows.only(good)
        group, site = groups_of(rows), sites[rows.point]
        square = source.standard_residual[good] ** 2 * widened.taken[site, group]
        parts.append((site, group, square, source.check[good]))
    site, group, square, share = (np.concatenate(one) for one in zip(*parts, strict=True))
    return measured_scatter(site, group, square, share, record.count("site"))


def _beside_wood(
    package: Package, record: FieldRecord, detail: Detail, scatter: Scatter, precision: Precision
) -> tuple[Detail, tuple[Floats, Floats]]:
    """The holes that were taped, judged with their wood as a witness, and how far off it they are.

    Wood says nothing of its holes where an end's own readings conflict.
    """
    ends, n = record.n_ends, record.n_points
    gap, limit = np.full(n, np.nan), np.full(n, np.nan)
    is_hole = np.arange(n) >= ends
    if detail.known[ends:].any():
        stretched = detail.covariance * scatter.stretch(record.point_sites)[:, None, None]
        xyz, covariance, _ = end_positions(record, detail, stretched, precision)
        holes = set_holes(record, package.model, xyz[:ends], covariance[:ends], precision)
        points = ends + holes.sample
        doubted = detail.known[:ends] & ~detail.one_place[:ends]
        trusted = ~(doubted[2 * holes.element] | doubted[2 * holes.element + 1])
        trusted &= holes.bores.sure_side & holes.is_hole & detail.known[points]
        taken = points[trusted], holes.bores.entry[trusted], holes.bores.entry_covariance[trusted]
        detail = judge(with_wood(detail, *taken), is_hole)
        gap[taken[0]], limit[taken[0]] = wood_gaps(detail, *taken)
    return detail, (gap, limit)


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
        for table, frame in ((TABLE, result.position_table), (PLACE_TABLE, result.place_table)):
            if table not in package.model.tables:
                continue  # a package from before there was one
            if site is not None:
                before = package.tables.whole(table)
                kept = before.filter(before["site_id"] != site)
                frame = pl.concat([kept, _as_texts(frame)], how="diagonal")
            package.write_table(table, frame)
        if site is None:
            note_sources(package, "survey", [t for t in SURVEYED if t in package.model.tables])
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


def _totals(
    record: FieldRecord, control: Control, detail: Detail, scatter: Scatter
) -> tuple[int, float]:
    """Spare readings, and what chi-square they leave with the standard deviations as assumed."""
    sole = detail.one_place
    redundancy = control.redundancy + int(detail.redundancy[sole].sum())
    chi_square = 0.0
    for source, sites in ((control, record.datum_sites), (detail, record.point_sites)):
        part = source.check * source.standard_residual**2
        part *= scatter.factors(source.rows, sites[source.rows.point]) ** 2
        counted = source.used & (sole[source.rows.point] if source is detail else True)
        chi_square += float(np.nansum(part[counted]))
    return redundancy, chi_square


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
            ).filter(rows.tie != BY_WOOD)  # which nobody read
        )
    return pl.concat(parts).select(RESIDUAL_COLUMNS).fill_nan(None)


def _comparisons(
    record: FieldRecord, detail: Detail, trust: Trust, holes: HoleSet, xyz: Floats
) -> Iterator[Finding]:
    """Where two ways to the same number disagree by more than both may be wrong."""
    say = record.measures.say
    recorded, radius = record.recorded_ends()
    apart = np.sqrt(np.nansum((detail.xyz - recorded) ** 2, axis=1))
    spread = np.einsum("nii->ni", np.nan_to_num(detail.covariance)).sum(axis=1)
    limit = np.hypot(np.nan_to_num(radius, nan=0.1), ELLIPSOID_95 * np.sqrt(spread)) + _SAME_M
    both = detail.one_place & np.isfinite(recorded[:, 0])
    for point in np.flatnonzero(both & (apart > limit)):
        yield point_finding(
            record,
            int(point),
            "survey.recorded_elsewhere",
            f"lies {say(apart[point], 'm', 'survey')} from the coordinates recorded for it",
            "Compare the ends (are A and B exchanged?) and the coordinates on the field sheet.",
            f"x{'ab'[point % 2]}_m" if point < record.n_ends else "",
        )
    ends = record.n_ends
    length = record.numbers("element", "length_m")
    between = np.sqrt(np.nansum((xyz[1:ends:2] - xyz[0:ends:2]) ** 2, axis=1))
    adjusted = detail.one_place[0:ends:2] & detail.one_place[1:ends:2]
    tolerance = 0.05 + 3 * np.sqrt(spread[0:ends:2] + spread[1:ends:2])
    for at in np.flatnonzero(adjusted & (np.abs(between - length) > tolerance)):
        yield point_finding(
            record,
            2 * int(at),
            "survey.length_differs",
            f"and end b are {say(between[at], 'm', 'timber')} apart, but the wood is recorded as "
            f"{say(length[at], 'm', 'timber')} long",
            "Tape the length again, and see that both ends were taped at the same piece.",
            "length_m",
        )
    yield from _off_the_wood(record, detail, trust, holes, xyz)


def _off_the_wood(
    record: FieldRecord, detail: Detail, trust: Trust, holes: HoleSet, xyz: Floats
) -> Iterator[Finding]:
    say, along = record.measures.say, record.numbers("sample", "along_m")
    with np.errstate(invalid="ignore"):
        off = trust.wood_gap_m > trust.wood_gap_limit_m
    for at in np.flatnonzero(off[record.n_ends + holes.sample]):
        point, wood = record.n_ends + int(holes.sample[at]), 2 * int(holes.element[at])
        way = xyz[wood + 1] - xyz[wood]
        length = float(np.sqrt(np.nansum(way**2)))
        # the same hole, if its distance was taken from the other end
        turned = holes.bores.entry[at] + (length - 2 * along[holes.sample[at]]) * way / length
        apart = float(np.sqrt(np.nansum((turned - detail.xyz[point]) ** 2)))
        from_b = (
            "; it would fit if that distance had been taken from end B"
            if apart <= trust.wood_gap_limit_m[point]
            else ""
        )
        yield point_finding(
            record,
            point,
            "survey.hole_off_the_wood",
            f"was taped {say(trust.wood_gap_m[point], 'm', 'range')} from where its "
            f"distance from end A, clock and the size of the wood put it{from_b}",
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


def _scatter_findings(record: FieldRecord, scatter: Scatter) -> Iterator[Finding]:
    """The test of the variance of unit weight, kind by kind."""
    for at in range(record.count("site")):
        site_id = record.cell("site", "site_id", at)
        for group, name in enumerate(GROUPS):
            df, factor = float(scatter.df[at, group]), float(scatter.measured[at, group])
            yield from _scatter_finding(site_id, name, df, factor)


def _scatter_finding(site_id: str, name: str, df: float, factor: float) -> Iterator[Finding]:
    if df < _LEAST_DF or abs(chance_of(df, factor)) < LARGEST_RESIDUAL:
        return
    ratio = np.sqrt(factor)
    done = (
        "more than chance explains ({}); the 95 % ranges were widened by it"
        if ratio > 1
        else "less than chance explains ({}); the 95 % ranges were left as they are"
    ).format(f"chi-square test with {df:.0f} readings more than needed")
    yield Finding(
        "note",
        "survey.precision",
        "tie",
        0,
        "",
        "sd_m",
        "",
        f"At {site_id} the {name} scatter {ratio:.2f} times as much as was assumed, {done}.",
        "Write the standard deviation that fits your tape and crew beside the ties; the 95 % "
        "ranges follow it.",
    )

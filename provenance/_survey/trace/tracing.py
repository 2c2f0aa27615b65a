"""Turns points marked on a scanned plan into places on the site grid, and compares the record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from provenance._base.errors import UnusableInput
from provenance._identity.identifier import joined_key
from provenance._record.package import Package
from provenance._record.snapshot import Row
from provenance._survey.adjust.adjustment import adjust_survey
from provenance._survey.hole.known_points import KnownPoints, known_points
from provenance._survey.parts.field_record import FieldRecord, read_field_record
from provenance._survey.parts.observation import ELLIPSE_95, Floats, Precision
from provenance._survey.trace.fit import AUTO, PROJECTIVE, Fit, fit_plan
from provenance._survey.trace.picture import PlanPicture
from provenance._survey.trace.points import END, HOLE, KNOWN, Marked, PointsFile
from provenance._survey.trace.subject import (
    Subject,
    doubts_about_subject,
    refuse_other_grids,
    subject_of_plan,
)

FIT_TABLE, POINT_TABLE = "plan_fit", "plan_point"
PENCIL_MM = 0.5
"""One standard deviation of a line drawn and plotted by hand. Common practice, no source."""
_SAME_DATUM_M = 0.02
_SCALES_DIFFER = 0.05
_MILLIMETRE = 3
_TIE_COLUMNS = ("tie_id", "kind", "element_id", "element_end", "sample_id")
Point = tuple[float, float]
NEW, AGAIN, KEPT, REPLACED = "new", "again", "kept", "replaced"


@dataclass(frozen=True)
class KnownOnPlan:
    """A known point with its fitted place: `datum_id` is '' for one that is none."""

    marked: Marked
    datum_id: str
    xy: Point
    sd_m: float


@dataclass(frozen=True)
class Traced:
    """A traced point: its place in m on the site grid, and what becomes of it.

    `becomes` is NEW, AGAIN (this plan gave it before), KEPT (the record has a place from elsewhere,
    which stays) or REPLACED; `because` says what the record has. `apart_m` is how far that is from
    here, None where it cannot be told.
    """

    marked: Marked
    xy: Point
    radius_m: float
    becomes: str
    because: str = ""
    apart_m: float | None = None

    @property
    def disagrees(self) -> bool:
        """Whether the record keeps a place from elsewhere that is not within the range here."""
        return self.becomes == KEPT and (self.apart_m or 0.0) > self.radius_m

    @property
    def is_entered(self) -> bool:
        """Whether the record takes its coordinates from here."""
        return self.becomes != KEPT


@dataclass(frozen=True)
class PlanTrace:
    """A plan fitted to the grid, with everything traced on it.

    `scale` is that of the drawing, `notes` are sentences that a person should read; `doubtful` says
    that at least one of them tells of ranges that may not hold.
    """

    picture: PlanPicture
    subject: Subject
    fit: Fit
    scale: float
    pencil_mm: float
    known: tuple[KnownOnPlan, ...]
    traced: tuple[Traced, ...]
    notes: tuple[str, ...]
    doubtful: bool


def trace_plan(
    package: Package,
    picture: PlanPicture,
    points: PointsFile,
    *,
    place: str | None = None,
    model: str = AUTO,
    scale: float | None = None,
    pencil_mm: float = PENCIL_MM,
    replace: bool = False,
) -> PlanTrace:
    """Fit a plan by its known points, and place what was traced on it; writes nothing.

    `scale` (50 for 1:50) goes before that of the points file; without either the resolution of the
    scan tells it. With `replace` coordinates that the record has from elsewhere are to give way.
    Raises UnusableInput for points that do not give a fit, and where no scale is known.
    """
    known = known_points(package)
    record = read_field_record(package)
    subject = subject_of_plan(package, record, place)
    marked = points.of_kind(KNOWN)
    pixels = _pixels(marked)
    found = [_datum_or_own(known, subject.site_id, one) for one in marked]
    if len(found) < 2:
        raise UnusableInput(
            f"{'one' if found else 'no'} known point is marked; mark at least two, far from each "
            "other, or the plan cannot be laid on the grid"
        )
    xy, own_sd = np.array([one[1] for one in found]), np.array([one[2] for one in found])
    # how large a pixel is, to weigh a click against a datum
    names = [one.name for one in marked]
    rough = fit_plan(pixels, xy, np.full(len(xy), 1e-3), names=names).mean_metres_per_pixel()
    drawn, notes = _scale_of_drawing(picture, scale or points.scale, rough)
    pencil_m = pencil_mm / 1000 * drawn
    sd = np.sqrt(own_sd**2 + pencil_m**2 + rough**2)
    fit = fit_plan(pixels, xy, sd, model, names=names)
    told, doubtful = _doubts(picture, fit, marked)
    traced = points.of_kind(END, HOLE)
    refuse_other_grids(record, subject, traced)
    notes += doubts_about_subject(record, subject, traced)
    return PlanTrace(
        picture=picture,
        subject=subject,
        fit=fit,
        scale=drawn,
        pencil_mm=pencil_mm,
        known=tuple(
            KnownOnPlan(one, datum, (float(x), float(y)), float(spread))
            for one, (datum, (x, y), _), spread in zip(marked, found, sd, strict=True)
        ),
        traced=_placed(package, record, picture, fit, pencil_m, traced, replace),
        notes=(*told, *notes),
        doubtful=doubtful,
    )


def file_of(package: Package, picture: PlanPicture) -> Row | None:
    """The row of the table 'file' that holds this picture, if any."""
    mine = picture.path.resolve()
    for row in package.tables.rows("file"):
        if row["sha256"] == picture.sha256 or (package.folder / row["path"]).resolve() == mine:
            return row
    return None


def _pixels(marked: Sequence[Marked]) -> Floats:
    return np.array([one.pixel for one in marked], dtype=float).reshape(-1, 2)


# -- known points ----------------------------------------------------------------------------------


def _datum_or_own(
    known: KnownPoints, site_id: str, one: Marked
) -> tuple[str, tuple[float, float], float]:
    """The datum that a known point is ('' for none), where it is, and one standard deviation."""
    record = known.record
    at = record.find("datum", one.name)
    if at < 0:
        if one.xy is None:
            names = ", ".join(_datums_on_grid(known, site_id)[:8]) or "none with coordinates"
            raise UnusableInput(
                f"{one.place}, column 'name': {one.name!r} is not a datum of the record, and has "
                f"no coordinates in the file; write its x_m and y_m. Datums are: {names}"
            )
        return "", one.xy, _sd(one, Precision().coordinate_sd_m)
    if record.cell("datum", "site_id", at) != site_id:
        raise UnusableInput(
            f"{one.place}, column 'name': datum {one.name} belongs to another site than the plan "
            f"({record.cell('datum', 'site_id', at)}, not {site_id}), which has a grid of its own"
        )
    x, y = map(float, known.datums[at, :2])
    if not np.isfinite(x):
        raise UnusableInput(
            f"{one.place}, column 'name': datum {one.name} has no coordinates in the record yet; "
            "enter them or its ties first, or leave it out"
        )
    if one.xy is not None and np.hypot(x - one.xy[0], y - one.xy[1]) > _SAME_DATUM_M:
        raise UnusableInput(
            f"{one.place}, columns 'x_m' and 'y_m': datum {one.name} is at {x:.3f}, {y:.3f} in the "
            f"record, not at {one.xy[0]:.3f}, {one.xy[1]:.3f}; blank both to take the record's"
        )
    spread = float(np.sqrt(np.trace(known.datums_covariance[at, :2, :2]) / 2))
    if not np.isfinite(spread):  # an older survey may not have told it
        spread = Precision().datum_sd_m
    return one.name, (x, y), _sd(one, spread)


def _sd(one: Marked, otherwise: float) -> float:
    return otherwise if one.uncertainty_m is None else one.uncertainty_m / ELLIPSE_95


def _datums_on_grid(known: KnownPoints, site_id: str) -> list[str]:
    mine = (known.record.column("datum", "site_id") == site_id).to_numpy()
    here = mine & np.isfinite(known.datums[:, 0])
    return [known.record.cell("datum", "datum_id", int(at)) for at in np.flatnonzero(here)]


# -- what a person should know ---------------------------------------------------------------------


def _scale_of_drawing(
    picture: PlanPicture, stated: float | None, metres_per_pixel: float
) -> tuple[float, list[str]]:
    """The scale of the drawing, and what is to be said where two ways to it differ."""
    measured = None
    if picture.dots_per_inch:
        measured = metres_per_pixel * picture.dots_per_inch / 0.0254
    if stated is None and measured is None:
        raise UnusableInput(
            f"{picture.path.name} does not say how finely it was scanned; say at what scale the "
            "plan is drawn, --scale 50 for 1:50. The uncertainty of every point follows from it"
        )
    if stated is None:
        assert measured is not None
        return measured, [f"Scale from the scan's {picture.dots_per_inch:.0f} dots per inch."]
    notes = []
    if measured and abs(measured / stated - 1) > _SCALES_DIFFER:
        notes.append(
            f"The known points and {picture.dots_per_inch:.0f} dots per inch make it "
            f"1:{measured:.0f}, not 1:{stated:g}. Either the paper is a reduced copy, or a known "
            "point is wrong."
        )
    return stated, notes


def _doubts(picture: PlanPicture, fit: Fit, marked: Sequence[Marked]) -> tuple[list[str], bool]:
    notes = []
    if fit.suspects:
        names = [marked[at].name for at in fit.suspects]
        which = names[0] if len(names) == 1 else f"one of {', '.join(names)}"
        notes.append(
            f"The known points do not fit each other: {which} is marked at the wrong place, or has "
            "wrong coordinates. Look at it again; every range is widened until then."
        )
    if fit.redundancy == 0:
        notes.append(
            f"Nothing checks these {len(marked)} known points: if one is marked at the wrong "
            "place, everything is. Mark one more."
        )
    if picture.by_camera and fit.model != PROJECTIVE and len(marked) < 4:
        notes.append(
            "This is a photo. Taken at an angle, it has no single scale, which fewer than four "
            "known points do not show: the ranges may be far too small. Mark five or more and fit "
            "it as a photo (--fit projective)."
        )
    doubtful = bool(notes)
    return notes, doubtful


# -- what was traced -------------------------------------------------------------------------------


def _placed(
    package: Package,
    record: FieldRecord,
    picture: PlanPicture,
    fit: Fit,
    pencil_m: float,
    traced: Sequence[Marked],
    replace: bool,
) -> tuple[Traced, ...]:
    if not traced:
        return ()
    pixels = _pixels(traced)
    if (lost := np.flatnonzero(fit.near_horizon(pixels))).size:
        one = traced[int(lost[0])]
        raise UnusableInput(
            f"{one.place}: {one.name} is marked so far from the known points that this photo says "
            "nothing about it; mark known points round it, or correct pixel_x and pixel_y"
        )
    xy = np.round(fit.on_grid(pixels), _MILLIMETRE)
    radii = np.ceil(fit.radius_95(pixels, pencil_m) * 1000) / 1000
    before = _Before(package, record, picture)
    before.ends |= {
        (one.name, one.end): tuple(at)
        for one, at in zip(traced, xy, strict=True)
        if one.kind == END
    }
    found = []
    for one, at, radius in zip(traced, xy, radii, strict=True):
        here = (float(at[0]), float(at[1]))
        because, apart = before.has(one, here)
        becomes = AGAIN if before.gave(one) else NEW
        if because:
            becomes = REPLACED if replace else KEPT
        found.append(Traced(one, here, float(radius), becomes, because, apart))
    return tuple(found)


def point_key(one: Marked) -> str:
    """What the table 'position' calls a traced point."""
    return f"end:{one.name}:{one.end}" if one.kind == END else f"hole:{one.name}"


class _Before:
    """What the record has of the traced points already, and what this very plan gave it earlier."""

    def __init__(self, package: Package, record: FieldRecord, picture: PlanPicture) -> None:
        self._record = record
        row = file_of(package, picture)
        self.file_id = row["file_id"] if row else ""
        rows = package.tables.rows(POINT_TABLE) if POINT_TABLE in package.model.tables else []
        self._earlier = {
            (one["kind"], one["element_id"] or one["sample_id"], one["element_end"]): one
            for one in rows
            if one["file_id"] == self.file_id and one["entered"] == "true"
        }
        table = adjust_survey(package).position_table
        found = list(table.select("position_id", "found_by", "x_m", "y_m").iter_rows())
        self._xy: dict[str, Point] = {key: (x, y) for key, _, x, y in found if x is not None}
        measured = {key for key, how, _, _ in found if how == "adjusted"}
        self._ties: dict[str, list[str]] = {}
        ties = zip(*(record.column("tie", name) for name in _TIE_COLUMNS), strict=True)
        for tie, kind, element, end, sample in ties:
            key = f"hole:{sample}" if sample else f"end:{element}:{end}"
            # a height, or one tape alone, gives no place that a plan could contradict
            if kind != "height" and key in measured:
                self._ties.setdefault(key, []).append(tie)
        self.ends: dict[tuple[str, str], Point] = {}
        for wood in record.column("element", "element_id"):
            for end in "ab":
                if there := self._xy.get(f"end:{wood}:{end}"):
                    self.ends[wood, end] = there

    def gave(self, one: Marked) -> bool:
        """Whether this plan gave the record the point before."""
        return (one.kind, one.name, one.end) in self._earlier

    def has(self, one: Marked, here: Point) -> tuple[str, float | None]:
        """From where the record has the point, in words ('' where it needs this one), and how far
        that is from `here`.

        A hole is placed by the wood when its distance from end A is recorded and both ends are
        known, from the record or by being traced now (`ends`).
        """
        record = self._record
        own = own_tie(self.file_id, one.name)
        there = self._xy.get(point_key(one))
        apart = None if there is None else _apart(here, there)
        if others := [tie for tie in self._ties.get(point_key(one), ()) if tie != own]:
            return f"measured by {', '.join(others[:3])}", apart
        if one.kind == END:
            at = record.find("element", one.name)
            x, y = (record.cell("element", f"{axis}{one.end}_m", at) for axis in "xy")
            earlier = self._earlier.get((END, one.name, one.end))
            if not (x and y) or (earlier and (x, y) == (earlier["x_m"], earlier["y_m"])):
                return "", apart
            return f"recorded at {x}, {y}", apart
        at = record.find("sample", one.name)
        wood = record.cell("sample", "element_id", at)
        along = float(record.numbers("sample", "along_m")[at])
        ends = [self.ends.get((wood, end)) for end in "ab"]
        if np.isnan(along) or ends[0] is None or ends[1] is None:
            return "", apart
        a, b, hole = map(np.array, (*ends, here))
        drawn = float((hole - a) @ (b - a) / max(_apart(ends[0], ends[1]), 1e-9))
        return f"recorded {along:g} m from end A, drawn at {drawn:.2f} m", abs(drawn - along)


def _apart(one: Point, other: Point) -> float:
    return float(np.hypot(one[0] - other[0], one[1] - other[1]))


def own_tie(file_id: str, sample: str) -> str:
    """The key of the tie that holds what a plan says of a hole."""
    return joined_key(file_id, sample)

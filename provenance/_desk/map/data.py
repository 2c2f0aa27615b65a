"""What the script of a plan draws: the record in meters of the site grid, a scan in its pixels."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from provenance._base.errors import UnusableInput
from provenance._base.languages import _
from provenance._intake.typed import TypedCells
from provenance._model.measures import Measures
from provenance._record.cells import float_of
from provenance._record.package import Package
from provenance._record.snapshot import Row
from provenance._record.trust import Trust, grid_words, place_words, range_words, share_words
from provenance._survey.adjust.adjustment import adjust_survey
from provenance._survey.adjust.positions import ellipse_95
from provenance._survey.hole.doubt import datum_words, hole_words, wood_words
from provenance._survey.hole.known_points import KnownPoints
from provenance._survey.parts.observation import Floats
from provenance._survey.plan.plan_content import PlanContent, buildings_of, plan_content
from provenance._survey.plan.sheet_parts import ground_unit, scale_words
from provenance._survey.residual_text import fits_of_points
from provenance._survey.trace.entering import ON_GRID
from provenance._survey.trace.page import choices
from provenance._survey.trace.picture import PlanPicture, open_plan
from provenance._survey.trace.points import COLUMNS, KNOWN, SCALE, Line, marked_points
from provenance._survey.trace.subject import Subject
from provenance._survey.trace.tracing import (
    AGAIN,
    FIT_TABLE,
    KEPT,
    POINT_TABLE,
    REPLACED,
    PlanTrace,
    Traced,
    trace_plan,
)

_PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff")


# -- scans -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Scan:
    """A picture that the record holds and that can lie under a plan."""

    file_id: str
    title: str
    is_plan: bool
    is_placed: bool


def scans_of(package: Package, known: KnownPoints, subject: Subject) -> list[Scan]:
    """The pictures that may show a place: plans, and whatever is filed under it; placed ones first.

    Copies that were redrawn square to the grid are left out.
    """
    fitted = {row["file_id"] for row in _rows(package, FIT_TABLE)}
    found = []
    for row in package.tables.rows("file"):
        mine = (row["about_table"], row["about_id"]) == (subject.table, subject.key)
        of_place = row["about_table"] == "place" and subject.may_hold(known.record, row["about_id"])
        is_plan = row["kind"] == "plan"
        if not row["path"].lower().endswith(_PICTURES) or ON_GRID in row["path"]:
            continue
        if mine or (is_plan and (of_place or row["about_table"] != "place")):
            placed = row["file_id"] in fitted or bool(row["metres_per_pixel"])
            scan = Scan(row["file_id"], row["title"] or row["path"], is_plan, placed)
            found.append(((not placed, not is_plan, not mine), scan))
    return [scan for _order, scan in sorted(found, key=lambda one: one[0])]


def scan_named(package: Package, file_id: str) -> PlanPicture:
    """The picture of a row of the table 'file'; raises UnusableInput where it is none."""
    for row in package.tables.rows("file"):
        if row["file_id"] == file_id:
            return open_plan(package.folder / row["path"])
    raise UnusableInput(f"the record has no file '{file_id}'; choose one of the list")


def placing(package: Package, file_id: str, height: int) -> list[list[float]] | None:
    """(3, 3): leads pixels of a picture to the grid by its corner, scale and turn in the record."""
    row = next(one for one in package.tables.rows("file") if one["file_id"] == file_id)
    x, y, size = (float_of(row[name]) for name in ("grid_x_m", "grid_y_m", "metres_per_pixel"))
    if x is None or y is None or not size:
        return None
    turn = np.radians(float_of(row["rotation_deg"]) or 0.0)
    along, up = float(size * np.cos(turn)), float(size * np.sin(turn))
    return [[along, up, x - height * up], [up, -along, y + height * along], [0.0, 0.0, 1.0]]


def marks_before(package: Package, file_id: str) -> dict[str, Any]:
    """What was marked on a picture at an earlier sitting, as the page sends it, with its scale."""
    points = []
    for row in _rows(package, POINT_TABLE):
        if row["file_id"] == file_id:
            name = row["datum_id"] or row["element_id"] or row["sample_id"] or row["name"]
            # with its unit, because bare numbers are read in that of the record
            own = {axis: row[axis] + " m" for axis in ("x_m", "y_m") if name == row["name"]}
            points.append(
                dict.fromkeys(COLUMNS, "")
                | {
                    "kind": row["kind"],
                    "name": name,
                    "end": row["element_end"],
                    "pixel_x": row["pixel_x"],
                    "pixel_y": row["pixel_y"],
                }
                | own
            )
    fit = next((row for row in _rows(package, FIT_TABLE) if row["file_id"] == file_id), None)
    if fit is None:
        return {"points": points}
    return {
        "points": points,
        "scale": fit["drawn_scale"],
        "model": fit["model"],
        "pencil": fit["pencil_mm"],
    }


def _rows(package: Package, table: str) -> Iterable[Row]:
    return package.tables.rows(table) if table in package.model.tables else ()


# -- the fit ---------------------------------------------------------------------------------------


def traced(
    package: Package, picture: PlanPicture, place: str, sent: Mapping[str, Any]
) -> PlanTrace:
    """What `treenail survey trace` makes of the points of the page; raises UnusableInput.

    `sent` has `points` with COLUMNS, `scale`, `model`, `pencil` and `replace`.
    """
    reader = TypedCells.of(package.tables, as_shown=True)
    lines = [
        Line(_("point {number}").format(number=number), _cells(reader, point))
        for number, point in enumerate(sent.get("points") or (), start=1)
        if isinstance(point, Mapping)
    ]
    if scale := _text(sent.get("scale")):
        lines.append(Line(_("the scale"), {"kind": SCALE, "name": scale}))
    more: dict[str, Any] = {}
    if pencil := float_of(_text(sent.get("pencil"))):
        more["pencil_mm"] = pencil
    if model := _text(sent.get("model")):
        more["model"] = model
    points = marked_points(package, lines, picture, _("This plan"))
    return trace_plan(
        package, picture, points, place=place, replace=sent.get("replace") is True, **more
    )


def known_marks(sent: Mapping[str, Any]) -> int:
    """How many known points are marked; without two there is no fit."""
    points = (one for one in sent.get("points") or () if isinstance(one, Mapping))
    return sum(one.get("kind") == KNOWN for one in points)


def _cells(reader: TypedCells, point: Mapping[str, Any]) -> dict[str, str]:
    """A point as a line of a file has it; coordinates may be typed in the units of the record."""
    cells = {name: _text(point.get(name)) for name in COLUMNS}
    for name in ("x_m", "y_m", "uncertainty_m"):
        cells[name] = reader.read("datum", name, cells[name])
    return cells


def _text(value: object) -> str:
    return "" if value is None else str(value).strip()


def fit_told(trace: PlanTrace, measures: Measures) -> dict[str, Any]:
    """A fit as the page shows it: lengths in the record's units, places in m."""
    fit = trace.fit
    models = {
        "similarity": _("one scale in all directions"),
        "affine": _("two scales, for paper that shrank one way"),
        "projective": _("perspective, for a photo"),
    }

    def say(metres: float) -> str:
        return measures.say(abs(metres), "m", "bore")

    suspects = {trace.known[at].marked.name for at in fit.suspects}
    known = []
    for at, one in enumerate(trace.known):
        across, up = map(float, fit.residual[at])
        times = float(fit.standard_residual[at])
        known.append(
            {
                "name": one.marked.name,
                "at": _rounded(one.xy),
                "off": say(float(np.hypot(across, up))),
                "off_m": [round(across, 4), round(up, 4)],
                "across": ("-" if across < 0 else "+") + say(across),
                "up": ("-" if up < 0 else "+") + say(up),
                "times": f"{times:.1f}" if times == times else "",
                "unfit": one.marked.name in suspects,
            }
        )
    said = _(
        "{model}; drawn at {scale}; one pixel is {pixel}, turned {turn}°. "
        "The known points scatter {scatter} times as much as assumed."
    ).format(
        model=models[fit.model],
        scale=scale_words(float(f"{trace.scale:.4g}"), measures),
        pixel=say(fit.mean_metres_per_pixel()),
        turn=f"{fit.turn_deg():.2f}",
        scatter=f"{fit.scatter:.2f}",
    )
    return {
        "matrix": fit.matrix().tolist(),
        "said": said[0].upper() + said[1:],
        "notes": list(trace.notes),
        "doubtful": trace.doubtful,
        "known": known,
        "traced": [_traced(one, measures) for one in trace.traced],
    }


def _traced(one: Traced, measures: Measures) -> dict[str, Any]:
    says = {
        AGAIN: _("marked again"),
        KEPT: _("not entered: {because}"),
        REPLACED: _("instead of: {because}"),
    }.get(one.becomes, _("new")).format(because=one.because)
    if one.apart_m is not None:
        says += _(", {far} away").format(far=measures.say(one.apart_m, "m", "range"))
    if one.disagrees:
        says += _(". This is more than the range: compare them")
    return {
        "kind": one.marked.kind,
        "name": one.marked.name,
        "end": one.marked.end,
        "at": _rounded(one.xy),
        "radius_m": one.radius_m,
        "where": ", ".join(measures.say(value, "m", "survey") for value in one.xy),
        "range": measures.say(one.radius_m, "m", "range"),
        "says": says,
        "entered": one.is_entered,
        "doubt": one.disagrees,
    }


# -- the record ------------------------------------------------------------------------------------


def contents_of(
    package: Package, known: KnownPoints, subject: Subject, level: int | None
) -> list[PlanContent]:
    """What the record has on a plan; of a site what all its buildings have."""
    if subject.table == "place":
        return [plan_content(package, known, subject.key, level, underlays=False)]
    buildings = (one for one in buildings_of(known.record))
    found = [plan_content(package, known, one, level, underlays=False) for one in buildings]
    return [one for one in found if one.site_id == subject.site_id]


def record_told(
    package: Package, known: KnownPoints, subject: Subject, level: int | None
) -> dict[str, Any]:
    """What the record has on a plan: places, wood, and points with ranges, doubts and words.

    A point whose readings allow several places has them all in `at`, and no range.
    """
    contents = contents_of(package, known, subject, level)
    unit, metres = ground_unit(known.record.measures)
    woods = [one for content in contents for one in content.woods]
    marks = [*_datums(known, subject)]
    for content in contents:
        marks += _holes(known, content)
    numbers = {name: at for at, name in enumerate(known.record.column("element", "element_id"))}
    ranges = _ranges(known.ends_covariance)
    told_woods = []
    for wood in woods:
        at = numbers[wood.element_id]
        ends = {
            end: _place_of(known.trust(f"end:{wood.element_id}:{end}"), xy, ranges[2 * at + side])
            for side, (end, xy) in enumerate((("a", wood.a), ("b", wood.b)))
        }
        doubt = any(one["doubt"] for one in ends.values())
        trusts = [known.trust(f"end:{wood.element_id}:{end}") for end in "ab"]
        told_woods.append(
            {
                "name": wood.element_id,
                "outline": [_rounded(point) for point in wood.outline],
                "ends": ends,
                "doubt": doubt,
                "loose": wood.loose,
                "sampled": wood.sampled,
                "upright": wood.upright,
                "says": _said(known, wood_words(known, at), trusts),
            }
        )
    return {
        "unit": {"name": unit, "metres": metres},
        "places": [
            {
                "name": place.place_id,
                "title": place.name,
                "outline": [_rounded(point) for point in place.outline],
            }
            for content in contents
            for place in content.places
        ],
        "woods": told_woods,
        "marks": marks,
        "notes": [note for content in contents for note in content.notes],
        "choices": _choices(package, known, subject),
    }


def _choices(package: Package, known: KnownPoints, subject: Subject) -> dict[str, Any]:
    offered = choices(package.model, known, subject)
    here = {one["name"] for one in _datums(known, subject)}
    datums = sorted(offered["datums"], key=lambda one: one["name"] not in here)
    return {"known": datums, "end": offered["woods"], "hole": offered["holes"]}


def _datums(known: KnownPoints, subject: Subject) -> Iterator[dict[str, Any]]:
    record = known.record
    ranges = _ranges(known.datums_covariance)
    columns = (record.column("datum", name) for name in ("datum_id", "site_id", "place_id"))
    for at, (name, site, place) in enumerate(zip(*columns, strict=True)):
        xy = known.datums[at, :2]
        if site != subject.site_id or not np.isfinite(xy[0]):
            continue
        if not subject.may_hold(record, place):
            continue
        trust = known.trust(f"datum:{name}")
        yield {
            "key": f"datum:{name}",
            "kind": "datum",
            "name": name,
            "label": name,
            "says": _said(known, datum_words(known, at), [trust], xy, ranges[at]),
        } | _place_of(trust, xy, ranges[at])


def _holes(known: KnownPoints, content: PlanContent) -> Iterator[dict[str, Any]]:
    record = known.record
    samples = record.column("sample", "sample_id")
    numbers = {samples[int(sample)]: at for at, sample in enumerate(known.holes.sample)}
    ranges = _ranges(known.holes.bores.entry_covariance)
    for hole in content.holes:
        at = numbers[hole.sample_id]
        yield {
            "key": f"hole:{hole.sample_id}",
            "kind": "hole",
            "name": hole.sample_id,
            "label": hole.stamp,
            "wood": hole.element_id,
            "cut": not hole.is_hole,
            "says": _said(known, hole_words(known, at), [hole.trust], hole.at, ranges[at]),
        } | _place_of(hole.trust, hole.at, ranges[at])


def _place_of(trust: Trust, at: Sequence[float] | Floats, range_m: list[float]) -> dict[str, Any]:
    several = trust.is_withheld and trust.places
    places = [one.at[:2] for one in trust.places] if several else [at]
    return {
        "at": [_rounded(place) for place in places],
        "shares": [share_words(one) for one in trust.places] if several else [],
        "range": None if trust.is_withheld or not any(range_m) else range_m,
        "search": trust.search_m if trust.is_withheld else None,
        "doubt": trust.is_doubted,
    }


def _ranges(covariance: Floats) -> list[list[float]]:
    """Half-axes in m of level 95 % ellipses, and the bearing of the long one."""
    if not len(covariance):
        return []
    axes = np.column_stack(ellipse_95(np.nan_to_num(covariance)))
    return [[round(float(value), 4) for value in one] for one in np.nan_to_num(axes)]


def _said(
    known: KnownPoints,
    words: str,
    trusts: Sequence[Trust],
    at: Sequence[float] | Floats = (),
    range_m: Sequence[float] = (),
) -> list[str]:
    """Where a point is, how well that is known, and every place where it may be instead."""
    measures = known.record.measures
    said = []
    if len(at) and not trusts[0].is_withheld:
        said.append(grid_words((float(at[0]), float(at[1]), None), measures))
        if not words and any(range_m):
            words = range_words(trusts[0], range_m[0], None, measures) + "."
    said += [words] if words else []
    return said + [line for trust in trusts for line in place_words(trust, measures)]


def _rounded(point: Sequence[float] | Floats) -> list[float]:
    return [round(float(value), 4) for value in point[:2]]


def readings_told(package: Package, keys: Iterable[str]) -> dict[str, list[dict[str, str]]]:
    """How each reading to these points fits, by the keys of the table 'position'."""
    fits = fits_of_points(adjust_survey(package).residuals, package.model.measures)
    return {key: [asdict(one) for one in fits[key]] for key in keys if key in fits}


def uploaded_scan(paths: Sequence[Path]) -> PlanPicture:
    """The one picture that was dropped; raises UnusableInput."""
    if len(paths) != 1:
        raise UnusableInput("drop one scanned plan: a PNG, JPEG or TIFF")
    return open_plan(paths[0])

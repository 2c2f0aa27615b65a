"""Enters what was traced on a plan, with picture and fit, as one act."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import PurePosixPath

import numpy as np

from provenance._base.errors import UnusablePackage
from provenance._history.entering import stage_tables
from provenance._intake.attachments import copies_of, file_number, refuse_others
from provenance._model.media_types import media_type_of
from provenance._record.cells import float_of
from provenance._record.package import Package
from provenance._record.together import finish_writing, writing_together
from provenance._survey.parts.observation import ELLIPSE_95, ELLIPSOID_95
from provenance._survey.trace.fit import SIMILARITY
from provenance._survey.trace.picture import PlanPicture
from provenance._survey.trace.points import END, HOLE, KNOWN, Marked
from provenance._survey.trace.subject import Subject
from provenance._survey.trace.tracing import (
    FIT_TABLE,
    POINT_TABLE,
    PlanTrace,
    Traced,
    file_of,
    own_tie,
)

KEPT_IN = "files/plans"
ON_GRID = ".on-grid"
"""In the names of copies that were redrawn square to the grid."""
_PLACING = ("grid_x_m", "grid_y_m", "metres_per_pixel", "rotation_deg")


@dataclass(frozen=True)
class Entered:
    """What was entered: the file's code, and the path of the copy redrawn on the grid ('' if none).

    `lies_under` says that the picture lies under the plans of its place from now on.
    """

    file_id: str
    redrawn: str
    lies_under: bool


def enter_trace(package: Package, trace: PlanTrace, *, who: str, when: str = "") -> Entered:
    """Enter a traced plan, which 'treenail change undo' takes back whole.

    Timber ends go into the table 'element', holes into 'tie' as coordinates, the picture with its
    placing into 'file', the fit and every marked point into 'plan_fit' and 'plan_point'.
    Raises UnusablePackage for a package of before there were such tables, and AlreadyThere when
    another picture of that name is kept.
    """
    missing = {FIT_TABLE, POINT_TABLE} - package.model.tables.keys()
    if missing:
        raise UnusablePackage(
            f"{package.folder} has no table '{min(missing)}' yet; bring it up to date with "
            f"'treenail new {package.folder} --update --profile {package.model.profile}'"
        )
    finish_writing(package.folder)
    with package.locked():
        files = _Files(package, trace)
        tables: dict[str, list[dict[str, str]]] = {
            "file": files.rows,
            "element": _elements(package, trace),
            "tie": _ties(package, trace, files.file_id),
            FIT_TABLE: _fits(package, trace, files.file_id),
            POINT_TABLE: _points(package, trace, files.file_id),
        }
        with writing_together(package.folder) as staging:
            for path, data in files.new.items():
                staging.write(path, data)
            why = f"traced on the plan {files.file_id} ({trace.picture.path.name})"
            stage_tables(package, staging, tables, why=why, who=who, when=when)
    return Entered(files.file_id, files.redrawn, files.lies_under)


def _written(value: float, digits: int = 3) -> str:
    text = f"{value:.{digits}f}"
    return "0" + text[2:] if text.startswith("-0") and not text.strip("-0.") else text


def _rows(package: Package, table: str) -> list[dict[str, str]]:
    return [dict(row) for row in package.tables.rows(table)]


def keep_picture(package: Package, picture: PlanPicture, subject: Subject, *, who: str) -> str:
    """Put the picture of a plan into the record, and return its code in the table 'file'.

    It is not fitted yet; one that is kept already stays as it is. Raises AlreadyThere when another
    picture of that name is kept.
    """
    finish_writing(package.folder)
    with package.locked():
        if kept := file_of(package, picture):
            return kept["file_id"]
        row = picture_row(package, picture, subject)
        with writing_together(package.folder) as staging:
            staging.write(row["path"], picture.data)
            why = f"kept the plan {row['file_id']} ({picture.path.name})"
            rows = [*_rows(package, "file"), row]
            stage_tables(package, staging, {"file": rows}, why=why, who=who)
    return row["file_id"]


def picture_row(package: Package, picture: PlanPicture, subject: Subject) -> dict[str, str]:
    """The row of the table 'file' for a picture that the record does not hold yet."""
    (copy,) = copies_of([picture.path], KEPT_IN)
    refuse_others(package, [copy])
    number = file_number(picture.sha256, set(package.tables.column("file", "file_id")))
    title = f"Plan of {subject.name}"
    return _file_row(package, copy.path, picture.data, number, title, subject)


def _file_row(
    package: Package, path: str, data: bytes, number: str, title: str, subject: Subject
) -> dict[str, str]:
    return dict.fromkeys(package.model.table("file").names, "") | {
        "file_id": number,
        "path": path,
        "kind": "plan",
        "title": title,
        "about_table": subject.table,
        "about_id": subject.key,
        "access": "restricted",
        "media_type": media_type_of(path),
        "byte_count": str(len(data)),
        "sha256": sha256(data).hexdigest(),
    }


class _Files:
    """The rows of the table 'file' with the picture, and the files that are to be written."""

    def __init__(self, package: Package, trace: PlanTrace) -> None:
        self._package, self._trace = package, trace
        self.rows = _rows(package, "file")
        self.new: dict[str, bytes] = {}
        self.redrawn = ""
        row = self._picture()
        self.file_id = row["file_id"]
        self._copies = f"{PurePosixPath(row['path']).with_suffix('')}{ON_GRID}-"
        for one in self.rows:
            # copies of an earlier fit stay, but lie under no plan any more
            if one is row or one["path"].startswith(self._copies):
                one |= dict.fromkeys(_PLACING, "")
        shown = row if self._lies_as_it_is() else self._copy_on_grid(row)
        self.lies_under = (shown["about_table"], shown["about_id"]) == self._about
        if shown is row:
            self._place(row)

    @property
    def _about(self) -> tuple[str, str]:
        return self._trace.subject.table, self._trace.subject.key

    def _lies_as_it_is(self) -> bool:
        return self._trace.fit.model == SIMILARITY and self._trace.picture.as_it_is

    def _picture(self) -> dict[str, str]:
        """The row of the picture, which is added where the record does not hold it."""
        picture = self._trace.picture
        if kept := file_of(self._package, picture):
            row = next(row for row in self.rows if row["file_id"] == kept["file_id"])
            if row["about_table"] in ("", "place", "site"):
                row["about_table"], row["about_id"] = self._about
            return row
        return self._add(picture_row(self._package, picture, self._trace.subject), picture.data)

    def _add(self, row: dict[str, str], data: bytes) -> dict[str, str]:
        self.rows.append(row)
        self.new[row["path"]] = data
        return row

    def _place(self, row: dict[str, str]) -> None:
        """Placing of the picture itself, by its lower left corner, scale and turn."""
        fit, picture = self._trace.fit, self._trace.picture
        x, y = fit.on_grid(np.array([[0.0, float(picture.height)]]))[0]
        row |= {
            "grid_x_m": _written(x, 4),
            "grid_y_m": _written(y, 4),
            "metres_per_pixel": f"{fit.mean_metres_per_pixel():.9g}",
            "rotation_deg": _written(fit.turn_deg(), 5),
        }

    def _copy_on_grid(self, row: Mapping[str, str]) -> dict[str, str]:
        """A copy drawn square to the grid, for what no corner, scale and turn can place."""
        trace = self._trace
        points = np.array([one.xy for one in trace.known] + [one.xy for one in trace.traced])
        data, x, y, size = trace.picture.redrawn(trace.fit, points)
        digest = sha256(data).hexdigest()
        self.redrawn = f"{self._copies}{digest[:8]}.jpg"
        copy = next((one for one in self.rows if one["path"] == self.redrawn), None)
        if copy is None:
            number = file_number(digest, {one["file_id"] for one in self.rows})
            title = f"{row['title']}, redrawn square to the site grid"
            subject = trace.subject
            described = _file_row(self._package, self.redrawn, data, number, title, subject)
            copy = self._add(described, data)
            copy["notes"] = f"Redrawn from {row['file_id']} by its fit."
        copy |= {
            "grid_x_m": _written(x, 4),
            "grid_y_m": _written(y, 4),
            "metres_per_pixel": f"{size:.9g}",
            "rotation_deg": "0",
        }
        return copy


def _elements(package: Package, trace: PlanTrace) -> list[dict[str, str]]:
    rows = _rows(package, "element")
    by_id: dict[str, dict[str, str]] = {}
    for row in rows:
        by_id.setdefault(row["element_id"], row)
    entered: dict[str, list[Traced]] = {}
    for one in trace.traced:
        if one.marked.kind == END and one.is_entered:
            entered.setdefault(one.marked.name, []).append(one)
    for name, ends in entered.items():
        row = by_id[name]
        for one in ends:
            for axis, value in zip("xy", one.xy, strict=True):
                row[f"{axis}{one.marked.end}_m"] = _written(value)
        radius = max(one.radius_m for one in ends)
        if row["za_m"] or row["zb_m"]:
            # with a height beside it the radius is that of a ball, which reaches less far level
            radius *= ELLIPSOID_95 / ELLIPSE_95
        if len(ends) == 1 and (before := float_of(row["position_uncertainty_m"])):
            radius = max(radius, before)  # one radius is for both ends
        row["position_uncertainty_m"] = _written(radius)
    return rows


def _ties(package: Package, trace: PlanTrace, file_id: str) -> list[dict[str, str]]:
    """The rows of the table 'tie' with the holes: coordinates read off the plan."""
    holes = {
        own_tie(file_id, one.marked.name): one
        for one in trace.traced
        if one.marked.kind == HOLE and one.is_entered
    }
    rows = [row for row in _rows(package, "tie") if row["tie_id"] not in holes]
    blank = dict.fromkeys(package.model.table("tie").names, "")
    # the deviation had the other name before it was told from a 95 % radius
    spread = "sd_m" if "sd_m" in blank else "uncertainty_m"
    for number, one in holes.items():
        # of the deviation the survey makes a range in its own way
        rows.append(
            blank
            | {
                "tie_id": number,
                "kind": "coordinate",
                "sample_id": one.marked.name,
                "x_m": _written(one.xy[0]),
                "y_m": _written(one.xy[1]),
                spread: _written(one.radius_m / trace.fit.times_sd, 4),
                "notes": f"Traced on the plan {file_id}.",
            }
        )
    return rows


def _fits(package: Package, trace: PlanTrace, file_id: str) -> list[dict[str, str]]:
    fit = trace.fit
    row = {
        "file_id": file_id,
        "place_id": trace.subject.key if trace.subject.table == "place" else "",
        "model": fit.model,
        "drawn_scale": f"{trace.scale:.5g}",
        "pencil_mm": f"{trace.pencil_mm:g}",
        "metres_per_pixel": f"{fit.mean_metres_per_pixel():.9g}",
        "turn_deg": _written(fit.turn_deg(), 5),
        "known_points": str(len(trace.known)),
        "spare_readings": str(fit.redundancy),
        "known_scatter": _written(fit.scatter, 2),
    }
    return [one for one in _rows(package, FIT_TABLE) if one["file_id"] != file_id] + [row]


def _points(package: Package, trace: PlanTrace, file_id: str) -> list[dict[str, str]]:
    blank = dict.fromkeys(package.model.table(POINT_TABLE).names, "")
    rows: list[dict[str, str]] = []

    def add(marked: Marked, xy: tuple[float, float], **more: str) -> None:
        end = f":{marked.end}" if marked.end else ""
        rows.append(
            blank
            | {
                "plan_point_id": f"{file_id}:{marked.kind}:{marked.name}{end}",
                "file_id": file_id,
                "kind": marked.kind,
                "pixel_x": f"{marked.pixel[0]:.2f}",
                "pixel_y": f"{marked.pixel[1]:.2f}",
                "x_m": _written(xy[0]),
                "y_m": _written(xy[1]),
            }
            | more
        )

    for at, known in enumerate(trace.known):
        across, up = trace.fit.residual[at]
        w = trace.fit.standard_residual[at]
        add(
            known.marked,
            known.xy,
            name="" if known.datum_id else known.marked.name,
            datum_id=known.datum_id,
            residual_x_m=_written(across),
            residual_y_m=_written(up),
            standard_residual="" if np.isnan(w) else _written(w, 2),
        )
    for one in trace.traced:
        add(
            one.marked,
            one.xy,
            element_id=one.marked.name if one.marked.kind == END else "",
            element_end=one.marked.end,
            sample_id=one.marked.name if one.marked.kind == HOLE else "",
            uncertainty_m=_written(one.radius_m),
            entered="true" if one.is_entered else "false",
        )
    now = {row["plan_point_id"] for row in rows}
    # what was traced at an earlier sitting stays; known points are those of the fit alone
    kept = [
        row
        for row in _rows(package, POINT_TABLE)
        if row["plan_point_id"] not in now and (row["file_id"] != file_id or row["kind"] != KNOWN)
    ]
    return kept + rows

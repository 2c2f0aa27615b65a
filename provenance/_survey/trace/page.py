"""The page on which a person marks known points, wood and holes; needs no network nor server."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from provenance._base.disk import write_text
from provenance._base.page_templates import page_templates
from provenance._base.visible import visible
from provenance._model.schema import Model
from provenance._record.package import Package
from provenance._survey.hole.known_points import KnownPoints, known_points
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.trace.picture import PlanPicture
from provenance._survey.trace.points import COLUMNS
from provenance._survey.trace.subject import Subject, subject_of_plan


def write_trace_page(
    package: Package, picture: PlanPicture, out: Path, *, place: str | None = None
) -> dict[str, int]:
    """Write the page for one picture; returns how many datums, pieces of wood and samples it lists.

    Listed are the datums of the site that have coordinates, and the wood and samples that may be on
    the plan, those without coordinates first. `place` is as in `subject_of_plan`.
    """
    known = known_points(package)
    record = known.record
    subject = subject_of_plan(package, record, place)
    offered = choices(package.model, known, subject)
    data: dict[str, Any] = {
        "address": picture.address(),
        "width": picture.width,
        "height": picture.height,
        "sha256": picture.sha256,
        "dotsPerInch": picture.dots_per_inch,
        "saveAs": f"{picture.path.stem}-points.csv",
        "columns": list(COLUMNS),
        **offered,
    }
    html = (
        page_templates("trace", "bundle")
        .get_template("trace.html")
        .render(
            title=f"Trace {picture.path.name} on the grid of {visible(subject.name)}",
            picture=picture.path.name,
            place=subject.key,
            data=data,
        )
    )
    write_text(out, html)
    names = {"datums": "datums", "woods": "timbers", "holes": "samples"}
    return {name: len(offered[key]) for key, name in names.items()}


def choices(model: Model, known: KnownPoints, subject: Subject) -> dict[str, list[dict[str, Any]]]:
    """What can be marked on a plan: `datums` with x and y in m, `woods` and `holes` with a remark.

    Those of `write_trace_page`.
    """
    record = known.record
    datums = [
        {"name": name, "x": round(float(x), 4), "y": round(float(y), 4)}
        for name, site, (x, y) in zip(
            record.column("datum", "datum_id"),
            record.column("datum", "site_id"),
            known.datums[:, :2],
            strict=True,
        )
        if site == subject.site_id and np.isfinite(x)
    ]
    woods = _woods(model, record, subject, np.isfinite(known.ends[:, 0]))
    chosen = {one["name"] for one in woods}
    holes = [
        {"name": sample, "says": f"in {wood}"}
        for sample, wood in zip(
            record.column("sample", "sample_id"), record.column("sample", "element_id"), strict=True
        )
        if wood in chosen
    ]
    return {"datums": datums, "woods": woods, "holes": holes}


def _woods(
    model: Model, record: FieldRecord, subject: Subject, has_place: np.ndarray
) -> list[dict[str, str]]:
    """The wood that may be on a plan; what has no coordinates yet comes first."""
    functions = {term.code: term.label for term in model.vocabularies["element_function"].terms}
    found = []
    names = ("element_id", "site_id", "place_id", "function")
    columns = (record.column("element", one) for one in names)
    for at, (name, site, place, function) in enumerate(zip(*columns, strict=True)):
        if site != subject.site_id or not subject.may_hold(record, place):
            continue
        done = bool(has_place[2 * at] and has_place[2 * at + 1])
        says = ", ".join(filter(None, (functions.get(function, function), place)))
        found.append({"name": name, "says": says + ("; has coordinates" if done else "")})
    return sorted(found, key=lambda one: one["says"].endswith("has coordinates"))

"""The map: scans fitted to the grid, points placed by clicking or by tapes, plans to scale."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._desk.answers import Answer, Done, Page, Sent, Told, Work
from provenance._desk.asked import Asked
from provenance._desk.inputs import inputs_of
from provenance._desk.map.data import (
    contents_of,
    fit_told,
    known_marks,
    marks_before,
    placing,
    readings_told,
    record_told,
    scan_named,
    scans_of,
    traced,
    uploaded_scan,
)
from provenance._desk.map.marks import forget_marks, keep_marks, marks_kept
from provenance._desk.pages import Pages
from provenance._drawing.paper import PAPERS
from provenance._model.spoken import spoken
from provenance._record.computed_from import changed_sources
from provenance._record.package import Package
from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.hole.known_points import KnownPoints, known_points
from provenance._survey.plan.plan import write_plans
from provenance._survey.plan.plan_content import levels_of
from provenance._survey.plan.plan_sheet import scale_that_fits
from provenance._survey.plan.sheet_parts import scale_words, scales_of
from provenance._survey.taping import NEEDED, enter_ties
from provenance._survey.trace.entering import enter_trace, keep_picture
from provenance._survey.trace.subject import Subject, subject_of_plan

if TYPE_CHECKING:
    from provenance._base.progress import Progress
    from provenance._desk.inputs import Input
    from provenance._survey.plan.plan_content import PlanContent

pages = Pages()
SEEN_PX = 6_000
"""The longest side of a scan in the browser; clicks are counted in pixels of the scan itself."""
_READINGS = 3
"""Rows for readings that the form begins with: three tapes fix a point."""
_READING = re.compile(r"(\d{1,3})-(\w+)")
_TARGETS = ("element_id", "element_end", "sample_id", "target_datum_id")
_SHARED = ("measured_on", "measured_by")
_SHOWN_FINDINGS = 12


@dataclass(frozen=True)
class _Plan:
    """The plan that a request is about."""

    asked: Asked
    place: str

    @cached_property
    def package(self) -> Package:
        return self.asked.record

    @cached_property
    def known(self) -> KnownPoints:
        return known_points(self.package)

    @cached_property
    def subject(self) -> Subject:
        return subject_of_plan(self.package, self.known.record, self.place)

    @cached_property
    def level(self) -> int | None:
        text = self.asked.query.get("level") or self.asked.text("level")
        return int(text) if re.fullmatch(r"-?\d{1,3}", text) else None

    @cached_property
    def contents(self) -> list[PlanContent]:
        return contents_of(self.package, self.known, self.subject, self.level)

    def to(self, file_id: str, show: str | None = None) -> str:
        """The address of the page, with a scan ('' for none) and the point that it shows."""
        level = None if self.level is None else str(self.level)
        return self.asked.at("plan", self.place, file=file_id, level=level, show=show)


@pages.shown("/record/{record}/plans", title=N_("Map"), group=N_("In the field"))
def plans(asked: Asked) -> Answer:
    """The places with what their plans show."""
    package = asked.record
    known = known_points(package)
    record = known.record
    listed = []
    names = zip(record.column("place", "place_id"), record.column("place", "name"), strict=True)
    for place_id, name in names:
        subject = subject_of_plan(package, record, place_id)
        (content,) = contents_of(package, known, subject, None)
        scans = scans_of(package, known, subject)
        listed.append(
            {
                "place_id": place_id,
                "name": name,
                "depth": len(record.places_round(place_id)) - 1,
                "to": asked.at("plan", place_id),
                "scans": sum(one.is_placed for one in scans),
                "loose_scans": sum(not one.is_placed for one in scans),
                "woods": len(content.woods),
                "holes": len(content.holes),
                "doubts": len(content.doubts),
            }
        )
    sites = [(one, asked.at("plan", one)) for one in record.column("site", "site_id")]
    return Page("map/plans.html", {"places": listed, "sites": sites, "stale": _stale(package)})


@pages.shown("/record/{record}/plan/{place:path}")
def plan(asked: Asked) -> Answer:
    """One plan: the scan or a grid with what the record has, and the forms."""
    here = _Plan(asked, asked.address["place"])
    package, known, subject = here.package, here.known, here.subject
    scans = scans_of(package, known, subject)
    wanted = asked.query.get("file")
    if wanted is None:
        wanted = next((one.file_id for one in scans if one.is_placed), "")
    elif wanted and wanted not in {one.file_id for one in scans}:
        raise UnusableInput(f"the record has no plan '{wanted}' of {subject.key}")
    model = spoken(package.model)
    inputs = {one.name: one for one in inputs_of(model, model.table("tie"))}
    levels = levels_of(known.record, subject.key) if subject.table == "place" else []
    values = {
        "subject": subject,
        "place": here.place,
        "scans": scans,
        "scan": wanted,
        "levels": levels if len(levels) > 1 else [],
        "level": here.level,
        "ties": _tie_form(inputs),
        "used": _used(),
        "keys": _keys(known, subject),
        "stale": _stale(package),
        "print": _print_form(here),
        "scale_list": [scale_words(one, package.model.measures)
                       for one in scales_of(package.model.measures)],
    }  # fmt: skip
    return Page("map/plan.html", values)


def _tie_form(inputs: dict[str, Input]) -> dict[str, Any]:
    measured = [
        one
        for name, one in inputs.items()
        if name not in (*_TARGETS, *_SHARED, "notes", "tie_id") and not one.readonly
    ]
    return {
        "targets": [inputs[name] for name in _TARGETS if name in inputs],
        "measured": measured,
        "shared": [inputs[name] for name in (*_SHARED, "notes") if name in inputs],
        "rows": range(1, _READINGS + 1),
        "unit": inputs["x_m"].unit,
        "range_unit": inputs["sd_m"].unit,
    }


def _used() -> dict[str, list[str]]:
    """Kind of a tie → the fields that are filled in for it."""
    more = {"bearing": ["distance_m", "sd_deg"]}
    return {kind: ["kind", *names, *more.get(kind, []), "sd_m"] for kind, names in NEEDED.items()}


def _keys(known: KnownPoints, subject: Subject) -> dict[str, list[str]]:
    record = known.record
    woods = zip(*(record.column("element", n) for n in ("element_id", "place_id")), strict=True)
    mine = [wood for wood, place in woods if subject.may_hold(record, place)]
    chosen = set(mine)
    samples = zip(*(record.column("sample", n) for n in ("sample_id", "element_id")), strict=True)
    return {
        "element": mine,
        "sample": [sample for sample, wood in samples if wood in chosen],
        "datum": record.column("datum", "datum_id").to_list(),
    }


def _stale(package: Package) -> list[str]:
    """Titles of the tables that were changed since the positions were computed."""
    changed = changed_sources(package, package.tables, "survey")
    return [spoken(package.model).table(name).title for name in changed]


def _print_form(here: _Plan) -> dict[str, Any] | None:
    """Papers with the largest scale that fits each; None where there is nothing to draw."""
    if here.subject.table != "place":
        return None
    measures = here.package.model.measures
    (content,) = here.contents
    fits = {one.name: scale_that_fits(content, one) for one in PAPERS}
    said = [(name, scale_words(scale, measures)) for name, scale in fits.items() if scale]
    return {"papers": said} if said else None


# -- what the script asks --------------------------------------------------------------------------


@pages.shown("/record/{record}/plan-data")
def plan_data(asked: Asked) -> Answer:
    """The record on a plan, the scan, and what was marked on it before."""
    here = _Plan(asked, asked.query.get("place", ""))
    told = record_told(here.package, here.known, here.subject, here.level)
    file_id = asked.query.get("file", "")
    if not file_id:
        return Told(told)
    picture = scan_named(here.package, file_id)
    kept = None if asked.desk.read_only else marks_kept(here.package, picture)
    before = kept or marks_before(here.package, file_id)
    told |= {
        "scan": {
            "file": file_id,
            "sha256": picture.sha256,
            "width": picture.width,
            "height": picture.height,
            "at": asked.at("plan-picture", file=file_id),
        },
        "matrix": placing(here.package, file_id, picture.height),
        "before": before,
        "is_kept": kept is not None,
    }
    if known_marks(before) > 1:
        try:
            trace = traced(here.package, picture, here.place, before)
        except UnusableInput as error:
            # a datum may have gone since; the marks are still there to be mended
            told["problem"] = str(error)
        else:
            told["fit"] = fit_told(trace, here.package.model.measures)
    return Told(told)


@pages.shown("/record/{record}/plan-picture")
def plan_picture(asked: Asked) -> Answer:
    """A scan drawn anew, upright."""
    data, media_type = scan_named(asked.record, asked.query.get("file", "")).seen(SEEN_PX)
    return Sent(data, "plan", media_type, shown=True)


@pages.shown("/record/{record}/plan-readings")
def plan_readings(asked: Asked) -> Answer:
    """How each reading fits, by point."""
    here = _Plan(asked, asked.query.get("place", ""))
    keys = [f"datum:{one}" for one in here.known.record.column("datum", "datum_id")]
    for content in here.contents:
        keys += [f"end:{one.element_id}:{end}" for one in content.woods for end in "ab"]
        keys += [f"hole:{one.sample_id}" for one in content.holes]
    return Told(readings_told(here.package, keys))


@pages.done("/record/{record}/plan-fit")
def plan_fit(asked: Asked) -> Answer:
    """How the points fit, and where what was marked lies; the marks are kept aside, not entered."""
    package = asked.record
    sent = _sent(asked)
    picture = scan_named(package, str(sent.get("file", "")))
    if sent.get("points"):
        keep_marks(package, picture, sent)
    else:
        forget_marks(package, picture)
    if known_marks(sent) < 2:
        return Told(None)
    trace = traced(package, picture, str(sent.get("place", "")), sent)
    return Told(fit_told(trace, package.model.measures))


def _sent(asked: Asked) -> dict[str, Any]:
    if not isinstance(asked.value, dict):
        raise UnusableInput("the points did not arrive; load the page again")
    return asked.value


# -- acts ------------------------------------------------------------------------------------------


@pages.done("/record/{record}/plan-scan")
def plan_scan(asked: Asked) -> Answer:
    """Put a scanned plan into the record."""
    here = _Plan(asked, asked.needed("place", _("The place")))
    picture = uploaded_scan(asked.files.get("scan", ()))
    file_id = keep_picture(here.package, picture, here.subject, who=asked.by)
    said = _("{name} is in the record as {code}. Mark two or more known points on it.")
    return Done(here.to(file_id), said.format(name=picture.path.name, code=file_id))


@pages.done("/record/{record}/plan-enter")
def plan_enter(asked: Asked) -> Answer:
    """Enter what was marked on a scan, and compute all positions anew."""
    sent, package, by = _sent(asked), asked.record, asked.by
    here = _Plan(asked, str(sent.get("place", "")))
    picture = scan_named(package, str(sent.get("file", "")))
    trace = traced(package, picture, here.place, sent)

    def work(progress: Progress) -> Done:
        done = enter_trace(package, trace, who=by)
        forget_marks(package, picture)
        count = sum(one.is_entered for one in trace.traced)
        entered = _("Points entered from the plan {code}: {count}.")
        said = [entered.format(count=count, code=done.file_id)]
        if not done.lies_under:
            said.append(_("The picture is filed under something else: it lies under no plan."))
        about = {one.marked.name for one in trace.traced}
        said += _surveyed(package, progress, about)
        return Done(here.to(done.file_id), "\n".join(said))

    return Work(_("Entering the plan"), work)


@pages.done("/record/{record}/plan-ties")
def plan_ties(asked: Asked) -> Answer:
    """Enter readings of tapes, and compute all positions anew."""
    here = _Plan(asked, asked.needed("place", _("The place")))
    package = here.package
    shared = {name: text for name in (*_TARGETS, *_SHARED, "notes") if (text := asked.text(name))}
    rows: dict[int, dict[str, str]] = {}
    for name in asked.form:
        if (found := _READING.fullmatch(name)) and (text := asked.text(name)):
            rows.setdefault(int(found[1]), {})[found[2]] = text
    # a kind alone is what the form began with
    typed = [row for _number, row in sorted(rows.items()) if row.keys() - {"kind"}]
    target = _target(shared)
    to = here.to(asked.text("file"), target)

    # before the longer work, so that the form is still there when something must be mended
    done = enter_ties(package, [row | shared for row in typed], who=asked.by)

    def work(progress: Progress) -> Done:
        said = _("Readings entered: {count}.").format(count=len(typed))
        about = {one.key for one in done.changes} | set(target.split(":")[1:2])
        told = "\n".join([said, *_surveyed(package, progress, about)])
        return Done(to, told)

    return Work(_("Computing positions"), work)


def _target(cells: dict[str, str]) -> str:
    """What the table 'position' calls the point that readings are to."""
    if sample := cells.get("sample_id"):
        return f"hole:{sample}"
    if datum := cells.get("target_datum_id"):
        return f"datum:{datum}"
    return f"end:{cells.get('element_id', '')}:{cells.get('element_end', '')}"


@pages.done("/record/{record}/plan-survey")
def plan_survey(asked: Asked) -> Answer:
    """Compute all positions anew."""
    package, back = asked.record, asked.text("back") or asked.at("plans")
    return Work(
        _("Computing positions"),
        lambda progress: Done(back, "\n".join(_surveyed(package, progress))),
    )


def _surveyed(package: Package, progress: Progress, about: set[str] | None = None) -> list[str]:
    """Compute positions, and say what the survey found, of some keys alone if asked for."""
    result = survey_package(package, progress=progress)
    said = [_("All positions are computed anew.")]
    told = [
        f"{one.message} {one.remedy}"
        for one in result.findings
        if about is None or one.key in about
    ]
    said += told[:_SHOWN_FINDINGS]
    if more := len(told) - _SHOWN_FINDINGS:
        said += [_("… and {more} more").format(more=more)] * (more > 0)
    return said


@pages.done("/record/{record}/plan-print")
def plan_print(asked: Asked) -> Answer:
    """Draw the plan to scale as PDF; the address to fetch it is shown in place."""
    here = _Plan(asked, asked.needed("place", _("The place")))
    drawn = write_plans(
        here.package,
        asked.desk.scratch(),
        place=here.place,
        level=here.level,
        paper=asked.needed("paper", _("The paper")),
        scale=asked.text("scale") or None,
        strips="strips" in asked.form,
    )
    made = [
        (path.name, asked.desk.made(Sent(path, path.name, "application/pdf", shown=True)))
        for path in drawn.paths
    ]
    return Page("map/made.html", {"made": made}, whole=False)

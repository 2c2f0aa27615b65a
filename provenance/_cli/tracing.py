"""`treenail survey trace`: from a plan on paper to wood and holes with coordinates."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._cli.options import (
    EXISTING_FILE,
    Number,
    by_option,
    counted,
    named_package_argument,
    out_option,
)

if TYPE_CHECKING:
    from provenance._survey.trace.tracing import PlanTrace, Traced


@click.command("trace")
@named_package_argument
@click.argument("picture", type=EXISTING_FILE)
@click.option("--place", help="Code of the story, building or site that the plan shows.")
@click.option("--points", type=EXISTING_FILE, metavar="FILE", help="Read marked points back.")
@click.option("--scale", type=Number(1), metavar="N", help="The plan is drawn at 1:N.")
@click.option(
    "--fit",
    "model",
    type=click.Choice(["auto", "similarity", "affine", "projective"]),
    default="auto",
    show_default=True,
    help="similarity: a true scan; affine: paper that shrank one way; projective: a photo taken at "
    "an angle, five known points or more; auto chooses between the first two.",
)
@click.option(
    "--pencil",
    type=Number(0.05),
    default=0.5,
    show_default=True,
    metavar="MM",
    help="Drawing accuracy, in mm on the paper (one standard deviation).",
)
@click.option("--replace", is_flag=True, help="Also replace other coordinates in the record.")
@click.option("--dry-run", is_flag=True, help="Fit and report, but write nothing.")
@click.option("--yes", is_flag=True, help="Enter the points without asking.")
@by_option
@out_option
def trace(
    package: Path,
    picture: Path,
    place: str | None,
    points: Path | None,
    scale: float | None,
    model: str,
    pencil: float,
    replace: bool,
    dry_run: bool,
    yes: bool,
    by: str,
    out: Path | None,
) -> None:
    """Trace timbers and holes on PICTURE, a scanned plan (PNG, JPEG, TIFF), into PACKAGE.

    \b
    1. treenail survey trace hollin plan.png --place B1
       writes plan-trace.html; open it in a browser, mark two or more known points, timber ends and
       holes, and save
    2. treenail survey trace hollin plan.png --place B1 --points plan-points.csv

    The second command fits the plan to the site grid by the known points, shows the fit of each,
    and asks before it enters anything. Timber ends without coordinates get them, with a 95 %
    radius; holes become ties of the kind coordinate. Coordinates from elsewhere stay, unless
    --replace is given. The picture, its fit and all points are kept, and 'treenail print plan'
    draws over it. 'treenail change undo PACKAGE last' undoes all of it.

    Points can be typed as well, from any picture viewer: a table (CSV, XLSX, ODS) with the columns
    kind (known, end, hole), name (datum, wood, sample), end (a, b), pixel_x, pixel_y, counted from
    the upper left corner; for a known point that is not a datum x_m, y_m and uncertainty_m (95 %).
    A line of the kind scale has 50 as its name for a plan drawn at 1:50.

    Exit codes: 0 entered or the page written, 1 the ranges may not hold, the record has a point
    elsewhere, or the answer was no, 2 nothing could be done.
    """
    from provenance._record.package import open_to_change
    from provenance._survey.trace.picture import open_plan

    opened = open_to_change(package)
    plan = open_plan(picture)
    if points is None:
        from provenance._survey.trace.page import write_trace_page

        path = out or Path(f"{picture.stem}-trace.html")
        listed = write_trace_page(opened, plan, path, place=place)
        click.echo(f"wrote {path}, with {', '.join(f'{n} {w}' for w, n in listed.items())}")
        click.echo(
            "open it in a browser, mark and save; it shows where things are: keep it private"
        )
        return
    if out is not None:
        raise click.UsageError("--out goes with the page; with --points the record is written")
    from provenance._survey.trace.entering import enter_trace
    from provenance._survey.trace.points import read_points
    from provenance._survey.trace.tracing import trace_plan

    found = trace_plan(
        opened,
        plan,
        read_points(opened, points, plan),
        place=place,
        model=model,
        scale=scale,
        pencil_mm=pencil,
        replace=replace,
    )
    for line in _told(found):
        click.echo(line)
    entered = sum(one.is_entered for one in found.traced)
    if not dry_run:
        if not yes and not _agreed():
            click.echo("nothing was written", err=True)
            sys.exit(1)
        done = enter_trace(opened, found, who=by)
        click.echo(f"entered {counted(entered, 'point')}; the plan is {done.file_id}")
        if done.redrawn:
            click.echo(f"redrawn square to the grid as {done.redrawn}")
        click.echo(
            f"next: treenail survey compute {package}, then treenail print plan {package}"
            if done.lies_under
            else "the picture is filed under something else, so it is not shown under a plan"
        )
    if found.doubtful or any(one.disagrees for one in found.traced):
        sys.exit(1)


def _agreed() -> bool:
    if not sys.stdin.isatty():
        click.echo("no one is there to ask; say --yes to enter this", err=True)
        return False
    return click.confirm("Enter this into the record?", default=False)


_MODELS = {
    "similarity": "one scale in all directions",
    "affine": "two scales, for paper that shrank one way",
    "projective": "perspective, for a photo",
}


def _told(found: PlanTrace) -> Iterator[str]:
    from provenance._base.visible import visible

    fit = found.fit
    yield (
        f"{found.picture.path.name} on the grid of {found.subject.key}: "
        f"{_MODELS[fit.model]}; drawn at 1:{found.scale:.4g}, "
        f"one pixel is {fit.mean_metres_per_pixel() * 1000:.2f} mm, turned {fit.turn_deg():.2f}°"
    )
    yield f"{'known point':16}{'x m':>10}{'y m':>10}{'off x cm':>10}{'off y cm':>10}{'w':>7}"
    for one, (across, up), w in zip(found.known, fit.residual, fit.standard_residual, strict=True):
        shown = f"{w:.1f}" if w == w else "-"
        yield (
            f"{visible(one.marked.name):16}{one.xy[0]:10.3f}{one.xy[1]:10.3f}{across * 100:10.1f}"
            f"{up * 100:10.1f}{shown:>7}"
        )
    yield (
        "w: how many times its own standard deviation a point is off; '-' where nothing checks it. "
        f"Known points scatter {fit.scatter:.2f} times as much as assumed."
    )
    for note in found.notes:
        yield f"note: {visible(note)}"
    if found.traced:
        yield ""
        yield f"{'traced':20}{'x m':>10}{'y m':>10}{'95 % cm':>9}"
    for point in found.traced:
        yield visible(_line(point)).rstrip()


def _line(one: Traced) -> str:
    name = f"{one.marked.name} {one.marked.end.upper()}" if one.marked.end else one.marked.name
    apart = "" if one.apart_m is None else f", {one.apart_m * 100:.1f} cm away"
    if one.disagrees:
        apart += ": more than the range, compare them"
    says = {
        "new": "",
        "again": f"  traced again{apart}",
        "kept": f"  not entered, {one.because}{apart}",
        "replaced": f"  instead of {one.because}{apart}",
    }[one.becomes]
    return f"{name:20}{one.xy[0]:10.3f}{one.xy[1]:10.3f}{one.radius_m * 100:9.1f}{says}"

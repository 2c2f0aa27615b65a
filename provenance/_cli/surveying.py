"""`treenail survey compute`, `print plan`, `print relocation`: where the wood and the holes are."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._base.languages import speaking
from provenance._cli.options import (
    asked,
    format_option,
    most_option,
    named_package_argument,
    note_renamed,
    out_option,
    paper_option,
    progress_bar,
    reads_package,
    site_option,
)

if TYPE_CHECKING:
    from provenance._base.findings import Finding
    from provenance._model.measures import Measures
    from provenance._survey.adjust.adjustment import SurveyResult


_VERDICTS = (
    ("fits", "whose readings fit"),
    ("one_left_out", "with a misread reading left out"),
    ("conflict", "with readings that conflict"),
    ("two_places", "at one of two places"),
    ("unchecked", "hardly checked"),
)
"""Codes of the vocabulary position_verdict, as an overview words them."""
_FEW_CHECKS = 20
"""With fewer spare readings the scatter of a crew cannot be told (benchmarks/ranges.py)."""


@click.command("compute")
@reads_package()
@site_option
@click.option("--residuals", is_flag=True, help="Show the fit of each reading.")
@most_option(40, "Findings to show")
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the positions to this file (.csv) instead of PACKAGE.",
)
def compute(package: Path, site: str | None, residuals: bool, most: int, out: Path | None) -> None:
    """Compute the positions of timber ends, holes and datums in PACKAGE, with their reliability.

    Tape distances, offsets, bearings and heights (table tie) become site grid coordinates with 95 %
    ranges in the table position, which is rewritten. If readings conflict or fit two places, no
    range is given, and the table position_place lists every place. The crew's measurements are not
    changed. For a bundle, positions are only computed: --out writes them.
    """
    from provenance._base.disk import writing
    from provenance._base.frames import write_csv
    from provenance._base.visible import visible
    from provenance._survey.adjust.adjustment import adjust_survey, survey_package
    from provenance._survey.residual_text import residual_lines

    opened = asked(package, writes=out is not None)
    with progress_bar("survey") as progress:
        only_look = out is not None or opened.bundle is not None
        adjust = adjust_survey if only_look else survey_package
        result = adjust(opened, site=site, progress=progress)
    if residuals:
        for line in residual_lines(result.residuals, opened.model.measures):
            click.echo(visible(line))
        click.echo()
    click.echo(_overview(result, opened.model.measures))
    _show(result.findings, most)
    if out is not None:
        with writing(out) as stream:
            write_csv(stream, result.position_table)
        click.echo(f"wrote {out}")
    elif opened.bundle:
        click.echo("wrote nothing, because a bundle is never changed; --out FILE.csv writes them")
    else:
        click.echo(f"wrote {opened.table_path('position')}")
        if len(result.place_table) and "position_place" in opened.model.tables:
            more = opened.table_path("position_place")
            click.echo(f"wrote {more}, where points may be elsewhere")
    if any(finding.severity != "note" for finding in result.findings):
        raise click.exceptions.Exit(1)


def _overview(result: SurveyResult, measures: Measures) -> str:
    kinds = result.positions["point_kind"].value_counts()
    counts = ", ".join(
        f"{int(kinds.get(kind, 0))} {words}"
        for kind, words in (("element_end", "timber ends"), ("hole", "holes"), ("datum", "datums"))
    )
    adjusted = result.positions[result.positions["found_by"] == "adjusted"]
    line = f"placed {counts}"
    told = [f"{(adjusted['verdict'] == code).sum()} {words}" for code, words in _VERDICTS]
    told = [one for one in told if not one.startswith("0 ")]
    if told:
        line += f"; points from readings: {', '.join(told)}"
    if adjusted["u95_major_m"].notna().any():
        middle = float(adjusted["u95_major_m"].median())
        line += f"; good to {measures.say(middle, 'm', 'range')} (95 %, median)"
    if result.redundancy:
        line += (
            f"; {result.redundancy} readings more than needed, which scatter "
            f"{result.spread_ratio:.2f} times as much as assumed"
        )
        if result.redundancy < _FEW_CHECKS:
            line += ", too few to tell: the ranges rest on the assumed standard deviations"
    return line


def _show(findings: tuple[Finding, ...], most: int) -> None:
    shown = findings[: most or None]
    for finding in shown:
        where = f"{finding.table}.csv" + (f" row {finding.row}" if finding.row else "")
        click.echo(f"{finding.severity}: {where}: {finding.message} {finding.remedy}")
    if len(findings) > len(shown):
        click.echo(f"… and {len(findings) - len(shown)} more findings; --most 0 shows all")


@click.command("plan")
@reads_package()
@click.option("--place", help="Only this building (code of the place).")
@click.option("--level", type=int, help="Only this story; 0 is the ground floor.")
@format_option(
    "pdf", "svg", "geojson", "gpkg", says="Drawings (pdf, svg) or map data (geojson, gpkg)."
)
@click.option(
    "--scale",
    help="One scale for all drawn plans: 1:100, '1 in = 20 ft', '1/4 in = 1 ft'; the largest that "
    "fits when left out.",
)
@paper_option
@out_option
def plan(
    package: Path,
    place: str | None,
    level: int | None,
    shape: str,
    scale: str | None,
    paper: str,
    out: Path | None,
) -> None:
    """Draw scaled plans of the buildings in PACKAGE, with timbers, holes, stamps and datums.

    Also draws the side of every sampled timber. With --format geojson or gpkg, the same content is
    written for a GIS; GeoJSON only if the site grid is tied to a map grid. --out is a folder for
    drawings (default: plans/) and a file for map data. A hole with conflicting readings has no
    single place in map data; the layer 'places' lists all possible places with their probability.
    """
    from provenance._record.edition_key import is_public

    opened = asked(package)
    if scale and shape not in ("pdf", "svg"):
        raise click.UsageError("--scale is for drawings; map data has none")
    if shape in ("pdf", "svg"):
        from provenance._survey.plan.plan import write_plans

        with speaking(opened.model.language), progress_bar("plan") as progress:
            drawn = write_plans(
                opened,
                out or Path("plans"),
                place=place,
                level=level,
                format=shape,
                paper=paper,
                scale=scale,
                progress=progress,
            )
        for path in drawn.paths:
            click.echo(f"wrote {path}")
        for building in drawn.empty:
            click.echo(f"nothing in {building} has coordinates yet")
    elif shape == "geojson":
        from provenance._survey.maps.geojson import write_geojson

        path = write_geojson(
            opened, out or Path(f"{opened.name}.geojson"), place=place, level=level
        )
        click.echo(f"wrote {path}, on WGS 84")
    else:
        from provenance._survey.maps.geopackage import write_geopackage

        path = out or Path(f"{opened.name}.gpkg")
        on_map = write_geopackage(opened, path, place=place, level=level)
        click.echo(f"wrote {path}, on {'WGS 84' if on_map else 'the site grid, which has no map'}")
    if not is_public(opened):
        click.echo("these show where things are: keep them out of the public edition")


@click.command("relocation")
@reads_package(named_package_argument)
@click.argument("samples", nargs=-1, required=True)
@paper_option
@out_option
def relocation(package: Path, samples: tuple[str, ...], paper: str, out: Path | None) -> None:
    """Print one relocation page per sample, as PDF, to find its hole again.

    Plan, timber, stamp right way up and upside down, tape distances from datums, keeper, results
    and cautions. --out is the folder (default: relocation/).
    """
    from provenance._identity.selection import sample_of_package
    from provenance._record.edition_key import is_public
    from provenance._survey.relocation import write_relocation_sheets

    opened = asked(package)
    numbers = list(dict.fromkeys(sample_of_package(opened.tables, one) for one in samples))
    for one in samples:
        note_renamed(opened.tables, one)
    with progress_bar("relocate") as progress:
        paths = write_relocation_sheets(
            opened, numbers, out or Path("relocation"), paper=paper, progress=progress
        )
    for path in paths:
        click.echo(f"wrote {path}")
    if not is_public(opened):
        click.echo("these show where things are: keep them out of the public edition")

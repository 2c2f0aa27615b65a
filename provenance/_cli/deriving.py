"""`treenail derive`: what sizes and dates then say."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._cli.options import Number, asked, counted, out_option, reads_package

if TYPE_CHECKING:
    from collections.abc import Mapping

    import polars as pl

    from provenance._derive.summary import Derived
    from provenance._record.package import Package


@click.command("derive")
@reads_package()
@out_option
@click.option(
    "--window",
    type=click.IntRange(1),
    default=3,
    show_default=True,
    help="Years within which all trees of one phase were felled.",
)
@click.option(
    "--least",
    type=click.IntRange(1),
    default=3,
    show_default=True,
    help="Trees that make a phase.",
)
@click.option(
    "--narrow",
    type=click.IntRange(0),
    help="How many of them must have a narrow date.  [default: 2, or --least where that is fewer]",
)
@click.option(
    "--narrow-years",
    type=click.IntRange(0),
    default=10,
    show_default=True,
    help="Most years from earliest to latest felling for a narrow date.",
)
@click.option(
    "--stored",
    type=click.IntRange(0),
    default=5,
    show_default=True,
    help="Wood felled up to this many years before the largest phase counts as stored, not reused.",
)
@click.option(
    "--end-error",
    type=Number(0),
    default=1.0,
    show_default=True,
    help="Trees: cm by which the diameter at each end is reduced, if the record assumes no error.",
)
def derive(
    package: Path,
    out: Path | None,
    window: int,
    least: int,
    narrow: int | None,
    narrow_years: int,
    stored: int,
    end_error: float,
) -> None:
    """Derive sizes, volumes, trees, fellings and phases of PACKAGE; draw the figures.

    Relations between places, with the years from wood and documents, give the possible building
    sequence; contradictions are listed.

    Derived tables go into the package, figures into --out (default: PACKAGE-figures in the current
    folder); for a bundle, both go into --out. Estimates are marked as such; nothing here is a date
    of construction. Hours of labor come from the rates in the table 'assumption', each with its
    source.

    A phase needs trees whose earliest and latest felling years are both known. A near-cutting date
    has only an earliest year: enter the most rings lost, with a source, in the table 'assumption'
    (near_cutting_rings), and such dates count too.
    """
    from provenance._derive.dates.phases import PhaseRule
    from provenance._derive.figures.figures import draw_figures
    from provenance._derive.summary import derive_package

    opened = asked(package)
    name = opened.name if opened.bundle else opened.folder.resolve().name
    folder = out or Path(f"{name}-figures")
    into = folder if opened.bundle else opened.table_path("size").parent
    derived = derive_package(
        opened,
        into=folder if opened.bundle else None,
        phase_rule=PhaseRule(
            window, least, min(2, least) if narrow is None else narrow, narrow_years
        ),
        stored_years=stored,
        end_error_cm=end_error,
    )
    for name, frame in derived.tables.items():
        click.echo(f"{into / name}.csv: {len(frame)} rows")
    _tell_buildings(opened, derived)
    _tell_forest(opened, derived)
    if "wood_use" in derived.tables:  # an older package has none
        _tell_use_of_wood(derived.tables)
    for figure in draw_figures(opened, derived, folder):
        click.echo(f"{figure.files['svg']}, .png and .csv: {figure.title}")


def _tell_buildings(package: Package, derived: Derived) -> None:
    """What the place pages of a bundle say too, building by building."""
    from provenance._derive.story import FELLED_NOT_BUILT, Story
    from provenance._derive.wood.tree_words import STEMS, TreeWords

    story = Story(package, derived.tables)
    if "phase" in derived.tables:
        click.echo(f"\nThe rule for a felling phase: {derived.phase_rule}.")
    for place, name in story.buildings:
        if told := story.of_place(place, short=True):
            click.echo("\n  ".join([f"\n{place}, {name}:", *told]))
    trees = TreeWords(package, derived.tables)
    if told := trees.of(missing=True):
        click.echo("\n  ".join(["\nThe entire record:", *told, STEMS, FELLED_NOT_BUILT]))
    if derived.order_contradictions:
        contradictions = derived.order_contradictions
        click.echo("\n  ".join(["\nWhat contradicts the order of building:", *contradictions]))


def _tell_forest(package: Package, derived: Derived) -> None:
    from provenance._derive.dates.age_change import age_changes
    from provenance._derive.dates.ring_series import widths_not_read

    changes = age_changes(derived.tables["tree_age"]) if "tree_age" in derived.tables else ()
    if changes:
        click.echo("\nAge at felling:")
    for change in changes:
        click.echo(f"  {change.in_words}")
    for said in widths_not_read(package):
        click.echo(f"\nRing widths not read: {said}")


def _tell_use_of_wood(tables: Mapping[str, pl.DataFrame]) -> None:
    import polars as pl

    used = tables["wood_use"]
    pieces = pl.col("piece_count")
    looked_at = used.filter(
        pl.col("decoration").is_not_null() & (pl.col("decoration") != "unknown")
    )
    decorated = looked_at.filter(pl.col("decoration") != "none")
    shapes = used.group_by(pl.col("shape").fill_null("not noted")).agg(pieces.sum())
    by_count = shapes.sort("piece_count", "shape", descending=[True, False])
    said = [f"{count} {shape.replace('_', ' ')}" for shape, count in by_count.iter_rows()]
    click.echo(
        f"\nUse of wood (wood_use.csv; {counted(int(used['piece_count'].sum()), 'piece')}): "
        f"{', '.join(said) or 'none'}; decorated {decorated['piece_count'].sum()} of "
        f"{looked_at['piece_count'].sum()} looked at"
    )
    if tables["labor"].is_empty():
        click.echo("No hours of labor: enter rates with their sources in the table 'assumption'")

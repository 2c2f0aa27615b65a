"""`treenail derive`: what sizes and dates then say."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._cli.options import Number, asked, counted, out_option, reads_package

if TYPE_CHECKING:
    import polars as pl

    from provenance._derive.summary import Derived
    from provenance._record.package import Package


@click.command("derive")
@reads_package()
@out_option
@click.option(
    "--gap",
    type=click.IntRange(0),
    default=1,
    show_default=True,
    help="Years between dates of one cluster.",
)
@click.option(
    "--least",
    type=click.IntRange(1),
    default=3,
    show_default=True,
    help="Pieces of wood that make a cluster.",
)
@click.option(
    "--thicker",
    type=Number(0),
    default=1.0,
    show_default=True,
    help="Tree estimate: cm an upper butt may exceed.",
)
@click.option(
    "--thinner",
    type=Number(0),
    default=2.0,
    show_default=True,
    help="Tree estimate: cm it may fall short.",
)
def derive(
    package: Path,
    out: Path | None,
    gap: int,
    least: int,
    thicker: float,
    thinner: float,
) -> None:
    """Derive sizes, volumes, tree estimate, spans and clusters of PACKAGE; draw the figures.

    Derived tables go into the package, figures into --out (PACKAGE-figures here); of a bundle both
    go into --out. Estimates are called so; nothing here is a date of construction.
    Hours of labor come from the rates in the table 'assumption', each with its source.
    """
    from provenance._derive.dating import ClusterRule
    from provenance._derive.figures import draw_figures
    from provenance._derive.summary import derive_package
    from provenance._derive.trees import StemRule

    opened = asked(package)
    name = opened.name if opened.bundle else opened.folder.resolve().name
    folder = out or Path(f"{name}-figures")
    into = folder if opened.bundle else opened.table_path("size").parent
    derived = derive_package(
        opened,
        into=folder if opened.bundle else None,
        stem_rule=StemRule(thicker, thinner),
        cluster_rule=ClusterRule(gap_years=gap, least=least),
    )
    for name, frame in derived.tables.items():
        click.echo(f"{into / name}.csv: {len(frame)} rows")
    click.echo("\nLeast number of trees (an estimate and a lower bound):")
    for estimate in derived.estimates:
        count = estimate.count
        click.echo(f"  {count.trees:5d} of {count.pieces} pieces, same {estimate.sharing}")
    clusters = derived.tables["cluster"]
    click.echo(f"\nClusters of cutting dates ({derived.cluster_rule}):")
    for row in clusters.iter_rows(named=True):
        click.echo(
            f"  {row['building_id']}: {row['first_year']} to {row['last_year']}, "
            f"{row['date_count']} pieces of wood"
        )
    if clusters.is_empty():
        click.echo("  none")
    if "wood_use" in derived.tables:  # an older package has none
        _tell_use_of_wood(derived.tables["wood_use"])
        _tell_labor(opened, derived)
    for figure in draw_figures(opened, derived, folder):
        click.echo(f"{figure.files['svg']} and .png: {figure.title}")


def _tell_use_of_wood(used: pl.DataFrame) -> None:
    import polars as pl

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


def _tell_labor(package: Package, derived: Derived) -> None:
    import polars as pl

    from provenance._derive.labour import total_hours
    from provenance._record.assumptions import assumptions_of

    totals = total_hours(derived.tables["labour"], assumptions_of(package.tables))
    click.echo("\nHours of labor by rates from their sources (labour.csv), all wood of a building:")
    for row in totals.filter(pl.col("phase_id").is_null()).iter_rows(named=True):
        click.echo(
            f"  {row['place_id']}: {row['hours_low']:.0f} to {row['hours_high']:.0f}, "
            f"{counted(row['work_count'], 'kind')} of work"
        )
    if totals.is_empty():
        click.echo("  none: enter rates with their sources in the table 'assumption'")

"""`treenail derive`: what sizes and dates then say."""

from __future__ import annotations

from pathlib import Path

import click

from provenance._cli.options import EXISTING_FILE, Number, asked, out_option, reads_package


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
@click.option("--rates", type=EXISTING_FILE, help="YAML with your labour rates and their sources.")
def derive(
    package: Path,
    out: Path | None,
    gap: int,
    least: int,
    thicker: float,
    thinner: float,
    rates: Path | None,
) -> None:
    """Derive sizes, volumes, tree estimate, spans and clusters of PACKAGE; draw the figures.

    Derived tables go into the package, figures into --out (PACKAGE-figures here); of a bundle both
    go into --out. Estimates are called so; nothing here is a date of construction.
    """
    from provenance._base.disk import writing
    from provenance._base.frames import write_csv
    from provenance._derive.age_change import age_changes
    from provenance._derive.dating import ClusterRule
    from provenance._derive.figures import draw_figures
    from provenance._derive.ring_series import widths_not_read
    from provenance._derive.summary import derive_package, labour_hours, tally_wood
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
    if "tree_age" in derived.tables:
        click.echo("\nAge at felling:")
        for change in age_changes(derived.tables["tree_age"]):
            click.echo(f"  {change.in_words}")
    for said in widths_not_read(opened):
        click.echo(f"\nRing widths not read: {said}")
    if rates is not None:
        hours = labour_hours(derived, rates)
        click.echo("\nLabour by your rates:")
        click.echo(hours.to_string(index=False))
    tally = folder / "wood-by-building-phase-species.csv"
    with writing(tally) as stream:
        write_csv(stream, tally_wood(opened, derived))
    click.echo(f"\n{tally}: pieces and volume by building, phase and species")
    for figure in draw_figures(opened, derived, folder):
        click.echo(f"{figure.files['svg']} and .png: {figure.title}")

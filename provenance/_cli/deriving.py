"""`treenail derive`: what sizes and dates then say."""

from __future__ import annotations

from pathlib import Path

import click

from provenance._cli.options import EXISTING_FILE, Number, asked, out_option, reads_package


@click.command("derive")
@reads_package()
@out_option
@click.option(
    "--window",
    type=click.IntRange(1),
    default=3,
    show_default=True,
    help="Years within which the trees of one phase can have been felled.",
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
    help="How many of them must be dated narrowly.  [default: 2, or --least where that is fewer]",
)
@click.option(
    "--narrow-years",
    type=click.IntRange(0),
    default=10,
    show_default=True,
    help="Years from earliest to latest felling, at most, of what is dated narrowly.",
)
@click.option(
    "--stored",
    type=click.IntRange(0),
    default=5,
    show_default=True,
    help="Years before the largest phase up to which wood may have been stored, not reused.",
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
    window: int,
    least: int,
    narrow: int | None,
    narrow_years: int,
    stored: int,
    thicker: float,
    thinner: float,
    rates: Path | None,
) -> None:
    """Derive sizes, volumes, trees, fellings and phases of PACKAGE; draw the figures.

    Derived tables go into the package, figures into --out (PACKAGE-figures here); of a bundle both
    go into --out. Estimates are called so; nothing here is a date of construction.

    A phase is found from trees whose earliest and latest year of felling are both known. Of a
    near-cutting date only the earliest is: enter how many rings at most are gone, with the source,
    in the table assumption (near_cutting_rings), and such dates take part.
    """
    import polars as pl

    from provenance._base.disk import writing
    from provenance._base.frames import write_csv
    from provenance._derive.figures import draw_figures
    from provenance._derive.phase_events import comparison_in_words
    from provenance._derive.phases import PhaseRule, phase_in_words, place_in_words
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
        phase_rule=PhaseRule(
            window, least, min(2, least) if narrow is None else narrow, narrow_years
        ),
        stored_years=stored,
    )
    for name, frame in derived.tables.items():
        click.echo(f"{into / name}.csv: {len(frame)} rows")
    click.echo("\nLeast number of trees (an estimate and a lower bound):")
    for estimate in derived.estimates:
        count = estimate.count
        click.echo(f"  {count.trees:5d} of {count.pieces} pieces, same {estimate.sharing}")
    if "phase_place" in derived.tables:
        click.echo(f"\nPhases of felling ({derived.phase_rule}):")
        places = derived.tables["phase_place"]
        for row in derived.tables["phase"].iter_rows(named=True):
            click.echo(f"  {row['place_id']}: {phase_in_words(row)}")
        without = places.filter(phase_count=0)
        # of most rooms there is no more than a date or two to tell
        told = without.filter(pl.col("agreeing_count") > 1)
        for row in told.iter_rows(named=True):
            click.echo(f"  {row['place_id']}: {place_in_words(row)}")
        if rest := len(without) - len(told):
            click.echo(f"  no two dates agree in {rest} more place(s) with dated wood")
        if places.is_empty():
            click.echo("  no wood with a date lies in a place of the record")
        events = {row["episode_id"]: row for row in opened.tables.rows("episode")}
        compared = derived.tables["phase_event"].drop_nulls(["phase_id", "episode_id"])
        if not compared.is_empty():
            click.echo("\nPhases beside documented events:")
        for row in compared.iter_rows(named=True):
            words = comparison_in_words(row, events[row["episode_id"]], opened.model)
            click.echo(f"  {words}")
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

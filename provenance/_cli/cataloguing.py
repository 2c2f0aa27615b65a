"""`treenail catalogue` and `treenail audit`: many bundles, over decades."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._cli.options import (
    Decorator,
    Number,
    PlaceParam,
    by_option,
    even_if_damaged_option,
    format_option,
    out_option,
    progress_bar,
    scheduler_option,
    site_option,
    workers_option,
)
from provenance._record.remote import Place

if TYPE_CHECKING:
    from provenance._catalogue.build import Update

index_option: Decorator = click.option(
    "--index",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Where the catalog is kept; default: PLACE/catalogue.sqlite.",
)


def _show_schema(context: click.Context, option: click.Parameter, value: bool) -> None:
    if value and not context.resilient_parsing:
        from provenance._catalogue.columns import catalogue_text

        click.echo(catalogue_text(), nl=False)
        context.exit()


@click.command("catalogue")
@click.argument("place", type=PlaceParam())
@index_option
@click.option(
    "--of",
    "kind",
    type=click.Choice(["samples", "holdings", "loans", "sites", "bundles", "wood", "architecture"]),
    help="What to list: samples; holdings says where each is; sites for GeoJSON; wood and "
    "architecture where derived.",
)
@click.option("--sample", help="Number of the sample, or its scanned label from the store.")
@click.option("--place", "inside", help="Place by code or name: all that is in it.")
@click.option(
    "--overdue",
    is_flag=False,
    flag_value="today",
    metavar="[DAY]",
    help="Loans that should be back; default: today.",
)
@site_option
@click.option("--species", help="Species code; PI* for all that begin with PI.")
@click.option("--use", help="Use of the timber: beam, lintel, rafter …")
@click.option("--from", "from_year", help="Ends, or may end, in this year or later: 1750, 45 BC.")
@click.option("--to", "to_year", help="Ends, or may end, in this year or earlier.")
@click.option("--stamp", help="Number on the plug.")
@click.option("--keeper", help="Who has the sample, or keeps the record.")
@click.option("--accession", help="The repository's number, or one that it bore before.")
@click.option("--edition", type=click.Choice(["full", "public"]), default=None)
@click.option(
    "--every", is_flag=True, help="Also older and public editions, missing bundles, every copy."
)
@even_if_damaged_option
@click.option("--sql", help="Query in SQL instead; see --schema.")
@click.option("--as-it-is", is_flag=True, help="Search without looking for changes first.")
@click.option(
    "--withdraw",
    type=PlaceParam(must_exist=False),
    help="Mark this bundle as withdrawn on purpose; needs --reason.",
)
@click.option("--reason", help="Why it was withdrawn.")
@format_option("table", "csv", "json", "geojson", "parquet", says="Output format.")
@out_option
@workers_option
@scheduler_option
@click.option(
    "--schema",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_schema,
    help="Show the tables and columns of the catalog, then stop.",
)
def catalogue(
    place: Place,
    index: Path | None,
    kind: str | None,
    sql: str | None,
    as_it_is: bool,
    withdraw: Place | None,
    reason: str | None,
    shape: str,
    out: Path | None,
    workers: int,
    scheduler: str | None,
    from_year: str | None,
    to_year: str | None,
    inside: str | None,
    overdue: str | None,
    **words: str | bool | None,
) -> None:
    """Update the catalog of PLACE, a folder of packages and bundles, and search it.

    PLACE may be an address in a store that fsspec reads (s3://…, sftp://…, https://…); the index
    lies on this machine all the same. Only what is new or has changed is read. Without anything to
    look for, it says what has changed.
    Each record counts once, by its current edition. In a store the register says which that is, and
    the ledgers say who has each sample and where.

    \b
    treenail catalogue STORE --sample 203      where is sample 203?
    treenail catalogue STORE --place B7        what is in box B7?
    treenail catalogue STORE --of loans        what is on loan?
    treenail catalogue STORE --overdue         what should be back?

    The column 'verdict' says of every row what the last audit makes of its bundle: not verified
    before the first one. Samples and sites of damaged bundles are left out.
    The catalogue holds exact places: keep it, and lists of full editions, in the restricted store.

    Exit code 1 when a bundle has vanished or cannot be read.
    """
    from provenance._base.errors import UnusableInput
    from provenance._catalogue.build import index_place, update_catalogue, withdraw_bundle
    from provenance._catalogue.stores.spread import Crew
    from provenance._collection.kept import label_read
    from provenance._model.notation import parse_year
    from provenance._store.store import is_store

    index = index_place(place, index)
    if withdraw is not None:
        if not reason:
            raise click.UsageError("--withdraw needs a --reason, for those who look for it later")
        if isinstance(place, Path) and is_store(place):
            raise UnusableInput(
                f"{place} is a store, and its register says what was withdrawn: "
                f"'treenail store withdraw {place} NUMBER'"
            )
        withdraw_bundle(index, withdraw, reason)
        click.echo(f"noted as withdrawn: {withdraw}")
        return
    code = 0
    if not as_it_is:
        with progress_bar("reading") as progress:
            crew = Crew(workers, scheduler)
            update = update_catalogue(place, index, crew=crew, progress=progress)
        code = _tell_update(update)
    said = (*words.values(), from_year, to_year, inside, overdue)
    asked = any(value not in (None, False) for value in said)
    if sql is not None or kind is not None or asked or shape != "table" or out is not None:
        from provenance._catalogue.answer import answer_bytes
        from provenance._catalogue.notes import exact_places_in, notes_on, usual_kind
        from provenance._catalogue.query import Wanted, ask_sql, find_in_catalogue

        if sql is not None:
            if asked or kind is not None:
                raise click.UsageError("--sql goes alone, without --of and what to look for")
            frame = ask_sql(index, sql)
        else:
            if isinstance(place, Path) and is_store(place) and isinstance(words["sample"], str):
                words |= label_read(place, words["sample"])
            wanted = Wanted(
                from_year=parse_year(from_year) if from_year else None,
                to_year=parse_year(to_year) if to_year else None,
                place=inside,
                overdue=_day(overdue) if overdue else None,
                **words,  # type: ignore[arg-type]
            )
            if kind is None:
                kind = "sites" if shape == "geojson" else usual_kind(wanted)
            frame = find_in_catalogue(index, kind, wanted)
            for line in notes_on(index, kind, wanted, frame):
                click.echo(line, err=True)
        _write(answer_bytes(frame, shape), shape, out)
        if told := exact_places_in(frame):
            click.echo(told, err=True)
    sys.exit(code)


def _day(text: str) -> str:
    from datetime import date

    if text == "today":
        return date.today().isoformat()
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise click.BadParameter(
            f"'{text}' is not a day; write 2026-05-31", param_hint="--overdue"
        ) from None


def _write(answer: bytes, shape: str, out: Path | None) -> None:
    if out is not None:
        _put(out, answer)
        click.echo(f"wrote {out}", err=True)
    elif shape == "parquet" and sys.stdout.isatty():
        raise click.UsageError("Parquet is not for a terminal; give --out FILE")
    else:
        sys.stdout.buffer.write(answer)


def _put(path: Path, content: bytes) -> None:
    """Write a whole file; a full disk must not look like a finding about bundles."""
    from provenance._base.disk import write_bytes
    from provenance._base.errors import TreenailError

    try:
        write_bytes(path, content)
    except OSError as error:
        raise TreenailError(
            f"{path} cannot be written: {error.strerror}; what was found is kept in the catalogue"
        ) from error


def _tell_update(update: Update) -> int:
    from provenance._base.visible import visible

    click.echo(
        f"{len(update.read)} read, {update.unchanged} unchanged, {len(update.vanished)} vanished, "
        f"{len(update.unreadable)} not readable",
        err=True,
    )
    if update.clock:
        click.echo(f"warning: {update.clock}", err=True)
    lines = [f"vanished: {visible(path)}" for path in update.vanished]
    lines += [f"not read: {visible(why)}" for why in _with_path(update.unreadable)]
    for line in lines:
        click.echo(line, err=True)
    return 1 if lines else 0


def _with_path(unreadable: dict[str, str]) -> list[str]:
    """The reasons, each with its path in front where it does not name it itself."""
    return [why if path in why else f"{path}: {why}" for path, why in unreadable.items()]


@click.command("audit")
@click.argument("place", type=PlaceParam())
@index_option
@click.option("--minutes", type=Number(0), help="Start no new bundle after this many minutes.")
@click.option("--anew", is_flag=True, help="Do not resume an interrupted audit.")
@click.option(
    "--anchor",
    "anchors",
    multiple=True,
    help="A printed line of the store's register: 'register 12 3f2a 91c0 …'.",
)
@click.option("--settle", help="Settle this finding of a store; needs --reason.")
@click.option("--reason", default="", help="What was found out about it.")
@by_option
@format_option("text", "json", "html")
@out_option
@workers_option
@scheduler_option
def audit(
    place: Place,
    index: Path | None,
    minutes: float | None,
    anew: bool,
    anchors: tuple[str, ...],
    settle: str | None,
    reason: str,
    by: str,
    shape: str,
    out: Path | None,
    workers: int,
    scheduler: str | None,
) -> None:
    """Verify the bundles of PLACE, the longest unchecked first, and list what is wrong or missing.

    PLACE may be an address in a store, as for 'catalogue'; then every byte passes the network.
    Every checksum is computed again. Results are kept in the catalogue with their dates, so that
    decay can be told from change. --out FOLDER writes audit.html and audit.json there.

    A store is also held against its register: bundles missing, moved or exchanged, ledgers cut or
    rewritten, and more. Each such finding is told at every audit until it is put right, or settled
    with --settle and --reason; the reason is kept in the register.

    Exit codes, for cron: 0 nothing wrong, 1 something needs a person, 2 it could not be done.
    """
    from provenance._catalogue.audit.audit import audit_place, settle_in_store
    from provenance._catalogue.audit.audit_report import audit_html, audit_json, audit_lines
    from provenance._catalogue.build import index_place
    from provenance._catalogue.stores.spread import Crew
    from provenance._store.paper import read_anchor_line

    index = index_place(place, index)
    if settle is not None:
        if not reason.strip():
            raise click.UsageError("--settle needs a --reason, for those who look for it later")
        one = settle_in_store(place, index, settle, reason=reason, by=by)
        click.echo(f"settled {one.finding_id[:8]}: {one.kind} {one.about}")
        return
    with progress_bar("auditing") as progress:
        done = audit_place(
            place,
            index,
            minutes=minutes,
            anew=anew,
            crew=Crew(workers, scheduler),
            anchors=[read_anchor_line(one) for one in anchors],
            progress=progress,
        )
    if done.resumed:
        click.echo(f"taken up where it was interrupted: {done.resumed} were done", err=True)
    if done.update.clock:
        click.echo(f"warning: {done.update.clock}", err=True)
    if out is not None:
        _put(out / "audit.html", audit_html(done).encode("utf-8"))
        _put(out / "audit.json", audit_json(done).encode("utf-8"))
        click.echo(f"wrote {out / 'audit.html'} and {out / 'audit.json'}", err=True)
    if shape == "json":
        click.echo(audit_json(done), nl=False)
    elif shape == "html":
        click.echo(audit_html(done), nl=False)
    else:
        click.echo("\n".join(audit_lines(done)))
    sys.exit(0 if done.clean else 1)

"""`treenail pack`, `verify`, `unpack` and `compare`: archive bundles."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from provenance._cli.options import (
    PlaceParam,
    counted,
    format_option,
    most_option,
    out_option,
    package_argument,
    progress_bar,
    second_opinion_option,
    show_or_write,
)

if TYPE_CHECKING:
    from provenance._base.findings import Report
    from provenance._bundle.pack import Packed
    from provenance._record.remote import Place


@click.command("pack")
@package_argument
@out_option
@click.option("--zip", "zipped", is_flag=True, help="One zip file instead of a folder.")
@click.option(
    "--edition",
    type=click.Choice(["full", "public"]),
    default="full",
    show_default=True,
    help="All of it for a restricted store, or what everybody may see.",
)
@click.option(
    "--grid",
    metavar="DEGREES",
    help="Size of the cells that public coordinates are made coarse to, or 'drop' for no "
    "coordinates. [default: the package's, else 0.1] Always use the same one: two different ones "
    "together tell more than either.",
)
def pack(package: Path, out: Path | None, zipped: bool, edition: str, grid: str | None) -> None:
    """Write PACKAGE as an archive bundle (BagIt), beside it unless --out says where.

    The public edition shows no exact place, nobody who has not agreed to be named, nothing that is
    restricted, and no text, photo or file that nobody released ('treenail review'). WITHHELD.txt in
    it says what is withheld. Look through it before you publish it.

    A package in which the check finds something is packed all the same, with the report, and the
    exit code is 1. A table that cannot be read is not packed (exit code 2).
    """
    from provenance._bundle.describe.editions import EDITIONS
    from provenance._bundle.pack import pack as pack_package
    from provenance._record.package import open_package

    with progress_bar("packing") as progress:
        packed = pack_package(
            open_package(package),
            out,
            zipped=zipped,
            edition=EDITIONS[edition],
            grid=grid,
            progress=progress,
        )
    click.echo(f"packed {packed.path}")
    if packed.account:
        _say_what_is_withheld(packed)
    findings = False
    for path in packed.contents.left_out:
        click.echo(f"left out: {path}", err=True)
    for path in packed.contents.undescribed:
        click.echo(f"packed, though no row describes it: {path}", err=True)
    for table, key, path in packed.contents.missing:
        findings = True
        click.echo(f"not there, though row {key} of '{table}' names it: {path}", err=True)
    for table, key, path in packed.differing:
        findings = True
        click.echo(f"not the bytes that row {key} of '{table}' has a checksum of: {path}", err=True)
    if not packed.report.clean:
        findings = True
        where = (
            "'treenail check' names them"
            if packed.account
            else "the bundle's data/check/report.html names them"
        )
        click.echo(
            f"the check found {_counted(packed.report, 'error')} and "
            f"{_counted(packed.report, 'warning')}; {where}",
            err=True,
        )
    sys.exit(1 if findings else 0)


def _say_what_is_withheld(packed: Packed) -> None:
    account = packed.account
    assert account is not None
    click.echo(
        f"withheld: {account.withheld_cells} cells, {len(account.files)} files, words in "
        f"{account.texts_touched} open texts; data/WITHHELD.txt says what and why"
    )
    if waiting := account.waiting.total():
        click.echo(
            f"not reviewed, and so left out: {counted(waiting, 'text')} and files, "
            f"{account.waiting_with_hits} of them with findings; 'treenail review' shows them"
        )
    if account.older:
        click.echo(
            "this package is of a version without reviews, so no text or file could be released: "
            "bring it forward with 'treenail new --update'",
            err=True,
        )
    click.echo("Look through it, the photos above all, before you publish it.")
    if packed.got_key:
        click.echo(
            "the package had no edition key and was given one: pack its full edition again, or "
            "nobody can show later that this public edition was made from it",
            err=True,
        )


def _counted(report: Report, severity: str) -> str:
    count = report.count(severity)
    return f"{count} {severity}{'s' * (count != 1)}"


@click.command("verify")
@click.argument("bundle", type=PlaceParam(must_exist=False))
@click.option("--fast", is_flag=True, help="Names and sizes only, no checksums.")
@second_opinion_option
@format_option("text", "json")
@click.option(
    "--against",
    "full",
    type=click.Path(path_type=Path),
    metavar="FULL",
    help="Show that BUNDLE, a public edition, was made from this full one.",
)
def verify(bundle: Place, fast: bool, second_opinion: bool, shape: str, full: Path | None) -> None:
    """Say whether BUNDLE, a folder or zip, is sound, and name what is not.

    BUNDLE may be the address of a zip in a store that fsspec reads (s3://…, sftp://…, https://…).

    Exit codes: 0 sound, 1 not sound, 2 nothing that can be opened.
    """
    if second_opinion and (fast or full):
        other = "--fast, which reads no rows" if fast else "--against, which compares two bundles"
        raise click.UsageError(f"--second-opinion does not go with {other}; take one out")
    if full:
        if not isinstance(bundle, Path):
            raise click.BadParameter(
                f"{bundle} lies in a store; copy it to a disk to compare it", param_hint="BUNDLE"
            )
        _verify_against(bundle, full, shape)
    from provenance._bundle.verify import verify_bundle

    with progress_bar("verifying") as progress:
        verdict = verify_bundle(bundle, fast=fast, second_opinion=second_opinion, progress=progress)
    if second_opinion and not verdict.second_opinion:
        click.echo("no second opinion: the tables cannot be read, see what is named", err=True)
    if shape == "json":
        import json

        click.echo(json.dumps(verdict.as_dict(), indent=2, ensure_ascii=False))
    else:
        from provenance._bundle.verdict_text import verdict_text

        click.echo(verdict_text(verdict), nl=False)
    sys.exit(0 if verdict.sound else 1)


def _verify_against(public: Path, full: Path, shape: str) -> NoReturn:
    from provenance._bundle.derivation import verify_derivation

    with progress_bar("comparing") as progress:
        derivation = verify_derivation(public, full, progress=progress)
    if shape == "json":
        import json

        said = vars(derivation) | {"findings": [vars(one) for one in derivation.findings]}
        click.echo(json.dumps({"derived": derivation.proved} | said, indent=2, ensure_ascii=False))
        sys.exit(0 if derivation.proved else 1)
    if derivation.proved:
        click.echo(f"{public.name} was made from {full.name}: its keyed hashes are of that edition")
    else:
        click.echo(f"{public.name} was NOT made from {full.name} as it stands")
    if derivation.compared:
        click.echo("  It was packed again from the full edition and compared byte for byte.")
    else:
        click.echo(f"  Not packed again to compare: {derivation.why_not}.")
    for one in derivation.findings:
        click.echo(f"  {one.path} {one.message}")
    sys.exit(0 if derivation.proved else 1)


@click.command("unpack")
@click.argument("bundle", type=click.Path(path_type=Path))
@out_option
def unpack(bundle: Path, out: Path | None) -> None:
    """Verify BUNDLE and write the package in it to a new folder, to work on.

    Without --out the folder is made where you are, named for the bundle. Exit codes: 0 unpacked, 1
    unpacked but the record in it has faults, 2 not unpacked, because bytes were changed or lost.
    """
    from provenance._bundle.unpack import unpack as unpack_package

    if out is None:
        stem = bundle.resolve().name.removesuffix(".zip")
        out = Path(stem.removesuffix("-bundle") + "-unpacked")
    with progress_bar("unpacking") as progress:
        unpacked = unpack_package(bundle, out, progress=progress)
    folder = unpacked.package.folder
    click.echo(f"unpacked {folder}")
    if errors := unpacked.verdict.errors():
        click.echo(
            f"the record was packed with faults in it ({errors}); 'treenail check {folder}' names "
            "all",
            err=True,
        )
        sys.exit(1)


@click.command("compare")
@click.argument("old", type=click.Path(path_type=Path))
@click.argument("new", type=click.Path(path_type=Path))
@format_option("text", "json", "html", "csv")
@out_option
@most_option(20, "Lines of one list to show in text")
def compare(old: Path, new: Path, shape: str, out: Path | None, most: int) -> None:
    """Say what came, changed and went between OLD and NEW, each a bundle or a package.

    Rows are compared by primary key, cell by cell; files by checksum. It says loudly when the
    custody ledger is not the old one with events added. JSON and CSV hold everything.

    Exit codes: 0 nothing differs, 1 something does, 2 cannot be compared.
    """
    from provenance._compare.compare import compare as compare_records
    from provenance._compare.report import difference_csv, difference_json, difference_text

    with progress_bar("comparing") as progress:
        found = compare_records(old, new, progress=progress)
    if shape == "json":
        text = difference_json(found)
    elif shape == "csv":
        text = difference_csv(found)
    elif shape == "html":
        from provenance._compare.report import difference_html

        text = difference_html(found)
    else:
        text = difference_text(found, most=most)
    show_or_write(text, out, f"written to {out}")
    sys.exit(0 if found.same else 1)

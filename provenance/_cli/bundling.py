"""`treenail pack`, `verify`, `deposit`, `unpack` and `compare`: archive bundles."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from provenance._base.visible import visible
from provenance._cli.options import (
    EXISTING_FILE,
    PlaceParam,
    counted,
    even_if_damaged_option,
    format_option,
    most_option,
    out_option,
    package_argument,
    progress_bar,
    second_opinion_option,
    show_or_write,
)
from provenance._cli.signing import passphrase_option, read_key, sign_option

if TYPE_CHECKING:
    from provenance._record.remote import Place


@click.command("pack")
@package_argument
@out_option
@click.option("--zip", "zipped", is_flag=True, help="Write one zip file instead of a folder.")
@click.option(
    "--edition",
    type=click.Choice(["full", "public"]),
    default="full",
    show_default=True,
    help="Everything, for a restricted store, or only what everyone may see.",
)
@click.option(
    "--grid",
    metavar="DEGREES",
    help="Size in degrees of the cells to which public coordinates are rounded (0.01, 0.02, "
    "0.1, 0.2, 1, 2 or 10), or 'drop' for no coordinates. [default: the package's, else "
    "0.1] Wider cells are used if too few places are possible.",
)
@click.option(
    "--withdraws",
    "withdrawn",
    multiple=True,
    metavar="EARLIER",
    help="An earlier public edition that this one replaces: its folder or zip, or the SHA-256 "
    "of its manifest-sha256.txt. Repeat for several. 'none' means that none was given out.",
)
@click.option(
    "--because",
    metavar="WORDS",
    default="",
    help="Reason for the withdrawal, for all to read; withheld names in it are replaced.",
)
@sign_option(
    "Sign the bundle and the end of its custody ledger with this Ed25519 key (PEM). Repeat for "
    "more signers."
)
@passphrase_option
def pack(
    package: Path,
    out: Path | None,
    zipped: bool,
    edition: str,
    grid: str | None,
    withdrawn: tuple[str, ...],
    because: str,
    keys: tuple[Path, ...],
    passphrase_file: Path | None,
) -> None:
    """Write PACKAGE as an archive bundle (BagIt), beside it by default.

    The public edition shows no exact place, no person who has not agreed to be named, nothing
    restricted, and only texts, photos and files that were released ('treenail review').
    WITHHELD.txt lists what is withheld. Look through the edition before you publish it. Unnamed
    people and telling codes appear as five random letters, the same in every edition; the package
    keeps them. A person who may no longer be named is blank, and --withdraws names the edition that
    had the name.

    Coordinates are rounded until at least 20 places are possible, assuming 6,000 buildings in a
    tenth of a degree. If there are fewer, enter their number as 'publicBuildingsInCell' in
    datapackage.json.

    A package with findings is packed with its report, and the exit code is 1. A package with an
    unreadable table is not packed (exit code 2).
    """
    from provenance._bundle.describe.editions import EDITIONS
    from provenance._bundle.pack import pack as pack_package
    from provenance._bundle.packed_words import packed_warnings, withheld_words
    from provenance._bundle.withdrawal import withdrawing_of
    from provenance._record.agreements import before_release
    from provenance._record.deposit_settings import embargo_of
    from provenance._record.package import open_to_change

    if (withdrawn or because) and not EDITIONS[edition].is_public:
        raise click.UsageError(
            "--withdraws and --because are for public editions; add --edition public"
        )
    if because and not withdrawn:
        raise click.UsageError("--because says why an edition is withdrawn; name it: --withdraws")
    opened = open_to_change(package)
    withdrawing = withdrawing_of(opened, withdrawn, because) if withdrawn else None
    signing = [read_key(key, passphrase_file) for key in keys]
    if EDITIONS[edition].is_public and (until := embargo_of(opened)):
        click.echo(
            f"before you publish it: the record is under embargo until {until}; end the embargo "
            "with 'treenail settings --embargo-until none', and pack again",
            err=True,
        )
    for asked in before_release(opened.tables) if EDITIONS[edition].is_public else ():
        click.echo(f"before you publish it: {asked}", err=True)
    with progress_bar("packing") as progress:
        packed = pack_package(
            opened,
            out,
            zipped=zipped,
            edition=EDITIONS[edition],
            grid=grid,
            keys=signing,
            withdrawing=withdrawing,
            progress=progress,
        )
    click.echo(f"packed {packed.path}")
    for line in withheld_words(packed):
        click.echo(line)
    for line in packed_warnings(packed):
        click.echo(line, err=True)
    sys.exit(1 if packed.has_findings else 0)


@click.command("verify")
@click.argument("bundle", type=PlaceParam(must_exist=False))
@click.option("--fast", is_flag=True, help="Names and sizes only, no checksums.")
@click.option(
    "--bag-only",
    is_flag=True,
    help="Judge a bag that anyone made by RFC 8493 (BagIt) alone; no treenail record is expected.",
)
@second_opinion_option
@format_option("text", "json")
@click.option(
    "--against",
    "full",
    type=click.Path(path_type=Path),
    metavar="OTHER",
    help="A full edition: show that BUNDLE, a public one, was made from it. A later public "
    "edition: check whether it withdraws BUNDLE.",
)
@click.option(
    "--anchor",
    "anchors",
    multiple=True,
    metavar="WHAT",
    help="Evidence of its custody ledger kept elsewhere: an older bundle, a package, a store or "
    "its register.csv, or the line 'ledger …' of a receipt. Repeat for several.",
)
@click.option(
    "--trust",
    type=EXISTING_FILE,
    multiple=True,
    metavar="KEY",
    help="Public key (PEM) of someone you trust. Keys in the folder 'keepers' of your settings "
    "are always trusted.",
)
def verify(
    bundle: Place,
    fast: bool,
    bag_only: bool,
    second_opinion: bool,
    shape: str,
    full: Path | None,
    anchors: tuple[str, ...],
    trust: tuple[Path, ...],
) -> None:
    """Verify whether BUNDLE, a folder or zip, is sound, and list what is not.

    BUNDLE may be the address of a zip in a store that fsspec reads (s3://…, sftp://…, https://…).

    The seals of a custody ledger also match if someone rewrote the whole ledger. Without --anchor,
    the verdict on the ledger is therefore 'sealed, not anchored'; with one, it says whether the
    ledger is unchanged, rewritten, or cut off.

    With --bag-only, the verdict is one of: valid; valid, with warnings; incomplete (files that
    fetch.txt lists are not here yet; nothing is fetched); not valid; not a bag. Older versions of
    BagIt are judged by their own rules.

    Exit codes: 0 nothing wrong in what was checked, 1 not sound, or with --bag-only incomplete or
    not valid, 2 cannot be opened or not a bag.
    """
    if bag_only:
        if fast or second_opinion or full or anchors or trust:
            raise click.UsageError(
                "--bag-only judges a bag whole and expects no record; of the other options only "
                "--format goes with it"
            )
        _verify_as_bag(bundle, shape)
    if second_opinion and (fast or full):
        other = "--fast, which reads no rows" if fast else "--against, which compares two bundles"
        raise click.UsageError(f"--second-opinion does not go with {other}; take one out")
    if full and (anchors or trust):
        raise click.UsageError(
            "--anchor and --trust do not go with --against, which compares two bundles; take them "
            "out"
        )
    if full:
        if not isinstance(bundle, Path):
            raise click.BadParameter(
                f"{bundle} is in a store; copy it to a disk to compare it", param_hint="BUNDLE"
            )
        _verify_against(bundle, full, shape)
    from provenance._accession.anchoring import anchors_named
    from provenance._bundle.verify import verify_bundle
    from provenance._ledger.statement import pinned_keys

    with progress_bar("verifying") as progress:
        verdict = verify_bundle(
            bundle,
            fast=fast,
            second_opinion=second_opinion,
            anchors=anchors_named(anchors, bundle),
            pins=pinned_keys(trust),
            progress=progress,
        )
    if second_opinion and not verdict.second_opinion:
        click.echo("no second opinion: the tables cannot be read, see what is named", err=True)
    if shape == "json":
        import json

        click.echo(json.dumps(verdict.as_dict(), indent=2, ensure_ascii=False))
    else:
        from provenance._bundle.verdict_text import verdict_text

        click.echo(verdict_text(verdict), nl=False)
    sys.exit(0 if verdict.sound else 1)


def _verify_as_bag(bag: Place, shape: str) -> NoReturn:
    from provenance._bag.any_bag import judge_any_bag

    with progress_bar("verifying") as progress:
        verdict = judge_any_bag(bag, progress=progress)
    if shape == "json":
        import json

        click.echo(json.dumps(verdict.as_dict(), indent=2, ensure_ascii=False))
    else:
        from provenance._bundle.verdict_text import bag_text

        click.echo(bag_text(verdict), nl=False)
    sys.exit({"not a bag": 2, "not valid": 1, "incomplete": 1}.get(verdict.word, 0))


def _verify_against(public: Path, full: Path, shape: str) -> NoReturn:
    from provenance._bundle.derivation import verify_derivation
    from provenance._bundle.withdrawal import is_public_bundle

    if is_public_bundle(full):
        _verify_withdrawal(public, full, shape)

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


def _verify_withdrawal(older: Path, newer: Path, shape: str) -> NoReturn:
    """Exit code 1 for an edition that is withdrawn, 0 for one that is left standing."""
    from provenance._bundle.withdrawal import is_withdrawn

    said = is_withdrawn(older, newer)
    if shape == "json":
        import json

        answer = {
            "withdrawn": said is not None,
            "by": str(newer),
            **(said.as_dict() if said else {}),
        }
        click.echo(json.dumps(answer, indent=2, ensure_ascii=False))
    elif said:
        click.echo(f"{older.name} is WITHDRAWN since {said.on}; {newer.name} takes its place")
        click.echo(f"  {visible(said.reason)}")
        click.echo("  Do not pass it on, and take it off the net.")
    else:
        click.echo(f"{newer.name} does not withdraw {older.name}")
    sys.exit(1 if said else 0)


@click.command("deposit")
@click.argument("bundle", type=click.Path(path_type=Path))
@click.option("--record", default="", help="If BUNDLE is a store: accession number of the bundle.")
@click.option("--doi", required=True, help="The DOI, such as 10.5072/hr-1.")
@click.option("--issued", metavar="DAY", help="Day of publication (YYYY-MM-DD); default: today.")
@click.option(
    "--new-version-of",
    multiple=True,
    metavar="DOI",
    help="DOI of the version before it. Repeat for several.",
)
@click.option(
    "--variant-of",
    multiple=True,
    metavar="DOI",
    help="DOI of the other edition, full or public. Repeat for several. In a public edition it "
    "leads to whatever is told at the DOI of the full one.",
)
@click.option("--replace", "replacing", is_flag=True, help="Replace a DOI that was a mistake.")
@out_option
def deposit(
    bundle: Path,
    record: str,
    doi: str,
    issued: str | None,
    new_version_of: tuple[str, ...],
    variant_of: tuple[str, ...],
    replacing: bool,
    out: Path | None,
) -> None:
    """Write the DOI that BUNDLE was given into it, a folder or zip.

    The DOI goes into bag-info.txt, and the descriptions that repositories take in are written again
    in the folder deposit/ beside data/. Nothing in data/ changes, and signatures stay valid. BUNDLE
    is verified first; with --out it stays as it is, and the bundle with the DOI is a new one.

    BUNDLE may be a store: the DOI is put on the bundle kept under the number --record, and the
    register says so.

    Exit codes: 0 written, 2 not written.
    """
    from datetime import date

    from provenance._accession.doi import register_kept
    from provenance._bundle.registering import register_doi
    from provenance._history.history import moment_text
    from provenance._store.store import is_store, open_store

    try:
        day = date.fromisoformat(issued) if issued else None
    except ValueError:
        raise click.UsageError(f"--issued {issued}: write the day as 2026-03-01") from None
    told: dict[str, Any] = {
        "issued": day,
        "new_version_of": new_version_of,
        "variant_of": variant_of,
        "replacing": replacing,
    }
    with progress_bar("writing") as progress:
        if is_store(bundle):
            if out or not record:
                raise click.UsageError("for a store, give --record NUMBER and no --out")
            done = register_kept(
                open_store(bundle),
                record,
                doi,
                today=date.today(),
                recorded_on=moment_text(),
                progress=progress,
                **told,
            )
        else:
            _refuse_kept(bundle, out)
            today = date.today()
            done = register_doi(bundle, doi, today=today, out=out, progress=progress, **told)
    click.echo(f"wrote {done.doi} into {done.path}, issued on {done.issued}")
    if done.before != done.now and not is_store(bundle):
        click.echo(
            f"its tagmanifest-sha256.txt is now {done.now} (before: {done.before}); enter it "
            "wherever the old one is on record"
        )


def _refuse_kept(bundle: Path, out: Path | None) -> None:
    """A bundle in a store is changed through the store, so that its register says so."""
    from provenance._store.store import is_store

    around = next((one for one in bundle.resolve().parents if is_store(one)), None)
    if around and out is None:
        raise click.UsageError(
            f"{bundle} is kept in the store {around}; write 'treenail deposit {around} --record "
            "NUMBER --doi …', or name a new bundle with --out"
        )


@click.command("unpack")
@click.argument("bundle", type=click.Path(path_type=Path))
@click.option("--record", default="", help="If BUNDLE is a store: accession number of the record.")
@even_if_damaged_option
@out_option
def unpack(bundle: Path, record: str, even_if_damaged: bool, out: Path | None) -> None:
    """Verify BUNDLE and write the package in it to a new folder, to work on.

    BUNDLE may be a store: the current bundle of the record is unpacked, with everything that was
    recorded in the store since (moves, loans, parts of samples). Pack it to hand it on, or to take
    it in again as the next bundle of the record.

    Without --out, the folder is made in the current folder, named for the bundle. Exit codes: 0
    unpacked, 1 unpacked but the record in it has faults, 2 not unpacked, because bytes were changed
    or lost.
    """
    from provenance._bundle.unpack import unpack as unpack_package
    from provenance._store.store import is_store

    if is_store(bundle):
        if even_if_damaged:
            raise click.UsageError("--even-if-damaged is for a bundle; name the one in the store")
        _export(bundle, record, out)
        return
    if record:
        raise click.UsageError(f"--record is for a store, and {bundle} is not a store")
    if out is None:
        stem = bundle.resolve().name.removesuffix(".zip")
        out = Path(stem.removesuffix("-bundle") + "-unpacked")
    with progress_bar("unpacking") as progress:
        unpacked = unpack_package(bundle, out, even_if_damaged=even_if_damaged, progress=progress)
    folder = unpacked.package.folder
    click.echo(f"unpacked {folder}")
    click.echo(visible(unpacked.verdict.in_words))
    if errors := unpacked.verdict.errors():
        click.echo(
            f"the record was packed with faults in it ({errors}); 'treenail check {folder}' names "
            "all",
            err=True,
        )
        sys.exit(1)


def _export(folder: Path, number: str, out: Path | None) -> None:
    from provenance._collection.export import export_record
    from provenance._store.numbers import folder_name
    from provenance._store.store import open_store

    if not number:
        raise click.UsageError("say which record of the store: --record with its accession number")
    with progress_bar("unpacking") as progress:
        out = out or Path(f"{folder_name(number)}-unpacked")
        done = export_record(open_store(folder), number, out, progress=progress)
    click.echo(f"unpacked {done.package.folder}")
    click.echo(visible(done.verdict.in_words))
    click.echo(f"from the ledger of the store: {counted(done.events, 'event')} more")
    for word, entered in (("parties", done.parties), ("parts of samples", done.parts)):
        if entered:
            click.echo(visible(f"entered {word}: {', '.join(entered)}"))
    if done.updated:
        click.echo("its schemas were brought forward, because they did not know these events")
    sys.exit(1 if done.verdict.errors() else 0)


@click.command("compare")
@click.argument("old", type=click.Path(path_type=Path))
@click.argument("new", type=click.Path(path_type=Path))
@even_if_damaged_option
@format_option("text", "json", "html", "csv")
@out_option
@most_option(20, "Lines of one list to show in text")
def compare(
    old: Path, new: Path, even_if_damaged: bool, shape: str, out: Path | None, most: int
) -> None:
    """List what was added, changed and removed between OLD and NEW, each a bundle or a package.

    Rows are compared by primary key, cell by cell; files by checksum. It says loudly when the
    custody ledger is not the old one with events added. JSON and CSV hold everything. A bundle is
    verified first, and a damaged one is not compared.

    Exit codes: 0 nothing differs, 1 something does, 2 cannot be compared.
    """
    from provenance._compare.compare import compare as compare_records
    from provenance._compare.report import difference_csv, difference_json, difference_text

    with progress_bar("comparing") as progress:
        found = compare_records(old, new, even_if_damaged=even_if_damaged, progress=progress)
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

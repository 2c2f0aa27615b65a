"""`treenail custody keys`, and the options of every command that signs."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._base.errors import TreenailError
from provenance._base.visible import visible
from provenance._cli.options import (
    EXISTING_FILE,
    Decorator,
    asked,
    named_package_argument,
    reads_package,
)

if TYPE_CHECKING:
    from provenance._ledger.ed25519 import Signer
    from provenance._record.snapshot import Snapshot

PASSPHRASE = "TREENAIL_PASSPHRASE"


passphrase_option: Decorator = click.option(
    "--passphrase-file",
    type=EXISTING_FILE,
    help=f"File whose first line is the passphrase of the key; default: {PASSPHRASE}, or a prompt.",
)


def key_option(says: str) -> Decorator:
    """--key for a command that signs with a private key; `passphrase_option` goes with it."""
    return click.option("--key", type=EXISTING_FILE, help=says)


def sign_option(says: str) -> Decorator:
    """--sign for a command that signs a bundle; `passphrase_option` goes with it."""
    return click.option(
        "--sign", "keys", type=EXISTING_FILE, multiple=True, metavar="KEY", help=says
    )


def read_key(path: Path, passphrase_file: Path | None) -> Signer:
    """The private key that a command was given to sign with."""
    from provenance._ledger.key_files import read_key_file

    return read_key_file(path, lambda: _passphrase(f"Passphrase of {path.name}", passphrase_file))


def _passphrase(prompt: str, file: Path | None, *, new: bool = False) -> str:
    """From the file, the environment or a person, in this order; never from the command line."""
    if file is not None:
        first = file.read_text(encoding="utf-8").splitlines()[:1]
        return first[0] if first else ""
    if PASSPHRASE in os.environ:
        return os.environ[PASSPHRASE]
    if sys.stdin.isatty():
        return str(click.prompt(prompt, hide_input=True, confirmation_prompt=new, err=True))
    raise TreenailError(
        f"the key is protected by a passphrase, and there is no terminal to ask on: put it into "
        f"{PASSPHRASE}, or into a file and name that with --passphrase-file"
    )


@click.command("keys")
@reads_package(named_package_argument)
@click.option(
    "--new", type=click.Path(path_type=Path), help="Make a key and write it to this file."
)
@click.option("--enter", type=EXISTING_FILE, help="Enter an existing key.")
@click.option("--countersign", metavar="KEY", help="Vouch for a key with a keeper's --key.")
@click.option("--retire", metavar="KEY", help="Retire a key with its own or a keeper's --key.")
@click.option("--party", default="", help="Owner of the key, for --new and --enter.")
@click.option("--since", help="First day on which it may sign (EDTF); default: today.")
@click.option(
    "--until", help="Last day on which it may sign (EDTF); with --retire, default: today."
)
@key_option("Private key that vouches or retires.")
@passphrase_option
def keys(
    package: Path,
    new: Path | None,
    enter: Path | None,
    countersign: str | None,
    retire: str | None,
    party: str,
    since: str | None,
    until: str | None,
    key: Path | None,
    passphrase_file: Path | None,
) -> None:
    """List the signing keys of PACKAGE, or enter, vouch for or retire one.

    KEY is the beginning of a key's name, as listed. Exit code 1 if the owner of a key is not
    confirmed.
    """
    from datetime import date

    from provenance._ledger.keys import countersign_key, enter_key, refuse_entering, retire_key

    if sum(one is not None for one in (new, enter, countersign, retire)) > 1:
        raise click.UsageError("--new, --enter, --countersign and --retire: one at a time")
    opened = asked(package)
    if new or enter or countersign or retire:
        opened.refuse_bundle()
    today = date.today().isoformat()
    if path := new or enter:
        if not party:
            raise click.UsageError("say whose key it is, with --party")
        refuse_entering(opened, party)
        signer = (_made if new else read_key)(path, passphrase_file)
        name = enter_key(opened, signer, party, since=since or today, until=until or "")
        click.echo(f"key {name[:12]} of {party} is entered; have a keeper counter-sign it")
        return
    if countersign or retire:
        if key is None:
            raise click.UsageError("name the private key to sign that with, with --key")
        signer = read_key(key, passphrase_file)
        if countersign:
            countersign_key(opened, countersign, signer)
        elif retire:
            retire_key(opened, retire, signer, until=until or today)
    sys.exit(_listed(opened.tables))


def _made(path: Path, passphrase_file: Path | None) -> Signer:
    from provenance._ledger.key_files import write_key_file

    said = f"Passphrase for {path.name}"
    return write_key_file(path, _passphrase(said, passphrase_file, new=True))


def _listed(tables: Snapshot) -> int:
    """Show the keys and what does not hold of them; returns the exit code."""
    from provenance._ledger.keys import is_keeper, key_faults, keys_of

    there = keys_of(tables)
    if not tables.rows("key"):
        click.echo("no keys are entered")
    for one in there.values():
        by = there.get(one.keeper_key_id)
        vouched = "a keeper's" if is_keeper(tables, one.party_id) else "not counter-signed"
        vouched = f"counter-signed by {by.party_id}" if by else vouched
        until = f" until {one.until}" if one.until else ""
        said = f"{one.key_id[:12]}  {one.party_id}  since {one.since}{until}  {vouched}"
        click.echo(visible(said))
    found = key_faults(tables)
    for fault in found:
        click.echo(visible(f"{fault.severity}: {fault.message} {fault.remedy}"), err=True)
    return int(any(one.severity == "error" for one in found))

"""Reads and writes files of private keys: PEM, PKCS #8 (RFC 5958, RFC 8410), with a passphrase."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.disk import writing
from provenance._base.errors import AlreadyThere, TreenailError
from provenance._ledger.ed25519 import Signer, library

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.types import PrivateKeyTypes

SHORTEST_PASSPHRASE = 12
"""Characters (own rule): the format's usual protection lets many be tried in a short time."""


def write_key_file(path: Path, passphrase: str) -> Signer:
    """Make a private key and write it, protected by the passphrase, for its owner alone to read.

    Raises AlreadyThere for a path at which there is something, and TreenailError for a passphrase
    that is too short.
    """
    ed25519 = library()
    from cryptography.hazmat.primitives.serialization import (
        BestAvailableEncryption,
        Encoding,
        PrivateFormat,
    )

    if len(passphrase) < SHORTEST_PASSPHRASE:
        raise TreenailError(
            f"the passphrase is too short: anyone who finds {path.name} could guess it. Use "
            f"{SHORTEST_PASSPHRASE} characters or more, such as four words"
        )
    if path.exists():
        raise AlreadyThere(f"{path} already exists; name another file for the key")
    private = ed25519.Ed25519PrivateKey.generate()
    protection = BestAvailableEncryption(passphrase.encode())
    with writing(path) as stream:
        if hasattr(os, "fchmod"):  # Windows leaves it to the folder
            os.fchmod(stream.fileno(), 0o600)
        stream.write(private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, protection))
    return Signer(private)


def read_key_file(path: Path, ask: Callable[[], str]) -> Signer:
    """The private key in a file; `ask` is called for the passphrase of one that has one.

    Raises TreenailError for a file that holds no Ed25519 key, and for a wrong passphrase.
    """
    ed25519 = library()
    try:
        private = _loaded(path, ask)
    except (OSError, ValueError) as error:
        raise TreenailError(
            f"{path} is not a key to sign with: {error}. 'treenail custody keys PACKAGE --new "
            f"{path.name}' makes one"
        ) from error
    if not isinstance(private, ed25519.Ed25519PrivateKey):
        raise TreenailError(f"{path} holds another kind of key; Ed25519 is needed")
    return Signer(private)


def _loaded(path: Path, ask: Callable[[], str]) -> PrivateKeyTypes:
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    pem = path.read_bytes()
    try:
        return load_pem_private_key(pem, password=None)
    except TypeError:  # the library's word for a key with a passphrase
        passphrase = ask().encode()
    try:
        return load_pem_private_key(pem, password=passphrase)
    except (TypeError, ValueError):  # the first for a blank one
        raise TreenailError(
            f"the passphrase does not open {path}; try again. Without it the key is lost: make "
            "another, and have a keeper retire this one"
        ) from None

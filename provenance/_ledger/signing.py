"""Signs custody events with Ed25519 (RFC 8032), so that it can be shown who wrote them down.

A signature covers the 32 bytes of the event's seal (event_sha256), which covers the event and all
before it. Keys are PEM files (RFC 8410), made once with: openssl genpkey -algorithm ed25519
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Collection
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, cast

from provenance._base.errors import TreenailError
from provenance._base.findings import Finding
from provenance._record.reading import FIRST_ROW

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from provenance._record.package import Package
    from provenance._record.snapshot import Row, Snapshot


class SignaturesNotTested(TreenailError):
    """There are signatures, and the library that could test them is not installed."""


def read_signing_key(path: Path) -> Ed25519PrivateKey:
    """The private key of a PEM file without a passphrase; raises TreenailError."""
    ed25519 = _library()
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        key = load_pem_private_key(path.read_bytes(), password=None)
    except (OSError, ValueError, TypeError) as error:
        raise TreenailError(
            f"{path} is not a key to sign with: {error}. Make one with "
            f"'openssl genpkey -algorithm ed25519 -out {path.name}'"
        ) from error
    if not isinstance(key, ed25519.Ed25519PrivateKey):
        raise TreenailError(f"{path} holds another kind of key; Ed25519 is needed")
    return cast("Ed25519PrivateKey", key)


def sign_events(package: Package, key: Ed25519PrivateKey, custody_ids: Collection[str]) -> None:
    """Sign sealed events and write the signatures into the ledger.

    Raises TreenailError for an event that is not there, not sealed, or signed by somebody already.
    """
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    public = key.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)
    with package.locked():
        ledger = package.table("custody")
        places = dict(zip(ledger["custody_id"], ledger.index, strict=True))
        for number in custody_ids:
            if number not in places:
                raise TreenailError(f"there is no event {number} to sign")
            row = places[number]
            seal = str(ledger.loc[row, "event_sha256"])
            if not seal:
                raise TreenailError(f"event {number} is not sealed yet, so it cannot be signed")
            if ledger.loc[row, "signature"]:
                raise TreenailError(f"event {number} is signed already")
            ledger.loc[row, "signer_key"] = base64.b64encode(public).decode()
            signature = key.sign(bytes.fromhex(seal))
            ledger.loc[row, "signature"] = base64.b64encode(signature).decode()
        package.write_table("custody", ledger)


def verify_signed(tables: Snapshot) -> list[Finding]:
    """One error for each signature that is not the signer's over the event's seal.

    Events without a signature are passed over: signing is for those who want it. Raises
    SignaturesNotTested when there are some and the package 'cryptography' is not installed.
    """
    if not any(tables.column("custody", "signature")):
        return []
    findings = []
    for row, event in enumerate(tables.rows("custody"), start=FIRST_ROW):
        if event["signature"] and not _is_signed(event):
            findings.append(
                Finding(
                    "error",
                    "custody.signature_false",
                    "custody",
                    row,
                    event["custody_id"],
                    "signature",
                    event["signature"],
                    f"The signature of event {event['custody_id']} is not the signer's over this "
                    "event: key, signature or event was changed.",
                    "Ask the signer; restore the ledger from an older copy or bundle.",
                )
            )
    return findings


def _is_signed(event: Row) -> bool:
    ed25519 = _library()
    from cryptography.exceptions import InvalidSignature

    try:
        key = ed25519.Ed25519PublicKey.from_public_bytes(_decoded(event["signer_key"]))
        key.verify(_decoded(event["signature"]), bytes.fromhex(event["event_sha256"]))
    except (InvalidSignature, ValueError, binascii.Error):
        return False
    return True


def _decoded(text: str) -> bytes:
    return base64.b64decode(text, validate=True)


def _library() -> ModuleType:
    try:
        from cryptography.hazmat.primitives.asymmetric import ed25519
    except ImportError:
        raise SignaturesNotTested(
            "signatures need the package 'cryptography': pip install 'treenail[sign]'"
        ) from None
    return ed25519

"""Makes and judges the signed statement of what a bundle is and where its ledger ends.

`statement.json` is canonical JSON (RFC 8785); `statement.jws.json` has the signatures over those
bytes: JWS general JSON serialization (RFC 7515 section 7.2.1), the payload detached (appendix F)
and not encoded (RFC 7797), each by Ed25519 (RFC 8032, RFC 8037; alg 'Ed25519', RFC 9864). Each
signature carries its public key, so that anybody can test it; whose key that is, and whether to
believe it, is decided by the keys that the reader has pinned, never by the bundle's word.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import rfc8785

from provenance._base.errors import TreenailError, UnusableInput
from provenance._gate.documents import json_from
from provenance._gate.refusal import RefusedInput
from provenance._ledger.ed25519 import (
    RAW_KEY_BYTES,
    Signer,
    b64url,
    jwk_of,
    library,
    thumbprint,
    unb64url,
)

STATEMENT = "statement.json"
SIGNATURES = "statement.jws.json"
STATEMENT_VERSION = "1"
KEEPERS = "keepers"
"""The folder of public keys (*.pem) that a reader trusts, in the configuration folder."""

_HEADER = {"alg": "Ed25519", "b64": False, "crit": ["b64"]}

Pins = Mapping[str, str]
"""Keys that the reader trusts: key id → what the reader calls its owner."""


class FalseStatement(TreenailError):
    """A statement that cannot be read, or bears a signature that does not hold."""


@dataclass(frozen=True)
class Judged:
    """What a statement says, and who signed it.

    `heads` are the seals of the ledger's last events, `events` how many are sealed, both of a
    public edition empty; `manifest_sha256` is that of manifest-sha256.txt. `trusted` when one of
    the signatures is by a key that the reader trusts; `said` has a sentence on the signatures.
    """

    record: str
    edition: str
    heads: tuple[str, ...]
    events: int
    manifest_sha256: str
    trusted: bool
    said: tuple[str, ...]


# -- keys ----------------------------------------------------------------------------------------


def keepers_folder() -> Path:
    """Where the reader keeps the public keys that count in every verification."""
    import platformdirs

    return platformdirs.user_config_path("treenail", appauthor=False) / KEEPERS


def pinned_keys(files: Sequence[Path] = ()) -> dict[str, str]:
    """The keys that the reader trusts: those named, and those in `keepers_folder`.

    The name of a file is what its owner is called. Raises UnusableInput for one that is no public
    key of Ed25519.
    """
    folder = keepers_folder()
    kept = sorted(folder.glob("*.pem")) if folder.is_dir() else []
    return {_read_public_key(path): path.stem for path in (*kept, *files)}


def _read_public_key(path: Path) -> str:
    ed25519 = library()
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    try:
        text = path.read_bytes()
        if b"PRIVATE KEY" in text:
            raise ValueError("it is a private key, which only its owner may have")
        key = load_pem_public_key(text)
        if not isinstance(key, ed25519.Ed25519PublicKey):
            raise ValueError("it holds another kind of key; Ed25519 is needed")
    except (OSError, ValueError) as error:
        raise UnusableInput(
            f"{path} is not a public key to trust: {error}. Its owner makes one with 'openssl pkey "
            "-in KEY.pem -pubout -out NAME.pem'"
        ) from error
    return thumbprint(key.public_bytes_raw())


# -- making --------------------------------------------------------------------------------------


def statement_bytes(facts: Mapping[str, Any]) -> bytes:
    """The statement as it is signed."""
    return rfc8785.dumps({"statementVersion": STATEMENT_VERSION, **facts})


def signed(statement: bytes, keys: Sequence[Signer], before: bytes = b"") -> bytes:
    """The signatures over a statement, behind those in the file `before`, as a file's bytes."""
    signatures = _signatures_in(before) if before else []
    for key in keys:
        header: dict[str, Any] = {**_HEADER, "jwk": jwk_of(key.public), "kid": key.key_id}
        protected = b64url(rfc8785.dumps(header))
        signature = key.private.sign(signing_input(protected, statement))
        signatures.append({"protected": protected, "signature": b64url(signature)})
    return rfc8785.dumps({"signatures": signatures}) + b"\n"


def signing_input(protected: str, payload: bytes) -> bytes:
    """The bytes that a signature is over, for a payload that is not encoded (RFC 7797)."""
    return protected.encode("ascii") + b"." + payload


# -- judging -------------------------------------------------------------------------------------


def judge_statement(statement: bytes, signatures: bytes, pins: Pins) -> Judged:
    """Read a statement and test every signature over it.

    Raises FalseStatement when it cannot be read or a signature does not hold, and
    SignaturesNotTested where the library that tests them is not installed.
    """
    facts = _object(statement, STATEMENT)
    signers = [_signer(one, statement) for one in _signatures_in(signatures)]
    if not signers:
        raise FalseStatement(f"{SIGNATURES} holds no signature")
    heads, events = facts.get("heads", []), facts.get("events", 0)
    if (
        not isinstance(heads, list)
        or not all(isinstance(one, str) for one in heads)
        or not isinstance(events, int)
    ):
        raise FalseStatement(f"{STATEMENT} does not say where the ledger ends")
    known = [pins[one] for one in signers if one in pins]
    strange = [one for one in signers if one not in pins]
    said = []
    if known:
        said.append(f"The bundle is signed by {' and '.join(known)}, whom you trust.")
    if strange:
        said.append(
            f"The bundle is signed with the key {' and '.join(strange)}, which you do not "
            "trust yet. Ask its owner directly, not through the bundle, then use --trust."
        )
    return Judged(
        record=str(facts.get("record", "")),
        edition=str(facts.get("edition", "")),
        heads=tuple(heads),
        events=events,
        manifest_sha256=str(facts.get("manifestSha256", "")),
        trusted=bool(known),
        said=tuple(said),
    )


def _object(raw: bytes, name: str) -> dict[str, Any]:
    try:
        value = json_from(raw, name)
    except RefusedInput as error:
        raise FalseStatement(str(error)) from error
    if not isinstance(value, dict):
        raise FalseStatement(f"{name} does not hold a JSON object")
    return value


def _signatures_in(raw: bytes) -> list[dict[str, str]]:
    found = _object(raw, SIGNATURES).get("signatures")
    if not isinstance(found, list) or not all(
        isinstance(one, dict)
        and isinstance(one.get("protected"), str)
        and isinstance(one.get("signature"), str)
        for one in found
    ):
        raise FalseStatement(f"{SIGNATURES} has no list of signatures as RFC 7515 writes them")
    return found


def _signer(one: Mapping[str, str], statement: bytes) -> str:
    """The id of the key by which a signature holds; raises FalseStatement when it does not."""
    ed25519 = library()
    from cryptography.exceptions import InvalidSignature

    try:
        header = json_from(unb64url(one["protected"]), SIGNATURES)
        if {name: header.get(name) for name in _HEADER} != _HEADER:
            raise ValueError("its header asks for something other than Ed25519 over plain bytes")
        jwk = header["jwk"]
        public = unb64url(jwk["x"])
        wanted = jwk_of(public)
        if {name: jwk.get(name) for name in wanted} != wanted or len(public) != RAW_KEY_BYTES:
            raise ValueError("its key is not an Ed25519 key")
        if header.get("kid") != thumbprint(public):
            raise ValueError("the id of its key is not the one it gives")
        key = ed25519.Ed25519PublicKey.from_public_bytes(public)
        key.verify(unb64url(one["signature"]), signing_input(one["protected"], statement))
    except InvalidSignature:
        raise FalseStatement(
            f"a signature in {SIGNATURES} is not over this {STATEMENT}: one of them was changed"
        ) from None
    except (RefusedInput, ValueError, KeyError, TypeError, AttributeError) as error:
        raise FalseStatement(f"a signature in {SIGNATURES} cannot be read: {error}") from error
    return thumbprint(public)

"""Signs and tests signatures with Ed25519 (RFC 8032); a public key is named by its thumbprint.

The name of a key is the SHA-256, in hexadecimal, of its JWK thumbprint's text (RFC 7638, RFC 8037):
{"crv":"Ed25519","kty":"OKP","x":"..."}, with the key in base64url without padding.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import rfc8785

from provenance._base.errors import TreenailError

if TYPE_CHECKING:
    from types import ModuleType

    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


RAW_KEY_BYTES = 32


class SignaturesNotTested(TreenailError):
    """There are signatures, and the library that could test them is not installed."""


@dataclass(frozen=True)
class Signer:
    """A private key, and what is known of it without the record."""

    private: Ed25519PrivateKey

    @cached_property
    def public(self) -> bytes:
        """The public key, raw."""
        return self.private.public_key().public_bytes_raw()

    @cached_property
    def public_key(self) -> str:
        """The public key, base64."""
        return base64.b64encode(self.public).decode()

    @cached_property
    def key_id(self) -> str:
        """The name of the public key."""
        return thumbprint(self.public)

    def sign(self, message: bytes) -> str:
        """The signature over some bytes, base64."""
        return base64.b64encode(self.private.sign(message)).decode()


def b64url(raw: bytes) -> str:
    """Base64url without padding (RFC 7515 section 2)."""
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def unb64url(text: str) -> bytes:
    """What stands in base64url without padding; raises ValueError for anything else."""
    raw = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    if b64url(raw) != text:
        raise ValueError("is not base64url without padding")
    return raw


def jwk_of(public: bytes) -> dict[str, str]:
    """A raw public key as a JWK (RFC 8037 section 2)."""
    return {"crv": "Ed25519", "kty": "OKP", "x": b64url(public)}


def thumbprint(public: bytes) -> str:
    """The name of a raw public key."""
    return hashlib.sha256(rfc8785.dumps(jwk_of(public))).hexdigest()


def key_id_of(public_key: str) -> str:
    """The name of a public key that is written in base64; '' for what is no such key.

    >>> key_id_of("11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo=")
    '90facafea9b1556698540f70c0117a22ea37bd5cf3ed3c47093c1707282b4b89'
    """
    try:
        raw = base64.b64decode(public_key, validate=True)
    except (ValueError, binascii.Error):
        return ""
    return thumbprint(raw) if len(raw) == RAW_KEY_BYTES else ""


def is_signed(public_key: str, signature: str, message: bytes) -> bool:
    """Whether a signature over some bytes is that of a key; both are written in base64.

    Raises SignaturesNotTested when the package 'cryptography' is not installed.
    """
    ed25519 = library()
    from cryptography.exceptions import InvalidSignature

    try:
        key = ed25519.Ed25519PublicKey.from_public_bytes(_decoded(public_key))
        key.verify(_decoded(signature), message)
    except (InvalidSignature, ValueError, binascii.Error):
        return False
    return True


def _decoded(text: str) -> bytes:
    return base64.b64decode(text, validate=True)


def library() -> ModuleType:
    """The module of the algorithm; raises SignaturesNotTested where it is not installed."""
    try:
        from cryptography.hazmat.primitives.asymmetric import ed25519
    except ImportError:
        raise SignaturesNotTested(
            "signatures need the package 'cryptography': pip install 'treenail[sign]'"
        ) from None
    return ed25519

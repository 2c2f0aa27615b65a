"""Commits to what is withheld: keyed hashes that only the full edition's key can open.

A plain hash of a pair of initials is found by trying all of them; a keyed one (HMAC, RFC 2104, with
SHA-256) is not. The key is made once a package, stands in its descriptor, and is in no public one.
"""

from __future__ import annotations

import hmac
import re
import secrets
from collections.abc import Iterable

from provenance.errors import UnusablePackage
from provenance.package import DESCRIPTOR, Package

EDITION_KEY = "editionKey"
KEY_BYTES = 32


def new_edition_key() -> str:
    """A random key, 64 hexadecimal digits."""
    return secrets.token_hex(KEY_BYTES)


def edition_key(package: Package) -> str | None:
    """The key in a package's descriptor, None where it has none.

    Raises UnusablePackage when there is one that is no key.
    """
    key = package.descriptor.get(EDITION_KEY)
    if key is None:
        return None
    if not isinstance(key, str) or not re.fullmatch(f"[0-9a-f]{{{2 * KEY_BYTES}}}", key):
        raise UnusablePackage(
            f"{package.folder / DESCRIPTOR}: '{EDITION_KEY}' is no key (64 digits 0-9 a-f); "
            "restore it from a copy or bundle, or take it out for a new one"
        )
    return key


def commit(key: str, what: str, text: str) -> str:
    """HMAC-SHA256 over 'treenail ', `what`, a line feed and `text`, in hexadecimal.

    `what` says of what kind the text is, so that no commitment can stand for one of another kind.

    >>> commit("00" * 32, "seal", "")[:16]
    'fba326feb97abe11'
    """
    message = f"treenail {what}\n{text}".encode()
    return hmac.new(bytes.fromhex(key), message, "sha256").hexdigest()


def members_text(sums: Iterable[tuple[str, str]]) -> str:
    """The list of (path, sha256) that a commitment covers: 'sha256  path' lines, by path."""
    return "".join(f"{digest}  {path}\n" for path, digest in sorted(sums))

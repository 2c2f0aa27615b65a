"""Commits to what is withheld: keyed hashes that only the full edition's key can open.

A plain hash of a pair of initials is found by trying all of them; a keyed one (HMAC, RFC 2104, with
SHA-256) is not, as long as the key is with the full edition alone.
"""

from __future__ import annotations

import hmac
from collections.abc import Iterable


def commit(key: str, what: str, text: str) -> str:
    """HMAC-SHA256 over 'treenail ', `what`, a line feed and `text`, in hexadecimal.

    `key` is hexadecimal too; `what` says of what kind the text is, so that no commitment can stand
    for one of another kind.

    >>> commit("00" * 32, "seal", "")[:16]
    'fba326feb97abe11'
    """
    message = f"treenail {what}\n{text}".encode()
    return hmac.new(bytes.fromhex(key), message, "sha256").hexdigest()


def members_text(sums: Iterable[tuple[str, str]]) -> str:
    """The list of (path, sha256) that a commitment covers: 'sha256  path' lines, by path."""
    return "".join(f"{digest}  {path}\n" for path, digest in sorted(sums))

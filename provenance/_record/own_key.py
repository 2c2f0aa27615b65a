"""Keeps a secret of the account on this computer, by which it knows its own writes again."""

from __future__ import annotations

import re
import secrets
from functools import cache
from pathlib import Path

from provenance._base.disk import write_text
from provenance._base.errors import TreenailError
from provenance._base.locks import locked

_KEY = re.compile(r"[0-9a-f]{64}\n")


def own_key() -> bytes | None:
    """The secret, made when it is first asked for; None where the account can keep none.

    It proves nothing to anybody else, and is no key of a person: see _ledger/signing.py.
    """
    import platformdirs

    return _key_in(platformdirs.user_data_path("treenail", appauthor=False))


@cache
def _key_in(folder: Path) -> bytes | None:
    path = folder / "own.key"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with locked(folder):
            if not path.exists():
                write_text(path, secrets.token_hex(32) + "\n")
                path.chmod(0o600)
            text = path.read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError, TreenailError):
        # without a home to write in everything works but for finishing unasked
        return None
    return bytes.fromhex(text) if _KEY.fullmatch(text) else None

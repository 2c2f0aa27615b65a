"""Tells which edition a package is, and holds the key that shows a public one's descent.

The key is made once a package, stands in the package's descriptor, and is in no public edition.
"""

from __future__ import annotations

import re
import secrets

from provenance._base.errors import UnusablePackage
from provenance._record.package import DESCRIPTOR, Package

EDITION = "edition"
EDITION_KEY = "editionKey"
KEY_BYTES = 32


def is_public(package: Package) -> bool:
    """Whether a package is a public edition itself."""
    return package.descriptor.get(EDITION) == "public"


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
            f"{package.folder / DESCRIPTOR}: '{EDITION_KEY}' is not a key (64 digits 0-9 a-f); "
            "restore it from a copy or bundle, or remove it for a new one"
        )
    return key

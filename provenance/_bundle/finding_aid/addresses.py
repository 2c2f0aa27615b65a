"""Turns an identifier into the address of its page, the same one for as long as the record lives.

The rule, which the bundle's README.txt tells as well:

- A place, a piece of wood and a sample have the page `pages/TABLE/NAME.html`.
- NAME is the identifier. Capitals A-Z, digits, '-', '_' and '.' stand as they are; of every other
  character each byte of its UTF-8 is written as '~' and two hexadecimal digits in capitals. So no
  two identifiers share a page, not even where a disk takes 'b1' and 'B1' for one name.
- A '.' at the beginning is written so too (systems hide such files), and so is the first letter of
  a name that Windows keeps to itself (CON, NUL, COM1 ...).
- In a full edition `pages/relocate/NAME.html` leads back to the hole of the sample.
- A NAME longer than 120 characters is its first 80, '~~', and the SHA-256 of the identifier.

A plug, a result or an event stands on the page of its sample, under the anchor TABLE.NAME.
"""

from __future__ import annotations

import hashlib
import re
from string import ascii_uppercase, digits

PAGED = ("place", "element", "sample")
"""The tables each row of which has a page of its own."""

_PLAIN = frozenset(ascii_uppercase + digits + "-_.")
_LONGEST, _KEPT = 120, 80
_USUAL = re.compile("[A-Z0-9_-][A-Z0-9._-]{0,119}")
# Win32, 'Naming Files, Paths, and Namespaces': reserved with any extension
_RESERVED = re.compile(r"(CON|PRN|AUX|NUL|COM[0-9]|LPT[0-9])(\..*)?")


def page_name(identifier: str) -> str:
    """The identifier as part of a file name and of an address, one to one.

    >>> page_name("LH-004"), page_name("b1/2"), page_name("NUL")
    ('LH-004', '~621~2F2', '~4EUL')
    """
    if _USUAL.fullmatch(identifier) and not _RESERVED.fullmatch(identifier):
        return identifier
    first_is_odd = identifier[:1] == "." or _RESERVED.fullmatch(identifier)
    name = "".join(
        one if one in _PLAIN and not (place == 0 and first_is_odd) else _by_number(one)
        for place, one in enumerate(identifier)
    )
    if len(name) > _LONGEST:
        digest = hashlib.sha256(identifier.encode("utf-8", "surrogatepass")).hexdigest().upper()
        name = f"{name[:_KEPT]}~~{digest}"
    return name


def _by_number(character: str) -> str:
    return "".join(f"~{byte:02X}" for byte in character.encode("utf-8", "surrogatepass"))


def page_path(table: str, identifier: str) -> str:
    """Where the page of a row lies, as seen from index.html.

    >>> page_path("sample", "231")
    'pages/sample/231.html'
    """
    return f"pages/{table}/{page_name(identifier)}.html"


def relocation_path(sample_id: str) -> str:
    """Where the page lies that leads back to the hole of a sample, as seen from index.html.

    >>> relocation_path("231")
    'pages/relocate/231.html'
    """
    return f"pages/relocate/{page_name(sample_id)}.html"


def anchor(table: str, identifier: str) -> str:
    """The id that a row has on the page it stands on.

    >>> anchor("plug", "P-231")
    'plug.P-231'
    """
    return f"{table}.{page_name(identifier)}"

"""Tells file names that Windows, macOS and Linux all hold from those that one of them does not.

Sources: Microsoft, 'Naming Files, Paths, and Namespaces' and 'Maximum Path Length Limitation';
Unicode Standard Annex 15 (normal forms) and section 3.13 of the standard (caseless matching).
"""

from __future__ import annotations

import re
import unicodedata

from provenance._base.visible import HIDDEN

LONGEST_PATH = 200
"""Characters of a path in a package: Windows takes 259 with the folders that a person puts first.

Counted as Windows counts them, in units of UTF-16.
"""

_RESERVED = re.compile(
    r"(?:con|prn|aux|nul|conin\$|conout\$|(?:com|lpt)[0-9¹²³])[ .]*(?:\..*)?", re.IGNORECASE
)
_FORBIDDEN = re.compile(r'[<>:"|?*\\\x00-\x1f]')


def is_reserved(name: str) -> bool:
    """Whether Windows takes a name for a device, whatever its ending.

    >>> [is_reserved(one) for one in ("CON", "nul.tar.gz", "COM7.txt", "console.txt", "COM77")]
    [True, True, True, False, False]
    """
    return _RESERVED.fullmatch(name) is not None


def folded(name: str) -> str:
    """The form in which two names are equal that some system takes for one.

    >>> folded("Caf\\u00c9") == folded("cafe\\u0301")
    True
    """
    # folding can undo the normal form, and the other way round
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def unholdable_because(path: str) -> str | None:
    """Why Windows cannot hold a relative path, parted by '/', under this name, or None."""
    for part in path.split("/"):
        if found := _FORBIDDEN.search(part):
            return f"it holds {found[0]!r}, which no name on Windows may"
        if part != part.rstrip() or part.endswith("."):
            return "a name in it ends with a dot or blank, which Windows drops"
        if part != part.lstrip():
            return "a name in it begins with a blank, which some programs on Windows drop"
        if is_reserved(part):
            return f"Windows keeps the name {part!r} to itself"
    return None


def unportable_because(path: str) -> str | None:
    """Why some desktop cannot hold a path of a package, or None when all can.

    >>> unportable_because("files/north wall.jpg")
    >>> unportable_because("files/north wall: 2.jpg")
    "it holds ':', which no name on Windows may"
    """
    if reason := unholdable_because(path):
        return reason
    if hidden := re.search(HIDDEN, path):
        return f"it holds the hidden character U+{ord(hidden[0]):04X}, which no list shows"
    if len(path.encode("utf-16-le", "surrogatepass")) // 2 > LONGEST_PATH:
        return f"it is longer than {LONGEST_PATH} characters"
    return None

"""Tells file names that every system and checksum list reads alike from those that are not."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable

from provenance._base.portable import folded, unholdable_because
from provenance._gate.budget import DEFAULT_BUDGET, Budget

_WINDOWS = os.name == "nt"
_DRIVE = re.compile(r"[A-Za-z]:")
_LONGEST_STEP_BYTES = 255  # what common file systems hold
_SURROGATE = re.compile("[\ud800-\udfff]")
# control characters, line and paragraph separators: they break lists of names into lines
_BREAKING = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]")


def unsafe_because(path: str, limits: Budget = DEFAULT_BUDGET) -> str | None:
    """Why a path inside a bundle must not be followed, or None when it may be.

    A safe path is relative, parted by '/', and leads nowhere but into the folder it starts from.
    """
    if not path:
        return "it is empty"
    if path.startswith("/"):
        return "it is absolute"
    if "\\" in path:
        return "it holds a backslash, which some systems take for a folder"
    if _DRIVE.match(path):
        return "it starts with a drive letter"
    if path.startswith("~"):
        return "it starts with '~', which stands for someone's home folder"
    if _SURROGATE.search(path):
        return "it is not valid UTF-8"
    if _BREAKING.search(path):
        return "it holds a control character or line break"
    parts = path.split("/")
    if ".." in parts:
        return "it climbs out of the folder with '..'"
    if "" in parts or "." in parts:
        return "it has an empty step in it"
    if len(parts) > limits.most_folders:
        return f"it is more than {limits.most_folders} folders deep"
    if len(path.encode()) > limits.longest_name_bytes:
        return f"it is longer than {limits.longest_name_bytes} bytes"
    if any(len(part.encode()) > _LONGEST_STEP_BYTES for part in parts):
        return f"a name in it is longer than {_LONGEST_STEP_BYTES} bytes"
    # elsewhere verify warns of it; here the bytes would go into a device or under another name
    return unholdable_because(path) if _WINDOWS else None


def unlistable_because(path: str) -> str | None:
    """Why a safe path still cannot stand in a manifest that every tool reads alike, or None.

    RFC 8493 section 2.1.3 wants a percent sign written as %25; tools differ in whether they do.
    """
    if "%" in path:
        return "it holds a percent sign"
    if any(part != part.strip() for part in path.split("/")):
        return "a name in it begins or ends with a blank"
    return None


def name_collisions(paths: Iterable[str]) -> list[tuple[str, str]]:
    """Pairs of different names that some systems take for one (letter case, Unicode form).

    Folders count as well: 'Files/a' and 'files/b' collide.

    >>> name_collisions(["files/Wall.jpg", "files/wall.jpg", "files/door.jpg"])
    [('files/Wall.jpg', 'files/wall.jpg')]
    """
    seen: dict[str, str] = {}
    pairs: dict[tuple[str, str], None] = {}
    for path in paths:
        stem = path
        while stem:
            other = seen.setdefault(folded(stem), stem)
            if other == stem and stem != path:
                break  # the folder and those above it are known
            if other != stem:
                pairs[(other, stem)] = None
            stem = stem.rpartition("/")[0]
    return list(pairs)

"""Finds packages and bundles in a store, and tells the changed from the unchanged by what it says.

A store tells of each file its size and, as it can, times, an ETag or a CRC: whatever it tells is
compared. Only of a store that tells nothing but the size are lists of checksums and the ends of
zips read for this: in both any other content shows.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from provenance._record.package import DESCRIPTOR
from provenance._record.remote import Entry, Remote

MARKERS = ("manifest-sha256.txt", "manifest-sha512.txt", "bagit.txt")
"""What makes a folder a bag; the first that is there stands for it."""

END_BYTES = 65_536
MOST_MARKER_BYTES = 512 << 20
_NO_STATE = frozenset({"name", "type", "size", "Key", "url", "mimetype", "atime", "accessed"})
"""What a store tells of a file that does not show whether it has changed; the size is looked at."""


def signature_in_store(place: Remote) -> str | None:
    """What tells a changed package or bundle from an unchanged one; None when it is neither.

    Raises OSError when the store cannot be asked.
    """
    place.look_afresh()
    facts = place.facts()
    if facts is None:
        return None
    if facts.get("type") != "directory":
        return f"zip {_state(place, facts)}" if place.suffix.lower() == ".zip" else None
    return _signature_of_folder(place, place.entries())


def _signature_of_folder(place: Remote, entries: list[Entry]) -> str | None:
    files = {entry.name for entry in entries if not entry.is_folder}
    for marker in MARKERS:
        if marker in files:
            return f"bag {_state(place / marker)}"
    if DESCRIPTOR not in files:
        return None
    states = [_state(place / DESCRIPTOR)]
    if any(entry.is_folder and entry.name == "tables" for entry in entries):
        tables = place / "tables"
        names = [entry.name for entry in tables.entries() if entry.name.endswith(".csv")]
        states += [_state(tables / name) for name in names]
    return f"package {hashlib.sha256(' '.join(states).encode()).hexdigest()}"


def _state(file: Remote, facts: Mapping[str, Any] | None = None) -> str:
    """A line without blanks that is another when the file is."""
    # asked of each file by itself: what a listing tells is in some stores less, or in other words
    facts = facts or file.facts()
    if facts is None:
        raise FileNotFoundError(2, "is not there any more", str(file))
    size = facts.get("size")
    told = {
        name: repr(value)
        for name, value in facts.items()
        if name not in _NO_STATE and value not in (None, "", False, {}, [])
    }
    kind = "told"
    if not told:
        kind = "read"
        with file.open() as stream:
            if file.suffix.lower() == ".zip" and stream.seekable() and size:
                stream.seek(max(size - END_BYTES, 0))
            told = {"content": hashlib.sha256(stream.read(MOST_MARKER_BYTES)).hexdigest()}
    lines = "\n".join(f"{name}={told[name]}" for name in sorted(told))
    return f"{kind}-{size}-{hashlib.sha256(lines.encode()).hexdigest()[:32]}"


def survey_store(
    place: Remote, met: Callable[[Remote, str], None], unseen: Callable[[Remote, str], None]
) -> None:
    """Call `met` with each package or bundle below the folder `place` and its signature.

    `unseen` is called with what could not be looked into, and why. Hidden entries are left out. A
    bundle's own folders are not walked.
    """
    to_do = [place]
    while to_do:
        folder = to_do.pop()
        try:
            entries = folder.entries()
            signature = _signature_of_folder(folder, entries) if folder != place else None
        except OSError as error:
            unseen(folder, error.strerror or str(error))
            continue
        if signature is not None:
            met(folder, signature)
            continue
        for entry in entries:
            if entry.name.startswith("."):
                continue
            below = folder / entry.name
            if entry.is_folder:
                to_do.append(below)
            elif below.suffix.lower() == ".zip":
                try:
                    met(below, f"zip {_state(below)}")
                except FileNotFoundError:
                    continue  # taken away since the folder was listed
                except OSError as error:
                    unseen(below, error.strerror or str(error))


def file_states(place: Remote) -> Iterator[tuple[str, str]]:
    """(path, state) of every file of a bundle, in the order of the paths; raises OSError."""
    place.look_afresh()
    facts = place.facts()
    if facts is None:
        raise FileNotFoundError(2, "is not there", str(place))
    if facts.get("type") != "directory":
        yield "", _state(place, facts)
        return
    to_do = [(place, "")]
    found = []
    while to_do:
        folder, prefix = to_do.pop()
        for entry in folder.entries():
            if entry.is_folder:
                to_do.append((folder / entry.name, f"{prefix}{entry.name}/"))
                continue
            told = sorted((k, repr(v)) for k, v in entry.facts.items() if k not in _NO_STATE)
            state = f"{entry.facts.get('size')} {told}"
            found.append((f"{prefix}{entry.name}", state))
    yield from sorted(found)

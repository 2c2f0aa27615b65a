"""Keeps acts that were answered and wait to be written into the tables: one sealed line each.

A large table takes longer to write than a person waits for a cell, so an act is appended here and
forced to disk before it is answered. Whoever next opens the package, or holds it to change it, has
the acts written into the tables (`Package.locked`). A line that was cut off was never answered.

Each line bears a seal (HMAC-SHA256, RFC 2104) by a key of the person's account, as the list of a
stopped write does: a folder may come from a stranger, and reading it must not change it.
"""

from __future__ import annotations

import hmac
import json
import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

from provenance._base.disk import disk_trouble
from provenance._base.durable import sync_file, sync_folder
from provenance._base.errors import TreenailError
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.documents import json_from
from provenance._gate.folders import read_plain, refuse_way_out
from provenance._gate.refusal import RefusedInput
from provenance._record.own_key import own_key

JOURNAL = ".waiting-acts.jsonl"
Entry = Mapping[str, Any]
_as_json = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode


class Waiting(NamedTuple):
    """The entries that wait, and how many bytes of the file they are."""

    entries: tuple[Entry, ...]
    size: int


def has_waiting(folder: Path) -> bool:
    """Whether acts wait to be written into the tables."""
    return os.path.lexists(folder / JOURNAL)


def can_wait() -> bool:
    """Whether this account can keep the key by which it knows its own entries again."""
    return own_key() is not None


def read_waiting(folder: Path, *, of_anybody: bool = False) -> Waiting:
    """What waits, without a last line that was cut off; hold the folder's lock to act on it.

    Raises RefusedInput where an entry was not made by this account, unless it may be `of_anybody`,
    and where one before the last is damaged.
    """
    path = folder / JOURNAL
    refuse_way_out(folder, JOURNAL)
    try:
        data = read_plain(path, DEFAULT_BUDGET.most_table_bytes)
    except FileNotFoundError:
        return Waiting((), 0)
    entries: list[Entry] = []
    size = 0
    for number, line in enumerate(data.splitlines(keepends=True), start=1):
        sealed = _entry_in(line)
        if sealed is None:
            break
        entry, seal = sealed
        if not of_anybody and not hmac.compare_digest(seal.encode(), _seal(entry).encode()):
            raise RefusedInput(
                path,
                f"holds an act in line {number} that waits to be written into the tables and was "
                "not recorded by this account on this computer",
                remedy="open the package once where it was recorded; or, if you trust the sender, "
                f"'treenail change finish {folder}' writes it",
            )
        entries.append(entry)
        size += len(line)
    if any(_entry_in(line) for line in data[size:].splitlines(keepends=True)):
        raise RefusedInput(
            path,
            f"is damaged in line {len(entries) + 1}, and acts follow it",
            remedy=f"restore it from a copy; or remove {path}, and the acts in it are lost",
        )
    return Waiting(tuple(entries), size)


def append_waiting(folder: Path, entry: Entry, after: int) -> int:
    """Put an entry behind the first `after` bytes, on the disk itself; returns the new size.

    Hold the folder's lock. Raises TreenailError when the disk refuses; nothing is recorded then.
    """
    path = folder / JOURNAL
    refuse_way_out(folder, JOURNAL)
    line = _as_json({"entry": entry, "seal": _seal(entry)}).encode() + b"\n"
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
        try:
            # what was cut off there, or left by an error below
            os.ftruncate(handle, after)
            os.lseek(handle, after, os.SEEK_SET)
            with open(handle, "wb", closefd=False) as stream:
                stream.write(line)
            sync_file(handle)
        except OSError:
            with suppress(OSError):
                os.ftruncate(handle, after)
            raise
        finally:
            os.close(handle)
        if not after:
            sync_folder(folder)
    except OSError as error:
        error.filename = str(folder)
        raise TreenailError(f"nothing was recorded: {disk_trouble(error)}") from error
    return after + len(line)


def remove_waiting(folder: Path) -> None:
    """Remove the journal, once all that is in it stands in the tables; hold the folder's lock."""
    (folder / JOURNAL).unlink(missing_ok=True)


def _seal(entry: Entry) -> str:
    key = own_key()
    return hmac.digest(key, _as_json(entry).encode(), "sha256").hex() if key else ""


def _entry_in(line: bytes) -> tuple[Entry, str] | None:
    """The entry and the seal of a line; None where it is not a whole one."""
    if not line.endswith(b"\n"):
        return None
    try:
        raw = json_from(line, JOURNAL)
    except RefusedInput:
        return None
    if not isinstance(raw, dict) or raw.keys() != {"entry", "seal"}:
        return None
    entry, seal = raw["entry"], raw["seal"]
    return (entry, seal) if isinstance(entry, dict) and isinstance(seal, str) else None

"""Acts that were answered and wait in the journal of a package: put there, and into the tables."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

from provenance._base.locks import locked
from provenance._history.acts import Act, Line
from provenance._history.history import BrokenHistory, History, open_history, stage_history
from provenance._record.journal import JOURNAL, Entry, has_waiting, read_waiting, remove_waiting
from provenance._record.package import Package, described_package
from provenance._record.together import writing_together

_TEXTS = ("kind", "who", "when", "why", "source", "version", "undoes")
_LISTS = ("replaces", "parents")


def entry_of(name: str, act: Act) -> Entry:
    """An act as the journal holds it."""
    texts = {one: getattr(act, one) for one in (*_TEXTS, *_LISTS)}
    return {"act_id": name, **texts, "lines": [list(one) for one in act.lines]}


def with_waiting(history: History, entries: Iterable[Entry]) -> History:
    """The history with the acts of the journal that it does not have yet.

    Raises BrokenHistory for an entry that is not what its name says, or of another record.
    """
    for entry in entries:
        name = entry.get("act_id")
        if name in history.acts:
            continue
        act = _act_in(entry)
        # the name proves the texts and, over the parents, that it is of this record
        if act is None or act.act_id(history.key) != name or not act.named <= history.acts.keys():
            raise BrokenHistory(
                f"{history.package.folder / JOURNAL}: act {str(name)[:8]} was edited by hand, or "
                "is not of this record; restore the file from a copy, or remove it"
            )
        history = history.with_act(name, act)
    return history


def _act_in(entry: Entry) -> Act | None:
    """The act of an entry; None where it is none."""
    texts: dict[str, Any] = {one: entry.get(one) for one in _TEXTS}
    lists = {one: entry.get(one) for one in _LISTS}
    lines = entry.get("lines")
    if not isinstance(lines, list) or not all(
        _is_texts(one) for one in ([*texts.values()], *lists.values(), *lines)
    ):
        return None
    if any(len(one) != len(Line._fields) for one in lines):
        return None
    named: dict[str, Any] = {name: tuple(one or ()) for name, one in lists.items()}
    return Act(**texts, **named, lines=tuple(map(Line._make, lines)))


def _is_texts(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(one, str) for one in value)


def enter_waiting(package: Package, *, of_anybody: bool = False) -> list[str]:
    """Write the acts that wait into the tables; hold the package's lock.

    Returns the names of acts that the tables did not have. Raises RefusedInput, BrokenHistory.
    """
    package = replace(package, held=None)
    entries = read_waiting(package.folder, of_anybody=of_anybody).entries
    new: list[str] = []
    if entries:
        before = open_history(package)
        after = with_waiting(before, entries)
        new = [name for name in after.acts if name not in before.acts]
        if new:
            with writing_together(package.folder) as staging:
                stage_history(after, staging, before=before)
    remove_waiting(package.folder)
    return new


def finish_waiting(folder: Path) -> list[str]:
    """Write the acts that wait in a folder, whoever left them; raises as `enter_waiting`."""
    if not has_waiting(folder):
        return []
    with locked(folder):
        return enter_waiting(described_package(folder), of_anybody=True)

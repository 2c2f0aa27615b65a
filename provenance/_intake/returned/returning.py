"""Makes one act of what a person changed in a filled workbook, against the state it left with.

What came into the record meanwhile is neither overwritten nor refused: the act refuses only what
the person saw. So two people's workbooks of one state can be brought back one after the other, and
only what they contradict each other in is a conflict.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256

from provenance._base.errors import UnusableInput
from provenance._base.findings import Finding
from provenance._history.acts import SETTLE, Act
from provenance._history.edits import (
    Change,
    changes_between,
)
from provenance._history.history import History
from provenance._history.projection import State, project
from provenance._history.sameness import NEWER, OTHER
from provenance._intake.claims import Sameness
from provenance._intake.incoming import IncomingFile
from provenance._intake.returned.edits import Edit, edit_of

WHY = "workbook"


@dataclass(frozen=True)
class Returned:
    """What a filled workbook came to: the act, None where it says nothing new, and its changes."""

    file_name: str
    act: Act | None
    changes: tuple[Change, ...]
    findings: tuple[Finding, ...]


def left_this_record(history: History, one: IncomingFile) -> bool:
    """Whether a file is a workbook that was filled from this record.

    Raises UnusableInput when it was, but from a copy that has acts which this one has not.
    """
    if one.returned is None or one.returned.left.record not in history.acts:
        return False
    if any(act not in history.acts for act in one.returned.left.acts):
        raise UnusableInput(
            f"{next(iter(one.files))} was filled from another copy of this record, which has acts "
            "that this copy lacks; merge the two copies first, or import it there. Nothing was "
            "imported"
        )
    return True


def take_back(
    history: History, one: IncomingFile, source: str, said: Sameness, who: str, when: str
) -> tuple[History, Returned]:
    """Add the act of a workbook that comes back; `source` is the number of the received file.

    In the file's readings only those unread cells are left that the person wrote. A workbook that
    has most of what an earlier one of the same state changed is a newer copy of that. Raises
    UnusableInput where that cannot be told, with what to say.
    """
    book = one.returned
    assert book is not None
    (name,) = one.files
    left = _with_parents(history, book.left.acts)
    state = _state(history, left)
    edit = edit_of(state, one.readings, book)
    version = sha256(" ".join((book.left.record, *book.left.acts)).encode()).hexdigest()
    acts = {code: act for code, act in history.live.items() if act.kind == SETTLE and act.source}
    there = [code for code, act in acts.items() if act.source == source]
    others = [code for code, act in acts.items() if act.version == version]
    newest = there or _continued(history, left, state, edit, others, name, said)
    if newest:
        edit = edit_of(_state(history, left | _with_older(history, newest)), one.readings, book)
    for reading in one.readings:
        if reading.tables & state.rows.keys():
            reading.unread[:] = [
                cell for cell in edit.unread if cell.place.sheet == reading.place.sheet
            ]
    if there or not edit.lines:
        return history, Returned(name, None, (), tuple(edit.findings))
    act = Act(
        SETTLE,
        who=who,
        when=when,
        why=WHY,
        source=source,
        version=version,
        replaces=tuple(sorted(newest)),
        lines=tuple(edit.lines),
    )
    after, _ = history.adding(act)
    changes = tuple(history.changes_to(after))
    return after, Returned(name, act, changes, tuple(edit.findings))


def _with_parents(history: History, names: Iterable[str]) -> dict[str, Act]:
    """The acts of these names and all that came before them."""
    waiting, found = list(names), {}
    while waiting:
        name = waiting.pop()
        if name not in found:
            found[name] = history.acts[name]
            waiting += found[name].parents
    return found


def _with_older(history: History, names: Iterable[str]) -> dict[str, Act]:
    """The acts of workbooks that come back, with those whose place they take."""
    waiting, found = list(names), {}
    while waiting:
        name = waiting.pop()
        found[name] = history.acts[name]
        waiting += found[name].replaces
    return found


def _state(history: History, acts: Mapping[str, Act]) -> State:
    if len(acts) == len(history.acts):
        return history.state
    return project(history.package.model, acts)


def _continued(
    history: History,
    left: Mapping[str, Act],
    state: State,
    edit: Edit,
    others: Sequence[str],
    name: str,
    said: Sameness,
) -> list[str]:
    """The acts of earlier copies of a workbook, told by how much of their changes is in it."""
    if said.replaces:
        named = [code for code in others if history.acts[code].source == said.replaces]
        if not named:
            raise UnusableInput(
                f"{name}: no workbook that was filled as this one was, and still counts, was "
                f"received as {said.replaces}"
            )
        return named
    if said.new or not others:
        return []
    this = Act(SETTLE, lines=tuple(edit.lines))
    mine = set(changes_between(state, project(state.model, {**left, "this": this})))
    shares = {}
    for code in others:
        theirs = changes_between(state, _state(history, {**left, **_with_older(history, [code])}))
        shares[code] = len(mine.intersection(theirs)) / len(theirs) if theirs else 0.0
    newer = [code for code, share in shares.items() if share >= NEWER]
    covered = _with_older(history, newer)
    for code, share in shares.items():
        if share >= OTHER and code not in covered:
            source = history.acts[code].source
            raise UnusableInput(
                f"{name} has {share:.0%} of the changes of a workbook that was brought back before "
                f"({source}), too much for another person's and too little for a newer copy. If "
                f"it is a newer copy of it, say --replaces {source}; if it is another person's "
                "workbook, say --new. Nothing was imported"
            )
    older = {one for code in newer for one in history.acts[code].replaces}
    return [code for code in newer if code not in older]

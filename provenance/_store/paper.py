"""Says where the register ends in one line to keep on paper, and reads such a line again."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from provenance._base.errors import UnusableInput
from provenance._ledger.anchors import SHORTEST_HEAD
from provenance._store.acts import PRINTED, Act, ends_of, first_fault, stood_on
from provenance._store.store import Store

_LINE = re.compile(r"\s*register\s+([1-9][0-9]{0,8})((?:\s+[0-9a-f]+)+)[\s.…]*", re.IGNORECASE)


@dataclass(frozen=True)
class ActAnchor:
    """An act that was the last one when it was printed, and how many it stands on, with itself.

    `head` is the name of the act, or its first 32 digits or more.
    """

    head: str
    count: int


def anchor_line(acts: Sequence[Act]) -> str:
    """'register 12 3f2a 91c0 …': how many acts there are, and 32 digits of the last one's name.

    Raises UnusableInput where the register has several ends.
    """
    ends = ends_of(acts)
    if len(ends) != 1:
        raise UnusableInput(
            f"the register has {len(ends)} ends, so no line stands for all of it; run 'treenail "
            "audit' on the store first"
        )
    fours = re.findall("....", ends[0][:SHORTEST_HEAD])
    return " ".join(["register", str(len(stood_on(acts, ends))), *fours])


def print_anchor(store: Store, *, on: date, recorded_on: str, by: str = "") -> str:
    """The line to keep on paper, with an act that says that it was printed.

    Raises UnusableInput for a register that is not whole.
    """
    with store.writing(on=on, recorded_on=recorded_on, by=by) as writing:
        fault = first_fault(writing.store.acts)
        if fault or len(ends_of(writing.store.acts)) > 1:
            raise UnusableInput(
                f"the register of {store.folder} is not whole ({fault or 'it has two ends'}); run "
                "'treenail audit' on it first"
            )
        # the line stands for the act that says it was printed, too
        writing.add(PRINTED)
    return anchor_line(store.acts)


def read_anchor_line(text: str) -> ActAnchor:
    """The anchor in such a line; raises UnusableInput where it is none."""
    match = _LINE.fullmatch(text)
    head = "".join(match[2].split()).lower() if match else ""
    if match is None or not SHORTEST_HEAD <= len(head) <= 64:
        raise UnusableInput(
            f"--anchor '{text[:80]}': copy the line as it was printed, 'register 12 3f2a 91c0 …', "
            f"with {SHORTEST_HEAD} digits after the number"
        )
    return ActAnchor(head, int(match[1]))

"""Says beside an answer of the catalogue what it leaves out, and what it does not show."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._bag.verdict import WORDS
from provenance._base.visible import visible
from provenance._catalogue.database import read_only_catalogue
from provenance._catalogue.query import Wanted, left_out, verdicts_in, withdrawn_editions

if TYPE_CHECKING:
    import polars as pl

MOST_NAMED = 20
_LEFT_OUT = {
    "older": "older edition",
    "public": "public edition",
    "copy": "duplicate",
    "working": "working package",
}


def usual_kind(wanted: Wanted) -> str:
    """What is listed when a person does not say so."""
    if wanted.overdue:
        return "loans"
    return "holdings" if wanted.place or wanted.sample else "samples"


def notes_on(
    index: Path,
    kind: str,
    wanted: Wanted,
    frame: pl.DataFrame,
    *,
    every: str = "--every",
    damaged: str = "--even-if-damaged",
) -> Iterator[str]:
    """Sentences about an answer: editions that it leaves out, withdrawn ones, verdicts.

    `every` and `damaged` are what a person calls the choices that take these in.
    """
    listed = set(frame["path"]) if "path" in frame.columns else set()
    if not (wanted.every or wanted.edition):
        found = left_out(index)
        said = [_counted(found[role], word) for role, word in _LEFT_OUT.items() if role in found]
        if said:
            yield f"not counted: {', '.join(said)}; {every} lists them"
    yield from _withdrawn(index, listed)
    by_ledger = kind in ("holdings", "loans") and _is_of_store(index)
    leaves_out = kind != "bundles" and not by_ledger and not wanted.even_if_damaged
    yield from _verdicts(index, listed, damaged if leaves_out else "")


def exact_places_in(frame: pl.DataFrame, public: str = "--edition public") -> str:
    """A warning where an answer has places that only the restricted store may know; ''."""
    if not {"latitude", "edition"} <= set(frame.columns):
        return ""
    exact = frame.filter((frame["edition"] != "public") & frame["latitude"].is_not_null())
    if exact.is_empty():
        return ""
    return (
        f"{len(exact)} of these are exact places of full editions: for the restricted store only; "
        f"ask with {public} for what may be shown"
    )


def _is_of_store(index: Path) -> bool:
    with read_only_catalogue(index) as database:
        row = database.execute("SELECT 1 FROM source WHERE name = 'store'").fetchone()
    return row is not None


def _verdicts(index: Path, listed: set[str], choice: str) -> Iterator[str]:
    """What is known of the bundles in a list, and which are left out of it as damaged."""
    found = verdicts_in(index)
    for word, meaning in WORDS.items():
        count = sum(path in listed for path, verdict in found.items() if verdict == word)
        if count:
            yield f"{_counted(count, 'bundle')} {word}: {meaning}"
    damaged = [path for path, verdict in found.items() if verdict == "damaged" and choice]
    for path in damaged[:MOST_NAMED]:
        yield f"left out, damaged at the last audit: {visible(path)}; {choice}"
    if len(damaged) > MOST_NAMED:
        yield f"... and {len(damaged) - MOST_NAMED} MORE damaged ones are left out"


def _withdrawn(index: Path, listed: set[str]) -> Iterator[str]:
    found = {old: new for old, new in withdrawn_editions(index).items() if old in listed}
    for old, new in list(found.items())[:MOST_NAMED]:
        yield f"edition withdrawn: {visible(old)}; {visible(new)} takes its place"
    if len(found) > MOST_NAMED:
        more = f"{len(found) - MOST_NAMED} more are withdrawn"
        yield f"{more}; --of bundles names them in the column withdrawn_by"


def _counted(count: int, word: str) -> str:
    return f"{count:,} {word}{'s' * (count != 1)}"

"""Gives out the next accession number, or the one of a person's own where it keeps the order."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from provenance._base.errors import AlreadyThere
from provenance._store.acts import ACCESSION, Act
from provenance._store.numbers import (
    NumberPattern,
    UnusableNumber,
    folder_name,
    number_pattern,
    plain_number,
)
from provenance._store.settings import SETTINGS


def next_number(
    store: Path, acts: Sequence[Act], pattern: NumberPattern | None, number: str, on: date
) -> str:
    """The number to give; folders count as given out too, should the register have lost lines."""
    taken = {act.number: act.happened_on for act in acts if act.kind == ACCESSION}
    folders = [path.name for path in store.iterdir() if path.is_dir()]
    if pattern is None and not number:
        raise UnusableNumber(
            f"{store} has no {SETTINGS}, so the number pattern is not known; give it once with "
            "--pattern '{year}.{serial:04}', or this number with --number"
        )
    if not number:
        assert pattern is not None
        while True:
            number = pattern.next_number([*taken, *_numbers_in(pattern, folders)], on)
            if folder_name(number) not in folders:
                return number
            taken[number] = ""
    plain_number(number)
    if number in taken:
        raise UnusableNumber(
            f"{number} was given out on {taken[number]}; no number is given out twice"
        )
    if folder_name(number) in folders:
        raise AlreadyThere(
            f"{store / folder_name(number)} is already there, though the register does not have "
            f"{number}; find out what it is, and choose another number"
        )
    if pattern is not None:
        _refuse_out_of_order(pattern, number, [*taken, *_numbers_in(pattern, folders)])
    return number


def _numbers_in(pattern: NumberPattern, folders: Sequence[str]) -> list[str]:
    """The numbers that folders may stand for: a '/' or blank of the pattern is a '-' in them."""
    as_folder = number_pattern(
        "".join(
            f"{{{field}{f':0{width}' if width > 1 else ''}}}" if field else folder_name(literal)
            for field, literal, width in pattern.pieces
        )
    )
    found = []
    for name in folders:
        if parts := as_folder.series_of(name):
            found.append(pattern.renumbered(*parts))
    return found


def _refuse_out_of_order(pattern: NumberPattern, number: str, taken: Sequence[str]) -> None:
    """A number of a person's own keeps to the pattern and to its order."""
    mine = pattern.series_of(number)
    if mine is None:
        raise UnusableNumber(
            f"'{number}' does not follow the repository's pattern '{pattern.text}'; write it so, "
            "or change the pattern in the settings"
        )
    known = [one for one in map(pattern.series_of, taken) if one and one[0] == mine[0]]
    highest = max((serial for _, serial in known), default=0)
    if mine[1] <= highest:
        raise UnusableNumber(
            f"'{number}' lies before {pattern.renumbered(mine[0], highest)}, which was given out: "
            "numbers only increase, so that a number that was skipped is never mistaken for a "
            "later bundle"
        )

"""Every line of a sheet that comes back finds its row, whatever was done to the sheet."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from provenance._intake.returned.rows import match_rows

FUNCTIONS = ["rafter"] * 6 + ["joist"] * 4 + ["post"] * 2 + ["tie_beam", "lintel"]
Cells = dict[str, str]
Line = tuple[str | None, str, Cells]
"""The row it truly is (None for a new one), the name found on it, what it says."""


def a_row(chance: random.Random, key: str) -> Cells:
    """A timber of an invented crew."""
    return {
        "element_id": key,
        "function": chance.choice(FUNCTIONS),
        "length_m": f"{chance.gauss(4.2, 1.1):.2f}",
        "diameter_a1_cm": f"{chance.gauss(18, 4):.1f}",
        "diameter_b1_cm": f"{chance.gauss(16, 4):.1f}",
        "condition": chance.choice(["sound", "sound", "sound", "decayed"]),
        "recorded_by": chance.choice(["MB", "JT"]),
        "notes": chance.choice(["", "", "", f"peg hole {chance.randrange(40)} cm from end a"]),
    }


def edited(lines: list[Line], chance: random.Random, share: float) -> list[Line]:
    return [
        (
            row,
            name,
            {
                field: text if field == "element_id" or chance.random() >= share else other
                for (field, text), other in zip(
                    cells.items(), a_row(chance, "").values(), strict=True
                )
            },
        )
        for row, name, cells in lines
    ]


def sorted_with_names(lines: list[Line], chance: random.Random) -> list[Line]:
    by = chance.choice(["length_m", "function", "notes"])
    return sorted(lines, key=lambda line: line[2][by])


def sorted_without_names(lines: list[Line], chance: random.Random) -> list[Line]:
    """The hidden column was not selected, and stays as it was."""
    names = [name for _, name, _ in lines]
    moved = sorted_with_names(lines, chance)
    return [(row, name, cells) for (row, _, cells), name in zip(moved, names, strict=True)]


def two_swapped_without_names(lines: list[Line], chance: random.Random) -> list[Line]:
    one, other = chance.sample(range(len(lines)), 2)
    moved = list(lines)
    moved[one] = (lines[other][0], lines[one][1], lines[other][2])
    moved[other] = (lines[one][0], lines[other][1], lines[one][2])
    return moved


def grown(lines: list[Line], chance: random.Random) -> list[Line]:
    lines = list(lines)
    for number in range(5):
        new: Line = (None, "", a_row(chance, f"N-{number}"))
        lines.insert(chance.randrange(len(lines) + 1), new)
    return lines


def copied(lines: list[Line], chance: random.Random) -> list[Line]:
    """Lines copied whole, with their hidden name, to be made into others."""
    lines = list(lines)
    for number in range(3):
        place = chance.randrange(len(lines))
        _, name, cells = lines[place]
        new: Line = (None, name, cells | {"element_id": f"C-{number}", "notes": "like the other"})
        lines.insert(place + 1, new)
    return lines


def renamed(lines: list[Line], chance: random.Random) -> list[Line]:
    return [
        (row, name, cells | {"element_id": f"R-{place}"} if chance.random() < 0.2 else cells)
        for place, (row, name, cells) in enumerate(lines)
    ]


def shortened(lines: list[Line], chance: random.Random) -> list[Line]:
    return [line for line in lines if chance.random() < 0.8] or lines[:1]


def keys_exchanged(lines: list[Line], chance: random.Random) -> list[Line]:
    """Two rows renamed to each other's key."""
    one, other = chance.sample(range(len(lines)), 2)
    keys = lines[one][2]["element_id"], lines[other][2]["element_id"]
    renamed = list(lines)
    for place, key in zip((other, one), keys, strict=True):
        renamed[place] = (*lines[place][:2], lines[place][2] | {"element_id": key})
    return renamed


def without_names(lines: list[Line], chance: random.Random) -> list[Line]:
    return [(row, "", cells) for row, _, cells in sorted_with_names(lines, chance)]


Deed = Callable[[list[Line], random.Random], list[Line]]
CASES: dict[str, tuple[Deed, ...]] = {
    "edited": (),
    "sorted with its names": (sorted_with_names,),
    "sorted without its names": (sorted_without_names,),
    "two lines swapped without their names": (two_swapped_without_names,),
    "grown": (grown,),
    "copied": (copied,),
    "two keys exchanged": (keys_exchanged,),
    "keys renamed": (renamed, sorted_with_names),
    "shortened and grown": (shortened, grown, sorted_with_names),
    "names deleted": (without_names,),
    "shortened, names deleted": (shortened, without_names),
}


@pytest.mark.parametrize("case", CASES)
def test_no_line_goes_to_a_wrong_row(case: str) -> None:
    for seed in range(25):
        chance = random.Random(seed)
        left = {
            f"B-{number}": a_row(chance, f"B-{number}") for number in range(chance.randrange(8, 60))
        }
        lines: list[Line] = [(name, name, dict(cells)) for name, cells in left.items()]
        lines = edited(lines, chance, 0.2)
        for deed in CASES[case]:
            lines = deed(lines, chance)
        matched = match_rows(left, [line[1:] for line in lines], "element_id")
        assert matched.rows == [row for row, _, _ in lines], f"seed {seed}"
        assert set(matched.gone) == left.keys() - set(matched.rows)


def test_sorted_without_names_and_renamed_a_line_is_new_rather_than_a_wrong_row() -> None:
    lines_in_all = new = 0
    for seed in range(25):
        chance = random.Random(seed)
        left = {f"B-{number}": a_row(chance, f"B-{number}") for number in range(40)}
        lines: list[Line] = [(name, name, dict(cells)) for name, cells in left.items()]
        lines = sorted_without_names(renamed(edited(lines, chance, 0.2), chance), chance)
        matched = match_rows(left, [line[1:] for line in lines], "element_id")
        for (row, _, _), found in zip(lines, matched.rows, strict=True):
            assert found in (row, None), f"seed {seed}"
            lines_in_all += 1
            new += found is None
    assert new < 0.1 * lines_in_all

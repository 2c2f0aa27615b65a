"""A corrected copy of a sheet is told from another sheet by what stands in it."""

from __future__ import annotations

import random

import pytest

from provenance._history.acts import HERE, ROW_FIELD, Line
from provenance._history.sameness import NEWER, OTHER, share_found, texts_of

FUNCTIONS = ["rafter"] * 6 + ["joist"] * 4 + ["post"] * 2 + ["tie_beam", "lintel"]
Sheet = list[dict[str, str]]


def a_sheet(chance: random.Random, rows: int, crew: str = "MB") -> Sheet:
    """Timbers of one invented crew: lengths and diameters to a centimetre or millimetre."""
    return [
        {
            "function": chance.choice(FUNCTIONS),
            "length_m": f"{chance.gauss(4.2, 1.1):.2f}",
            "diameter_a1_cm": f"{chance.gauss(18, 4):.1f}",
            "diameter_b1_cm": f"{chance.gauss(16, 4):.1f}",
            "condition": chance.choice(["sound", "sound", "sound", "decayed"]),
            "recorded_by": crew,
            "recorded_on": f"2031-06-0{chance.randrange(1, 4)}",
            "notes": chance.choice(["", "", "", f"peg hole {chance.randrange(40)} cm from end a"]),
        }
        for _ in range(rows)
    ]


def said(sheet: Sheet) -> list[frozenset[tuple[str, str]]]:
    lines = []
    for number, cells in enumerate(sheet):
        lines.append(Line("element", f"B-{number}", ROW_FIELD, after=HERE))
        lines += [Line("element", f"B-{number}", n, after=v) for n, v in cells.items() if v]
    return texts_of(lines)


def edited(sheet: Sheet, chance: random.Random, share: float) -> Sheet:
    fresh = a_sheet(chance, len(sheet))
    return [
        {name: new[name] if chance.random() < share else text for name, text in old.items()}
        for old, new in zip(sheet, fresh, strict=True)
    ]


COPIES = {
    "a twentieth edited": lambda sheet, chance: edited(sheet, chance, 0.05),
    "a fifth edited": lambda sheet, chance: edited(sheet, chance, 0.2),
    "sorted anew": lambda sheet, chance: sorted(sheet, key=lambda row: row["length_m"]),
    "grown threefold": lambda sheet, chance: [*sheet, *a_sheet(chance, 2 * len(sheet))],
    "half of it": lambda sheet, chance: sheet[: len(sheet) // 2 + 1],
}
OTHERS = {
    "another crew": lambda sheet, chance: a_sheet(chance, len(sheet), "JT"),
    "another building": lambda sheet, chance: a_sheet(chance, len(sheet)),
}
SIZES = (1, 2, 5, 8, 20, 85)


@pytest.mark.parametrize("rows", SIZES)
@pytest.mark.parametrize("kind", COPIES)
def test_a_corrected_copy_is_never_taken_for_another_sheet(kind: str, rows: int) -> None:
    """Own simulation; a very short sheet may be asked about, never taken for another."""
    shares = []
    for seed in range(20):
        chance = random.Random(seed)
        sheet = a_sheet(chance, rows)
        shares.append(share_found(said(sheet), said(COPIES[kind](sheet, chance))))
    assert min(shares) >= (NEWER if rows >= 8 else OTHER), sorted(shares)[:3]


@pytest.mark.parametrize("rows", [size for size in SIZES if size >= 5])
@pytest.mark.parametrize("kind", OTHERS)
def test_another_sheet_of_the_same_form_is_never_taken_for_a_copy(kind: str, rows: int) -> None:
    shares = []
    for seed in range(20):
        chance = random.Random(seed)
        sheet = a_sheet(chance, rows)
        shares.append(share_found(said(sheet), said(OTHERS[kind](sheet, chance))))
    assert max(shares) < NEWER, sorted(shares)[-3:]
    assert sum(share < OTHER for share in shares) >= (14 if rows >= 8 else 10), sorted(shares)


def test_the_order_of_the_two_does_not_matter_and_nothing_is_like_nothing() -> None:
    chance = random.Random(7)
    one, other = said(a_sheet(chance, 9)), said(a_sheet(chance, 14))
    assert share_found(one, other) == pytest.approx(share_found(other, one))
    assert share_found(one, one) == pytest.approx(1)
    assert share_found([], one) == 0

"""Writes down the agreement, what was asked before drilling, a hole that gave nothing, and more."""

from __future__ import annotations

from invention.paperwork import Row
from invention.specimens import FLOOR_M, all_specimens
from invention.tables import INVENTED, Book, Cell, Sheet
from invention.timber import all_wood

FAILED: Row = {
    "Number": "229",
    "Timber": "LH-022",
    "Along (m)": "1.2",
    "O'clock": "3",
    "Bit (mm)": "12.7",
    "Deep (mm)": "140",
    "Why nothing": "rot",
    "Day": "2023-06-12",
    "By": "MB",
    "Dowel": "P-229",
}
"""The west wall's fourth log was rotten inside; the hole is plugged and stamped all the same."""
_KEPT = ("bark", "waney_edge", "beetle_galleries", "patina")
_SEEN_AGAIN = ("LH.C1", "LH.C2", "LH.C3", "BN.T1", "BN.R5")


def attempts_book() -> Book:
    """Three sheets: agreement, before drilling, timbers looked at again."""
    sheets = [
        _sheet("Agreement", [_agreement()]),
        _sheet("Before drilling", [*_asked(), {**FAILED, **_answers(kept=True)}]),
        _sheet("Timbers again", list(_again())),
    ]
    return Book("agreements_and_attempts.xlsx", sheets, colour="#E4DFEC")


def _sheet(name: str, rows: list[dict[str, Cell]]) -> Sheet:
    headings = tuple(dict.fromkeys(heading for row in rows for heading in row))
    return Sheet(name, headings, list(rows), headings[0], f"{name} - {INVENTED}")


def _agreement() -> dict[str, Cell]:
    return {
        "No": "AG-1",
        "Answer": "given",
        "To": "visit; record; photograph; core; cut; lend; date; publish_dates; publish_images",
        "By whom": "HRF",
        "For whom": "the two households of the farm (invented)",
        "On": "2023-04-12",
        "Asked by": "MB",
        "In return": "return_copies; acknowledge; stop_on_request",
        "To be shown": "The farm is lived in. Please write before you come. (invented)",
    }


def _asked() -> list[dict[str, Cell]]:
    return [
        {"Number": one.sample_id} | _answers(kept=one.surface in _KEPT)
        for one in all_specimens()
    ]


def _answers(*, kept: bool) -> dict[str, Cell]:
    return {
        "Photo of the end instead?": "no",
        "Loose wood looked for?": "yes",
        "Old cores asked about?": "yes",
        "Why here": "outer edge is kept" if kept else "best of its kind that can be reached",
    }


def _again() -> list[dict[str, Cell]]:
    woods = {wood.key: wood for wood in all_wood()}
    rows: list[dict[str, Cell]] = []
    for key in _SEEN_AGAIN:
        wood = woods[key]
        floor = FLOOR_M[wood.building]
        under = [
            round(end[2] - thick / 200 - floor, 2)
            for end, thick in ((wood.a, wood.dia_a1_cm), (wood.b, wood.dia_b1_cm))
        ]
        rows.append(
            {
                "Timber": wood.element_id,
                "A above floor (m)": under[0],
                "B above floor (m)": under[1],
                "On its face": "soot" if wood.building == "LH" else "bare",
                "Held by": "none" if wood.building == "LH" else "wood_peg",
                "Marks": "none" if wood.building == "LH" else "assembly_mark",
                "Phase": "2" if key == "BN.R5" else "1",
            }
        )
    return [*rows, {"Timber": FAILED["Timber"], "Not sampled for": "rotten"}]

"""Lays out the wood of the three invented buildings, each in its own frame in metres."""

from __future__ import annotations

from collections.abc import Iterator

Line = tuple[str, str, str, str, tuple[float, float, float], tuple[float, float, float]]
"""Key, kind, place, note, and the ends A and B as metres along, across and up."""


def log_house() -> Iterator[Line]:
    """7.40 by 5.20 m, logs squared on two sides; wall axes lie 0.13 m inside the outer face."""
    for side, place, a, b in (
        ("N", "LH-WN", (0.02, 5.07), (7.38, 5.07)),
        ("E", "LH-WE", (7.27, 0.02), (7.27, 5.18)),
        ("S", "LH-WS", (0.02, 0.13), (2.45, 0.13)),
        ("W", "LH-WW", (0.13, 0.02), (0.13, 5.18)),
    ):
        for course in range(6):
            height = 0.20 + 0.27 * course + (0.135 if side in "EW" else 0.0)
            kind = "log" if course else "sill"
            # the sill runs on under the door
            far = (7.38, 0.13) if side == "S" and not course else b
            note = "lowest log" if not course else f"log {course + 1} counted from the sill"
            yield f"LH.{side}{course}", kind, place, note, (*a, height), (*far, height)
    yield "LH.PN", "plate", "LH-WN", "on the north wall", (0.02, 5.07, 2.05), (7.38, 5.07, 2.05)
    yield "LH.PS", "plate", "LH-WS", "on the south wall", (0.02, 0.13, 2.05), (7.38, 0.13, 2.05)
    for number, (room, along) in enumerate(
        (("R1", 0.9), ("R1", 1.8), ("R1", 2.7), ("R1", 3.6), ("R2", 5.6)), start=1
    ):
        note = f"floor joist {number} from the west"
        yield (
            f"LH.J{number}",
            "floor",
            f"LH-{room}",
            note,
            (along, 0.28, 0.10),
            (along, 4.92, 0.10),
        )
    for number, (room, along) in enumerate((("R1", 1.6), ("R1", 3.2), ("R2", 5.8)), start=1):
        note = f"ceiling beam {number} from the west"
        yield (
            f"LH.C{number}",
            "ceiling",
            f"LH-{room}",
            note,
            (along, 0.28, 2.12),
            (along, 4.92, 2.12),
        )
    for number, (along, south) in enumerate(
        ((1.2, True), (1.2, False), (5.2, True), (5.2, False)), start=1
    ):
        foot = (along, 0.15, 2.25) if south else (along, 5.05, 2.25)
        side = "south" if south else "north"
        note = f"pair {(number + 1) // 2} from the west, {side} side"
        yield f"LH.R{number}", "pole_rafter", "LH-RF", note, foot, (along, 2.60, 3.92)
    yield "LH.RB", "ridge", "LH-RF", "whole ridge", (0.10, 2.60, 3.95), (7.30, 2.60, 3.95)
    yield "LH.DL", "lintel", "LH-WS", "over the door", (2.40, 0.13, 1.92), (3.75, 0.13, 1.92)
    yield "LH.D1", "jamb", "LH-WS", "door, west side", (2.55, 0.13, 0.35), (2.55, 0.13, 1.80)
    yield "LH.D2", "jamb", "LH-WS", "door, east side", (3.60, 0.13, 0.35), (3.60, 0.13, 1.80)
    yield "LH.V1", "lintel", "LH-WN", "over the window", (0.90, 5.07, 1.75), (2.20, 5.07, 1.75)
    yield "LH.V2", "lintel", "LH-WE", "over the window", (7.27, 1.70, 1.75), (7.27, 3.05, 1.75)
    yield "LH.L1", "loose_log", "LH-R2", "on the floor", (4.75, 0.90, 0.36), (6.95, 0.95, 0.36)
    yield "LH.L2", "loose_log", "LH-R2", "on the floor", (4.75, 1.60, 0.35), (6.60, 1.75, 0.35)


ROOM_WIDTH_M, ROOM_STEP_M = 3.8, 4.2


def room_block() -> Iterator[Line]:
    """Four rooms in a row, walls 0.40 m thick; beams are measured between the wall faces."""
    for room in range(4):
        west = 0.40 + ROOM_STEP_M * room
        for number, step in ((2 * room + 1, 1.25), (2 * room + 2, 2.55)):
            yield (
                f"RB.B{number}",
                "beam",
                f"RB-R{room + 1}",
                f"beam {number - 2 * room} from the west",
                (west + step, 0.41, 2.24),
                (west + step, 3.79, 2.24),
            )
    number = 0
    for room, poles in enumerate((6, 6, 5, 5)):
        west = 0.40 + ROOM_STEP_M * room
        for place in range(poles):
            number += 1
            across = 0.65 + 0.55 * place
            yield (
                f"RB.P{number}",
                "pole",
                f"RB-R{room + 1}",
                f"pole {place + 1} from the south, above the beams",
                (west + 0.02, across, 2.42),
                (west + ROOM_WIDTH_M - 0.02, across, 2.42),
            )
    for door in range(3):
        middle = 0.40 + ROOM_STEP_M * door + ROOM_WIDTH_M + 0.20
        yield (
            f"RB.O{door + 1}",
            "opening",
            f"RB-W{door + 1}{door + 2}",
            f"over the opening between rooms {door + 1} and {door + 2}",
            (middle, 1.55, 1.58),
            (middle, 2.70, 1.58),
        )
    for room in (1, 3):
        west = 0.40 + ROOM_STEP_M * (room - 1)
        yield (
            f"RB.O{4 if room == 1 else 5}",
            "opening",
            "RB-WS",
            f"over the outer door of room {room}",
            (west + 1.30, 0.20, 1.62),
            (west + 2.45, 0.20, 1.62),
        )
    yield (
        "RB.H1",
        "threshold",
        "RB-WS",
        "outer door of room 1",
        (1.75, 0.20, 0.08),
        (2.80, 0.20, 0.08),
    )
    yield (
        "RB.D1",
        "ladder",
        "RB-R2",
        "leans on the north wall, west",
        (5.20, 2.60, 0.10),
        (5.25, 3.70, 2.55),
    )
    yield (
        "RB.D2",
        "ladder",
        "RB-R2",
        "leans on the north wall, east",
        (5.65, 2.60, 0.10),
        (5.62, 3.70, 2.55),
    )
    yield "RB.X1", "loose_beam", "RB-R4", "on the floor", (13.30, 1.00, 0.12), (15.10, 1.15, 0.12)
    yield "RB.X2", "loose_beam", "RB-R4", "on the floor", (13.40, 1.60, 0.12), (15.80, 1.75, 0.12)


FRAMES_M = (0.15, 4.05, 7.95, 11.85)


def barn() -> Iterator[Line]:
    """Four cross frames of post, tie beam and brace; 12.00 by 7.00 m over the sills."""
    for frame, along in enumerate(FRAMES_M, start=1):
        for side, across in (("S", 0.15), ("N", 6.85)):
            where = "south" if side == "S" else "north"
            note = f"frame {frame} from the west, {where}"
            foot, head = (along, across, 0.30), (along, across, 3.12)
            yield f"BN.P{frame}{side}", "post", f"BN-F{frame}", note, foot, head
        yield (
            f"BN.T{frame}",
            "tie_beam",
            f"BN-F{frame}",
            f"frame {frame} from the west",
            (along, 0.02, 3.24),
            (along, 6.98, 3.24),
        )
        for side, low, high in (("S", 0.28, 1.20), ("N", 6.72, 5.80)):
            where = "south" if side == "S" else "north"
            note = f"frame {frame}, {where}, post to tie beam"
            foot, head = (along, low, 2.20), (along, high, 3.10)
            yield f"BN.B{frame}{side}", "brace", f"BN-F{frame}", note, foot, head
    for side, across in (("S", 0.15), ("N", 6.85)):
        where = "south" if side == "S" else "north"
        note = f"whole {where} side"
        yield f"BN.G{side}", "ground_sill", "BN", note, (0.03, across, 0.16), (11.97, across, 0.16)
        yield f"BN.W{side}", "wall_plate", "BN", note, (0.03, across, 3.46), (11.97, across, 3.46)
    for side, across in (("S", 1.90), ("N", 5.10)):
        where = "south" if side == "S" else "north"
        yield (
            f"BN.U{side}",
            "purlin",
            "BN-RF",
            f"{where} slope",
            (0.05, across, 4.72),
            (11.95, across, 4.72),
        )
    for number, (along, south) in enumerate(
        ((2.1, True), (2.1, False), (6.0, True), (6.0, False), (9.9, True), (9.9, False)), start=1
    ):
        across = 0.15 if south else 6.85
        side = "south" if south else "north"
        note = f"middle of bay {(number + 1) // 2}, {side} slope"
        yield f"BN.R{number}", "rafter", "BN-RF", note, (along, across, 3.58), (along, 3.50, 5.82)
    yield "BN.F1", "plank", "BN-B2", "threshing floor", (4.30, 2.10, 0.06), (7.70, 2.10, 0.06)
    yield (
        "BN.X1",
        "loose_post",
        "BN-B3",
        "lies by the north wall",
        (8.30, 5.90, 0.12),
        (10.60, 6.00, 0.12),
    )

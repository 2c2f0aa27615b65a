"""Invents the people, the place, its history and the way of the samples from hand to hand."""

# ruff: noqa: E501 - the tables below read better with one row a line

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from invention.layout import FRAMES_M, ROOM_STEP_M, ROOM_WIDTH_M
from invention.specimens import Specimen, all_specimens
from invention.timber import BUILDINGS

Row = dict[str, str]

CONSIGNMENT = "C-2023-1"
KEPT_BACK = ("315", "316", "317")
BROKEN_ON_THE_WAY, MISSING_ON_ARRIVAL = "219", "226"
LEAD, LABORATORY = "MB", "ORR"

SITE: Row = {
    "code": "HOLL",
    "name": "Hollin Reach (invented)",
    "public_name": "Demo site 1",
    "kind": "farm",
    "country": "ZZ",
    "region": "no region, invented",
    # a point in the open South Pacific, on the central meridian of UTM zone 10 south, so that
    # easting is 500,000 m by definition and northing is 10,000,000 m less 0.9996 of the arc
    "lat": "-48.00000",
    "lon": "-123.00000",
    "coordinate_error_m": "25",
    "epsg": "4326",
    "grid_epsg": "32710",
    "easting": "500000.0",
    "northing": "4683699.8",
    "elevation_m": "12",
    "grid_north_deg": "3.5",
    "declination_deg": "18.2",
    "start": "5.6.2023",
    "end": "17.6.2023",
    "lead": LEAD,
    "permit": "OOB-2023-11 (invented)",
    "permit_by": "OOB",
    "permit_from": "1.5.2023",
    "permit_until": "31.10.2023",
    "owner": "HRF",
    "consent": "written",
    "consent_on": "12.4.2023",
    "protection": "registered",
    "hazards": "overhead; heights; droppings; lead paint; wiring; structural",
    "access": "By boat only, ask the farm first (invented)",
    "licence": "CC-BY-4.0",
    "repository": "QTS",
    "notes": "Invented for demonstration: no such place exists.",
}

# fmt: off
PARTIES: tuple[Row, ...] = tuple(
    dict(
        zip(
            (
                *("code", "what", "name", "family", "given", "does", "belongs_to", "mail"),
                *("post", "grants", "may_be_named"),
            ),
            values,
            strict=True,
        )
    )
    for values in (
        ("MB", "person", "Mirka Bellowhay (invented)", "Bellowhay (invented)", "Mirka", "crew chief; driller; recorder", "QTS", "mb@example.org", "", "", "yes"),
        ("TQ", "person", "Tove Quarrendike (invented)", "", "", "driller; recorder", "", "tq@example.org", "", "", "no"),
        ("ZF", "person", "Zoë Farrowgill (invented)", "Farrowgill (invented)", "Zoë", "recorder; photographer", "", "", "", "", "yes"),
        ("AP", "person", "Ansel Ruthe-Péron (invented)", "", "", "driller; recorder; volunteer", "", "", "", "", "no"),
        ("IV", "person", "Ilse Vantongle (invented)", "Vantongle (invented)", "Ilse", "analyst", "ORR", "iv@example.org", "", "", "yes"),
        ("ORR", "organisation", "Ostrafell Ring Room (invented laboratory)", "", "", "lab", "", "rings@example.org", "1 Nowhere Quay, Ostrafell (invented)", "", "yes"),
        ("OOB", "organisation", "Office of Old Buildings, Varrowmark (invented)", "", "", "authority; funder", "", "", "", "VM-2023-7 (invented)", "yes"),
        ("HRF", "organisation", "Hollin Reach Farm Trust (invented)", "", "", "owner", "", "", "", "", "no"),
        ("QTS", "organisation", "Quorrin Tarn Record Store (invented)", "", "", "store; repository", "", "store@example.org", "2 Nowhere Quay, Quorrin Tarn (invented)", "", "yes"),
    )
)


def places() -> list[Row]:
    """Buildings, rooms, walls and roofs with their outlines on the site grid."""
    rows = [
        _place("LH", "", "house", "Log house", "log wall", "0", "0.20", _box("LH", 0, 0, 7.4, 5.2), "MB", "6/5/23"),
        _place("LH-R1", "LH", "room", "Kitchen", "log wall", "0", "0.20", _box("LH", 0.26, 0.26, 4.4, 4.94), "MB", "6/5/23"),
        _place("LH-R2", "LH", "room", "Chamber", "log wall", "0", "0.20", _box("LH", 4.4, 0.26, 7.14, 4.94), "MB", "6/5/23"),
    ]
    for letter, name in (("N", "North"), ("E", "East"), ("S", "South"), ("W", "West")):
        rows.append(_place(f"LH-W{letter}", "LH", "wall", f"{name} wall", "log wall", "0", "", "", "MB", "6/5/23"))
    rows.append(_place("LH-RF", "LH", "roof", "Roof", "", "1", "2.25", "", "MB", "6/7/23"))

    rows.append(_place("RB", "", "house", "Room block", "mixed", "0", "0.05", _box("RB", 0, 0, 17.2, 4.2), "ZF", "6/5/23"))
    for room in range(4):
        west = 0.40 + ROOM_STEP_M * room
        outline = _box("RB", west, 0.40, west + ROOM_WIDTH_M, 3.80)
        rows.append(_place(f"RB-R{room + 1}", "RB", "room", f"Room {room + 1}", "adobe", "0", "0.05", outline, "ZF", "6/5/23"))
    for wall, name in (("WS", "South wall"), ("W12", "Wall between rooms 1 and 2"), ("W23", "Wall between rooms 2 and 3"), ("W34", "Wall between rooms 3 and 4")):
        rows.append(_place(f"RB-{wall}", "RB", "wall", name, "masonry", "0", "", "", "ZF", "6/5/23"))

    rows.append(_place("BN", "", "building", "Barn", "framed", "0", "0.20", _box("BN", 0, 0, 12, 7), "TQ", "6/12/23"))
    for bay in range(3):
        outline = _box("BN", FRAMES_M[bay], 0.02, FRAMES_M[bay + 1], 6.98)
        rows.append(_place(f"BN-B{bay + 1}", "BN", "room", f"Bay {bay + 1}", "framed", "0", "0.20", outline, "TQ", "6/12/23"))
    for frame in range(1, 5):
        rows.append(_place(f"BN-F{frame}", "BN", "wall", f"Cross frame {frame}", "framed", "0", "", "", "TQ", "6/12/23"))
    rows.append(_place("BN-RF", "BN", "roof", "Roof", "", "1", "3.50", "", "TQ", "6/14/23"))
    return [row | _attributes(row["code"]) for row in rows]


# fmt: on
_ATTRIBUTES = {
    "LH": ("saddle notch", "", ""),
    "LH-R1": ("", "", "boards on joists"),
    "LH-R2": ("", "", "boards on joists"),
    "LH-RF": ("", "gable of common rafters", ""),
    "RB": ("rubble", "flat, of earth", ""),
    **{f"RB-R{room}": ("", "", "earth" if room < 4 else "flagstones") for room in range(1, 5)},
    "RB-W34": ("partly coursed", "", ""),
    "BN": ("pegged frame", "", ""),
    "BN-B1": ("", "", "planks"),
    "BN-RF": ("", "gable on purlins", ""),
}


def _attributes(code: str) -> Row:
    return dict(zip(("joined", "roof", "floor"), _ATTRIBUTES.get(code, ("", "", "")), strict=True))


def _place(
    code: str,
    inside: str,
    kind: str,
    name: str,
    build: str,
    level: str,
    floor_m: str,
    outline: str,
    by: str,
    on: str,
) -> Row:
    return {
        "code": code,
        "inside": inside,
        "kind": kind,
        "name": name,
        "build": build,
        "level": level,
        "floor_m": floor_m,
        "outline": outline,
        "by": by,
        "on": on,
    }


def _box(building: str, west: float, south: float, east: float, north: float) -> str:
    frame = BUILDINGS[building]
    corners = ((west, south), (east, south), (east, north), (west, north))
    points = [frame.on_grid(*corner, 0.0) for corner in corners]
    return ", ".join(f"{x:.3f} {y:.3f}" for x, y, _ in points)


# fmt: off
EPISODES: tuple[Row, ...] = tuple(
    dict(zip(("no", "place", "kind", "title", "when", "sure", "source"), values, strict=True))
    for values in (
        ("E1", "RB", "Built", "First mention of the room block", "1690~", "likely", "Visitation roll, leaf 4 (invented)"),
        ("E2", "RB-R4", "Repaired", "Roof of room 4 made anew", "1742/1743", "likely", "Account book, page 12 (invented)"),
        ("E3", "LH", "Built", "Log house raised", "1872", "certain", "Farm diary, spring 1872 (invented)"),
        ("E4", "LH-RF", "Fire", "Roof of the log house burned", "1902-11", "certain", "Letter to an insurer (invented)"),
        ("E5", "LH-RF", "Repaired", "New roof on the log house", "1903", "certain", "Farm diary, 1903 (invented)"),
        ("E6", "BN", "Built", "Barn raised", "1885", "certain", "Date cut into the door post (invented)"),
        ("E7", "BN", "Repaired", "Rafters and a brace put in after a storm", "1921/1922", "possible", "As told on the farm (invented)"),
        # the wood contradicts the first of these, and says nothing of the second
        ("E8", "BN", "Built", "Barn already there when the farm was sold", "1860~", "possible", "As told on the farm (invented)"),
        ("E9", "RB", "Repaired", "Walls of the room block plastered", "1931", "certain", "Bill of a mason, 1931 (invented)"),
    )
)
RELATIONS: tuple[Row, ...] = tuple(
    dict(zip(("no", "this", "meets", "other", "sure", "seen", "on", "by"), values, strict=True))
    for values in (
        ("1", "LH-WN", "bonded with", "LH-WE", "certain", "corner notches, all courses", "2023-06-16", "MB"),
        ("2", "LH-WE", "bonded with", "LH-WS", "certain", "corner notches, all courses", "2023-06-16", "MB"),
        ("3", "LH-WS", "bonded with", "LH-WW", "certain", "corner notches, all courses", "2023-06-16", "MB"),
        ("4", "LH-RF", "rests on", "LH-WN", "certain", "wall plate", "2023-06-16", "MB"),
        ("5", "RB-W12", "bonded with", "RB-WS", "certain", "north end, lowest four courses", "2023-06-16", "ZF"),
        ("6", "RB-W23", "bonded with", "RB-WS", "likely", "under the plaster, one hole", "2023-06-16", "ZF"),
        ("7", "RB-W34", "abuts", "RB-WS", "likely", "straight joint, full height", "2023-06-16", "ZF"),
        ("8", "BN-RF", "rests on", "BN-F1", "certain", "tie beam", "2023-06-16", "TQ"),
    )
)
ASSUMPTIONS: tuple[Row, ...] = tuple(
    dict(zip(("no", "what", "work", "wood", "place", "figure", "spread", "source"), values, strict=True))
    for values in (
        ("A1", "longest usable stem", "", "PSME", "", "20", "", "Varrowmark forest survey, table 4 (invented)"),
        ("A2", "longest usable stem", "", "PIPO", "", "16", "", "Varrowmark forest survey, table 4 (invented)"),
        ("A3", "longest usable stem", "", "QUAL", "", "14", "", "Varrowmark forest survey, table 4 (invented)"),
        ("A4", "longest usable stem", "", "", "", "12", "", "Varrowmark forest survey, table 4 (invented)"),
        ("A5", "recorded meters per tree", "", "PSME", "", "10.5", "1.6", "Log walls of Varrowmark, page 88 (invented)"),
        ("A6", "density", "", "PSME", "", "700", "60", "Green weights of timber, page 12 (invented)"),
        ("A7", "density", "", "PIPO", "", "720", "70", "Green weights of timber, page 12 (invented)"),
        ("A8", "density", "", "QUAL", "", "1000", "50", "Green weights of timber, page 14 (invented)"),
        ("A9", "density", "", "", "", "750", "100", "Green weights of timber, page 3 (invented)"),
        ("A10", "distance hauled", "", "", "LH", "2.5", "1", "Farm diary, winter 1871 (invented)"),
        ("A11", "distance hauled", "", "", "RB", "18", "4", "Nearest pine forest on the county map (invented)"),
        ("A12", "distance hauled", "", "", "BN", "3", "1", "As told on the farm (invented)"),
        ("A13", "work per tree", "felling and limbing", "", "", "2.2", "0.6", "Trial with period axes, report 3 (invented)"),
        ("A14", "work per cut", "crosscutting", "", "", "3.5", "0.8", "Trial with period axes, report 3 (invented)"),
        ("A15", "work per hewn face", "hewing", "", "", "0.9", "0.25", "Trial with period axes, report 5 (invented)"),
        ("A16", "work per haul by mass", "hauling", "", "", "1.4", "0.5", "Ox teams of Varrowmark, page 31 (invented)"),
        ("A17", "work per haul by volume", "hauling", "", "", "1.1", "", "Farm diary, winter 1871 (invented)"),
        ("A18", "work per piece", "setting", "", "", "3", "1.5", "Log walls of Varrowmark, page 102 (invented)"),
    )
)
# fmt: on

PARCEL: Row = {
    "no": CONSIGNMENT,
    "from": LEAD,
    "to": LABORATORY,
    "for": "tree-ring dating",
    "packed": "17.6.2023",
    "sent": "26.6.2023",
    "due": "29.2.2024",
    "received": "29.6.2023",
    "carrier": "Ferry post (invented)",
    "seal": "00417",
    "count": "42",
    "questions": "When was each phase felled? Are the beams of room 4 older wood used again?",
    "notes": "Counted at the laboratory: 40 whole, 1 broken, 1 not in the parcel.",
}


@dataclass(frozen=True)
class Event:
    """One line of the custody log; dates are ISO, `holder` has the sample afterwards."""

    number: int
    event: str
    on: str
    sample_id: str
    consignment: str
    giver: str
    holder: str
    place: str
    state: str
    by: str
    note: str = ""


def custody_events() -> list[Event]:
    """Every sample from the wood to the shelf, in the order of time."""
    raw: list[tuple[str, int, Specimen, tuple[str, ...]]] = []
    for sample in all_specimens():
        for step, fields in enumerate(_life(sample)):
            raw.append((fields[1], step, sample, fields))
    raw.sort(key=lambda line: (line[0], line[1], line[2].sample_id))
    return [
        Event(number, fields[0], fields[1], sample.sample_id, *fields[2:])
        for number, (_, _, sample, fields) in enumerate(raw, start=1)
    ]


def _life(sample: Specimen) -> list[tuple[str, ...]]:
    """(event, date, consignment, giver, holder, place, state, recorded by[, note]) in order."""
    taker, number = sample.collected_by, sample.sample_id
    chest = "Field chest 1, kitchen of the farm"
    life: list[tuple[str, ...]] = [
        (
            "collected",
            sample.collected_on,
            "",
            "",
            taker,
            "Sample case of the driller",
            "present",
            taker,
        )
    ]
    if taker != LEAD:
        life += [
            ("handed_over", "2023-06-16", "", taker, LEAD, "", "present", taker),
            ("received", "2023-06-16", "", taker, LEAD, chest, "present", LEAD),
        ]
    if number in KEPT_BACK:
        return [
            *life,
            ("stored", "2023-06-17", "", "", LEAD, "Farm store, shelf 2", "present", LEAD),
        ]
    life += [
        ("packed", "2023-06-17", CONSIGNMENT, "", LEAD, "Box 1 of 1", "present", LEAD),
        ("handed_over", "2023-06-26", CONSIGNMENT, LEAD, LABORATORY, "", "present", LEAD),
    ]
    if number == MISSING_ON_ARRIVAL:
        return [
            *life,
            (
                "received",
                "2023-06-29",
                CONSIGNMENT,
                LEAD,
                LABORATORY,
                "Ostrafell, intake bench",
                "missing",
                "IV",
                "Empty tube, cap off",
            ),
            (
                "lost",
                "2023-07-14",
                CONSIGNMENT,
                "",
                LABORATORY,
                "",
                "missing",
                "IV",
                "Box and carrier searched",
            ),
        ]
    state = "broken" if number == BROKEN_ON_THE_WAY else "present"
    life.append(
        (
            "received",
            "2023-06-29",
            CONSIGNMENT,
            LEAD,
            LABORATORY,
            "Ostrafell, intake bench",
            state,
            "IV",
        )
    )
    mounted = date(2023, 7, 10) + timedelta(days=7 * (int(number) % 5))
    life.append(
        ("mounted", mounted.isoformat(), "", "", LABORATORY, "Ostrafell, bench 2", state, "IV")
    )
    shelf = f"Ostrafell, drawer {1 if number < '300' else 2}"
    life.append(("stored", "2024-03-11", "", "", LABORATORY, shelf, state, "IV"))
    return life

"""Writes the record down as two crews would: other headings, other units, other words."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

from invention.specimens import Specimen, all_specimens, sampled_keys
from invention.tables import INVENTED, Book, Cell, Sheet
from invention.tape import feet_and_inches, inch_fraction, taped_keys
from invention.timber import Wood, all_wood

Line = dict[str, Cell]

# -- crew 1: log house and barn, feet and inches, month/day/year, all on one wide line ------------

_CREW1_USE = {
    "main_beam": "big beam",
    "joist": "floor joist",
    "lintel": "lintel",
    "post": "post",
    "sill": "sill",
    "wall_plate": "plate",
    "wall_log": "log",
    "brace": "brace",
    "tie_beam": "tie",
    "rafter": "rafter",
    "purlin": "purlin",
    "ridge": "ridge pole",
    "plank": "floor board",
    "door_frame": "door jamb",
    "loose": "lying about",
}
_CREW1_SHAPE = {"hewn_two_sides": "flattened", "hewn": "squared", "round": "round", "sawn": "sawed"}
_CREW1_OUTSIDE = {
    "bark": "bark on",
    "waney_edge": "wane",
    "dressed": "hewn off",
    "worn": "worn",
}
_CREW1_TOOLS = {
    "metal_axe": "ax",
    "adze": "adz",
    "broadaxe": "broad ax",
    "pit_saw": "whipsaw",
    "sash_saw": "up-and-down saw",
    "circular_saw": "buzz saw",
}
_CREW1_FROM = {"": "", "local": "here", "brought_in": "far off", "salvaged": "older house"}
_CREW1_ORNAMENT = {"": "", "none": "plain", "chamfered": "chamfer", "beaded": "bead"}
_CREW1_ENDS = {"axe_cut": "ax cut", "sawn": "sawed", "broken": "broken"}
_CREW1_HEADINGS = (
    *("Page", "House", "Timber no", "Room", "Use", "Where", "In place?", "Re-used?"),
    *("Length", "Dia A1", "Dia A2", "Dia B1", "Dia B2", "Shape", "End A", "End B"),
    *("Tooling", "Outside", "Wood", "Preservation", "Bears load", "Along it (m from A)"),
    *("Butt of the tree", "Heart inside", "Wood from", "Ornament", "Empty joints"),
    *("xA", "yA", "zA", "xB", "yB", "zB", "Good to", "Recorded", "By", "Sampled"),
    *("FS no", "Core or slice", "Bit", "Core length", "Pieces", "From end A", "O'clock"),
    *("Drilled", "Up/down deg", "Hole depth", "Above floor", "Outer end", "Pith", "Rings seen"),
    "Came out",
    *("Allowed by", "Taken", "Driller", "Stamp", "Dowel", "Dowel length", "Glue", "Plugged"),
    "Remarks",
)


def crew1_book() -> Book:
    """The workbook of the log house and the barn: element, sample and plug on one line."""
    samples: dict[str, list[Specimen]] = {}
    for sample in all_specimens():
        samples.setdefault(sample.wood.key, []).append(sample)
    rows: list[Line | None] = []
    for building in ("LH", "BN"):
        if rows:
            rows.append(None)
        for number, wood in enumerate(
            (one for one in all_wood() if one.building == building), start=1
        ):
            taken = samples.get(wood.key, [])
            page = str(number // 12 + (1 if building == "LH" else 6))
            rows.append(_crew1_wood(wood, page) | (_crew1_sample(taken[0]) if taken else {}))
            # a second core is written below, with nothing but the number of the timber
            rows += [_crew1_name(wood, page) | _crew1_sample(more) for more in taken[1:]]
    title = f"Hollin Reach 2023 - timbers of the log house (LH) and the barn (BN) - {INVENTED}"
    sheet = Sheet("Timbers", _CREW1_HEADINGS, rows, "FS no", title)
    notes = Sheet(
        "Legend",
        ("Heading", "What we mean"),
        [
            {"Heading": heading, "What we mean": meaning}
            for heading, meaning in (
                ("Length, From end A, Above floor", "feet and inches"),
                ("Dia A1 ... B2, Bit, Core length, Hole depth, Dowel", "inches and fractions"),
                (
                    "xA ... zB, Good to",
                    "metres on the site grid, off the plan; blank where we taped",
                ),
                ("Recorded, Taken, Plugged", "month/day/year"),
                ("Stamp", "what is punched into the dowel"),
                ("Page", "page of the field book, no use to anybody else"),
            )
        ],
        "Heading",
        f"Legend - {INVENTED}",
    )
    return Book("timbers_log_house_and_barn.xlsx", [sheet, notes], colour="#D9D9D9")


def _us(iso: str) -> str:
    day = date.fromisoformat(iso)
    return f"{day.month}/{day.day}/{day.year % 100:02d}"


def _inches(millimetres: float, parts: int = 8) -> str:
    return inch_fraction(Fraction(round(millimetres / 25.4 * parts), parts))


def _yes(word: str) -> str:
    return {"yes": "Y", "no": "N", "unknown": "?"}[word]


def _looked(word: str) -> str:
    return _yes(word) if word else ""


def _crew1_name(wood: Wood, page: str) -> Line:
    return {"Page": page, "House": wood.building, "Timber no": wood.element_id.split("-")[1]}


def _crew1_wood(wood: Wood, page: str) -> Line:
    placed = {"in_place": "in situ", "repair": "replacement", "loose": "loose"}[wood.in_place]
    preserved = {"sound": "good", "weathered": "fair", "decayed": "rotten"}[wood.condition]
    line = _crew1_name(wood, page) | {
        # a timber that belongs to no room is written with its house alone
        "Room": wood.place_id,
        "Use": _CREW1_USE[wood.function],
        "Where": wood.note,
        "In place?": placed,
        "Re-used?": _yes(wood.reused),
        "Length": feet_and_inches(wood.length_m, 4),
        "Dia A1": _inches(wood.dia_a1_cm * 10),
        "Dia A2": _inches(wood.dia_a2_cm * 10),
        "Dia B1": _inches(wood.dia_b1_cm * 10),
        "Dia B2": _inches(wood.dia_b2_cm * 10),
        "Shape": _CREW1_SHAPE[wood.shape],
        "End A": _CREW1_ENDS[wood.end_a],
        "End B": _CREW1_ENDS[wood.end_b],
        "Tooling": ", ".join(_CREW1_TOOLS[tool] for tool in wood.tools.split(";")),
        "Outside": _CREW1_OUTSIDE[wood.outer],
        "Wood": wood.species,
        "Preservation": preserved,
        "Bears load": _yes(wood.load_bearing),
        "Along it (m from A)": wood.features,
        "Butt of the tree": _looked(wood.stem_base),
        "Heart inside": _looked(wood.pith),
        "Wood from": _CREW1_FROM[wood.origin],
        "Ornament": _CREW1_ORNAMENT[wood.decoration],
        "Empty joints": _looked(wood.empty_joints),
        "Recorded": _us(wood.recorded_on),
        "By": wood.recorded_by,
        "Sampled": "Y" if wood.key in sampled_keys() else "N",
        "Remarks": wood.remarks,
    }
    if wood.key not in taped_keys():
        for end, point in (("A", wood.a), ("B", wood.b)):
            for axis, value in zip("xyz", point, strict=True):
                line[f"{axis}{end}"] = round(value, 2)
        line["Good to"] = 0.05
    return line


def _crew1_sample(sample: Specimen) -> Line:
    line: Line = {
        "FS no": sample.sample_id,
        "Core or slice": "core" if sample.is_core else "slice",
        "Core length": _inches(sample.length_mm),
        "Pieces": sample.pieces,
        "From end A": feet_and_inches(sample.along_m, 4),
        "Outer end": _CREW1_OUTSIDE[sample.surface],
        "Pith": _yes(sample.pith),
        "Rings seen": sample.rings_field,
        "Came out": {"whole": "good", "in_pieces": "broken"}[sample.condition],
        "Allowed by": sample.authority,
        "Taken": _us(sample.collected_on),
        "Driller": sample.collected_by,
    }
    if sample.is_core:
        line |= {
            "Bit": _inches(sample.bore_mm),
            "O'clock": _clock(sample.clock),
            "Drilled": "to the middle",
            "Up/down deg": sample.inclination_deg or 0,
            "Hole depth": _inches(sample.depth_mm or 0),
            "Above floor": feet_and_inches(sample.height_m or 0.0, 2),
            "Stamp": sample.sample_id,
            "Dowel": _inches(sample.bore_mm),
            "Dowel length": "2",
            "Glue": "hide glue",
            "Plugged": _us(sample.collected_on),
        }
    return line


def _clock(clock: float | None) -> str:
    if clock is None:
        return ""
    return f"{int(clock)}:{round(clock % 1 * 60):02d}"


# -- crew 2: room block, centimetres, day.month.year, one sheet a thing ---------------------------

_CREW2_USE = {
    "main_beam": "roof beam",
    "ceiling_pole": "crosswise stick",
    "lintel": "over-door wood",
    "threshold": "step wood",
    "ladder": "ladder rail",
    "loose": "fallen beam",
}
_CREW2_WOOD = {"PIPO": "ponderosa", "PSME": "Douglas fir", "POTR": "aspen", "ABCO": "white fir"}
_CREW2_SHAPE = {"round": "round", "split": "riven", "hewn": "squared"}
_CREW2_END = {"axe_cut": "chopped", "whittled": "knife cut", "broken": "snapped off"}
_CREW2_TOOL = {"metal_axe": "iron axe", "adze": "adz", "drawknife": "draw knife"}
_CREW2_OUTSIDE = {"bark": "with bark", "patina": "patinated", "worn": "rubbed", "dressed": "worked"}
_CREW2_FROM = {"": "", "brought_in": "brought in", "salvaged": "older building"}
_CREW2_STATE = {"sound": "good", "burned": "charred"}
_WOOD_HEADINGS = (
    *("Wood", "Room", "Kind of wood-work", "Position", "Standing", "Second use"),
    *("L cm", "A wide", "A high", "B wide", "B high", "Form", "Cut A", "Cut B", "Tools"),
    *("Surface", "Tree", "State", "Carries", "Seen along it"),
    *("Tree from", "Decorated", "Joints without use"),
    *("E a", "N a", "H a", "E b", "N b", "H b", "± m", "Core/slice?", "Seen on", "Seen by"),
    "Notes",
)
_CORE_HEADINGS = (
    *("Number", "From wood", "What", "Drill", "Length cm", "In parts", "From A cm", "Clock"),
    *("Towards", "Tilt", "Deep cm", "Floor to hole cm", "Outermost", "Pith there", "Came out"),
    *("Rings (count in field)", "Permission", "Date", "Who", "Notes"),
)
_DOWEL_HEADINGS = (
    *("Dowel", "For number", "Punched", "Thick", "Long cm", "Fixed with", "Now"),
    *("Newer dowel", "Set on", "Set by", "Notes"),
)
REPLACED_PLUG = "304"


def crew2_book() -> Book:
    """The workbook of the room block: wood, cores and dowels on sheets of their own."""
    woods = [one for one in all_wood() if one.building == "RB"]
    samples = [one for one in all_specimens() if one.wood.building == "RB"]
    dowels: list[Line | None] = []
    for sample in samples:
        if sample.is_core:
            dowels += _crew2_dowels(sample)
    sheets = [
        Sheet(
            "Wood",
            _WOOD_HEADINGS,
            [_crew2_wood(wood) for wood in woods],
            "Wood",
            f"Room block - wood ({INVENTED})",
        ),
        Sheet(
            "Cores and slices",
            _CORE_HEADINGS,
            [_crew2_sample(sample) for sample in samples],
            "Number",
            f"Room block - what we took ({INVENTED})",
            blank_lines=0,
        ),
        Sheet("Dowels", _DOWEL_HEADINGS, dowels, "Dowel"),
    ]
    return Book("room_block.xlsx", sheets, colour="#E2EFDA", font="Liberation Serif")


def _european(iso: str) -> str:
    day = date.fromisoformat(iso)
    return f"{day.day}.{day.month}.{day.year}"


def _crew2_wood(wood: Wood) -> Line:
    line: Line = {
        "Wood": wood.element_id.split("-")[1],
        "Room": wood.place_id.split("-")[1],
        "Kind of wood-work": _CREW2_USE[wood.function],
        "Position": wood.note,
        "Standing": {"in_place": "original", "repair": "replacement", "loose": "ex situ"}[
            wood.in_place
        ],
        "Second use": {"yes": "yes", "no": "no", "unknown": "perhaps"}[wood.reused],
        "L cm": round(wood.length_m * 100, 1),
        "A wide": wood.dia_a1_cm,
        "A high": wood.dia_a2_cm,
        "B wide": wood.dia_b1_cm,
        "B high": wood.dia_b2_cm,
        "Form": _CREW2_SHAPE[wood.shape],
        "Cut A": _CREW2_END[wood.end_a],
        "Cut B": _CREW2_END[wood.end_b],
        "Tools": "; ".join(_CREW2_TOOL[tool] for tool in wood.tools.split(";")),
        "Surface": _CREW2_OUTSIDE[wood.outer],
        "Tree": _CREW2_WOOD[wood.species],
        "State": _CREW2_STATE[wood.condition],
        "Carries": wood.load_bearing,
        "Seen along it": wood.features,
        "Tree from": _CREW2_FROM[wood.origin],
        "Decorated": wood.decoration,
        "Joints without use": wood.empty_joints,
        "Core/slice?": "yes" if wood.key in sampled_keys() else "no",
        # this sheet's dates are the spreadsheet's own, the other sheets' are typed
        "Seen on": date.fromisoformat(wood.recorded_on),
        "Seen by": wood.recorded_by,
        "Notes": wood.remarks,
    }
    for end, point in (("a", wood.a), ("b", wood.b)):
        for axis, value in zip("ENH", point, strict=True):
            line[f"{axis} {end}"] = value
    line["± m"] = 0.01
    return line


def _crew2_sample(sample: Specimen) -> Line:
    line: Line = {
        "Number": sample.sample_id,
        "From wood": sample.wood.element_id.split("-")[1],
        "What": "core" if sample.is_core else "disc",
        "Length cm": round(sample.length_mm / 10, 1),
        "In parts": sample.pieces,
        "From A cm": round(sample.along_m * 100, 1),
        "Outermost": _CREW2_OUTSIDE[sample.surface],
        "Pith there": sample.pith,
        "Rings (count in field)": sample.rings_field,
        "Came out": {"whole": "intact", "in_pieces": "fragmented"}[sample.condition],
        "Permission": sample.authority,
        "Date": _european(sample.collected_on),
        "Who": sample.collected_by,
        "Notes": "" if sample.is_core else "no hole",
    }
    if sample.is_core:
        line |= {
            "Drill": _inches(sample.bore_mm) + '"',
            "Clock": sample.clock if sample.clock is not None else "",
            "Towards": "middle",
            "Tilt": sample.inclination_deg or 0,
            "Deep cm": round((sample.depth_mm or 0) / 10, 1),
            "Floor to hole cm": round((sample.height_m or 0) * 100),
        }
    return line


def _crew2_dowels(sample: Specimen) -> list[Line]:
    line: Line = {
        "Dowel": f"P-{sample.sample_id}",
        "For number": sample.sample_id,
        "Punched": sample.sample_id,
        "Thick": _inches(sample.bore_mm) + '"',
        "Long cm": 4.5,
        "Fixed with": "animal glue",
        "Now": "set",
        "Set on": _european(sample.collected_on),
        "Set by": sample.collected_by,
    }
    if sample.sample_id != REPLACED_PLUG:
        return [line]
    newer = line | {"Dowel": f"P-{REPLACED_PLUG}b", "Set on": "12.6.2023"}
    older = line | {
        "Now": "replaced",
        "Newer dowel": f"P-{REPLACED_PLUG}b",
        "Notes": "split when it was driven in",
    }
    return [older, newer]

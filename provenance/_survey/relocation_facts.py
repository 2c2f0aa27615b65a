"""Gathers everything that somebody needs who wants to find one hole again."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from provenance._base.errors import UnusableInput
from provenance._gate.folders import is_plain_file
from provenance._identity.check_character import check_character
from provenance._identity.identifier import full_identifier
from provenance._identity.rotation import turned
from provenance._ledger.holdings import holdings_of
from provenance._model.felling import felling_in_words
from provenance._record.cells import float_of
from provenance._record.package import Package
from provenance._record.snapshot import Row
from provenance._survey.adjust.bore import UPRIGHT_DEG, wood_axes
from provenance._survey.hole.drilling import drilling_cautions, propose_holes
from provenance._survey.hole.hole import HolePosition, hole_position
from provenance._survey.hole.known_points import KnownPoints
from provenance._survey.plan.elevation import strip_title

_POINTS = (
    "north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"
)  # fmt: skip
_PICTURES = (".png", ".jpg", ".jpeg")


@dataclass(frozen=True)
class Relocation:
    """The words of one sheet; lists of lines for each box, '' where nothing is recorded."""

    sample_id: str
    identifier: str
    check: str
    site: str
    element_row: int
    wood: str
    place: str
    stamp: str
    mark: str
    turned_reading: str
    clock: float | None
    direction: str
    hole: HolePosition
    on_the_wood: tuple[str, ...]
    in_space: tuple[str, ...]
    taken: tuple[str, ...]
    keeper: tuple[str, ...]
    results: tuple[str, ...]
    clear_places: tuple[str, ...]
    cautions: tuple[str, ...]
    photo: Path | None
    photo_title: str


def gather_relocation(package: Package, known: KnownPoints, sample_id: str) -> Relocation:
    """The facts of one sample's sheet; raises UnusableInput when its hole cannot be placed."""
    hole = hole_position(package, sample_id, known=known)
    record = known.record
    sample = record.row("sample", record.find("sample", sample_id))
    element = record.find("element", sample["element_id"])
    plug = _standing_plug(package, sample_id)
    stamp = plug["stamp"] if plug else ""
    site = record.site(sample["site_id"])
    name = site["name"] if site else ""
    identifier = full_identifier(sample["site_id"], sample_id)
    north = record.grid_north_deg(sample["site_id"])
    photo, photo_title = _photo(package, sample_id, hole.element_id, plug)
    return Relocation(
        sample_id=sample_id,
        identifier=identifier,
        check=check_character(identifier),
        site=f"{name} ({sample['site_id']})" if name else sample["site_id"],
        element_row=element,
        wood=strip_title(known, element),
        place=_place_words(known, element),
        stamp=stamp,
        mark=plug["orientation_mark"] if plug else "none",
        turned_reading=turned(stamp) or "" if stamp else "",
        clock=float_of(sample["clock"]),
        direction=sample["direction"],
        hole=hole,
        on_the_wood=_on_the_wood(package, known, element, sample, hole, plug, north),
        in_space=_in_space(hole, north, own_grid=record.grid_a_building),
        taken=_taken(package, sample),
        keeper=_keeper(package, sample_id),
        results=_results(package, sample_id),
        clear_places=_clear_places(package, known, hole),
        cautions=drilling_cautions(package, record, element),
        photo=photo,
        photo_title=photo_title,
    )


def _standing_plug(package: Package, sample_id: str) -> Row | None:
    standing = [
        plug
        for plug in package.tables.rows("plug")
        if plug["sample_id"] == sample_id and not plug["replaced_by_plug_id"]
    ]
    return standing[-1] if standing else None


def _place_words(known: KnownPoints, element: int) -> str:
    record = known.record
    line = reversed(record.line_of_places(record.cell("element", "place_id", element)))
    places = (record.row("place", at) for at in line)
    words = [place["name"] or place["place_id"] for place in places]
    return ", ".join(words) or "place not recorded"


def _label(package: Package, vocabulary: str, code: str) -> str:
    return package.model.vocabularies[vocabulary].label(code)


def clock_words(hours: float) -> str:
    """A clock position as people say it.

    >>> clock_words(3.5), clock_words(0.0), clock_words(9.0)
    ('half past 3', "12 o'clock", "9 o'clock")
    """
    whole, part = divmod(hours, 1.0)
    hour = int(whole) % 12 or 12
    if abs(part) < 0.01:
        return f"{hour} o'clock"
    if abs(part - 0.5) < 0.01:
        return f"half past {hour}"
    return f"{hour}:{round(part * 60):02d} on the clock"


def slope_words(inclination_deg: float) -> str:
    """Which way a drill went, up or down.

    >>> slope_words(0.5), slope_words(-30.0), slope_words(89.0)
    ('level', '30° downwards', 'straight up')
    """
    if abs(inclination_deg) < 2:
        return "level"
    if abs(inclination_deg) > 85:
        return "straight up" if inclination_deg > 0 else "straight down"
    return f"{abs(inclination_deg):.0f}° {'upwards' if inclination_deg > 0 else 'downwards'}"


def compass_point(bearing_deg: float) -> str:
    """The nearest of the eight compass points to a true bearing.

    >>> compass_point(92.0), compass_point(-44.0)
    ('east', 'north-west')
    """
    return _POINTS[round(bearing_deg / 45.0) % 8]


def _clear_places(package: Package, known: KnownPoints, hole: HolePosition) -> tuple[str, ...]:
    try:
        found = propose_holes(package, hole.element_id, known=known)
    except UnusableInput:
        # without a diameter nothing can be proposed; the sheet is worth having all the same
        return ("The size of the wood is not recorded.",)
    lines = [
        f"{one.along_m:.2f} m from A, {clock_words(one.clock)}, to {one.depth_m * 1000:.0f} mm deep"
        for one in found.places
    ]
    return (*lines, *found.notes, "Only with a permit, and see below.")


def _on_the_wood(
    package: Package,
    known: KnownPoints,
    element: int,
    sample: Row,
    hole: HolePosition,
    plug: Row | None,
    north: float | None,
) -> tuple[str, ...]:
    stick = known.sticks.at(np.array([element]))
    forward, _, _, length = wood_axes(stick.a, stick.b)
    upright = abs(forward[0, 2]) > np.sin(np.radians(UPRIGHT_DEG))
    lines = [f"{hole.along_m:.2f} m from end A, {length[0] - hole.along_m:.2f} m from end B"]
    clock = float_of(sample["clock"])
    if clock is not None and hole.is_hole:
        side = "the grid's y axis" if north is None else compass_point(north)
        twelve = f"12 is the side towards {side}" if upright else "12 is up"
        lines.append(f"At {clock_words(clock)}, seen from A towards B ({twelve})")
    if hole.is_hole:
        lines.append(f"Drilled: {_label(package, 'drill_direction', sample['direction']).lower()}")
    if hole.depth_m is not None:
        lines.append(f"Depth {hole.depth_m * 1000:.0f} mm")
    if hole.radius_m is not None:
        lines.append(f"Wood about {2 * hole.radius_m * 100:.0f} cm thick there")
    if plug:
        status = _label(package, "plug_status", plug["status"]).lower()
        dowel = f", dowel {float_of(plug['dowel_mm']):g} mm" if float_of(plug["dowel_mm"]) else ""
        lines.append(f"Plug: {status}{dowel}")
    elif hole.is_hole:
        lines.append("No plug is recorded")
    return tuple(lines)


def _in_space(hole: HolePosition, north: float | None, *, own_grid: bool) -> tuple[str, ...]:
    lines = []
    if hole.height_above_floor_m is not None:
        lines.append(f"{hole.height_above_floor_m:.2f} m above the floor")
    x, y, z = hole.entry_m
    height = f", height {z:.3f}" if z is not None else ""
    grid = "The building's own grid:" if own_grid else "Site grid"
    lines.append(f"{grid} x {x:.3f}, y {y:.3f}{height} m")
    spread = f"Within {hole.u95_major_m * 100:.1f} cm, 95 times in 100"
    if hole.u95_height_m is not None:
        spread += f"; height within {hole.u95_height_m * 100:.1f} cm"
    lines.append(spread)
    if hole.inclination_deg is not None:
        way = slope_words(hole.inclination_deg)
        over = ""
        if hole.bearing_deg is not None:
            over = f", grid bearing {hole.bearing_deg:.0f}°"
            if north is not None:
                over += f" (towards {compass_point(hole.bearing_deg + north)})"
        lines.append(f"The drill went {way}{over}")
    if hole.nearest is not None:
        near = hole.nearest
        wood = "the same wood" if near.same_wood else near.element_id
        lines.append(f"Nearest other hole: {near.sample_id} in {wood}, {near.between_m:.2f} m off")
    return (*lines, *hole.notes)


def _taken(package: Package, sample: Row) -> tuple[str, ...]:
    lines = [_label(package, "sample_kind", sample["kind"])]
    sizes = []
    if bore := float_of(sample["bore_mm"]):
        sizes.append(f"bore {bore:g} mm")
    if length := float_of(sample["length_mm"]):
        sizes.append(f"{length:.0f} mm long")
    if sample["pieces"]:
        sizes.append(f"{sample['pieces']} piece{'s' if sample['pieces'] != '1' else ''}")
    lines += [", ".join(sizes)] if sizes else []
    for vocabulary, name in (("species", "species_field"), ("outer_surface", "outer_surface")):
        if sample[name]:
            lines.append(_label(package, vocabulary, sample[name]))
    lines.append(f"Taken {sample['collected_on']} by {sample['collected_by']}")
    return tuple(lines)


def _keeper(package: Package, sample_id: str) -> tuple[str, ...]:
    held = holdings_of(package.tables).get(sample_id)
    if held is None:
        return ("No event in the custody ledger",)
    if held.gone:
        return (f"{held.gone.capitalize()} since {held.since}",)
    if held.on_the_way_to:
        return (f"On the way to {_party(package, held.on_the_way_to)} since {held.since}",)
    lines = [_party(package, held.holder), f"since {held.since}"]
    if held.place_held:
        lines.append(held.place_held)
    if held.state:
        lines.append(_label(package, "sample_state", held.state))
    return tuple(lines)


def _party(package: Package, party_id: str) -> str:
    parties = package.tables.rows("party")
    name = next((one["name"] for one in parties if one["party_id"] == party_id), "")
    return f"{name} ({party_id})" if name else party_id


def _results(package: Package, sample_id: str) -> tuple[str, ...]:
    mine = [row for row in package.tables.rows("lab_result") if row["sample_id"] == sample_id]
    replaced = {row["supersedes_result_id"] for row in mine} - {""}
    lines: list[str] = []
    for row in mine:
        if row["result_id"] in replaced:
            continue
        outcome = _label(package, "result_outcome", row["outcome"])
        said = row["notation"] or _years(row)
        reason = (
            f", {_label(package, 'undated_reason', row['undated_reason']).lower()}"
            if row["undated_reason"]
            else ""
        )
        lines.append(f"{outcome}{reason}{': ' + said if said else ''}")
        lines += [words] if (words := felling_in_words(row, package.model)) else []
        lines.append(f"{row['laboratory_id']}, {row['reported_on']}")
    return tuple(lines) or ("No result yet",)


def _years(row: Row) -> str:
    inner, outer = row["inner_year"], row["outer_year"]
    return f"{inner} to {outer}" if inner and outer else outer or inner


def _photo(
    package: Package, sample_id: str, element_id: str, plug: Row | None
) -> tuple[Path | None, str]:
    """The photo that shows most of it: of the plug, else of the sample, else of the wood."""
    photos = [row for row in package.tables.rows("file") if row["kind"] == "photo"]
    plug_id = plug["plug_id"] if plug else ""
    for about, key in (("plug", plug_id), ("sample", sample_id), ("element", element_id)):
        for row in photos:
            path = package.folder / row["path"]
            mine = key and (row["about_table"], row["about_id"]) == (about, key)
            shown = mine and path.suffix.lower() in _PICTURES
            if shown and is_plain_file(package.folder, row["path"]):
                return path, row["title"]
    return None, ""

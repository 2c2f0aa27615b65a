"""Gathers what belongs on a plan of one building and level, in site grid metres."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from provenance._base.errors import UnusableInput
from provenance._base.listed import listed
from provenance._base.portable import folded
from provenance._drawing.pixels import BROKEN
from provenance._gate.folders import is_plain_file
from provenance._model.measures import SI, Measures
from provenance._record.cells import read_numbers
from provenance._record.package import Package
from provenance._record.tables import ROW
from provenance._record.trust import Trust, brief_words
from provenance._survey.adjust.bore import wood_axes
from provenance._survey.hole.doubt import hole_trust
from provenance._survey.hole.known_points import KnownPoints
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import Floats
from provenance._survey.parts.outline import read_outline

Point = tuple[float, float]
NAMED = 6
"""Codes that a note on a plan names."""
_SECTION_POINTS = 24
_LONGEST_PART = 100
_LYING = frozenset({"fallen", "loose"})
_ELSEWHERE = frozenset({"stored", "gone"})


@dataclass(frozen=True)
class PlanWood:
    """A piece of wood seen from above: outline, axis from A to B, and what it is."""

    element_id: str
    outline: tuple[Point, ...]
    a: Point
    b: Point
    height_m: float
    upright: bool
    loose: bool
    sampled: bool


@dataclass(frozen=True)
class PlanHole:
    """A hole or cut seen from above, with what is stamped on its plug.

    `trust` is how far its place can be trusted, that of its wood where it was computed from that.
    """

    sample_id: str
    element_id: str
    stamp: str
    at: Point
    bottom: Point
    is_hole: bool
    trust: Trust


@dataclass(frozen=True)
class PlanDoubt:
    """A point that may lie elsewhere than it is drawn: where it is drawn, and what is known."""

    at: Point
    trust: Trust

    @property
    def places(self) -> tuple[Point, ...]:
        """Where it may lie, the likeliest first."""
        return tuple(one.at[:2] for one in self.trust.places)


@dataclass(frozen=True)
class PlanDatum:
    """A datum seen from above."""

    datum_id: str
    at: Point


@dataclass(frozen=True)
class PlanPlace:
    """A room or building with its outline."""

    place_id: str
    name: str
    outline: tuple[Point, ...]


@dataclass(frozen=True)
class Underlay:
    """An image under a plan: lower left corner, size on the ground, turn counterclockwise."""

    file_id: str
    at: Point
    width_m: float
    height_m: float
    turn_deg: float
    data: bytes
    media_type: str


@dataclass(frozen=True)
class PlanContent:
    """Everything on one plan. `notes` say in sentences what is in doubt, and what was left off.

    `own_grid` is True where the grid is the building's own, as in a public edition. `doubts` are of
    datums, of timber ends and of holes that were taped themselves.
    """

    site_id: str
    grid_north_deg: float | None
    woods: tuple[PlanWood, ...]
    holes: tuple[PlanHole, ...]
    datums: tuple[PlanDatum, ...]
    building_id: str = ""
    building_name: str = ""
    level: int | None = None
    places: tuple[PlanPlace, ...] = ()
    underlays: tuple[Underlay, ...] = ()
    doubts: tuple[PlanDoubt, ...] = ()
    notes: tuple[str, ...] = ()
    own_grid: bool = False
    measures: Measures = SI

    def extent(self) -> tuple[float, float, float, float] | None:
        """Least x, least y, greatest x, greatest y in m; None when nothing is on the plan."""
        points = [p for place in self.places for p in place.outline]
        points += [p for wood in self.woods for p in wood.outline]
        points += [hole.at for hole in self.holes] + [datum.at for datum in self.datums]
        points += [place for doubt in self.doubts for place in doubt.places]
        if not points:
            return None
        xs, ys = zip(*points, strict=True)
        return min(xs), min(ys), max(xs), max(ys)


def buildings_of(record: FieldRecord) -> list[str]:
    """Codes of the places that lie in no other one, in the order of the table."""
    places = record.column("place", "place_id")
    outer = ~record.column("place", "parent_place_id").is_in(places.implode())
    return places.filter(outer).to_list()


def levels_of(record: FieldRecord, building_id: str) -> list[int]:
    """The storeys that wood of a building is recorded on, lowest first."""
    levels = {
        level
        for place, level in record.storeys.items()
        if building_id in record.places_round(place)
    }
    return sorted(levels)


def stamps_of(package: Package) -> dict[str, str]:
    """What is stamped on the plug that now fills the hole of each sample."""
    return {
        plug["sample_id"]: plug["stamp"]
        for plug in package.tables.rows("plug")
        if plug["stamp"] and not plug["replaced_by_plug_id"]
    }


def refuse_unknown_level(
    package: Package, record: FieldRecord, buildings: Sequence[str], level: int | None
) -> None:
    """Raise UnusableInput that names the storeys there are when no building has the one asked."""
    stored = {one: levels_of(record, one) for one in buildings}
    if level is None or any(level in levels for levels in stored.values()):
        return
    told = "; ".join(
        f"{one}: {', '.join(map(str, levels)) or 'none'}" for one, levels in stored.items()
    )
    raise UnusableInput(
        f"{package.table_path('place')}: no place is on level {level}; levels recorded are {told}"
    )


def plan_content(
    package: Package,
    known: KnownPoints,
    building_id: str,
    level: int | None = None,
    *,
    underlays: bool = True,
) -> PlanContent:
    """What belongs on the plan of a building, of one storey or of all.

    `underlays` says whether images that the record lays under the plan are read. Raises
    UnusableInput when there is no such place or storey, or such an image cannot be read.
    """
    record = known.record
    at = record.find("place", building_id)
    if at < 0:
        places = ", ".join(buildings_of(record)) or "none"
        raise UnusableInput(
            f"{package.table_path('place')}: there is no place '{building_id}'; "
            f"buildings are: {places}"
        )
    refuse_unknown_level(package, record, [building_id], level)
    row = record.row("place", at)
    building_of_plan = record.buildings[building_id]
    in_building = {
        place
        for place in record.column("place", "place_id")
        if building_id in record.places_round(place)
        and (not record.grid_a_building or record.buildings[place] == building_of_plan)
    }
    inside = {place for place in in_building if level is None or record.storeys.get(place) == level}
    chosen, not_shown = _chosen_wood(known, in_building, inside, level)
    holes = _holes(package, known, chosen)
    datums = _datums(known, in_building)
    doubts, notes = _doubts(known, chosen, holes, datums)
    return PlanContent(
        site_id=row["site_id"],
        building_id=building_id,
        building_name=row["name"],
        level=level,
        grid_north_deg=record.grid_north_deg(row["site_id"]),
        places=_places(record, [*inside, building_id]),
        woods=_woods(known, chosen),
        holes=holes,
        datums=datums,
        underlays=(
            _underlays(package, inside | {building_id, row["site_id"]}) if underlays else ()
        ),
        doubts=doubts,
        notes=(*notes, *not_shown),
        own_grid=record.grid_a_building,
        measures=record.measures,
    )


def _chosen_wood(
    known: KnownPoints, in_building: set[str], inside: set[str], level: int | None
) -> tuple[list[int], tuple[str, ...]]:
    record = known.record
    chosen: list[int] = []
    no_place, no_level, elsewhere = [], [], []
    columns = (record.column("element", name) for name in ("element_id", "place_id", "in_place"))
    for at, (element_id, place_id, state) in enumerate(zip(*columns, strict=True)):
        if place_id not in in_building:
            continue
        if place_id not in inside:
            if place_id not in record.storeys and level is not None:
                no_level.append(element_id)
            continue
        if state in _ELSEWHERE:
            elsewhere.append(element_id)
        elif np.isnan(known.ends[[2 * at, 2 * at + 1], 0]).any():
            no_place.append(element_id)
        else:
            chosen.append(at)
    notes = []
    for ids, what in (
        (no_place, "no coordinates for both ends"),
        (no_level, "no story recorded"),
        (elsewhere, "no longer in the building"),
    ):
        if ids:
            notes.append(f"Not shown, {what}: {listed(ids, NAMED)}.")
    return chosen, tuple(notes)


def file_name_parts(codes: Iterable[str]) -> dict[str, str]:
    """Each code as part of a file name, whatever stands in the table.

    Codes that some disk would give one name get a piece of their SHA-256 behind it.

    >>> file_name_parts(["B1/R2", "../x", "12a", "12A"])
    {'B1/R2': 'B1_R2', '../x': '_x', '12a': '12a-f66cc336', '12A': '12A-ae32dcfc'}
    """
    parts = {
        code: re.sub(r"[^A-Za-z0-9._-]", "_", code).lstrip(".")[:_LONGEST_PART] or "_"
        for code in codes
    }
    alike = Counter(map(folded, parts.values()))
    return {
        code: part
        if alike[folded(part)] == 1
        else f"{part}-{hashlib.sha256(code.encode()).hexdigest()[:8]}"
        for code, part in parts.items()
    }


def _places(record: FieldRecord, ids: Sequence[str]) -> tuple[PlanPlace, ...]:
    found = []
    columns = (record.column("place", name) for name in ("place_id", "name", "outline"))
    for place_id, name, text in zip(*columns, strict=True):
        outline = read_outline(text) if place_id in ids else None
        if outline is not None:
            found.append(PlanPlace(place_id, name, _points(outline)))
    return tuple(found)


def _points(array: Floats) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in array[:, :2])


def _woods(known: KnownPoints, chosen: list[int]) -> tuple[PlanWood, ...]:
    sampled = set(known.record.column("sample", "element_id"))
    # columns as lists: a look-up by row number in a table costs a hundred times as much
    ids, states = (
        known.record.column("element", name).to_list() for name in ("element_id", "in_place")
    )
    stick = known.sticks.at(np.array(chosen, dtype=np.int64))
    if not chosen:
        return ()
    forward, _, _, _ = wood_axes(stick.a, stick.b)
    # where no size is known a thin line still shows the wood
    level = np.nan_to_num(stick.level_m, nan=0.04)
    upright_size = np.nan_to_num(stick.upright_m, nan=0.04)
    steep = np.abs(forward[:, 2]) > np.sin(np.radians(75.0))
    woods = []
    for i, at in enumerate(chosen):
        a, b = stick.a[i], stick.b[i]
        if steep[i]:
            outline = _section(
                (a + b) / 2, level[i].mean(), upright_size[i].mean(), stick.square[i]
            )
        else:
            over = forward[i, :2] / np.hypot(*forward[i, :2])
            right = np.array([over[1], -over[0]])
            corners = [a[:2] - right * level[i, 0] / 2, b[:2] - right * level[i, 1] / 2]
            corners += [b[:2] + right * level[i, 1] / 2, a[:2] + right * level[i, 0] / 2]
            outline = _points(np.array(corners))
        woods.append(
            PlanWood(
                ids[at],
                outline,
                (float(a[0]), float(a[1])),
                (float(b[0]), float(b[1])),
                float((a[2] + b[2]) / 2),
                bool(steep[i]),
                states[at] in _LYING,
                ids[at] in sampled,
            )
        )
    return tuple(sorted(woods, key=lambda wood: (wood.height_m, wood.element_id)))


def _section(middle: Floats, width: float, depth: float, square: bool) -> tuple[Point, ...]:
    """The section of upright wood: diameter 1 runs along y, diameter 2 along x."""
    if square:
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width / 2, depth / 2]
    else:
        turn = np.linspace(0, 2 * np.pi, _SECTION_POINTS, endpoint=False)
        corners = np.column_stack([np.cos(turn) * width / 2, np.sin(turn) * depth / 2])
    return _points(middle[:2] + corners)


def _holes(package: Package, known: KnownPoints, chosen: list[int]) -> tuple[PlanHole, ...]:
    stamps = stamps_of(package)
    holes, bores = known.holes, known.holes.bores
    columns = (known.record.column("sample", name) for name in ("sample_id", "element_id"))
    samples = list(zip(*columns, strict=True))
    found = []
    for at in np.flatnonzero(np.isin(holes.element, chosen)):
        sample_id, element_id = samples[int(holes.sample[at])]
        found.append(
            PlanHole(
                sample_id,
                element_id,
                stamps.get(sample_id, sample_id),
                (float(bores.entry[at, 0]), float(bores.entry[at, 1])),
                (float(bores.bottom[at, 0]), float(bores.bottom[at, 1])),
                bool(holes.is_hole[at]),
                hole_trust(known, int(at)),
            )
        )
    return tuple(sorted(found, key=lambda hole: hole.sample_id))


def _doubts(
    known: KnownPoints,
    chosen: list[int],
    holes: Sequence[PlanHole],
    datums: Sequence[PlanDatum],
) -> tuple[tuple[PlanDoubt, ...], tuple[str, ...]]:
    """What is in doubt by readings of its own, with all doubts in words.

    Holes that were computed from wood in doubt are named only, or they would hide the wood.
    """
    keys = known.record.point_keys
    doubts = [
        PlanDoubt(datum.at, trust)
        for datum in datums
        if (trust := known.trust(f"datum:{datum.datum_id}")).is_doubted
    ]
    for end in (2 * at + side for at in chosen for side in (0, 1)):
        if (trust := known.trust(keys[end])).is_doubted:
            x, y = known.ends[end, :2]
            doubts.append(PlanDoubt((float(x), float(y)), trust))
    with_wood = []
    for hole in holes:
        if not hole.trust.is_doubted:
            continue
        if known.is_taped(hole.sample_id):
            doubts.append(PlanDoubt(hole.at, hole.trust))
        else:
            with_wood.append(hole.stamp)
    say = known.record.measures
    told = [f"{doubt.trust.about} ({brief_words(doubt.trust, say)})" for doubt in doubts]
    notes = [f"In doubt: {listed(told, 3)}."] if told else []
    if with_wood:
        notes.append(f"In doubt with their wood: {listed(with_wood, NAMED)}.")
    return tuple(doubts), tuple(notes)


def _datums(known: KnownPoints, places: Collection[str]) -> tuple[PlanDatum, ...]:
    found = []
    columns = (known.record.column("datum", name) for name in ("datum_id", "place_id"))
    for at, (datum_id, place_id) in enumerate(zip(*columns, strict=True)):
        x, y = known.datums[at, :2]
        if place_id in places and np.isfinite(x):
            found.append(PlanDatum(datum_id, (float(x), float(y))))
    return tuple(found)


def _underlays(package: Package, about: set[str]) -> tuple[Underlay, ...]:
    from PIL import Image, UnidentifiedImageError

    names = ("grid_x_m", "grid_y_m", "metres_per_pixel", "rotation_deg")
    found = []
    numbered = zip(package.tables.texts("file")[ROW], package.tables.rows("file"), strict=True)
    for number, row in numbered:
        if row["about_table"] not in ("place", "site") or row["about_id"] not in about:
            continue
        placed = read_numbers(pl.Series([row[name] for name in names]))
        x, y, size, turn = map(float, placed.to_numpy())
        path = package.folder / row["path"]
        if not np.isfinite([x, y, size]).all() or not is_plain_file(package.folder, row["path"]):
            continue
        try:
            with Image.open(path) as image:
                width, height = image.size
                media_type = Image.MIME.get(image.format or "", "")
        except (UnidentifiedImageError, Image.DecompressionBombError, *BROKEN) as error:
            raise UnusableInput(
                f"{package.table_path('file')}, row {number}: {row['path']} should lie under a "
                "plan but cannot be read as an image, or is too large; use PNG or JPEG"
            ) from error
        found.append(
            Underlay(
                row["file_id"],
                (x, y),
                width * size,
                height * size,
                0.0 if np.isnan(turn) else turn,
                path.read_bytes(),
                media_type,
            )
        )
    return tuple(found)


def wood_alone(package: Package, known: KnownPoints, element: int) -> PlanContent:
    """A plan of one piece of wood (a row number) that no place is recorded for, with its datums."""
    record = known.record
    site_id = record.cell("element", "site_id", element)
    places = record.column("place", "place_id")
    of_site = places.filter(record.column("place", "site_id") == site_id)
    return PlanContent(
        site_id=site_id,
        grid_north_deg=record.grid_north_deg(site_id),
        woods=_woods(known, [element]),
        holes=_holes(package, known, [element]),
        datums=() if record.grid_a_building else _datums(known, ["", *of_site]),
        own_grid=record.grid_a_building,
        measures=record.measures,
    )

"""Proposes where the next sample could be taken from wood, and says what to mind before that."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._model.spoken import spoken
from provenance._record.package import Package
from provenance._survey.adjust.bore import DIRECTIONS, set_bores, wood_axes
from provenance._survey.hole.hole import segment_gap
from provenance._survey.hole.known_points import KnownPoints, known_points
from provenance._survey.parts.features import WoodFeature, read_features
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import Floats, Precision

_STEP_M = 0.05
_SIDES = (3.0, 9.0, 4.5, 7.5, 6.0)
_SIDES_UPRIGHT = (3.0, 9.0, 12.0, 6.0)
_PAST_PITH_M = 0.01
_LEFT_BEHIND_M = 0.04


@dataclass(frozen=True)
class Clearance:
    """Least distances in m that a new hole keeps. Common practice, no source.

    From the ends of the wood (joints and cracks sit there), from recorded joints, nails and
    notches along the wood, from old holes along the wood, and between the drill lines themselves.
    """

    end_m: float = 0.30
    feature_m: float = 0.15
    hole_m: float = 0.15
    between_lines_m: float = 0.03


@dataclass(frozen=True)
class Proposal:
    """A place for a new hole; `clear_m` is the least distance along the wood to what is there."""

    along_m: float
    clock: float
    depth_m: float
    entry_m: tuple[float, float, float]
    bottom_m: tuple[float, float, float]
    clear_m: float
    nearest: str


@dataclass(frozen=True)
class Proposals:
    """Places for a new hole in one piece of wood, best first, and what to mind before drilling.

    `places` is empty when nothing is clear; `notes` then says why.
    """

    element_id: str
    places: tuple[Proposal, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def propose_holes(
    package: Package,
    element_id: str,
    *,
    bore_mm: float = 12.7,
    count: int = 3,
    clearance: Clearance | None = None,
    known: KnownPoints | None = None,
) -> Proposals:
    """Look along the wood and round it for places that keep their distance from what is recorded.

    The sides (3 and 9 o'clock) come first: they are reached without drilling overhead and lie where
    a level timber bends least. Depth is to just past the middle, and never through. Nothing here
    says that drilling is allowed or safe. Raises UnusableInput when the wood cannot be placed.
    """
    known = known or known_points(package)
    clearance = clearance or Clearance()
    record = known.record
    path = package.table_path("element")
    at = record.find("element", element_id)
    if at < 0:
        raise UnusableInput(f"{path}: there is no element '{element_id}'; check the code")
    row = f"{path}, row {record.record_number('element', at)}"
    stick = known.sticks.at(np.array([at]))
    if not np.isfinite([stick.a, stick.b]).all():
        raise UnusableInput(
            f"{row}: the ends of {element_id} have no position; "
            "tie them to datums and run the survey"
        )
    if not np.isfinite(stick.level_m).all():
        raise UnusableInput(f"{row}: {element_id} has no diameter; measure it")
    features, unread = read_features(record.cell("element", "features", at))
    cautions = drilling_cautions(package, record, at)
    notes = [
        _('"{part}" has no distance from end A; look for it on the wood.').format(part=part)
        for part in unread
    ]
    places = _clear_places(known, at, features, bore_mm / 1000, clearance)
    chosen: list[Proposal] = []
    for place in places:
        apart = [abs(place.along_m - other.along_m) for other in chosen]
        if all(gap >= clearance.hole_m for gap in apart):
            chosen.append(place)
        if len(chosen) == count:
            break
    if not chosen:
        notes.append(
            _(
                "No place is clear of ends, recorded joints and old holes by the distances "
                "asked for."
            )
        )
    return Proposals(element_id, tuple(chosen), tuple(notes), cautions)


def _clear_places(
    known: KnownPoints,
    at: int,
    features: tuple[WoodFeature, ...],
    bore_m: float,
    clearance: Clearance,
) -> list[Proposal]:
    """Every clear place of a grid along and round the wood, best first."""
    stick = known.sticks.at(np.array([at]))
    forward, _, _, lengths = wood_axes(stick.a, stick.b)
    length = float(lengths[0])
    upright = abs(float(forward[0, 2])) > np.sin(np.radians(75.0))
    steps = np.arange(clearance.end_m, length - clearance.end_m + 1e-9, _STEP_M)
    steps = np.round(steps, 2)
    sides = np.array(_SIDES_UPRIGHT if upright else _SIDES)
    along, clock = (grid.ravel() for grid in np.meshgrid(steps, sides, indexing="ij"))
    if not along.size:
        return []
    n = len(along)
    bores = set_bores(
        known.sticks.at(np.full(n, at)),
        along,
        clock,
        np.full(n, DIRECTIONS.index("radial")),
        np.full(n, np.nan),
        np.zeros(n),
        Precision(),
    )
    depth = np.minimum(bores.radius_m + _PAST_PITH_M, 2 * bores.radius_m - _LEFT_BEHIND_M)
    bottom = bores.entry + np.maximum(depth, 0)[:, None] * bores.direction
    gap_along, gap_lines, names = _old_holes(known, at, bores.entry, bottom, along, bore_m)
    proposals = []
    for i in range(n):
        nearest = {"an end": min(along[i], length - along[i])}
        nearest |= {one.what: one.distance_m(along[i]) for one in features}
        blocked = depth[i] < 0.02
        blocked |= any(one.distance_m(along[i]) < clearance.feature_m for one in features)
        for j, name in enumerate(names):
            nearest[f"the hole of {name}"] = gap_along[i, j]
            blocked |= gap_along[i, j] < clearance.hole_m
            blocked |= gap_lines[i, j] < clearance.between_lines_m
        if blocked:
            continue
        name = min(nearest, key=lambda key: nearest[key])
        proposals.append(
            Proposal(
                float(along[i]),
                float(clock[i]),
                float(np.floor(depth[i] * 200) / 200),
                tuple(map(float, bores.entry[i])),  # type: ignore[arg-type]  # three numbers
                tuple(map(float, bottom[i])),  # type: ignore[arg-type]  # three numbers
                float(nearest[name]),
                name,
            )
        )
    rank = {side: place for place, side in enumerate(sides)}
    # half a metre of clear wood is as good as more; then the handier side, then more room
    return sorted(
        proposals, key=lambda p: (-min(p.clear_m, 0.5), rank[p.clock], -p.clear_m, p.along_m)
    )


def _old_holes(
    known: KnownPoints, at: int, entry: Floats, bottom: Floats, along: Floats, bore_m: float
) -> tuple[Floats, Floats, list[str]]:
    """Distances (n, k) along the wood and between the lines to the k holes and cuts it has."""
    holes = known.holes
    mine = np.flatnonzero(holes.element == at)
    where = known.record.numbers("sample", "along_m")[holes.sample[mine]]
    gap_along = np.abs(along[:, None] - where)
    gap_lines = np.full(gap_along.shape, np.inf)
    for j, hole in enumerate(mine):
        if holes.is_hole[hole]:
            gap = segment_gap(entry, bottom, holes.bores.entry[hole], holes.bores.bottom[hole])
            gap_lines[:, j] = gap - (bore_m + float(np.nan_to_num(holes.bore_m[hole]))) / 2
    names = [known.record.cell("sample", "sample_id", int(holes.sample[one])) for one in mine]
    return gap_along, gap_lines, names


_LOAD = {
    "yes": N_(
        "This timber is load-bearing. Do not drill or cut until a structural engineer agrees."
    ),
    "unknown": N_(
        "Whether this timber is load-bearing is not recorded: treat it as load-bearing and ask a "
        "structural engineer."
    ),
}
_LOAD[""] = _LOAD["unknown"]
_FRAIL = frozenset({"surface_decay", "decayed", "burned", "ruined"})


def drilling_cautions(
    package: Package, record: FieldRecord, element: int, *, site_id: str = ""
) -> tuple[str, ...]:
    """Cautions for one piece of wood (a row number): local rules and consent come first, then what
    is recorded of wood, place and site, then what holds for any such place.

    For wood that is not in the table (-1) they are those of the site `site_id`.
    """
    wood = record.row("element", element) if element >= 0 else defaultdict(str, site_id=site_id)
    model = spoken(package.model)
    cautions = []
    load = wood["load_bearing"]
    if load in _LOAD:
        cautions.append(_(_LOAD[load]))
    condition = wood["condition"]
    if condition in _FRAIL:
        label = model.vocabularies["element_condition"].label(condition).lower()
        cautions.append(
            _("The timber is recorded as {state}: it may split, or hold less than it did.").format(
                state=label
            )
        )
    site = record.site(wood["site_id"])
    protection = site["protection"] if site else ""
    if protection in ("", "unknown"):
        cautions.append(
            _("Whether the place is protected is not recorded: ask the authority first.")
        )
    elif protection != "none":
        label = model.vocabularies["protection"].label(protection)
        cautions.append(
            _("The place is protected ({how}): a new permit is needed.").format(how=label)
        )
    places = record.line_of_places(wood["place_id"])
    cells = [record.cell("place", "hazards", at) for at in places]
    cells += [site["hazards"]] if site else []
    hazards = model.vocabularies["hazard"]
    codes = [code.strip() for cell in cells for code in cell.split(";") if code.strip()]
    for code in dict.fromkeys(codes):
        term = hazards.term(code)
        if code == "none":
            continue
        if term is None:
            cautions.append(_("Recorded hazard: {code}.").format(code=code))
        elif code != "load_bearing" or load not in _LOAD:
            cautions.append(f"{term.label}: {term.attributes.get('caution', term.definition)}")
    first, general = model.cautions[:2], model.cautions[2:]
    return tuple(dict.fromkeys((*first, *cautions, *general)))

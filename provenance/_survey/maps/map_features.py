"""Gathers wood, holes and datums as map features: geometry, and the facts that go with each.

A hole or datum whose readings conflict or fit two places has no geometry and no range; the layer
'places' then has every place that it may be at, and those of timber ends. Wood is drawn between
the likeliest places of its ends. What the survey says about each stands beside it in words.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from provenance._base.errors import UnusableInput
from provenance._model.measures import SI
from provenance._record.cells import float_of
from provenance._record.package import Package
from provenance._record.trust import Trust, gravity, trust_words
from provenance._survey.adjust.positions import ellipse_95
from provenance._survey.hole.doubt import hole_trust
from provenance._survey.hole.known_points import KnownPoints
from provenance._survey.parts.geodetic import NotTied, map_tie
from provenance._survey.parts.observation import Floats
from provenance._survey.plan.plan_content import buildings_of, levels_of, plan_content, stamps_of

Value = str | float | int | None


@dataclass(frozen=True)
class MapFeature:
    """One feature: points (n, 2 or 3) in x, y, height or longitude, latitude; and its facts.

    One without points is known, but not where it is.
    """

    id: str
    points: tuple[tuple[float, ...], ...]
    facts: dict[str, Value]


@dataclass(frozen=True)
class Layer:
    """Features of one kind; `columns` names the facts with their SQL types."""

    name: str
    description: str
    geometry: Literal["Point", "LineString"]
    columns: dict[str, str]
    features: tuple[MapFeature, ...]


_TRUST = {"verdict": "TEXT", "trust": "TEXT", "search_m": "REAL", "hidden_m": "REAL"}
"""The code of the verdict, and what it means in sentences."""
_WOOD = {
    "element_id": "TEXT", "place_id": "TEXT", "function": "TEXT", "in_place": "TEXT",
    "length_m": "REAL", "diameter_a_cm": "REAL", "diameter_b_cm": "REAL", "species_field": "TEXT",
    "sampled": "TEXT", **_TRUST,
}  # fmt: skip
_HOLE = {
    "sample_id": "TEXT", "element_id": "TEXT", "stamp": "TEXT", "kind": "TEXT", "along_m": "REAL",
    "clock": "REAL", "depth_mm": "REAL", "height_m": "REAL", "u95_m": "REAL", "found_by": "TEXT",
    **_TRUST,
}  # fmt: skip
_PLACE = {
    "point": "TEXT", "sample_id": "TEXT", "element_id": "TEXT", "datum_id": "TEXT",
    "place_rank": "INTEGER", "place_share": "REAL", "wrong_readings": "TEXT", "height_m": "REAL",
    **_TRUST,
}  # fmt: skip
_DATUM = {"datum_id": "TEXT", "kind": "TEXT", "height_m": "REAL", "u95_m": "REAL", **_TRUST}


def map_layers(
    package: Package, known: KnownPoints, *, place: str | None = None, level: int | None = None
) -> tuple[str, tuple[Layer, ...]]:
    """The site's code and its layers elements, holes and datums on the site grid, in m.

    The layer places is there only where a point may be at several. Of one building and storey if
    asked for. Raises UnusableInput when the package holds several sites and no place says which,
    because each has its own grid.
    """
    record = known.record
    chosen = set(record.column("element", "element_id"))
    datums = set(record.column("datum", "datum_id"))
    site_ids = sorted(set(record.column("site", "site_id")))
    if place is not None:
        content = plan_content(package, known, place, level)
        chosen = {wood.element_id for wood in content.woods}
        datums = {datum.datum_id for datum in content.datums}
        site_ids = [content.site_id]
    elif level is not None:
        with_levels = [one for one in buildings_of(record) if levels_of(record, one)]
        raise UnusableInput(
            "a level belongs to a building; name the building with --place "
            f"(levels are recorded for {', '.join(with_levels) or 'none'})"
        )
    if len(site_ids) != 1:
        raise UnusableInput(
            f"{package.folder} holds {len(site_ids)} sites, each with its own grid; "
            "name a building with --place"
        )
    if record.grid_a_building and place is None and len(buildings_of(record)) != 1:
        raise UnusableInput(
            f"{package.folder} is a public edition, in which each building has its own grid; "
            "name a building with --place"
        )
    doubted = _place_layer(known, chosen, datums)
    return site_ids[0], (
        _wood_layer(known, chosen),
        _hole_layer(package, known, chosen),
        _datum_layer(known, datums),
        *((doubted,) if doubted.features else ()),
    )


def on_wgs84(known: KnownPoints, site_id: str, layers: tuple[Layer, ...]) -> tuple[Layer, ...]:
    """The layers in longitude and latitude on WGS 84; raises NotTied where the grid is not tied."""
    site = known.record.site(site_id)
    if site is None:
        raise NotTied(f"there is no site '{site_id}' in the table site")
    tie = map_tie(site)
    carried = []
    for layer in layers:
        features = []
        flat = np.array([p[:2] for one in layer.features for p in one.points]).reshape(-1, 2)
        latitude, longitude = tie.wgs84(flat[:, 0], flat[:, 1]) if len(flat) else (flat, flat)
        at = 0
        for one in layer.features:
            points = tuple(
                (round(float(longitude[at + i]), 8), round(float(latitude[at + i]), 8))
                for i in range(len(one.points))
            )
            at += len(one.points)
            features.append(replace(one, points=points))
        carried.append(replace(layer, features=tuple(features)))
    return tuple(carried)


def _point(xyz: Floats) -> tuple[float, ...]:
    axes = 3 if np.isfinite(xyz[2]) else 2
    return tuple(round(float(value), 4) for value in xyz[:axes])


def _rounded(value: float) -> float | None:
    return round(float(value), 4) if np.isfinite(value) else None


def _wood_layer(known: KnownPoints, chosen: set[str]) -> Layer:
    features = []
    for at in range(known.record.count("element")):
        row = known.record.row("element", at)
        a, b = known.ends[2 * at], known.ends[2 * at + 1]
        if row["element_id"] not in chosen or np.isnan([a[0], b[0]]).any():
            continue
        one, two = _point(a), _point(b)
        if len(one) != len(two):
            one, two = one[:2], two[:2]
        size = np.nanmean(np.vstack([known.sticks.upright_m[at], known.sticks.level_m[at]]), axis=0)
        facts: dict[str, Value] = {
            name: row[name] or None
            for name, kind in _WOOD.items()
            if name in row and kind == "TEXT"
        }
        facts |= _told(*(known.trust(key) for key in known.record.point_keys[2 * at : 2 * at + 2]))
        facts |= {
            "length_m": float_of(row["length_m"]),
            "diameter_a_cm": _rounded(size[0] * 100),
            "diameter_b_cm": _rounded(size[1] * 100),
        }
        features.append(MapFeature(row["element_id"], (one, two), facts))
    words = "Wood, a line along its axis from end A to end B"
    return Layer("elements", words, "LineString", _WOOD, tuple(features))


def _hole_layer(package: Package, known: KnownPoints, chosen: set[str]) -> Layer:
    stamps = stamps_of(package)
    holes, bores = known.holes, known.holes.bores
    major, _, _ = ellipse_95(np.nan_to_num(bores.entry_covariance))
    features = []
    for at in range(len(holes.sample)):
        row = known.record.row("sample", int(holes.sample[at]))
        if row["element_id"] not in chosen:
            continue
        sample_id = row["sample_id"]
        entry, trust = bores.entry[at], hole_trust(known, at)
        facts: dict[str, Value] = {
            "sample_id": sample_id,
            "element_id": row["element_id"],
            "stamp": stamps.get(sample_id),
            "kind": row["kind"] or None,
            "along_m": float_of(row["along_m"]),
            "clock": float_of(row["clock"]),
            "depth_mm": float_of(row["depth_mm"]),
            "height_m": _rounded(entry[2]),
            "u95_m": None if trust.is_withheld else _rounded(major[at]),
            "found_by": known.found.get(f"hole:{sample_id}", "geometry"),
        }
        points = () if trust.is_withheld else (_point(entry),)
        features.append(MapFeature(sample_id, points, facts | _told(trust)))
    words = (
        "Holes and cuts, with the stamp on the plug and the 95 % radius; without geometry where "
        "readings conflict, see places"
    )
    return Layer("holes", words, "Point", _HOLE, tuple(features))


def _told(*trusts: Trust) -> dict[str, Value]:
    """What the survey says about a feature: the gravest verdict of its points, all sentences."""
    gravest = max(trusts, key=gravity)
    # map data is in SI, whatever the record measures in
    said = [sentence for one in trusts for sentence in trust_words(one, SI)]
    lengths = {
        name: max((x for one in trusts if (x := getattr(one, name)) is not None), default=None)
        for name in ("search_m", "hidden_m")
    }
    return {"verdict": gravest.verdict or None, "trust": " ".join(said) or None} | {
        name: None if value is None else _rounded(value) for name, value in lengths.items()
    }


def _place_layer(known: KnownPoints, chosen: set[str], datums: set[str]) -> Layer:
    """Every place that a datum, or a hole or end of the chosen wood, may be at by its readings."""
    record = known.record
    woods = record.column("element", "element_id").to_list()
    points: list[tuple[str, dict[str, Value], Trust]] = []
    for datum_id in record.column("datum", "datum_id"):
        if datum_id in datums:
            key = f"datum:{datum_id}"
            points.append((key, {"datum_id": datum_id}, known.trust(key)))
    for end, key in enumerate(record.point_keys[: record.n_ends]):
        if woods[end // 2] in chosen:
            points.append((key, {"element_id": woods[end // 2]}, known.trust(key)))
    for at, sample in enumerate(known.holes.sample):
        wood = woods[int(known.holes.element[at])]
        if wood in chosen:
            sample_id = record.cell("sample", "sample_id", int(sample))
            whose: dict[str, Value] = {"sample_id": sample_id, "element_id": wood}
            points.append((f"hole:{sample_id}", whose, hole_trust(known, at)))
    features = []
    for key, ids, trust in points:
        for rank, place in enumerate(trust.places, start=1):
            x, y, z = place.at
            facts: dict[str, Value] = {
                "point": key,
                **ids,
                "place_rank": rank,
                "place_share": round(place.share, 4),
                "wrong_readings": place.wrong or None,
                "height_m": None if z is None else _rounded(z),
            }
            at_place = _point(np.array([x, y, np.nan if z is None else z]))
            features.append(MapFeature(f"{key}/{rank}", (at_place,), facts | _told(trust)))
    words = "Places that a point may be at whose readings conflict, with how likely each is"
    return Layer("places", words, "Point", _PLACE, tuple(features))


def _datum_layer(known: KnownPoints, chosen: set[str]) -> Layer:
    major, _, _ = ellipse_95(np.nan_to_num(known.datums_covariance))
    features = []
    for at in range(known.record.count("datum")):
        row = known.record.row("datum", at)
        xyz = known.datums[at]
        if row["datum_id"] not in chosen or np.isnan(xyz[0]):
            continue
        trust = known.trust(f"datum:{row['datum_id']}")
        facts: dict[str, Value] = {
            "datum_id": row["datum_id"],
            "kind": row["kind"] or None,
            "height_m": _rounded(xyz[2]),
            "u95_m": None if trust.is_withheld else _rounded(major[at]),
        }
        points = () if trust.is_withheld else (_point(xyz),)
        features.append(MapFeature(row["datum_id"], points, facts | _told(trust)))
    words = "Fixed points that can be found again"
    return Layer("datums", words, "Point", _DATUM, tuple(features))

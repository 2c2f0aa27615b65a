"""Simulates surveys to see whether 95 % ranges hold, with and without misread tapes.

Run by hand: python benchmarks/ranges.py [SITES]. Sites of 40 points in invented rooms; truth is
known, so each line tells of 100 points for which a range is given how many lie in it (level, and
height), for how many of 100 it is given, the median half-axis, how often the point lies within the
distance to search, and the verdicts. The surveys are those of the product, tables and all.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from provenance._record.new import new_package
from provenance._record.package import Package
from provenance._survey.adjust.adjustment import adjust_survey
from provenance._survey.parts.observation import ELLIPSE_95, Precision

POINTS_A_SITE = 40
ROOM = np.array(
    [[0, 0, 1.0], [8, 0.2, 0.5], [7.5, 6, 2.0], [0.4, 5.5, 1.5], [4, -0.3, 1.2], [4.2, 6.3, 0.7]]
)
GEOMETRIES = ("3T+H", "4T+H", "6T+H", "3T+H+B", "3T+H+W", "2T+H+B")
SCATTERS = (0.5, 1.0, 2.0, 3.0)
RADIUS_M, BOW_M = 0.10, 0.02


@dataclass(frozen=True)
class Scene:
    """A package with its true places by position key, and which points had a reading misread."""

    package: Package
    truth: pd.DataFrame
    hit: np.ndarray


def simulated(
    folder: Path,
    geometry: str,
    scatter: float,
    *,
    sites: int,
    chance: np.random.Generator,
    wrong_share: float = 0.0,
    hit_share: float = 0.0,
    size: tuple[float, float] = (0.05, 1.0),
    blunders: int = 1,
) -> Scene:
    """Points of one geometry: nT tapes, H a height, B a bearing, W the wood that the hole is in.

    Every reading is wrong with the chance `wrong_share`, or `hit_share` of the points have
    `blunders` tapes wrong, by `size` m either way (bearings by 5 to 90 degrees).
    """
    folder.mkdir(parents=True, exist_ok=True)
    package = new_package(folder / "simulated", "blank")
    parts = geometry.split("+")
    tapes, precision = int(parts[0][0]), Precision()
    n = sites * POINTS_A_SITE
    site = np.repeat([f"S{at}" for at in range(sites)], POINTS_A_SITE)
    truth = chance.uniform([0.5, 0.5, 0.2], [7.5, 5.5, 3.5], (n, 3))
    ties: list[dict[str, Any]] = []
    hit = np.zeros(n, dtype=bool)
    chosen = chance.random(n) < hit_share
    holes = "W" in parts
    ends = _wood(truth, chance) if holes else None
    for at in range(n):
        of = {"sample_id": f"{at}"} if holes else {"element_id": f"E{at}", "element_end": "a"}
        base = {"tie_id": "", **of}
        which = chance.permutation(len(ROOM))[: max(tapes, 1)]
        mine = []
        for datum in which:
            value = np.linalg.norm(truth[at] - ROOM[datum])
            mine.append(["distance", datum, value, scatter * precision.tape_sd_m, "distance_m"])
        mine.append(["height", -1, truth[at, 2], scatter * precision.height_sd_m, "height_m"])
        if "B" in parts:
            ray = truth[at] - ROOM[which[0]]
            turn = np.degrees(np.arctan2(ray[0], ray[1]))
            sd = scatter * precision.bearing_sd_deg
            mine.append(["bearing", which[0], turn, sd, "bearing_deg"])
        wrong = chance.random(len(mine)) < wrong_share
        if chosen[at]:
            wrong[chance.permutation(tapes)[:blunders]] = True
        hit[at] = wrong.any()
        for number, (kind, datum, value, sd, column) in enumerate(mine):
            reading = value + chance.normal(0, sd)
            if wrong[number]:
                by = chance.uniform(5, 90) if kind == "bearing" else chance.uniform(*size)
                reading += by * chance.choice([-1, 1])
            row = base | {"tie_id": f"T{at}-{number}", "kind": kind}
            row[column] = round(reading % 360 if kind == "bearing" else reading, 3)
            if datum >= 0:
                row["from_datum_id"] = f"{site[at]}-D{datum}"
            if kind == "bearing":
                row["bearing_reference"] = "grid"
            ties.append(row)
    elements = pd.DataFrame({"element_id": [f"E{at}" for at in range(n)], "site_id": site})
    tables = {
        "site": pd.DataFrame(
            {"site_id": list(dict.fromkeys(site)), "name": "Simulated", "grid_north_deg": 0}
        ),
        "datum": pd.DataFrame(
            [
                {"datum_id": f"S{at}-D{d}", "site_id": f"S{at}", "held": "true"}
                | dict(zip(("x_m", "y_m", "z_m"), place, strict=True))
                for at in range(sites)
                for d, place in enumerate(ROOM)
            ]
        ),
        "element": elements,
    }
    if ends is not None:
        a, b, along = ends
        for at in range(n):
            for side, place in (("a", a[at]), ("b", b[at])):
                x, y, z = np.round(place + chance.normal(0, precision.coordinate_sd_m, 3), 4)
                ties.append(
                    {"tie_id": f"C{at}{side}", "kind": "coordinate", "element_id": f"E{at}"}
                    | {"element_end": side, "x_m": x, "y_m": y, "height_m": z}
                    | {"uncertainty_m": precision.coordinate_sd_m}
                )
        tables["element"] = elements.assign(diameter_a1_cm=200 * RADIUS_M, sampled="true")
        tables["sample"] = pd.DataFrame(
            {
                "sample_id": [f"{at}" for at in range(n)],
                "site_id": site,
                "element_id": elements["element_id"],
                "kind": "core",
                "along_m": np.round(along + chance.normal(0, precision.along_sd_m, n), 3),
                "clock": 3,
                "direction": "radial",
                "depth_mm": 60,
            }
        )
    tables["tie"] = pd.DataFrame(ties)
    for name, frame in tables.items():
        frame = frame.reindex(columns=package.model.table(name).names).astype(object)
        package.write_table(name, frame.where(frame.notna(), ""))
    keys = [f"hole:{at}" if holes else f"end:E{at}:a" for at in range(n)]
    return Scene(package, pd.DataFrame(truth, index=keys, columns=list("xyz")), hit)


def _wood(holes: np.ndarray, chance: np.random.Generator) -> tuple[np.ndarray, ...]:
    """Level wood 4 m long with a hole at 3 o'clock each: ends A and B, and distances from A."""
    n = len(holes)
    turn, along = chance.uniform(0, 2 * np.pi, n), chance.uniform(0.3, 3.7, n)
    forward = np.column_stack([np.sin(turn), np.cos(turn), np.zeros(n)])
    right = np.column_stack([np.cos(turn), -np.sin(turn), np.zeros(n)])
    axis = holes - RADIUS_M * right + chance.normal(0, BOW_M, (n, 3))
    a = axis - along[:, None] * forward
    return a, a + 4.0 * forward, along


def judged(scene: Scene) -> pd.DataFrame:
    """The points of a scene with what the survey says, and whether it holds."""
    found = adjust_survey(scene.package).positions.set_index("position_id")
    found = found.reindex(scene.truth.index)
    off = found[["x_m", "y_m", "z_m"]].to_numpy(dtype=float) - scene.truth.to_numpy()
    xx, yy = found["sd_x_m"].to_numpy(dtype=float) ** 2, found["sd_y_m"].to_numpy(dtype=float) ** 2
    xy = found["corr_xy"].to_numpy(dtype=float) * np.sqrt(xx * yy)
    square = (yy * off[:, 0] ** 2 - 2 * xy * off[:, 0] * off[:, 1] + xx * off[:, 1] ** 2) / (
        xx * yy - xy**2
    )
    return pd.DataFrame(
        {
            "verdict": found["verdict"].fillna("none"),
            "hit": scene.hit,
            "held": square <= ELLIPSE_95**2,
            "height_held": np.abs(off[:, 2]) <= found["u95_height_m"].to_numpy(dtype=float),
            "major": found["u95_major_m"].to_numpy(dtype=float),
            "hidden": found["hidden_m"].to_numpy(dtype=float),
            "redundancy": found["redundancy"].to_numpy(dtype=float),
            "searched": np.hypot(off[:, 0], off[:, 1]) <= found["search_m"].to_numpy(dtype=float),
            "search_given": found["search_m"].notna(),
        },
        index=scene.truth.index,
    )


def line(points: pd.DataFrame) -> str:
    """What is held of the points for which a range is given without an if."""
    given = points[points["verdict"].isin(["fits", "one_left_out"])]
    share = 100 * len(given) / max(len(points), 1)
    searched = points.loc[points["search_given"], "searched"].mean()
    verdicts = points["verdict"].value_counts(normalize=True)
    told = " ".join(f"{name} {100 * part:.0f}" for name, part in verdicts.items())
    if not len(given):
        return f"  no range given; {told}"
    return (
        f"held {100 * given['held'].mean():5.1f} height {100 * given['height_held'].mean():5.1f} "
        f"given {share:5.1f} half-axis {100 * given['major'].median():4.1f} cm "
        f"search {100 * searched:5.1f} | {told}"
    )


def cases(sites: int) -> Iterator[tuple[str, pd.DataFrame]]:
    """Each case with its points."""
    with tempfile.TemporaryDirectory() as folder:
        number = 0

        def run(*what: Any, **how: Any) -> pd.DataFrame:
            nonlocal number
            number += 1
            chance = np.random.default_rng(number)
            where = Path(folder) / str(number)
            return judged(simulated(where, *what, sites=sites, chance=chance, **how))

        for geometry in GEOMETRIES:
            for scatter in SCATTERS:
                yield f"{geometry} x{scatter} no blunder", run(geometry, scatter)
                points = run(geometry, scatter, wrong_share=0.02)
                yield f"{geometry} x{scatter} 2 % wrong", points
        for geometry in ("3T+H", "4T+H", "6T+H", "3T+H+W"):
            for cm in (5, 10, 30, 100):
                size = (cm / 100, cm / 100 + 1e-6)
                points = run(geometry, 1.0, hit_share=0.2, size=size)
                yield f"{geometry} one in five by {cm} cm", points
                yield f"{geometry} of these the hit", points[points["hit"]]
            foot = (0.3048, 0.30481)
            points = run(geometry, 1.0, hit_share=0.2, size=foot, blunders=2)
            yield f"{geometry} two tapes by 1 ft, the hit", points[points["hit"]]


def main() -> None:
    """Print what one run finds."""
    sites = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    for name, points in cases(sites):
        print(f"{name:32} {line(points)}", flush=True)


if __name__ == "__main__":
    main()

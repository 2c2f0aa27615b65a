"""Measures how fast positions are found for many pieces of wood, against one point at a time.

Run by hand: python benchmarks/survey.py [ELEMENTS]. Prints seconds and ratios of one run.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from provenance._record.new import new_package
from provenance._record.package import Package
from provenance._survey.adjust.adjustment import SurveyResult, survey_package

TAPE_SD_M = 0.003
DATUMS_A_HOUSE, WOOD_A_HOUSE = 4, 50
SAMPLE_OF_POINTS = 300


def written(package: Package, name: str, columns: dict[str, object]) -> None:
    """Put columns into a table; the others stay blank."""
    blank = dict.fromkeys(package.model.table(name).names, "")
    package.write_table(name, pd.DataFrame({**blank, **columns}))


def many_houses(folder: Path, n_elements: int, seed: int = 7) -> Package:
    """Houses of 50 pieces of wood; each end has three tapes from four datums, and a height."""
    chance = np.random.default_rng(seed)
    package = new_package(folder / "many", "blank")
    houses = -(-n_elements // WOOD_A_HOUSE)
    corner = np.array([[0.0, 0.0, 1.0], [8.0, 0.2, 0.5], [7.5, 6.0, 2.0], [0.4, 5.5, 1.5]])
    origin = np.column_stack([np.arange(houses) % 40, np.arange(houses) // 40, np.zeros(houses)])
    datums = (20.0 * origin)[:, None, :] + corner
    datums = datums.reshape(-1, 3)
    datum_ids = np.array([f"H{h}-D{d}" for h in range(houses) for d in range(1, 5)], dtype=object)
    element_ids = np.array([f"E{i:06d}" for i in range(n_elements)], dtype=object)
    house = np.repeat(np.arange(n_elements) // WOOD_A_HOUSE, 2)
    low, high = np.array([0.5, 0.5, 0.2]), np.array([7.5, 5.5, 3.5])
    ends = 20.0 * origin[house] + chance.uniform(low, high, (2 * n_elements, 3))
    which = chance.permuted(np.tile(np.arange(4), (2 * n_elements, 1)), axis=1)[:, :3]
    start = (DATUMS_A_HOUSE * house)[:, None] + which
    distance = np.linalg.norm(datums[start] - ends[:, None, :], axis=2)
    distance += chance.normal(0, TAPE_SD_M, distance.shape)
    height = ends[:, 2] + chance.normal(0, TAPE_SD_M, len(ends))
    side = np.tile(np.array(["a", "b"], dtype=object), n_elements)
    element = np.repeat(element_ids, 2)
    n_tapes = distance.size
    kinds = np.repeat(np.array(["distance", "height"], dtype=object), [n_tapes, len(ends)])
    written(package, "site", {"site_id": ["MANY"], "name": ["Many houses (invented)"]})
    written(
        package,
        "datum",
        {"datum_id": datum_ids, "site_id": "MANY", "held": "true"}
        | {f"{axis}_m": datums[:, i] for i, axis in enumerate("xyz")},
    )
    written(
        package,
        "element",
        {
            "element_id": element_ids,
            "site_id": "MANY",
            "function": "beam",
            "sampled": "true",
            "diameter_a1_cm": 22,
            "diameter_b1_cm": 19,
        },
    )
    written(
        package,
        "tie",
        {
            "tie_id": np.array([f"T{i}" for i in range(len(kinds))], dtype=object),
            "kind": kinds,
            "from_datum_id": np.concatenate([datum_ids[start].ravel(), [""] * len(ends)]),
            "element_id": np.concatenate([np.repeat(element, 3), element]),
            "element_end": np.concatenate([np.repeat(side, 3), side]),
            "distance_m": pd.Series(np.round(distance.ravel(), 3)).reindex(range(len(kinds))),
            "height_m": np.concatenate([np.full(n_tapes, np.nan), np.round(height, 3)]),
            "sd_m": TAPE_SD_M,
        },
    )
    written(
        package,
        "sample",
        {
            "sample_id": np.array([str(i) for i in range(n_elements)], dtype=object),
            "site_id": "MANY",
            "element_id": element_ids,
            "kind": "core",
            "along_m": 0.4,
            "clock": 3,
            "direction": "radial",
            "depth_mm": 100,
        },
    )
    return package


def one_at_a_time(package: Package, result: SurveyResult) -> tuple[float, float]:
    """Seconds a point with scipy.optimize.least_squares, and the largest difference in m."""
    from scipy.optimize import least_squares

    tie = package.typed("tie")
    datum = package.typed("datum").set_index("datum_id")[["x_m", "y_m", "z_m"]].astype(float)
    found = result.positions.set_index("position_id")[["x_m", "y_m", "z_m"]]
    groups = tie.groupby("element_id")
    worst, began = 0.0, time.perf_counter()
    for element_id in package.table("element")["element_id"].iloc[:SAMPLE_OF_POINTS]:
        mine = groups.get_group(element_id)
        mine = mine[mine["element_end"] == "a"]
        tapes = mine[mine["kind"] == "distance"]
        centre = datum.loc[list(tapes["from_datum_id"])].to_numpy()
        reading = tapes["distance_m"].to_numpy(dtype=float)
        height = float(mine.loc[mine["kind"] == "height", "height_m"].iloc[0])

        def misfit(at: np.ndarray, centre=centre, reading=reading, height=height) -> np.ndarray:
            return np.append(np.linalg.norm(at - centre, axis=1) - reading, at[2] - height)

        begin = np.append(centre[:, :2].mean(axis=0) + 0.1, height)
        solved = least_squares(misfit, begin, xtol=1e-12, ftol=1e-12, gtol=1e-12)
        there = found.loc[f"end:{element_id}:a"].to_numpy(dtype=float)
        if solved.cost < 1.0:
            worst = max(worst, float(np.abs(solved.x - there).max()))
    return (time.perf_counter() - began) / SAMPLE_OF_POINTS, worst


def main() -> None:
    """Print what one run measures."""
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        package = many_houses(Path(folder), n)
        marks: list[tuple[float, float]] = [(time.perf_counter(), time.process_time())]

        def mark(*_: int) -> None:
            marks.append((time.perf_counter(), time.process_time()))

        result = survey_package(package, progress=mark)
        mark()
        whole = marks[-1][0] - marks[0][0]
        print(
            f"{n} elements, {len(package.table('tie'))} ties; seconds, and of them processor time"
        )
        names = ("read", "datums and points", "verdicts", "holes and table", "findings", "write")
        for before, after, name in zip(marks, marks[1:], names, strict=False):
            print(f"  {name:22} {after[0] - before[0]:5.1f} {after[1] - before[1]:5.1f}")
        found, cpu = (marks[-2][i] - marks[0][i] for i in (0, 1))
        print(f"  {'positions, not written':22} {found:5.1f} {cpu:5.1f}")
        print(f"  {'all':22} {whole:5.1f} {marks[-1][1] - marks[0][1]:5.1f}")
        ends = (result.positions["point_kind"] == "element_end").sum()
        print(
            f"{ends} ends found, {len(result.findings)} findings, spread {result.spread_ratio:.3f}"
        )
        each, worst = one_at_a_time(package, result)
        print(f"one point at a time with scipy: {each * ends:.0f} s for all, as far as 300 tell")
        print(f"ratio {each * ends / found:.0f}; largest difference {worst * 1000:.3f} mm")


if __name__ == "__main__":
    main()

"""How often the range of a point traced on a scanned plan holds the true point; 95 % are promised.

python benchmarks/trace.py [runs]

An invented plan of a room of 9 by 6 m, drawn at 1:50 and scanned at 300 dots an inch: drawn as
exactly as assumed (0.5 mm) or half as exactly, on paper that shrank by 2 % in one direction, as a
photo taken at an angle, or with one known point marked half a meter off. 20 points are traced in
each draw.
"""

from __future__ import annotations

import sys

import numpy as np

from provenance._base.errors import UnusableInput
from provenance._survey.parts.observation import Floats
from provenance._survey.trace.fit import AFFINE, AUTO, PROJECTIVE, fit_plan

CORNERS = np.array([[0, 0], [9, 6], [9, 0], [0, 6], [4.5, 0.2], [4.4, 5.8], [0.2, 3], [8.8, 3.1]])
METRES_PER_PIXEL = 0.0254 / 300 * 50
PENCIL_M = 0.0005 * 50
DATUM_SD_M = 0.01
PAPERS = ("as drawn", "drawn half as well", "shrunk", "photo", "one marked wrong")


def onto_paper(places: Floats, paper: str) -> Floats:
    """The pixels at which places on the grid lie on a plan without any error."""
    turn = np.radians(3)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    stretch = np.array([1.01, 0.99]) if paper in ("shrunk", "photo") else np.ones(2)
    flat = (places * stretch) @ rotation.T / METRES_PER_PIXEL
    if paper == "photo":
        flat = flat / (1 + flat[:, :1] * 5e-5)
    return np.asarray(flat * [1, -1] + [300, 2000])


def held(paper: str, known: int, model: str, runs: int, seed: int) -> tuple[float, float, float]:
    """Share of traced points in their range, their mean radius in m, and how often affine."""
    chance = np.random.default_rng(seed)
    inside: list[float] = []
    radii: list[float] = []
    affine = 0
    sd = np.full(known, np.hypot(PENCIL_M, DATUM_SD_M))
    drawn = PENCIL_M * (2 if paper == "drawn half as well" else 1) / METRES_PER_PIXEL
    for _ in range(runs):
        true = CORNERS[:known] + chance.normal(0, 0.3, (known, 2))
        pixels = onto_paper(true, paper) + chance.normal(0, drawn, (known, 2))
        pixels += chance.normal(0, 1, (known, 2))
        if paper == "one marked wrong":
            turn = chance.uniform(0, 2 * np.pi)
            pixels[0] += 0.5 / METRES_PER_PIXEL * np.array([np.cos(turn), np.sin(turn)])
        recorded = true + chance.normal(0, DATUM_SD_M, (known, 2))
        there = chance.uniform([0, 0], [9, 6], (20, 2))
        seen = onto_paper(there, paper) + chance.normal(0, drawn, there.shape)
        seen += chance.normal(0, 1, there.shape)
        try:
            fit = fit_plan(pixels, recorded, sd, model)
        except UnusableInput:
            continue
        radius = fit.radius_95(seen, PENCIL_M)
        inside.append(float((np.hypot(*(fit.on_grid(seen) - there).T) <= radius).mean()))
        radii.append(float(radius.mean()))
        affine += fit.model == AFFINE
    return float(np.mean(inside)), float(np.mean(radii)), affine / runs


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    print(f"{'paper':22}{'known':>6} {'fit':12}{'held %':>8}{'radius cm':>11}{'affine %':>10}")
    for paper in PAPERS:
        for known in (2, 3, 4, 6, 8):
            models = [AUTO] + [AFFINE] * (known == 3) + [PROJECTIVE] * (known >= 6)
            for model in models:
                share, radius, affine = held(paper, known, model, runs, seed=known)
                print(
                    f"{paper:22}{known:6} {model:12}{100 * share:8.1f}{100 * radius:11.1f}"
                    f"{100 * affine:10.0f}"
                )


if __name__ == "__main__":
    main()

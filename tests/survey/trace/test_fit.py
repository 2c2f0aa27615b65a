"""A scanned plan fitted to the grid: against independent solvers, and how well its ranges hold."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from provenance._base.errors import UnusableInput
from provenance._survey.parts.observation import Floats
from provenance._survey.trace.fit import (
    AFFINE,
    PRIOR_DF,
    PROJECTIVE,
    SIMILARITY,
    fit_plan,
    upper_f2,
)

ROOM = np.array([[0.0, 0], [9, 6], [9, 0], [0, 6], [4.5, 0.4], [4.0, 5.6]])
PIXEL_M, PENCIL_M = 0.004, 0.025
BEGIN = {
    SIMILARITY: [4, 0, 0, 0],
    AFFINE: [4, 0, 0, 0, -4, 0],
    PROJECTIVE: [4, 0, 0, 0, -4, 0, 0, 0],
}
"""Roughly 4 m to a thousand pixels, y down."""


def on_paper(places: Floats, *, shrunk: float = 0.0, bent: float = 0.0) -> Floats:
    """Where places lie in the picture: turned by 3 degrees, y down, 4 mm to a pixel."""
    turn = np.radians(3)
    x, y = (places * [1 + shrunk, 1]).T / PIXEL_M
    flat = np.column_stack(
        [x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)]
    )
    return np.asarray(flat / (1 + bent * flat[:, :1]) * [1, -1] + [200, 1900])


def by_matrix(model: str, p: Floats, pixels: Floats) -> Floats:
    """The three models written another way: as a matrix on pixels in thousands."""
    if model == SIMILARITY:
        matrix = np.array([[p[0], p[1], p[2]], [p[1], -p[0], p[3]], [0, 0, 1]])
    else:
        last = [p[6], p[7], 1] if model == PROJECTIVE else [0, 0, 1]
        matrix = np.array([p[:3], p[3:6], last])
    moved = np.column_stack([pixels / 1000, np.ones(len(pixels))]) @ matrix.T
    return np.asarray(moved[:, :2] / moved[:, 2:])


@pytest.mark.parametrize("model", [SIMILARITY, AFFINE, PROJECTIVE])
def test_places_and_ranges_are_those_of_an_independent_solver(model: str) -> None:
    """scipy.optimize.least_squares, and error propagation by finite differences."""
    chance = np.random.default_rng(5)
    sd = np.array([0.02, 0.03, 0.05, 0.02, 0.03, 0.04])
    pixels = on_paper(ROOM, shrunk=0.02, bent=4e-5) + chance.normal(0, 6, ROOM.shape)
    fit = fit_plan(pixels, ROOM, sd, model)
    begin = np.array(BEGIN[model], dtype=float)

    def gaps(p: Floats) -> Floats:
        return np.asarray(((ROOM - by_matrix(model, p, pixels)) / sd[:, None]).ravel())

    found = optimize.least_squares(gaps, begin, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    new = on_paper(np.array([[2.0, 3.0], [8.5, 1.0], [-1.0, 7.0]]))
    assert fit.on_grid(new) == pytest.approx(by_matrix(model, found.x, new), abs=1e-6)
    seen = np.column_stack([new, np.ones(3)]) @ fit.matrix().T
    assert seen[:, :2] / seen[:, 2:] == pytest.approx(fit.on_grid(new), abs=1e-9)

    steps = np.eye(len(found.x)) * 1e-6
    slopes = np.stack([(by_matrix(model, found.x + s, new) - by_matrix(model, found.x - s, new))
                       / 2e-6 for s in steps], axis=-1)  # fmt: skip
    cofactor = np.linalg.inv(found.jac.T @ found.jac)
    redundancy = 2 * len(ROOM) - len(found.x)
    variance = (PRIOR_DF + 2 * found.cost) / (PRIOR_DF + redundancy)
    step = np.array([[0.5, 0], [0, 0.5]])
    pixel = np.stack([by_matrix(model, found.x, new + s) - by_matrix(model, found.x, new - s)
                      for s in step], axis=-1)  # fmt: skip
    expected = variance * (
        np.einsum("nik,kl,njl->nij", slopes, cofactor, slopes)
        + PENCIL_M**2 * np.eye(2)
        + np.einsum("nik,njk->nij", pixel, pixel)
    )
    assert fit.covariance(new, PENCIL_M) == pytest.approx(expected, rel=1e-4, abs=1e-9)
    factor = 2 * stats.f.isf(0.05, 2, PRIOR_DF + redundancy)
    largest = np.linalg.eigvalsh(expected)[:, -1]
    assert fit.radius_95(new, PENCIL_M) == pytest.approx(np.sqrt(factor * largest), rel=1e-4)


def test_two_points_give_the_scale_and_turn_that_surveyors_compute_by_hand() -> None:
    """Scale is the ratio of the distances, turn the difference of the directions (any textbook)."""
    pixels, grid = np.array([[100.0, 900], [700, 100]]), np.array([[1.0, 2], [5, 5]])
    fit = fit_plan(pixels, grid, np.full(2, 0.03))
    assert fit.mean_metres_per_pixel() == pytest.approx(5 / 1000)
    turn = np.degrees(np.arctan2(3, 4) - np.arctan2(800, 600))
    assert fit.turn_deg() == pytest.approx(turn)
    assert fit.on_grid(pixels) == pytest.approx(grid)
    assert (fit.redundancy, fit.suspects) == (0, ())


def test_the_limits_of_f_are_those_of_the_reference_library() -> None:
    for df in (1, 2, 4, 6.5, 10, 40, 400):
        for share in (0.05, 0.01, 0.001):
            assert upper_f2(df, share) == pytest.approx(stats.f.isf(share, 2, df), rel=1e-9)


def test_paper_that_shrank_is_seen_from_four_points_on_and_flat_paper_is_left_alone() -> None:
    sd = np.full(6, 0.026)
    for known, shrunk, model in ((3, 0.06, SIMILARITY), (4, 0.06, AFFINE), (6, 0.06, AFFINE),
                                 (4, 0.0, SIMILARITY), (6, 0.0, SIMILARITY)):  # fmt: skip
        fit = fit_plan(on_paper(ROOM[:known], shrunk=shrunk), ROOM[:known], sd[:known])
        assert fit.model == model, (known, shrunk)


def test_a_point_marked_half_a_meter_off_is_named_and_of_three_nobody_can_tell_which() -> None:
    for wrong in range(6):
        pixels = on_paper(ROOM)
        pixels[wrong] += [0.3 / PIXEL_M, 0.4 / PIXEL_M]
        fit = fit_plan(pixels, ROOM, np.full(6, 0.026))
        assert fit.suspects == (wrong,)
        assert fit.standard_residual.argmax() == wrong
    pixels = on_paper(ROOM[:3])
    pixels[1] += [0.9 / PIXEL_M, 1.2 / PIXEL_M]
    assert fit_plan(pixels, ROOM[:3], np.full(3, 0.026)).suspects == (0, 1, 2)


def test_points_that_leave_the_fit_open_are_refused_with_what_to_do() -> None:
    line = np.array([[0.0, 0], [3, 2], [6, 4], [9, 6], [4.5, 3]])
    corner = np.vstack([line[:4], [[9, 0]]])
    cases = (
        (ROOM[:1], SIMILARITY, "needs 2 known points"),
        (np.vstack([ROOM[:2], ROOM[:1] + 0.001]), SIMILARITY, "lie on one another"),
        (line, AFFINE, "lie on one line"),
        (line, PROJECTIVE, "lie on one line"),
        (corner, PROJECTIVE, "has no solution"),
        (ROOM[:4], PROJECTIVE, "needs 5 known points"),
        (ROOM[:2], AFFINE, "needs 3 known points"),
    )
    for places, model, says in cases:
        with pytest.raises(UnusableInput, match=says):
            fit_plan(on_paper(places), places, np.full(len(places), 0.026), model)
    # on one line one scale can be told, which a wall is enough for
    assert fit_plan(on_paper(line), line, np.full(5, 0.026)).model == SIMILARITY


def test_the_ranges_hold_as_often_as_they_say() -> None:
    """Small and seeded; benchmarks/trace.py makes many more draws."""
    chance = np.random.default_rng(12)
    for known, model, shrunk, bent in ((2, "auto", 0, 0), (4, "auto", 0, 0), (4, "auto", 0.02, 0),
                                       (6, "auto", 0.02, 0), (6, PROJECTIVE, 0, 4e-5)):  # fmt: skip
        inside = []
        for _ in range(60):
            true = ROOM[:known] + chance.normal(0, 0.3, (known, 2))
            there = chance.uniform([0, 0], [9, 6], (10, 2))
            marked, seen = (on_paper(one, shrunk=shrunk, bent=bent)
                            + chance.normal(0, PENCIL_M / PIXEL_M, one.shape)
                            for one in (true, there))  # fmt: skip
            fit = fit_plan(marked, true, np.full(known, PENCIL_M), model)
            apart = np.hypot(*(fit.on_grid(seen) - there).T)
            inside.append((apart <= fit.radius_95(seen, PENCIL_M)).mean())
        assert np.mean(inside) >= 0.93, (known, model, shrunk)

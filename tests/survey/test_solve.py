"""Least squares against independent solvers, a textbook's readings, and ten thousand draws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import least_squares

from provenance._survey.adjust.locate import locate_points
from provenance._survey.parts.datum_covariance import DatumCovariance
from provenance._survey.parts.observation import (
    ELLIPSE_95,
    ELLIPSOID_95,
    LARGEST_RESIDUAL,
    NORMAL_95,
    NOTICED_BLUNDER,
    RIVAL_CHI_SQUARE,
    Floats,
    Kind,
)
from provenance._survey.parts.solve import SOLVED, Rows, solve_points
from tests.survey.scenes import no_errors, tape_rows

HOUSE = np.array([[0.0, 0.0, 1.0], [8.0, 0.2, 0.5], [7.5, 6.0, 2.0], [0.4, 5.5, 1.5]])
DRAWS = 10_000


def one_point(datums: Floats, readings: Floats, sd: float) -> Rows:
    k = len(datums)
    return Rows(
        np.zeros(k, dtype=int),
        np.full(k, Kind.DISTANCE),
        np.arange(k),
        np.full(k, -1),
        readings,
        np.full(k, sd),
        np.arange(k),
    )


def test_limits_are_those_of_the_tables() -> None:
    """Chi-square and normal distribution of scipy.stats."""
    assert pytest.approx(stats.chi2.ppf(0.95, 2)) == ELLIPSE_95**2
    assert pytest.approx(stats.chi2.ppf(0.95, 3)) == ELLIPSOID_95**2
    assert pytest.approx(stats.norm.ppf(0.975)) == NORMAL_95
    assert pytest.approx(stats.norm.ppf(0.9995)) == LARGEST_RESIDUAL
    assert pytest.approx(stats.chi2.ppf(0.999, 1)) == RIVAL_CHI_SQUARE
    # Baarda 1968: 0.1 % false alarms and 80 % power
    assert pytest.approx(stats.norm.ppf(0.9995) + stats.norm.ppf(0.8), abs=2e-3) == NOTICED_BLUNDER


def test_a_textbook_trilateration_gives_what_an_independent_solver_gives() -> None:
    """Readings as in the trilateration chapter of Ghilani and Wolf, Adjustment Computations.

    The readings are from memory (feet); that they fit each other to 0.1 ft over a mile speaks for
    it. The expected place is not the book's but that of scipy.optimize.least_squares.
    """
    datums = np.array([[865.40, 4527.15], [2432.55, 2047.25], [2865.22, 27.15]])
    readings = np.array([6049.00, 4736.83, 5446.49])
    flat = np.column_stack([datums, np.full(3, np.nan)])
    found = locate_points(
        one_point(flat, readings, 0.05), flat, no_errors(3), np.full((1, 3), np.nan)
    ).solution
    expected = least_squares(
        lambda at: (np.hypot(*(at - datums).T) - readings) / 0.05, [6865.0, 3500.0], xtol=1e-14
    )
    assert found.status[0] == SOLVED
    assert found.xyz[0, :2] == pytest.approx(expected.x, abs=1e-4)
    assert found.chi_square[0] == pytest.approx(2 * expected.cost)
    assert np.abs(found.residual).max() < 0.1
    covariance = np.linalg.inv(expected.jac.T @ expected.jac)
    assert found.covariance[0, :2, :2] == pytest.approx(covariance, rel=1e-5)


@settings(max_examples=40)
@given(
    st.tuples(st.floats(0.5, 7.5), st.floats(0.5, 5.0), st.floats(0.1, 4.0)),
    st.integers(0, 2**32 - 1),
)
def test_tapes_and_height_give_what_an_independent_solver_gives(
    point: tuple[float, float, float], seed: int
) -> None:
    """scipy.optimize.least_squares, started at the truth."""
    chance = np.random.default_rng(seed)
    truth = np.array(point)
    rows = tape_rows(HOUSE, truth[None], 0.005, chance, height=True)
    found = locate_points(rows, HOUSE, no_errors(4), np.full((1, 3), np.nan)).solution

    def misfit(at: Floats) -> Floats:
        tapes = np.linalg.norm(at - HOUSE, axis=1) - rows.reading[:4]
        return np.append(tapes, at[2] - rows.reading[4]) / 0.005

    expected = least_squares(misfit, truth, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    assert found.xyz[0] == pytest.approx(expected.x, abs=2e-6)
    assert found.covariance[0] == pytest.approx(
        np.linalg.inv(expected.jac.T @ expected.jac), rel=1e-3
    )


def shares(points: Floats, found: Floats, covariance: Floats, axes: int, limit: float) -> float:
    off = (found - points)[:, :axes]
    inverse = np.linalg.inv(covariance[:, :axes, :axes])
    return float((np.einsum("ni,nij,nj->n", off, inverse, off) <= limit**2).mean())


def test_the_95_percent_ellipse_holds_the_truth_95_times_in_100() -> None:
    """Monte Carlo, 10,000 draws: the share lies within four standard errors of 0.95."""
    chance = np.random.default_rng(1968)
    points = np.column_stack([chance.uniform(0.5, 7, (DRAWS, 2)), np.full(DRAWS, np.nan)])
    flat = np.column_stack([HOUSE[:, :2], np.full(4, np.nan)])
    rows = tape_rows(flat, points, 0.01, chance)
    found = locate_points(rows, flat, no_errors(4), np.full((DRAWS, 3), np.nan)).solution
    assert (found.status == SOLVED).all()
    error = 4 * np.sqrt(0.95 * 0.05 / DRAWS)
    share = shares(points, found.xyz, found.covariance, 2, ELLIPSE_95)
    assert share == pytest.approx(0.95, abs=error)


def test_the_95_percent_ellipsoid_and_height_hold_the_truth_95_times_in_100() -> None:
    """The same in space, with heights; and the statistics of residuals that come with it."""
    chance = np.random.default_rng(2005)
    points = chance.uniform([0.5, 0.5, 0.2], [7, 5.5, 4.0], (DRAWS, 3))
    rows = tape_rows(HOUSE, points, 0.01, chance, height=True)
    found = locate_points(rows, HOUSE, no_errors(4), np.full((DRAWS, 3), np.nan)).solution
    error = 4 * np.sqrt(0.95 * 0.05 / DRAWS)
    share = shares(points, found.xyz, found.covariance, 3, ELLIPSOID_95)
    assert share == pytest.approx(0.95, abs=error)
    off = np.abs(found.xyz[:, 2] - points[:, 2])
    held = (off <= NORMAL_95 * np.sqrt(found.covariance[:, 2, 2])).mean()
    assert held == pytest.approx(0.95, abs=error)
    # two readings more than needed: chi-square with two degrees of freedom, and normal residuals
    assert stats.kstest(found.chi_square, "chi2", args=(2,)).pvalue > 1e-4
    normal = found.standard_residual[found.check > 0.05]
    assert normal.std() == pytest.approx(1.0, abs=0.02)


def test_uncertain_datums_widen_the_ellipse_by_the_right_amount() -> None:
    """Monte Carlo again: each draw has its own datum errors, shared by all tapes of the point."""
    chance = np.random.default_rng(7)
    draws = 4000
    sd = 0.02
    flat = np.column_stack([HOUSE[:, :2], np.full(4, np.nan)])
    truth = np.array([3.0, 2.0])
    moved = HOUSE[None, :, :2] + chance.normal(0, sd, (draws, 4, 2))
    reading = np.linalg.norm(truth - moved, axis=2) + chance.normal(0, 0.005, (draws, 4))
    number = np.arange(draws * 4)
    rows = Rows(
        number // 4,
        np.full(draws * 4, Kind.LEVEL_DISTANCE),
        number % 4,
        np.full(draws * 4, -1),
        reading.ravel(),
        np.full(draws * 4, 0.005),
        number,
    )
    block = np.diag([sd**2, sd**2, 0.0])
    errors = DatumCovariance.of_groups(4, [([d], block) for d in range(4)])
    found = locate_points(rows, flat, errors, np.full((draws, 3), np.nan)).solution
    points = np.tile(truth, (draws, 1))
    share = shares(points, found.xyz[:, :2], found.covariance, 2, ELLIPSE_95)
    assert share == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / draws))


def test_a_point_with_uncertain_datums_is_the_same_as_adjusting_them_together() -> None:
    """The joint problem, datums as unknowns with their own coordinates as readings, by scipy."""
    sd = np.array([0.01, 0.02, 0.015, 0.03])
    truth = np.array([2.0, 4.5])
    chance = np.random.default_rng(3)
    reading = np.linalg.norm(truth - HOUSE[:, :2], axis=1) + chance.normal(0, 0.02, 4)
    flat = np.column_stack([HOUSE[:, :2], np.full(4, np.nan)])
    groups = [([d], np.diag([s**2, s**2, 0.0])) for d, s in enumerate(sd)]
    errors = DatumCovariance.of_groups(4, groups)
    rows = one_point(flat, reading, 0.005)
    found = locate_points(rows, flat, errors, np.full((1, 3), np.nan)).solution

    def misfit(unknown: Floats) -> Floats:
        at, datums = unknown[:2], unknown[2:].reshape(4, 2)
        tapes = (np.linalg.norm(at - datums, axis=1) - reading) / 0.005
        return np.concatenate([tapes, ((datums - HOUSE[:, :2]) / sd[:, None]).ravel()])

    begin = np.concatenate([truth, HOUSE[:, :2].ravel()])
    joint = least_squares(misfit, begin, xtol=1e-14, ftol=1e-14)
    # the datums' pull is linearised, which over a room of metres costs some hundredths of a mm
    assert found.xyz[0, :2] == pytest.approx(joint.x[:2], abs=2e-4)
    covariance = np.linalg.inv(joint.jac.T @ joint.jac)[:2, :2]
    assert found.covariance[0, :2, :2] == pytest.approx(covariance, rel=0.02)


@given(st.floats(0, 360), st.floats(-1000, 1000), st.floats(-1000, 1000))
def test_turning_and_shifting_the_grid_turns_and_shifts_the_point(
    turn: float, east: float, north: float
) -> None:
    chance = np.random.default_rng(11)
    rows = tape_rows(HOUSE, np.array([[3.0, 2.0, 2.5]]), 0.005, chance, height=True)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    rotation = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    shift = np.array([east, north, 0.0])
    plain = locate_points(rows, HOUSE, no_errors(4), np.full((1, 3), np.nan)).solution
    moved = locate_points(
        rows, HOUSE @ rotation.T + shift, no_errors(4), np.full((1, 3), np.nan)
    ).solution
    assert moved.xyz[0] == pytest.approx(rotation @ plain.xyz[0] + shift, abs=1e-5)
    assert moved.covariance[0] == pytest.approx(
        rotation @ plain.covariance[0] @ rotation.T, abs=1e-9
    )


def test_heights_can_come_from_tapes_alone() -> None:
    """Four spheres round datums of different height leave one point."""
    datums = np.array([[0.0, 0, 0], [6.0, 0, 0.2], [6.0, 5.0, 3.0], [0.0, 5.0, 0.1]])
    point = np.array([2.5, 2.0, 2.2])
    reading = np.linalg.norm(datums - point, axis=1)
    found = locate_points(
        one_point(datums, reading, 0.005), datums, no_errors(4), np.full((1, 3), np.nan)
    )
    assert found.solution.xyz[0] == pytest.approx(point, abs=1e-6)
    assert np.isnan(found.rival[0]).all()


def test_a_point_that_nothing_holds_is_not_made_up() -> None:
    rows = one_point(HOUSE[:1], np.array([3.0]), 0.005)
    found = solve_points(
        rows, HOUSE, no_errors(4), np.array([[1.0, 1.0, np.nan]]), np.array([False])
    )
    assert found.status[0] != SOLVED
    assert np.isnan(found.xyz).all()

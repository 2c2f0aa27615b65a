"""Datums are adjusted among themselves before anything is measured from them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.stats import chi2, f

from provenance._survey.adjust.adjustment import adjust_survey, survey_package
from provenance._survey.parts.observation import Floats
from tests.builders import PackageBuilder, a_package
from tests.survey.scenes import position_of

SQUARE = {"D1": (0.0, 0.0), "D2": (6.0, 0.0), "D3": (6.0, 5.0), "D4": (0.0, 5.0)}
PAIRS = (("D1", "D2"), ("D2", "D3"), ("D3", "D4"), ("D4", "D1"), ("D1", "D3"), ("D2", "D4"))


def a_net(folder: Path, errors: Floats, *, rough: dict[str, tuple[float, float]]) -> PackageBuilder:
    """A braced quadrilateral: D1 and D2 held, all six sides taped with these errors."""
    building = a_package(folder).with_row("site").with_row("place")
    for name in SQUARE:
        if name in ("D1", "D2"):
            place = dict(zip(("x_m", "y_m"), SQUARE[name], strict=True)) | {"held": True}
        else:
            place = dict(zip(("x_m", "y_m"), rough.get(name, ()), strict=False))
            place |= {"uncertainty_m": 2.0} if place else {}
        building = building.with_row("datum", datum_id=name, **place)
    for number, ((one, two), error) in enumerate(zip(PAIRS, errors, strict=True)):
        distance = float(np.linalg.norm(np.subtract(SQUARE[one], SQUARE[two]))) + error
        building = building.with_bare_row(
            "tie",
            tie_id=f"C{number}",
            kind="distance",
            from_datum_id=one,
            target_datum_id=two,
            distance_m=round(distance, 6),
        )
    return building


def test_a_braced_quadrilateral_gives_what_an_independent_solver_gives(tmp_path: Path) -> None:
    """scipy.optimize.least_squares over the six sides, the rough places as weak readings."""
    errors = np.array([0.003, -0.002, 0.004, 0.001, -0.003, 0.002])
    rough = {"D3": (5.7, 5.4), "D4": (0.4, 4.6)}
    package = a_net(tmp_path, errors, rough=rough).package
    survey_package(package)
    sides = [
        float(np.linalg.norm(np.subtract(SQUARE[one], SQUARE[two]))) + error
        for (one, two), error in zip(PAIRS, errors, strict=True)
    ]

    def misfit(unknown: Floats) -> Floats:
        at = {"D1": np.zeros(2), "D2": np.array([6.0, 0])}
        at |= {"D3": unknown[:2], "D4": unknown[2:]}
        tapes = [
            (np.linalg.norm(at[one] - at[two]) - side) / 0.005
            for (one, two), side in zip(PAIRS, sides, strict=True)
        ]
        weak = (unknown - np.array([*rough["D3"], *rough["D4"]])) / (2.0 / 2.795483482915108)
        return np.concatenate([tapes, weak])

    expected = least_squares(misfit, [6, 5, 0, 5], xtol=1e-14, ftol=1e-14)
    covariance = np.linalg.inv(expected.jac.T @ expected.jac)
    # five sides and four coordinates for four unknowns; what was assumed counts as four readings
    covariance *= 2 * f.ppf(0.97, 2, 5 + 4) / chi2.ppf(0.95, 2)
    for number, name in enumerate(("D3", "D4")):
        row = position_of(package, f"datum:{name}")
        assert row["found_by"] == "adjusted"
        place = expected.x[2 * number : 2 * number + 2]
        assert (row["x_m"], row["y_m"]) == pytest.approx(place, abs=1e-4)
        sd = np.sqrt(np.diag(covariance))[2 * number : 2 * number + 2]
        assert (row["sd_x_m"], row["sd_y_m"]) == pytest.approx(sd, rel=0.01)
    assert position_of(package, "datum:D1")["found_by"] == "held"


def test_a_misread_side_of_the_net_is_named(tmp_path: Path) -> None:
    errors = np.array([0.0, 0.0, 0.0, 0.0, 0.3048, 0.0])
    rough = {"D3": (6.0, 5.0), "D4": (0.0, 5.0)}
    building = a_net(tmp_path, errors, rough=rough)
    package = building.package
    datum = package.table("datum")
    datum.loc[datum["uncertainty_m"] != "", "uncertainty_m"] = "0.02"
    package.write_table("datum", datum)
    findings = [one for one in adjust_survey(package).findings if one.rule == "survey.misfit"]
    assert [one.key for one in findings] == ["C4"]
    assert "1 ft" in findings[0].message


def test_a_datum_that_nothing_places_is_named_with_its_lost_ties(tmp_path: Path) -> None:
    building = a_package(tmp_path).with_row("site").with_row("place").with_row("element")
    building = building.with_row("datum", datum_id="D1", x_m=0, y_m=0, held=True)
    building = building.with_row("datum", datum_id="D2").with_row("tie", element_id="B1-014")
    package = building.package
    tie = package.table("tie")
    tie["from_datum_id"], tie["element_end"] = "D2", "a"
    package.write_table("tie", tie)
    rules = {one.rule: one for one in adjust_survey(package).findings}
    finding = rules["survey.datum_not_found"]
    assert (finding.table, finding.key) == ("datum", "D2")
    assert "Ties from it were not used" in finding.message


def test_a_datum_without_coordinates_is_found_from_two_and_a_third(tmp_path: Path) -> None:
    building = a_package(tmp_path).with_row("site").with_row("place")
    truth = (2.0, 3.0)
    held = {"D1": (0.0, 0.0), "D2": (6.0, 0.0), "D3": (5.0, 5.0)}
    for name, (x, y) in held.items():
        building = building.with_row("datum", datum_id=name, x_m=x, y_m=y, held=True)
    building = building.with_row("datum", datum_id="D4")
    for name, place in held.items():
        building = building.with_bare_row(
            "tie",
            tie_id=f"C{name}",
            kind="distance",
            from_datum_id=name,
            target_datum_id="D4",
            distance_m=round(float(np.linalg.norm(np.subtract(truth, place))), 5),
        )
    package = building.package
    survey_package(package)
    row = position_of(package, "datum:D4")
    assert (row["x_m"], row["y_m"]) == pytest.approx(truth, abs=2e-4)

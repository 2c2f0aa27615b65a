"""Limits of what a survey says: each just inside and just outside."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2, f

from provenance._survey.adjust.adjustment import SurveyResult, _scatter_finding, adjust_survey
from provenance._survey.adjust.survey_findings import _off_line, _towards
from tests.builders import PackageBuilder
from tests.survey.scenes import ROOM, a_room, taped


def rules(result: SurveyResult) -> set[str]:
    return {finding.rule for finding in result.findings}


def at_end(end: str, x: float, y: float, **more: object) -> dict[str, object]:
    """The coordinates of an end, as a tie."""
    tie = {"tie_id": f"C{end}", "kind": "coordinate", "element_id": "B1-014", "element_end": end}
    return tie | {"x_m": x, "y_m": y, "height_m": 2.0} | more


@pytest.mark.parametrize(("sd", "weak"), [(0.0570, False), (0.0575, True)])
def test_a_point_is_weak_when_its_range_is_longer_than_a_quarter_of_a_metre(
    tmp_path: Path, sd: float, weak: bool
) -> None:
    """A standard deviation known as if from 4 readings: 0.25 m are 4.37 times 0.0572 m."""
    assert np.sqrt(2 * f.ppf(0.97, 2, 4)) == pytest.approx(4.37, abs=0.005)
    building = a_room(tmp_path).with_row("element", length_m=None)
    building = building.with_bare_row("tie", **at_end("a", 1, 1, uncertainty_m=sd))
    assert ("survey.weak" in rules(adjust_survey(building.package))) is weak


@pytest.mark.parametrize(
    ("length", "differs"), [(3.055, False), (3.06, True), (2.945, False), (2.94, True)]
)
def test_a_length_may_differ_by_five_centimetres_and_what_the_ends_are_off(
    tmp_path: Path, length: float, differs: bool
) -> None:
    """Three standard deviations of the ends, of 1 mm an axis, are 7 mm."""
    building = a_room(tmp_path).with_row("element", length_m=length)
    building = building.with_bare_row("tie", **at_end("a", 1, 1, uncertainty_m=0.001))
    building = building.with_bare_row("tie", **at_end("b", 4, 1, uncertainty_m=0.001))
    assert ("survey.length_differs" in rules(adjust_survey(building.package))) is differs


def two_tapes(folder: Path, outline: str = "", **element: object) -> PackageBuilder:
    """Tapes that meet at 2, 3 and at 2, -3."""
    flat = {"D1": (0.0, 0.0), "D2": (6.0, 0.0)}
    building = a_room(folder, datums=flat).with_row("element", length_m=None, **element)
    package = taped(building, (2.0, 3.0), datums=flat).package
    place = package.table("place")
    place["outline"] = outline
    package.write_table("place", place)
    return building


@pytest.mark.parametrize(("y", "told"), [(1.01, True), (0.99, False), (-1.01, True)])
def test_rough_coordinates_tell_when_one_place_is_less_than_half_as_far(
    tmp_path: Path, y: float, told: bool
) -> None:
    """From 2, 1 it is 2 m to the one place and 4 m to the other."""
    building = two_tapes(tmp_path, xa_m=2, ya_m=y, position_uncertainty_m=9)
    assert ("survey.mirror" not in rules(adjust_survey(building.package))) is told


@pytest.mark.parametrize(("edge", "told"), [("-2.39", True), ("-2.41", False)])
def test_wood_may_lie_sixty_centimetres_outside_the_outline_of_its_room(
    tmp_path: Path, edge: str, told: bool
) -> None:
    building = two_tapes(tmp_path, f"0 {edge}, 6 {edge}, 6 5, 0 5")
    assert ("survey.mirror" not in rules(adjust_survey(building.package))) is told


@pytest.mark.parametrize(("height", "told"), [(2.05, False), (2.15, True)])
def test_wood_may_lie_thirty_centimetres_below_the_floor(
    tmp_path: Path, height: float, told: bool
) -> None:
    """Datums at 1 m mirror 2.05 m to -0.05 m; the floor is at 0.2 m."""
    level = {name: (place[0], place[1], 1.0) for name, place in ROOM.items()}
    building = a_room(tmp_path, datums=level).with_row("element", length_m=None)
    building = taped(building, (2.0, 3.0, height), datums=level, height=False)
    assert ("survey.mirror" not in rules(adjust_survey(building.package))) is told


@pytest.mark.parametrize("redundancy", [8, 40])
@pytest.mark.parametrize(("share", "word"), [(0.0005, "less than"), (0.9995, "more than")])
def test_the_scatter_is_spoken_of_beyond_what_chance_explains(
    redundancy: int, share: float, word: str
) -> None:
    """scipy.stats.chi2: two-sided 99.9 %; Wilson and Hilferty come within 15 % of it."""
    edge = float(chi2.ppf(share, redundancy)) / redundancy
    inside, outside = (1.01, 0.85) if share < 0.5 else (0.98, 1.02)
    told = "HOLL", "bearings", redundancy
    assert list(_scatter_finding(*told, edge * inside)) == []
    (finding,) = _scatter_finding(*told, edge * outside)
    assert f"{word} chance explains" in finding.message
    assert f"{redundancy} readings more than needed" in finding.message
    assert ("were widened" if share > 0.5 else "were left") in finding.message
    assert list(_scatter_finding("HOLL", "bearings", 7.9, edge * outside)) == []


@pytest.mark.parametrize(("degrees", "off"), [(19.9, False), (20.1, True), (-20.1, True)])
def test_a_third_datum_is_off_the_line_from_twenty_degrees(degrees: float, off: bool) -> None:
    turn = np.radians(degrees)
    datums = np.array([[1.0, 1], [6, 1], [1 + 3 * np.cos(turn), 1 + 3 * np.sin(turn)]])
    assert _off_line(datums, np.array([0, 1]), 2) is off


@pytest.mark.parametrize(
    ("degrees", "length", "found"),
    [(0, 29.9, 0), (180, 29.9, 0), (0, 30.1, None), (45, 5, 0), (46, 5, None)],
)
def test_a_tape_helps_within_reach_and_nearly_along_what_is_known_worst(
    degrees: float, length: float, found: int | None
) -> None:
    """The cosine of 45 degrees is 0.71, that of 46 degrees 0.69."""
    turn = np.radians(degrees)
    datums = np.array([[2 + length * np.sin(turn), 3 + length * np.cos(turn)]])
    assert _towards(datums, [0], np.array([2.0, 3.0]), 0.0) == found


def test_the_datum_nearest_to_the_wanted_direction_is_taken() -> None:
    datums = np.array([[2.0, 5.0], [0.5, 9.0], [0.0, 9.0]])
    assert _towards(datums, [0, 1, 2], np.zeros(2), 0.0) == 2
    assert _towards(datums, [0, 1], np.zeros(2), 0.0) == 1

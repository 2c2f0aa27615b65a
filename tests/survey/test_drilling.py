"""Proposals for another hole keep clear of what is there, and never go without their cautions."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from provenance._base.errors import UnusableInput
from provenance._model.profile import general_cautions
from provenance._survey.hole.drilling import Clearance, propose_holes
from tests.survey.test_hole import a_beam


def test_proposals_keep_clear_of_ends_joints_and_old_holes(tmp_path: Path) -> None:
    building = a_beam(tmp_path, features="0.42: mortise; 2.00-2.40: notch", load_bearing="no")
    package = building.with_row("sample", along_m=1.5, clock=3).package
    found = propose_holes(package, "B1-014", count=20)
    assert found.places
    clear = Clearance()
    for place in found.places:
        assert clear.end_m <= place.along_m <= 4 - clear.end_m
        assert abs(place.along_m - 0.42) >= clear.feature_m
        assert not 2.0 - clear.feature_m < place.along_m < 2.4 + clear.feature_m
        assert abs(place.along_m - 1.5) >= clear.hole_m
        assert 0.02 <= place.depth_m < 0.2 - 0.03
    gaps = sorted(place.along_m for place in found.places)
    assert all(b - a >= clear.hole_m - 1e-9 for a, b in pairwise(gaps))


@pytest.mark.parametrize(
    ("load", "says"),
    [
        ("yes", "This wood carries load"),
        ("unknown", "treat it as carrying load"),
        (None, "treat it"),
    ],
)
def test_wood_that_may_carry_load_is_never_proposed_without_the_caution(
    tmp_path: Path, load: str | None, says: str
) -> None:
    found = propose_holes(a_beam(tmp_path, load_bearing=load).package, "B1-014")
    assert found.places
    assert found.cautions[:2] == general_cautions()[:2]
    assert says in found.cautions[2]
    assert "structural engineer" in found.cautions[2]
    assert {*general_cautions()} <= {*found.cautions}


def test_dangers_of_site_and_place_are_told_with_their_cautions(tmp_path: Path) -> None:
    package = a_beam(tmp_path, condition="decayed").package
    site, place = package.table("site"), package.table("place")
    site["hazards"], site["protection"] = "old_wiring; rodent_droppings", "listed"
    place["hazards"] = "overhead"
    package.write_table("site", site)
    package.write_table("place", place)
    told = " ".join(propose_holes(package, "B1-014").cautions)
    for part in ("licensed electrician", "health authority", "helmet", "protected", "decay"):
        assert part in told


def test_a_joint_without_a_distance_is_not_forgotten(tmp_path: Path) -> None:
    found = propose_holes(a_beam(tmp_path, features="nail somewhere").package, "B1-014")
    assert any("nail somewhere" in note for note in found.notes)


def test_short_wood_gets_no_proposal_and_the_reason(tmp_path: Path) -> None:
    found = propose_holes(a_beam(tmp_path, yb_m=1.5).package, "B1-014")
    assert found.places == ()
    assert "No place is clear" in found.notes[0]


def test_the_sides_come_before_the_underside(tmp_path: Path) -> None:
    found = propose_holes(a_beam(tmp_path).package, "B1-014", count=3)
    assert {place.clock for place in found.places} <= {3.0, 9.0}


def test_wood_without_a_size_is_refused(tmp_path: Path) -> None:
    blank = {f"diameter_{name}_cm": None for name in ("a1", "a2", "b1", "b2")}
    with pytest.raises(UnusableInput, match="no diameter"):
        propose_holes(a_beam(tmp_path, **blank).package, "B1-014")
    with pytest.raises(UnusableInput, match="no element 'X'"):
        propose_holes(a_beam(tmp_path / "other").package, "X")


def places(folder: Path, clearance: Clearance | None = None, **element: object) -> int:
    """How many places are proposed in level wood of 0.6 m, which has room for one."""
    building = a_beam(folder, **{"yb_m": 1.6} | element)
    return len(propose_holes(building.package, "B1-014", clearance=clearance).places)


@pytest.mark.parametrize(
    ("inside", "outside"),
    [
        ({"yb_m": 1.6}, {"yb_m": 1.59}),
        ({"features": "0.46: nail"}, {"features": "0.44: nail"}),
        (
            {f"diameter_{end}_cm": 6.1 for end in ("a1", "a2", "b1", "b2")},
            {f"diameter_{end}_cm": 5.9 for end in ("a1", "a2", "b1", "b2")},
        ),
    ],
    ids=["ends", "features", "thickness"],
)
def test_a_place_is_clear_up_to_the_distance_asked_for(
    tmp_path: Path, inside: dict[str, object], outside: dict[str, object]
) -> None:
    """In wood 6 cm thick a hole that leaves 4 cm would be 2 cm deep, and no core."""
    assert places(tmp_path / "inside", **inside) == 1
    assert places(tmp_path / "outside", **outside) == 0


@pytest.mark.parametrize(("along", "clear"), [(0.46, 1), (0.44, 0)])
def test_an_old_hole_keeps_its_distance_along_the_wood(
    tmp_path: Path, along: float, clear: int
) -> None:
    package = a_beam(tmp_path, yb_m=1.6).with_row("sample", along_m=along, clock=3).package
    assert len(propose_holes(package, "B1-014").places) == clear


@pytest.mark.parametrize(("along", "clear"), [(0.3428, 1), (0.3426, 0)])
def test_between_two_bores_three_centimetres_of_wood_stay(
    tmp_path: Path, along: float, clear: int
) -> None:
    """Two bores of 12.7 mm side by side: 30 mm of wood and 12.7 mm from middle to middle."""
    building = a_beam(tmp_path, yb_m=1.6)
    package = building.with_row("sample", along_m=along, clock=3, bore_mm=12.7).package
    found = propose_holes(package, "B1-014", count=1, clearance=Clearance(hole_m=0.0))
    assert len(found.places) == clear


def test_a_new_hole_goes_just_past_the_middle_and_never_through(tmp_path: Path) -> None:
    """20 cm of wood: 10 cm and 1 cm; 8 cm of wood: 4 cm are left behind."""
    thick = propose_holes(a_beam(tmp_path / "thick").package, "B1-014").places[0]
    assert 0.105 <= thick.depth_m <= 0.11
    sizes = {f"diameter_{end}_cm": 8 for end in ("a1", "a2", "b1", "b2")}
    thin = propose_holes(a_beam(tmp_path / "thin", **sizes).package, "B1-014").places[0]
    assert 0.035 <= thin.depth_m <= 0.04


@pytest.mark.parametrize(("rise", "sides"), [(0.95, {3.0, 9.0}), (3.9, {3.0, 9.0, 12.0, 6.0})])
def test_a_post_is_drilled_from_any_side_and_a_beam_never_from_above(
    tmp_path: Path, rise: float, sides: set[float]
) -> None:
    building = a_beam(tmp_path, yb_m=1.95, zb_m=2.4 + rise)
    found = propose_holes(building.package, "B1-014", count=99)
    assert found.places
    assert {place.clock for place in found.places} <= sides

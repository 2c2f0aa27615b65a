"""Proposals for another hole keep clear of what is there, and never go without their cautions."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from provenance._base.errors import UnusableInput
from provenance._survey.hole.cautions import DEFER
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
    assert says in found.cautions[0]
    assert "structural engineer" in found.cautions[0]
    assert found.cautions[-1] == DEFER


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

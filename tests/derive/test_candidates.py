"""Hints of reuse, storing and repair; what speaks for them is common practice, no single source."""

from __future__ import annotations

from provenance._derive.dates.candidates import mark_candidates
from provenance._derive.dates.felling import derive_fellings
from provenance._derive.dates.phases import PhaseRule, derive_phases
from tests.derive.test_dating import a_house, ring

NARROW = {"element": {"tool_marks": "broadaxe; unknown"}}


def test_wood_beside_the_largest_phase_is_a_candidate_by_what_speaks_for_it(tmp_path) -> None:
    """The phase is of 1781 to 1783; four trees of it, two with marks of a broad axe."""
    beside = (
        # date and field record, then the candidate, what speaks for it, and why
        (ring(1777, "B"), "stockpiling", "dates"),
        (ring(1702, "B"), "reuse", "dates"),
        (ring(1820, "B"), "repair", "dates"),
        # 1776 is five years before 1781, 1775 six
        (ring(1775, "B"), "stockpiling", "dates"),
        (ring(1774, "B"), "reuse", "dates"),
        # 'after' fits or contradicts
        (ring(1700, "vv"), None, None),
        (ring(1790, "vv"), "repair", "dates"),
        ({"felled_to_year": 1760}, "reuse", "dates"),
        # the interval reaches into the phase
        ({"felled_from_year": 1700, "felled_to_year": 1781}, None, None),
        (ring(1781, "B", element={"reused": "yes"}), "reuse", "field_word"),
        (ring(1820, "B", element={"reused": "yes"}), "reuse", "field_word"),
        (ring(1777, "B", element={"empty_joints": "yes"}), "reuse", "dates; empty_joints"),
        (ring(1700, "vv", element={"empty_joints": "yes"}), "reuse", "empty_joints"),
        # in wood of the phase or later wood joints may be of what was changed since
        (ring(1781, "B", element={"empty_joints": "yes"}), None, None),
        (ring(1820, "B", element={"empty_joints": "yes"}), "repair", "dates"),
        (ring(1820, "B", element={"tool_marks": "circular_saw"}), "repair", "dates; tool_marks"),
        (ring(1820, "B", element={"tool_marks": "circular_saw; broadaxe"}), "repair", "dates"),
        (ring(1700, "vv", element={"tool_marks": "band_saw"}), "other_time", "tool_marks"),
        (ring(1700, "vv", element={"tool_marks": "none"}), None, None),
    )
    phase = (ring(1781, "B", **NARROW), ring(1782, "B", **NARROW), ring(1781, "r"), ring(1781, "r"))
    package = a_house(tmp_path, *phase, *(one for one, _, _ in beside)).package
    fellings = derive_fellings(package)
    # so many that the later dates among them are no phase
    found = derive_phases(package, fellings, PhaseRule(least=6))
    assert found["phase"]["first_year"].to_list() == [1781, 1781]
    marked = mark_candidates(package, fellings, found["phase"], found["phase_piece"])
    by_element = {row["element_id"]: row for row in marked.iter_rows(named=True)}
    for number, (date, candidate, by) in enumerate(beside, start=5):
        row = by_element[f"E{number}"]
        assert (row["candidate"], row["candidate_by"]) == (candidate, by), date
        assert row["stored_years"] == (5 if by else None)
    assert by_element["E1"]["candidate"] is None
    stored = mark_candidates(package, fellings, found["phase"], found["phase_piece"], 80)
    assert stored.filter(element_id="E6")["candidate"].to_list() == ["stockpiling"]


def test_without_a_phase_only_the_field_record_speaks(tmp_path) -> None:
    package = a_house(
        tmp_path,
        ring(1702, "B", element={"tool_marks": "adze"}),
        ring(1781, "B", element={"reused": "yes", "empty_joints": "yes"}),
    ).package
    fellings = derive_fellings(package)
    found = derive_phases(package, fellings, PhaseRule())
    marked = mark_candidates(package, fellings, found["phase"], found["phase_piece"])
    assert marked.select("candidate", "candidate_by").rows() == [
        (None, None),
        ("reuse", "field_word; empty_joints"),
    ]

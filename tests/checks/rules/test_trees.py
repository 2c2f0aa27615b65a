"""Wood that cannot have been one tree although somebody says so."""

from __future__ import annotations

from provenance._checks.rules.trees import END_ERROR_CM
from provenance._derive.wood import trees
from tests.checks.rules.record import a_sound_record, only

SIZES = ("diameter_a1_cm", "diameter_a2_cm", "diameter_b1_cm", "diameter_b2_cm")


def a_beam(code: str, butt: float, top: float, **more: object) -> dict[str, object]:
    return dict(zip(SIZES, (butt, butt, top, top), strict=True)) | {"element_id": code} | more


def test_two_pieces_of_one_tree_do_not_pass_one_diameter() -> None:
    """A stem passes each of its diameters once; each end is drawn in by 1 cm or as assumed."""
    assert END_ERROR_CM == trees.END_ERROR_CM
    lower = a_sound_record().but("element", **a_beam("E1", 24, 18))
    apart = lower.with_row("element", **a_beam("E2", 19.9, 12, same_tree_element_id="E1"))
    assert apart.says("element.one_tree_overlaps") == []
    both = apart.but("element", "E2", diameter_a1_cm=21, diameter_a2_cm=21)
    only(both.says("element.one_tree_overlaps"), "element 2", "E1 and E2", "pass 19 cm")
    # another tree, whose wood passes the same diameters, is asked by itself
    other = both.with_row("element", **a_beam("E3", 40, 20))
    assert len(other.says("element.one_tree_overlaps")) == 1
    third = other.with_row("element", **a_beam("E0", 30, 10, same_tree_element_id="E3"))
    found = third.says("element.one_tree_overlaps")
    assert [one.partition(" are recorded")[0].split(": ")[1] for one in found] == [
        "E1 and E2",
        "E3 and E0",
    ]
    for shown in (
        both.but("element", "E2", same_tree_element_id=""),
        both.but("element", "E2", shape="squared"),
        both.but("element", "E2", diameter_a1_cm="", diameter_a2_cm=""),
        both.with_bare_row(
            "assumption", assumption_id="A1", assumption_kind="end_error", figure=2, source="x"
        ),
    ):
        assert shown.says("element.one_tree_overlaps") == []


def test_wood_of_one_tree_is_not_longer_than_the_longest_stem_that_a_source_gives() -> None:
    one = a_sound_record().but("element", **a_beam("E1", 24, 20, length_m=5))
    two = one.with_row("element", **a_beam("E2", 19, 15, length_m=6, same_tree_element_id="E1"))
    assert two.says("element.one_tree_too_long") == []
    row = {"assumption_id": "A1", "assumption_kind": "longest_stem", "source": "x"}
    for longest, found in ((11, 0), (10.9, 1)):
        said = two.with_bare_row("assumption", figure=longest, **row)
        assert len(said.says("element.one_tree_too_long")) == found, longest
    only(said.says("element.one_tree_too_long"), "element 2", "11 m long", "10.9 m")

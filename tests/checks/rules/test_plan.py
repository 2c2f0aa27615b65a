"""Plans fitted to the site grid."""

from __future__ import annotations

from typing import Any

from tests.checks.rules.record import Record, a_sound_record, only


def a_plan(**fit: Any) -> Record:
    """The sound record with a plan fitted by two datums and one more point, well."""
    record = a_sound_record().with_bare_row(
        "plan_fit",
        **{"file_id": "F-1", "model": "similarity", "known_points": "3", "spare_readings": "2",
           "known_scatter": "2.0"} | fit,
    )  # fmt: skip
    return record.with_bare_row(
        "plan_point", plan_point_id="F-1:known:D1", file_id="F-1", kind="known", datum_id="D1",
        x_m="0.03", y_m="-0.039",
    )  # fmt: skip


def test_a_datum_stays_where_it_was_when_the_plan_was_fitted() -> None:
    assert not a_plan().says("geometry.plan_datum_moved")
    for axis, now in (("x", "0.09"), ("y", "-0.1")):
        moved = a_plan().but("datum", "D1", **{f"{axis}_m": now})
        only(moved.says("geometry.plan_datum_moved"), "plan_point", "F-1", "D1", "0.07 m")
    # a datum without coordinates of its own was found from ties, which the survey compares
    assert not a_plan().but("datum", "D1", x_m="").says("geometry.plan_datum_moved")


def test_the_known_points_of_a_plan_fit_each_other_and_check_each_other() -> None:
    assert not a_plan().says("geometry.plan_known_points_scatter")
    assert not a_plan().says("geometry.plan_unchecked")
    only(a_plan(known_scatter="2.1").says("geometry.plan_known_points_scatter"), "F-1", "2.1 times")
    unchecked = a_plan(known_points="2", spare_readings="0")
    only(unchecked.says("geometry.plan_unchecked"), "F-1", "the 2 known points")

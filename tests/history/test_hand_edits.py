"""What people change in the tables themselves becomes an act, and is told for what it is."""

from __future__ import annotations

import pytest

from provenance._history.deciding import Refused, correct, decide, remove, restore, undo
from provenance._history.edits import ALIKE
from provenance._history.history import BY_HAND, open_history
from tests.builders import a_package
from tests.intake.forms import a_line, bring_in, write_csv


@pytest.fixture
def package(tmp_path):
    package = a_package(tmp_path).package
    lines = [a_line(), a_line(Timber_no="015", FS_no="232", Dia_A="9 1/2", Remarks="peg hole")]
    bring_in(package, write_csv(tmp_path / "timbers.csv", lines))
    return package


def edited(package, table, change):
    """The lines of the act that a hand edit becomes."""
    frame = package.table(table)
    package.write_table(table, change(frame))
    found = open_history(package)
    (act,) = [act for act in found.acts.values() if act.why == BY_HAND]
    return {(line.row, line.field, line.after) for line in act.lines}


def test_a_table_that_was_only_sorted_or_rearranged_says_nothing_new(package) -> None:
    frame = package.table("element")
    package.write_table("element", frame.iloc[::-1])
    assert not [act for act in open_history(package).acts.values() if act.why == BY_HAND]


def test_a_key_that_was_typed_over_is_a_renamed_row(package) -> None:
    said = edited(package, "element", lambda f: f.replace("B1-014", "B1-114"))
    assert said == {("B1-014", "#", "B1-114")}


def test_a_row_that_shares_too_little_with_the_one_that_went_is_another_row(package) -> None:
    def another(frame):
        row = frame["element_id"] == "B1-014"
        filled = [name for name in frame if frame.loc[row, name].iloc[0] and name != "element_id"]
        changed = filled[: int((1 - ALIKE) * len(filled)) + 1]
        frame.loc[row, changed] = "1"
        frame.loc[row, "element_id"] = "B1-114"
        return frame

    said = edited(package, "element", another)
    assert {("B1-014", "", "gone"), ("B1-114", "", "here")} <= said


def test_two_rows_that_could_each_be_the_renamed_one_are_new_rows(package) -> None:
    def doubled(frame):
        twin = frame[frame["element_id"] == "B1-014"]
        both = [twin.assign(element_id=key) for key in ("X-1", "X-2")]
        rest = frame[frame["element_id"] != "B1-014"]
        return type(frame)([*rest.to_dict("records"), *both[0].to_dict("records"),
                            *both[1].to_dict("records")])  # fmt: skip

    said = edited(package, "element", doubled)
    assert {("B1-014", "", "gone"), ("X-1", "", "here"), ("X-2", "", "here")} <= said


def test_an_import_on_which_a_correction_builds_is_not_undone_alone(package) -> None:
    reading = [name for name, act in open_history(package).acts.items() if act.source]
    done = decide(package, correct("element", "B1-015", {"notes": "seen"}), who="MB", why="seen")
    with pytest.raises(Refused, match=f"changed since by {done.act_id[:8]}; undo that first"):
        decide(package, undo(reading[0]), who="MB")
    decide(package, undo("last"), who="MB")
    decide(package, undo(reading[0]), who="MB")
    assert package.tables.count("element") == 0


def test_a_row_is_put_back_in_its_own_table_alone(package) -> None:
    decide(package, remove("sample", "231"), who="MB", why="no such core")
    for table, key in (("element", "231"), ("sample", "232")):
        with pytest.raises(Refused, match=f"no one removed {table} {key}"):
            decide(package, restore(table, key), who="MB", why="?")
    decide(package, restore("sample", "231"), who="MB", why="it is there")
    assert package.tables.column("sample", "sample_id") == ["231", "232"]

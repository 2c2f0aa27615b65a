"""What several sources or people say of one thing is named until somebody decides."""

from __future__ import annotations

import pytest

from provenance._checks.check import check_package
from provenance._history.deciding import Refused, accept, correct, decide, remove, settle, undo
from provenance._intake.claims import Sameness
from tests.builders import a_package
from tests.intake.forms import a_line, bring_in, write_csv

MINE = {"Dia_A": "9 1/4"}
THEIRS = {"Use": "joist", "Length": "9' 1\"", "Dia_A": "7", "Tools": "saw", "Sampled": "no"}
THEIRS |= {"Date": "9/8/25", "By": "JT", "Bit": "5/8", "Remarks": "dry"}


def said_of(package, rule):
    return [one.message for one in check_package(package) if one.rule == rule]


def two_crews(tmp_path):
    package = a_package(tmp_path).package
    bring_in(package, write_csv(tmp_path / "timbers1.csv", [a_line(**MINE)]), who="MB")
    bring_in(package, write_csv(tmp_path / "timbers2.csv", [a_line(**THEIRS)]), who="JT")
    return package


def test_a_conflict_is_an_error_until_it_is_settled_and_names_both_people(tmp_path) -> None:
    package = two_crews(tmp_path)
    said = said_of(package, "history.conflict")
    (bore,) = [one for one in said if one.startswith("bore_mm of sample 231")]
    for said in ('"12.7" by IN-', '"15.875" by IN-', "(MB)", "(JT)"):
        assert said in bore
    done = decide(
        package, settle("sample", "231", "bore_mm", "15.875"), who="MB", why="measured again"
    )
    assert not any("bore_mm" in one for one in said_of(package, "history.conflict"))
    decide(package, undo(done.act_id), who="MB")
    assert bore in said_of(package, "history.conflict")


def test_a_refused_value_that_another_source_repeats_is_a_warning(tmp_path) -> None:
    package = a_package(tmp_path).package
    bring_in(package, write_csv(tmp_path / "timbers1.csv", [a_line(**MINE)]), who="MB")
    decide(package, correct("sample", "231", {"bore_mm": "16"}), who="MB", why="calipers")
    assert said_of(package, "history.refused_value_said_again") == []
    path = write_csv(tmp_path / "timbers2.csv", [a_line(**THEIRS | {"Bit": "1/2"})])
    bring_in(package, path, who="JT", same_as=Sameness(new=True))
    (said,) = said_of(package, "history.refused_value_said_again")
    assert said.startswith("bore_mm of sample 231 was decided")
    assert '"12.7"' in said


def test_an_accepted_finding_is_told_with_its_reason_and_lapses_when_it_says_otherwise(
    tmp_path,
) -> None:
    package = a_package(tmp_path).with_chain(length_mm="90", depth_mm="20").package
    report = check_package(package)
    one = next(iter(report))
    named = [(one.rule, one.table, one.key, one.field, one.message)]
    decide(package, accept(named), who="MB", why="seen on site")
    after = check_package(package)
    assert len(after) == len(report) - 1
    (kept,) = after.accepted.to_dicts()
    assert (kept["message"], kept["why"], kept["who"]) == (one.message, "seen on site", "MB")
    # the finding's words depend on the row: another value is another finding
    changed = [(one.rule, one.table, one.key, one.field, one.message + " Otherwise.")]
    again = a_package(tmp_path / "b").with_chain(length_mm="90", depth_mm="20").package
    decide(again, accept(changed), who="MB", why="seen on site")
    assert len(check_package(again)) == len(report)


def test_what_was_taken_out_stays_out_and_cannot_be_corrected(tmp_path) -> None:
    package = two_crews(tmp_path)
    decide(package, remove("sample", "231"), who="MB", why="no such core")
    assert list(package.tables.column("sample", "sample_id")) == []
    result = bring_in(package, write_csv(tmp_path / "timbers1.csv", [a_line(**MINE)]), who="MB")
    assert list(package.tables.column("sample", "sample_id")) == []
    assert "intake.decided_otherwise" in [finding.rule for finding in result.findings]
    with pytest.raises(Refused, match="sample 231 was removed from the record"):
        decide(package, correct("sample", "231", {"notes": "x"}), who="MB", why="?")

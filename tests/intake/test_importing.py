"""An import brings in all or nothing, can be repeated, and never loses a row or a text."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import textwrap
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import UnusableInput
from provenance._base.resources import shipped
from provenance._history.deciding import correct, decide, undo
from provenance._intake.claims import Sameness
from provenance._intake.importing import import_exports
from provenance._intake.mapping.mapping_file import read_mapping
from provenance._ledger.custody import seal_typed, verify_chain
from provenance._record.package import open_package
from tests.builders import a_package
from tests.intake.forms import (
    HEADINGS,
    NOON,
    TIMBERS,
    a_line,
    bring_in,
    content_of,
    one_row,
    write_csv,
    write_xlsx,
)


@pytest.fixture
def package(tmp_path):
    return a_package(tmp_path).package


def rules_of(result):
    return [finding.rule for finding in result.findings if finding.severity != "note"]


# -- what comes in ---------------------------------------------------------------------------------


def test_rows_come_in_with_the_line_they_were_read_from(package, tmp_path) -> None:
    result = bring_in(package, write_xlsx(tmp_path / "timbers.xlsx", [a_line()]))
    assert result.added == {"element": 1, "sample": 1}
    assert result.exit_code == 0
    assert one_row(package, "element", "B1-014")["diameter_a1_cm"] == "21.9075"
    origins = package.table("origin").to_dict("records")
    assert origins[0] == {
        "table_name": "element",
        "row_key": "B1-014",
        "original_id": result.originals["timbers.xlsx"],
        "sheet": "Timbers",
        "line": "2",
        "still_there": "true",
    }


def test_originals_are_kept_byte_for_byte_beside_their_mapping(package, tmp_path) -> None:
    path = write_xlsx(tmp_path / "timbers (north).xlsx", [a_line()])
    result = bring_in(package, path)
    row = one_row(package, "original", result.originals[path.name])
    assert row["file_name"] == "timbers (north).xlsx"
    assert (package.folder / row["path"]).read_bytes() == path.read_bytes()
    assert row["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert row["read_on"] == "2031-05-04T12:00:00Z"
    assert (package.folder / row["mapping_path"]).read_text("utf-8") == TIMBERS


def test_the_tables_that_an_import_writes_follow_their_schemas(package, tmp_path) -> None:
    """The reference library of Table Schema, frictionless, finds no fault in the intake tables."""
    from frictionless import Package as Reference

    bring_in(package, write_csv(tmp_path / "timbers.csv", [a_line(Dia_A="7 3/")]))
    report = Reference(str(package.folder / "datapackage.json")).validate()
    faults = [task for task in report.tasks if task.name in ("original", "origin", "unread")]
    assert len(faults) == 3
    assert all(task.valid for task in faults), [task.errors for task in faults]


def test_a_newer_copy_speaks_in_the_place_of_the_older_one(package, tmp_path) -> None:
    first = write_csv(tmp_path / "timbers.csv", [a_line(Remarks="sound")])
    bring_in(package, first)
    newer = write_csv(tmp_path / "timbers mended.csv", [a_line(Dia_A="9", Remarks="")])
    result = bring_in(package, newer)
    row = one_row(package, "element", "B1-014")
    assert row["diameter_a1_cm"] == "22.86"
    assert "notes" not in row
    changes = {one.field: (one.before, one.after) for one in result.changes}
    assert changes == {"diameter_a1_cm": ("21.9075", "22.86"), "notes": ("sound", "")}
    assert "timbers mended.csv, row 2, column 'Dia A'" in [str(place) for place in result.places]
    kept = one_row(package, "original", result.originals[newer.name])
    assert one_row(package, "original", kept["replaces_original_id"])["file_name"] == first.name


def other_crew(tmp_path, **cells):
    """The same numbers on a sheet of another crew, which agrees in nothing else."""
    said = {"Use": "thing", "Length": "9' 1\"", "Dia_A": "7", "Tools": "saw", "Sampled": "no"}
    said |= {"Date": "9/8/25", "By": "JT", "Bit": "5/8", "Remarks": "dry", "Page": "7"}
    return write_csv(tmp_path / "timbers2.csv", [a_line(**said | cells)])


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
@pytest.mark.parametrize("at_once", [True, False])
def test_two_crews_that_number_a_core_alike_are_in_conflict_in_any_order(
    package, tmp_path, order, at_once
) -> None:
    mine = write_csv(tmp_path / "timbers.csv", [a_line(Timber_no="001")])
    files = [mine, other_crew(tmp_path, Timber_no="002")]
    files = [files[place] for place in order]
    results = [bring_in(package, *files)] if at_once else [bring_in(package, one) for one in files]
    assert results[-1].exit_code == 1
    fields = {one.field for one in results[-1].conflicts if one.table == "sample"}
    assert fields == {"element_id", "bore_mm", "collected_on", "collected_by"}
    assert one_row(package, "sample", "231")["element_id"] == "B1-001"
    said = package.table("conflict")
    both = said[said["field"] == "element_id"]
    assert set(both["value"]) == {"B1-001", "B1-002"}
    assert len(set(both["original_id"])) == 2


def test_a_file_of_the_same_name_that_says_other_things_is_another_file(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line()])
    bring_in(package, path)
    other_crew(tmp_path, Timber_no="099", FS_no="900").rename(path)
    result = bring_in(package, path)
    assert (result.removed, result.conflicts) == ({}, ())
    assert list(package.table("sample")["sample_id"]) == ["231", "900"]


def test_a_file_that_may_or_may_not_be_a_newer_copy_is_asked_about(package, tmp_path) -> None:
    kept = bring_in(package, write_csv(tmp_path / "timbers.csv", [a_line()])).originals
    before = content_of(package.folder)
    half = {"Length": "9' 1\"", "Dia_A": "7", "Tools": "saw", "Bit": "5/8", "By": "JT"}
    half |= {"Use": "joist"}
    path = write_csv(tmp_path / "timbers2.csv", [a_line(**half)])
    with pytest.raises(UnusableInput, match=r"--replaces IN-[A-Z]{8}; if it is another sheet, say"):
        bring_in(package, path)
    assert content_of(package.folder) == before
    (number,) = kept.values()
    assert bring_in(package, path, same_as=Sameness(new=True), trial=True).conflicts
    result = bring_in(package, path, same_as=Sameness(replaces=number))
    assert result.conflicts == ()
    assert one_row(package, "element", "B1-014")["diameter_a1_cm"] == "17.78"
    with pytest.raises(UnusableInput, match="no file that still counts was received as IN-NONE"):
        bring_in(package, other_crew(tmp_path), same_as=Sameness(replaces="IN-NONE"))


def test_an_older_copy_that_comes_again_changes_nothing(package, tmp_path) -> None:
    older = write_csv(tmp_path / "timbers.csv", [a_line()])
    bring_in(package, older)
    bring_in(package, write_csv(tmp_path / "timbers2.csv", [a_line(Dia_A="9")]))
    result = bring_in(package, older)
    assert rules_of(result) == ["intake.older_copy"]
    assert one_row(package, "element", "B1-014")["diameter_a1_cm"] == "22.86"


def test_what_a_person_mended_by_hand_is_not_reverted(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line()])
    bring_in(package, path)
    wood = package.table("element")
    wood["diameter_a1_cm"] = "23"
    package.write_table("element", wood)
    for sheet in (path, write_csv(tmp_path / "timbers2.csv", [a_line(Remarks="sound")])):
        result = bring_in(package, sheet)
        assert one_row(package, "element", "B1-014")["diameter_a1_cm"] == "23"
        told = [one for one in result.findings if one.rule == "intake.decided_otherwise"]
        assert [one.message for one in told] == [
            'Still says "21.9075"; the record has "23", as was decided.'
        ]
    assert result.conflicts == ()


def test_a_number_typed_otherwise_is_no_change(tmp_path) -> None:
    package = a_package(tmp_path).with_row("element", diameter_a1_cm="21.90750").package
    result = bring_in(package, write_csv(tmp_path / "timbers.csv", [a_line()]))
    assert "diameter_a1_cm" not in {change.field for change in result.changes}


def test_the_same_form_again_changes_not_one_byte(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line(Dia_A="7 3/"), a_line(House="", FS_no="")])
    first = bring_in(package, path)
    before = content_of(package.folder)
    again = bring_in(package, path, when=NOON.replace(year=2040))
    assert content_of(package.folder) == before
    assert again.written == ()
    assert again.unread == first.unread > 1


CELLS = st.fixed_dictionaries(
    {
        "House": st.sampled_from(["B1", "B2", ""]),
        "Timber no": st.sampled_from(["014", "015", "016", ""]),
        "Use": st.sampled_from(["beam", "big beam", "thing", ""]),
        "Length": st.sampled_from(["13' 9 3/8\"", "13", "-", '"']),
        "Dia A": st.sampled_from(["8 5/8", "8.625", "7 3/", "", "#REF!"]),
        "Date": st.sampled_from(["4/6/24", "June 2024", "31/2/24", ""]),
        "FS no": st.sampled_from(["231", "232", ""]),
        "Remarks": st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=8),
    }
)


@pytest.fixture(scope="module")
def blank(tmp_path_factory):
    """An empty package, to be copied."""
    return a_package(tmp_path_factory.mktemp("blank")).package.folder


@contextmanager
def a_copy_of(folder: Path):
    """A copy of a package in a folder of its own that goes away."""
    with tempfile.TemporaryDirectory() as name:
        shutil.copytree(folder, Path(name) / "holl")
        yield open_package(Path(name) / "holl")


@settings(max_examples=15)
@given(first=st.lists(CELLS, min_size=1, max_size=6), second=st.lists(CELLS, max_size=4))
def test_importing_twice_is_importing_once(blank, first, second) -> None:
    """A law: whatever two copies of a form hold, importing the newer one again changes nothing."""
    with a_copy_of(blank) as package:
        path = package.folder.parent / "timbers.csv"
        said = Sameness(new=True)
        for lines in (first, second):
            write_csv(path, [{"By": "MB"} | line for line in lines])
            result = bring_in(package, path, same_as=said)
            said = Sameness(replaces=result.originals["timbers.csv"])
            before = content_of(package.folder)
            assert bring_in(package, path).written == ()
            assert content_of(package.folder) == before


@settings(max_examples=15)
@given(lines=st.lists(CELLS, min_size=1, max_size=6))
def test_no_text_of_a_form_is_lost(blank, lines) -> None:
    """A law: every filled cell stands in the record, or waits in 'unread' with its text."""
    with a_copy_of(blank) as package:
        path = write_csv(package.folder.parent / "timbers.csv", lines)
        result = bring_in(package, path)
        remarks = {line["Remarks"].split("\x1c")[0].strip() for line in lines}
        kept = set(package.table("element")["notes"]) | set(package.table("unread")["cell_text"])
        kept |= set(package.table("conflict")["value"])
        for text in remarks:
            plain = "".join(sign for sign in text if ord(sign) >= 32)
            if plain.strip() and plain == text and text.casefold() not in ("-", "n/a"):
                assert any(text in one for one in kept), (text, kept, result.findings)


# -- what does not fit -----------------------------------------------------------------------------


def test_two_lines_that_disagree_are_in_conflict_with_both_texts_kept(package, tmp_path) -> None:
    lines = [a_line(), a_line(Dia_A="9", FS_no="232")]
    result = bring_in(package, write_csv(tmp_path / "timbers.csv", lines))
    assert rules_of(result) == ["intake.conflict"]
    (finding,) = [one for one in result.findings if one.rule == "intake.conflict"]
    assert "\"21.9075\" by timbers.csv, row 2, column 'Dia A'" in finding.message
    assert "\"22.86\" by timbers.csv, row 3, column 'Dia A'" in finding.message
    assert (finding.table, finding.row, finding.key) == ("element", 2, "B1-014")
    # as the crew wrote it, in inches, and not as it would have been stored
    assert list(package.table("conflict")["written"]) == ["8 5/8", "9"]
    assert result.exit_code == 1


def test_the_second_line_fills_what_the_first_left_blank(package, tmp_path) -> None:
    lines = [a_line(Dia_A=""), a_line(Dia_A="9", FS_no="232")]
    result = bring_in(package, write_csv(tmp_path / "timbers.csv", lines))
    assert one_row(package, "element", "B1-014")["diameter_a1_cm"] == "22.86"
    assert result.unread == 0


def test_a_row_that_the_newer_copy_lacks_goes_and_is_named(package, tmp_path) -> None:
    path = tmp_path / "timbers.csv"
    lines = [a_line(), a_line(Timber_no="015", FS_no="", Bit="", By="", Remarks="peg hole")]
    bring_in(package, write_csv(path, lines))
    result = bring_in(package, write_csv(path, [a_line()]))
    assert list(package.table("element")["element_id"]) == ["B1-014"]
    assert (rules_of(result), result.removed) == (["intake.row_gone"], {"element": 1})
    assert "B1-015" in result.findings[-1].message
    assert set(package.table("origin")["row_key"]) == {"B1-014", "231"}
    # undoing the import brings it back
    decide(package, undo(result.acts["timbers.csv"]), who="MB")
    assert list(package.table("element")["element_id"]) == ["B1-014", "B1-015"]
    assert set(package.table("origin")["still_there"]) == {"true"}


def test_a_row_that_a_person_corrected_stays_when_its_sheet_drops_it(package, tmp_path) -> None:
    path = tmp_path / "timbers.csv"
    lines = [a_line(), a_line(Timber_no="015", FS_no="", Bit="", By="")]
    bring_in(package, write_csv(path, lines))
    decide(package, correct("element", "B1-015", {"notes": "seen"}), who="MB", why="seen")
    bring_in(package, write_csv(path, [a_line()]))
    assert one_row(package, "element", "B1-015") == {"element_id": "B1-015", "notes": "seen"}
    origin = package.table("origin")
    assert list(origin[origin["still_there"] == "false"]["row_key"]) == ["B1-015"]


def test_an_unread_cell_is_settled_when_a_newer_copy_can_be_read(package, tmp_path) -> None:
    path = tmp_path / "timbers.csv"
    bring_in(package, write_csv(path, [a_line(Dia_A="7 3/")]))
    result = bring_in(package, write_csv(path, [a_line(Dia_A="7 3/8")]))
    assert (result.unread, result.settled) == (0, 1)
    (row,) = package.table("unread").to_dict("records")
    number = result.originals["timbers.csv"]
    assert row["settled"] == f'Read from {number} on 2031-05-04: "18.7325".'
    assert row["cell_text"] == "7 3/"


def test_a_better_mapping_settles_cells_of_the_same_bytes(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line(Use="huge beam")])
    assert bring_in(package, path).unread == 1
    better = TIMBERS.replace("{big beam:", "{huge beam: main_beam, big beam:")
    result = bring_in(package, path, mapping=better)
    assert (result.unread, result.settled) == (0, 1)
    assert one_row(package, "element", "B1-014")["function"] == "main_beam"
    (kept,) = package.table("original")["mapping_path"]
    assert kept.endswith("mapping.yaml")
    assert len(package.table("original")) == 1


def test_what_a_person_settled_stays_settled(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line(Dia_A="7 3/")])
    bring_in(package, path)
    unread = package.table("unread")
    unread["settled"] = "Entered 7 3/8 after asking MB."
    package.write_table("unread", unread)
    result = bring_in(package, path)
    assert result.exit_code == 0
    assert len(package.table("unread")) == 1


def test_a_reported_result_is_never_overwritten_by_a_later_file(package, tmp_path) -> None:
    mapping = """
title: results (invented)
sources:
  - files: "results*"
    rows:
      - table: lab_result
        values: {laboratory_id: LAB, outcome: dated, reported_on: "2025-02-01"}
        fields:
          result_id: {column: No}
          sample_id: {column: Sample}
          outer_year: {column: Outside}
"""
    head = ("No", "Sample", "Outside")
    first = {"No": "R-1", "Sample": "231", "Outside": "1781"}
    path = tmp_path / "results.csv"
    bring_in(package, write_csv(path, [first], head), mapping=mapping)
    result = bring_in(
        package, write_csv(path, [first | {"Outside": "1782"}], head), mapping=mapping
    )
    assert one_row(package, "lab_result", "R-1")["outer_year"] == "1781"
    assert rules_of(result) == ["intake.conflict"]
    assert "supersedes_result_id" in result.findings[-1].remedy


# -- custody ---------------------------------------------------------------------------------------

LOG = """
title: custody log (invented)
sources:
  - files: "log*"
    rows:
      - table: custody
        fields:
          custody_id: {column: "No"}
          event: {column: Event}
          happened_on: {column: When}
          sample_id: {column: Sample}
          to_party_id: {column: Holder}
          corrects_custody_id: {column: Corrects}
"""
LOG_HEAD = ("No", "Event", "When", "Sample", "Holder", "Corrects")


def an_event(number, **cells):
    usual = {"Event": "collected", "When": "2024-06-04", "Sample": "231", "Holder": "MB"}
    return {"No": number} | usual | cells


def test_events_of_a_log_are_sealed_behind_those_of_the_ledger(tmp_path) -> None:
    package = a_package(tmp_path).with_row("custody").package
    seal_typed(package)
    lines = [an_event("1", Sample="300"), an_event("2", Sample="301", Corrects="1")]
    path = write_csv(tmp_path / "log.csv", lines, LOG_HEAD)
    result = bring_in(package, path, mapping=LOG)
    assert result.added == {"custody": 2}
    ledger = package.table("custody")
    assert list(ledger["custody_id"]) == ["1", "2", "3"]
    assert list(ledger["corrects_custody_id"]) == ["", "", "2"]
    assert verify_chain(package) == []
    before = content_of(package.folder)
    assert bring_in(package, path, mapping=LOG).written == ()
    assert content_of(package.folder) == before


def test_an_event_changed_in_the_log_is_not_changed_in_the_ledger(package, tmp_path) -> None:
    path = tmp_path / "log.csv"
    bring_in(package, write_csv(path, [an_event("1"), an_event("2")], LOG_HEAD), mapping=LOG)
    ledger = package.table_path("custody").read_bytes()
    changed = [an_event("1"), an_event("2", Holder="LAB")]
    result = bring_in(package, write_csv(path, changed, LOG_HEAD), mapping=LOG)
    assert package.table_path("custody").read_bytes() == ledger
    assert rules_of(result) == ["intake.not_overwritten"]
    finding = next(one for one in result.findings if one.rule == "intake.not_overwritten")
    assert 'event 2 of the ledger, which says "MB"' in finding.message
    assert (finding.row, finding.key) == (3, "2")


# -- all or nothing --------------------------------------------------------------------------------


def test_one_unusable_file_keeps_all_others_out(package, tmp_path) -> None:
    good = write_csv(tmp_path / "timbers.csv", [a_line()])
    (tmp_path / "timbers2.csv").write_text("House,Nothing else\nB1,x\n")
    before = content_of(package.folder)
    with pytest.raises(UnusableInput, match=r"timbers2\.csv"):
        bring_in(package, good, tmp_path / "timbers2.csv")
    assert content_of(package.folder) == before


@pytest.mark.usefixtures("real_disk")
@pytest.mark.parametrize("step", range(1, 12, 2))
def test_a_full_disk_leaves_the_package_as_it_was(package, tmp_path, monkeypatch, step) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line(Dia_A="7 3/")])
    before = content_of(package.folder)
    real, count = os.fsync, 0

    def failing(handle):
        nonlocal count
        count += 1
        if count == step:
            raise OSError(28, "No space left on device")
        real(handle)

    monkeypatch.setattr(os, "fsync", failing)
    try:
        bring_in(package, path)
    except OSError:
        monkeypatch.undo()
        after = content_of(open_package(package.folder).folder)
        # from the one moment of commitment on, the rest is finished by whoever opens the package
        assert after == before or len(package.table("origin")) == 2
    else:
        assert count < step


@pytest.mark.heavy
def test_a_kill_in_the_middle_of_an_import_leaves_all_or_nothing(package, tmp_path) -> None:
    """The process is ended without clean-up at every second step that orders the disk."""
    path = write_csv(tmp_path / "timbers.csv", [a_line()])
    (tmp_path / "mapping.yaml").write_text(TIMBERS, "utf-8")
    empty = content_of(package.folder)
    code = """
    import os, sys
    from pathlib import Path
    from provenance._record.package import open_package
    from provenance._intake.importing import import_exports
    from provenance._intake.mapping.mapping_file import read_mapping
    folder, form, rules = map(Path, sys.argv[1:4])
    package = open_package(folder)
    mapping = read_mapping(rules, package.model)
    child = 0
    for step in range(1, 40, 2):
        child = os.fork()
        if child:
            _, status = os.waitpid(child, 0)
            if os.waitstatus_to_exitcode(status) == 0:
                break
            tables = open_package(folder)
            # read as texts, because the engine's threads would be missing in the next fork
            names = ("element", "sample", "origin")
            counts = {tables.table_path(one).read_text().count("\\n") > 1 for one in names}
            assert len(counts) == 1, step
            if counts == {True}:
                print("whole")
                break
            print("none")
            continue
        steps = 0
        def counted(real):
            def call(*args, **more):
                global steps
                steps += 1
                if steps == step:
                    os._exit(9)
                return real(*args, **more)
            return call
        for name in ("fsync", "rename", "replace"):
            setattr(os, name, counted(getattr(os, name)))
        import_exports(package, [form], mapping)
        os._exit(0)
    """
    arguments = [str(package.folder), str(path), str(tmp_path / "mapping.yaml")]
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code), *arguments], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    assert "none" in done.stdout
    assert done.stdout.endswith("whole\n")
    assert not [path for path in package.folder.iterdir() if path.suffix == ".part"]
    assert set(empty) < set(content_of(package.folder))


def test_a_trial_writes_nothing_and_says_the_same(package, tmp_path) -> None:
    path = write_csv(tmp_path / "timbers.csv", [a_line(Dia_A="7 3/")])
    before = content_of(package.folder)
    trial = bring_in(package, path, trial=True)
    assert content_of(package.folder) == before
    real = bring_in(package, path)
    assert (trial.added, trial.findings) == (real.added, real.findings)


def test_a_file_that_changes_while_it_is_read_is_refused(package, tmp_path, monkeypatch) -> None:
    import provenance._intake.incoming as incoming

    path = write_csv(tmp_path / "timbers.csv", [a_line()])
    monkeypatch.setattr(incoming, "sha256_of", lambda _: "0" * 64)
    before = content_of(package.folder)
    with pytest.raises(UnusableInput, match=r"timbers\.csv was changed while it was read"):
        bring_in(package, path)
    assert content_of(package.folder) == before


def test_two_files_of_one_name_cannot_be_told_apart(package, tmp_path) -> None:
    (tmp_path / "other").mkdir()
    first = write_csv(tmp_path / "timbers.csv", [a_line()])
    second = write_csv(tmp_path / "other" / "timbers.csv", [a_line(House="B2")])
    with pytest.raises(UnusableInput, match="have the same name"):
        bring_in(package, first, second)


# -- the demonstration -----------------------------------------------------------------------------


def the_whole_demonstration(folder: Path, forms: Path):
    package = a_package(folder, "log_building").package
    results = []
    for path in sorted((shipped("demo_package") / "mappings").glob("*.yaml")):
        mapping = read_mapping(path, package.model)
        files = [
            file
            for part in ("field", "laboratory")
            for file in sorted((forms / part).iterdir())
            if mapping.sources_of(file.name)
        ]
        if files:  # the sheets of the last day lie elsewhere
            results.append(import_exports(package, files, mapping, when=NOON))
    return package, results


def test_every_cell_of_the_invented_crews_is_read(tmp_path) -> None:
    package, results = the_whole_demonstration(tmp_path, shipped("demo_package"))
    assert sum(result.unread for result in results) == 0
    assert len(package.table("element")) == 120
    assert len(package.table("sample")) == 46
    # 24' 1 3/4" = 289.75 in; 289.75 x 0.0254 m = 7.35965 m (1 in = 25.4 mm exactly)
    assert one_row(package, "element", "LH-001")["length_m"] == "7.35965"


def test_the_planted_faults_that_cannot_be_read_are_named_and_kept(tmp_path) -> None:
    package, results = the_whole_demonstration(tmp_path, shipped("demo_package") / "faulted")
    assert sum(result.unread for result in results) == 2
    assert set(package.table("unread")["cell_text"]) == {"13:00", "370 or so"}


def test_headings_of_the_form_do_not_depend_on_their_order(package, tmp_path) -> None:
    bring_in(package, write_csv(tmp_path / "timbers.csv", [a_line()]))
    before = package.table("element").to_dict("records")
    path = write_csv(tmp_path / "timbers_b.csv", [a_line()], HEADINGS[::-1])
    assert bring_in(package, path).changes == ()
    assert package.table("element").to_dict("records") == before


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_two_crews_with_a_line_each_and_one_bit_are_in_conflict_and_not_copies(
    package, tmp_path, order
) -> None:
    """What the mapping says of every row, and a common bit, make no copy of a short sheet."""
    short = dict.fromkeys(("Length", "Dia A", "Tools", "Remarks"), "")
    lines = [
        a_line(**short | {"Timber_no": "001", "By": "MB"}),
        a_line(**short | {"Timber_no": "002", "By": "JT", "Date": "9/8/24", "Use": "joist"}),
    ]
    files = [write_csv(tmp_path / f"timbers{n}.csv", [lines[n]]) for n in order]
    bring_in(package, files[0])
    result = bring_in(package, files[1])
    assert {one.field for one in result.conflicts} == {
        "element_id", "collected_by", "collected_on",
    }  # fmt: skip
    assert result.removed == {}

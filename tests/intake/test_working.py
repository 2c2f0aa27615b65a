"""Typed cells are saved act by act, whole or not at all, beside other programs and over kills."""

from __future__ import annotations

import json
import os
import random
import shutil
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from provenance._base.errors import TreenailError
from provenance._cli import treenail
from provenance._history.deciding import Deciding, EnteredRow, Refused, decide, enter, rename, undo
from provenance._history.edits import Change
from provenance._history.entering import enter_hand_edits
from provenance._history.history import open_history
from provenance._identity.naming import SampleNames
from provenance._intake.working import Working
from provenance._record import journal, together
from provenance._record.journal import JOURNAL
from provenance._record.package import Package, open_package
from tests.builders import a_package
from tests.forked import started
from tests.intake.forms import content_of
from tests.record.test_reading import same

WHEN = "2031-05-04T12:00:00Z"
KEYS = ("B1-014", "B1-015", "B1-016", "B1-9")


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Package:
    builder = a_package(tmp_path_factory.mktemp("desk")).with_chain()
    package = builder.with_row("element", element_id="B1-015", sampled=None).package
    with package.locked():
        enter_hand_edits(package)
    return open_package(package.folder)


def a_copy(package: Package, name: str) -> Package:
    there = package.folder.with_name(name)
    shutil.rmtree(there, ignore_errors=True)
    shutil.copytree(package.folder, there)
    return open_package(there)


def seen(package: Package) -> dict[str, bytes]:
    """What is in the tables, once whoever opens the package has written what waits."""
    open_package(package.folder)
    found = content_of(package.folder)
    assert JOURNAL not in found
    return {name: data for name, data in found.items() if name[0] != "."}


def cell(key: str, field: str, before: str, after: str, table: str = "element") -> Change:
    return Change(table, key, field, before, after)


# -- the same as one decision after another --------------------------------------------------------

values = st.sampled_from(("", "9 ft", "2.5", "4.20"))
told = st.dictionaries(st.sampled_from(("length_m", "xa_m")), values, min_size=1)
steps = st.lists(
    st.one_of(
        st.tuples(st.just("cells"), st.dictionaries(st.sampled_from(KEYS), told, min_size=1)),
        st.tuples(st.just("rename"), st.tuples(st.sampled_from(KEYS), st.sampled_from(KEYS))),
        st.tuples(st.sampled_from(("undo", "write", "begin anew")), st.none()),
    ),
    max_size=6,
)
METRIC = {"9 ft": "2.7432", "4.20": "4.2"}


def rows_of(cells: dict[str, dict[str, str]]) -> list[EnteredRow]:
    """What the cells say, written down here by hand."""
    return [
        EnteredRow(
            "element",
            key,
            {name: METRIC.get(text, text) for name, text in said.items()},
            {name: text for name, text in said.items() if text in METRIC},
        )
        for key, said in cells.items()
    ]


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(walk=steps, whose=st.lists(st.sampled_from("abc"), min_size=6, max_size=6))
def test_cells_at_two_desks_and_a_command_line_are_what_decisions_in_a_row_come_to(
    begun: Package, walk: list[tuple[str, object]], whose: list[str]
) -> None:
    at_desk, plain = a_copy(begun, "at desk"), a_copy(begun, "plain")
    desks = {one: Working(at_desk, quiet=60) for one in "ab"}
    for (step, what), one in zip(walk, whose, strict=False):
        if step == "write" and one in desks:
            desks[one].write_tables()
        elif step == "begin anew" and one in desks:
            desks[one]._wait(None)  # as a program that ends without a word
            desks[one] = Working(at_desk, quiet=60)
        made = decision(step, what)
        if made is None:
            continue
        outcomes = []
        for package, desk in ((plain, None), (at_desk, desks.get(one))):
            try:
                outcomes.append(act_of(package, desk, one, made, what if step == "cells" else None))
            except Refused as error:
                outcomes.append(str(error).replace(str(package.folder), "there"))
        assert outcomes[0] == outcomes[1]
        desks["a"].tables.hold()  # from which the next ones are made
    standing = desks["a"].tables.hold()
    for one in desks.values():
        assert one.rows("element") == desks["a"].rows("element")
        one._wait(None)
    assert seen(at_desk) == seen(plain)
    for name, text in open_package(at_desk.folder).tables.each():
        assert text is not None
        assert same(standing.written(name), text), name


def act_of(package: Package, desk: Working | None, who: str, made: Deciding, cells: object) -> str:
    """The act that is recorded, at a desk or by a command."""
    if desk is None:
        return decide(package, made, who=who, when=WHEN).act_id
    if cells is None:
        return desk.decide(made, who=who, when=WHEN).act_id
    answer = desk.change(typed(desk, cells), who=who, when=WHEN)
    assert answer.done is not None
    return answer.done.act_id


def decision(step: str, what: object) -> Deciding | None:
    if step == "cells":
        assert isinstance(what, dict)
        return enter(rows_of(what))
    if step == "rename":
        assert isinstance(what, tuple)
        return rename("element", *what)
    return undo("last") if step == "undo" else None


def typed(working: Working, cells: object) -> list[Change]:
    assert isinstance(cells, dict)
    return [
        cell(key, name, (working.row("element", key) or {}).get(name, ""), text)
        for key, said in cells.items()
        for name, text in said.items()
    ]


# -- one act, all or none --------------------------------------------------------------------------


def test_what_cannot_be_read_or_was_changed_meanwhile_is_told_and_nothing_is_written(
    begun: Package,
) -> None:
    package = a_copy(begun, "told")
    untouched = seen(package)
    with Working(package) as working:
        cells = [
            cell("B1-014", "length_m", "4.2", "9 ft"),
            cell("B1-014", "place_id", "B1", "b12"),
            cell("B1-015", "function", "beam", "bem"),
        ]
        answer = working.change(cells, who="MB")
        assert answer.done is None
        assert [(one.key, one.field) for one in answer.unread] == [
            ("B1-014", "place_id"),
            ("B1-015", "function"),
        ]
        assert "names no place of this record; did you mean B1?" in answer.unread[0].message
        answer = working.change([cell("B1-014", "notes", "", "half \ud83e")], who="MB")
        assert "half of a character" in answer.unread[0].message
        answer = working.change([cell("B1-014", "length_m", "4.3", "9 ft")], who="MB")
        assert [tuple(one) for one in answer.stands] == [("element", "B1-014", "length_m", "4.2")]
        # a row that another desk has entered under the key meanwhile
        answer = working.change([cell("B1-014", "element_id", "", "B1-014")], who="MB")
        assert answer.stands[0].now == "B1-014"
        with pytest.raises(Refused, match="no field 'colour_of_wood'"):
            working.change([cell("B1-014", "colour_of_wood", "", "red")], who="MB")
        with pytest.raises(Refused, match="already"):
            working.change([cell("B1-014", "length_m", "4.2", "4.20")], who="MB")
    assert seen(package) == untouched


def test_new_rows_that_refer_to_one_another_are_one_act_and_are_undone_together(
    begun: Package,
) -> None:
    package = a_copy(begun, "new rows")
    with Working(package) as working:
        answer = working.change(
            [
                cell("B1-020", "element_id", "", "B1-020"),
                cell("B1-020", "length_m", "", "12' 6 1/2\""),
                cell("240", "sample_id", "", "240", "sample"),
                cell("240", "element_id", "", "B1-020", "sample"),
            ],
            who="MB",
        )
        assert answer.done is not None
        # 12 ft 6 1/2 in = 150.5 x 25.4 mm
        assert working.row("element", "B1-020") == {"element_id": "B1-020", "length_m": "3.8227"}
        assert working.tables.column("sample", "element_id") == ["B1-014", "B1-020"]
        named = SampleNames.of(working.tables)
        assert vars(working._sample_names(working.tables)) == vars(named)
        mark = working.changed_since(0).mark
        # a key that is typed over is another name, also where others refer to it
        working.change([cell("B1-020", "element_id", "B1-020", "B1-21")], who="MB")
        assert (working.row("sample", "240") or {})["element_id"] == "B1-21"
        changed = working.changed_since(mark)
        assert {("element", "B1-21"), ("sample", "240")} <= changed.rows
        assert not changed.everything
        working.undo("last", who="MB")
        working.undo(answer.done.act_id, who="MB")
        assert working.row("sample", "240") is None
    assert open_package(package.folder).tables.column("sample", "sample_id") == ["231"]


def test_a_name_that_a_row_was_born_with_is_never_linked_by_mistake(begun: Package) -> None:
    """The new B1-014 is another timber than the one that was called so first."""
    package = a_copy(begun, "apart")
    with Working(package) as working:
        working.decide(rename("element", "B1-014", "B1-100"), who="MB")
        new = [cell("B1-014", "element_id", "", "B1-014")]
        new += [cell("241", "sample_id", "", "241", "sample")]
        new += [cell("241", "element_id", "", "B1-014", "sample")]
        assert working.change(new, who="MB").done
        links = {row["sample_id"]: row["element_id"] for row in working.rows("sample")}
    assert links == {"231": "B1-100", "241": "B1-014"}


def test_what_other_programs_do_is_noticed(begun: Package) -> None:
    package = a_copy(begun, "others")
    with Working(package, quiet=60) as working:
        working.change([cell("B1-014", "notes", "", "seen")], who="MB")
        mark = working.changed_since(0).mark
        words = ["B1-015", "length_m=9 ft", "--by", "MB", "--why", "seen"]
        told = CliRunner().invoke(
            treenail, ["change", "correct", str(package.folder), "element", *words]
        )
        assert (told.exit_code, told.output.splitlines()[1:]) == (
            0,
            ['  element B1-015, length_m: "4.2" → "2.7432"'],
        )
        assert working.changed_since(mark).rows == {("element", "B1-015"), ("reading", "")}
        # an edit in a spreadsheet, and a table that no act speaks of
        path = package.table_path("element")
        path.write_bytes(path.read_bytes().replace(b"seen", b"gone"))
        os.utime(package.table_path("custody"), (0, 0))
        assert (working.row("element", "B1-014") or {})["notes"] == "gone"
        assert ("custody", "") in working.changed_since(mark).rows
        working.undo("last", who="MB")
    history = open_history(open_package(package.folder))
    assert [act.who for act in history.acts.values()][-3:] == ["MB", "", "MB"]


def test_acts_of_several_threads_follow_one_another(begun: Package) -> None:
    package = a_copy(begun, "threads")
    with Working(package, quiet=0.0) as working, ThreadPoolExecutor(4) as threads:

        def enter_one(number: int) -> bool:
            key = f"B2-{number}"
            cells = {"element_id": key, "notes": "seen"}
            new = [cell(key, name, "", text) for name, text in cells.items()]
            return working.change(new, who="MB").done is not None

        assert all(threads.map(enter_one, range(12)))
        # without the journal the acts are still in memory
        (package.folder / JOURNAL).unlink(missing_ok=True)
        assert enter_one(12)
    keys = open_package(package.folder).tables.column("element", "element_id")
    assert keys == ["B1-014", "B1-015", *(f"B2-{number}" for number in range(13))]


def test_the_tables_are_written_in_the_quiet(begun: Package) -> None:
    package = a_copy(begun, "quiet")
    with Working(package, quiet=0.01) as working:
        working.change([cell("B1-014", "notes", "", "seen")], who="MB")
        assert working.tables.column("element", "notes")[0] == "seen"
        for _ in range(1000):
            if not (package.folder / JOURNAL).exists():
                break
            time.sleep(0.01)
        assert package.tables.column("element", "notes")[0] == "seen"
        assert working.trouble is None


# -- kills, torn lines, strangers ------------------------------------------------------------------


def left(package: Package, *notes: str) -> Path:
    """A package whose desk died after these cells; returns the journal."""
    working = Working(package, quiet=60)
    before = ""
    for note in notes:
        assert working.change([cell("B1-014", "notes", before, note)], who="MB", when=WHEN).done
        before = note
    working._wait(None)
    return package.folder / JOURNAL


def note_in(package: Package) -> str:
    return open_package(package.folder).tables.column("element", "notes")[0]


def test_a_line_that_was_cut_off_is_left_out_and_written_over(begun: Package) -> None:
    package = a_copy(begun, "cut")
    path = left(package, "one", "two")
    whole = path.read_bytes()
    first = whole.index(b"\n") + 1
    for end in (first, first + 1, len(whole) - 1):
        for garbage in (b"", bytes(40)):
            cut = a_copy(begun, "cut again")
            (cut.folder / JOURNAL).write_bytes(whole[:end] + garbage)
            assert note_in(cut) == "one"
    # a desk that begins on it
    path.write_bytes(whole[: first + 20] + bytes(5000))
    with Working(package, quiet=60) as working:
        working.change([cell("B1-014", "notes", "one", "three")], who="MB")
        with open(path, "ab") as other_desk:
            other_desk.write(whole[:20] + bytes(5000))
        working.change([cell("B1-014", "notes", "three", "four")], who="MB")
        assert path.read_bytes().endswith(b"}\n")
    assert note_in(package) == "four"
    # damage before the last line is nothing that a stopped program leaves
    damaged = a_copy(begun, "damaged")
    (damaged.folder / JOURNAL).write_bytes(whole[5:])
    with pytest.raises(TreenailError, match="damaged in line 1, and acts follow"):
        open_package(damaged.folder)


def test_acts_that_a_stranger_left_wait_until_a_person_says_so(
    begun: Package, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = a_copy(begun, "stranger")
    path = left(package, "one")
    monkeypatch.setattr(journal, "own_key", lambda: b"of somebody else")
    before = content_of(package.folder)
    for opened in (open_package, lambda folder: package.locked().__enter__()):
        with pytest.raises(
            TreenailError, match=r"not recorded by this account.*treenail change finish"
        ):
            opened(package.folder)
    assert content_of(package.folder) == before
    # sealed or not, an act is what its name says
    entry = json.loads(path.read_text())
    for change in ({"who": "XX"}, {"lines": [["element"]]}, {"parents": ["0" * 24]}, {"lines": 3}):
        path.write_text(json.dumps({**entry, "entry": {**entry["entry"], **change}}) + "\n")
        failed = CliRunner().invoke(treenail, ["change", "finish", str(package.folder)])
        assert "was edited by hand, or is not of this record" in str(failed.exception), change
    path.write_text(json.dumps(entry) + "\n")
    done = CliRunner().invoke(treenail, ["change", "finish", str(package.folder)])
    assert done.output == f"act {entry['entry']['act_id'][:8]} is written into the tables\n"
    assert note_in(package) == "one"


def test_a_write_that_stops_between_tables_and_journal_records_nothing_twice(
    begun: Package, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = a_copy(begun, "between")
    path = left(package, "one", "two")
    waiting = path.read_bytes()
    whole = seen(package)
    path.write_bytes(waiting)
    assert seen(package) == whole

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with Working(package, quiet=60) as working:
        monkeypatch.setattr(journal, "sync_file", full)
        with pytest.raises(TreenailError, match=r"nothing was recorded.*make room"):
            working.change([cell("B1-014", "notes", "two", "three")], who="MB")
        monkeypatch.undo()
        assert not path.read_bytes()
        assert (working.row("element", "B1-014") or {})["notes"] == "two"
        working.change([cell("B1-014", "notes", "two", "four")], who="MB")
        monkeypatch.setattr(together, "sync_file", full)
        with pytest.raises(OSError, match="No space"):
            working.write_tables()
        monkeypatch.undo()
    assert note_in(package) == "four"


def type_notes(folder: Path, answered: Path, quiet: float) -> None:
    working = Working(open_package(folder), quiet=quiet)
    before = (working.row("element", "B1-014") or {}).get("notes", "")
    with open(answered, "a", encoding="ascii") as told:
        for number in range(10_000):
            assert working.change([cell("B1-014", "notes", before, str(number))], who="MB").done
            before = str(number)
            told.write(f"{before}\n")
            told.flush()


@pytest.mark.heavy
def test_a_kill_at_any_moment_loses_nothing_that_was_answered(begun: Package) -> None:
    package = a_copy(begun, "killed")
    answered = package.folder.parent / "answered"
    # the tables are being written all the time
    process = started(type_notes, package.folder, answered, 0.0)
    while not answered.exists() or answered.stat().st_size < 50:
        time.sleep(0.01)
    time.sleep(random.Random(7).uniform(0, 0.2))
    process.kill()
    process.join()
    last = int(answered.read_text().split()[-1])
    # the act after it may be whole too, only nobody was told
    assert int(note_in(package)) in (last, last + 1)
    acts = open_history(open_package(package.folder)).acts.values()
    assert len([act for act in acts if act.who == "MB"]) == int(note_in(package)) + 1

"""Merging is the union of what copies say: nothing is lost, whichever is merged into which."""

from __future__ import annotations

import json
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import AlreadyThere, TreenailError
from provenance._checks.language.lineage import ledger_rewritten
from provenance._cli.merging import merge as merge_command
from provenance._history.deciding import Deciding, accept, add, correct, decide, remove, rename
from provenance._history.history import moment_text, open_history, proved
from provenance._history.projection import State
from provenance._intake.claims import Sameness
from provenance._ledger.custody import verify_chain
from provenance._ledger.handover import record_events
from provenance._ledger.keys import countersign_key, enter_key, key_faults, keys_of, retire_key
from provenance._ledger.signing import verify_signed
from provenance._merging.merge import Merged, merge_packages
from provenance._record.edition_key import EDITION_KEY
from provenance._record.origin import ORIGIN, Ancestor, Origin, read_origin
from provenance._record.package import Package, open_package
from provenance._record.settings import Settings, change_settings
from tests.builders import a_package
from tests.intake.forms import a_line, bring_in, content_of, write_csv
from tests.ledger.test_signing import KEEPER, MARA, THIEF, a_record, a_signer, act

NOON = datetime(2031, 6, 1, 12, 0, tzinfo=UTC)

AT_NOON = moment_text(NOON)


def a_copy(package: Package, name: str) -> Package:
    there = package.folder.parent / name
    shutil.copytree(package.folder, there)
    return open_package(there)


def begun(folder: Path) -> Package:
    """A package with one whole chain, its history and a ledger, from which copies are made."""
    for name, content in _begun().items():
        path = folder / "holl" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    (folder / "holl" / "files").mkdir()
    return open_package(folder / "holl")


@cache
def _begun() -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        builder = a_package(Path(folder)).with_chain().with_row("sample", sample_id="232")
        package = builder.package
        days = {"happened_on": "2024-06-04", "recorded_on": "2024-06-04"}
        record_events(package, "collected", ["231", "232"], to_party_id="MB", **days)
        longer = correct("sample", "231", {"length_mm": "98.5"})
        decide(package, longer, who="MB", why="again", when=moment_text(NOON))
        return content_of(package.folder)


def merged(package: Package, other: Package) -> Merged:
    return merge_packages(package, other, who="MB", moment=NOON)


def content(package: Package) -> dict[str, object]:
    """Every table as rows in no order, and every file with its bytes."""
    opened = open_package(package.folder)
    tables: dict[str, object] = {
        name: sorted(tuple(sorted(row.items())) for row in opened.tables.rows(name))
        for name in opened.model.tables
    }
    for path in package.folder.rglob("*"):
        name = path.relative_to(package.folder).as_posix()
        if path.is_file() and not name.startswith((".", "tables/")):
            tables[name] = path.read_bytes()
    return tables


# -- what people do in a copy ----------------------------------------------------------------------


def goes_on(package: Package, chance: random.Random, *, same_names: bool) -> None:
    """Something a crew does, by the functions behind the commands; what is refused is not done."""
    crew = package.folder.name
    number = chance.randint(1, 3)
    sample = chance.choice(["231", "232"])
    moment = NOON.replace(hour=chance.randint(0, 23), minute=chance.randint(0, 59))

    def decided(decision: Callable[..., Deciding], *what: Any) -> Callable[[], object]:
        when = moment_text(moment)
        return lambda: decide(package, decision(*what), who=crew, why="seen", when=when)

    def by_hand() -> None:
        frame = package.table("element")
        frame.loc[2, "notes"] = f"{crew} {number}"
        package.write_table("element", frame)

    def read_a_form() -> None:
        line = a_line(**{"FS no": f"30{number}", "Remarks": crew, "Dia A": "oak"})
        path = write_csv(package.folder.parent / f"timbers-{crew}-{number}.csv", [line])
        bring_in(package, path, when=moment, who=crew, same_as=Sameness(new=True))

    def keep_a_file() -> None:
        path = f"files/plan{number}{'' if same_names else crew}.txt"
        (package.folder / path).write_text(f"{crew} {number}")
        frame = package.table("file")
        if path not in set(frame["path"]):
            cells = {"file_id": f"F-{crew}{number}", "path": path, "kind": "plan", "access": "open"}
            frame.loc[len(frame) + 2] = [cells.get(name, "") for name in frame.columns]
            package.write_table("file", frame)

    def hand_on() -> None:
        days = {"happened_on": f"2024-07-0{number}", "recorded_on": "2024-07-05"}
        to = chance.choice(["LAB", "OWN"])
        record_events(package, "handed_over", [sample], to_party_id=to, **days)

    steps = [
        decided(correct, "sample", sample, {"length_mm": f"9{number}"}),
        decided(correct, "sample", sample, {"notes": f"{crew}{number}"}),
        decided(rename, "sample", "232", f"232{crew}"),
        decided(remove, "sample", "232"),
        decided(accept, [("a.rule", "sample", sample, "", f"{number}")]),
        by_hand,
        read_a_form,
        keep_a_file,
        hand_on,
    ]
    with suppress(TreenailError):
        chance.choice(steps)()


def copies_that_went_on(
    folder: Path, seed: int, names: str, *, same_names: bool = True
) -> list[Package]:
    chance = random.Random(seed)
    package = begun(folder)
    copies = [a_copy(package, name) for name in names]
    for copy in copies:
        for _ in range(chance.randint(1, 3)):
            goes_on(copy, chance, same_names=same_names)
    return copies


def refuse_to_lose(said: State, merged: State) -> None:
    """Every row and cell stands, is one side of a conflict, or was refused by whoever knew it."""
    told = {
        (one.table, one.row, one.field, claim.value)
        for one in merged.conflicts
        for claim in one.claims
    }
    for table, rows in said.rows.items():
        for row, cells in rows.items():
            if row not in merged.rows[table]:
                assert any(one.refused for one in merged.said_of(table, row, ""))
                continue
            for name, text in cells.items():
                if name in said.model.table(table).primary_key:
                    name, text = "#", said.keys[table, row]
                    if merged.keys[table, row] == text or text == row:
                        continue
                claims = merged.said_of(table, row, name)
                refused = {one.value for one in claims if one.refused}
                shown = merged.rows[table][row].get(name)
                assert text in {shown, *refused} or (table, row, name, text) in told


# -- the laws --------------------------------------------------------------------------------------


@settings(max_examples=6)
@given(st.integers(0, 2**32))
def test_two_copies_come_to_the_same_either_way_and_lose_nothing(seed: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        one, two = copies_that_went_on(Path(folder), seed, "AB")
        first, second = a_copy(one, "first"), a_copy(two, "second")
        before = content_of(one.folder), content_of(two.folder)
        foreseen = merge_packages(one, two, who="MB", moment=NOON, dry_run=True)
        out = Path(folder) / "out"
        assert merge_packages(one, two, who="MB", moment=NOON, out=out) == foreseen
        assert (content_of(one.folder), content_of(two.folder)) == before

        assert merged(first, two) == foreseen
        merged(second, one)
        assert content(first) == content(second) == content(open_package(out))
        after = content_of(first.folder)
        again = merged(first, two)
        assert (again.acts, again.events, again.changes) == (0, 0, ())
        assert content_of(first.folder) == after

        whole = proved(first, first.tables)
        assert verify_chain(first) == []
        for copy in (one, two):
            history = open_history(copy)
            assert history.acts.items() <= whole.acts.items()
            refuse_to_lose(history.state, whole.state)
            texts = {path.read_text() for path in first.folder.glob("files/*.txt")}
            assert {path.read_text() for path in copy.folder.glob("files/*.txt")} <= texts
            assert content_of(copy.folder) == before[copy is two]


@settings(max_examples=3)
@given(st.integers(0, 2**32))
def test_three_copies_come_to_the_same_in_any_order(seed: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        one, two, three = copies_that_went_on(Path(folder), seed, "ABC", same_names=False)
        left, right = a_copy(one, "left"), a_copy(two, "right")
        merged(left, two)
        merged(left, three)
        merged(right, three)
        merged(one, right)
        apart = ("custody",)  # which event joins which two is told by the order
        here, there = ({**content(copy), **dict.fromkeys(apart)} for copy in (left, one))
        assert here == there
        # and whoever has merged otherwise comes together too
        merged(left, one)
        merged(one, left)
        assert content(left) == content(one)
        assert verify_chain(left) == []


def test_rows_follow_the_file_they_named(tmp_path: Path) -> None:
    package = begun(tmp_path)
    copies = [a_copy(package, name) for name in "AB"]
    for copy in copies:
        (copy.folder / "files" / "plan.txt").write_text(copy.folder.name)
        frame = copy.table("file")
        cells = {"file_id": f"F-{copy.folder.name}", "path": "files/plan.txt", "kind": "plan"}
        frame.loc[2] = [cells.get(name, "") for name in frame.columns]
        copy.write_table("file", frame)
    told = merged(*copies)
    assert list(told.second) == ["files/plan.txt"]
    named = {row["file_id"]: row["path"] for row in copies[0].tables.rows("file")}
    texts = {key: (copies[0].folder / path).read_text() for key, path in named.items()}
    assert texts == {"F-A": "A", "F-B": "B"}


def test_a_sample_handed_over_in_both_copies_is_named(tmp_path: Path) -> None:
    package = begun(tmp_path)
    one, two = a_copy(package, "A"), a_copy(package, "B")
    days = {"happened_on": "2024-07-01", "recorded_on": "2024-07-01"}
    record_events(one, "handed_over", ["231"], to_party_id="LAB", **days)
    record_events(two, "handed_over", ["231", "232"], to_party_id="OWN", **days)
    result = CliRunner().invoke(merge_command, [str(one.folder), str(two.folder), "--by", "MB"])
    assert result.exit_code == 1
    assert "sample 231 is on the way to" in result.output
    assert "232" not in result.output.split("cannot follow one another")[1]
    assert "one event joins them" in result.output
    assert [row["event"] for row in one.tables.rows("custody")][-1] == "joined"
    assert len(merged(two, one).disputed) == 1
    assert merged(two, one).disputed == ()
    with pytest.raises(TreenailError, match="by 'treenail merge' alone"):
        record_events(two, "joined", ["231"], **days)


def test_a_row_about_an_event_with_another_number_now_is_named(tmp_path: Path) -> None:
    package = begun(tmp_path)
    one, two = a_copy(package, "A"), a_copy(package, "B")
    for copy, sample in ((one, "232"), (two, "231")):
        days = {"happened_on": f"2024-07-0{sample[-1]}", "recorded_on": "2024-07-31"}
        record_events(copy, "stored", [sample], place_held="shelf", **days)
    cells = {"file_id": "F-1", "path": "files/letter.pdf", "kind": "plan", "access": "open"}
    letter = add("file", {**cells, "about_table": "custody", "about_id": "3"})
    decide(one, letter, who="MB", why="letter")
    (note,) = merged(two, one).notes
    assert "file F-1 names custody event 3" in note


def test_what_both_know_of_older_bundles_is_kept(tmp_path: Path) -> None:
    package = begun(tmp_path)
    one, two = a_copy(package, "A"), a_copy(package, "B")
    seals = package.tables.column("custody", "event_sha256")
    origins = [
        Origin(
            bundle=Ancestor(day, "full", day, day),
            earlier=(),
            members_sha256="",
            member_count=1,
            byte_count=1,
            numbers={"sample": {day: "B1-014"}},
            stamps={f"P-{day}": day},
            event_count=len(seals),
            last_seal=seals[-1],
            spent={},
        )
        for day in ("2024", "2026")
    ]
    days = {"happened_on": "2024-07-01", "recorded_on": "2024-07-01", "to_party_id": "LAB"}
    for copy, sample, origin in zip((one, two), ("231", "232"), origins, strict=True):
        (copy.folder / ORIGIN).write_text(json.dumps(origin.as_dict()))
        record_events(copy, "handed_over", [sample], **days)
    back = a_copy(two, "back")
    merged(one, two)
    merged(back, open_package(one.folder))
    for copy in (one, back):
        known = read_origin(copy.folder)
        assert known is not None
        assert (known.bundle.name, [a.name for a in known.earlier]) == ("2026", ["2024"])
        assert known.taken == {"2024", "2026"}
        assert ledger_rewritten.find(copy.tables).is_empty()


def test_the_newer_schemas_are_taken_whichever_copy_has_them(tmp_path: Path) -> None:
    package = begun(tmp_path)
    newer, older = a_copy(package, "newer"), a_copy(package, "older")
    schemas, tables = older.folder / "schemas", older.folder / "tables"
    (schemas / "reservation.json").unlink()
    (tables / "reservation.csv").unlink()
    site = json.loads((schemas / "site.json").read_text())
    site["fields"] = [one for one in site["fields"] if one["name"] != "notes"]
    (schemas / "site.json").write_text(json.dumps(site))
    older.table("site").drop(columns="notes").to_csv(tables / "site.csv", index=False)
    older = open_package(older.folder)
    decide(
        older,
        correct("sample", "231", {"notes": "old"}),
        who="OWN",
        why="seen",
        when=moment_text(NOON),
    )
    decide(
        newer,
        correct("site", "HOLL", {"notes": "new"}),
        who="MB",
        why="seen",
        when=moment_text(NOON),
    )
    kept = merge_packages(newer, older, out=tmp_path / "kept")
    taken = merged(older, newer)
    assert "older schemas" in kept.notes[0]
    assert "newer schemas" in taken.notes[0]
    assert open_package(older.folder).model == newer.model
    assert content(older) == content(open_package(tmp_path / "kept"))
    (row,) = older_rows = open_package(older.folder).tables.rows("site")
    assert (row["notes"], len(older_rows)) == ("new", 1)
    # how a copy measures is its own affair, also where its schemas are the older ones
    newer = change_settings(newer, Settings("feet-inches"))
    told = merge_packages(open_package(older.folder), newer).notes
    assert "units stay as they are here, metric; the other copy has feet_inches" in told
    assert open_package(older.folder).model.units == "metric"


# -- what is refused -------------------------------------------------------------------------------


def change_text(package: Package, path: str, old: str, new: str) -> None:
    text = (package.folder / path).read_text()
    assert old in text
    (package.folder / path).write_text(text.replace(old, new))


def set_property(package: Package, name: str, value: str | None) -> None:
    path = package.folder / "datapackage.json"
    raw = {k: v for k, v in json.loads(path.read_text()).items() if k != name}
    path.write_text(json.dumps({**raw, **({name: value} if value else {})}))


REFUSED: dict[str, tuple[Callable[[Package], object], str]] = {
    "an act": (lambda p: change_text(p, "tables/act.csv", "again", "never"), "edited by hand"),
    "a line": (lambda p: change_text(p, "tables/change.csv", "98.5", "98.6"), "edited by hand"),
    "an event": (
        lambda p: change_text(p, "tables/custody.csv", "2024-06-04", "2024-06-05"),
        "does not match its own seal",
    ),
    "another key": (lambda p: set_property(p, EDITION_KEY, "ab" * 32), "two different records"),
    "no key": (lambda p: set_property(p, EDITION_KEY, None), "public edition"),
    "another day": (lambda p: set_property(p, "created", "2020-01-01T00:00:00Z"), "different rec"),
    "profile": (
        lambda p: change_text(p, "schemas/model.json", '"profile": "blank"', '"profile": "x"'),
        "the profile 'x'",
    ),
    "a folder": (lambda p: (p.folder / "files" / "a.txt" / "b").mkdir(parents=True), "a folder"),
    "no table": (lambda p: (p.folder / "tables" / "sample.csv").unlink(), "sample"),
    "uneven": (lambda p: change_text(p, "tables/sample.csv", "232,", '"232'), "sample.csv"),
}


@pytest.mark.parametrize("broken", ["mine", "theirs"])
@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_merged_is_refused_and_nothing_changes(
    tmp_path: Path, case: str, broken: str
) -> None:
    package = begun(tmp_path)
    one, two = a_copy(package, "A"), a_copy(package, "B")
    bad, good = (one, two) if broken == "mine" else (two, one)
    decide(
        good, correct("sample", "232", {"notes": "x"}), who="MB", why="seen", when=moment_text(NOON)
    )
    if case == "a folder":
        (good.folder / "files" / "a.txt").write_text("x")
    do, why = REFUSED[case]
    do(bad)
    if case == "a folder":
        (bad.folder / "files" / "a.txt" / "b" / "c.txt").write_text("x")
    before = content_of(one.folder), content_of(two.folder)
    for options in ({}, {"out": tmp_path / "out"}):
        with pytest.raises(TreenailError, match=why):
            merge_packages(open_package(one.folder), open_package(two.folder), **options)
    assert (content_of(one.folder), content_of(two.folder)) == before
    assert {path.name for path in tmp_path.iterdir()} == {"holl", "A", "B"}


def test_a_link_in_the_other_copy_is_refused(tmp_path: Path) -> None:
    package = begun(tmp_path)
    other = a_copy(package, "B")
    (other.folder / "files" / "link.txt").symlink_to("/etc/hostname")
    with pytest.raises(TreenailError, match=r"link\.txt is a link"):
        merge_packages(package, other)


def test_one_folder_and_a_folder_in_the_way_are_refused(tmp_path: Path) -> None:
    package = begun(tmp_path)
    other = a_copy(package, "B")
    with pytest.raises(TreenailError, match="are one folder"):
        merge_packages(package, open_package(package.folder / ".." / "holl"))
    with pytest.raises(AlreadyThere):
        merge_packages(package, other, out=other.folder)


# -- stopped half-way ------------------------------------------------------------------------------


MERGING = """
import sys
from pathlib import Path
from datetime import UTC, datetime
from provenance._merging.merge import merge_packages
from provenance._record.package import open_package
one, two = (open_package(path) for path in sys.argv[1:])
print("ready", flush=True)
merge_packages(one, two, who="MB", moment=datetime(2031, 6, 1, 12, 0, tzinfo=UTC))
"""


@pytest.mark.heavy
def test_a_kill_at_any_moment_leaves_all_of_the_merge_or_nothing(tmp_path: Path) -> None:
    one, two = copies_that_went_on(tmp_path, 5, "AB")
    untouched, theirs = content(one), content_of(two.folder)
    done = a_copy(one, "done")
    merged(done, two)
    assert content(done) != untouched
    moments = random.Random(7)
    took = 0.0
    for attempt in range(5):
        copy = a_copy(one, f"copy{attempt}")
        process = subprocess.Popen(
            [sys.executable, "-c", MERGING, str(copy.folder), str(two.folder)],
            stdout=subprocess.PIPE,
        )
        assert process.stdout is not None
        assert process.stdout.readline() == b"ready\n"
        started = time.monotonic()
        if attempt == 0:  # once undisturbed, to know how long it takes
            assert process.wait() == 0
            took = time.monotonic() - started
        else:
            time.sleep(moments.uniform(0, took * 1.1))
            process.send_signal(signal.SIGKILL)
            process.wait()
        process.stdout.close()
        assert content(copy) in ([content(done)] if attempt == 0 else [untouched, content(done)])
        assert content_of(two.folder) == theirs


def test_keys_are_vouched_for_and_retired_if_either_copy_has_it_so(tmp_path: Path) -> None:
    package = a_record(tmp_path)
    enter_key(package, THIEF, "LAB", since="2024-01-01")
    one, two = a_copy(package, "A"), a_copy(package, "B")
    # in one copy vouched for and put out of use; in the other too, earlier, and one key more
    countersign_key(one, THIEF.key_id, KEEPER)
    retire_key(one, MARA.key_id, MARA, until="2025-12-31")
    retire_key(two, MARA.key_id, KEEPER, until="2024-12-31")
    enter_key(two, a_signer(9), "OWN", since="2024-02-01")
    act(one, "collected", THIEF, to_party_id="LAB")
    other = a_copy(one, "other")
    merged(one, two)
    merged(two, other)
    assert content(one) == content(two)
    keys = keys_of(one.tables)
    assert sorted(key.party_id for key in keys.values()) == ["LAB", "MB", "OWN", "REPO"]
    assert keys[THIEF.key_id].keeper_key_id == KEEPER.key_id
    assert keys[MARA.key_id].until == "2024-12-31"
    assert [one.rule for one in key_faults(one.tables)] == ["key.not_countersigned"]
    assert verify_signed(one.tables) == verify_chain(one) == []
    merged(one, package)
    assert content(one) == content(two)

"""A store held against itself: every fault is told until it is put right or settled."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import platformdirs
import pytest
from click.testing import CliRunner

from provenance._accession.doi import register_kept
from provenance._bag.bag import write_bag
from provenance._base.disk import sha256_of
from provenance._base.errors import UnusableInput
from provenance._bundle.in_place import known_as
from provenance._bundle.verify import open_record, opened_bundle, verify_bundle
from provenance._catalogue.audit.audit import Audit, audit_place, settle_in_store
from provenance._catalogue.audit.audit_report import audit_html, audit_json, audit_lines
from provenance._catalogue.audit.fixity import Examination, examine_bundle
from provenance._catalogue.audit.store_audit import StoreState
from provenance._catalogue.build import index_place
from provenance._cli import treenail
from provenance._ledger.branches import heads_of
from provenance._ledger.custody import sealed
from provenance._ledger.joining import joined_ledgers
from provenance._ledger.seals import FILLED_IN
from provenance._record.given_out import numbers_bytes
from provenance._record.origin import numbers_of
from provenance._store.acts import ends_of, read_register, register_bytes, sealed_act
from provenance._store.comparing import REMEDIES, StoreFinding
from provenance._store.copies import merge_copy, split_store
from provenance._store.fixity import fixity_files, read_fixity
from provenance._store.home import CopyOfStore, refuse_copy
from provenance._store.identity import identity_in
from provenance._store.paper import anchor_line, read_anchor_line
from provenance._store.preservation import preservation_events
from provenance._store.standing import holdings_in
from provenance._store.store import Store, open_store
from tests.builders import left_alone
from tests.catalogue.conftest import flip_a_bit
from tests.forked import started

DAY = {"on": date(2026, 3, 1), "recorded_on": "2026-03-01T09:00:00Z", "by": "Wen Tolliver"}
ONE, OTHER = "2026.0001/one", "2026.0002/other.zip"
PHOTO = "data/files/photo-001.png"
MOVED = {"event": "stored", "happened_on": "2026-03-02", "sample_id": "231"}


def keep(store: Store, number: str, bundle: Path, **facts: str) -> None:
    """Accession a bundle as it is: the store's side of it, without number and receipt."""
    with opened_bundle(bundle) as folder:
        package = open_record(folder)
        known = identity_in(folder, package.tables, ())
        events = [dict(row) for row in package.tables.rows("custody")]
        card = numbers_bytes(numbers_of(package))
    with store.writing(**DAY) as writing:
        files = (
            [bundle] if bundle.is_file() else sorted(p for p in bundle.rglob("*") if p.is_file())
        )
        for path in files:
            inside = path.relative_to(bundle.parent).as_posix()
            with writing.staged.writing(f"{number}/{inside}") as stream:
                stream.write(path.read_bytes())
        writing.staged.write(f"{number}/card.csv", card)
        (card_at := store.folder.parent / "card.csv").write_bytes(card)
        ends = {"heads": " ".join(h.seal for h in heads_of(events)), "events": str(len(events))}
        writing.add(
            "accession",
            **{
                "number": number,
                "record_id": known.marks[0],
                "edition": "full",
                "bag": known.bag,
                "payload": known.payload,
                "received": known.bag,
                "kept_at": f"{number}/{bundle.name}",
                "bindings": sha256_of(card_at),
                **(ends if events else {}),
                **facts,
            },
        )
        card_at.unlink()
        if events:
            whole = joined_ledgers(writing.ledger(known.marks[0]), events)
            writing.put_ledger(known.marks[0], whole)


@pytest.fixture(scope="module")
def begun(shelf: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with 'store' (two accessions, audited) and 'strange', a bundle of neither."""
    folder = tmp_path_factory.mktemp("begun")
    store = Store(folder / "store")
    keep(store, "2026.0001", shelf / "one")
    keep(store, "2026.0002", shelf / "other.zip")
    with store.writing(**DAY) as writing:
        writing.put_rows("place", [{"place_id": "B7", "kind": "box"}])
    strange = shutil.copytree(shelf / "one", folder / "strange")
    (strange / PHOTO).write_bytes(b"another picture")
    as_bag(strange)
    assert audit(folder / "store").clean
    with left_alone(folder):
        yield folder


def as_bag(folder: Path) -> None:
    """Write all lists of a bag anew, so that nothing is wrong with it as a bag."""
    for path in [*folder.glob("*manifest-*.txt"), folder / "bagit.txt", folder / "bag-info.txt"]:
        path.unlink()
    write_bag(folder, {"Bagging-Date": "2031-05-04"})


@pytest.fixture
def store(begun: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(begun / "store", tmp_path / "store"))


def audit(store: Path, minutes: float | None = None, **more: object) -> Audit:
    return audit_place(store, index_place(store), minutes=minutes, **more)  # type: ignore[arg-type]


def open_in(found: Audit) -> tuple[StoreFinding, ...]:
    assert found.store
    return found.store.open


def told(found: Audit) -> list[tuple[str, str]]:
    return [(one.kind, one.number or one.path) for one in open_in(found)]


def record_of(store: Path, number: str = "2026.0001") -> str:
    return open_store(store).accession(number).record_id


def edit_rows(path: Path, change: Callable[[list[dict[str, str]]], None]) -> None:
    with open(path, encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    columns = list(rows[0])
    change(rows)
    with open(path, "w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def cut_register(store: Path, count: int) -> None:
    path = store / "register.csv"
    path.write_bytes(register_bytes(read_register(path)[:count]))


def swap(store: Path) -> None:
    """The second bundle in the place of the first, under its name."""
    shutil.rmtree(store / ONE)
    with opened_bundle(store / OTHER) as folder:
        shutil.copytree(folder, store / ONE)


def rewritten(rows: list[dict[str, str]]) -> None:
    rows[-1] |= dict.fromkeys(FILLED_IN, "") | {"notes": "changed"}
    rows[:] = sealed(rows)


def two_ends(store: Path) -> None:
    """The lines of two copies of the register, laid one behind the other by hand."""
    path = store / "register.csv"
    acts = read_register(path)
    apart = sealed_act(
        ends_of(acts[:-1]), type(acts[0])("printed", "2026-03-05", "2026-03-05T09:00:00Z")
    )
    path.write_bytes(register_bytes([*acts, apart]))


def branch(store: Path, strange: Path) -> None:
    keep(Store(store), "2026.0003", strange)


FAULTS: dict[str, tuple[Callable[[Path, Path], object], list[tuple[str, str]]]] = {
    "a bundle is deleted": (
        lambda s, _: shutil.rmtree(s / ONE),
        [("missing", "2026.0001")],
    ),
    "a bundle is moved": (
        lambda s, _: shutil.move(s / ONE, s / "elsewhere"),
        [("moved", "2026.0001")],
    ),
    "a bundle takes the place of another": (lambda s, _: swap(s), [("exchanged", "2026.0001")]),
    "an unknown bundle takes its place": (
        lambda s, strange: (shutil.rmtree(s / ONE), shutil.copytree(strange, s / ONE)),
        [("foreign", "2026.0001")],
    ),
    "a tag is rewritten": (lambda s, _: as_bag(s / ONE), [("tags altered", "2026.0001")]),
    "a byte is changed": (
        lambda s, _: flip_a_bit(s / ONE / PHOTO),
        [("damaged", "2026.0001")],
    ),
    "a zip is cut off": (
        lambda s, _: (s / OTHER).write_bytes((s / OTHER).read_bytes()[:-900]),
        [("damaged", "2026.0002")],
    ),
    "a bundle is copied": (
        lambda s, _: shutil.copytree(s / ONE, s / "copy"),
        [("duplicate", "2026.0001")],
    ),
    "an edition is laid there": (
        lambda s, strange: shutil.copytree(strange, s / "strange"),
        [("unregistered edition", "2026.0001")],
    ),
    "its line is cut off": (
        lambda s, _: cut_register(s, 3),
        [
            ("unregistered", OTHER),
            ("table altered", "place.csv"),
            ("table altered", f"fixity/{date.today():%Y-%m}.csv"),
        ],
    ),
    "a withdrawn bundle stays": (
        lambda s, _: CliRunner().invoke(
            treenail, ["store", "withdraw", str(s), "2026.0001", "--reason", "given back"]
        ),
        [("withdrawn but there", "2026.0001")],
    ),
    "a card is lost": (
        lambda s, _: (s / "2026.0001/card.csv").unlink(),
        [("card missing", "2026.0001")],
    ),
    "a card is changed": (
        lambda s, _: edit_rows(s / "2026.0001/card.csv", lambda r: r[0].update(owner="B9")),
        [("card altered", "2026.0001")],
    ),
    "a place is written in by hand": (
        lambda s, _: (s / "place.csv").write_text("place_id,kind,name\nB8,box,\n"),
        [("table altered", "place.csv")],
    ),
    "a person is written in by hand": (
        lambda s, _: (s / "party.csv").write_text("party_id,kind,name\nMB,person,x\n"),
        [("table altered", "party.csv")],
    ),
    "an event is changed": (
        lambda s, _: edit_rows(ledger_of(s), lambda r: r[0].update(to_party_id="LAB")),
        [("ledger broken", "LEDGER")],
    ),
    "an event is cut off": (
        lambda s, _: edit_rows(ledger_of(s), lambda r: r.pop()),
        [("ledger cut", "LEDGER")],
    ),
    "a ledger is lost": (lambda s, _: ledger_of(s).unlink(), [("ledger cut", "LEDGER")]),
    "an event is sealed anew": (
        lambda s, _: edit_rows(ledger_of(s), rewritten),
        [("ledger rewritten", "LEDGER")],
    ),
    "an event is added past the register": (
        lambda s, _: edit_rows(ledger_of(s), add_past_the_register),
        [("ledger ahead", "LEDGER")],
    ),
    "two bundles go on from one apart": (branch, [("branched", "")]),
    "a line is changed": (
        lambda s, _: edit_rows(s / "register.csv", lambda r: r[1].update(by="nobody")),
        [("register broken", "register.csv")],
    ),
    "a line is taken out": (
        lambda s, _: edit_rows(s / "register.csv", lambda r: r.pop(2)),
        [("register broken", "register.csv")],
    ),
    "two registers are laid together": (
        lambda s, _: two_ends(s),
        [("register not joined", "register.csv")],
    ),
}


def ledger_of(store: Path) -> Path:
    return store / "ledger" / f"{record_of(store)}.csv"


def add_past_the_register(rows: list[dict[str, str]]) -> None:
    rows[:] = sealed([*rows, dict.fromkeys(rows[0], "") | MOVED])


TOGETHER = (
    ("two bundles go on from one apart", "a bundle is deleted", "a card is lost"),
    ("a bundle is moved", "a card is changed", "an event is changed"),
    ("a bundle is copied", "a bundle takes the place of another", "an event is cut off"),
    ("an unknown bundle takes its place", "an event is sealed anew"),
    ("a tag is rewritten", "a ledger is lost", "a person is written in by hand"),
    ("a withdrawn bundle stays", "a zip is cut off", "a place is written in by hand"),
    ("a byte is changed", "an event is added past the register", "an edition is laid there"),
    ("its line is cut off",),
    ("a line is changed", "a line is taken out"),
    ("two registers are laid together",),
)
"""Faults that do not hide one another: each line is tried on one store, to save time."""


@pytest.mark.parametrize("faults", TOGETHER)
def test_each_fault_is_told_until_it_is_settled(
    faults: tuple[str, ...], store: Path, begun: Path
) -> None:
    ledger = ledger_of(store).relative_to(store).as_posix()
    for fault in faults:
        FAULTS[fault][0](store, begun / "strange")
    expected = [
        (kind, about.replace("LEDGER", ledger))
        for fault in faults
        for kind, about in FAULTS[fault][1]
    ]
    first = audit(store)
    assert sorted(told(first)) == sorted(expected)
    assert not first.clean
    again = audit(store, minutes=0)
    assert again.store == first.store, "a fault is not sound at the next audit"
    for one in open_in(first):
        settle_in_store(store, index_place(store), one.finding_id[:8], reason="looked into")
    after = audit(store, minutes=0)
    assert told(after) == []
    assert after.clean
    assert after.store
    assert set(after.store.settled) <= set(open_in(first))


def test_every_kind_of_fault_is_tried_but_those_of_their_own_tests() -> None:
    assert {one for group in TOGETHER for one in group} == FAULTS.keys()
    tried = {kind for _, expected in FAULTS.values() for kind, _ in expected}
    elsewhere = {"two holders", "register contradicts paper", "number given twice"}
    of_examinations = {"faulty", "not readable"}
    assert REMEDIES.keys() == tried | elsewhere | of_examinations


def test_another_state_of_a_settled_fault_is_told_anew(store: Path) -> None:
    flip_a_bit(store / ONE / PHOTO)
    (found,) = open_in(audit(store))
    assert "it was sound on" in found.said
    run = ["audit", str(store), "--settle", found.finding_id[:6], "--reason", "a copy is at Hollin"]
    assert CliRunner().invoke(treenail, run).exit_code == 0
    assert audit(store).clean
    assert open_store(store).acts[-2].reason == "damaged: a copy is at Hollin"
    (store / ONE / "data/datapackage.json").write_text("{}")
    assert told(audit(store)) == [("damaged", "2026.0001")]
    with pytest.raises(UnusableInput, match="0 open findings begin so"):
        settle_in_store(store, index_place(store), found.finding_id, reason="again")
    done = audit(store, minutes=0)
    (found,) = open_in(done)
    assert json.loads(audit_json(done))["openFindings"][0]["finding"] == found.finding_id
    assert f"Finding {found.finding_id[:8]}." in audit_html(done)
    assert f"{found.finding_id[:8]} damaged: 2026.0001, {ONE}" in "\n".join(audit_lines(done))


def test_a_moved_store_without_its_catalogue_keeps_its_history(store: Path, tmp_path: Path) -> None:
    moved = store.rename(tmp_path / "moved")
    assert audit(moved, minutes=0).store == StoreState((), ())
    index_place(moved).unlink()
    flip_a_bit(moved / ONE / PHOTO)
    done = audit(moved)
    (one,) = [one for one in done.standing if one["standing"] == "damaged"]
    # no index had seen it sound: the store's own files did
    assert one["sound_at"]
    assert told(done) == [("damaged", "2026.0001")]
    assert {row["path"] for row in history(moved)} == {ONE, OTHER}
    assert [row["outcome"] for row in history(moved) if row["path"] == ONE] == ["sound", "damaged"]
    told_on = [
        (one["event_type"], one["object_id"], one["outcome"])
        for one in preservation_events(open_store(moved))
        if one["object_id"] == "2026.0001"
    ]
    number = "2026.0001"
    assert told_on == [
        ("accession", number, "success"),
        ("fixity_check", number, "success"),
        ("fixity_check", number, "fail"),
    ]


def history(store: Path) -> list[dict[str, str]]:
    opened = open_store(store)
    return [row for path in fixity_files(opened) for row in read_fixity(opened, path)]


def test_lines_cut_off_the_register_contradict_the_paper(store: Path) -> None:
    run = CliRunner().invoke(treenail, ["store", "anchor", str(store), "--by", "WT"])
    line = run.stdout.strip()
    kept = read_anchor_line(line)
    assert audit(store, minutes=0, anchors=[kept]).clean
    cut_register(store, kept.count - 1)
    found = audit(store, minutes=0, anchors=[kept])
    assert told(found) == [("register contradicts paper", "register.csv")]
    assert audit(store, minutes=0).clean, "nothing but the paper shows it"
    for wrong in ("register 12", "ledger 3 3f2a 91c0", line[:30], "register 0" + line[10:]):
        with pytest.raises(UnusableInput, match="copy the line as it was printed"):
            read_anchor_line(wrong)


def move(store: Path, place: str, on: str) -> None:
    event = MOVED | {"place_held": place, "happened_on": on}
    with open_store(store).writing(**DAY) as writing:
        writing.add_events(record_of(store), [event])


def put_places(store: Path, **kinds: str) -> None:
    with open_store(store).writing(**DAY) as writing:
        rows = [{"place_id": name, "kind": kind} for name, kind in kinds.items()]
        writing.put_rows("place", rows)


def next_season(store: Path, bundle: Path) -> None:
    keep(Store(store), "2026.0003", bundle, follows=open_store(store).accession("2026.0001").act_id)


def test_two_copies_of_a_store_are_merged_and_a_sample_in_two_places_shows(
    store: Path, begun: Path, tmp_path: Path
) -> None:
    copy = Path(shutil.copytree(store, tmp_path / "copy"))
    move(store, "B7", "2026-03-02")
    move(copy, "B9", "2026-03-03")
    next_season(copy, begun / "strange")
    put_places(copy, B7="room", B9="box")
    put_places(store, B7="shelf")
    audit(copy)
    merged = merge_copy(open_store(store), open_store(copy), **DAY)
    assert merged.accessions == ("2026.0003",)
    assert merged.differing == ("place.csv: B7 differs in the copy; it stays as it is here",)
    assert [row["kind"] for row in open_store(store).rows("place")] == ["shelf", "box"]
    assert told(audit(store)) == [("two holders", ledger_of(store).relative_to(store).as_posix())]
    assert len(history(store)) >= len(history(copy))
    # the next event says where it is
    move(store, "B7", "2026-03-04")
    assert audit(store, minutes=0).clean
    assert holdings_in(open_store(store).ledger(record_of(store)))["231"].place_held == "B7"
    # merging once more brings nothing
    before = (store / "register.csv").read_bytes()
    assert merge_copy(open_store(store), open_store(copy), **DAY).acts == 0
    assert (store / "register.csv").read_bytes() == before


def test_what_cannot_be_merged_is_refused_and_nothing_is_written(
    store: Path, begun: Path, tmp_path: Path
) -> None:
    copy = Path(shutil.copytree(store, tmp_path / "copy"))
    keep(Store(store), "2026.0003", begun / "strange")
    keep(Store(copy), "2026.0003", begun / "store" / ONE)
    lost = Path(shutil.copytree(store, tmp_path / "lost"))
    keep(Store(lost), "2026.0004", begun / "strange")
    shutil.rmtree(lost / "2026.0004/strange")
    foreign = tmp_path / "foreign"
    keep(Store(foreign), "2026.0001", begun / "strange")
    before = (store / "register.csv").read_bytes()
    for other, word in (
        (copy, "both stores gave out"),
        (lost, "is not there"),
        (foreign, "another store"),
    ):
        with pytest.raises(UnusableInput, match=word):
            merge_copy(open_store(store), open_store(other), **DAY)
    edit_rows(copy / "register.csv", lambda rows: rows[2].update(by="nobody"))
    with pytest.raises(UnusableInput, match="line 4 was changed"):
        merge_copy(open_store(store), open_store(copy), **DAY)
    assert (store / "register.csv").read_bytes() == before
    # two accessions under one number, in a register that was put together by hand
    acts = [*read_register(store / "register.csv")]
    twice = sealed_act(ends_of(acts), replace(acts[-2], parents="", act_id=""))
    (store / "register.csv").write_bytes(register_bytes([*acts, twice]))
    assert ("number given twice", twice.number) in told(audit(store, minutes=0))


def test_a_store_is_parted_and_each_withdraws_what_the_other_keeps(
    store: Path, tmp_path: Path
) -> None:
    part = tmp_path / "part"
    words = ["store", "split", str(store), str(part), "--number", "2026.0002"]
    run = CliRunner().invoke(treenail, [*words, "--reason", "the mill has its own archive"])
    assert run.exit_code == 0, run.output
    assert str(store / OTHER) in run.output
    (store / OTHER).unlink()
    for one, gone in ((store, "2026.0002"), (part, "2026.0001")):
        assert audit(one).clean
        assert list(open_store(one).withdrawn) == [gone]
    assert open_store(store).store_id != open_store(part).store_id
    assert not (part / ONE).exists()
    with pytest.raises(UnusableInput, match=r"no accession 2026\.0002"):
        split_store(open_store(store), tmp_path / "p2", ["2026.0002"], reason="again", **DAY)
    assert not (tmp_path / "p2").exists()


def test_a_copy_gives_no_number_and_a_moved_store_does(
    store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(platformdirs, "user_data_path", lambda *_, **__: tmp_path / "home")
    refuse_copy(open_store(store))
    copy = Path(shutil.copytree(store, tmp_path / "copy"))
    with pytest.raises(CopyOfStore, match="is a copy of the store"):
        refuse_copy(open_store(copy))
    refuse_copy(open_store(store))
    moved = store.rename(tmp_path / "moved")
    refuse_copy(open_store(moved))
    with pytest.raises(CopyOfStore, match="moved"):
        refuse_copy(open_store(copy))
    shutil.rmtree(moved)
    refuse_copy(open_store(copy))


@pytest.mark.parametrize("number", ["2026.0001", "2026.0002"])
def test_a_doi_on_a_kept_bundle_is_in_the_register_and_no_finding(store: Path, number: str) -> None:
    """2026.0001 is kept as a folder, 2026.0002 as a zip."""
    day = {"today": date(2031, 6, 1), "recorded_on": "2031-06-01T09:00:00Z"}
    kept = store / open_store(store).accession(number).kept_at
    inside = [kept / "data" / "bundle.json"] if kept.is_dir() else []
    before = [path.stat().st_mtime_ns for path in inside]
    register_kept(open_store(store), number, "10.5072/hr-1", **day)
    assert [path.stat().st_mtime_ns for path in inside] == before
    assert known_as(kept).doi == "10.5072/hr-1"
    assert verify_bundle(kept).intact
    assert audit(store).clean
    with pytest.raises(UnusableInput, match=r"10\.5072/hr-1"):
        register_kept(open_store(store), number, "10.5072/hr-2", **day)
    assert audit(store).clean


def merge_here(store: Path, copy: Path) -> None:
    merge_copy(open_store(store), open_store(copy), **DAY)


@pytest.mark.heavy
def test_a_merge_that_is_killed_is_done_whole_or_not_at_all(
    store: Path, begun: Path, tmp_path: Path
) -> None:
    copy = Path(shutil.copytree(store, tmp_path / "copy"))
    move(copy, "B9", "2026-03-03")
    next_season(copy, begun / "strange")
    whole = Path(shutil.copytree(store, tmp_path / "whole"))
    merge_here(whole, copy)
    before, after = len(open_store(store).acts), len(open_store(whole).acts)
    for wait in (0.03, 0.1, 60):
        again = Path(shutil.copytree(store, tmp_path / f"store-{wait}"))
        process = started(merge_here, again, copy)
        process.join(wait)
        process.kill()
        process.join()
        found = open_store(again)
        assert len(found.acts) in (before, after)
        assert (again / "2026.0003/strange").exists() == (len(found.acts) == after)
        assert audit(again, minutes=0).clean


def test_what_is_recorded_while_the_audit_runs_is_no_fault(
    store: Path, begun: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    original = examine_bundle

    def busy(path: Path) -> Examination:
        if not (store / "2026.0003").exists():
            next_season(store, begun / "strange")
            move(store, "B7", "2026-03-02")
        return original(path)

    monkeypatch.setattr("provenance._catalogue.audit.audit.examine_bundle", busy)
    assert told(audit(store)) == []
    assert open_store(store).accession("2026.0003")


def test_only_a_store_keeps_what_is_settled_and_its_register_what_is_withdrawn(
    store: Path, repository: Path
) -> None:
    run = CliRunner().invoke
    words = ["--reason", "given back"]
    for place, sound in ((repository, False), (store, True)):
        settled = run(treenail, ["audit", str(place), "--settle", "0", *words])
        said = "open findings begin so" if sound else "is not a store"
        assert said in str(settled.exception)
    refused = run(treenail, ["catalogue", str(store), "--withdraw", str(store / ONE), *words])
    assert f"treenail store withdraw {store} NUMBER" in str(refused.exception)
    shutil.rmtree(store / ONE)
    assert run(treenail, ["store", "withdraw", str(store), "2026.0001", *words]).exit_code == 0
    assert audit(store).clean
    shown = run(treenail, ["store", "show", str(store)]).stdout.splitlines()
    assert shown[0].endswith(": 1 record, 1 accession, 1 withdrawn")
    assert "1 examined; 0 findings open, 0 settled" in shown[1]
    assert shown[2] == anchor_line(open_store(store).acts)
    again = run(treenail, ["store", "withdraw", str(store), "2026.0001", *words])
    assert "withdrawn already" in str(again.exception)

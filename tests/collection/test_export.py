"""What was recorded in a store travels with the next bundle of the record."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from provenance._accession.accession import accession
from provenance._base.errors import UnusableInput
from provenance._checks.check import check_package
from provenance._collection.export import brought_forward, export_record
from provenance._collection.kept import kept_record
from provenance._collection.loans import loans_in
from provenance._drawing.paper import paper_named
from provenance._ledger.custody import verify_chain
from provenance._ledger.holdings import holdings_of
from provenance._record.package import Package, open_package
from provenance._store.store import Store
from tests.accession.conftest import a_sound_package
from tests.builders import a_package, left_alone, pack_bundle
from tests.collection.stores import FIRST, a_store, act


def take_in(package: Package, store: Path, name: str) -> str:
    bundle = pack_bundle(package, store.parent / name, zipped=True)
    done = accession(
        bundle,
        store,
        depositor="Mara Birkwood (invented)",
        on=date(2026, 3, 1),
        recorded_on="2026-03-01T10:00:00Z",
        paper=paper_named("a4"),
        pattern="{year}.{serial:04}" if not store.exists() else "",
    )
    return done.entry.number


def with_events(folder: Path, package: Package) -> tuple[Store, str]:
    """The store with a record, one core of it cut and lent to a party of the store."""
    number = take_in(package, folder / "store", "first.zip")
    store = Store(folder / "store")
    party = {"party_id": "ALD", "kind": "organization", "name": "Second Ring Lab (invented)"}
    with store.writing(on=date(2026, 3, 1), recorded_on="2026-03-01T11:00:00Z") as writing:
        writing.put_rows("party", [party])
    record = store.accession(number).record_id
    both = {record: ["231", "232"]}
    act(store, "deposited", both, "2026-03-02", to_party_id="REPO", place_held="B7")
    act(store, "sub_sampled", {record: ["231"]}, "2026-03-03")
    lent = {"to_party_id": "ALD", "loan_due_on": "2027-01-01"}
    act(store, "loaned", {record: ["231A"]}, "2026-03-04", **lent)
    return store, record


@pytest.fixture(scope="module")
def lent(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A store as `with_events` makes it; never to be changed."""
    folder = tmp_path_factory.mktemp("lent")
    store, _ = with_events(folder, a_sound_package(folder))
    with left_alone(store.folder):
        yield store.folder


@pytest.fixture
def store(lent: Path, tmp_path: Path) -> Store:
    """A copy of that store, to be changed."""
    return Store(Path(shutil.copytree(lent, tmp_path / "store")))


def test_a_record_is_given_out_with_all_that_happened_in_the_store(
    store: Store, tmp_path: Path
) -> None:
    record = store.accession("2026.0001").record_id
    done = export_record(store, "2026.0001", tmp_path / "out")
    package = done.package
    assert (done.parties, done.parts, done.updated) == (("ALD",), ("231A",), False)
    assert not verify_chain(package)
    seals = [row["event_sha256"] for row in store.ledger(record)]
    assert [row["event_sha256"] for row in package.tables.rows("custody")] == seals
    assert holdings_of(package.tables) == kept_record(store, record).holdings
    part = next(row for row in package.tables.rows("sample") if row["sample_id"] == "231A")
    assert (part["parent_sample_id"], part["element_id"]) == ("231", "B1-014")
    rules = set(check_package(package).found["rule"])
    # what the field record says of itself, and nothing of the store's events
    assert {one for one in rules if one.split(".")[0] in ("custody", "sample", "plug")} == {
        "custody.collected_on_another_day"
    }
    assert take_in(package, store.folder, "second.zip") == "2026.0002"
    again = Store(store.folder)
    newest = again.accession("2026.0002")
    assert newest.follows == again.accession("2026.0001").act_id
    assert newest.record_id == record
    (loan,) = loans_in(again)
    assert [(one.sample_id, one.kept.accession.number) for one in loan.out] == [
        ("231A", "2026.0002")
    ]
    assert "231A" in kept_record(again, record).of("sample")
    assert export_record(again, record, tmp_path / "again").events == 0


def test_a_record_of_older_schemas_is_brought_forward(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    later = ("loan_due_on", "reference", "parent_sample_id", "request_decision")
    for table, names in (("custody", later), ("sample", ("parent_sample_id",))):
        path = package.folder / "schemas" / f"{table}.json"
        raw = json.loads(path.read_text())
        raw["fields"] = [one for one in raw["fields"] if one["name"] not in names]
        raw["foreignKeys"] = [
            one for one in raw["foreignKeys"] if not set(one["fields"]) & set(names)
        ]
        path.write_text(json.dumps(raw))
        frame = package.table(table).drop(columns=list(names))
        frame.to_csv(package.table_path(table), index=False, lineterminator="\n")
    package = open_package(package.folder)
    store = a_store(tmp_path)
    same, updated = brought_forward(package, kept_record(store, FIRST))
    assert (same, updated) == (package, False)
    act(store, "stored", {FIRST: ["231"]}, "2026-03-02", place_held="B7")
    act(store, "sub_sampled", {FIRST: ["231"]}, "2026-03-02")
    newer, updated = brought_forward(package, kept_record(store, FIRST))
    assert updated
    assert {*later} <= set(newer.model.table("custody").names)
    assert [row["parent_sample_id"] for row in newer.tables.rows("sample")] == [""]


def test_a_lost_bundle_or_ledger_is_said_and_nothing_is_given_out(
    store: Store, tmp_path: Path
) -> None:
    record = store.accession("2026.0001").record_id
    ledger = store.folder / "ledger" / f"{record}.csv"
    lines = ledger.read_text().splitlines(keepends=True)
    ledger.write_text("".join(lines[:3]))
    with pytest.raises(UnusableInput, match="lacks 2 of the custody events"):
        export_record(Store(store.folder), "2026.0001", tmp_path / "out")
    (store.folder / store.accession("2026.0001").kept_at).unlink()
    with pytest.raises(UnusableInput, match="is not there"):
        export_record(Store(store.folder), "2026.0001", tmp_path / "out")
    assert not (tmp_path / "out").exists()

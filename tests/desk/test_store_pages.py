"""The work of a curator by pages gives the same store as by the functions of the command line."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from provenance._accession.accession import accession
from provenance._collection.choosing import samples_of_event
from provenance._collection.recording import Said, record_in_store
from provenance._collection.scans import kept_scans, scans_path
from provenance._collection.taking_stock import record_seen, take_stock
from provenance._desk.store import common, holdings, receiving, records
from provenance._drawing.paper import paper_named
from provenance._store.entering import enter_row
from provenance._store.starting import put_settings
from provenance._store.store import Store, open_store
from provenance._store.terms import Terms, lift
from provenance._store.withdrawing import withdraw
from tests.accession.conftest import a_sound_package
from tests.builders import PackageBuilder, left_alone, pack_bundle
from tests.desk.sitting import Sitting, text_of

WRITTEN = "2036-05-04T09:00:00Z"
TODAY = date.today()
SETTINGS = {
    "name": 'Store of "Old Timber" at Fenwick Moss (invented)',
    "postal_address": "1 Moss Lane, Fenwick Moss (invented)",
    "contact": "store@example.org",
    "number_pattern": "{year}.{serial:04}",
    "party_id": "REPO",
    "notice": "",
}
TERMS = {
    "as": "gift",
    "donor": "Ida Fenwick (invented)",
    "previous_number": "AF-11",
    "restriction": "sampling: no drilling",
    "embargo_until": "2099-12-31",
}
BORROWER = {
    "party_id": "ALD",
    "kind": "organization",
    "name": "Alder Ring Laboratory (invented)",
    "address": "2 Moss Lane",
}
PLACES = (
    {"place_id": "MAIN", "kind": "building", "name": "Main house"},
    {"place_id": "B7", "within": "MAIN", "kind": "box"},
)


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """bundle.zip, later.zip and rewritten.zip of one record; never to be changed."""
    folder = tmp_path_factory.mktemp("bundles")
    package = a_sound_package(folder)
    pack_bundle(package, folder / "bundle.zip", zipped=True)
    PackageBuilder(package).with_row("element", element_id="B1-015")
    pack_bundle(package, folder / "later.zip", zipped=True)
    with left_alone(folder):
        yield folder


@pytest.fixture
def sitting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Sitting:
    """A desk in an empty folder, where it is always the same moment."""
    for module in (common, holdings, receiving, records):
        monkeypatch.setattr(module, "moment_text", lambda: WRITTEN)
    folder = tmp_path / "desk"
    folder.mkdir()
    sitting = Sitting(folder)
    sitting.do("/start-store", {"folder": "store", **SETTINGS})
    return sitting


def received(sitting: Sitting, bundle: Path, **said: str) -> str:
    """Drop a bundle; the address of the page with the verdict over it."""
    with bundle.open("rb") as stream:
        sent = {"depositor": "Mara Birkwood (invented)"} | said
        files = {"bundle": (bundle.name, stream)}
        to = sitting.act("/store/store/receive", sent, files=files).headers["HX-Redirect"]
    running = sitting.desk.jobs[to.removeprefix("/work/")]
    running.thread.join(60)
    assert running.done, running.problem
    return running.done.to


def day() -> dict[str, Any]:
    return {"on": TODAY, "recorded_on": WRITTEN, "by": "MB"}


def test_the_whole_round_by_pages_gives_the_store_that_the_functions_give(
    sitting: Sitting, shelf: Path, tmp_path: Path
) -> None:
    do, at = sitting.do, "/store/store"
    verdict = received(sitting, shelf / "bundle.zip")
    said = text_of(sitting.page(verdict))
    assert f"The next number is {TODAY.year}.0001" in said
    assert "2 samples" in said
    terms = {"depositor": "Mara Birkwood (invented)", "on": TODAY.isoformat(), **TERMS}
    assert "It can be taken in" in do(f"{verdict}/check", terms)
    assert not open_store(tmp_path / "desk" / "store").accessions  # a check writes nothing
    number = f"{TODAY.year}.0001"
    samples = {"samples": "all", "place": "Room 2"}
    assert f"Accessioned as {number}" in do(f"{verdict}/accession", {**terms, **samples})
    receipt = sitting.client.get(f"{at}/receipt/{number}")
    assert receipt.content.startswith(b"%PDF")
    do(f"{at}/list/party", BORROWER)
    for place in PLACES:
        do(f"{at}/list/place", place)
    stored = {"event": "stored", "record": number, "samples": "all", "place": "B7"}
    assert "Stored: 231, 232" in text_of(do(f"{at}/event", stored))
    due = {"to": "ALD", "due": "2099-01-31", "note": "dating"}
    loan = f"L{TODAY.year}.001"
    lent = do(f"{at}/event", {"event": "loaned", "record": number, "samples": "231", **due})
    assert (loan in lent, "Alder Ring" in lent) == (True, True)
    back = {"event": "taken_back", "reference": loan, "place": "B7", "states": "231=broken"}
    assert "231 (broken)" in do(f"{at}/event", back)
    asked = {"event": "requested", "record": number, "samples": "232", "to": "ALD", "note": "C-14"}
    request = f"R{TODAY.year}.001"
    assert request in do(f"{at}/event", asked)
    decision = {"event": "decided", "reference": request, "decision": "granted", "note": "half"}
    do(f"{at}/event", decision)
    do(f"{at}/stocktake", {"name": "spring"})
    for scan in ({"place": "b7"}, {"text": "231"}, {"text": "232"}, {"text": "END"}):
        sitting.act(f"{at}/stocktake/spring/scan", json=scan)
    assert "All is as recorded" in sitting.page(f"{at}/stocktake/spring/report")
    assert "2 samples were seen" in do(f"{at}/stocktake/spring/record", {"signed": "yes"})
    restriction = {"restriction": f"{number}-R1", "reason": "agreed (invented)"}
    assert "agreed (invented)" in do(f"{at}/lift", restriction)
    do(f"{at}/withdraw", {"number": number, "reason": "given back"})

    other = tmp_path / "other" / "store"
    store = put_settings(other, SETTINGS, **day())
    how: dict[str, Any] = {
        "depositor": "Mara Birkwood (invented)",
        "on": TODAY,
        "recorded_on": WRITTEN,
        "paper": paper_named("a4"),
    }
    kind, previous, restricted, donor = "gift", "AF-11", TERMS["restriction"], TERMS["donor"]
    how["terms"] = Terms(
        kind, donor=donor, previous_numbers=previous, restrictions=restricted,
        embargo_until="2099-12-31",
    )  # fmt: skip
    accession(shelf / "bundle.zip", other, **how, **samples)
    store = open_store(other)
    enter_row(store, "party", BORROWER, **day())
    for place in PLACES:
        enter_row(store, "place", place, **day())

    def happened(event: str, named: str = "", reference: str = "", **facts: Any) -> None:
        chosen = samples_of_event(
            store, event, samples=named, records=[number], reference=reference
        )
        if "states" in facts:
            (record_id,) = chosen
            facts["states"] = {(record_id, "231"): "broken"}
        on = TODAY.isoformat()
        record_in_store(
            store,
            chosen,
            Said(event, on, on, reference=reference, **facts),
            recorded_on=WRITTEN,
            by="MB",
        )

    happened("stored", "all", place_held="B7")
    happened("loaned", "231", to_party_id="ALD", loan_due_on="2099-01-31", notes="dating")
    happened("taken_back", "", loan, place_held="B7", states=True)
    happened("requested", "232", to_party_id="ALD", notes="C-14")
    happened("decided", "", request, decision="granted", notes="half")
    shutil.copytree(tmp_path / "desk" / "store" / "stocktake", other / "stocktake")
    taken = take_stock(store, scans_path(other, "spring"))
    record_seen(store, taken, name="spring", recorded_by="MB", **day())
    with store.writing(**day()) as writing:
        lift(writing, f"{number}-R1", "agreed (invented)")
    withdraw(store, number, reason="given back", **day())

    mine, theirs = (_bytes_of(one) for one in (tmp_path / "desk" / "store", other))
    assert mine.keys() == theirs.keys()
    assert [one for one in mine if mine[one] != theirs[one]] == ["store.json"]


def _bytes_of(folder: Path) -> dict[str, bytes]:
    """Every file of a store but its catalogue, which may be lost."""
    files = (one for one in folder.rglob("*") if one.is_file())
    return {
        name: one.read_bytes()
        for one in files
        if "catalogue" not in (name := one.relative_to(folder).as_posix())
        and not one.name.startswith(".")
    }

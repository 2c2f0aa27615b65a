"""The work of a curator by pages gives the same store as by the functions of the command line."""

from __future__ import annotations

import re
import shutil
import threading
import zipfile
from collections.abc import Iterator
from datetime import date
from importlib.resources import files as files_of
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from provenance._accession.accession import accession
from provenance._accession.taking_in import AlreadyAccessioned
from provenance._base.errors import TreenailError
from provenance._bundle.review.deciding import Word, decide_one_by_one
from provenance._bundle.review.review import review_package
from provenance._cli import treenail
from provenance._collection.choosing import samples_of_event
from provenance._collection.recording import Said, record_in_store
from provenance._collection.scans import kept_scans, scans_path
from provenance._collection.taking_stock import record_seen, take_stock
from provenance._desk.desk import Desk
from provenance._desk.serving import serve
from provenance._desk.store import common, holdings, receiving, records
from provenance._drawing.paper import paper_named
from provenance._identity.place_code import compose_place
from provenance._record.package import open_package
from provenance._store.entering import enter_row
from provenance._store.starting import put_settings
from provenance._store.store import open_store
from provenance._store.terms import Terms, lift
from provenance._store.withdrawing import withdraw
from tests.accession.conftest import a_sound_package
from tests.builders import PackageBuilder, left_alone, pack_bundle
from tests.bundle.finding_aid.conftest import browser
from tests.desk.sitting import Sitting, text_of

__all__ = ["browser"]
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
    number, store = f"{TODAY.year}.0001", tmp_path / "desk" / "store"
    told = CliRunner().invoke(
        treenail,
        ["accession", str(shelf / "bundle.zip"), "--store", str(store), "--check-only",
         "--depositor", "Mara Birkwood (invented)"],
    )  # fmt: skip
    assert f"it can be taken in as {number}: first" in told.output
    assert not open_store(store).accessions  # a check writes nothing
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
    assert "Samples of the store 2 Of these on loan 1" in text_of(sitting.page(at))
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

    mine, theirs = _bytes_of(tmp_path / "desk" / "store"), _bytes_of(other)
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


def test_what_is_refused_is_refused_in_the_words_of_the_command(
    sitting: Sitting, shelf: Path, tmp_path: Path
) -> None:
    at, store = "/store/store", tmp_path / "desk" / "store"
    verdict = received(sitting, shelf / "later.zip")
    assert "It is the first bundle of its record here" in text_of(sitting.page(verdict))
    on = {"depositor": "Mara Birkwood (invented)", "on": TODAY.isoformat()}
    sitting.do(f"{verdict}/accession", on)
    (act,) = open_store(store).accessions
    before = _bytes_of(store)

    there = text_of(sitting.page(received(sitting, shelf / "later.zip")))
    with pytest.raises(AlreadyAccessioned) as known:
        accession(
            shelf / "later.zip",
            store,
            depositor="MB",
            on=TODAY,
            recorded_on=WRITTEN,
            paper=paper_named("a4"),
        )
    assert str(known.value).partition(" was ")[2] in there
    damaged = tmp_path / "damaged.zip"
    content = bytearray((shelf / "bundle.zip").read_bytes())
    with zipfile.ZipFile(shelf / "bundle.zip") as bag:
        name = next(one for one in bag.namelist() if one.endswith("tables/element.csv"))
        place = bag.getinfo(name).header_offset + 30 + len(name) + 40
    content[place] ^= 1
    damaged.write_bytes(content)
    shown = text_of(sitting.page(received(sitting, damaged)))
    for said in ("It is damaged and refused", "tables/element.csv", "Letter to the depositor"):
        assert said in shown
    older = received(sitting, shelf / "bundle.zip")
    shown = text_of(sitting.page(older))
    changed = text_of(sitting.do(f"{older}/compare", {"number": act.number}))
    assert "0 added, 0 changed, 1 withdrawn" in changed
    assert f"{act.number} has all that is in it, and more" in shown
    said = sitting.refused(f"{older}/accession", {**on, "embargo_until": "soon"})
    assert said == "Embargo until, 'soon': write the day as 2026-03-01"
    said = sitting.refused(f"{older}/accession", {**on, "place": "B7"})
    assert said == "Where they are, 'B7': it says where samples are, so fill in samples, too"
    # what only the ledger can refuse leads back to the form, with what was filled in
    shown = sitting.do(f"{older}/accession", {**on, "samples": "999", "donor": "Ida (invented)"})
    assert ("999" in shown, "Ida (invented)" in shown) == (True, True)

    lend = {"event": "loaned", "record": act.number, "samples": "231", "to": "NOBODY"}
    chosen = samples_of_event(open_store(store), "loaned", samples="231", records=[act.number])
    with pytest.raises(TreenailError) as refused:
        record_in_store(
            open_store(store),
            chosen,
            Said("loaned", TODAY.isoformat(), TODAY.isoformat(), to_party_id="NOBODY"),
            recorded_on=WRITTEN,
        )
    assert sitting.refused(f"{at}/event", lend) == " ".join(str(refused.value).split())
    for path, data in (
        ("withdraw", {"number": act.number}),
        ("lift", {"restriction": "x", "reason": "y"}),
        ("list/party", {"party_id": "X", "kind": "robot", "name": "Y"}),
        ("list/place", {"place_id": "C", "kind": "box", "within": "NOWHERE"}),
        ("list/register", {"number": "1"}),
        ("settings", {**SETTINGS, "number_pattern": "no serial"}),
        ("stocktake", {"name": "../../etc"}),
        ("audit", {"minutes": "soon"}),
        ("audit/settle", {"finding": "abc", "reason": "seen"}),
        ("register/anchor", {}),
    ):
        if path == "register/anchor":
            sitting.do(f"{at}/{path}", data)
            continue
        assert len(sitting.refused(f"{at}/{path}", data)) > 20, path
    changed = {name for name, content in _bytes_of(store).items() if before.get(name) != content}
    assert changed == {"register.csv"}  # by the anchor alone
    assert len(open_store(store).acts) == before["register.csv"].count(b"\n")

    # a store of a stranger: its register names what lies outside
    (tmp_path / "secret.pdf").write_bytes(b"%PDF secret")
    register = (store / "register.csv").read_text().replace(act.receipt, "../../secret.pdf")
    (store / "register.csv").write_text(register)
    assert "is not in the store" in sitting.page(f"{at}/receipt/{act.number}", status=404)


def test_scans_and_findings_outlive_the_program(sitting: Sitting, shelf: Path) -> None:
    at, store = "/store/store", sitting.desk.folder / "store"
    # many at once: a list, and the bundles that it names beside it
    lines = f"bundle,on,samples,place\nbundle.zip,{TODAY},all,B7\nlater.zip,{TODAY},999,B7\n"
    files = [
        ("files", ("list.csv", lines)),
        *(("files", (one, (shelf / one).read_bytes())) for one in ("bundle.zip", "later.zip")),
    ]
    checked = sitting.act(f"{at}/receive/many", {"depositor": "Mara (invented)"}, files=files)
    running = sitting.desk.jobs[checked.headers["HX-Redirect"].removeprefix("/work/")]
    running.thread.join(60)
    assert running.done, running.problem
    listed = text_of(sitting.page(running.done.to))
    assert ("can be taken in" in listed, "Take in 1 bundle" in listed) == (True, True)
    listed = text_of(sitting.do(running.done.to, {"paper": "letter"}))
    assert ("2 bundle.zip taken in" in listed, "3 later.zip refused" in listed) == (True, True)
    (kept,) = open_store(store).accessions
    sitting.do(f"{at}/list/place", {"place_id": "B7", "kind": "box"})
    for label, title in (("TREENAIL HOLL-231-JV", "Samples: 1"), (compose_place("B7"), "In this")):
        assert title in text_of(sitting.page(f"{at}/search?anything={label}")), label
    sitting.do(f"{at}/stocktake", {"name": "spring"})
    for scan in ({"place": "B7"}, {"text": "231"}, {"text": "TREENAIL HOLL-231-XX"}):
        (answer,) = sitting.act(f"{at}/stocktake/spring/scan", json=scan).json()
        # on disk before it is answered
        *_, last = kept_scans(scans_path(store, "spring"))
        assert last[0] == answer["kind"], scan
    assert answer["kind"] == "unread"
    assert (
        "blank" in sitting.act(f"{at}/stocktake/spring/scan", json={"text": " "}, status=422).text
    )

    kept = store / open_store(store).accessions[0].kept_at
    hidden = kept.with_suffix(".hidden")
    kept.rename(hidden)
    shown = sitting.do(f"{at}/audit")
    assert ("1 finding open" in shown, "Missing" in shown) == (True, True)
    (finding,) = re.findall(r'name="finding" value="(\w+)"', shown)

    # the program is closed, and opened again
    again = Sitting(sitting.desk.folder)
    page = text_of(again.page(f"{at}/stocktake/spring"))
    assert ("Open: B7" in page, "3 scans kept" in page) == (True, True)
    again.act(f"{at}/stocktake/spring/scan", json={"text": "end"})
    report = text_of(again.page(f"{at}/stocktake/spring/report"))
    assert "HOLL-232" in report
    assert "missing: should be in a place that was looked through" in report
    assert again.client.get(f"{at}/stocktake/spring/report.pdf").content.startswith(b"%PDF")
    said = again.refused(f"{at}/stocktake/spring/record", {})
    assert "sign it first" in said
    settled = again.do(f"{at}/audit/settle", {"finding": finding, "reason": "lent (invented)"})
    assert ("0 findings open, 1 settled" in settled, "lent (invented)" in settled) == (True, True)
    hidden.rename(kept)

    closed = Sitting(sitting.desk.folder, read_only=True)
    untouched = _bytes_of(store)
    pages = ("", "/receive", "/stocktake", "/stocktake/spring", "/stocktake/spring/report",
             "/audit", "/search?anything=231",
             "/search?kind=bundles", "/records", "/sample?record=2026.0001&sample=231", "/places",
             "/move", "/event?event=loaned", "/loans", "/people", "/enquiries", "/years",
             "/settings", "/register", "/list/restriction")  # fmt: skip
    for one in pages:
        page = closed.page(at + one.replace("2026", str(TODAY.year)))
        assert "<h1>" in page, one
    assert _bytes_of(store) == untouched


def test_a_person_sees_what_each_edition_holds_and_decides_item_by_item(tmp_path: Path) -> None:
    folder = tmp_path / "desk"
    folder.mkdir()
    package = a_sound_package(folder)
    PackageBuilder(package).with_row("element", element_id="B1-015", notes="Adzed on two faces.")
    PackageBuilder(package).with_row("element", element_id="B1-016", notes="Told to us in trust.")
    mine = Path(shutil.copytree(package.folder, tmp_path / "mine"))
    sitting, at = Sitting(folder), f"/record/{package.folder.name}"
    found = review_package(open_package(mine))
    before = text_of(sitting.page(f"{at}/pack"))
    assert f"Not decided, so left out {found.waiting}" in before
    one, other = sorted(
        (item for item in found.open if item.where == "element.notes"), key=lambda item: item.text
    )
    shown = text_of(sitting.page(f"{at}/review?where={one.where}"))
    assert one.text in shown
    decisions = {
        "identity": [one.identity, other.identity],
        f"decision-{one.identity}": "release",
        f"reason-{one.identity}": "harmless (invented)",
        f"decision-{other.identity}": "withhold",
        f"reason-{other.identity}": "not ours to tell (invented)",
        "back": f"where={other.where}",
    }
    said = text_of(sitting.do(f"{at}/review", decisions))
    assert ("2 decisions recorded by MB" in said, "not ours to tell" in said) == (True, True)
    words = [
        Word(one.identity, "release", reason="harmless (invented)"),
        Word(other.identity, "withhold", reason="not ours to tell (invented)"),
    ]
    decide_one_by_one(open_package(mine), words, by="MB")
    told = [
        [{**row, "on": ""} for row in open_package(where).tables.rows("review")]
        for where in (package.folder, mine)
    ]
    assert (told[0], len(told[0])) == (told[1], 2)
    assert "Nothing is decided" in sitting.refused(f"{at}/review", {"identity": one.identity})
    packed = text_of(sitting.do(f"{at}/pack", {"edition": "public"}))
    assert "data/WITHHELD.txt says what and why" in packed
    (bundle,) = folder.glob("*.zip")
    with zipfile.ZipFile(bundle) as bag:
        content = b"".join(map(bag.read, bag.namelist()))
    assert (one.text.encode() in content, other.text.encode() in content) == (True, False)


@pytest.mark.heavy
def test_a_scanner_that_types_faster_than_the_disk_loses_no_line(
    browser: Any, tmp_path: Path
) -> None:
    folder = tmp_path / "desk"
    store = put_settings(folder / "store", SETTINGS, **day())
    for place in PLACES:
        enter_row(store, "place", place, **day())
    said: list[str] = []
    desk = Desk(folder, by="MB")
    serving = threading.Thread(
        target=serve, args=(desk,), kwargs={"browser": False, "tell": said.append}
    )
    serving.start()
    context = browser.new_context(viewport={"width": 1280, "height": 1000})
    page = context.new_page()
    wrong: list[str] = []
    page.on("console", lambda one: wrong.append(one.text) if one.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    try:
        while not said and serving.is_alive():
            serving.join(0.05)
        address = said[0].split()[1]
        page.goto(address)
        page.wait_for_url("**/")
        at = f"{address.partition('/open')[0]}/store/store"
        page.goto(f"{at}/stocktake")
        page.get_by_role("button", name="Begin").click()
        page.locator("#text:enabled").wait_for()
        # a wedge ends each line with Enter and waits for nothing
        lines = [compose_place("B7"), *map(str, range(200, 230)), compose_place("END")]
        for line in lines[:20]:
            page.keyboard.insert_text(line)
            page.keyboard.press("Enter")
        page.reload()
        page.locator("#text:enabled").wait_for()
        for line in lines[20:]:
            page.keyboard.insert_text(line)
            page.keyboard.press("Enter")
        page.get_by_text("No place is open").wait_for()
        (path,) = (folder / "store" / "stocktake").glob("*.csv")
        kept = [text for *_, text in kept_scans(path)]
        # one that was on its way when the page went may be there twice, none is lost
        assert list(dict.fromkeys(kept)) == lines
        assert len(kept) <= len(lines) + 1
        page.get_by_role("button", name="Use the camera").click()
        page.get_by_text("The camera was refused or is in use").wait_for()

        axe = files_of("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
        for one in ("", page.url.removeprefix(at), "/places", "/event?event=loaned", "/audit"):
            page.set_viewport_size({"width": 1280, "height": 1000})
            page.goto(at + one)
            page.evaluate(axe)
            ran = page.evaluate(
                "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21aa'], resultTypes: ['violations']})"
            )
            assert ([found["id"] for found in ran["violations"]], one) == ([], one)
            page.set_viewport_size({"width": 320, "height": 800})
            assert page.evaluate("document.documentElement.scrollWidth") == 320, one
        assert [one for one in wrong if "favicon" not in one and "404" not in one] == []
    finally:
        desk.stop()
        serving.join(20)
        context.close()

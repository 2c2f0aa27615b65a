"""The whole job of each user in a browser, by keyboard and by mouse; then what is on the disk."""

from __future__ import annotations

import csv
from datetime import date
from typing import Any

import openpyxl
import pytest

from provenance._bundle.verify import verify_bundle
from provenance._checks.check import check_package
from provenance._history.history import proved
from provenance._identity.payload import compose_code
from provenance._identity.place_code import compose_place
from provenance._ledger.custody import verify_chain
from provenance._ledger.handover import record_events
from provenance._record.package import Package, open_package
from provenance._store.store import open_store
from tests.accession.conftest import a_sound_package
from tests.builders import a_package, pack_bundle
from tests.desk.journeys.conftest import At
from tests.desk.test_bringing_in import a_form

pytestmark = pytest.mark.heavy


def rows_of(package: Package, table: str, key: str) -> dict[str, dict[str, str]]:
    return {row[key]: row for row in package.tables.rows(table)}


def goes_to(page: Any, row: int, name: str) -> None:
    """Go to a cell of the grid by keyboard, from the key of its row."""
    names = page.evaluate(
        "async () => (await (await fetch(`${location.pathname}/rows`)).json())"
        ".columns.map((one) => one.name)"
    )
    page.locator(
        f'revogr-data[type=rgRow][col-type=colPinStart] [data-rgrow="{row}"][data-rgcol="0"]'
    ).click()
    for _step in range(names.index(name)):
        page.keyboard.press("ArrowRight")


def hears(page: Any, text: str) -> None:
    page.wait_for_function(
        "(text) => document.getElementById('said').textContent.includes(text)", arg=text
    )


def test_a_crew_from_an_empty_folder_to_the_end_of_the_day(at: At) -> None:
    crew = at.person()
    page = crew.page
    crew.follows("Start a record")
    page.get_by_label("Barn").check()
    crew.fills(title="Hollin Reach (invented)")
    crew.does("Start the record", "is begun")
    record = page.url.removesuffix("/import").removeprefix(at.base)
    folder = at.folder / record.rpartition("/")[2]

    # a sheet that nobody has seen; its columns are assigned by keyboard
    heads = ("Balken", "L", "Haus", "Bemerkung")
    sheets = [
        a_form(at.folder.parent / f"{name}.csv", heads, *lines)
        for name, lines in {
            "north": (("LH-001", "1.20", "HOLL", "adzed"), ("LH-002", "2.5", "HOLL", "")),
            "south": (("LH-001", "1.50", "HOLL", "adzed"), ("LH-003", "3.1", "HOLL", "pegged")),
        }.items()
    ]
    crew.puts("#files", sheets[0])
    crew.does("Look at them", "Above each column stands what it becomes")
    for place, words, value in (
        (0, "Timbers: Timber number", "element.element_id"),
        (1, "Timbers: Length", "element.length_m"),
        (2, "Timbers: Site", "element.site_id"),
        (3, "Timbers: Notes", "element.notes"),
    ):
        page.locator(f"#becomes-{place}-1").focus()
        with page.expect_response("**/sheet/0"):
            page.keyboard.type(words)
        page.wait_for_selector(
            f"#becomes-{place}-1:focus option[selected][value='{value}']", state="attached"
        )
    crew.does("Try it", "Nothing is written yet")
    crew.does("Take it into the record", "Taken in")
    # the next file of that form is assigned as the first was; what contradicts is settled
    crew.puts("#files", sheets[1])
    crew.does("Look at them", "which was brought in before")
    crew.does("Try it", "Is this a newer copy of north.csv")
    page.get_by_label("No: it is another sheet").check()
    crew.does("Try it so", "Nothing is written yet")
    crew.does("Take it into the record", "Where sources contradict each other")
    crew.fills(why="measured again")
    page.get_by_role("radio").nth(1).check()
    crew.does("Settle", "Nothing is open")

    crew.opens(f"{record}/tables/site/row")
    crew.fills(site_id="HOLL", name="Hollin Reach (invented)")
    crew.does("Save", "Saved")

    # the grid as a spreadsheet: a cell, two by two pasted, an undo
    crew.opens(f"{record}/tables/element")
    goes_to(page, 0, "length_m")
    page.keyboard.type("5 ft 3 in")
    page.keyboard.press("Enter")
    hears(page, "Saved: Length of LH-001")
    goes_to(page, 1, "length_m")
    page.evaluate("navigator.clipboard.writeText('2.75\\n3.25\\n')")
    page.keyboard.press("Control+v")
    hears(page, "Saved: Length of LH-002, Length of LH-003")
    page.keyboard.press("Control+z")
    hears(page, "Undone")

    # page per timber, with a sample of it
    crew.opens(f"{record}/timbers")
    crew.follows("LH-002")
    crew.fills(position_note="third joist from the north")
    crew.does("Save", "Saved")
    crew.follows("Add a sample")
    crew.fills(sample_id="201", site_id="HOLL")
    page.locator("main [name=kind]").select_option("core")
    crew.does("Save", "Sample 201")
    crew.follows("Print its label")
    assert page.locator("main [name=samples]").input_value() == "201"

    page.locator("[data-place='3']").click()
    assert page.get_by_label("First free label on the sheet").input_value() == "3"
    crew.does("Show the pages", "Keep the file")
    crew.opens(f"{record}/findings")
    page.get_by_text("Accept this finding").first.click()
    crew.fills(why="seen and right (invented)")
    crew.does("Accept", "seen and right (invented)")

    crew.opens(f"{record}/day")
    crew.reads("Samples without a photo")

    package = open_package(folder)
    proved(package, package.tables)
    timbers = rows_of(package, "element", "element_id")
    assert {key: row["length_m"] for key, row in timbers.items()} == {
        "LH-001": "1.6002",
        "LH-002": "2.5",
        "LH-003": "3.1",
    }
    assert timbers["LH-002"]["position_note"] == "third joist from the north"
    assert rows_of(package, "sample", "sample_id")["201"]["element_id"] == "LH-002"
    (accepted,) = package.tables.rows("accepted")
    assert (accepted["who"], accepted["why"]) == ("MB", "seen and right (invented)")
    # the desk checked only what was touched, the command checks all
    said = check_package(package)
    crew.opens(f"{record}/findings")
    crew.reads(f"{said.count('error')} error")
    crew.reads(f"{said.count('warning')} warning")


def test_samples_go_to_the_laboratory_and_the_record_into_the_archive(at: At) -> None:
    builder = a_package(at.folder).with_chain()
    for number in ("232", "233"):
        builder.with_row("sample", sample_id=number)
    package = builder.package
    day = {"happened_on": "2024-06-04", "recorded_on": "2024-06-04"}
    record_events(package, "collected", ["231", "232", "233"], to_party_id="MB", **day)
    lab, record = at.person(), "/record/holl"
    page = lab.page

    # a scanner types each code and Enter
    lab.opens(f"{record}/parcels/new")
    page.locator("[name=scanned]").focus()
    for code in ("231", "232", compose_code("HOLL", "233")):
        page.keyboard.type(code)
        page.keyboard.press("Enter")
    lab.does("See where they are", "MB")
    page.locator("[name=to]").select_option("LAB")
    lab.fills(day="2024-06-15", due="2024-12-01", questions="When was it felled?")
    lab.does("Make up the parcel", "Parcel C-2024-1")
    lab.does("List, receipt, tag and form for the results", "C-2024-1-results.xlsx")
    with page.expect_download() as kept:
        page.locator("a[download='C-2024-1-results.xlsx']").click()
    form = at.folder.parent / "answered.xlsx"
    kept.value.save_as(form)
    lab.fills(day="2024-06-16")
    lab.does("Record that it left", "When it arrives")
    lab.fills(day="2024-06-20", place="Tray 4")
    lab.does("Record that it arrived", "Tray 4")

    book = openpyxl.load_workbook(form)
    sheet = book["Laboratory results"]
    names = [one.name for one in package.model.table("lab_result").form_fields()]
    for row, answer in ((3, ("1702p - 1781B", 80)), (4, ("1702 - 1781vv", 78))):
        for name, value in zip(("notation", "ring_count"), answer, strict=True):
            sheet.cell(row, names.index(name) + 1, value)
        sheet.cell(row, names.index("reported_on") + 1, "2024-12-01")
    sheet.delete_rows(5)
    book.save(form)
    lab.follows("Bring in results")
    lab.puts("#files", form)
    lab.does("Show what it says", "The innermost ring grew in 1702")
    lab.does("Bring these results in", "2 new results")
    # one line is worked off, with name and reason
    point = "section.to-settle:has-text('Sample 233 was sent, and there is no result for it.')"
    page.locator(point).get_by_text("Leave it as it is").click()
    page.locator(f"{point} details[open] [name=why]").fill("it fell apart (invented)")
    lab.does("Accept with this reason", "it fell apart (invented)", point)

    # what is withheld is shown before the bundles are made
    lab.opens(f"{record}/pack")
    page.get_by_text("What it withholds, by field").click()
    lab.reads("not decided, 0 withheld")
    lab.does("Make the public edition", "data/WITHHELD.txt says what and why")
    lab.does("Make the full edition", "Packed holl-bundle.zip")

    record_now = open_package(package.folder)
    proved(record_now, record_now.tables)
    assert verify_chain(record_now) == []
    results = rows_of(record_now, "lab_result", "sample_id")
    assert {key: row["ring_count"] for key, row in results.items()} == {"231": "80", "232": "78"}
    (accepted,) = record_now.tables.rows("accepted")
    assert (accepted["who"], accepted["why"]) == ("MB", "it fell apart (invented)")
    for name in ("holl-public.zip", "holl-bundle.zip"):
        assert verify_bundle(at.folder / name).word in ("sound", "not anchored"), name


def test_a_curator_keeps_a_bundle_and_a_researcher_finds_its_hole(at: At) -> None:
    package = a_sound_package(at.folder.parent)
    bundle = pack_bundle(package, at.folder.parent / "holl-bundle.zip", zipped=True)
    curator = at.person()
    page, store = curator.page, "/store/store"
    curator.follows("Start a store")
    curator.fills(folder="store", name="Store of Old Timber (invented)", party_id="REPO")
    curator.does("Start the store", "The store is empty")
    for place, kind in (("B7", "box"), ("B8", "box")):
        curator.opens(f"{store}/places")
        curator.fills(place_id=place)
        page.locator("main [name=kind]").select_option(kind)
        curator.does("Save", place)
    curator.opens(f"{store}/receive")
    curator.fills(depositor="Mara Birkwood (invented)")
    curator.puts("main input[type=file]", bundle)
    curator.does("Verify and compare", "The next number is")
    curator.fills(samples="all", place="B7")
    curator.does("Accession", "Accessioned as")
    number = f"{date.today().year}.0001"
    assert page.request.get(f"{at.base}{store}/receipt/{number}").body().startswith(b"%PDF")

    # moved by scanning, lent, and looked for shelf by shelf with a scanner that types
    curator.opens(f"{store}/event?event=stored")
    page.keyboard.type(compose_code("HOLL", "231"))
    page.keyboard.press("Enter")
    curator.fills(place="B8")
    curator.does("Record it", "Stored: 231")
    curator.opens(f"{store}/list/party")
    curator.fills(party_id="ALD", name="Alder Ring Laboratory (invented)")
    page.locator("main [name=kind]").select_option("organization")
    curator.does("Save", "ALD")
    curator.opens(f"{store}/event?event=loaned")
    page.keyboard.type("232")
    curator.fills(to="ALD", due="2099-01-31")
    curator.does("Record it", "On loan: 232")
    curator.opens(f"{store}/stocktake")
    curator.does("Begin", "No place is open")
    page.locator("#text:enabled").wait_for()
    for code in (compose_place("B8"), compose_code("HOLL", "231"), compose_place("END")):
        page.keyboard.insert_text(code)
        page.keyboard.press("Enter")
    curator.reads("3 scans kept")
    curator.follows("Report")
    page.get_by_label("The report was printed and signed").check()
    curator.does("Record in the ledgers what was seen where", "1 sample was seen")
    curator.opens(f"{store}/search")
    curator.fills(anything="HOLL-231")
    curator.does("Search", "Samples: 1")
    curator.opens(f"{store}/audit")
    curator.does("Start the audit", "0 findings open")
    kept = open_store(at.folder / "store")
    (act,) = kept.accessions
    assert verify_bundle(kept.folder / act.kept_at).word in ("sound", "not anchored")
    (ledger,) = (kept.folder / "ledger").glob("*.csv")
    with ledger.open(encoding="utf-8", newline="") as stream:
        events = [(row["event"], row["sample_id"]) for row in csv.DictReader(stream)]
    assert events[-3:] == [("stored", "231"), ("loaned", "232"), ("seen", "231")]

    # a researcher drops the same bundle: its finding aid, a worn stamp, the way back to the hole
    reader = at.person(color_scheme="dark")
    page = reader.page
    reader.puts("#bundle", bundle)
    reader.does("Bring it in", "Brought in: holl-bundle.zip")
    reader.follows("holl-bundle.zip")
    reader.reads("Is it sound?")
    reader.follows("Plug finder")
    reader.fills(reading="2?2")
    reader.does("Find the hole", "sample 232 of HOLL")
    reader.follows("Relocation page of sample 232")
    reader.follows("In the finding aid, with drawings and photos")
    reader.reads("232")

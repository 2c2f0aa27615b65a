"""The whole job of each user in a browser, by keyboard and by mouse; then what is on the disk."""

from __future__ import annotations

from typing import Any

import pytest

from provenance._checks.check import check_package
from provenance._history.history import proved
from provenance._record.package import Package, open_package
from tests.desk.journeys.conftest import At
from tests.desk.test_bringing_in import a_form

pytestmark = pytest.mark.heavy


def rows(package: Package, table: str) -> dict[str, dict[str, str]]:
    return {row[f"{table}_id"]: row for row in package.tables.rows(table)}


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
    timbers = rows(package, "element")
    assert {key: row["length_m"] for key, row in timbers.items()} == {
        "LH-001": "1.6002",
        "LH-002": "2.5",
        "LH-003": "3.1",
    }
    assert timbers["LH-002"]["position_note"] == "third joist from the north"
    assert rows(package, "sample")["201"]["element_id"] == "LH-002"
    (accepted,) = package.tables.rows("accepted")
    assert (accepted["who"], accepted["why"]) == ("MB", "seen and right (invented)")
    # the desk checked only what was touched, the command checks all
    said = check_package(package)
    crew.opens(f"{record}/findings")
    crew.reads(f"{said.count('error')} error")
    crew.reads(f"{said.count('warning')} warning")

"""The grid of a table in Chromium, by keyboard and mouse, under a strict content policy."""

from __future__ import annotations

from importlib.resources import files as files_of
from typing import Any

import pytest

from tests.desk.grid_server import Desk, serving, some_rows
from tests.programs import program

pytestmark = pytest.mark.heavy

FEW_RINGS = "Fewer than 5 rings."
TIMBER, USE, LENGTH, DIAMETER, RINGS, BARK, RECORDED, REMARKS = range(8)


class Hand:
    """What a person does at the grid, and what she then sees."""

    def __init__(self, page: Any, desk: Desk) -> None:
        self.page, self.desk = page, desk

    def cell(self, row: int, column: int) -> Any:
        """The first column is pinned, in a part of its own."""
        part, at = ("rgCol", column - 1) if column else ("colPinStart", 0)
        return self.page.locator(
            f'revogr-data[type=rgRow][col-type={part}] [data-rgrow="{row}"][data-rgcol="{at}"]'
        )

    def types(self, row: int, column: int, text: str, then: str = "Enter") -> None:
        self.cell(row, column).click()
        self.page.keyboard.type(text)
        self.page.keyboard.press(then)

    def pastes(self, text: str) -> None:
        self.page.evaluate("(text) => navigator.clipboard.writeText(text)", text)
        self.page.keyboard.press("Control+v")

    def hears(self, text: str) -> None:
        self.page.wait_for_function(
            "(text) => document.getElementById('said').textContent.includes(text)", arg=text
        )

    def shows(self, row: int, column: int, text: str) -> None:
        """What is answered is drawn with the next frame."""
        self.cell(row, column).filter(has_text=text).wait_for()

    def presses(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).click()

    def column(self, at: int, rows: range) -> list[str]:
        """A column of the table as the server has it."""
        return [self.desk.rows[f"B1-{row + 1:03}"][at] for row in rows]


def test_a_table_is_worked_on_as_in_a_spreadsheet() -> None:
    chromium = program("chromium")
    if chromium is None:
        pytest.skip("Chromium is not installed (Debian: apt-get install chromium)")
    sync_api = pytest.importorskip("playwright.sync_api")
    desk, wrong = Desk(some_rows(40)), []
    with serving(desk) as address, sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        page = browser.new_page(viewport={"width": 900, "height": 900})
        page.set_default_timeout(10_000)
        page.context.grant_permissions(["clipboard-read", "clipboard-write"])
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on(
            "console",
            lambda said: wrong.append(said.text) if "Content Security" in said.text else None,
        )
        page.goto(address)
        page.wait_for_selector("revo-grid .rgCell")
        hand = Hand(page, desk)
        for part in (edits, fills_and_pastes, meets_others, survives_the_server, sorts_and_shows,
                     reads_well):  # fmt: skip
            part(hand)
        browser.close()
    assert wrong == []


def edits(hand: Hand) -> None:
    """Typed without a pause, as a scanner types: each in its row, nothing lost between them."""
    hand.cell(0, DIAMETER).click()
    for text in ("31", "32", "33", "34"):
        hand.page.keyboard.type(text)
        hand.page.keyboard.press("Enter")
    # and slowly, while the grid draws its focus anew
    hand.page.keyboard.type("3535", delay=60)
    hand.page.keyboard.press("Enter")
    hand.hears("Saved: Diameter of B1-005")
    assert hand.column(DIAMETER, range(5)) == ["31", "32", "33", "34", "3535"]
    # 7 feet 5 inches come back as the record writes them
    hand.types(0, LENGTH, "7'5", "Tab")
    hand.hears("Saved: Length of B1-001")
    hand.shows(0, LENGTH, "7' 5\"")
    # a second edit before the first is answered: it begins from what the first became
    hand.desk.seconds = 0.3
    hand.types(1, LENGTH, "9'2")
    hand.types(1, LENGTH, "9'3")
    hand.hears("Saved: Length of B1-002")
    hand.shows(1, LENGTH, "9' 3\"")
    hand.desk.seconds = 0
    assert hand.page.locator("#unsaved").is_hidden()
    hand.cell(0, USE).click()
    hand.page.keyboard.type("raf")
    assert hand.page.get_by_role("option").all_inner_texts() == ["Rafter rafter"]
    hand.page.keyboard.press("Enter")
    hand.hears("Saved: Use of B1-001")
    assert desk_row(hand, 0)[USE] == "rafter"
    hand.types(1, REMARKS, "not to be kept", "Escape")
    hand.types(1, RECORDED, "1999")
    assert len(hand.desk.posts) == 9
    assert hand.cell(2, RINGS).get_attribute("aria-invalid") == "true"
    assert FEW_RINGS in hand.cell(2, RINGS).get_attribute("title")
    hand.cell(2, RINGS).click()
    hand.page.wait_for_selector(f"#about-cell .warning:has-text('{FEW_RINGS}')")
    hand.page.keyboard.type("50")
    hand.page.keyboard.press("Enter")
    hand.page.wait_for_selector("#shown:has-text('3 findings')")
    hand.page.wait_for_selector('[aria-rowindex="3"]:has-text("50"):not([aria-invalid])')
    hand.cell(0, TIMBER).click()
    hand.page.keyboard.type("B1-1a")
    hand.page.keyboard.press("Enter")
    hand.hears("Saved: B1-001 is now B1-1a")
    hand.page.keyboard.press("Control+z")
    hand.hears("Undone: B1-001 is now B1-1a")


def desk_row(hand: Hand, row: int) -> list[str]:
    return hand.desk.rows[f"B1-{row + 1:03}"]


def fills_and_pastes(hand: Hand) -> None:
    posts, page = hand.desk.posts, hand.page
    count = len(posts)
    hand.cell(4, DIAMETER).click()
    hand.pastes("41\t71\n42\t72\n")
    hand.hears("and 2 more")
    assert len(posts[count]) == 4
    assert hand.column(RINGS, range(4, 6)) == ["71", "72"]
    hand.cell(5, RINGS).click(modifiers=["Shift"])
    page.keyboard.press("Control+c")
    assert page.evaluate("navigator.clipboard.readText()") == "41\t71\n42\t72"
    hand.types(6, REMARKS, 'with "quotes"')
    hand.hears("Saved: Remarks of B1-007")
    hand.cell(6, REMARKS).click()
    hand.cell(8, REMARKS).click(modifiers=["Shift"])
    page.keyboard.press("Control+d")
    hand.hears("Saved: Remarks of B1-008, Remarks of B1-009")
    hand.cell(8, DIAMETER).click()
    begin, end = hand.cell(8, DIAMETER).bounding_box(), hand.cell(10, DIAMETER).bounding_box()
    corner = [begin["x"] + begin["width"] - 4, begin["y"] + begin["height"] - 4]
    page.wait_for_function(
        "(at) => document.elementFromPoint(...at).matches('.autofill-handle')", arg=corner
    )
    page.mouse.move(*corner)
    page.mouse.down()
    page.mouse.move(end["x"] + 20, end["y"] + 10, steps=5)
    page.locator(".temp-bg-range").wait_for()
    page.mouse.up()
    hand.hears("Saved: Diameter of B1-010, Diameter of B1-011")
    assert len(set(hand.column(DIAMETER, range(8, 11)))) == 1
    page.keyboard.press("Delete")
    hand.hears("Saved: Diameter of B1-009")
    assert hand.column(DIAMETER, range(8, 11)) == [""] * 3
    before = len(posts)
    for said in ("Undone: Diameter of B1-009", "Undone: Diameter of B1-010"):
        page.keyboard.press("Control+z")
        hand.hears(said)
    assert len(set(hand.column(DIAMETER, range(8, 11)))) == 3
    page.keyboard.press("Control+y")
    hand.hears("Done again: Diameter of B1-010")
    # more rows than there are become new ones, in one act
    hand.presses("New row")
    hand.pastes('B2-001\tPost\t7\'5\nB2-002\tbeam\t"8\' 2"""')
    hand.hears("Saved: Use of B2-001")
    assert len(posts) == before + 1
    assert [hand.desk.rows[f"B2-00{n}"][:3] for n in (1, 2)] == [
        ["B2-001", "post", "7' 5\""],
        ["B2-002", "beam", "8' 2\""],
    ]
    hand.presses("Remove row")
    hand.hears("Saved: row B2-00")
    hand.presses("Undo")
    hand.hears("Undone: row B2-00")
    assert len(hand.desk.rows) == 42
    hand.presses("New row")
    page.keyboard.press("Control+Home")
    hand.cell(0, USE).wait_for()


def meets_others(hand: Hand) -> None:
    """What others wrote meanwhile is shown and chosen from; what cannot be is told on the cell."""
    page, desk = hand.page, hand.desk
    desk_row(hand, 5)[REMARKS] = "theirs"
    hand.types(5, REMARKS, "mine")
    hand.hears("Not saved: Remarks of B1-006")
    assert "Stands now: theirs" in page.inner_text("#unsaved")
    page.get_by_label("You typed: mine").check()
    hand.presses("Save what I chose")
    hand.hears("Saved: Remarks of B1-006")
    assert desk_row(hand, 5)[REMARKS] == "mine"
    hand.cell(6, RINGS).click()
    hand.pastes("many\tyes")
    hand.hears("Not saved: Rings of B1-007")
    assert desk_row(hand, 6)[RINGS] == "7"
    page.wait_for_selector('.rgCell.refused[aria-invalid][title*="Not a whole number"]')
    # corrected in its place, all of the act is saved
    hand.types(6, RINGS, "66")
    hand.hears("Saved: Rings of B1-007, Bark of B1-007")
    assert desk_row(hand, 6)[RINGS : BARK + 1] == ["66", "yes"]
    assert page.locator("#unsaved").is_hidden()
    # a change made elsewhere comes in beside an open editor
    hand.cell(9, REMARKS).dblclick()
    page.keyboard.type("half")
    desk_row(hand, 11)[REMARKS] = "from elsewhere"
    desk.tell(["B1-012"])
    page.wait_for_selector("revo-grid .rgCell:has-text('from elsewhere')")
    page.keyboard.type(" typed")
    page.keyboard.press("Enter")
    hand.hears("Saved: Remarks of B1-010")
    assert desk_row(hand, 9)[REMARKS] == "half typed"


def survives_the_server(hand: Hand) -> None:
    """What is typed while the server is away is kept over another load of the page."""
    page, desk = hand.page, hand.desk
    desk.away = True
    hand.types(10, REMARKS, "kept")
    page.wait_for_selector("#problem:has-text('does not answer')")
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    page.wait_for_selector("#problem:has-text('does not answer')")
    hand.shows(10, REMARKS, "kept")
    desk.away = False
    hand.hears("Saved: Remarks of B1-011")
    assert desk_row(hand, 10)[REMARKS] == "kept"
    assert page.evaluate("sessionStorage.length") == 0


def sorts_and_shows(hand: Hand) -> None:
    page = hand.page
    hand.cell(0, LENGTH).click()
    page.keyboard.press("Alt+ArrowDown")
    hand.presses("Sort, largest first")
    page.wait_for_selector('[role=columnheader][aria-sort="descending"]')
    feet = [hand.cell(row, LENGTH).inner_text() for row in range(3)]
    assert feet == ["21' 7\"", "21' 3\"", "20' 6\""]
    hand.cell(0, USE).click()
    page.keyboard.press("Alt+ArrowDown")
    page.get_by_label("Post ·").check()
    page.keyboard.press("Escape")
    page.wait_for_selector("#shown:has-text('of 42 rows')")
    page.fill("#find", "half typed")
    page.wait_for_selector("#shown:has-text('0 of 42 rows')")
    hand.presses("Show all rows")
    page.wait_for_selector("#shown:has-text('42 rows')")
    page.evaluate("location.hash = 'key=B1-039&field=rings'")
    page.wait_for_function("() => document.activeElement.ariaRowIndex === '39'")
    hand.presses("New row")
    page.keyboard.press("Control+Home")
    # Escape leaves the table, so that Tab goes on in the page
    hand.cell(0, USE).click()
    page.keyboard.press("Escape")
    page.wait_for_function("() => document.activeElement.tagName === 'REVO-GRID'")


def reads_well(hand: Hand) -> None:
    """WCAG 2.2 A and AA as far as axe-core tests it, with a finding, an open list and a menu."""
    page = hand.page
    page.evaluate(files_of("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8"))
    page.set_viewport_size({"width": 900, "height": 400})  # axe takes milliseconds over each cell
    hand.types(3, RINGS, "many")
    hand.hears("Not saved: Rings of B1-004")
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        for key in ("F2", "Alt+ArrowDown"):
            hand.cell(0, USE).click()
            page.keyboard.press(key)
            only = {} if scheme == "light" else {"runOnly": ["color-contrast"]}
            asked = {"preload": False, "resultTypes": ["violations"], **only}
            result = page.evaluate("(asked) => axe.run(asked)", asked)
            bad = [(one["id"], one["nodes"][0]["html"]) for one in result["violations"]]
            assert bad == [], (scheme, key)
            assert "color-contrast" in {one["id"] for one in result["passes"]}
            page.keyboard.press("Escape")
    for width, pinned in ((320, 0), (1920, 1)):
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_function(
            "(pinned) => document.querySelectorAll('revogr-viewport-scroll.colPinStart').length"
            " === pinned",
            arg=pinned,
        )
        assert page.evaluate("document.documentElement.scrollWidth") <= width

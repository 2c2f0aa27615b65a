"""A form is brought in by keyboard alone, in the browser that a person has."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from provenance._desk.desk import Desk
from provenance._desk.serving import serve
from provenance._record.new import new_package
from provenance._record.package import open_package
from tests.bundle.finding_aid.conftest import browser
from tests.desk.test_bringing_in import a_form

__all__ = ["browser"]
pytestmark = pytest.mark.heavy


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """The address that opens a desk with one record."""
    new_package(tmp_path / "work" / "hollin", title="Hollin Reach (invented)")
    told: queue.Queue[str] = queue.Queue()
    desk = Desk(tmp_path / "work", by="MB")
    serving = threading.Thread(
        target=serve, args=(desk,), kwargs={"browser": False, "tell": told.put}, daemon=True
    )
    serving.start()
    yield next(word for word in told.get(timeout=20).split() if word.startswith("http"))
    desk.stop()
    serving.join(10)


def test_a_form_is_brought_in_by_keyboard(browser: Any, address: str, tmp_path: Path) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    form = a_form(
        tmp_path / "Balken.csv",
        ("a", "b", "c", "<img src=x onerror=document.title='run'>"),
        ("LH-001", "120", "HOLL", "x"),
    )
    page = browser.new_page(viewport={"width": 320, "height": 800}, color_scheme="dark")
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda said: wrong.append(said.text) if "Policy" in said.text else None)
    page.goto(address)
    page.wait_for_url("**/")

    def sound() -> None:
        found = axe.run(page).response["violations"]
        assert not found, [(one["id"], one["nodes"][0]["html"]) for one in found]
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")

    base = page.url
    for path in ("new", "record/hollin/photos", "record/hollin/settle", "record/hollin/import"):
        page.goto(base + path)
        sound()
    page.set_input_files("#files", form)
    page.press("button.first", "Enter")
    page.wait_for_selector("tr.becomes")
    sound()

    def choose(place: int, words: str, value: str) -> None:
        """Type on the choice above a column until it says so, and wait until it is kept."""
        chosen = page.locator(f"#becomes-{place}-1")
        chosen.focus()
        with page.expect_response("**/sheet/0"):
            page.keyboard.type(words)
        page.wait_for_selector(
            f"#becomes-{place}-1:focus option[selected][value='{value}']", state="attached"
        )
        assert chosen.input_value() == value

    choose(0, "Timbers: Timber number", "element.element_id")
    choose(1, "Timbers: Length", "element.length_m")
    choose(2, "Timbers: Site", "element.site_id")
    choose(3, "Timbers: Notes", "element.notes")
    choose(3, "not this", "?")
    choose(3, "left out", "left out")
    sound()
    page.locator("button.first").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/trial")
    sound()
    page.locator("button.first").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/import")
    assert not wrong
    page.close()
    (row,) = open_package(tmp_path / "work" / "hollin").tables.rows("element")
    assert (row["element_id"], row["site_id"]) == ("LH-001", "HOLL")

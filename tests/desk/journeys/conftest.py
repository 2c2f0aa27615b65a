"""A desk that is served, and a person before a browser who looks, points and types."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from provenance._desk.desk import Desk
from provenance._desk.serving import serve
from tests.bundle.finding_aid.conftest import browser

__all__ = ["browser"]


class Person:
    """One window on the desk; `wrong` is what went wrong in it without being said on the page."""

    def __init__(self, page: Any, base: str) -> None:
        self.page, self.base = page, base
        self.wrong: list[str] = []
        page.set_default_timeout(10_000)
        page.on("pageerror", lambda error: self.wrong.append(str(error)))
        page.on("console", self._heard)
        page.on("dialog", lambda one: self.wrong.append(f"dialog {one.message}"))

    def _heard(self, said: Any) -> None:
        # a refused act (409, 422) is said on the page too
        if said.type == "error" and "status of 4" not in said.text:
            self.wrong.append(said.text)

    def opens(self, path: str) -> None:
        """Go to a page of the desk."""
        self.page.goto(f"{self.base}{path}")

    def follows(self, name: str) -> None:
        """Follow a link by its name."""
        with self.page.expect_navigation():
            self.page.get_by_role("link", name=name, exact=True).first.click()

    def fills(self, **fields: str) -> None:
        """Type into fields by their names in the form."""
        for name, text in fields.items():
            self.page.locator(f'main [name="{name}"]:visible').first.fill(text)

    def does(self, name: str, then: str, within: str = "main") -> None:
        """Press a button by keyboard, and wait for what is read once it was done."""
        button = self.page.locator(within).get_by_role("button", name=name, exact=True).first
        button.focus()
        self.page.keyboard.press("Enter")
        self.reads(then)

    def reads(self, text: str) -> None:
        """Wait until a text stands on the page."""
        self.page.get_by_text(text).first.wait_for()

    def puts(self, field: str, *files: Path) -> None:
        """Choose files, as dropping them does."""
        self.page.set_input_files(field, [str(one) for one in files])


class At:
    """A desk in a folder, and those who sit at it."""

    def __init__(self, folder: Path, browser: Any) -> None:
        self.folder, self.browser = folder, browser
        told: queue.Queue[str] = queue.Queue()
        self.desk = Desk(folder, by="MB")
        self.serving = threading.Thread(
            target=serve,
            args=(self.desk,),
            kwargs={"browser": False, "tell": told.put},
            daemon=True,
        )
        self.serving.start()
        address = told.get(timeout=30).split()[1]
        self.people: list[Person] = []
        self.context = browser.new_context(viewport={"width": 1280, "height": 900})
        page = self.context.new_page()
        page.goto(address)
        page.wait_for_url("**/")
        page.close()
        self.base = address.partition("/open")[0]
        self.state = self.context.storage_state()

    def person(self, **options: Any) -> Person:
        """Someone who opens the desk in a browser of her own."""
        context = self.browser.new_context(
            **{"viewport": {"width": 1280, "height": 900}, "storage_state": self.state, **options}
        )
        context.grant_permissions(["clipboard-read", "clipboard-write"])
        self.people.append(Person(context.new_page(), self.base))
        self.people[-1].opens("/")
        return self.people[-1]

    def close(self) -> None:
        """Close all windows and the desk; nothing may have gone wrong unseen."""
        for one in self.people:
            one.page.context.close()
        self.context.close()
        self.desk.stop()
        self.serving.join(20)
        assert [one.wrong for one in self.people if one.wrong] == []


@pytest.fixture
def at(tmp_path: Path, browser: Any) -> Iterator[At]:
    """A desk in an empty folder."""
    folder = tmp_path / "work"
    folder.mkdir()
    at = At(folder, browser)
    yield at
    at.close()

"""Two browsers and the command line on one record; texts that would run; pages for everybody."""

from __future__ import annotations

from importlib.resources import files as files_of
from typing import Any

import pytest
from click.testing import CliRunner

from provenance._cli import treenail
from provenance._record.package import open_package
from tests.builders import a_package
from tests.desk.journeys.conftest import At, Person
from tests.desk.journeys.test_journeys import goes_to, hears

pytestmark = pytest.mark.heavy

HOSTILE = (
    "<script>document.title='run'</script>",
    '"><img src=x onerror="document.title=\'run\'">',
    "'-alert(1)-'{{7*7}}",
    "\u202egnp.exe\u2066 right to left",
    "w" * 10_000,
)
KINDS = ("", "/timbers/B1-014", "/tables/sample", "/findings", "/history", "/plan/B1", "/print",
         "/custody/231", "/relocation/231")  # fmt: skip
"""A page of each kind of a record; those of a store are looked at with the store."""
RULES = {"light": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"], "dark": ["color-contrast"]}
"""In the dark, what colors do."""


def test_two_windows_and_a_command_see_each_other_and_overwrite_nothing(at: At) -> None:
    builder = a_package(at.folder).with_chain()
    folder = builder.with_row("sample", sample_id="232").package.folder
    wide = {"width": 6_000, "height": 900}  # every column is drawn
    one, other = at.person(viewport=wide), at.person(viewport=wide)
    sheet = "/record/holl/tables/sample"
    for person in (one, other):
        person.opens(sheet)
        person.page.wait_for_selector("revo-grid .rgCell")

    def types(person: Person, row: int, text: str, then: str = "Enter") -> None:
        goes_to(person.page, row, "notes")
        person.page.keyboard.type(text)
        person.page.keyboard.press(then)

    types(one, 0, "from the first window")
    hears(one.page, "Saved: Notes of 231")
    other.page.locator(".rgCell", has_text="from the first window").wait_for()
    asked = ["change", "correct", str(folder), "sample", "232", "notes=by a command"]
    done = CliRunner().invoke(treenail, [*asked, "--by", "ZF", "--why", ""])
    assert done.exit_code in (0, 1), done.output
    for person in (one, other):
        person.page.locator(".rgCell", has_text="by a command").wait_for()
    # both have begun to write into one cell; who comes second is shown what stands
    goes_to(other.page, 0, "notes")
    other.page.keyboard.type("second")
    types(one, 0, "first")
    hears(one.page, "Saved: Notes of 231")
    other.page.keyboard.press("Enter")
    other.reads("Someone else changed this meanwhile")
    stands = {row["sample_id"]: row["notes"] for row in open_package(folder).tables.rows("sample")}
    assert stands == {"231": "first", "232": "by a command"}
    # a window that is gone takes with it only what was not answered
    saved: list[str] = []
    one.page.on("response", lambda said: saved.append(said.url) if "/cells" in said.url else None)
    for turn in range(6):
        types(one, 1, f"turn {turn}")
    one.page.context.close()
    at.people.remove(one)
    last = open_package(folder).tables.rows("sample")[1]["notes"]
    assert int(last.removeprefix("turn ")) + 1 >= len(saved) > 0


def test_every_kind_of_page_shows_hostile_texts_harmlessly_and_serves_everybody(at: At) -> None:
    run, image, quoted, turned, long = HOSTILE
    builder = a_package(at.folder)
    builder.with_bare_row("party", party_id="MB", kind="person", name=image)
    builder.with_row("site", name=run, notes=long)
    builder.with_row("place", name=turned, notes=long)
    builder.with_row("element", position_note=long, notes=quoted, mark_text=turned)
    builder.with_row("sample", notes=image, why_here=long).with_row("plug", notes=run)
    record = builder.package
    (record.folder / f"{image[:40].replace('/', '')}.txt").write_text("x")
    reader = at.person(viewport={"width": 320, "height": 900})
    page = reader.page
    axe = files_of("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    wrong: list[tuple[str, Any]] = []
    for kind in KINDS:
        reader.opens(f"/record/holl{kind}")
        page.evaluate(axe)
        for scheme, rules in RULES.items():
            page.emulate_media(color_scheme=scheme)
            ran = page.evaluate("(asked) => axe.run({preload: false, runOnly: asked})", rules)
            wrong += [
                (kind, (scheme, found["id"], found["nodes"][0]["html"][:200]))
                for found in ran["violations"]
            ]
        if (width := page.evaluate("document.documentElement.scrollWidth")) > 320:
            wrong.append((kind, width))
        if "run" in page.title().split():
            wrong.append((kind, page.title()))
    assert wrong == []

"""The page for tracing plans opened in Chromium: marked by mouse and keys, saved, read back."""

from __future__ import annotations

import re
from importlib.resources import files as files_of
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from provenance._survey.trace.page import write_trace_page
from provenance._survey.trace.picture import open_plan
from provenance._survey.trace.points import read_points
from provenance._survey.trace.tracing import trace_plan
from tests.bundle.finding_aid.conftest import browser
from tests.survey.scenes import ROOM
from tests.survey.trace.test_trace import HOLES, WOOD, a_house, a_picture, on_paper

__all__ = ["browser"]
pytestmark = pytest.mark.heavy
SCRIPT = "</script><script>document.title='run'</script>"


def test_points_marked_in_the_page_are_read_back_where_they_were_clicked(
    browser: Any, tmp_path: Path
) -> None:
    house = a_house(tmp_path).with_row("element", element_id="B1-019", function=SCRIPT)
    package = house.package
    plan = open_plan(a_picture(tmp_path / "plan.png"))
    listed = write_trace_page(package, plan, tmp_path / "trace.html")
    assert listed == {"datums": 4, "timbers": 3, "samples": 2}
    context = browser.new_context(accept_downloads=True, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    wrong: list[str] = []
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("request", lambda one: None if one.url[:5] in ("file:", "blob:", "data:")
            else wrong.append(one.url))  # fmt: skip
    page.on("dialog", lambda dialog: dialog.accept())
    page.goto((tmp_path / "trace.html").as_uri())
    for width in (390, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") == width
    page.get_by_role("button", name="Whole picture").click()
    axe = files_of("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    page.evaluate(axe)
    ran = page.evaluate("axe.run({runOnly: ['wcag2a', 'wcag2aa'], resultTypes: ['violations']})")
    assert [one["id"] for one in ran["violations"]] == []

    def on_screen(place: tuple[float, ...]) -> tuple[float, float]:
        page.locator("#view").scroll_into_view_if_needed()
        box = page.locator("#plan").bounding_box()
        x, y = on_paper(place[:2])[0] / [1000, 950]
        return box["x"] + x * box["width"], box["y"] + y * box["height"]

    def click(place: tuple[float, ...]) -> None:
        page.mouse.click(*on_screen(place))

    page.locator("#scale").fill("50")
    for number, (name, place) in enumerate(ROOM.items()):
        assert page.locator("#next").inner_text() == f"Click {name} in the picture."
        click(place)
        assert (number == 0) == ("two known points" in page.locator("#fit").inner_text())
    # a known point that is no datum, which is taken back again
    page.locator("#name").select_option(index=4)
    click((3.0, 2.0))
    assert "Write the name, x and y" in page.locator("#said").inner_text()
    page.get_by_label("Name").fill("sill")
    page.get_by_label("x in m").fill("9")
    page.get_by_label("y in m").fill("2,5")
    click((3.0, 2.0))
    worst = page.locator("#marked tr.off")
    assert worst.locator("td").first.inner_text() == "sill"
    page.get_by_role("button", name="Undo").click()
    assert page.locator("#marked tr.off").count() == 0

    page.get_by_label("Timber ends").check()
    page.locator("#name").select_option("B1-014")
    for name, (a, b) in WOOD.items():
        assert page.locator("#next").inner_text() == f"Click end A of {name}."
        click(a)
        assert page.locator("#next").inner_text() == f"Click end B of {name}."
        click(b)
    # dragging moves the picture and marks nothing
    page.mouse.move(*on_screen((3, 2)))
    page.mouse.down()
    page.mouse.move(*np.add(on_screen((3, 2)), (30, 40)), steps=4)
    page.mouse.up()
    assert page.locator("#marked tbody tr").count() == 8
    # a hole after the wheel has brought it near, the other by keys alone
    page.get_by_label("Hole of a sample").check()
    page.mouse.move(*on_screen(HOLES["231"]))
    page.mouse.wheel(0, -700)
    click(HOLES["231"])
    page.get_by_role("button", name="Whole picture").click()
    view = page.locator("#view")
    view.focus()
    for _ in range(3):
        page.keyboard.press("+")
    target = on_screen(HOLES["232"])
    box = view.bounding_box()
    for axis, (less, more) in enumerate((("ArrowRight", "ArrowLeft"), ("ArrowDown", "ArrowUp"))):
        away = target[axis] - box["xy"[axis]] - box[("width", "height")[axis]] / 2
        key = less if away > 0 else more
        far, near = divmod(abs(away), 40)
        for _ in range(int(far)):
            page.keyboard.press(key)
        for _ in range(int(near)):
            page.keyboard.press(f"Shift+{key}")
    page.keyboard.press("Enter")
    with page.expect_download() as download:
        page.click("#save")
    saved = tmp_path / "saved.csv"
    download.value.save_as(saved)
    told = page.locator("#fit").inner_text()

    found = read_points(package, saved, plan)
    assert found.scale == 50
    true = [place[:2] for place in ROOM.values()]
    true += [place for ends in WOOD.values() for place in ends] + list(HOLES.values())
    for one, pixel in zip(found.points, on_paper(true), strict=True):
        assert one.pixel == pytest.approx(pixel, abs=2.5), one
    fit = trace_plan(package, plan, found).fit
    shown = re.search(r"One pixel is ([0-9.]+) mm; turned (-?[0-9.]+)°", told)
    assert shown is not None
    assert float(shown[1]) == pytest.approx(fit.mean_metres_per_pixel() * 1000, abs=0.006)
    assert float(shown[2]) == pytest.approx(fit.turn_deg(), abs=0.06)

    # another day: the saved file brings everything back
    page.reload()
    page.set_input_files("#open", saved)
    page.get_by_text("Read 10 points.").wait_for()
    assert page.locator("#fit").inner_text() == told
    assert page.title().startswith("Trace plan.png")
    assert wrong == []
    context.close()

"""The review's page opened from a disk in Chromium: read, decided by keys, saved, read back."""

from __future__ import annotations

from importlib.resources import files as files_of
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from provenance._bundle.review.deciding import decide_one_by_one
from provenance._bundle.review.page import write_page
from provenance._bundle.review.review import review_package
from provenance._bundle.review.sheet import read_list
from provenance._record.package import Package, open_package
from tests.builders import a_package
from tests.bundle.finding_aid.conftest import browser

__all__ = ["browser"]
pytestmark = pytest.mark.heavy
SCRIPT = "</script><script>document.title='run'</script>, \"quoted\""


def a_record(folder: Path) -> Package:
    builder = a_package(folder).with_chain()
    for key, notes in (("B1-015", "seen from Hollin Reach"), ("B1-016", "bark, then kleftwood"),
                       ("B1-017", "row 1"), ("B1-018", "row 2"), ("B1-019", SCRIPT)):  # fmt: skip
        builder.with_row("element", element_id=key, notes=notes)
    builder.with_row("file")
    picture = builder.package.folder / "files" / "photo-001.png"
    Image.new("RGB", (1800, 900), (90, 60, 30)).save(picture)
    return builder.package


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
def test_a_page_is_read_decided_by_keys_and_saved_as_a_list_that_is_read_back(
    browser: Any, tmp_path: Path, width: int, scheme: str
) -> None:
    package = a_record(tmp_path)
    write_page(review_package(package), tmp_path / "review.html")
    context = browser.new_context(
        accept_downloads=True, color_scheme=scheme, viewport={"width": width, "height": 900}
    )
    page = context.new_page()
    wrong: list[str] = []
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("request", lambda one: None if one.url[:5] in ("file:", "blob:", "data:")
            else wrong.append(one.url))  # fmt: skip
    page.goto((tmp_path / "review.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") == width
    axe = files_of("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    page.evaluate(axe)
    ran = page.evaluate("axe.run({runOnly: ['wcag2a', 'wcag2aa'], resultTypes: ['violations']})")
    assert [one["id"] for one in ran["violations"]] == []
    # what was found is marked and comes first, and words that no list has are bold
    notes = page.locator("section", has_text="element.notes").last
    first = notes.locator("article").first
    assert first.locator("mark").all_inner_texts() == ["Hollin Reach"]
    assert notes.locator("b.unknown").all_inner_texts()[:1] != []
    assert page.title() == "Review of holl"
    # keys: other words for the first, the next released; buttons: a form at once
    first.focus()
    page.keyboard.press("e")
    page.keyboard.press("Control+a")
    page.keyboard.type("seen from the road")
    first.get_by_role("button", name="Next").click()
    page.keyboard.press("r")
    notes.get_by_role("button", name="Release all 2 of this form").click()
    photo = page.locator("article:has(img)")
    assert "faces" in photo.inner_text()
    photo.scroll_into_view_if_needed()
    drawn = photo.locator("img").evaluate("one => one.decode().then(() => one.naturalWidth)")
    assert drawn == 640
    photo.get_by_role("button", name="Withhold").click()
    with page.expect_download() as download:
        page.click("#save")
    saved = tmp_path / "saved.csv"
    download.value.save_as(saved)
    assert wrong == []
    context.close()
    review = review_package(package)
    assert decide_one_by_one(review, read_list(review, saved), by="Ansa (invented)") == 5
    now = review_package(open_package(package.folder)).items
    stands = {one.text: (one.state, one.shown) for one in now if one.state != "waiting"}
    assert stands["seen from Hollin Reach"] == ("replace", "seen from the road")
    assert {stands[f"row {number}"][0] for number in (1, 2)} == {"release"}
    assert stands["files/photo-001.png"] == ("withhold", None)
    assert len(stands) == 5

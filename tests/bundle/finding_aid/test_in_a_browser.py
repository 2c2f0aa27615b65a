"""The finding aid opened from a disk in Chromium, as its readers open it."""

from __future__ import annotations

import io
from importlib.resources import files as files_of
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from provenance._base.errors import UnreadableValue
from provenance._catalogue.plugs import gather_plugs, read_genera
from provenance._identity.check_character import check_letters
from provenance._identity.identifier import as_coded, checked_identifier
from provenance._identity.locate import locate_plug
from provenance._identity.naming import SampleNames
from provenance._identity.payload import compose_code, compose_store_code
from provenance._identity.plug_fit import PlugRecord, Seen
from provenance._model.schema import AS_FOUND
from provenance._record.package import Package
from tests.builders import renderings

pytestmark = pytest.mark.heavy

KINDS_OF_PAGE = (
    "index.html",
    "go.html",
    "codebook.html",
    "pages/place/B1.html",
    "pages/element/B1-014.html",
    "pages/sample/231.html",
    "pages/stamps.html",
    "pages/table/element-1.html",
    "pages/relocate/231.html",
)
READINGS = (
    ("231", Seen()),
    ("2?1", Seen()),
    ("2[38]1", Seen()),
    ("2..", Seen()),
    ("..31", Seen()),
    ("6 or 8", Seen()),
    ("96", Seen()),
    ("69", Seen(upright=True)),
    ("??", Seen()),
    ("18", Seen(place="North house")),
    ("281", Seen(dowel_mm=12.7)),
    ("1?2", Seen(species="PISY")),
    ("9[68]", Seen(place="b1", dowel_mm=12.5, species="PIPO")),
    ("7777", Seen()),
    # letters, gaps, the orientation dot, exchanged digits, reserved numbers, other numberings
    ("2O1", Seen()),
    ("IEZ", Seen()),
    ("zB1", Seen(upright=True)),
    ("1..7", Seen()),
    ("..2..", Seen()),
    ("96.", Seen()),
    (".69", Seen(upright=True)),
    ("123", Seen()),
    ("3[2/Z]?", Seen(place="Kitchen")),
    ("A9", Seen()),
    ("A12", Seen(dowel_mm=9.5)),
    ("2-7.1", Seen(place="house")),
)


# axe takes milliseconds over each cell; the rows of a table are all of one shape, and so are the
# tables of the code book under one heading
MORE_OF_THE_SAME = """() => {
  const seen = {};
  for (const table of document.querySelectorAll('table')) {
    const head = table.tHead ? table.tHead.innerText : '';
    seen[head] = (seen[head] || 0) + 1;
    if (seen[head] > 3) table.remove();
  }
  for (const body of document.querySelectorAll('tbody'))
    [...body.rows].slice(5).forEach((row) => row.remove());
}"""


def found_by(page: Any, field: str, text: str) -> list[str]:
    page.fill(field, text)
    return results(page, field)


def results(page: Any, field: str = "#q") -> list[str]:
    """What the form of a field finds, at once and not when the typing stops."""
    page.evaluate("(field) => document.querySelector(field).form.requestSubmit()", field)
    return page.locator("#found li").all_inner_texts()


def test_the_record_is_searched_from_a_disk(open_page: Any) -> None:
    page = open_page("index.html")
    assert found_by(page, "#q", "231")[0].startswith("Samples 231")
    assert any("B1-014" in one for one in found_by(page, "#q", "north house beam"))
    assert any("R-1" in one for one in found_by(page, "#q", "1781B"))
    assert any("C-1" in one for one in found_by(page, "#q", "2024-06-16"))
    assert found_by(page, "#q", "no such thing") == []
    assert page.text_content("#count") == "Nothing found"


def test_the_search_is_narrowed_by_species_use_building_and_years(open_page: Any) -> None:
    page = open_page("index.html")
    page.select_option("#kind", label="Samples")
    page.fill("#from", "1700")
    page.fill("#until", "1790")
    (only,) = found_by(page, "#q", "")
    assert only.startswith("Samples 231")
    page.fill("#from", "1800")
    assert found_by(page, "#until", "") == []
    page.fill("#from", "")
    page.select_option("#use", label="Post")
    assert len(results(page)) == 2
    page.select_option("#building", label="North house")
    assert results(page) == []


def test_page_and_command_rank_a_worn_stamp_alike(open_page: Any, record: Package) -> None:
    plugs, page = gather_plugs(record.folder), open_page("index.html")
    for reading, seen in READINGS:
        found = locate_plug(plugs, reading, seen, genera=read_genera(), limit=100)
        around = {"dowel": seen.dowel_mm, "upright": seen.upright}
        around |= {"place": seen.place or "", "species": seen.species or ""}
        told = page.evaluate(
            "([reading, seen]) => rankPlugs(aid.data, reading, seen)", [reading, around]
        )
        # sums in another order differ in the last digits
        shown = {(plug[1], plug[2]): share for share, plug in told["candidates"]}
        expected = {(c.plug.plug_id, c.plug.stamp): c.probability for c in found.candidates}
        assert shown == pytest.approx(expected, rel=1e-9), reading
        assert len(shown) == len(plugs), reading
        assert max(shown.values()) == told["candidates"][0][0], reading
        assert told["unrecorded"] == pytest.approx(found.unrecorded, rel=1e-9), reading
        assert tuple(told["exchanged"]) == found.exchanged, reading
        assert bool(told["says"]) == bool(found.notes), reading
    longer = "1234567890123"
    nothing = {"dowel": None, "upright": False, "place": "", "species": ""}
    told = page.evaluate(
        "([reading, seen]) => rankPlugs(aid.data, reading, seen)", [longer, nothing]
    )
    assert (told["candidates"], told["unrecorded"]) == ([], 1)
    assert locate_plug(plugs, longer).unrecorded == 1


def test_what_is_beside_the_numbers_is_said(open_page: Any) -> None:
    page = open_page("index.html")
    assert "Reserved number 322" in found_by(page, "#reading", "322")[0]
    assert "given to the north crew, no plug recorded" in found_by(page, "#reading", "322")[0]
    assert "and 2 reserved numbers compared" in page.text_content("#count")
    found_by(page, "#reading", "213")
    assert "Or digits exchanged: 231." in page.text_content("#count")
    page.fill("#place", "Noth hose")
    found_by(page, "#reading", "231")
    assert "no place 'Noth hose', so it is left out; the nearest are north house" in (
        page.text_content("#count")
    )


def test_wood_and_places_are_found_by_their_common_names(open_page: Any) -> None:
    page = open_page("index.html")
    assert any("b1/9" in one for one in found_by(page, "#q", "scots pine"))
    assert found_by(page, "#q", "oak") == []
    assert any("B1" in one for one in found_by(page, "#q", "house building"))


def test_hostile_text_is_shown_as_text_in_what_is_found(open_page: Any, data: Path) -> None:
    """A row as a damaged or hostile data file could hold it: the page shows it and runs nothing."""
    page = open_page("index.html")
    hostile = "<img src=x onerror=alert(1)>"
    page.evaluate(
        "(text) => aid.data.rows.push([0, text, text + ' zzz', -1, -1, -1, null, null, 'x.html'])",
        hostile,
    )
    assert hostile in found_by(page, "#q", "zzz")[0]
    assert page.locator("#found img").count() == 0


def test_what_is_no_reading_is_said_to_be_none(open_page: Any) -> None:
    page = open_page("index.html")
    assert found_by(page, "#reading", "2(1") == []
    assert "not a reading" in page.text_content("#count")


def test_the_plan_leads_to_wood_sample_plug_result_and_custody(open_page: Any) -> None:
    page = open_page("pages/place/B1.html")
    page.click("svg a[aria-label='Wood B1-014, beam'] polygon", force=True)
    assert page.url.endswith("pages/element/B1-014.html")
    page.click("a:has-text('231')")
    assert page.url.endswith("pages/sample/231.html")
    assert page.locator("#plug\\.P-231").count() == 1
    assert page.locator("#lab_result\\.R-1").count() == 1
    assert "No custody events" in page.inner_text("main")
    page.click("nav a:has-text('North house')")
    page.click("svg a[aria-label^='Hole of sample 231'] circle", force=True)
    assert page.url.endswith("pages/sample/231.html")


def test_a_label_leads_to_the_page_of_its_sample(open_page: Any) -> None:
    for asked in ("HOLL-231", "holl-231", "HOLL-231-H", "HOLL-231-JV"):
        page = open_page(f"go.html#{asked}")
        page.wait_for_url("**/pages/sample/231.html")
    page = open_page("go.html#HOLL-999")
    page.wait_for_function("document.querySelector('#count').textContent")
    assert "No sample with the number HOLL-999" in page.text_content("#count")
    # where a stand-in is shown for the site, labels still lead to the page by their number
    for asked in ("HOLL-231", "HOLL-231-H", "HOLL-231-JV"):
        page = open_page("go.html")
        page.evaluate(
            "(asked) => { aid.data.samples = {'KXQTW-231': 'pages/sample/231.html'};"
            " location.hash = asked; followLabel(); }",
            asked,
        )
        page.wait_for_url("**/pages/sample/231.html")


def test_a_sample_is_found_by_all_that_names_it(open_page: Any, record: Package) -> None:
    """Page and command take the same texts, and refuse the same ones, for every sample."""
    page = open_page("index.html")
    names = SampleNames.of(record.tables)
    for sample in record.tables.rows("sample"):
        number = sample["sample_id"]
        full = checked_identifier(sample["site_id"], number)
        slip = full.replace(number, f"{number[:-1]}{(int(number[-1]) + 1) % 10}")
        full_glued = full.replace("-", "")
        others = (slip, f"{full[:-1]}?", f"X{full}", f"{full[:-1]}7", full_glued, f"{full}A")
        box = f"TREENAIL {sample['site_id']}:{number}-AY"
        for text in (*renderings(sample["site_id"], number), *others, f"TREENAIL {slip}", box):
            try:
                expected = [f"{one.site_id}-{one.sample_id}" for one in names.samples(text)]
            except UnreadableValue:
                expected = []
            told = page.evaluate("(text) => readLabel(aid.data.samples, text)", text)
            shown = [] if told is None or told.get("says") else told["samples"]
            # a bare number is searched for as a word
            assert shown == ([] if text == number else expected), text
        assert found_by(page, "#q", full)[0].startswith(f"Samples {number}")
        assert any(f"sample {number}," in one for one in found_by(page, "#reading", full))


def test_numbers_as_found_are_read_by_the_page_as_by_the_command(open_page: Any) -> None:
    """Of an older collection, whose numbers stand in the page as codes say them."""
    page = open_page("index.html")
    record = [("Alder Ford", one) for one in ("AF-1", "AF-11", "Ä/3", "%41 ~", "a.b", "231")]
    names = SampleNames(record, as_found=True)
    samples = {as_coded(*one): "page" for one in record}
    for site, number in record:
        whole = f"{site}-{number}"
        code = compose_code(site, number, numbering=AS_FOUND)
        label = f"{whole}-{check_letters(whole)}"
        wrong = f"{label[:-1]}{'A' if label[-1] != 'A' else 'C'}"
        for text in (code, label, label.lower(), f"{code[:-1]}{wrong[-1]}", wrong):
            try:
                expected = [as_coded(*one) for one in names.samples(text)]
            except UnreadableValue:
                expected = []
            told = page.evaluate("([s, text]) => readLabel(s, text)", [samples, text])
            shown = [] if told is None or told.get("says") else told["samples"]
            assert shown == expected, text
    told = page.evaluate("(text) => readLabel({}, text)", compose_store_code("2026.0003/17"))
    assert told["samples"] == []
    assert "2026.0003/17 is a number that a store gave" in told["says"]

    ranked = """([stamps, text]) => {
        const rest = [0, null, 1, -1, -1, -1, "", "", ""];
        const plugs = stamps.map((stamp) => [stamp, stamp, stamp, ...rest]);
        const seen = { place: "", species: "", dowel: null, upright: false };
        const found = rankPlugs({ ...aid.data, plugs }, text, seen);
        return found && found.candidates.map((one) => [one[0], one[1][2]]);
    }"""
    stamps = ["AF/1", "A.F 11", "AF1-1", "231"]
    plugs = [
        PlugRecord("r", "HOLL", f"{place}", f"{place}", stamp, "none", None, "in_place", "", "", "",
                   "", "", "")
        for place, stamp in enumerate(stamps)
    ]  # fmt: skip
    for reading in ("AF/1", "af 1", "AF11", "AF1-1", "2?1"):
        told = page.evaluate(ranked, [stamps, reading])
        found = locate_plug(plugs, reading).candidates
        assert [one for _, one in told] == [one.plug.stamp for one in found], reading
        assert [share for share, _ in told] == pytest.approx([one.probability for one in found])
    assert page.evaluate(ranked, [stamps, "Ö/9"]) is None


def test_a_sample_is_found_by_a_number_that_it_bore_before(open_page: Any) -> None:
    page = open_page("index.html")
    assert "called 199 before" in found_by(page, "#q", "199")[0]
    assert found_by(page, "#q", "HOLL-199")[0].startswith("Samples 281")
    assert "sample 281, plug P-281" in found_by(page, "#reading", "HOLL-199")[0]
    page = open_page("go.html#HOLL-199")
    page.wait_for_url("**/pages/sample/281.html")


def test_a_check_that_does_not_fit_is_said_to_be_wrong(open_page: Any) -> None:
    page = open_page("index.html")
    assert found_by(page, "#q", "HOLL-213-JV")[0].startswith("Samples 231")
    assert "letters do not fit: that of HOLL-213 is EA, not JV" in page.text_content("#count")
    assert "Perhaps HOLL-231-JV is meant" in page.text_content("#count")
    assert found_by(page, "#q", "HOLL-213-H")[0].startswith("Samples 231")
    assert "that of HOLL-213 is" in page.text_content("#count")
    assert "Perhaps HOLL-231-H is meant" in page.text_content("#count")
    assert found_by(page, "#q", "231K")[0].startswith("Samples 231")
    assert "that of HOLL-231 is H, not K" in page.text_content("#count")
    assert found_by(page, "#reading", "231-K") == []
    assert "that of HOLL-231 is H, not K" in page.text_content("#count")
    page = open_page("go.html#HOLL-231-K")
    page.wait_for_function("document.querySelector('#count').textContent")
    assert "that of HOLL-231 is H, not K" in page.text_content("#count")


def test_every_record_can_be_reached_with_scripts_off(open_page: Any) -> None:
    page = open_page("index.html", java_script_enabled=False)
    assert not page.is_visible("#search")
    page.click("a:has-text('North house')")
    page.click("table a:has-text('B1-014')")
    page.click("ul a:has-text('231')")
    assert "1702p - 1781B" in page.inner_text("main")
    page.click("a:has-text('This row in the plain table')")
    assert page.url.endswith("pages/table/sample-1.html#sample.231")


def test_no_page_shuts_a_reader_out(open_page: Any) -> None:
    """WCAG 2.2 A and AA as far as axe-core tests it; the rest was looked at by eye.

    In the dark nothing but the colors is another, so only what is said of colors is asked again.
    """
    axe = files_of("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    page = open_page("index.html", color_scheme="light", bypass_csp=True)
    for path in KINDS_OF_PAGE:
        page.emulate_media(color_scheme="light")
        page.goto((page.url.rpartition("/data/")[0]) + f"/data/{path}")
        if path == "index.html":
            found_by(page, "#reading", "2?1")
        page.evaluate(MORE_OF_THE_SAME)
        page.evaluate(axe)
        levels = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
        colors = ["color-contrast", "link-in-text-block"]
        for scheme, asked in (("light", levels), ("dark", colors)):
            page.emulate_media(color_scheme=scheme)
            result = page.evaluate(
                # preload: a page on a disk may not read its style sheet; of what is not a
                # violation one place is enough, and to describe all takes most of the time
                "(asked) => axe.run({preload: false, runOnly: asked, resultTypes: ['violations']})",
                asked,
            )
            bad = [
                (one["id"], [node["html"] for node in one["nodes"]][:3])
                for one in result["violations"]
                if one["impact"] in ("serious", "critical")
            ]
            assert bad == [], (path, scheme)
            assert {one["id"] for one in result["passes"]} >= {"color-contrast"}, (path, scheme)


def test_no_page_has_to_be_moved_sideways(open_page: Any) -> None:
    """WCAG 2.2, 1.4.10 (reflow): 320 CSS pixels wide, but for tables and plans in their boxes."""
    page = open_page("index.html", viewport={"width": 320, "height": 800})
    for path in KINDS_OF_PAGE:
        page.goto((page.url.rpartition("/data/")[0]) + f"/data/{path}")
        if path == "index.html":
            found_by(page, "#q", "2")
        for width in (320, 768, 1440):
            page.set_viewport_size({"width": width, "height": 800})
            over = page.evaluate(
                "document.documentElement.scrollWidth - document.documentElement.clientWidth"
            )
            assert over <= 0, (path, width)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_way_back_to_a_hole_is_printed_on_two_pages(open_page: Any, paper: str) -> None:
    page = open_page("pages/relocate/231.html", color_scheme="dark")
    printed = PdfReader(io.BytesIO(page.pdf(format=paper, print_background=True)))
    assert len(printed.pages) <= 2
    text = " ".join(" ".join(one.extract_text() for one in printed.pages).split())
    for part in ("Tape from", "licensed people", "Access and keys"):
        assert part in text
    # what leads elsewhere is of no use on paper
    assert "Search the record" not in text


def test_the_search_can_be_used_with_the_keyboard_alone(open_page: Any) -> None:
    page = open_page("index.html")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    page.focus("#q")
    page.keyboard.type("231")
    page.wait_for_selector("#found li")
    assert page.get_attribute("#count", "role") == "status"
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.closest('#found') !== null"):
            break
    page.keyboard.press("Enter")
    page.wait_for_url("**/pages/sample/231.html")


def test_the_pages_are_small_and_one_script_is_enough(data: Path) -> None:
    assert (data / "pages" / "aid.js").stat().st_size < 25_000

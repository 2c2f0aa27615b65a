"""Every page answers, and every form comes back as it went, for records that are not as usual."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote, urljoin

import pytest
from lxml import html

from provenance._desk.app import FIRST, MODULES, pages_of
from provenance._record.new import new_package
from provenance._record.settings import Settings
from tests.builders import PARTIES, STARTED, PackageBuilder, a_package
from tests.desk.sitting import Sitting, text_of

ODD, OLDER, EMPTY = "Höfe (#1) 50%", "older", "holl"
NUMBERS = ('B/1 #7? "a  b" & <i>', "=007 50%25+ä;שלום")
"""Numbers of a collection as found: what addresses, forms, and sheets have other uses for."""
NEWER_TABLES = ("review", "review_rule", "reading", "act", "change")
_NOT_SAID = re.compile(r"\{\{|\{\w+\}|<NA>|Undefined")
_NOTHING = re.compile(r'="None"|>None<')
_CHOICES = re.compile(r"<option.*?</option>|<dd>.*?</dd>", re.DOTALL)
_ALIKE = re.compile(r"where=|what=|on=")
"""Links of which pages have many, to a page that is looked at anyway."""
_PART = re.compile(r"\{\w+(:path)?\}")
_LINK = re.compile(r'(?:href|src|hx-get)="([^"#]+)')


def odd_record(folder: Path) -> PackageBuilder:
    """As-found numbers, feet and inches, Spanish, cells that nobody would type in a form."""
    settings = Settings(units="feet-inches", language="es", numbering="as-found")
    builder = PackageBuilder(new_package(folder, "church", created=STARTED, settings=settings))
    for party in PARTIES:
        builder.with_bare_row("party", **party)
    builder.with_row("site")
    for number in NUMBERS:
        builder.with_row("place", place_id=number, name=f"House {number}")
        builder.with_row("element", element_id=number, place_id=number)
        builder.with_row("sample", sample_id=number, element_id=number)
        builder.with_row("plug", plug_id=number, sample_id=number, orientation_mark="bar")
        builder.with_row("consignment", consignment_id=number)
        builder.with_row("lab_result", result_id=number, sample_id=number, consignment_id=number)
        builder.with_row("file", file_id=number, path=f"files/{NUMBERS.index(number)}.png")
    odd = {
        "notes": "one\r\n two\n\nthree ",
        "position_note": "over\nthe door",
        "tool_marks": "stone_axe; adze",
        "species_field": "no  such",
        "sampled": "yes",
        "recorded_on": " 2024-06-04 ",
        "diameter_a1_cm": "12,5",
        "length_m": "2.8956",
    }
    return builder.with_row("element", element_id="odd", place_id=NUMBERS[0], **odd)


def older_record(folder: Path) -> None:
    """A record of a version before there were a history and a review."""
    package = a_package(folder).with_chain().package
    for name in NEWER_TABLES:
        (package.folder / "schemas" / f"{name}.json").unlink()
        package.table_path(name).unlink()
    package.folder.rename(folder / OLDER)


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    older_record(tmp_path)
    a_package(tmp_path)
    odd_record(tmp_path / ODD)
    return tmp_path


def addresses(record: str, number: str) -> Iterator[str]:
    """Every address that is shown about a record, and about `number` wherever one is meant."""
    named = {"{record}": record, "{table}": "element"}

    def filled(part: re.Match[str]) -> str:
        return quote(named.get(part[0], number), safe="")

    for module in (FIRST, *MODULES):
        for route in pages_of(module).routes:
            if route.method == "GET" and "{record}" in route.address:
                yield _PART.sub(filled, route.address)


def test_every_page_of_every_record_answers(shelf: Path) -> None:
    sitting = Sitting(shelf)
    seen: dict[str, int] = {}

    def look(path: str, on: str = "") -> str:
        # the client of the tests takes the quotes off an address twice
        steps, mark, query = path.partition("?")
        answer = sitting.client.get(f"{steps.replace('%25', '%2525')}{mark}{query}")
        seen[path] = answer.status_code
        assert answer.status_code in (200, 404, 422), (path, on, text_of(answer.text))
        if "html" not in answer.headers["content-type"]:
            return ""
        shown = _CHOICES.sub(" ", answer.text)
        found = _NOTHING.search(shown) or _NOT_SAID.search(text_of(shown))
        assert not found, (path, on, found)
        return answer.text

    for record in (EMPTY, OLDER):
        for path in addresses(record, "231"):
            look(path)
    linked = {
        urljoin(path, str(html.fromstring(f"<a>{to}</a>").text)): path
        for path in addresses(ODD, NUMBERS[0])
        for to in _LINK.findall(look(path))
    }
    for to, on in linked.items():
        if to.startswith("/record/") and to not in seen and not _ALIKE.search(to):
            look(to, on)
    lost = [(to, on) for to, on in linked.items() if seen.get(to) == 404 if "/history" not in to]
    assert lost == []


def test_a_record_that_cannot_be_read_still_says_what_is_wrong(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    with package.table_path("element").open("a", encoding="utf-8") as stream:
        stream.write("a,b\n")
    page = Sitting(tmp_path).page(f"/record/{EMPTY}", 422)
    assert "row 3 has 2 cells" in page
    (findings,) = html.fromstring(page).xpath("//nav//a[.='Findings']/@href")
    assert "The row ends after 2 of" in text_of(Sitting(tmp_path).page(findings))


def as_filled_in(form: html.HtmlElement) -> dict[str, list[str]]:
    """What a browser sends of a form that nobody touched (HTML standard, form submission)."""
    sent: dict[str, list[str]] = {}
    for one in form.xpath(".//*[self::input or self::select or self::textarea][not(@disabled)]"):
        value = one.get("value", "")
        if one.tag == "select":
            chosen = (one.xpath(".//option[@selected]") or one.xpath(".//option"))[0]
            value = chosen.get("value", " ".join((chosen.text or "").split()))
        elif one.tag == "textarea":
            value = (one.text or "").removeprefix("\n")
        elif one.get("type") == "checkbox" and one.get("checked") is None:
            continue
        elif one.get("type") != "hidden":
            value = re.sub(r"[\r\n]", "", value)
        sent.setdefault(one.get("name"), []).append(value)
    return sent


def test_a_form_comes_back_as_it_went_and_leads_back(tmp_path: Path) -> None:
    package = odd_record(tmp_path / ODD).package
    before = {one.name: one.read_bytes() for one in package.folder.glob("tables/*.csv")}
    sitting = Sitting(tmp_path)
    at = f"/record/{quote(ODD, safe='')}"
    for table, key in [(one, NUMBERS[0]) for one in ("place", "sample", "file")] + [
        ("element", "odd")
    ]:
        page = sitting.page(f"{at}/tables/{table}/row?key={quote(key, safe='')}")
        (form,) = html.fromstring(page).xpath("//form[@*[name()='hx-post']]")
        said = sitting.refused(form.get("hx-post"), as_filled_in(form))
        assert said == "Nothing was changed.", (table, key)
    assert before == {one.name: one.read_bytes() for one in package.folder.glob("tables/*.csv")}

    timber = f"{at}/timbers/{quote(NUMBERS[0], safe='')}"
    page = html.fromstring(sitting.page(timber))
    (label,) = page.xpath("//a[contains(@href, '/print?')]/@href")
    (samples,) = html.fromstring(sitting.page(label)).xpath("//textarea[@name='samples']/text()")
    assert samples == NUMBERS[0]
    form = page.xpath("//form[@*[name()='hx-post']]")[0]
    changed = as_filled_in(form) | {"notes": ["seen"], "length_m": ["9' 6"]}
    assert "Saved." in text_of(sitting.do(form.get("hx-post"), changed))
    sitting.desk.close()
    row = next(r for r in package.tables.rows("element") if r["element_id"] == NUMBERS[0])
    assert (row["notes"], row["length_m"]) == ("seen", "2.8956")


def test_a_bare_length_is_read_in_the_unit_beside_it(tmp_path: Path) -> None:
    package = odd_record(tmp_path / ODD).package
    at = f"/record/{quote(ODD, safe='')}"
    told = {"table": "sample", "key": NUMBERS[0], "field": "length_mm", "value": "4", "why": "seen"}
    Sitting(tmp_path).do(f"{at}/reconcile/correct", told | {"parcel": NUMBERS[1]})
    row = next(r for r in package.tables.rows("sample") if r["sample_id"] == NUMBERS[0])
    assert row["length_mm"] == "101.6"  # 4 in


def test_what_only_reads_offers_nothing_that_it_refuses(shelf: Path) -> None:
    sitting = Sitting(shelf, read_only=True)
    pages = ["/", *(one for one in addresses(ODD, NUMBERS[0]) if not one.endswith("/new"))]
    offered = {
        str(to)
        for page in pages
        if (answer := sitting.client.get(page)).headers["content-type"].startswith("text/html")
        for to in html.fromstring(answer.text).xpath("//@*[name()='hx-post']")
    }
    assert "/close" in offered
    for to in offered:
        assert sitting.client.post(to, headers=sitting.headers).status_code != 405, to


def test_every_record_is_written_though_one_was_moved_away(shelf: Path) -> None:
    sitting = Sitting(shelf)
    a_package(shelf / "more").with_chain().package.folder.rename(shelf / "kept")
    for record in (ODD, "kept"):
        row = {"key": "AUTH", "was-notes": "", "notes": "seen"}
        sitting.do(f"/record/{quote(record, safe='')}/tables/party/row", row)
    (shelf / ODD).rename(shelf / "moved")
    sitting.desk.close()
    assert "seen" in (shelf / "kept" / "tables" / "party.csv").read_text("utf-8")
    assert "seen" in text_of(Sitting(shelf).page("/record/moved/tables/party/row?key=AUTH"))
    assert not (shelf / ODD).exists()

"""The pages and texts a stranger reads: complete, linked, and text stays text."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import pandas as pd
import pytest

from provenance._base.visible import visible
from provenance._bundle.describe.code_book import code_book_html, code_book_markdown
from provenance._ledger.handover import record_events
from provenance._model.schema import Model
from provenance._record.package import Package
from tests.builders import pack_bundle


class Page(HTMLParser):
    """What a browser would make of a page, as far as the tests ask."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.loads: list[str] = []
        self.text = ""
        self.scripts = 0
        self.tables = 0
        self.captions = 0
        self.language = ""
        self.feed(path.read_text("utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        values = {name: value or "" for name, value in attrs}
        self.ids += [values["id"]] if "id" in values else []
        self.links += [values["href"]] if "href" in values else []
        self.loads += [values[name] for name in ("src", "srcset", "data") if name in values]
        self.scripts += tag == "script" and "src" in values
        self.tables += tag == "table"
        self.captions += tag == "caption"
        self.language = values.get("lang", self.language) if tag == "html" else self.language
        assert not [name for name in values if name.startswith("on")], values

    def handle_data(self, data: str) -> None:
        self.text += data


def pages_of(folder: Path) -> dict[str, Page]:
    paths = [folder / name for name in ("index.html", "go.html", "codebook.html")]
    paths += (folder / "pages").rglob("*.html")
    return {path.relative_to(folder).as_posix(): Page(path) for path in paths}


def assert_links_lead_somewhere(folder: Path) -> int:
    """Every link names a file or an anchor that is there; returns how many there are."""
    pages = pages_of(folder)
    count = 0
    for name, page in pages.items():
        for link in page.links:
            count += 1
            path, _, anchor = link.partition("#")
            target = (folder / name).parent / unquote(path) if path else folder / name
            assert target.resolve().is_relative_to(folder.resolve()), link
            assert target.exists(), f"{name}: {link}"
            if anchor:
                there = pages[target.resolve().relative_to(folder.resolve()).as_posix()]
                assert anchor in there.ids, f"{name}: {link}"
    return count


def test_every_link_leads_to_a_file_or_row_of_the_bundle(bundle: Path) -> None:
    assert assert_links_lead_somewhere(bundle / "data") > 50


def test_pages_load_nothing_but_files_of_the_bundle(bundle: Path) -> None:
    data = bundle / "data"
    for name, page in pages_of(data).items():
        for load in page.loads:
            assert (data / name).parent.joinpath(unquote(load)).resolve().is_relative_to(data)
            assert (data / name).parent.joinpath(unquote(load)).is_file()
        assert not {"iframe", "object", "embed", "form"} & set(page.tags) or name == "index.html"
        assert not [link for link in page.links if "//" in link or ":" in link.split("#")[0]]


def test_only_the_search_needs_scripts(bundle: Path) -> None:
    with_scripts = [name for name, page in pages_of(bundle / "data").items() if page.scripts]
    assert sorted(with_scripts) == ["go.html", "index.html"]


def test_pages_serve_those_who_cannot_see_them(bundle: Path) -> None:
    """WCAG 2.2: 1.3.1 (tables have captions and headings), 2.4.1 (skip link), 3.1.1 (language)."""
    for page in pages_of(bundle / "data").values():
        assert page.language == "en"
        assert page.captions == page.tables
        assert page.tags.count("h1") == 1
        assert page.tags.count("main") == 1
        assert "#content" in page.links
        assert len(page.ids) == len(set(page.ids))


def test_the_chain_can_be_walked_from_the_stamp_to_the_date(bundle: Path) -> None:
    pages = bundle / "data" / "pages"
    for page, leads_to in (
        ("table/plug-1.html", "pages/sample/231.html"),
        ("table/lab_result-1.html", "pages/sample/231.html"),
        ("sample/231.html", "pages/element/B1-014.html"),
        ("element/B1-014.html", "pages/place/B1.html"),
        ("place/B1.html", "pages/element/B1-014.html"),
        ("element/B1-014.html", "pages/sample/231.html"),
    ):
        assert f"../../{leads_to}" in Page(pages / page).links
    wood = Page(pages / "element" / "B1-014.html")
    assert "The tree was felled in 1781 or before growth began in 1782 (cutting date)." in wood.text
    sample = Page(pages / "sample" / "231.html")
    assert {"plug.P-231", "lab_result.R-1", "custody.1", "custody.3"} <= set(sample.ids)
    assert "1702p - 1781B" in sample.text
    assert "Held by Alder Ring Laboratory (invented) since 2024-06-20" in sample.text


def test_codes_are_shown_by_their_labels(package: Package, tmp_path: Path) -> None:
    """Several codes in one cell too; the code itself stands small beside where it differs."""
    party = package.table("party")
    party["roles"] = "crew_lead; driller"
    party["may_be_named"] = "true"
    package.write_table("party", party)
    element = package.table("element")
    element["species_field"] = "PIPO"
    package.write_table("element", element)
    lent = {"to_party_id": "OWN", "loan_due_on": "2027-01-01", "reference": "L2026.001"}
    record_events(
        package, "loaned", ["231"], happened_on="2026-03-01", recorded_on="2026-03-01", **lent
    )
    pages = pack_bundle(package, tmp_path / "b") / "data" / "pages"
    loaned = "from Alder Ring Laboratory (invented) since 2026-03-01, due back 2027-01-01"
    sample = Page(pages / "sample" / "231.html").text
    assert f"On loan to Odo Reedham (invented) {loaned} (L2026.001)." in sample
    assert "On loan until 2027-01-01 (L2026.001)" in sample
    tables = pages / "table"
    text = (tables / "party-1.html").read_text("utf-8")
    (row,) = re.findall(r'<tr id="party\.MB">.*', text)
    assert "Crew lead; Driller" in row
    assert ">Yes</td>" in row
    text = (tables / "element-1.html").read_text("utf-8")
    (row,) = re.findall(r'<tr id="element\.B1-014">.*', text)
    label = package.model.vocabularies["species"].label("PIPO")
    assert f"{label} <small>PIPO</small>" in row


def test_a_long_table_is_split_to_pages_and_links_find_the_right_one(
    package: Package, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in ("cells", "table_pages"):
        monkeypatch.setattr(f"provenance._bundle.finding_aid.{module}.PAGE_ROWS", 100)
    frame = package.table("element")
    many = pd.concat([frame.iloc[[0]]] * 230, ignore_index=True)
    many["element_id"] = [f"B2-{place:04}" for place in range(230)]
    package.write_table("element", pd.concat([frame, many]))
    samples = package.table("sample")
    package.write_table(
        "sample",
        pd.concat([samples, samples.assign(sample_id="999", element_id="B2-0229")]),
    )
    data = pack_bundle(package, tmp_path / "b") / "data"
    tables = sorted((data / "pages" / "table").glob("element-*.html"))
    assert [path.name for path in tables] == ["element-1.html", "element-2.html", "element-3.html"]
    own = Page(data / "pages" / "element" / "B2-0229.html")
    assert "../../pages/table/element-3.html#element.B2-0229" in own.links
    assert_links_lead_somewhere(data)
    assert sum(Page(path).text.count("B2-") for path in tables) == 230


HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "javascript:alert(1)",
    "{{ 7919 * 7 }}",
    "{% include '/etc/passwd' %}",
    '=HYPERLINK("http://x")',
    "beam\u202egnp.exe",
    "</td></tr></table><h1>",
    "&lt;b&gt;",
    "a\x1b[2Jb",
)


@pytest.mark.parametrize("text", HOSTILE)
def test_text_from_the_record_is_shown_as_text(package: Package, tmp_path: Path, text: str) -> None:
    """In a cell, a key, a title of a file and the title of the whole."""
    frame = package.table("element")
    frame["notes"] = text
    package.write_table("element", frame)
    files = package.table("file")
    files["title"] = text
    package.write_table("file", files)
    party = package.table("party")
    party.loc[2, "party_id"] = text
    package.write_table("party", party)
    package = package.with_descriptor({"title": text, "description": text})
    data = pack_bundle(package, tmp_path / "b") / "data"
    pages = pages_of(data)
    seen = 0
    for name, page in pages.items():
        # the picture of the photo's preview is no picture, so there is no image anywhere
        assert "img" not in page.tags
        assert page.tags.count("script") == {"index.html": 3, "go.html": 2}.get(name, 0)
        assert page.tags.count("h1") == 1
        assert "55433" not in page.text
        assert "\u202e" not in page.text
        seen += visible(text) in page.text
    assert seen == len(pages)
    for name in ("index.html", "pages/element/B1-014.html", "pages/table/party-1.html"):
        assert visible(text) in pages[name].text
    for script in (data / "pages").glob("*.js"):
        assert "<script" not in script.read_text("utf-8")
        assert "\u202e" not in script.read_text("utf-8")
    block = re.search(
        r'<script type="application/ld\+json">(.*?)</script>',
        (data / "index.html").read_text("utf-8"),
        re.DOTALL,
    )
    assert block
    assert json.loads(block[1])["@type"] == "Dataset"
    for name in ("README.txt", "CODEBOOK.md"):
        assert "\x1b" not in (data / name).read_text("utf-8")
        assert "\u202e" not in (data / name).read_text("utf-8")


# -- code book -----------------------------------------------------------------------------------


def what_the_model_says(model: Model) -> list[str]:
    says = []
    for table, one in model.every_field():
        says += [table.title, one.name, one.title, one.description, one.unit or "", one.obtained]
        says += [one.rdf_type or "", *(link["term"] for link in one.crosswalk)]
    for vocabulary in model.vocabularies.values():
        says += [vocabulary.title, vocabulary.source.rstrip(".")]
        for term in vocabulary.terms:
            says += [term.code, term.label, term.definition, term.source, term.match or ""]
    for notation in model.notations.values():
        says += [notation.title, notation.source, str(notation.example)]
    return [one for one in says if one]


def squeezed(text: str) -> str:
    return "".join(text.replace("\\", "").split())


def test_the_code_book_tells_everything_that_the_model_says(package: Package, bundle: Path) -> None:
    """Every table, column, unit, code, definition, source and open term, in both forms."""
    page = squeezed(Page(bundle / "data" / "codebook.html").text)
    markdown = squeezed((bundle / "data" / "CODEBOOK.md").read_text("utf-8"))
    for one in what_the_model_says(package.model):
        assert squeezed(one) in page, one
        assert squeezed(one) in markdown, one


def test_rows_of_the_markdown_tables_have_as_many_cells_as_their_heads(package: Package) -> None:
    width = 0
    for line in code_book_markdown(package.model, "x | y").splitlines():
        if line.startswith("|---"):
            width = line.count("|")
        elif line.startswith("|") and width:
            assert len(re.findall(r"(?<!\\)\|", line)) == width or "column" in line, line
        elif not line:
            width = 0


def test_the_code_book_names_units_and_how_a_value_is_obtained(package: Package) -> None:
    book = code_book_html(package.model, "x")
    row = re.search(r'<tr id="sample\.bore_mm">.*', book)
    assert row
    assert "number, mm" in row.group()
    assert "measured" in row.group()


# -- README --------------------------------------------------------------------------------------


def test_the_readme_fits_a_plain_text_window(bundle: Path) -> None:
    text = (bundle / "data" / "README.txt").read_text("utf-8")
    assert max(len(line) for line in text.splitlines()) <= 80
    assert text.isascii()


def test_the_readme_names_every_table_and_its_rows_and_ties(bundle: Path, package: Package) -> None:
    text = " ".join((bundle / "data" / "README.txt").read_text("utf-8").split())
    for table in package.model.tables.values():
        assert f"tables/{table.name}.csv ({len(package.table(table.name))} rows)" in text
        for key in table.foreign_keys:
            assert f"{', '.join(key.fields)} -> {key.table}" in text
    assert "sha256sum -c manifest-sha256.txt" in text
    assert "licensed practice" in text

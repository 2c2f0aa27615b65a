"""Bundles at the desk: no page of a stranger's is shown, and answers are those of the functions."""

from __future__ import annotations

import html
import os
import posixpath
import re
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path
from queue import Queue
from typing import Any
from urllib.parse import quote

import pytest

from provenance._base.resources import shipped
from provenance._bundle.finding_aid.pictures import SVG
from provenance._bundle.unpack import unpack
from provenance._catalogue.plugs import gather_plugs, read_genera, seen_around
from provenance._derive.dates.phases import PhaseRule
from provenance._derive.figures.figures import FIGURES
from provenance._derive.summary import derive_package
from provenance._desk import prepared
from provenance._desk.desk import Desk
from provenance._desk.serving import serve
from provenance._identity.locate import locate_plug
from provenance._record.package import open_package
from provenance._survey.relocation import write_relocation_sheets
from tests.builders import PackageBuilder, left_alone, pack_bundle
from tests.bundle.conftest import a_full_package
from tests.bundle.finding_aid import conftest as of_finding_aid
from tests.bundle.test_hostile import a_member, a_zip, sealed_anew
from tests.desk.sitting import Sitting, text_of

browser = of_finding_aid.browser
EVIL = "</script><script>window.stolen=1</script><img src=x onerror=alert(1)>"
STOLEN = b"<!doctype html><script>window.stolen=1</script>"
DRAWING = b'<svg xmlns="http://www.w3.org/2000/svg"><script>window.stolen=1</script></svg>'


@pytest.fixture(scope="module")
def pristine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """'evil', a sound bundle in which texts, files and pages mean harm; and 'holl', the record."""
    folder = tmp_path_factory.mktemp("research")
    record = of_finding_aid.a_record(folder)
    (record.folder / "files" / "draw.svg").write_bytes(DRAWING)
    (record.folder / "files" / "page.html").write_bytes(STOLEN)
    builder = PackageBuilder(record).with_row("place", place_id="EVIL", name=EVIL)
    for name in ("draw.svg", "page.html"):
        about = {"about_table": "sample", "about_id": "231", "kind": "drawing"}
        builder.with_bare_row("file", file_id=name, path=f"files/{name}", **about)
    bundle = pack_bundle(builder.package, folder / "evil")
    for name in ("index.html", "go.html", "pages/aid.js", "pages/search-data.js"):
        (bundle / "data" / name).write_bytes(STOLEN)
    sealed_anew(bundle)
    with left_alone(folder):
        yield folder


@pytest.fixture
def sitting(pristine: Path, tmp_path: Path) -> Iterator[Sitting]:
    folder = tmp_path / "work"
    shutil.copytree(pristine, folder)
    sitting = Sitting(folder)
    yield sitting
    sitting.desk.close()


def waited(sitting: Sitting, path: str) -> str:
    """The page, once what it waits for is done."""
    text = sitting.page(path)
    while 'id="work"' in text:
        for one in sitting.desk.jobs.running():
            one.thread.join(60)
        text = sitting.page(path)
    return text


def test_nothing_of_a_bundle_itself_is_shown_in_the_desk(sitting: Sitting) -> None:
    assert "window.stolen" not in waited(sitting, "/bundle/evil").replace(html.escape(EVIL), "")
    at = "/bundle/evil/pages"
    seen, waiting = set(), ["index.html"]
    while waiting:
        path = waiting.pop()
        seen.add(path)
        text = waited(sitting, f"{at}/{quote(path)}")
        # scripts of the pages are files of ours, and no attribute runs anything
        scripts = re.findall(r"<script[^>]*>", text)
        assert all(re.fullmatch(r'<script src="[./]*pages/(aid|search-data)\.js" defer>', one)
                   for one in scripts), path  # fmt: skip
        assert not re.search(r"<[^>]*\son\w+\s*=|javascript:|<iframe|<object", text), path
        for href in re.findall(r'href="([^"#?]+\.html)', text):
            there = posixpath.normpath(posixpath.join(posixpath.dirname(path), html.unescape(href)))
            # one page of each kind
            if posixpath.dirname(there) not in {
                posixpath.dirname(one) for one in [*seen, *waiting]
            }:
                waiting.append(there)
    assert {posixpath.dirname(one) for one in seen} > {"", "pages/sample", "pages/relocate"}
    policy = sitting.client.get(f"{at}/index.html").headers["content-security-policy"]
    assert "script-src 'self';" in policy
    assert "default-src 'none'" in policy
    ours = shipped("templates") / "bundle" / "aid.js"
    assert sitting.client.get(f"{at}/pages/aid.js").content == ours.read_bytes()
    assert "stolen=1</script" not in sitting.page(f"{at}/pages/search-data.js")
    # the record's own files are kept, and run nowhere
    for name in ("files/draw.svg", "files/page.html", "files/photo-001.png"):
        answer = sitting.client.get(f"{at}/{name}")
        assert answer.headers["content-disposition"].startswith("attachment"), name
        assert answer.headers["content-type"] == "application/octet-stream", name
        assert answer.headers["content-security-policy"].endswith("sandbox"), name
    sample = sitting.page(f"{at}/pages/sample/231.html")
    assert "draw.svg" in sample
    assert 'src="../../files' not in sample
    for name in ("../evil/bagit.txt", "%2e%2e/bagit.txt", "..%2fbagit.txt", "bagit.txt", "a\0b",
                 "pages/../../bagit.txt", "/etc/passwd"):  # fmt: skip
        path = f"{at}/{quote(name, safe='%')}"
        assert sitting.client.get(path).status_code == 404, name


def test_a_damaged_bundle_says_so_first_and_answers_only_on_demand(sitting: Sitting) -> None:
    path = sitting.desk.folder / "evil" / "data" / "tables" / "plug.csv"
    path.write_bytes(path.read_bytes().replace(b"237", b"238", 1))
    assert "NOT SOUND: damaged" in text_of(waited(sitting, "/bundle/evil"))
    for way in (
        "pages/index.html",
        "find?reading=231",
        "relocation/231",
        "compare?with=record/holl",
    ):
        text = text_of(waited(sitting, f"/bundle/evil/{way}"))
        assert "This bundle is damaged" in text, way
        assert "B1-014" not in text, way
    assert "Say first" in sitting.refused("/bundle/evil/unpack", {})
    found = text_of(waited(sitting, "/bundle/evil/find?reading=231&all-the-same=yes"))
    assert "sample 231 of HOLL" in found
    assert "DAMAGED" in text_of(waited(sitting, "/bundle/evil/pages/index.html"))


def test_a_file_that_is_replaced_while_the_desk_is_open_makes_the_verdict_anew(
    sitting: Sitting,
) -> None:
    bundle = sitting.desk.folder / "evil"
    for path in (bundle / "data" / "files" / "page.html", bundle / "data" / "pages" / "aid.js"):
        content, then = path.read_bytes(), path.stat()
        assert "NOT SOUND: as packed" in text_of(waited(sitting, "/bundle/evil"))
        path.write_bytes(bytes(len(content)))
        os.utime(path, ns=(then.st_atime_ns, then.st_mtime_ns))  # as a copying program does
        assert "NOT SOUND: damaged" in text_of(waited(sitting, "/bundle/evil")), path
        path.write_bytes(content)


def test_a_zip_that_means_harm_is_named_and_never_opened(tmp_path: Path) -> None:
    folder = tmp_path / "work"
    folder.mkdir()
    sign = ("b/bagit.txt", b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    a_zip(folder / "out.zip", sign, ("../out.txt", b"x"))
    a_zip(folder / "link.zip", sign, (a_member("b/data/link", mode=0o120777), b"/etc/passwd"))
    a_zip(folder / "huge.zip", sign, ("b/data/huge", bytes(1 << 26)))
    (folder / "no.zip").write_bytes(b"no zip at all")
    sitting = Sitting(folder)
    for name in ("out.zip", "link.zip", "huge.zip"):
        for way in ("", "/pages/index.html?all-the-same=yes", "/find?all-the-same=yes&reading=1"):
            text = text_of(sitting.page(f"/bundle/{name}{way}"))
            assert ("NOT SOUND" in text) == (not way), (name, way)
            assert "cannot be read" in text, (name, way)
    assert sitting.client.get("/bundle/no.zip").status_code == 422
    assert not (tmp_path / "out.txt").exists()
    sitting.desk.close()


def test_the_plug_finder_and_the_sheets_are_those_of_the_functions(sitting: Sitting) -> None:
    folder = sitting.desk.folder
    for at, place in (("/bundle/evil", folder / "evil"), ("/record/holl", folder / "holl")):
        plugs = gather_plugs(place)
        for reading, dowel, upright in (
            ("2?1", "", False),
            ("96", "5/8 in", True),
            ("6 or 8", "", False),
        ):
            seen = seen_around("North house", dowel, "PIPO", upright=upright)
            found = locate_plug(plugs, reading, seen, genera=read_genera())
            asked = f"reading={quote(reading)}&dowel={quote(dowel)}&room=North+house&wood=PIPO"
            page = waited(sitting, f"{at}/find?{asked}{'&upright=yes' * upright}")
            shown = re.findall(r'<b class="share">([\d.]+%)</b> <b>(\w*)</b>', page)
            expected = [(f"{one.probability:.1%}", one.plug.stamp) for one in found.candidates]
            assert shown == expected
            assert shown
            assert f"{at}/relocation/{found.candidates[0].plug.sample_id}" in page
    (sheet,) = write_relocation_sheets(open_package(folder / "holl"), ["231"], folder.parent)
    answer = sitting.client.get("/record/holl/relocation/231?pdf=a4")
    assert answer.content == sheet.read_bytes()
    assert "Right way up: 231" in text_of(sitting.page("/record/holl/relocation/231"))
    both = text_of(waited(sitting, "/find?reading=231"))
    assert "sample 231 of HOLL" in both
    assert '"(((" is not a reading' in text_of(sitting.page("/record/holl/find?reading=((("))


def test_unpacking_and_deriving_at_the_desk_is_that_of_the_functions(sitting: Sitting) -> None:
    folder = sitting.desk.folder
    unpack(folder / "evil", folder.parent / "apart")
    sitting.do("/bundle/evil/unpack", {})
    here = folder / "evil-unpacked"
    rule = {"window_years": "3", "least": "1", "narrow": "1", "narrow_years": "10", "stored": "5",
            "end_error": "1.0"}  # fmt: skip
    assert "whole number" in sitting.refused(
        "/record/evil-unpacked/derived/anew", {**rule, "least": "0"}
    )
    page = sitting.do("/record/evil-unpacked/derived/anew", rule)
    derive_package(open_package(folder.parent / "apart"), phase_rule=PhaseRule(3, 1, 1, 10))
    names = {one.relative_to(here) for one in here.rglob("*") if one.is_file()}
    assert {one for one in names if one.parts[0] != ".treenail.lock"} >= {Path("datapackage.json")}
    for name in sorted(names):
        if name.name != ".lock":
            assert (here / name).read_bytes() == (folder.parent / "apart" / name).read_bytes(), name
    drawn = re.findall(r'src="([^"]+\.svg)"', page)
    assert drawn
    assert all(Path(one).stem in FIGURES for one in drawn)
    for one in drawn:
        answer = sitting.client.get(one)
        assert answer.headers["content-type"] == SVG
        assert answer.content.startswith(b"<?xml")


def test_an_anchor_is_typed_dropped_or_chosen_and_never_a_path_elsewhere(tmp_path: Path) -> None:
    folder = tmp_path / "work"
    folder.mkdir()
    package = a_full_package(folder)
    pack_bundle(package, folder / "new.zip", zipped=True)
    last = open_package(package.folder).table("custody")["event_sha256"].iloc[-1]
    sitting = Sitting(folder)
    assert "sealed, not anchored" in sitting.page("/bundle/new.zip")
    assert "not the line" in sitting.refused(
        "/bundle/new.zip/anchor", {"line": str(folder / "holl")}
    )
    assert "Drop an older" in sitting.refused("/bundle/new.zip/anchor", {})
    line = f"ledger 3 {last[:32]}"
    assert "as it was known before" in sitting.do("/bundle/new.zip/anchor", {"line": line})
    sitting.do("/bundle/new.zip/verify", {})
    assert "sealed, not anchored" in sitting.page("/bundle/new.zip")
    raw = (folder / "new.zip").read_bytes()
    sent = {"older": ("old.zip", raw)}
    assert "as it was known before" in sitting.do("/bundle/new.zip/anchor", {}, files=sent)
    wrong = {"line": f"ledger 2 {last[:32]}"}
    assert "not the one known before" in sitting.do("/bundle/new.zip/anchor", wrong)
    assert "as it was known before" in sitting.do("/bundle/new.zip/anchor", {"record": "holl"})
    text = text_of(waited(sitting, "/bundle/new.zip/compare?with=record/holl"))
    assert "The records do not differ." in text
    sitting.desk.close()


@pytest.mark.heavy
def test_the_search_of_the_finding_aid_works_under_the_policy_of_the_desk(
    pristine: Path, tmp_path: Path, browser: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    # every wait is shown as work, from which the page goes on by itself
    monkeypatch.setattr(prepared, "QUICK_SECONDS", 0.0)
    folder = Path(shutil.copytree(pristine, tmp_path / "work"))
    desk, told = Desk(folder, by="MB"), Queue[str]()
    serving = threading.Thread(
        target=serve, args=(desk,), kwargs={"browser": False, "tell": told.put}, daemon=True
    )
    serving.start()
    wrong: list[str] = []
    context = browser.new_context()
    page = context.new_page()
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(told.get(timeout=60).split()[1])
    page.wait_for_url("**/")
    page.click("text=evil")
    page.click("text=Finding aid")
    page.wait_for_selector("#reading:visible", timeout=60_000)
    page.fill("#reading", "2?1")
    found = locate_plug(gather_plugs(folder / "evil"), "2?1", genera=read_genera(), limit=3)
    page.wait_for_selector("#found li")
    shown = page.locator("#found li").all_inner_texts()
    for one, text in zip(found.candidates, shown, strict=False):
        assert one.plug.stamp in text
    page.locator("#found a").first.click()
    assert "/bundle/evil/pages/pages/sample/" in page.url
    page.goto(page.url.replace("/pages/sample/", "/pages/relocate/"))
    assert page.evaluate("[...document.images].every((one) => one.complete && one.naturalWidth)")
    assert page.evaluate("window.stolen") is None
    context.close()
    desk.stop()
    serving.join(30)
    assert wrong == []

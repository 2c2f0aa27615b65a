"""The page that leads back to a hole answers a stranger who has the full bundle and a browser."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest
from lxml import html
from PIL import Image

from provenance._bundle.describe.editions import PUBLIC
from provenance._ledger.custody import append_events
from provenance._model.profile import general_cautions
from provenance._record.package import Package, open_package
from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.hole.hole import hole_position
from tests.builders import PARTIES, left_alone, pack_bundle
from tests.survey.test_plan import a_house

PARTY = {one["party_id"]: one for one in PARTIES}
EVENTS = (
    {"event": "collected", "happened_on": "2024-06-04", "to_party_id": "MB"},
    {"event": "handed_over", "happened_on": "2024-06-16", "from_party_id": "MB",
     "to_party_id": "LAB"},
    {"event": "received", "happened_on": "2024-06-20", "from_party_id": "MB",
     "to_party_id": "LAB", "place_held": "Drawer 7"},
)  # fmt: skip


def a_record(folder: Path) -> Package:
    """The house of the plans, with keepers, a result, a photo, and a hole that nothing places."""
    builder = a_house(folder)
    for party in PARTIES[:1] + PARTIES[2:]:
        builder.with_bare_row("party", **party)
    builder.with_bare_row("party", **PARTY["LAB"], email="rings@example.org")
    builder.with_row("element", element_id="B1-099", place_id="B1", load_bearing="yes")
    builder.with_row("sample", sample_id="299", element_id="B1-099", clock=9)
    builder.with_row("lab_result").with_row("file", about_table="sample", about_id="231")
    package = builder.package
    site = package.table("site").assign(
        hazards="overhead; lead_paint", protection="listed", access_notes="Ask at the mill first"
    )
    package.write_table("site", site)
    place = package.table("place")
    place.loc[place["place_id"] == "B1", "hazards"] = "old_wiring"
    package.write_table("place", place)
    Image.new("RGB", (640, 480), "#785030").save(package.folder / "files" / "photo-001.png")
    append_events(package, pd.DataFrame([{"sample_id": "231", **one} for one in EVENTS]))
    survey_package(package)
    return open_package(package.folder)


@pytest.fixture(scope="module")
def packed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with the package 'holl' and its bundle 'full'."""
    folder = tmp_path_factory.mktemp("relocation")
    pack_bundle(a_record(folder), folder / "full")
    with left_alone(folder / "full"):
        yield folder


class Read:
    """A page as text and by its headings."""

    def __init__(self, path: Path) -> None:
        self.tree = html.parse(path).getroot()
        self.text = " ".join(self.tree.text_content().split())
        self.links = [one.get("href") for one in self.tree.iter("a")]

    def below(self, heading: str) -> str:
        """What stands in the section of that heading."""
        (found,) = (one for one in self.tree.iter("h2") if one.text_content() == heading)
        return " ".join(found.getparent().text_content().split())


def test_the_page_answers_a_stranger(packed: Path) -> None:
    page = Read(packed / "full" / "data" / "pages" / "relocate" / "231.html")
    hole = hole_position(open_package(packed / "holl"), "231")
    tapes = page.below("Tape from")
    assert hole.tapes
    for tape in hole.tapes:
        assert tape.datum_id in tapes
        assert f"{tape.distance_m:.2f}" in tapes
    assert hole.nearest is not None
    answers = {
        # which hole
        "Where it is": [f"{tape.datum_id} {tape.distance_m:.2f}" for tape in hole.tapes],
        "On the wood": [
            "1.00 m (3' 3 1/4\") from end A",
            "3 o'clock",
            "toward the center",
            "105 mm",
        ],
        "In the room": ["above the floor", f"x {hole.entry_m[0]:.2f} m", hole.nearest.sample_id],
        "The stamp, right way up and upside down": ["Right way up: 231", "Upside down: no number"],
        "The wood from its side, end A on the left": ["3 o'clock side"],
        "The wood from its end, from A toward B": ["20 cm from 12 to 6", "86 (0.10 m toward B)"],
        "In the wood now": ["P-231", "In place, readable", "12.7 mm"],
        # who, when, what came out, and where it is now
        "What was taken": [
            "Core",
            "bore 12.7 mm (1/2 in)",
            "98 mm (3 7/8 in) long",
            "2024-06-04",
            "Mara Birkwood",
        ],
        "Where the sample is": ["Alder Ring Laboratory", "since 2024-06-20", "Drawer 7"],
        "Results to date": ["1702p - 1781B", "Innermost ring 1702 (pith)", "outermost ring 1781"],
        # may I drill again: never by this record alone
        "May I drill here again?": [
            "this record gives none",
            "the owner, Odo Reedham (invented) (OWN)",
            "a structural engineer",
            "INV-1",
            "valid from 2024-01-01 until 2024-12-31",
            "given in writing on 2024-02-01",
            "Possible positions for another core",
            "protected",
            "Overhead work",
            "Lead paint",
            "Old wiring",
            *general_cautions(),
        ],
        # where and whom do I ask
        "Where and whom to ask": [
            "Office of Old Places (invented) (AUTH)",
            "rings@example.org",
            "Ask at the mill first",
        ],
    }
    for heading, parts in answers.items():
        said = page.below(heading)
        for part in parts:
            assert part in said, (heading, part)
    assert [one.get("alt") for one in page.tree.iter("img")] == [
        "Beam B1-014 from the south (invented)"
    ]
    drawings = list(page.tree.iter("svg"))
    assert len(drawings) == 4
    for one in drawings:
        assert one.get("role") == "img"
        assert one.find("title").text
        assert one.find("desc").text


def test_a_hole_that_nothing_places_has_its_page_and_says_what_is_missing(packed: Path) -> None:
    page = Read(packed / "full" / "data" / "pages" / "relocate" / "299.html")
    assert "end a and end b of B1-099 have no position; tie them to datums" in page.text
    assert "1.25 m (4' 1 1/4\") from end A" in page.below("On the wood")
    assert "This timber is load-bearing" in page.below("May I drill here again?")
    # its wood can be drawn all the same, and where it lies is not made up
    page.below("The wood from its side, end A on the left")
    page.below("The wood from its end, from A toward B")
    assert "Tape from" not in page.text
    assert "Where it is" not in page.text
    assert str(packed) not in page.text


def test_the_page_is_found_from_sample_place_and_index_and_leads_back(packed: Path) -> None:
    data = packed / "full" / "data"
    assert "pages/holes.html" in Read(data / "index.html").links
    listed = Read(data / "pages" / "holes.html")
    rows = [one.text_content() for one in listed.tree.iter("th") if one.get("scope") == "row"]
    # along each piece of wood in turn; 86 is on the plug of 232
    assert rows == ["231", "86", "233", "299"]
    for number in ("231", "232", "233", "299"):
        page = Read(data / "pages" / "relocate" / f"{number}.html")
        for back in (f"sample/{number}.html", "place/B1.html", "holes.html"):
            assert any(one and one.endswith(back) for one in page.links), back
        for path in ("sample/" + number, "place/B1"):
            assert f"../../pages/relocate/{number}.html" in Read(data / f"pages/{path}.html").links
        assert f"../pages/relocate/{number}.html" in listed.links
    assert "pages/relocate/231.html" in (data / "README.txt").read_text("utf-8")


def test_another_folder_gives_the_same_pages(packed: Path, tmp_path: Path) -> None:
    shutil.copytree(packed / "holl", tmp_path / "elsewhere")
    pack_bundle(open_package(tmp_path / "elsewhere"), tmp_path / "again")
    pages = packed / "full" / "data" / "pages"
    paths = [*pages.glob("relocate/*.html"), *pages.glob("ground/*.svg"), pages / "holes.html"]
    assert len(paths) >= 6
    for path in paths:
        other = tmp_path / "again" / "data" / "pages" / path.relative_to(pages)
        assert other.read_bytes() == path.read_bytes(), path.name


def test_a_public_edition_has_neither_such_a_page_nor_a_link_to_one(
    packed: Path, tmp_path: Path
) -> None:
    shutil.copytree(packed / "holl", tmp_path / "holl")  # which remembers its public editions
    pack_bundle(open_package(tmp_path / "holl"), tmp_path / "public", edition=PUBLIC)
    data = tmp_path / "public" / "data"
    names = {path.relative_to(data).as_posix() for path in data.rglob("*")}
    assert "pages/sample/231.html" in names
    assert not {one for one in names if one.startswith(("pages/relocate", "pages/ground"))}
    assert "pages/holes.html" not in names
    texts = {path: path.read_text("utf-8") for path in data.rglob("*.html")}
    texts[data / "README.txt"] = (data / "README.txt").read_text("utf-8")
    for path, text in texts.items():
        for link in ("relocate/", "holes.html", "Relocation pages", "Relocate the hole"):
            assert link not in text, (path, link)

"""What the pages say of dates: the story of a building and of a piece of wood, in both editions."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path

from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.pack import pack
from provenance._derive.story import Story
from provenance._record.package import Package, open_package
from tests.builders import a_package, pack_bundle
from tests.bundle.finding_aid.conftest import CONCLUSIONS


def words_of(path: Path) -> str:
    """What a reader sees of a page, on one line."""
    body = re.sub(r"<(style|script).*?</\1>", "", path.read_text("utf-8"), flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", body)).split())


def test_the_pages_tell_the_story_that_follows_from_the_tables(record: Package, data: Path) -> None:
    story = Story(record)
    place = words_of(data / "pages" / "place" / "B1.html")
    assert story.of_place("B1")
    assert all(one in place for one in story.of_place("B1"))
    # the figure of the only building is the one of the whole record
    assert "../../pages/figure/dated-samples.svg" in (data / "pages/place/B1.html").read_text(
        "utf-8"
    )
    element = words_of(data / "pages" / "element" / "B1-014.html")
    assert story.of_wood("B1-014")
    assert all(one in element for one in story.of_wood("B1-014"))
    assert story.line("B1") in words_of(data / "index.html")
    assert "treenail derive" not in words_of(data / "index.html")


def test_a_public_story_is_made_of_public_rows_alone(tmp_path: Path) -> None:
    """What happened is free text, which waits for a person's release; what it was, a code."""
    builder = a_package(tmp_path).with_chain()
    for table, row in CONCLUSIONS:
        builder.with_bare_row(table, **row)
    pack(builder.package, tmp_path / "public", edition=PUBLIC)
    public = tmp_path / "public" / "data"
    page = words_of(public / "pages" / "place" / "B1.html")
    story = Story(open_package(public)).of_place("B1")
    assert story
    assert all(one in page for one in story)
    assert "1785 (repaired, likely)" in page
    for path in public.rglob("pages/**/*"):
        assert path.is_dir() or b"renewed" not in path.read_bytes(), path


def test_a_record_from_which_nothing_is_derived_says_how(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    bundle = pack_bundle(package, tmp_path / "bundle")
    assert "Run treenail derive before packing" in words_of(bundle / "data" / "index.html")
    place = words_of(bundle / "data" / "pages" / "place" / "B1.html")
    assert "Results from dates, sizes" not in place


def test_each_of_several_buildings_has_the_figure_of_its_own_samples(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain().with_row("place", place_id="B/2", name="Barn")
    builder.with_row("element", element_id="B2-001", place_id="B/2")
    builder.with_row("sample", sample_id="300", element_id="B2-001")
    for sample, element, place in (("231", "B1-014", "B1"), ("300", "B2-001", "B/2")):
        builder.with_bare_row(
            "span",
            sample_id=sample,
            element_id=element,
            place_id=place,
            building_id=place,
            outer_year="1781",
            cutting="cutting",
            felled_from_year="1781",
            felled_to_year="1782",
        )
    bundle = pack_bundle(builder.package, tmp_path / "bundle") / "data"
    drawn = sorted(bundle.glob("pages/figure/dated-samples*.svg"))
    assert [path.name for path in drawn] == [
        "dated-samples.B1.svg",
        "dated-samples.B~2F2.svg",
        "dated-samples.svg",
    ]
    first, second, both = (path.read_text("utf-8") for path in drawn)
    for sample, shown, other in (("231", first, second), ("300", second, first)):
        assert f">{sample}</text>" in shown
        assert f">{sample}</text>" in both
        assert f">{sample}</text>" not in other


def test_a_range_of_felling_that_is_open_is_found_by_every_year_on_its_open_side(
    tmp_path: Path,
) -> None:
    builder = a_package(tmp_path).with_chain().with_row("place", place_id="B2", name="Barn")
    for number, years in enumerate(({"felled_from_year": "1720"}, {"felled_to_year": "1690"})):
        builder.with_row("element", element_id=f"B2-{number}", place_id="B2")
        builder.with_row("sample", sample_id=f"30{number}", element_id=f"B2-{number}")
        builder.with_bare_row(
            "lab_result", result_id=f"L{number}", sample_id=f"30{number}", outcome="dated", **years
        )
    script = pack_bundle(builder.package, tmp_path / "bundle") / "data/pages/search-data.js"
    rows = json.loads(script.read_text("utf-8").partition("(")[2].rpartition(")")[0])["rows"]
    found = {row[1]: row[6:8] for row in rows}
    for number, (low, high) in enumerate(((1720, 9999), (-9999, 1690))):
        for key in (f"B2-{number}", f"30{number}", f"L{number}"):
            first, last = found[key]
            assert max(first, -9999) == low, key
            assert min(last, 9999) == high, key

"""A crew in the evening reads what was done, what is open and what to do tomorrow."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from provenance._base.errors import TreenailError
from provenance._cli import treenail
from provenance._day.day import sum_up
from provenance._day.words import day_page, day_text
from tests.builders import PackageBuilder, a_package

DAY, BEFORE = "2024-06-05", "2024-06-04"


@pytest.fixture
def record(tmp_path: Path) -> PackageBuilder:
    """Two buildings, two people, two days: a hole without plug, one without a place, an error."""
    built = a_package(tmp_path).with_chain()
    built.with_row("place", place_id="B2", name="South barn")
    built.with_row("file")
    built.with_row("file", file_id="F-2", path="files/b.png", about_table="sample", about_id="231")
    for number, place, person in (("021", "B2", "MB"), ("022", "B2", "OWN"), ("023", "B1", "MB")):
        built.with_row(
            "element", element_id=f"B-{number}", place_id=place, recorded_by=person, recorded_on=DAY
        )
    for number, wood, more in (
        ("232", "B-021", {}),
        ("233", "B-021", {"along_m": None, "clock": None}),
        ("234", "B-023", {"length_mm": "-5"}),
    ):
        built.with_row(
            "sample", sample_id=number, element_id=wood, collected_on=DAY, condition="whole", **more
        )
    for number in ("233", "234"):
        built.with_row("plug", plug_id=f"P-{number}", sample_id=number, stamp=number, placed_on=DAY)
    for number in ("231", "240", "241"):
        built.with_bare_row(
            "reservation",
            sample_id=number,
            site_id="HOLL",
            crew="north",
            orientation_mark="none",
            reserved_on=BEFORE,
        )
    return built


def test_the_last_day_is_summed_up_by_building_and_person(record: PackageBuilder) -> None:
    day = sum_up(record.package)
    assert day.on == DAY
    lines = {(line.building, line.crew): line for line in day.lines}
    barn, house = lines["B2 South barn", "MB"], lines["B1 North house", "MB"]
    assert [*barn.done.values()] == [1, 2, 0, 1, 0]
    assert [*house.done.values()] == [1, 1, 0, 1, 0]
    assert lines["B2 South barn", "OWN"].done["timbers"] == 1
    # a length below zero is an error, and stands at the building of the sample's timber
    assert house.errors == 1
    assert barn.errors == 0
    assert day.done["timbers"] == 3
    assert day.so_far["timbers"] == 4
    assert day.open == {
        "Holes without a plug": ("232",),
        "Holes without a position": ("233",),
        "Samples without a photo": ("232", "233", "234"),
    }
    left = day.numbers_left[0]
    assert (left.crew, left.count, left.next, left.last) == ("north", 2, "240", "241")
    said = "\n".join(day.tomorrow)
    for one in ("Plug the holes: 232.", "Measure the holes: 233.", "1 error at B1", "2 stamp nu"):
        assert one in said


def test_another_day_counts_its_own_work_and_the_same_open_holes(record: PackageBuilder) -> None:
    day = sum_up(record.package, BEFORE)
    assert [*day.done.values()] == [1, 1, 0, 1, 0]
    assert day.open["Holes without a plug"] == ("232",)


def test_terminal_page_and_sheet_say_the_same(record: PackageBuilder, tmp_path: Path) -> None:
    folder = record.package.folder
    day = sum_up(record.package)
    assert "4 timbers, 4 samples, 0 failed holes, 3 plugs, 2 photos." in day_text(day)
    sheet = tmp_path / "day.pdf"
    for paper in ("a4", "letter"):
        asked = ["day", str(folder), "--sheet", str(sheet), "--paper", paper]
        ran = CliRunner().invoke(treenail, asked)
        assert ran.exit_code == 1
        assert day_text(day) in ran.stdout
        printed = PdfReader(sheet).pages
        assert len(printed) == 1
        on_paper = " ".join(printed[0].extract_text().split())
        page = " ".join(re.sub(r"<[^>]+>", " ", day_page(day)).split())
        for one in day.tomorrow:
            assert one in ran.stdout
            assert one in on_paper
            assert one.replace("'", "&#39;") in page


def test_a_day_that_is_none_and_a_record_without_dates_are_refused(
    record: PackageBuilder, tmp_path: Path
) -> None:
    for text in ("2024-06", "yesterday", "2024-02-31"):
        with pytest.raises(TreenailError, match=f"'{text}' is not a day; write it as"):
            sum_up(record.package, text)
    with pytest.raises(TreenailError, match="no timber, sample or plug has a full date"):
        sum_up(a_package(tmp_path / "empty").package)

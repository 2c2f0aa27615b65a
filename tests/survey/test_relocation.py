"""The page that leads back to a hole says everything, on one page, on both papers."""

from __future__ import annotations

import io
import re
import subprocess
from pathlib import Path

import pytest

from provenance._base.errors import UnusableInput
from provenance._model.profile import general_cautions
from provenance._record.package import Package
from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.relocation import write_relocation_sheets
from tests.builders import PARTIES
from tests.survey.test_plan import a_house


@pytest.fixture
def house(tmp_path: Path) -> Package:
    building = a_house(tmp_path)
    for party in PARTIES:
        building = building.with_bare_row("party", **party)
    building = building.with_row("custody").with_row("lab_result")
    building = building.with_row(
        "lab_result", result_id="R-2", supersedes_result_id="R-1", notation="1700p - 1781B"
    )
    package = building.package
    survey_package(package)
    return package


def text_of(path: Path) -> str:
    """What pdftotext (poppler) reads, in one line."""
    shown = subprocess.run(
        ["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True
    )
    return " ".join(shown.stdout.split())


def pages_of(path: Path) -> str:
    return subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout


@pytest.mark.parametrize(("paper", "size"), [("a4", "595.276 x 841.89"), ("letter", "612 x 792")])
def test_a_sheet_is_one_page_of_its_paper_and_cautions_may_fill_the_next(
    house: Package, tmp_path: Path, paper: str, size: str
) -> None:
    (path,) = write_relocation_sheets(house, ["231"], tmp_path / "out", paper=paper)
    assert path.name == "relocation-231.pdf"
    info = pages_of(path)
    assert re.search(r"Pages: +[12]\n", info)
    assert size in info
    text = text_of(path)
    for part in (
        "HOLL-231 JV check",
        "1.0 m (3' 3 1/4\") from end A",
        "3 o'clock",
        "above the floor",
        "right way up: 231",
        "upside down: no number",
        "Core",
        "bore 12.7 mm (1/2 in)",
        "Mara Birkwood",
        "1700p - 1781B",
        "Not for the public edition",
        "Nearest other hole: 232",
        "Possible positions for another core",
    ):
        assert part in text, part
    # a result that was superseded is not shown as if it still held
    assert "1702p" not in text
    # every caution is there in full, down to the last word
    for word in " ".join(general_cautions()).split():
        assert word in text


def test_the_tapes_on_the_sheet_are_those_of_the_hole(house: Package, tmp_path: Path) -> None:
    from provenance._survey.hole.hole import hole_position

    (path,) = write_relocation_sheets(house, ["231"], tmp_path / "out")
    text = text_of(path)
    for tape in hole_position(house, "231").tapes:
        assert tape.datum_id in text
        assert f"{tape.distance_m:.2f}" in text


def test_a_stamp_that_turns_into_another_says_what_it_reads(house: Package, tmp_path: Path) -> None:
    (path,) = write_relocation_sheets(house, ["232"], tmp_path / "out")
    assert "upside down: reads 98" in text_of(path)


def test_a_cut_has_a_sheet_of_its_own_kind(house: Package, tmp_path: Path) -> None:
    (path,) = write_relocation_sheets(house, ["233"], tmp_path / "out")
    text = text_of(path)
    assert "Relocating the cut of sample 233" in text
    assert "No results to date" in text
    assert "no stamp recorded" in text


def test_a_photo_is_printed_with_its_title(house: Package, tmp_path: Path) -> None:
    from PIL import Image

    frame = house.table("file")
    frame.loc[2] = dict.fromkeys(frame.columns, "") | {
        "file_id": "F-1",
        "path": "files/p.png",
        "kind": "photo",
        "access": "open",
        "title": "The hole from the south (invented)",
        "about_table": "sample",
        "about_id": "231",
    }
    house.write_table("file", frame)
    data = io.BytesIO()
    Image.new("RGB", (60, 40), (90, 90, 90)).save(data, "PNG")
    (house.folder / "files" / "p.png").write_bytes(data.getvalue())
    (path,) = write_relocation_sheets(house, ["231"], tmp_path / "out")
    assert "The hole from the south (invented)" in text_of(path)
    listed = subprocess.run(
        ["pdfimages", "-list", path], capture_output=True, text=True, check=True
    )
    assert " 60 " in listed.stdout


def test_nothing_is_written_when_one_of_several_cannot_be_placed(
    house: Package, tmp_path: Path
) -> None:
    with pytest.raises(UnusableInput, match="no sample '999'"):
        write_relocation_sheets(house, ["231", "999"], tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_wood_without_a_place_still_gets_a_sheet(house: Package, tmp_path: Path) -> None:
    element = house.table("element")
    element["place_id"] = ""
    house.write_table("element", element)
    (path,) = write_relocation_sheets(house, ["231"], tmp_path / "out")
    assert "place not recorded" in text_of(path)

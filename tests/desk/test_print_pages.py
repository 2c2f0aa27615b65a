"""What is printed by pages is what the commands print, and is shown from the very file."""

from __future__ import annotations

import io
import re
import shutil
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pypdf
import pytest
from click.testing import CliRunner
from PIL import Image

from provenance._cli import forms, locating, printing
from provenance._identity.stamps import reserve_stamps
from provenance._ledger.handover import record_events
from provenance._printing.labels import calibration
from tests.builders import PackageBuilder, a_package
from tests.desk.sitting import Sitting, text_of


@pytest.fixture
def builder(tmp_path: Path) -> PackageBuilder:
    """Five samples of two buildings, two of them in a box."""
    builder = a_package(tmp_path).with_chain()
    builder.with_row("place", place_id="B2", name="South house")
    builder.with_row("element", element_id="B2-001", place_id="B2")
    for number, timber in (("232", "B1-014"), ("233", "B1-014"), ("240", "B2-001")):
        builder.with_row("sample", sample_id=number, element_id=timber)
    record_events(
        builder.package,
        "collected",
        ["231", "232"],
        happened_on="2024-06-04",
        recorded_on="2024-06-04",
        to_party_id="MB",
        place_held="Box 12",
    )
    return builder


@pytest.fixture
def sitting(builder: PackageBuilder) -> Sitting:
    return Sitting(builder.package.folder.parent)


def shown(sitting: Sitting, **query: str) -> str:
    """The pages that a form asks for, in place or once the work has ended."""
    answer = sitting.client.get(f"/record/holl/print/pages?{urlencode(query)}")
    assert answer.status_code == 200, text_of(answer.text)
    if to := answer.headers.get("HX-Redirect"):
        running = sitting.desk.jobs[to.removeprefix("/work/")]
        running.thread.join(60)
        assert running.done, running.problem
        return sitting.page(running.done.to)
    return answer.text


def files(sitting: Sitting, page: str) -> dict[str, bytes]:
    """The files that a page offers, by name."""
    links = re.findall(r'href="(/made/[^"]+)" download="([^"]+)"', page)
    return {name: sitting.client.get(to).content for to, name in links}


def by_command(command: Any, *arguments: object, out: Path) -> bytes:
    done = CliRunner().invoke(command, [str(one) for one in (*arguments, "--out", out)])
    assert done.exit_code == 0, done.output
    return out.read_bytes()


def test_the_pages_are_those_of_the_file_that_the_command_writes(
    builder: PackageBuilder, sitting: Sitting, tmp_path: Path
) -> None:
    folder = builder.package.folder
    cases = [
        (
            {"what": "labels", "stock": "a4_99x38", "start_at": "14", "copies": "2"},
            (printing.labels, folder, "--stock", "a4_99x38", "--start-at", 14, "--copies", 2),
        ),
        (
            {"what": "labels", "place": "B2", "crop_marks": "1"},
            (printing.labels, folder, "--samples", "240", "--crop-marks"),
        ),
        (
            {"what": "boxes", "stock": "a4_box"},
            (printing.labels, folder, "--stock", "a4_box"),
        ),
        ({"what": "tags", "samples": "231-233"}, (printing.tags, folder, "--samples", "231-233")),
        (
            {"what": "cards", "samples": "232, 231", "paper": "letter"},
            (printing.cards, folder, "--samples", "232, 231", "--paper", "letter"),
        ),
        (
            {"what": "sheets", "sheet_core": "1", "sheet_log": "1"},
            (forms.sheets, folder, "--sheet", "core", "--sheet", "log"),
        ),
    ]
    for number, (query, command) in enumerate(cases):
        page = shown(sitting, **query)
        (made,) = files(sitting, page).values()
        assert made == by_command(*command, out=tmp_path / f"{number}.pdf"), query
        pictures = re.findall(r'<img [^>]*width="(\d+)" height="(\d+)" src="([^"]+)"', page)
        assert len(pictures) == len(pypdf.PdfReader(io.BytesIO(made)).pages), query
        width, height, source = pictures[-1]
        with Image.open(io.BytesIO(sitting.client.get(source).content)) as picture:
            assert picture.format == "PNG"
            assert abs(picture.width - int(width)) < 2
            assert abs(picture.height - int(height)) < 2
    workbook = files(sitting, shown(sitting, what="workbook"))
    written = by_command(forms.workbook, folder, out=tmp_path / "w.xlsx")
    assert workbook == {"workbook-holl.xlsx": written}


def test_the_plan_of_a_cellar_is_printed(builder: PackageBuilder, sitting: Sitting) -> None:
    builder.with_row("place", place_id="B2-C", parent_place_id="B2", name="Cellar", level="-1")
    places = {"xa_m": "1", "ya_m": "1", "xb_m": "4", "yb_m": "1"}
    builder.with_row("element", element_id="B2-C-001", place_id="B2-C", **places)
    made = files(sitting, shown(sitting, what="plans", place="B2", level="-1"))
    (plan,) = made.values()
    words = pypdf.PdfReader(io.BytesIO(plan)).pages[0].extract_text()
    assert "B2-C-001" in words


def test_what_comes_next_on_a_used_sheet_is_said(sitting: Sitting) -> None:
    page = text_of(shown(sitting, what="labels", start_at="3"))
    assert "4 labels. On the last sheet the next free label is number 7." in page
    page = sitting.page("/record/holl/print?what=labels&stock=a4_99x38&start_at=3")
    assert len(re.findall(r'data-place="\d+"', page)) == 14
    assert 'max="14" value="3"' in page


def test_samples_are_chosen_from_a_table_that_knows_where_they_are(sitting: Sitting) -> None:
    page = sitting.page("/record/holl/choose?find=north+house&samples=231-232")
    assert re.findall(r'data-sample="(\d+)"( checked)?', page) == [
        ("231", " checked"),
        ("232", " checked"),
        ("233", ""),
    ]
    assert "MB, Box 12" in text_of(page)


def test_what_cannot_be_printed_is_refused_as_by_the_command(
    builder: PackageBuilder, sitting: Sitting, tmp_path: Path
) -> None:
    own = tmp_path / "own.yaml"
    shutil.copy("templates/stock/a4_70x37.yaml", own)
    cases = [
        ({"start_at": "25"}, ["--start-at", 25]),
        ({"samples": "999"}, ["--samples", "999"]),
        ({"printer": "attic"}, ["--printer", "attic"]),
        ({"stock": "a4_70x38"}, None),
        ({"stock": str(own)}, None),
        ({"copies": "two"}, None),
        ({"copies": "-1"}, None),
        ({"copies": "9" * 5_000}, None),
        ({"what": "money"}, None),
        ({"place": "B2", "samples": "231"}, None),
    ]
    for query, options in cases:
        answer = sitting.client.get(f"/record/holl/print/pages?{urlencode(query)}")
        assert answer.status_code == 422, query
        if options is not None:
            command = [str(builder.package.folder), *map(str, options)]
            refused = CliRunner().invoke(printing.labels, command)
            assert str(refused.exception) in text_of(answer.text), query


def test_a_sheet_of_ones_own_is_printed_on(
    builder: PackageBuilder, sitting: Sitting, tmp_path: Path
) -> None:
    own = tmp_path / "own.yaml"
    own.write_text(Path("templates/stock/a4_99x38.yaml").read_text().replace("rows: 7", "rows: 6"))
    page = sitting.do("/record/holl/print/stock", files=[("stock", ("own.yaml", own.read_bytes()))])
    chosen = re.search(r'name="stock" value="(dropped:[^"]+)" checked', page)
    assert chosen
    (made,) = files(sitting, shown(sitting, what="labels", stock=chosen[1])).values()
    command = (printing.labels, builder.package.folder, "--stock", own)
    assert made == by_command(*command, out=tmp_path / "own.pdf")
    upload = [("stock", ("own.yaml", b"title: x"))]
    assert "own.yaml" in sitting.refused("/record/holl/print/stock", files=upload)


def test_a_printer_is_calibrated_as_by_the_command(
    sitting: Sitting, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "printers.yaml"
    for module in ("printers", "printing"):
        monkeypatch.setattr(f"provenance._desk.paper.{module}.printers_file", lambda: path)
    monkeypatch.setattr(calibration, "printers_file", lambda: path)
    page = sitting.page("/record/holl/print/printer?stock=a4_70x37")
    (made,) = files(sitting, page).values()
    out = tmp_path / "c.pdf"
    assert made == by_command(printing.labels, "--calibrate", out=out)
    readings = {"left_1": "21.5", "top_1": "19,2", "left_2": "191 mm", "top_2": "276.1"}
    asked = {"stock": "a4_70x37", "printer": "van", **readings}
    said = sitting.do("/record/holl/print/printer", asked)
    assert "+1.56 mm to the right" in text_of(said)
    kept = path.read_bytes()
    path.unlink()
    measured = ("--measured", "21.5", "19.2", "191", "276.1")
    arguments = ["--calibrate", "--printer", "van", *measured]
    assert CliRunner().invoke(printing.labels, arguments).exit_code == 0
    assert path.read_bytes() == kept
    told = sitting.refused("/record/holl/print/printer", {**asked, "left_2": "170"})
    assert "no 'fit to page'" in told
    assert path.read_bytes() == kept


def test_numbers_are_reserved_shared_and_printed_as_by_the_commands(tmp_path: Path) -> None:
    for side in ("page", "command"):
        (tmp_path / side).mkdir()
    package = a_package(tmp_path / "page").with_chain().package
    other = a_package(tmp_path / "command").with_chain().package
    sitting = Sitting(tmp_path / "page")
    said = sitting.do(
        "/record/holl/numbers",
        {"count": "5", "crew": "North", "first": "60", "last": "99", "mark": "bar"},
    )
    day = package.tables.rows("reservation")[0]["reserved_on"]
    reserve_stamps(
        other, 5, crew="North", first=60, last=99, orientation_mark="bar", reserved_on=day
    )
    assert package.tables.rows("reservation") == other.tables.rows("reservation")
    assert "5 numbers for North: 60–64." in text_of(said)
    page = sitting.page(f"/record/holl/numbers/list?{urlencode({'crew': 'North', 'day': day})}")
    (made,) = files(sitting, page).values()
    listed = "".join(one.extract_text() for one in pypdf.PdfReader(io.BytesIO(made)).pages)
    assert all(number in listed for number in ("60", "61", "62", "63", "64"))
    assert "not a whole number" in sitting.refused(
        "/record/holl/numbers", {"count": "5", "crew": "North", "first": "sixty"}
    )
    blank = files(sitting, shown(sitting, what="numbers", numbers="61-62"))
    command = (printing.labels, package.folder, "--numbers", "61-62")
    assert list(blank.values()) == [by_command(*command, out=tmp_path / "n.pdf")]

    shutil.copytree(package.folder, tmp_path / "laptop" / "holl")
    laptop = Sitting(tmp_path / "laptop")
    asked = {"count": "1", "crew": "South"}
    refused = CliRunner().invoke(
        locating.stamps, [str(tmp_path / "laptop" / "holl"), "1", "--crew", "South"]
    )
    assert str(refused.exception) in laptop.refused("/record/holl/numbers", asked)
    said = text_of(sitting.do("/record/holl/numbers/grant", {"count": "100", "to": "South"}))
    code = re.search(r"Type this code there: (\S+)", said)
    assert code, said
    assert "gives out" in text_of(laptop.do("/record/holl/numbers/claim", {"code": code[1]}))
    assert "1 number for South" in text_of(laptop.do("/record/holl/numbers", asked))


def test_a_desk_that_only_reads_prints_all_the_same(builder: PackageBuilder) -> None:
    sitting = Sitting(builder.package.folder.parent, read_only=True)
    assert len(files(sitting, shown(sitting, what="tags"))) == 1
    assert "Reserve" not in text_of(sitting.page("/record/holl/numbers"))


def test_only_labels_that_were_not_printed_yet_are_printed(
    builder: PackageBuilder, sitting: Sitting, tmp_path: Path
) -> None:
    """What a page remembers the command knows, and the other way round."""
    page = shown(sitting, what="labels", samples="231,232")
    said = sitting.do("/record/holl/print/printed", {"samples": "231,232"})
    assert 'value="231,232"' in page
    assert "2 samples have their labels." in text_of(said)
    page = shown(sitting, what="labels", unprinted="1")
    (made,) = files(sitting, page).values()
    folder, out = builder.package.folder, tmp_path / "u.pdf"
    assert made == by_command(printing.labels, folder, "--unprinted", out=out)
    assert made == by_command(printing.labels, folder, "--samples", "233,240", out=out)
    answer = sitting.client.get("/record/holl/print/pages?what=labels&unprinted=1")
    assert "labels of all of these were printed before" in text_of(answer.text)

"""Plans in the desk: clicks, tapes and prints give what the commands give of the same points."""

from __future__ import annotations

import csv
import io
import re
import shutil
import struct
import threading
import zlib
from importlib.resources import files as files_of
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
from PIL import Image

from provenance._desk.desk import Desk
from provenance._desk.serving import serve
from provenance._history.deciding import LAST, decide, undo
from provenance._record.package import open_package
from provenance._survey.adjust.adjustment import adjust_survey, survey_package
from provenance._survey.trace.picture import open_plan
from provenance._survey.trace.points import COLUMNS, SCALE, read_points
from provenance._survey.trace.tracing import trace_plan
from tests.bundle.finding_aid.conftest import browser
from tests.desk.sitting import Sitting, text_of
from tests.survey.scenes import ROOM, a_misread_room, a_room, judged, position_of
from tests.survey.trace.test_trace import (
    HOLES,
    WOOD,
    a_house,
    a_picture,
    a_points_file,
    on_paper,
    run,
)

__all__ = ["browser"]

AT = "/record/holl"
OF_ACTS = {"act", "change", "origin", "reading"}
"""Two acts of the desk are one of the command, which keeps the picture as it enters the points."""


def the_tables(folder: Path) -> dict[str, bytes]:
    return {
        path.name: path.read_bytes()
        for path in (folder / "tables").iterdir()
        if path.stem not in OF_ACTS
    }


def as_the_page_sends(points: Path) -> tuple[list[dict[str, str]], str]:
    """The points of a file as marks, and the scale."""
    rows = list(csv.DictReader(points.read_text("utf-8").splitlines()))
    scale = next(row["name"] for row in rows if row["kind"] == SCALE)
    return [{name: row[name] for name in COLUMNS} for row in rows if row["kind"] != SCALE], scale


def drop(sitting: Sitting, path: Path, place: str = "B1", **expected: Any) -> Any:
    files = {"scan": (path.name, path.read_bytes(), "image/png")}
    return sitting.act(f"{AT}/plan-scan", {"place": place}, files=files, **expected)


def test_clicks_give_the_tables_and_the_residuals_that_the_command_gives(tmp_path: Path) -> None:
    package = a_house(tmp_path / "work").package
    picture = a_picture(tmp_path / "plan.png")
    points = a_points_file(tmp_path / "points.csv")
    x, y = on_paper((3.0, 2.0))[0]
    with points.open("a", encoding="utf-8") as stream:
        stream.write(f"known,sill,,{x:.1f},{y:.1f},3.048,2,\n")
    other = shutil.copytree(package.folder, tmp_path / "command" / "holl")
    given = trace_plan(
        package, open_plan(picture), read_points(package, points, open_plan(picture))
    )

    sitting = Sitting(package.folder.parent)
    assert "B1" in sitting.page(f"{AT}/plans")
    to = drop(sitting, picture).headers["HX-Redirect"]
    file_id = to.partition("?file=")[2]
    assert "Mark two or more known points" in text_of(sitting.page(to))
    marks, scale = as_the_page_sends(points)
    marks[-1]["x_m"] = "10 ft"
    sent = {"place": "B1", "file": file_id, "points": marks, "scale": scale}
    first = sitting.act(f"{AT}/plan-fit", json=sent | {"points": marks[:1]}).json()
    assert first is None
    told = sitting.act(f"{AT}/plan-fit", json=sent).json()
    assert np.array([one["off_m"] for one in told["known"]]) == pytest.approx(
        given.fit.residual, abs=6e-5
    )
    assert [one["at"] for one in told["traced"]] == [list(one.xy) for one in given.traced]
    assert np.array(told["matrix"]) == pytest.approx(given.fit.matrix())

    # marks that are not entered outlive the desk
    query = f"{AT}/plan-data?place=B1&file={file_id}"
    again = Sitting(package.folder.parent).client
    again.cookies = sitting.client.cookies
    assert sitting.client.get(query).json()["before"]["points"] == marks
    before = the_tables(package.folder)
    sitting.do(f"{AT}/plan-enter", json=sent)
    assert the_tables(package.folder) != before

    code, said = run("survey", "trace", other, picture, "--points", points, "--yes", "--by", "MB")
    assert code == 0, said
    survey_package(open_package(other))
    assert the_tables(package.folder) == the_tables(other)
    data = sitting.client.get(query).json()
    assert (data["fit"]["known"], data["is_kept"]) == (told["known"], False)
    assert {mark["label"] for mark in data["marks"]} >= {"D1", "D4"}
    # a pixel of the scan leads to where the record has the point
    hole = next(mark for mark in data["marks"] if mark["key"] == "hole:231")
    x, y, w = np.array(data["fit"]["matrix"]) @ [
        *(float(marks[8][name]) for name in ("pixel_x", "pixel_y")),
        1,
    ]
    assert hole["at"] == [pytest.approx([x / w, y / w], abs=2e-3)]


def test_tapes_place_a_point_and_faults_are_named_and_enter_nothing(tmp_path: Path) -> None:
    package = a_room(tmp_path / "work").with_row("element").package
    sitting = Sitting(package.folder.parent)
    true = (2.0, 1.5)
    form = {"place": "B1", "element_id": "B1-014", "element_end": "a", "measured_on": "2024-05-03"}
    lengths = {name: np.hypot(*np.subtract(at[:2], true)) for name, at in ROOM.items()}
    for number, (name, length) in enumerate(lengths.items(), start=1):
        form |= {
            f"{number}-kind": "distance",
            f"{number}-from_datum_id": name,
            # two in feet, as their own unit says
            f"{number}-distance_m": f"{length:.4f}" if number < 3 else f"{length / 0.3048:.3f} ft",
        }
    page = sitting.page(f"/record/{package.folder.name}/plan/B1")
    # a browser sends more readings once "Another reading" was pressed
    assert {name for name in form if name[0] in "123"} <= set(re.findall(r' name="(\d-\w+)"', page))
    form |= {"5-kind": "distance"}  # left blank
    before = the_tables(package.folder)
    for more, wanted in (
        ({"1-distance_m": "3 elbows"}, ('reading 1, Distance: "3 elbows"',)),
        ({"2-from_datum_id": "D9"}, ("reading 2", "names no datum")),
        ({"3-distance_m": "", "3-from_datum_id": "D3"}, ("reading 3, Distance: is blank",)),
        ({"element_end": ""}, ("End of the timber: is blank",)),
        ({"sample_id": "231"}, ("name one point",)),
    ):
        problem = sitting.refused(f"{AT}/plan-ties", form | more)
        for words in wanted:
            assert words in problem, (more, problem)
    assert the_tables(package.folder) == before
    page = sitting.do(f"{AT}/plan-ties", form)
    assert "Readings entered: 4" in page
    package = open_package(package.folder)
    assert {row["measured_on"] for row in package.tables.rows("tie")} == {"2024-05-03"}
    written = {row["written"] for row in package.tables.rows("change")}
    assert {form["3-distance_m"], form["4-distance_m"]} <= written
    found = position_of(package, "end:B1-014:a")
    assert (found["x_m"], found["y_m"]) == pytest.approx(true, abs=0.6)
    computed = adjust_survey(package)
    assert computed.position_table["x_m"].to_list() == package.typed("position")["x_m"].to_list()
    # what was entered together is taken back together
    decide(package, undo(LAST), who="MB")
    assert not open_package(package.folder).tables.count("tie")


def test_where_readings_conflict_every_place_is_drawn_and_none_is_singled_out(
    tmp_path: Path,
) -> None:
    package = judged(a_misread_room(tmp_path / "work"), "end:B1-014:a", "conflict")
    places = package.tables.rows("position_place")
    of_end = {
        (float(row["x_m"]), float(row["y_m"]))
        for row in places
        if row["position_id"] == "end:B1-014:a"
    }
    assert len(of_end) > 1
    data = Sitting(package.folder.parent).client.get(f"{AT}/plan-data?place=B1").json()
    (wood,) = data["woods"]
    assert {tuple(at) for at in wood["ends"]["a"]["at"]} == of_end
    (hole,) = [mark for mark in data["marks"] if mark["kind"] == "hole"]
    for one in (wood["ends"]["a"], hole):
        assert (one["range"], one["doubt"]) == (None, True)
        assert len(one["at"]) == len(one["shares"]) > 1
    assert hole["label"]
    said = " ".join(hole["says"])
    assert "conflict: one of them is wrong" in said
    assert "Place 2" in said
    assert not re.match(r"x \d", said), "no single place is told"


def a_bomb(size: int) -> bytes:
    """A small PNG that says it has so many pixels on each side."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        )

    head = struct.pack(">IIBBBBB", size, size, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 64))


def test_hostile_pictures_are_refused_and_others_are_drawn_anew(tmp_path: Path) -> None:
    package = a_house(tmp_path / "work").package
    sitting = Sitting(package.folder.parent)
    before = the_tables(package.folder)
    svg = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
    for name, content, said in (
        ("large.png", a_bomb(12_000), "12,000 by 12,000 pixels"),
        ("larger.png", a_bomb(60_000), "exceeds limit"),
        ("list.png", b"kind,name\n" * 40, "not a picture that can be read"),
        ("plan.svg", svg, "not a picture that can be read"),
        ("plan.png", svg, "not a picture that can be read"),
        ("plan.jpg", b"%PDF-1.7\n", "is a PDF"),
    ):
        path = tmp_path / name
        path.write_bytes(content)
        assert said in text_of(drop(sitting, path, status=422).text), name
    assert the_tables(package.folder) == before
    assert sitting.client.get(f"{AT}/plan-picture?file=../../etc/passwd").status_code == 422

    # a scan that lies on its side, with a comment of its maker
    tags = Image.Exif()
    tags[0x0112], tags[0x010E] = 6, "secret"
    Image.new("RGB", (120, 80), "white").save(tmp_path / "side.jpg", exif=tags)
    to = drop(sitting, tmp_path / "side.jpg").headers["HX-Redirect"]
    file_id = to.partition("?file=")[2]
    data = sitting.client.get(f"{AT}/plan-data?place=B1&file={file_id}").json()
    assert (data["scan"]["width"], data["scan"]["height"]) == (80, 120)
    seen = sitting.client.get(data["scan"]["at"])
    assert "sandbox" in seen.headers["content-security-policy"]
    with Image.open(io.BytesIO(seen.content)) as shown:
        assert shown.size == (80, 120)
        assert not shown.getexif()
    assert b"secret" not in seen.content


def test_a_plan_is_printed_to_the_scale_that_is_asked_for(tmp_path: Path) -> None:
    package = a_misread_room(tmp_path / "work")
    sitting = Sitting(package.folder.parent)
    assert "A4: 1 : 50; letter: 1 : 50" in text_of(sitting.page(f"{AT}/plan/B1"))
    form = {"place": "B1", "paper": "a4"}
    refused = sitting.refused(f"{AT}/plan-print", form | {"scale": "1 : 10"})
    assert "the largest scale that fits is 1 : 50" in refused
    made = sitting.act(f"{AT}/plan-print", form | {"scale": "1 : 100"}).text
    answer = sitting.client.get(re.findall(r'href="([^"]+)"', made)[0])
    assert answer.headers["content-type"] == "application/pdf"
    text = pypdfium2.PdfDocument(answer.content)[0].get_textpage().get_text_range()
    assert "1 : 100" in text


@pytest.mark.heavy
def test_clicked_and_typed_marks_put_a_hole_where_it_is(browser: Any, tmp_path: Path) -> None:
    package = a_house(tmp_path / "work").package
    picture = a_picture(tmp_path / "plan.png")
    said: list[str] = []
    desk = Desk(package.folder.parent, by="MB")
    serving = threading.Thread(
        target=serve, args=(desk,), kwargs={"browser": False, "tell": said.append}
    )
    serving.start()
    context = browser.new_context(viewport={"width": 1280, "height": 1000})
    page = context.new_page()
    wrong: list[str] = []
    page.on("console", lambda one: wrong.append(one.text) if one.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    try:
        while not said and serving.is_alive():
            serving.join(0.05)
        address = said[0].split()[1]
        page.goto(address)
        page.wait_for_url("**/")
        base = address.partition("/open")[0]
        page.goto(f"{base}{AT}/plan/B1")
        page.set_input_files("#scan", picture)
        page.get_by_role("button", name="Put it into the record").click()
        page.get_by_text("Mark two or more known points on it").wait_for()

        def click(place: tuple[float, ...]) -> None:
            plan = page.locator("#plan-map img")
            plan.scroll_into_view_if_needed()
            box = plan.bounding_box()
            x, y = on_paper(place[:2])[0] / [1000, 950]
            page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])

        page.locator("#plan-page[data-ready]").wait_for()
        page.evaluate("document.querySelector('#plan-map img').decode()")
        for name, place in ROOM.items():
            assert page.locator("#plan-next").inner_text().endswith(f"Click {name} in the plan.")
            click(place)
        page.locator("#plan-scale").fill("50")
        page.locator("#plan-scale").press("Tab")
        page.get_by_text("drawn at 1 : 50;").wait_for()
        page.get_by_label("Timber end", exact=True).check()
        page.locator("#plan-name").fill("B1-014")
        for end in WOOD["B1-014"]:
            click(end)
        # by keys alone: the number and its pixels typed, then moved by an arrow key
        page.get_by_label("Hole", exact=True).check()
        x, y = on_paper(HOLES["231"])[0]
        for where, text in (("name", "231"), ("x", f"{x - 8:.1f}"), ("y", f"{y:.1f}")):
            page.locator(f"#plan-{where}").fill(text)
        page.keyboard.press("Enter")
        mark = page.get_by_role("button", name="231, marked by you")
        mark.focus()
        scale = page.locator("#plan-map img").bounding_box()["width"] / 1000
        for _ in range(round(8 * scale)):
            page.keyboard.press("ArrowRight")
        page.locator("#plan-marked").get_by_text("95 times in 100").nth(2).wait_for()
        page.get_by_role("button", name="Enter into the record").click()
        page.get_by_text("Points entered from the plan").wait_for()
        found = position_of(open_package(package.folder), "hole:231")
        off = np.hypot(found["x_m"] - HOLES["231"][0], found["y_m"] - HOLES["231"][1])
        assert off < found["u95_major_m"] < 0.12
        assert off < 0.03

        # list and mark lead to the readings; everything fits a narrow screen
        page.locator("#plan-list").get_by_role("button", name="231").click()
        page.locator("#plan-about").get_by_role("heading", name="sample 231").wait_for()
        page.locator("#plan-map").get_by_role("button", name="known point D1").press("Enter")
        page.locator("#plan-about").get_by_text("known point D1").wait_for()
        page.locator("#plan-map").get_by_role("button", name="sample 231").press("Enter")
        page.get_by_role("cell", name=re.compile(": x$")).wait_for()
        axe = files_of("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
        page.evaluate(axe)
        ran = page.evaluate(
            "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21aa'], resultTypes: ['violations']})"
        )
        assert [one["id"] for one in ran["violations"]] == []
        page.set_viewport_size({"width": 320, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") == 320
        assert [one for one in wrong if "favicon" not in one and "404" not in one] == []
    finally:
        desk.stop()
        serving.join(20)
        context.close()

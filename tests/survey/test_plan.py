"""Plans and strips: true to scale, complete, and legible without a single overlap."""

from __future__ import annotations

import io
import re
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest

from provenance._base.errors import TreenailError, UnusableInput
from provenance._drawing.drawing import Disc, Group, Item, Line, Picture, Text, Transform
from provenance._drawing.fonts import PLAIN
from provenance._drawing.paper import paper_named
from provenance._drawing.svg import svg_of
from provenance._model.measures import FEET_INCHES, SI, Measures
from provenance._record.package import Package
from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.hole.known_points import known_points
from provenance._survey.plan.elevation import draw_strip, strip_title
from provenance._survey.plan.plan import write_plans
from provenance._survey.plan.plan_content import levels_of, plan_content
from provenance._survey.plan.plan_map import draw_map, joined_codes
from provenance._survey.plan.plan_sheet import plan_sheet
from provenance._survey.plan.sheet_parts import (
    best_scale,
    scale_bar,
    scale_named,
    scale_words,
    scales_of,
)
from tests.builders import PackageBuilder
from tests.survey.scenes import a_room

FEET = Measures(FEET_INCHES)

SVG = "{http://www.w3.org/2000/svg}"
SIZES = {f"diameter_{name}_cm": 20 for name in ("a1", "a2", "b1", "b2")}


def beam(x: float, z: float = 2.4) -> dict[str, object]:
    return SIZES | {"xa_m": x, "ya_m": 0.3, "za_m": z, "xb_m": x, "yb_m": 4.7, "zb_m": z}


def a_house(folder: Path) -> PackageBuilder:
    """A room of 6 by 5 m with three beams, a post, two holes and a cut."""
    building = a_room(folder)
    for number, x in enumerate((1.5, 3.0, 4.5), start=1):
        building = building.with_row(
            "element", element_id=f"B1-00{number}", length_m=4.4, **beam(x)
        )
    post = SIZES | {"xa_m": 3, "ya_m": 2.5, "za_m": 0, "xb_m": 3, "yb_m": 2.5, "zb_m": 2.3}
    building = building.with_row(
        "element", element_id="B1-004", function="post", length_m=2.3, **post
    )
    building = building.with_row("sample", element_id="B1-001", along_m=1.0, clock=3)
    building = building.with_row(
        "sample", sample_id="232", element_id="B1-001", along_m=1.1, clock=9
    )
    building = building.with_row(
        "sample", sample_id="233", element_id="B1-003", kind="cross_section", along_m=2.0
    )
    return building.with_row("plug").with_row("plug", plug_id="P2", sample_id="232", stamp="86")


@pytest.fixture
def house(tmp_path: Path) -> Package:
    package = a_house(tmp_path).package
    place = package.table("place")
    place["outline"] = "0 0, 6 0, 6 5, 0 5"
    package.write_table("place", place)
    survey_package(package)
    return package


def flattened(items: tuple[Item, ...]) -> list[Item]:
    flat: list[Item] = []
    for one in items:
        flat += flattened(one.items) if isinstance(one, Group) else [one]
    return flat


def drawn(package: Package, **options: object) -> list[Item]:
    known = known_points(package)
    transform = Transform(50, (3, 2.5), (100, 80))
    return flattened(
        draw_map(
            plan_content(package, known, "B1"),
            transform,
            (10, 10, 190, 150),
            **options,  # type: ignore[arg-type]  # options of draw_map
        ).items
    )


def test_a_metre_on_the_ground_is_twenty_millimetres_at_one_to_fifty(house: Package) -> None:
    lines = [one for one in drawn(house) if isinstance(one, Line) and one.closed and one.fill]
    beams = [
        line
        for line in lines
        if max(y for _, y in line.points) - min(y for _, y in line.points) > 80
    ]
    assert len(beams) == 3
    for line in beams:
        xs, ys = zip(*line.points, strict=True)
        # 4.4 m long and 0.20 m wide
        assert max(ys) - min(ys) == pytest.approx(88.0, abs=1e-3)
        assert max(xs) - min(xs) == pytest.approx(4.0, abs=1e-3)


def test_every_hole_cut_datum_and_stamp_is_on_the_plan(house: Package) -> None:
    texts = {one.text for one in drawn(house) if isinstance(one, Text)}
    # the stamp is shown, not the sample's number, where they differ
    assert {"231", "86", "233", "D1", "D2", "D3", "D4", "B1-001", "B1-004"} <= texts
    assert "232" not in texts


def test_only_black_white_and_greys_are_used(house: Package) -> None:
    known = known_points(house)
    content = plan_content(house, known, "B1")
    text = svg_of(plan_sheet(content, paper_named("a4"), record="x"))
    colours = set(re.findall(r"#([0-9a-f]{6})", text))
    assert len(colours) > 3
    assert all(len({colour[i : i + 2] for i in (0, 2, 4)}) == 1 for colour in colours)


def test_the_svg_is_well_formed_in_millimetres_with_title_and_description(house: Package) -> None:
    known = known_points(house)
    content = plan_content(house, known, "B1")
    root = ET.fromstring(svg_of(plan_sheet(content, paper_named("a4"), record="A & B <x>")))
    width, height = root.get("width"), root.get("height")
    assert {width, height} == {"210mm", "297mm"}
    assert root.get("viewBox") == f"0 0 {width[:-2]} {height[:-2]}"  # type: ignore[index]  # both are there
    assert "North house" in (root.find(f"{SVG}title").text or "")  # type: ignore[union-attr]  # is there
    assert "231" in (root.find(f"{SVG}desc").text or "")  # type: ignore[union-attr]  # is there


def test_the_scale_bar_is_as_long_as_it_says() -> None:
    """In feet, a foot being exactly 0.3048 m (NIST Special Publication 811), with meters below."""
    for scale in (20, 50, 75, 100, 200):
        for measures, units in ((SI, {" m": 1.0}), (FEET, {" m": 1.0, "ft": 0.3048})):
            items = scale_bar(0, 0, scale, measures)
            bars = [one for one in items if isinstance(one, Line)]
            rights = {round(max(x for x, _ in bar.points), 6) for bar in bars}
            for unit, metres in units.items():
                label = next(
                    one for one in items if isinstance(one, Text) and one.text.endswith(unit)
                )
                long = float(label.text.split()[0]) * metres * 1000 / scale
                assert round(long, 6) in rights, (scale, unit)


def test_scales_are_called_as_rules_have_them() -> None:
    """An inch on paper for n feet is 1 : 12 n."""
    for feet in (5, 10, 20, 30, 40, 50, 60):
        assert scale_words(12 * feet, FEET) == f"1 in = {feet} ft"
        assert scale_named(f"1in={feet}ft") == 12 * feet
        assert 12 * feet in scales_of(FEET)
    with pytest.raises(TreenailError, match="'1:7' is not a scale of plans; choose one of"):
        scale_named("1:7")


def test_a_plan_at_a_scale_that_is_too_large_says_which_one_fits(house: Package) -> None:
    content = plan_content(house, known_points(house), "B1")
    with pytest.raises(UnusableInput, match="too large for this paper at 1 : 5; the largest"):
        plan_sheet(content, paper_named("a4"), record="x", scale=5)
    assert "1 : 500" in plan_sheet(content, paper_named("a4"), record="x", scale=500).description


def test_the_largest_scale_that_fits_is_taken() -> None:
    assert best_scale(6, 5, 190, 200, SI) == 50
    assert best_scale(3.7, 3.7, 190, 190, SI) == 20
    assert best_scale(1e6, 1, 190, 190, SI) == 10000
    # 6 m on 190 mm is 1 : 32 at least, and the next that rules have is 1/4 in to the foot
    assert best_scale(6, 5, 190, 200, FEET) == 48


def test_stacked_logs_share_a_label(tmp_path: Path) -> None:
    building = a_room(tmp_path)
    for number in range(3, 8):
        building = building.with_row("element", element_id=f"W-00{number}", **beam(2, number / 4))
    texts = {one.text for one in drawn(building.package) if isinstance(one, Text)}
    assert "W-003…007" in texts
    assert joined_codes(["W-3", "X-4"]) == "W-3, X-4"


def test_upright_wood_is_drawn_as_its_section(house: Package) -> None:
    known = known_points(house)
    woods = {wood.element_id: wood for wood in plan_content(house, known, "B1").woods}
    assert woods["B1-004"].upright
    xs, ys = zip(*woods["B1-004"].outline, strict=True)
    assert (max(xs) - min(xs), max(ys) - min(ys)) == pytest.approx((0.2, 0.2))


def test_a_storey_shows_its_own_wood_and_says_what_has_none(tmp_path: Path) -> None:
    building = a_house(tmp_path).with_row(
        "place", place_id="B1-R1", parent_place_id="B1", kind="room", level=0
    )
    building = building.with_row(
        "place", place_id="B1-R2", parent_place_id="B1", kind="room", level=1
    )
    building = building.with_row("element", element_id="UP", place_id="B1-R2", **beam(2))
    package = building.with_row("element", element_id="LOW", place_id="B1-R1", **beam(2)).package
    known = known_points(package)
    assert levels_of(known.record, "B1") == [0, 1]
    upper = plan_content(package, known, "B1", 1)
    assert [wood.element_id for wood in upper.woods] == ["UP"]
    assert "no storey recorded: B1-001, B1-002" in upper.notes[0]
    paths = write_plans(package, tmp_path / "out", format="svg").paths
    names = {path.name for path in paths}
    assert {"plan-B1-0.svg", "plan-B1-1.svg"} <= names


def test_wood_that_is_gone_is_left_off_and_loose_wood_is_dashed(tmp_path: Path) -> None:
    building = a_room(tmp_path).with_row("element", element_id="GONE", in_place="gone", **beam(2))
    package = building.with_row("element", element_id="LOOSE", in_place="loose", **beam(4)).package
    content = plan_content(package, known_points(package), "B1")
    assert [(wood.element_id, wood.loose) for wood in content.woods] == [("LOOSE", True)]
    assert content.notes == ("Not shown, no longer in the building: GONE.",)


def test_pages_are_written_as_pdf_with_their_text(house: Package, tmp_path: Path) -> None:
    """pdfinfo and pdftotext (poppler) read them back."""
    for paper in ("a4", "letter"):
        result = write_plans(house, tmp_path / paper, format="pdf", paper=paper)
        assert {path.name for path in result.paths} == {"plan-B1.pdf", "strips-B1.pdf"}
        for path in result.paths:
            info = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True)
            assert "Pages:           1" in info.stdout
            shown = subprocess.run(
                ["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True
            )
            assert "231" in shown.stdout
            assert "Not for the public edition" in shown.stdout


def test_the_same_package_draws_the_same_bytes(house: Package, tmp_path: Path) -> None:
    for format in ("svg", "pdf"):
        one = write_plans(house, tmp_path / "one", format=format).paths
        two = write_plans(house, tmp_path / "two", format=format).paths
        assert [path.read_bytes() for path in one] == [path.read_bytes() for path in two]


def test_a_plan_without_coordinates_is_refused_and_nothing_written(tmp_path: Path) -> None:
    package = a_room(tmp_path, datums={}).with_row("element").package
    with pytest.raises(UnusableInput, match="coordinates"):
        write_plans(package, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_an_unknown_place_or_format_is_refused(house: Package, tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="no place 'B9'; buildings are: B1"):
        write_plans(house, tmp_path, place="B9")
    with pytest.raises(UnusableInput, match="no plan format 'dwg'"):
        write_plans(house, tmp_path, format="dwg")


def test_an_image_lies_under_the_plan_where_it_was_registered(tmp_path: Path) -> None:
    """200 by 100 pixels of 2 cm, corner at 1 1: 4 by 2 m on the ground, 80 by 40 mm at 1 : 50."""
    from PIL import Image

    package = (
        a_house(tmp_path)
        .with_row(
            "file",
            path="files/plan.png",
            kind="plan",
            about_table="place",
            about_id="B1",
            grid_x_m=1,
            grid_y_m=1,
            metres_per_pixel=0.02,
            rotation_deg=30,
        )
        .package
    )
    data = io.BytesIO()
    Image.new("L", (200, 100), 128).save(data, "PNG")
    (package.folder / "files" / "plan.png").write_bytes(data.getvalue())
    pictures = [one for one in drawn(package) if isinstance(one, Picture)]
    assert len(pictures) == 1
    assert pictures[0].at == pytest.approx((100 - 40, 80 - 30))
    assert (pictures[0].width, pictures[0].height, pictures[0].turn_deg) == pytest.approx(
        (80, 40, 30)
    )
    paths = write_plans(package, tmp_path / "out", format="pdf", strips=False).paths
    listed = subprocess.run(
        ["pdfimages", "-list", paths[0]], capture_output=True, text=True, check=True
    )
    assert " 200 " in listed.stdout


def test_a_broken_image_is_named_with_its_row(tmp_path: Path) -> None:
    package = (
        a_house(tmp_path)
        .with_row(
            "file",
            path="files/plan.png",
            kind="plan",
            about_table="place",
            about_id="B1",
            grid_x_m=1,
            grid_y_m=1,
            metres_per_pixel=0.02,
        )
        .package
    )
    (package.folder / "files" / "plan.png").write_bytes(b"no picture")
    with pytest.raises(UnusableInput, match=r"file\.csv, row 2: files/plan\.png"):
        plan_content(package, known_points(package), "B1")


def test_a_strip_shows_holes_on_their_side_and_joints(house: Package) -> None:
    element = house.table("element")
    element.loc[element["element_id"] == "B1-001", "features"] = "0.42: mortise; 3.1-3.3: notch"
    house.write_table("element", element)
    known = known_points(house)
    items = flattened(draw_strip(known, {"231": "231"}, 0, (0, 0, 180, 36), marked="231").items)
    texts = {one.text for one in items if isinstance(one, Text)}
    assert {"A", "B", "231 at 1.00 m", "232 at 1.10 m", "mortise 0.42 m", "notch 3.10 m"} <= texts
    discs = [one for one in items if isinstance(one, Disc)]
    # 3 o'clock is on the near side and filled, 9 o'clock on the far side; a ring marks 231
    assert [bool(disc.dash) for disc in discs].count(True) == 1
    assert sum(disc.radius > 2 for disc in discs) == 2
    assert strip_title(known, 3).endswith("upright, end A below")


def test_two_holes_with_one_stamp_keep_each_its_own_label(house: Package) -> None:
    plug = house.table("plug")
    plug["stamp"] = "86"
    house.write_table("plug", plug)
    known = known_points(house)
    stamps = {"231": "86", "232": "86"}
    strip = flattened(draw_strip(known, stamps, 0, (0, 0, 180, 36)).items)
    assert {"86 at 1.00 m", "86 at 1.10 m"} <= {one.text for one in strip if isinstance(one, Text)}
    transform = Transform(50, (3, 2.5), (100, 80))
    content = plan_content(house, known, "B1")
    on_plan = draw_map(content, transform, (10, 10, 190, 150)).items
    named = [one.about for one in on_plan if isinstance(one, Group) and one.is_label]
    assert {("sample", "231"), ("sample", "232")} <= set(named)


def test_the_words_below_a_plan_end_before_the_arrow(house: Package) -> None:
    # the longest words: true north is not recorded
    content = replace(plan_content(house, known_points(house), "B1"), grid_north_deg=None)
    items = flattened(plan_sheet(content, paper_named("a4"), record="x").items)
    (letter,) = (one for one in items if isinstance(one, Text) and one.text == "y")
    points = [
        point
        for one in items
        if isinstance(one, Line)
        and any(abs(x - letter.at[0]) < 0.01 and 0 < letter.at[1] - y < 3 for x, y in one.points)
        for point in one.points
    ]
    left, foot = (min(one) for one in zip(*points, strict=True))
    words = [one for one in items if isinstance(one, Text) and foot - 2 < one.at[1] < letter.at[1]]
    beside = [one for one in words if one.size == 2.0]
    assert any(one.text.startswith("Ticks every") for one in beside)
    assert all(one.at[0] + PLAIN.width(one.text, 2.0) < left for one in beside)

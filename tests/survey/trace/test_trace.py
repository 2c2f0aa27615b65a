"""A plan drawn in pixels, its points read back, and what the record has of it then."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image, ImageDraw

from provenance._base.errors import TreenailError
from provenance._checks.check import check_package
from provenance._cli import treenail
from provenance._record.package import Package, open_package
from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.hole.known_points import known_points
from provenance._survey.parts.observation import Floats
from provenance._survey.plan.plan_content import Underlay, plan_content
from provenance._survey.trace.picture import open_plan
from provenance._survey.trace.points import read_points
from provenance._survey.trace.tracing import trace_plan
from tests.builders import PackageBuilder
from tests.survey.scenes import ROOM, a_room, position_of, tape

WOOD = {"B1-014": ((0.4, 1.0), (5.6, 1.1)), "B1-015": ((0.5, 3.0), (5.7, 3.2))}
HOLES = {"231": (2.0, 1.04), "232": (1.75, 3.05)}
PIXEL_M = 0.0254 / 150 * 50
"""Drawn at 1:50 and scanned at 150 dots an inch."""
HEAD = "kind,name,end,pixel_x,pixel_y,x_m,y_m,uncertainty_m\n"


def on_paper(places: object, *, shrunk: float = 0.0, bent: float = 0.0) -> Floats:
    turn = np.radians(4)
    x, y = (np.atleast_2d(np.array(places, dtype=float)) * [1 + shrunk, 1]).T / PIXEL_M
    flat = np.column_stack(
        [x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)]
    )
    return np.asarray(flat / (1 + bent * flat[:, :1]) * [1, -1] + [150, 850])


def a_picture(path: Path, **bent: float) -> Path:
    """The plan as a picture: wood black, holes white in it, the room's outline grey."""
    picture = Image.new("L", (1000, 950), 255)
    pen = ImageDraw.Draw(picture)
    for ends in WOOD.values():
        pen.line([tuple(one) for one in on_paper(ends, **bent)], fill=0, width=22)
    picture.save(path, dpi=(150, 150))
    return path


def a_points_file(path: Path, *, known: int = 4, slip: float = 1.0, **bent: float) -> Path:
    """The points as a hand marks them, `slip` pixels off (one standard deviation)."""
    chance = np.random.default_rng(3)
    lines = []
    for name, place in list(ROOM.items())[:known]:
        lines.append(("known", name, "", place[:2]))
    for name, ends in WOOD.items():
        lines += [("end", name, end, place) for end, place in zip("ab", ends, strict=True)]
    lines += [("hole", name, "", place) for name, place in HOLES.items()]
    text = HEAD + "scale,50,,,,,,\n"
    for kind, name, end, place in lines:
        x, y = on_paper(place, **bent)[0] + chance.normal(0, slip, 2)
        text += f"{kind},{name},{end},{x:.1f},{y:.1f},,,\n"
    path.write_text(text, encoding="utf-8")
    return path


def a_house(folder: Path) -> PackageBuilder:
    """A room with four datums, two beams without coordinates, and a hole in each."""
    house = a_room(folder).with_bare_row("party", party_id="MB", kind="person", name="Mara")
    house = house.with_row("element").with_row("element", element_id="B1-015")
    house = house.with_row("sample", along_m=None, clock=None)
    return house.with_row("sample", sample_id="232", element_id="B1-015", clock=None)


def run(*args: object) -> tuple[int, str]:
    result = CliRunner().invoke(treenail, [str(one) for one in args])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.output


def under(one: Underlay, share: tuple[float, float]) -> Floats:
    """Where a point of an underlay lies on the grid; `share` of its width and height."""
    turn = np.radians(one.turn_deg)
    x, y = share[0] * one.width_m, share[1] * one.height_m
    turned = x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)
    return np.add(one.at, turned)


def errors_of(package: Package) -> set[str]:
    report = check_package(package)
    return set(report.frame.query("severity == 'error'")["rule"])


def test_what_is_traced_comes_back_within_its_range_with_picture_and_fit(tmp_path: Path) -> None:
    package = a_house(tmp_path).package
    before = errors_of(package)
    plan = a_picture(tmp_path / "plan.png")
    points = a_points_file(tmp_path / "points.csv")
    tables = {one.name: one.read_bytes() for one in (package.folder / "tables").iterdir()}
    code, said = run("survey", "trace", package.folder, plan, "--points", points, "--dry-run")
    assert (code, "entered 5" in said) == (0, False)
    now = {one.name: one.read_bytes() for one in (package.folder / "tables").iterdir()}
    assert now == tables
    # nobody is there to ask, so the answer is no
    assert run("survey", "trace", package.folder, plan, "--points", points)[0] == 1
    code, said = run(
        "survey", "trace", package.folder, plan, "--points", points, "--yes", "--by", "MB"
    )
    assert code == 0, said
    assert "drawn at 1:50" in said
    assert "entered 5 points" in said
    assert "232" in said
    assert "recorded 1.25 m from end A, drawn at 1.2" in said

    package = open_package(package.folder)
    survey_package(package)
    package = open_package(package.folder)
    ends = {(name, end): place for name, both in WOOD.items()
            for end, place in zip("ab", both, strict=True)}  # fmt: skip
    rows = {row["element_id"]: row for row in package.tables.rows("element")}
    for (name, end), place in ends.items():
        row = rows[name]
        there = float(row[f"x{end}_m"]), float(row[f"y{end}_m"])
        radius = float(row["position_uncertainty_m"])
        assert np.hypot(*np.subtract(there, place)) < radius < 0.12
        known = position_of(package, f"end:{name}:{end}")
        # the survey tells the very range that was entered
        assert known["u95_major_m"] == pytest.approx(radius, abs=2e-4)
        assert known["found_by"] == "recorded"
    hole = position_of(package, "hole:231")
    assert np.hypot(hole["x_m"] - 2.0, hole["y_m"] - 1.04) < hole["u95_major_m"] < 0.12
    assert position_of(package, "hole:232")["found_by"] == "geometry"

    (fit,) = package.tables.rows("plan_fit")
    assert (fit["model"], fit["known_points"], fit["spare_readings"]) == ("similarity", "4", "4")
    marked = {
        row["plan_point_id"].partition(":")[2]: row for row in package.tables.rows("plan_point")
    }
    assert len(marked) == 10
    assert {key for key, row in marked.items() if row["entered"] == "false"} == {"hole:232"}
    assert {row["file_id"] for row in marked.values()} == {fit["file_id"]}
    (file,) = package.tables.rows("file")
    assert (file["about_table"], file["about_id"], file["access"]) == ("place", "B1", "restricted")
    assert (package.folder / file["path"]).read_bytes() == plan.read_bytes()

    # the plan draws wood and traced hole, and the picture lies where its points are
    content = plan_content(package, known_points(package), "B1")
    assert {wood.element_id for wood in content.woods} == set(WOOD)
    holes = {hole.sample_id: hole.at for hole in content.holes}
    assert np.hypot(*np.subtract(holes["231"], (2.0, 1.04))) < 0.12
    (lies,) = content.underlays
    for row in marked.values():
        share = float(row["pixel_x"]) / 1000, 1 - float(row["pixel_y"]) / 950
        off = [float(row[f"residual_{axis}_m"] or 0) for axis in "xy"]
        there = np.array([float(row["x_m"]), float(row["y_m"])]) - off
        assert under(lies, share) == pytest.approx(there, abs=0.002)
    assert errors_of(package) == before

    # the same again changes nothing, and one act takes all of it back
    history = package.table_path("act").read_bytes()
    assert run("survey", "trace", package.folder, plan, "--points", points, "--yes")[0] == 0
    assert package.table_path("act").read_bytes() == history
    assert run("change", "undo", package.folder, "last", "--why", "another plan")[0] == 0
    for name in ("element", "tie", "file", "plan_fit", "plan_point"):
        assert package.table_path(name).read_bytes() == tables[f"{name}.csv"], name


def test_the_record_keeps_what_it_has_from_elsewhere_unless_told(tmp_path: Path) -> None:
    house = a_house(tmp_path).with_row(
        "element", element_id="B1-016", xa_m="1.5", ya_m="2", xb_m="5", yb_m="2",
        position_uncertainty_m="0.02",
    )  # fmt: skip
    # one tape gives no place, two and a height do; a height alone does not
    for number, (datum, distance) in enumerate((("D1", 1.08), ("D2", 5.69), ("D4", 4.02))):
        house = house.with_bare_row("tie", **tape(f"T{number}", datum, distance))
    lone = {"element_id": "B1-015", "element_end": "a"}
    house = house.with_bare_row("tie", tie_id="T8", kind="height", height_m="2.1", **lone)
    house = house.with_bare_row("tie", **tape("T9", "D4", 2.06) | lone)
    package = house.package
    plan = a_picture(tmp_path / "plan.png")
    points = a_points_file(tmp_path / "points.csv")
    x, y = on_paper((1.0, 2.0))[0]
    with open(points, "a", encoding="utf-8") as stream:
        stream.write(f"end,B1-016,a,{x},{y},,,\n")
    code, said = run("survey", "trace", package.folder, plan, "--points", points, "--yes")
    # half a meter is more than the plan's range, so somebody has to look
    assert code == 1
    assert "recorded at 1.5, 2" in said
    assert "more than the range, compare them" in said
    assert "B1-014 A" in said
    assert "measured by T0, T1, T2" in said
    assert "T9" not in said
    rows = {row["element_id"]: row for row in open_package(package.folder).tables.rows("element")}
    assert (rows["B1-016"]["xa_m"], rows["B1-016"]["position_uncertainty_m"]) == ("1.5", "0.02")
    assert (rows["B1-014"]["xa_m"], rows["B1-014"]["xb_m"] != "") == ("", True)
    code, said = run(
        "survey", "trace", package.folder, plan, "--points", points, "--yes", "--replace"
    )
    assert "instead of recorded at 1.5, 2" in said
    rows = {row["element_id"]: row for row in open_package(package.folder).tables.rows("element")}
    assert float(rows["B1-016"]["xa_m"]) == pytest.approx(1.0, abs=0.1)
    # one radius is for both ends, so it does not shrink for the end that was not traced
    assert float(rows["B1-016"]["position_uncertainty_m"]) > 0.02
    assert float(rows["B1-014"]["xa_m"]) == pytest.approx(0.4, abs=0.1)


def test_shrunk_paper_and_photos_are_redrawn_square_to_the_grid(tmp_path: Path) -> None:
    """Middle of a beam is black, half a meter beside it white, wherever that is in the copy."""
    cases = (
        ("shrunk.tif", {"shrunk": 0.06}, "auto", "affine", 0.04),
        ("photo.png", {"bent": 6e-5}, "projective", "projective", 0.06),
    )
    for name, bent, model, fitted, allowed in cases:
        folder = tmp_path / name.partition(".")[0]
        folder.mkdir()
        house = a_house(folder).with_row("datum", datum_id="D5", held=True, x_m="3", y_m="4.5")
        package = house.package
        plan = a_picture(folder / name, **bent)
        points = a_points_file(folder / "points.csv", slip=0.3, **bent)
        x, y = on_paper((3, 4.5), **bent)[0]
        with open(points, "a", encoding="utf-8") as stream:
            stream.write(f"known,D5,,{x:.1f},{y:.1f},,,\n")
        code, said = run(
            "survey", "trace", package.folder, plan, "--points", points, "--yes", "--fit", model
        )
        assert code == 0, said
        package = open_package(package.folder)
        (fit,) = package.tables.rows("plan_fit")
        assert fit["model"] == fitted
        (lies,) = plan_content(package, known_points(package), "B1").underlays
        assert lies.file_id != fit["file_id"]
        assert lies.turn_deg == 0
        copy = next(r for r in package.tables.rows("file") if r["file_id"] == lies.file_id)
        with Image.open(package.folder / copy["path"]) as drawn:
            for (a, b), beside in zip(WOOD.values(), (0.5, -0.5), strict=True):
                middle = np.add(a, b) / 2
                for shift, is_black in (((0, 0), True), ((0, beside), False)):
                    share = (middle + shift - lies.at) / [lies.width_m, lies.height_m]
                    at = int(share[0] * drawn.width), int((1 - share[1]) * drawn.height)
                    assert (drawn.convert("L").getpixel(at) < 100) == is_black, (name, shift)
        row = next(r for r in package.tables.rows("element") if r["element_id"] == "B1-015")
        assert float(row["xb_m"]) == pytest.approx(5.7, abs=allowed)
        if model == "projective":
            # the picture's far corner lies beyond the horizon of these points
            steep = open_plan(a_picture(folder / "steep.png", bent=6e-5))
            at = {"D1": (200, 600), "D2": (400, 600), "D3": (330, 460), "D4": (230, 460),
                  "D5": (285, 500)}  # fmt: skip
            rows = [f"known,{one},,{x},{y},,,\n" for one, (x, y) in at.items()]
            far = folder / "far.csv"
            far.write_text(HEAD + "".join(rows) + "end,B1-014,a,300,5,,,\n", "utf-8")
            with pytest.raises(TreenailError, match="B1-014 is marked so far from the known"):
                trace_plan(package, steep, read_points(package, far, steep), model=model, scale=50)
        # a better set of points lays another copy under the plan, and the first no more
        points.write_text(points.read_text("utf-8").replace(f"{x:.1f}", f"{x + 3:.1f}"), "utf-8")
        run("survey", "trace", package.folder, plan, "--points", points, "--yes", "--fit", model)
        package = open_package(package.folder)
        assert len(plan_content(package, known_points(package), "B1").underlays) == 1


def test_a_photo_with_few_points_and_two_points_alone_are_warned_of(tmp_path: Path) -> None:
    package = a_house(tmp_path).package
    tags = Image.Exif()
    tags.get_ifd(0x8769)[0x829A] = (1, 60)  # an exposure of 1/60 s
    tags[0x0112] = 6  # to be turned by a quarter
    sideways = Image.open(a_picture(tmp_path / "plan.png")).transpose(Image.Transpose.ROTATE_90)
    sideways.save(tmp_path / "plan.jpg", exif=tags)
    plan = open_plan(tmp_path / "plan.jpg")
    # pixels count in the picture as every viewer shows it
    assert (plan.width, plan.height, plan.by_camera, plan.as_it_is) == (1000, 950, True, False)
    for known, says in ((2, "Nothing checks these 2 known points"), (3, "This is a photo")):
        found = trace_plan(
            package,
            plan,
            read_points(package, a_points_file(tmp_path / "p.csv", known=known), plan),
        )
        assert found.doubtful
        assert any(note.startswith(says) for note in found.notes), found.notes
    wide, narrow = (
        trace_plan(package, plan, read_points(package, tmp_path / "p.csv", plan), scale=scale)
        for scale in (100, 20)
    )
    assert wide.traced[0].radius_m > 3 * narrow.traced[0].radius_m


def test_a_storeys_plan_lies_under_that_storey_alone(tmp_path: Path) -> None:
    house = a_house(tmp_path)
    for level in (0, 1):
        place = f"B1-L{level}"
        house.with_row("place", place_id=place, parent_place_id="B1", kind="storey", level=level)
    house.with_row("element", element_id="B1-017", place_id="B1-L1")
    house.with_row("element", element_id="B1-018", place_id="B1-L0")
    house.with_row("place", place_id="B2", name="South house")
    package = house.package
    plan, points = a_picture(tmp_path / "plan.png"), a_points_file(tmp_path / "points.csv")
    for given, says in (((), "say with --place what the plan shows; places are: B1, B1-L0"),
                        (("--place", "B9"), "there is no place 'B9'")):  # fmt: skip
        with pytest.raises(TreenailError, match=says):
            run("survey", "trace", package.folder, plan, "--points", points, *given)
    points.write_text(points.read_text("utf-8").replace("B1-014", "B1-018"), "utf-8")
    code, said = run(
        "survey", "trace", package.folder, plan, "--points", points, "--place", "B1-L1", "--yes"
    )
    assert code == 0
    assert "the record has this wood elsewhere: B1-018 (B1-L0)" in said
    package = open_package(package.folder)
    known = known_points(package)
    lying = [len(plan_content(package, known, "B1", level).underlays) for level in (0, 1)]
    assert lying == [0, 1]
    # a plan of the whole site lies under every building
    a_points_file(points)
    code, said = run(
        "survey", "trace", package.folder, plan, "--points", points, "--place", "HOLL", "--yes"
    )
    assert "will lie under every plan of HOLL" in said
    (file,) = open_package(package.folder).tables.rows("file")
    assert (file["about_table"], file["about_id"]) == ("site", "HOLL")
    house.with_row("site", site_id="REED")
    house.with_row("element", element_id="R-1", site_id="REED")
    house.with_row("datum", datum_id="R1", site_id="REED", x_m="1", y_m="1")
    package = open_package(package.folder)
    for old, new, says in (("end,B1-015,a", "end,R-1,a", "R-1 belongs to the site REED"),
                           ("known,D4", "known,R1", "R1 belongs to another site")):  # fmt: skip
        a_points_file(points)
        points.write_text(points.read_text("utf-8").replace(old, new), "utf-8")
        with pytest.raises(TreenailError, match=says):
            run("survey", "trace", package.folder, plan, "--points", points, "--place", "B1")


def test_a_points_file_that_cannot_be_used_is_told_row_by_row(tmp_path: Path) -> None:
    package = a_house(tmp_path).package
    plan = open_plan(a_picture(tmp_path / "plan.png"))
    path = tmp_path / "points.csv"
    cases = (
        ("known,D1,,12,34\nknown,D1,,500,34", "row 3, column 'name': 'D1' is also in"),
        (
            "end,B1-041,a,12,34",
            "row 2, column 'name': the record has no timber 'B1-041'; did you mean",
        ),
        ("end,B1-014,c,12,34", "column 'end': 'c' is not a timber end; write a or b"),
        ("end,B1-014,,12,34", "column 'end': '' is not a timber end"),
        ("known,D1,a,12,34", "column 'end': 'a' is for timbers only"),
        ("hole,999,,12,34", "row 2, column 'name'"),
        ("beam,B1-014,a,12,34", "column 'kind': 'beam' is not one of known, end, hole"),
        ("known,,,12,34", "column 'name' is blank"),
        (
            "known,D1,,1200,34",
            "column 'pixel_x': 1200 is outside the picture, which goes from 0 to",
        ),
        ("known,D1,,12,-3", "column 'pixel_y': -3 is outside"),
        ("known,D1,,,34", "column 'pixel_x' is blank"),
        ("known,D1,,left,34", "column 'pixel_x': \"left\""),
        ("known,D1,,1e999,34", "column 'pixel_x'"),
        ("known,D1,,nan,34", "column 'pixel_x'"),
        ("known,NE,,12,34,3.5,", "column 'y_m' is blank; write both or neither"),
        ("end,B1-014,a,12,34,1,1", "only a known point has coordinates"),
        ("known,NE,,12,34,1,1,-2", "column 'uncertainty_m': -2 is below zero"),
        (f"picture,{'0' * 64},,,", "the points were marked on a different picture than plan.png"),
        ("scale,half,,,", "for a plan drawn at 1:50 write 50"),
        ("scale,0.5,,,", "is not the scale of a plan"),
        ("known,D1,,12,34", "one known point is marked; mark at least two"),
        ("known,D1,,12,34\nknown,NE,,500,34", "row 3, column 'name': 'NE' is not a datum"),
        ("known,D1,,12,34\nknown,D2,,500,34,9,9", "datum D2 is at 6.000, 0.000 in the record"),
        ("known,D1,,12,34\nknown,D2,,13,34", "lie on one another"),
    )
    for lines, says in cases:
        path.write_text(HEAD + lines + "\n", encoding="utf-8")
        with pytest.raises(TreenailError) as error:
            trace_plan(package, plan, read_points(package, path, plan), scale=50)
        assert says in str(error.value), (lines, str(error.value))
    path.write_text(HEAD + "known,X,,1,\n" * 40, encoding="utf-8")
    with pytest.raises(TreenailError, match="and 20 more"):
        read_points(package, path, plan)
    for content, says in ((b"name,x,y\nD1,1,2\n", "has no row with the headings kind, name"),
                          (b"", "empty"), (b"\x89PNG\r\n", "is a picture")):  # fmt: skip
        path.write_bytes(content)
        with pytest.raises(TreenailError, match=says):
            read_points(package, path, plan)


def test_what_is_not_a_picture_of_a_plan_is_refused(tmp_path: Path) -> None:
    package = a_house(tmp_path).package
    whole = a_picture(tmp_path / "plan.png").read_bytes()
    for content, says in ((b"%PDF-1.7", "export the page of the plan as PNG"),
                          (b"%!PS-Adobe-3.0 EPSF-3.0\n", "is not a picture that can be read"),
                          (whole[:3000], "is not a picture that can be read"),
                          (b"GIF89a", "hand in PNG, JPEG or TIFF")):  # fmt: skip
        (tmp_path / "other.png").write_bytes(content)
        with pytest.raises(TreenailError, match=says):
            open_plan(tmp_path / "other.png")
    # a scan that does not say how fine it is cannot tell how large a pencil line is
    Image.open(tmp_path / "plan.png").save(tmp_path / "plan.tif")
    plan = open_plan(tmp_path / "plan.tif")
    points = a_points_file(tmp_path / "points.csv")
    points.write_text(points.read_text("utf-8").replace("scale,50,,,,,,\n", ""), "utf-8")
    with pytest.raises(TreenailError, match="--scale 50 for 1:50"):
        trace_plan(package, plan, read_points(package, points, plan))
    # known points that are no datums, with their own uncertainty
    text = points.read_text("utf-8").replace("known,D1", "known,corner").splitlines()
    text[1] = text[1].removesuffix(",,,") + ",0.01,0,0.5"
    points.write_text("\n".join(text), "utf-8")
    found = trace_plan(package, plan, read_points(package, points, plan), scale=50)
    assert found.known[0].datum_id == ""
    assert found.known[0].sd_m > 3 * found.known[1].sd_m


def test_an_older_package_is_told_what_to_do_and_keeps_working(tmp_path: Path) -> None:
    package = a_house(tmp_path).package
    for name in ("plan_fit", "plan_point"):
        (package.folder / "schemas" / f"{name}.json").unlink()
        package.table_path(name).unlink()
    package = open_package(package.folder)
    plan, points = a_picture(tmp_path / "plan.png"), a_points_file(tmp_path / "points.csv")
    run("survey", "trace", package.folder, plan, "--points", points, "--dry-run")
    with pytest.raises(TreenailError, match="--update"):
        run("survey", "trace", package.folder, plan, "--points", points, "--yes")
    assert open_package(package.folder).tables.count("file") == 0

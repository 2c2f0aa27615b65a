"""Where readings conflict, no paper, page, map or list tells one place as if it were certain."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest
from geojson_pydantic import FeatureCollection
from pypdf import PdfReader

from provenance._bundle.finding_aid.addresses import page_path
from provenance._checks.check import check_package
from provenance._drawing.paper import paper_named
from provenance._model.measures import SI
from provenance._model.profile import general_cautions
from provenance._printing.papers.hole_card import print_hole_cards
from provenance._printing.papers.hole_facts import gather_cards
from provenance._record.package import Package, open_package
from provenance._record.trust import place_words
from provenance._survey.hole.doubt import hole_trust
from provenance._survey.hole.hole import hole_position
from provenance._survey.hole.known_points import KnownPoints, known_points
from provenance._survey.maps.geojson import write_geojson
from provenance._survey.maps.geopackage import write_geopackage
from provenance._survey.plan.plan import write_plans
from provenance._survey.relocation import write_relocation_sheets
from tests.builders import pack_bundle
from tests.survey.scenes import a_misread_room, judged

END, HOLE = "end:B1-014:a", "hole:231"
CERTAIN = ("95 times in 100", "Where the arcs cross is the hole", "±")
"""What is said of a hole whose place is certain."""


@pytest.fixture
def room(tmp_path: Path) -> Package:
    return a_misread_room(tmp_path)


def sheet(package: Package, out: Path) -> str:
    (path,) = write_relocation_sheets(package, ["231"], out)
    return pdf(path)


def pdf(path: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(path).pages).split())


def without(text: str, parts: tuple[str, ...] = CERTAIN) -> None:
    assert [part for part in parts if part in text] == []


def test_a_tape_misread_by_30_cm_shows_on_every_way_back_to_the_hole(
    room: Package, tmp_path: Path
) -> None:
    package, out = judged(room, END, "conflict"), tmp_path / "out"

    text = sheet(package, out)
    without(text)
    for part in (
        "Do not rely on one point",
        "The readings to end A of B1-014 conflict: one of them is wrong",
        "62 % or 31 % likely",
        "Search within 4",
        "No 95 % range can be given",
        "Place 2 (31 % likely): x",
        "then the tape from D3 (Ta3) would be 0.30 m too long",
        "The arcs for one place meet there",
    ):
        assert part in text, part

    plan, strips = (one.read_text("utf-8") for one in write_plans(package, out, format="svg").paths)
    without(plan)
    for part in (
        "In doubt: end A of B1-014 (readings",
        "with their wood: 231",
        "2: 31 %",
        "likely",
    ):
        assert part in plan, part
    # where it lies on its wood was measured on the wood, and stands
    assert "231 at 1.25 m<" in strips

    raw = json.loads(write_geojson(package, out / "x.geojson").read_text("utf-8"))
    FeatureCollection.model_validate(raw)
    features = {one["id"]: one for one in raw["features"]}
    hole = features["holes/231"]
    assert hole["geometry"] is None
    assert hole["properties"]["u95_m"] is None
    assert hole["properties"]["verdict"] == "conflict"
    assert "which one is not known" in hole["properties"]["trust"]
    places = [one for one in raw["features"] if one["properties"]["layer"] == "places"]
    shares = {one["id"]: one["properties"]["place_share"] for one in places}
    wanted = {f"places/{key}/{rank}" for key in (END, HOLE) for rank in (1, 2)}
    assert set(shares) == wanted
    assert shares[f"places/{HOLE}/2"] == pytest.approx(0.31)

    write_geopackage(package, out / "x.gpkg")
    connection = sqlite3.connect(out / "x.gpkg")
    try:
        told = connection.execute("SELECT geom, u95_m, verdict FROM holes").fetchall()
        assert told == [(None, None, "conflict")]
        rows = connection.execute("SELECT point, place_share FROM places WHERE geom NOT NULL")
        assert sorted(rows) == sorted((key, s) for key in (END, HOLE) for s in (0.62, 0.31))
    finally:
        connection.close()

    said = {one.rule: one.message for one in check_package(package)}
    assert "end A of B1-014" in said["geometry.readings_conflict"]

    bundle = pack_bundle(package, out / "bundle")
    for table, key in (("sample", "231"), ("element", "B1-014")):
        html = (bundle / "data" / page_path(table, key)).read_text("utf-8")
        without(html)
        assert "The readings to end A of B1-014 conflict" in html


def test_a_warning_leaves_room_for_every_caution_on_the_shorter_paper(
    room: Package, tmp_path: Path
) -> None:
    package = judged(room, HOLE, "conflict")
    places = package.table("position_place")
    for rank in (3, 4):
        places.loc[90 + rank] = places.iloc[1].to_dict() | {"place_rank": str(rank)}
    package.write_table("position_place", places)
    (path,) = write_relocation_sheets(package, ["231"], tmp_path, paper="letter")
    text = pdf(path)
    for part in (
        *general_cautions(),
        "The drill went level",
        "place 4",
        *place_words(hole_trust(known_points(package), 0), SI),
    ):
        assert part in text, part


def test_each_verdict_has_its_own_words_on_the_sheet(room: Package, tmp_path: Path) -> None:
    mirror = sheet(judged(room, HOLE, "two_places"), tmp_path / "two")
    without(mirror)
    assert "The readings to the hole of 231 fit two places, mirror images across the line" in mirror
    unchecked = sheet(judged(room, END, "unchecked"), tmp_path / "unchecked")
    without(unchecked, CERTAIN[1:2])
    for part in (
        "If no tape was misread, the arcs cross",
        "moved it by up to 4 cm",
        "holds only if no",
    ):
        assert part in unchecked, part
    left_out = sheet(judged(room, END, "one_left_out", left_out="Ta2"), tmp_path / "left")
    assert "A reading to end A of B1-014 was wrong and was left out (Ta2)" in left_out
    fits = sheet(judged(room, END, "fits"), tmp_path / "fits")
    assert "undetected misreading may have moved it by up to 4 cm" in fits
    assert "Do not rely" not in unchecked + left_out + fits
    assert all(one in fits for one in CERTAIN)


def test_a_hole_off_its_wood_is_told_both_ways(room: Package, tmp_path: Path) -> None:
    package = judged(room, HOLE, "fits", wood_gap_m="0.40", wood_gap_limit_m="0.05")
    text = sheet(package, tmp_path / "out")
    without(text, CERTAIN[1:2])
    assert "The tapes put it 40 cm from where its distance from end A" in text
    print_hole_cards(gather_cards(package), paper_named("a4"), tmp_path / "cards.pdf")
    assert "tapes and wood differ by 40 cm" in pdf(tmp_path / "cards.pdf")
    strips = write_plans(package, tmp_path / "svg", format="svg").paths[1].read_text("utf-8")
    assert "231 at 1.25 m ?" in strips


def test_a_datum_in_doubt_is_shown_and_no_tape_is_read_from_it(
    room: Package, tmp_path: Path
) -> None:
    assert "D2" in {tape.datum_id for tape in hole_position(room, "231").tapes}
    package = judged(room, "datum:D2", "conflict")
    assert "D2" not in {tape.datum_id for tape in hole_position(package, "231").tapes}
    plan = write_plans(package, tmp_path, format="svg").paths[0].read_text("utf-8")
    assert "In doubt: datum D2 (readings" in plan
    written = json.loads(write_geojson(package, tmp_path / "x.geojson").read_text("utf-8"))
    features = {one["id"]: one for one in written["features"]}
    assert features["datums/D2"]["geometry"] is None
    assert features["places/datum:D2/2"]["properties"]["datum_id"] == "D2"


def test_ranges_are_those_of_the_table_however_wide(room: Package) -> None:
    """Three times as wide as the standard deviations of the row make them."""
    usual = hole_position(room, "231")
    positions = room.table("position")
    mine = positions["position_id"] == HOLE
    for name in ("u95_major_m", "u95_minor_m", "u95_height_m"):
        positions.loc[mine, name] = f"{3 * float(positions.loc[mine, name].iloc[0]):.4f}"
    room.write_table("position", positions)
    wide = hole_position(room, "231")
    row = positions[mine].iloc[0]
    assert wide.u95_major_m == pytest.approx(float(row["u95_major_m"]), abs=1e-4)
    assert wide.u95_height_m == pytest.approx(float(row["u95_height_m"]), abs=1e-4)
    for one, other in zip(usual.tapes, wide.tapes, strict=True):
        assert one.u95_m is not None
        assert other.u95_m is not None
        assert 2 * one.u95_m < other.u95_m < 3.01 * one.u95_m


def test_a_record_from_before_verdicts_is_told_as_it_was(room: Package, tmp_path: Path) -> None:
    for name in ("position_place.json", "tables/position_place.csv"):
        path = room.folder / name
        (path if path.exists() else room.folder / "schemas" / name).unlink()
    schema = room.folder / "schemas" / "position.json"
    read = json.loads(schema.read_text("utf-8"))
    new = {"verdict", "doubt_share", "hidden_m", "search_m", "scatter_factor", "left_out"}
    new |= {"wood_gap_m", "wood_gap_limit_m"}
    read["fields"] = [one for one in read["fields"] if one["name"] not in new]
    schema.write_text(json.dumps(read), "utf-8")
    older = open_package(room.folder)
    positions = older.table("position")
    older.write_table("position", positions.drop(columns=[*new & set(positions.columns)]))
    known: KnownPoints = known_points(older)
    assert known.judged == {}
    text = sheet(older, tmp_path / "out")
    assert all(one in text for one in CERTAIN)
    assert gather_cards(older)
    rules = {one.rule for one in check_package(older)}
    assert not rules & {"geometry.readings_conflict", "geometry.unchecked_points"}

"""Sizes of recorded wood: what its shape says, what its readings are worth, and why none."""

from __future__ import annotations

import json
import math
from decimal import Decimal

import polars as pl
import pytest

from provenance._base.resources import shipped
from provenance._derive.summary import derive_package
from provenance._derive.wood.size import derive_faces, derive_sizes, size_in_words, total
from provenance._intake.values.units import read_length
from provenance._record.new import update_package
from provenance._record.package import open_package
from tests.builders import a_package
from tests.checks.rules.record import rules

READINGS = ("diameter_a1_cm", "diameter_a2_cm", "diameter_b1_cm", "diameter_b2_cm")


def of(builder) -> dict[str, dict]:
    """Rows of the derived table by piece."""
    return {row["element_id"]: row for row in derive_sizes(builder.package).iter_rows(named=True)}


def a_site(tmp_path):
    return a_package(tmp_path).with_row("site").with_row("place")


def test_sizes_of_a_recorded_beam(tmp_path) -> None:
    package = a_package(tmp_path).with_chain().package
    sizes = derive_sizes(package)
    schema = json.loads((shipped("schemas") / "tables" / "size.json").read_text("utf-8"))
    of_all = {"low_taper", "stem_left_m"}  # these need the sizes of all wood
    names = [one["name"] for one in schema["fields"] if one["name"] not in of_all]
    assert sizes.columns == names
    row = sizes.row(0, named=True)
    assert row["diameter_a_cm"] == pytest.approx(math.sqrt(22 * 21))
    assert row["butt_cm"] > row["top_cm"]
    assert row["taper"] == pytest.approx((math.sqrt(22 * 21) - math.sqrt(20 * 19)) / 4.2)
    middle = 4 * 21 * 20
    volume = math.pi / 4 * 1e-4 * (22 * 21 + middle + 20 * 19) / 6 * 4.2
    assert row["volume_m3"] == row["log_m3"] == pytest.approx(volume)
    # whole centimeters, and a length in tenths: half a step over the root of 3 (JCGM 100, 4.3.7)
    lengths = (volume / 4.2 * 0.05 / math.sqrt(3)) ** 2
    slopes = [math.pi / 4 * 1e-4 * 4.2 / 6 * (end + 2 * 20) for end in (21, 0)]
    assert slopes[0] * 0.5 / math.sqrt(3) < row["volume_sd_m3"] < 0.01
    assert row["volume_sd_m3"] ** 2 > lengths
    assert row["volume_bias_m3"] == 0


def test_the_laboratorys_species_counts_more_than_the_fields(tmp_path) -> None:
    builder = a_package(tmp_path).with_chain()
    builder.with_row("lab_result", species="PSME")
    assert list(derive_sizes(builder.package)["species"]) == ["PSME"]


def test_squared_wood_is_the_heart_of_its_log_where_pith_was_seen(tmp_path) -> None:
    """The crew's word on the wood goes before that of a sample."""
    builder = a_site(tmp_path)
    seen = {
        "crew": ("yes", ""),
        "core": ("", "yes"),
        "no": ("no", "yes"),
        "none": ("unknown", "no"),
    }
    for number, (name, (wood, core)) in enumerate(seen.items(), start=1):
        builder.with_row("element", element_id=name, shape="hewn", pith_inside=wood)
        builder.with_row("sample", sample_id=number, element_id=name, pith_seen=core)
    builder.with_row("element", element_id="round", shape="round", pith_inside="yes")
    assert {name: (row["section"], row["log_share"]) for name, row in of(builder).items()} == {
        "crew": ("rectangle_boxed", 1),
        "core": ("rectangle_boxed", 1),
        "no": ("rectangle", 0.25),
        "none": ("rectangle", 0.25),
        "round": ("round", 1),
    }


def test_wood_without_a_volume_says_why(tmp_path) -> None:
    builder = a_site(tmp_path)
    cases = {
        None: {"shape": "sawn"},
        "section": {"shape": "split"},
        "length": {"length_m": None},
        "ends": {"diameter_b1_cm": None, "diameter_b2_cm": None},
        "second_reading": {"shape": "sawn", "diameter_b2_cm": None},
        "corners": {"shape": "waney"},
        "readings": {"shape": "sawn", "diameter_b2_cm": "-3"},
    }
    for why, values in cases.items():
        builder.with_row("element", element_id=str(why), **values)
    builder.with_row("element", element_id="unshaped", shape=None)
    builder.with_row("element", element_id="measured", shape="waney", diagonal_cm=27)
    rows = of(builder)
    assert {name: row["no_volume"] for name, row in rows.items()} == {
        **{str(why): why for why in cases},
        "unshaped": "section",
        "measured": None,
    }
    # one measured end alone says nothing of butt and top
    assert rows["ends"]["diameter_a_cm"] == pytest.approx(math.sqrt(22 * 21))
    assert rows["ends"]["butt_cm"] is None
    for name, row in rows.items():
        assert (row["volume_m3"] is None) == (name not in ("None", "measured")), name
    sharp = 1e-4 * 4.2 / 6 * (22 * 21 + 4 * 21 * 20 + 20 * 19)
    assert rows["None"]["volume_m3"] == pytest.approx(sharp)
    assert 0.9 * sharp < rows["measured"]["volume_m3"] < sharp


def test_readings_that_are_no_sizes_stop_nothing(tmp_path) -> None:
    builder = a_site(tmp_path)
    odd = ("0", "-2", "NaN", "INF", "x", "1e400", "1e-400", "1e-999999999", "1e999999999", "1e300")
    for text in odd:
        for column in (*READINGS, "length_m"):
            name = f"{column} {text}"
            builder.with_row("element", element_id=name, shape="sawn", **{column: text})
    sizes = derive_sizes(builder.package)
    assert len(sizes) == 5 * len(odd)
    volume = total(sizes, "volume")
    assert math.isfinite(volume.value)
    assert math.isfinite(volume.sd)


def test_what_is_hewn_on_one_or_two_sides_is_as_thick_as_its_larger_reading(tmp_path) -> None:
    builder = a_site(tmp_path)
    for shape in ("hewn_one_side", "hewn_two_sides", "half_round"):
        builder.with_row("element", element_id=shape, shape=shape, diameter_b2_cm=10)
    rows = of(builder)
    assert all((row["butt_cm"], row["top_cm"]) == (22, 20) for row in rows.values())
    one, two = (rows[name]["volume_m3"] for name in ("hewn_one_side", "hewn_two_sides"))
    assert one < two < rows["hewn_two_sides"]["log_m3"]


def test_the_step_of_readings_is_the_finest_that_the_same_person_used(tmp_path) -> None:
    """Inches come through the reader of imports, which stores them in centimeters."""
    builder = a_site(tmp_path).with_bare_row("party", party_id="TQ", kind="person")

    def piece(name: str, by: str, length: str, *sizes: str, unit: str = "cm") -> None:
        values = [f"{read_length(size, unit, 'cm'):.10g}" for size in sizes]
        builder.with_row(
            "element", element_id=name, recorded_by=by, length_m=length,
            **dict(zip(READINGS, values, strict=True)),
        )  # fmt: skip

    piece("whole", "MB", "4", "22", "21", "20", "19")
    piece("tenths", "MB", "3.85", "22.3", "21", "20", "19")
    inch = f"{read_length('10 ft', 'ft-in', 'm'):.10g}"
    piece("inches", "TQ", inch, "10", "9 1/2", "9", "8 1/4", unit="in")
    piece("eighths", "TQ", inch, "10", "10", "9", "8 1/8", unit="in")
    piece("metric", "TQ", "3.85", "22.3", "21", "20", "19")
    rows = of(builder)

    def deviation(name: str, step_cm: float, step_m: float) -> float:
        """By slopes of π/4·L/6·(2·a·b + …) worked out by hand."""
        cells = builder.package.tables["element"].filter(element_id=name).row(0, named=True)
        a1, a2, b1, b2, length = (cells[one] for one in (*READINGS, "length_m"))
        k = math.pi / 4 * 1e-4 * length / 6
        slopes = [k * (2 * a2 + b2), k * (2 * a1 + b1), k * (2 * b2 + a2), k * (2 * b1 + a1)]
        squares = sum((one * step_cm) ** 2 for one in slopes)
        squares += (rows[name]["volume_m3"] / length * step_m) ** 2
        return math.sqrt(squares / 12)

    eighth, foot_inch = float(Decimal("2.54") / 8), 0.0254
    steps = {
        **dict.fromkeys(("whole", "tenths", "metric"), (0.1, 0.01)),
        **dict.fromkeys(("inches", "eighths"), (eighth, foot_inch)),
    }
    for name, (cm, m) in steps.items():
        assert rows[name]["volume_sd_m3"] == pytest.approx(deviation(name, cm, m), rel=1e-3), name


def test_an_assumed_error_takes_the_place_of_the_step_and_its_spread_is_shared(tmp_path) -> None:
    builder = a_site(tmp_path)
    for number in range(4):
        builder.with_row("element", element_id=f"E{number}")
    builder.with_row("element", element_id="F", species_field="PSME")
    builder.with_bare_row(
        "assumption", assumption_id="A1", assumption_kind="end_error", species="PIPO",
        figure=1.2, spread=0.3, source="Trial of 2024 (invented)",
    )  # fmt: skip
    sizes = derive_sizes(builder.package)
    one, other = sizes.row(0, named=True), sizes.row(4, named=True)
    assert one["volume_sd_m3"] > 1.5 * other["volume_sd_m3"]
    # all four readings off by 0.3 cm: the circle grows by π/2·d·0.3 along the whole length
    bias = math.pi / 2 * 20.5 * 0.3 * 1e-4 * 4.2
    assert one["volume_bias_m3"] == pytest.approx(bias, rel=0.01)
    assert other["volume_bias_m3"] == 0
    # four times the shared error, twice their own
    four = total(sizes.head(4), "volume")
    assert four.pieces == 4
    assert four.value == pytest.approx(4 * one["volume_m3"])
    assert four.sd == pytest.approx(math.hypot(2 * one["volume_sd_m3"], 4 * bias), rel=0.01)
    faces = derive_faces(builder.package)
    assert faces["cut_m2"][0] == pytest.approx(math.pi / 4 * (22 * 21 + 20 * 19) * 1e-4)
    assert total(faces, "worked", "m2").value == 0
    assert total(faces, "cut", "m2").sd > 4 * faces["cut_bias_m2"][0]


def test_volume_and_log_are_said_in_words_with_as_many_digits_as_they_are_worth(tmp_path) -> None:
    builder = a_site(tmp_path).with_row("element", shape="sawn")
    builder.with_row("element", element_id="split", shape="split")
    derive_package(builder.package)
    sawn, split = builder.package.tables.rows("size")
    assert size_in_words(sawn).startswith(
        "Volume in place (cross-section squared): 0.1765 ± 0.0028 m³; it was worked from a log of "
        "at least 0.2776 ± 0.0043 m³, from which other timbers may have come too ("
    )
    assert size_in_words(split) == "Volume not known: cross-section not known."
    for fault in ("", "much", "NaN", "INF"):
        for column in ("volume_m3", "volume_sd_m3", "log_bias_m3"):
            assert size_in_words({**sawn, column: fault}) == "", (column, fault)


def test_a_package_from_before_cross_sections_is_derived_as_its_schema_has_it(tmp_path) -> None:
    """Its columns of Huber and others are left blank, and volumes are there for the figures."""
    package = a_site(tmp_path).with_row("element", shape="hewn_two_sides").package
    size, model, element = (
        package.folder / "schemas" / f"{name}.json" for name in ("size", "model", "element")
    )
    schema = json.loads(size.read_text("utf-8"))
    new = ("section", "log_share", "no_volume")
    schema["fields"] = [
        {**one, "name": "newton_m3"} if one["name"] == "volume_m3" else one
        for one in schema["fields"]
        if one["name"] not in new and ("_m3" not in one["name"] or one["name"] == "volume_m3")
    ]
    size.write_text(json.dumps(schema), "utf-8")
    lists = json.loads(model.read_text("utf-8"))
    lists["vocabularies"] = [
        one for one in lists["vocabularies"] if one["name"] not in ("wood_section", "no_volume")
    ]
    for one in lists["vocabularies"]:
        for term in one["terms"] if one["name"] == "element_shape" else ():
            for added in ("section", "hewn_sides", "wane"):
                term.pop(added, None)
    model.write_text(json.dumps(lists), "utf-8")
    fields = json.loads(element.read_text("utf-8"))
    later = {"diagonal_cm", "pith_inside"}
    fields["fields"] = [one for one in fields["fields"] if one["name"] not in later]
    element.write_text(json.dumps(fields), "utf-8")
    rows = pl.read_csv(package.table_path("element"), infer_schema=False)
    rows.drop(later).write_csv(package.table_path("element"))
    older = open_package(package.folder)
    for rule in ("diagonal_implausible", "round_corners_not_measured"):
        assert rules()[f"element.{rule}"].find(older.tables).is_empty()
    derived = derive_package(older).tables["size"]
    assert derived["volume_m3"][0] > 0.1
    written = older.tables["size"]
    assert written["newton_m3"].to_list() == [None]
    assert written["butt_cm"].to_list() == [22]
    assert "volume_m3" not in written.columns
    assert size_in_words(older.tables.rows("size")[0]) == ""
    older.write_table("size", written.drop("row").with_columns(newton_m3=pl.lit(1.5)))
    # what is computed no more does not keep it from being brought forward
    brought = update_package(older, "blank")
    derive_package(brought)
    assert brought.tables["size"]["volume_m3"][0] > 0.1

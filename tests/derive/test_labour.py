"""Labor by rates from a source: quantities and hours with their uncertainty."""

from __future__ import annotations

import math

import polars as pl
import pytest

from provenance._derive.labour import derive_labour, total_hours
from provenance._derive.wood_use import wood_in_phases
from provenance._record.assumptions import assumptions_of
from tests.builders import a_package

SAID = "Invented handbook, p. 3"
RATES = [
    ("1", "work_per_piece", "carpentry", 2, 0.5),
    ("2", "work_per_volume", "carpentry", 10, None),
    ("3", "work_per_haul_volume", "hauling", 5, 1),
    ("4", "work_per_cut", "sawing", 20, None),
    ("5", "work_per_hewn_area", "hewing", 0.5, None),
    ("6", "work_per_tree", "felling", 6, None),
    ("7", "haul_distance", None, 3, 0.3),
    ("8", "work_per_haul_mass", "hauling", 4, None),
    ("9", "work_per_meter", "barking", 1, None),
]
SIZES = {
    "element_id": ["E1", "E2", "E3"],
    "place_id": ["R1", "B1", "B1"],
    "species": ["PIPO", None, "PIPO"],
    "function": ["beam", "joist", "joist"],
    "section": ["round", "rectangle", "not_known"],
    "length_m": [4.0, 3.0, None],
    "volume_m3": [0.1256637, 0.06, None],
    "volume_sd_m3": [0.0025133, 0.0012, None],
    "log_m3": [0.1256637, 0.1178097, None],
    "log_sd_m3": [0.0025133, 0.0024, None],
}
"""A round beam of 20 cm by 4 m, a joist of 10 by 20 cm by 3 m (its log: the circle over its
diagonal), both known to 2 %; and a joist that nobody measured.
"""


@pytest.fixture
def house(tmp_path):
    builder = a_package(tmp_path).with_row("site").with_row("place")
    builder.with_row("place", place_id="R1", kind="room", parent_place_id="B1")
    wood = {"site_id": "HOLL", "sampled": "false"}
    readings = ("diameter_a1_cm", "diameter_a2_cm", "diameter_b1_cm", "diameter_b2_cm")
    for key, shape, place, sizes, ends in (
        ("E1", "round", "R1", (20, 20, 20, 20), ("axe_cut", "sawn")),
        ("E2", "hewn", "B1", (20, 10, 20, 10), ("axe_cut", "hidden")),
        ("E3", "unknown", "B1", (None,) * 4, ("axe_cut", "axe_cut")),
    ):
        builder.with_bare_row(
            "element",
            element_id=key,
            place_id=place,
            shape=shape,
            end_a_treatment=ends[0],
            end_b_treatment=ends[1],
            **wood,
            **dict(zip(readings, sizes, strict=True)),
        )
    for key, kind, work, figure, spread in RATES:
        builder.with_bare_row(
            "assumption",
            assumption_id=key,
            assumption_kind=kind,
            activity=work,
            figure=figure,
            spread=spread,
            source=SAID,
        )
    return builder


def labour_of(package, **bounds) -> pl.DataFrame:
    phases = pl.DataFrame({"phase_id": ["K1", "K2"], "place_id": ["B1", "R1"]})
    members = pl.DataFrame({"phase_id": ["K1", "K2", "K2"], "element_id": ["E2", "E1", "E2"]})
    wood = wood_in_phases(package.tables, pl.DataFrame(SIZES), phases, members)
    found = bounds or {"lower": 1, "upper": 2}
    counts = pl.DataFrame(
        [
            {"place_id": "B1", "phase_id": None, "species": None, "bound": bound, "trees": trees}
            for bound, trees in found.items()
        ]
    ).with_columns(piece_count=pl.lit(2), trees=pl.col("trees").cast(pl.Float64))
    return derive_labour(package, wood, counts)


def row_of(labour: pl.DataFrame, rate: str, phase=None, function=None) -> dict[str, object]:
    where = (
        (pl.col("assumption_id") == rate)
        & pl.col("phase_id").eq_missing(pl.lit(phase))
        & pl.col("function").eq_missing(pl.lit(function))
    )
    (row,) = labour.filter(where).iter_rows(named=True)
    return row


def test_a_case_worked_by_hand(house) -> None:
    labour = labour_of(house.package)
    # 3 pieces of 2 +- 0.5 h: 6 h, deviation 3 * 0.5 = 1.5, times 1.645 is 2.4675
    # volumes 0.1256637 + 0.06, deviation sqrt(0.0025133² + 0.0012²) = 0.0027851
    # cut: 2 * 0.0314159 + 0.02, of the log 2 * 0.0314159 + 2 * 0.0392699;
    #   an end is known to sqrt(2) * 2 %: sqrt(2 * 0.00088858² + 0.00056569²) = 0.0013781, and
    #   sqrt(2 * 0.00088858² + 2 * 0.00111072²) = 0.0020116
    # hewn: 2 * (0.2 + 0.1) * 3 = 1.8; a reading of sqrt(0.2 * 0.1) m is known to 2 %: 0.0028284;
    #   a girth to sqrt(8) of it, the mean of two girths to 0.0056569, times 3 m is 0.0169706
    for rate, pieces, counted, quantity, low, high, hours_low, hours_high in (
        ("1", 3, 3, 3, 3, 3, 3.5325, 8.4675),
        ("2", 3, 2, 0.1856637, 0.1810822, 0.1902452, 1.810822, 1.902452),
        ("4", 3, 2, None, 0.0805649, 0.1446808, 1.611298, 2.893616),
        ("5", 3, 2, 1.8, 1.7720834, 1.8279166, 0.8860417, 0.9139583),
        ("6", 2, 2, None, 1, 2, 6, 12),
        ("9", 3, 2, 7, 7, 7, 7, 7),
    ):
        row = row_of(labour, rate)
        assert (row["piece_count"], row["counted_count"]) == (pieces, counted), rate
        assert row["quantity"] == (pytest.approx(quantity) if quantity else None), rate
        found = [row[f"{name}_{end}"] for name in ("quantity", "hours") for end in ("low", "high")]
        assert found == pytest.approx([low, high, hours_low, hours_high], rel=1e-4), rate


def test_hauling_carries_volume_distance_and_rate(house) -> None:
    row = row_of(labour_of(house.package), "3")
    # in place 0.1856637 m³ by 3 km: 0.5569911, variance (3 * 0.0027851)² + (0.1856637 * 0.3)²
    # = 0.0031722; hours 2.7849555, variance 25 * 0.0031722 + (0.5569911 * 1)² = 0.389544
    assert row["quantity_low"] == pytest.approx(0.5569911 - 1.645 * math.sqrt(0.0031722), rel=1e-4)
    assert row["hours_low"] == pytest.approx(2.7849555 - 1.645 * math.sqrt(0.389544), rel=1e-4)
    # the logs 0.2434734 m³: 0.7304202; 0.0034751² of volume, (3 * 0.0034751)² + (0.0730420)²
    # = 0.0054438; hours 3.652101, variance 25 * 0.0054438 + 0.7304202² = 0.669609
    assert row["hours_high"] == pytest.approx(3.652101 + 1.645 * math.sqrt(0.669609), rel=1e-4)
    assert (row["hours"], row["distance_assumption_id"]) == (None, "7")


def test_nothing_is_guessed_where_a_figure_is_missing(house, tmp_path) -> None:
    """Mass needs a density; once there is one for a species, its wood is counted and no other."""
    assert "8" not in labour_of(house.package)["assumption_id"]
    house.with_bare_row(
        "assumption",
        assumption_id="D",
        assumption_kind="density",
        species="PIPO",
        figure=500,
        source=SAID,
    )
    row = row_of(labour_of(house.package), "8")
    assert (row["piece_count"], row["counted_count"]) == (2, 1)
    # 0.1256637 m³ * 0.5 t/m³ * 3 km * 4 h
    assert row["hours"] == pytest.approx(0.7539822)


def test_phases_are_those_of_the_building_and_uses_add_up_to_all(house) -> None:
    labour = labour_of(house.package)
    assert set(labour["phase_id"].drop_nulls()) == {"K1"}
    assert row_of(labour, "2", "K1")["quantity"] == pytest.approx(0.06)
    beam, joists = (row_of(labour, "2", function=one) for one in ("beam", "joist"))
    assert beam["quantity"] + joists["quantity"] == pytest.approx(0.1856637)
    assert (joists["piece_count"], joists["counted_count"]) == (2, 1)


def test_a_likely_count_of_trees_gives_likely_hours(house) -> None:
    row = row_of(labour_of(house.package, lower=1, likely=1.5, upper=2), "6")
    assert (row["hours"], row["hours_low"], row["hours_high"]) == (9, 6, 12)


def test_two_rates_of_one_work_are_never_added(house) -> None:
    """Carpentry by piece and by volume are two estimates of the same hours."""
    labour = labour_of(house.package)
    totals = total_hours(labour, assumptions_of(house.package.tables))
    (whole,) = totals.filter(pl.col("phase_id").is_null()).iter_rows(named=True)
    assert whole["work_count"] == 6
    rates = {one: row_of(labour, one) for one in "123456" + "9"}
    others = [rates[one]["hours_low"] for one in "34569"]
    assert whole["hours_low"] == pytest.approx(rates["2"]["hours_low"] + sum(others))
    others = [rates[one]["hours_high"] for one in "34569"]
    assert whole["hours_high"] == pytest.approx(rates["1"]["hours_high"] + sum(others))


def test_a_rate_of_one_species_parts_the_count_of_trees(house) -> None:
    """One rate for all takes the count of all wood; a rate of pine has the pines by themselves."""
    package = house.package
    rows = [
        {"place_id": "B1", "phase_id": None, "species": species, "bound": bound, "trees": trees}
        for species, least, most in ((None, 3, 9), ("PIPO", 1, 5), ("QUSP", 1, 4))
        for bound, trees in (("lower", float(least)), ("upper", float(most)))
    ]
    bounds = pl.DataFrame(rows).with_columns(piece_count=pl.lit(9))
    wood = wood_in_phases(
        package.tables,
        pl.DataFrame(SIZES),
        pl.DataFrame(schema={"phase_id": pl.String, "place_id": pl.String}),
        pl.DataFrame(schema={"phase_id": pl.String, "element_id": pl.String}),
    )

    def felling() -> list[tuple[object, ...]]:
        rates = ["6", "P"]
        found = derive_labour(house.package, wood, bounds).filter(
            pl.col("assumption_id").is_in(rates)
        )
        return list(found.select("assumption_id", "hours_low", "hours_high").iter_rows())

    assert felling() == [("6", 18, 54)]
    house.with_bare_row(
        "assumption",
        assumption_id="P",
        assumption_kind="work_per_tree",
        activity="felling",
        species="PIPO",
        figure=2,
        source=SAID,
    )
    assert felling() == [("6", 6, 24), ("P", 2, 10)]

"""Labor by rates from a source: quantities and hours with their uncertainty."""

from __future__ import annotations

import math

import polars as pl
import pytest

from provenance._derive.wood.labor import derive_labor, total_hours
from provenance._derive.wood.wood_use import wood_in_phases
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
    "diameter_a_cm": [20.0, 14.142136, None],
    "diameter_b_cm": [20.0, 14.142136, None],
    "volume_m3": [0.1256637, 0.06, None],
    "volume_sd_m3": [0.0025133, 0.0012, None],
    "volume_bias_m3": [0.002, 0.001, None],
    "log_m3": [0.1256637, 0.1178097, None],
    "log_sd_m3": [0.0025133, 0.0024, None],
    "log_bias_m3": [0.002, 0.002, None],
}
FACES = {
    "element_id": ["E1", "E2", "E3"],
    "worked_m2": [0.0, 1.8, None],
    "worked_sd_m2": [0.0, 0.02, None],
    "worked_bias_m2": [0.0, 0.01, None],
    "cut_m2": [0.0628319, 0.04, None],
    "cut_sd_m2": [0.001, 0.0008, None],
    "cut_bias_m2": [0.0, 0.0, None],
}
"""A round beam of 20 cm by 4 m, a joist of 10 by 20 cm by 3 m (its log: the circle over its
diagonal), and a joist that nobody measured.
"""


@pytest.fixture
def house(tmp_path):
    builder = a_package(tmp_path).with_row("site").with_row("place")
    builder.with_row("place", place_id="R1", kind="room", parent_place_id="B1")
    wood = {"site_id": "HOLL", "sampled": "false"}
    for key, shape, place, ends in (
        ("E1", "round", "R1", ("axe_cut", "sawn")),
        ("E2", "hewn", "B1", ("axe_cut", "hidden")),
        ("E3", "unknown", "B1", ("axe_cut", "axe_cut")),
    ):
        builder.with_bare_row(
            "element",
            element_id=key,
            place_id=place,
            shape=shape,
            end_a_treatment=ends[0],
            end_b_treatment=ends[1],
            **wood,
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


def labor_of(package, **bounds) -> pl.DataFrame:
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
    return derive_labor(package, wood, pl.DataFrame(FACES), counts)


def row_of(labor: pl.DataFrame, rate: str, phase=None, function=None) -> dict[str, object]:
    where = (
        (pl.col("assumption_id") == rate)
        & pl.col("phase_id").eq_missing(pl.lit(phase))
        & pl.col("function").eq_missing(pl.lit(function))
    )
    (row,) = labor.filter(where).iter_rows(named=True)
    return row


def test_a_case_worked_by_hand(house) -> None:
    labor = labor_of(house.package)
    # 3 pieces of 2 +- 0.5 h: 6 h, deviation 3 * 0.5 = 1.5, times 1.645 is 2.4675
    # volumes 0.1256637 + 0.06, deviation sqrt(0.0025133² + 0.0012² + (0.002 + 0.001)²) = 0.0040935
    # cut: 0.0628319 + one end of two 0.02, and both ends of the log 2 * 0.0392699; deviations
    #   sqrt(0.001² + 0.0004²) = 0.0010770, sqrt(0.001² + (0.0008 * 1.963495)²) = 0.0018622
    # hewn: the four faces of the joist, deviation sqrt(0.02² + 0.01²) = 0.0223607
    for rate, pieces, counted, quantity, low, high, hours_low, hours_high in (
        ("1", 3, 3, 3, 3, 3, 3.5325, 8.4675),
        ("2", 3, 2, 0.1856637, 0.1789299, 0.1923975, 1.789299, 1.923975),
        ("4", 3, 2, None, 0.0810602, 0.1444350, 1.621204, 2.888700),
        ("5", 3, 2, 1.8, 1.7632166, 1.8367834, 0.8816083, 0.9183917),
        ("6", 2, 2, None, 1, 2, 6, 12),
        ("9", 3, 2, 7, 7, 7, 7, 7),
    ):
        row = row_of(labor, rate)
        assert (row["piece_count"], row["counted_count"]) == (pieces, counted), rate
        assert row["quantity"] == (pytest.approx(quantity) if quantity else None), rate
        found = [row[f"{name}_{end}"] for name in ("quantity", "hours") for end in ("low", "high")]
        assert found == pytest.approx([low, high, hours_low, hours_high], rel=1e-4), rate


def test_hauling_carries_volume_distance_and_rate(house) -> None:
    row = row_of(labor_of(house.package), "3")
    # in place 0.1856637 m³ by 3 km: 0.5569911, variance (3 * 0.0040935)² + (0.1856637 * 0.3)²
    # = 0.0032531; hours 2.7849555, variance 25 * 0.0032531 + (0.5569911 * 1)² = 0.391567
    assert row["quantity_low"] == pytest.approx(0.5569911 - 1.645 * math.sqrt(0.0032531), rel=1e-4)
    assert row["hours_low"] == pytest.approx(2.7849555 - 1.645 * math.sqrt(0.391567), rel=1e-4)
    # the logs 0.2434734 m³, variance 0.0025133² + 0.0024² + 0.004² = 0.000028077: 0.7304202,
    # variance 9 * 0.000028077 + (0.2434734 * 0.3)² = 0.0055878; hours 3.652101, variance
    # 25 * 0.0055878 + 0.7304202² = 0.673209
    assert row["hours_high"] == pytest.approx(3.652101 + 1.645 * math.sqrt(0.673209), rel=1e-4)
    assert (row["hours"], row["distance_assumption_id"]) == (None, "7")


def test_nothing_is_guessed_where_a_figure_is_missing(house, tmp_path) -> None:
    """Mass needs a density; once there is one for a species, its wood is counted and no other."""
    assert "8" not in labor_of(house.package)["assumption_id"]
    house.with_bare_row(
        "assumption",
        assumption_id="D",
        assumption_kind="density",
        species="PIPO",
        figure=500,
        source=SAID,
    )
    row = row_of(labor_of(house.package), "8")
    assert (row["piece_count"], row["counted_count"]) == (2, 1)
    # 0.1256637 m³ * 0.5 t/m³ * 3 km * 4 h
    assert row["hours"] == pytest.approx(0.7539822)


def test_phases_are_those_of_the_building_and_uses_add_up_to_all(house) -> None:
    labor = labor_of(house.package)
    assert set(labor["phase_id"].drop_nulls()) == {"K1"}
    assert row_of(labor, "2", "K1")["quantity"] == pytest.approx(0.06)
    beam, joists = (row_of(labor, "2", function=one) for one in ("beam", "joist"))
    assert beam["quantity"] + joists["quantity"] == pytest.approx(0.1856637)
    assert (joists["piece_count"], joists["counted_count"]) == (2, 1)


def test_tool_marks_tell_whether_squared_wood_was_hewn(house) -> None:
    """Where nothing tells, its faces count in the high value only."""
    elements = house.package.table("element")
    for marks, limits in (
        ("", (0, 1.8367834)),
        ("broadaxe; scribe", (1.7632166, 1.8367834)),
        ("sash_saw", (0, 0)),
        ("adze;pit_saw", (0, 1.8367834)),
    ):
        changed = elements["element_id"] == "E2"
        elements.loc[changed, ["shape", "tool_marks"]] = ["squared", marks]
        house.package.write_table("element", elements)
        row = row_of(labor_of(house.package), "5")
        found = (row["quantity_low"], row["quantity_high"])
        assert found == pytest.approx(limits, rel=1e-4), marks


def test_a_likely_count_of_trees_gives_likely_hours(house) -> None:
    row = row_of(labor_of(house.package, lower=1, likely=1.5, upper=2), "6")
    assert (row["hours"], row["hours_low"], row["hours_high"]) == (9, 6, 12)


def test_two_rates_of_one_work_are_never_added(house) -> None:
    """Carpentry by piece and by volume are two estimates of the same hours."""
    labor = labor_of(house.package)
    totals = total_hours(labor, assumptions_of(house.package.tables))
    (whole,) = totals.filter(pl.col("phase_id").is_null()).iter_rows(named=True)
    assert whole["work_count"] == 6
    rates = {one: row_of(labor, one) for one in "123456" + "9"}
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
        found = derive_labor(house.package, wood, pl.DataFrame(FACES), bounds).filter(
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

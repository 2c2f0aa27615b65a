"""Wood by building, phase, species, use, shape, origin and decoration; and how places are built."""

from __future__ import annotations

import dataclasses
import itertools

import pandas as pd
import polars as pl
import pytest

from provenance._derive.summary import derive_tables
from provenance._derive.wood.wood_use import derive_architecture, derive_wood_use, wood_in_phases
from tests.builders import a_package

PHASES = pl.DataFrame(
    {
        "phase_id": ["K1", "K2", "K3"],
        "place_id": ["B1", "R1", "B1"],
        "first_year": [1870, 1901, 1902],
        "last_year": [1871, 1902, 1902],
    }
)
MEMBERS = pl.DataFrame(
    {"phase_id": ["K1", "K1", "K2", "K3"], "element_id": ["E00", "E01", "E01", "E05"]}
)


@pytest.fixture
def house(tmp_path):
    builder = a_package(tmp_path).with_row("site")
    builder.with_row("place", construction="log", bonding="saddle_notch")
    builder.with_row("place", place_id="R1", kind="room", parent_place_id="B1", floor_type="planks")
    builder.with_row("place", place_id="R2", kind="room", parent_place_id="B1")
    builder.with_row("place", place_id="B2", construction="stone", roof_type="gone")
    worked = itertools.cycle(
        [("round", "local", None), ("sawn", None, "none"), ("sawn", "brought_in", "none"),
         (None, "unknown", "painted;chamfered"), ("hewn", "local", "chamfered; painted")]
    )  # fmt: skip
    for number, (shape, origin, decoration) in zip(range(17), worked, strict=False):
        builder.with_row(
            "element",
            element_id=f"E{number:02}",
            place_id=["B1", "R1", "B1", "B2", None][number % 5],
            function=["beam", "joist"][number % 2],
            species_field=["PIPO", None][number % 2],
            length_m=None if number == 3 else 4,
            shape=shape,
            origin=origin,
            decoration=decoration,
        )
    return builder.package


def test_counts_are_those_of_another_library(house) -> None:
    """The same groups by pandas, of the table of the record."""
    sizes = (
        derive_tables(house)
        .tables["size"]
        .with_columns(volume_m3=pl.lit(0.5), volume_sd_m3=pl.lit(0.3), volume_bias_m3=pl.lit(0.1))
    )
    wood = wood_in_phases(house.tables, sizes, PHASES, MEMBERS)
    used = derive_wood_use(house, wood, {"E00": "E00", "E08": "E00", "E16": "E00"})
    assert used["piece_count"].sum() == 17

    record = house.table("element").fillna("").astype({"length_m": object})
    record["place_id"] = record["place_id"].replace({"R1": "B1"})
    record["decoration"] = record["decoration"].replace({"painted;chamfered": "chamfered;painted"})
    record["decoration"] = record["decoration"].replace({"chamfered; painted": "chamfered;painted"})
    record["phase_id"] = record["element_id"].map({"E00": "K1", "E01": "K1", "E05": "K3"})
    record = record.fillna("").rename(columns={"species_field": "species"})
    alike = ["place_id", "phase_id", "species", "function", "shape", "origin", "decoration"]
    counted = record.groupby(alike).size()
    found = pd.DataFrame(used.to_dicts()).fillna(dict.fromkeys(alike, "")).set_index(alike)
    assert len(found) < 15
    pd.testing.assert_series_equal(
        found["piece_count"].sort_index(), counted.sort_index(), check_names=False
    )
    for _, row in found.iterrows():
        assert row["total_volume_m3"] == pytest.approx(0.5 * row["piece_count"])
        assert row["total_volume_sd_m3"] == pytest.approx(
            (0.09 * row["piece_count"] + (0.1 * row["piece_count"]) ** 2) ** 0.5
        )
        assert row["total_length_m"] == pytest.approx(4 * row["length_count"], nan_ok=True)
    assert found["length_count"].sum() == 16


def test_pieces_of_one_tree_count_once_and_not_looked_at_is_not_plain(house) -> None:
    sizes = (
        derive_tables(house)
        .tables["size"]
        .with_columns(
            species=pl.lit("PIPO"),
            function=pl.lit("beam"),
            place_id=pl.lit("B2"),
            volume_m3=pl.lit(None, pl.Float64),
        )
    )
    wood = wood_in_phases(house.tables, sizes, PHASES.clear(), MEMBERS.clear())
    used = derive_wood_use(house, wood, {"E02": "E02", "E07": "E02"})
    rows = {(row["shape"], row["origin"], row["decoration"]): row for row in used.to_dicts()}
    assert len(rows) == 5
    assert rows[("sawn", "brought_in", "none")]["piece_count"] == 3
    assert rows[("sawn", "brought_in", "none")]["trees_most"] == 2
    assert rows[("round", "local", None)]["trees_most"] == 4
    # no piece has a volume, which is not a volume of 0
    assert used["total_volume_m3"].null_count() == 5


def test_architecture_stands_beside_the_nearest_phases(house) -> None:
    built = derive_architecture(house, PHASES)
    columns = ("place_id", "construction", "floor_type", "phase_id", "first_year")
    assert list(built.select(columns).iter_rows()) == [
        ("B1", "log", None, "K1", 1870),
        ("B1", "log", None, "K3", 1902),
        ("R1", None, "planks", "K2", 1901),
        ("B2", "stone", None, None, None),
    ]
    built = derive_architecture(house, PHASES.filter(pl.col("phase_id") == "K1"))
    assert built.filter(place_id="R1")["phase_id"].to_list() == ["K1"]


def test_an_older_package_goes_without(house) -> None:
    tables = dict(house.model.tables)
    for name in ("assumption", "wood_use", "labor", "architecture"):
        del tables[name]
    model = dataclasses.replace(house.model, tables=tables)
    derived = derive_tables(dataclasses.replace(house, model=model))
    assert "wood_use" not in derived.tables
    assert len(derived.tables["size"]) == 17


def test_a_row_for_twelve_like_pieces_counts_as_twelve_rows_do(tmp_path) -> None:
    """Counts, lengths, volumes, work and most trees; its own error is that of all twelve."""
    found = []
    for name, rows, like in (("each", 12, None), ("one", 1, 12)):
        builder = a_package(tmp_path / name).with_row("site").with_row("place")
        for number in range(rows):
            builder.with_row("element", element_id=f"E{number}", like_count=like, sampled=False)
        for kind in ("work_per_piece", "work_per_volume"):
            builder.with_bare_row(
                "assumption", assumption_id=kind, assumption_kind=kind, figure=2, source="x"
            )
        found.append(derive_tables(builder.package).tables)
    each, one = found
    sums = ("piece_count", "trees_most", "length_count", "total_length_m", "volume_count")
    for column in (*sums, "total_volume_m3"):
        assert one["wood_use"][column].to_list() == pytest.approx(
            each["wood_use"][column].to_list()
        )
    assert one["wood_use"]["piece_count"].to_list() == [12]
    spread = [tables["wood_use"]["total_volume_sd_m3"].item() for tables in found]
    assert spread[1] > spread[0]
    for column in ("piece_count", "counted_count", "quantity", "hours"):
        assert one["labor"][column].to_list() == pytest.approx(each["labor"][column].to_list())
    most = [tables["tree_bound"].filter(bound="upper")["trees"].to_list() for tables in found]
    assert most[0] == most[1]
    # a lower bound that counted pieces of which nothing is known would promise too much
    least = [tables["tree_bound"].filter(bound="lower")["trees"].max() for tables in found]
    assert 1 <= least[1] <= least[0]

"""Use of wood and architecture over many records."""

from __future__ import annotations

import pytest

from provenance._base.errors import UnusableInput
from provenance._catalogue.build import update_catalogue
from provenance._catalogue.columns import catalogue_text
from provenance._catalogue.database import opened_catalogue, transaction
from provenance._catalogue.query import Wanted, ask_sql, find_in_catalogue
from tests.builders import a_package

WOOD = {
    "site_id": "HOLL",
    "place_id": "B1",
    "species": "PIPO",
    "function": "beam",
    "shape": "round",
    "trees_most": "2",
    "total_length_m": "8.5",
}


@pytest.fixture
def records(tmp_path):
    """Two records of one building each, and one that nobody derived anything of."""
    for name, year, count in (("one", "1781", "2"), ("two", "1902", "5")):
        builder = a_package(tmp_path / name).with_row("site").with_row("place")
        span = {"first_year": year, "last_year": year}
        builder.with_bare_row("phase", phase_id="K1", place_id="B1", **span)
        builder.with_bare_row("wood_use", use_id="1", phase_id="K1", piece_count=count, **WOOD)
        builder.with_bare_row("wood_use", use_id="2", piece_count=1, **{**WOOD, "species": ""})
        built = {"construction": "log", "floor_type": "planks", "phase_id": "K1", **span}
        builder.with_bare_row(
            "architecture", architecture_id="1", site_id="HOLL", place_id="B1", **built
        )
    a_package(tmp_path / "three").with_row("site")
    # a record of before these tables
    older = a_package(tmp_path / "four").with_row("site").package
    for table in ("wood_use", "architecture", "phase"):
        older.table_path(table).unlink()
    return tmp_path


@pytest.fixture
def index(tmp_path_factory):
    return tmp_path_factory.mktemp("index") / "catalogue.sqlite"


def test_wood_and_architecture_of_all_records_are_found(records, index) -> None:
    assert update_catalogue(records, index).unreadable == {}

    def found(kind: str, *columns: str, **wanted) -> list[tuple[object, ...]]:
        return list(find_in_catalogue(index, kind, Wanted(**wanted)).select(columns).iter_rows())

    assert found("wood", "species", "pieces", "first_year") == [
        ("PIPO", 2, 1781), ("", 1, None), ("PIPO", 5, 1902), ("", 1, None),
    ]  # fmt: skip
    assert found("wood", "pieces", "length_m", species="pi*", to_year=1800) == [(2, 8.5)]
    assert found("architecture", "construction", "last_year", from_year=1900) == [("log", 1902)]
    assert found("wood", "pieces", site="elsewhere") == []
    with pytest.raises(UnusableInput, match="among samples"):
        found("wood", "pieces", stamp="17")
    with pytest.raises(UnusableInput, match="--of wood"):
        found("architecture", "place_id", use="beam")


def test_the_queries_to_start_from_are_answered(records, index) -> None:
    """As they stand in the text, over what is taken for packed bundles here."""
    update_catalogue(records, index)
    with opened_catalogue(index) as database, transaction(database):
        database.execute("UPDATE bundle SET edition = 'full', identity = path, name = path")
    queries = catalogue_text().partition("```sql")[2].partition("```")[0].split(";")
    (wood,) = [one for one in queries if "FROM wood_use" in one]
    assert ask_sql(index, wood).rows() == [
        ("PIPO", "beam", "round", 7, 1781, 1902), ("", "beam", "round", 2, None, None),
    ]  # fmt: skip
    (built,) = [one for one in queries if "FROM architecture" in one]
    assert ask_sql(index, built).rows() == [(1750, "log", 1), (1900, "log", 1)]


def test_an_index_of_before_reads_its_bundles_again(records, index) -> None:
    update_catalogue(records, index)
    with opened_catalogue(index) as database, transaction(database):
        for table in ("wood_use", "architecture"):
            database.execute(f"DROP TABLE {table}")
            database.execute("DELETE FROM description WHERE table_name = ?", [table])
    assert len(update_catalogue(records, index).read) == 4
    assert len(find_in_catalogue(index, "wood")) == 4
    assert update_catalogue(records, index).read == ()

"""Asking the catalogue, and the forms of its answer."""

from __future__ import annotations

import csv
import io
import json
import shutil

import polars as pl
import pytest
from click.testing import CliRunner

from provenance._base.errors import UnusableInput
from provenance._catalogue.answer import FORMATS, answer_bytes
from provenance._catalogue.build import update_catalogue
from provenance._catalogue.query import _INSIDE, KINDS, Wanted, ask_sql, find_in_catalogue
from provenance._cli.cataloguing import catalogue


@pytest.fixture(scope="module")
def filled(shelf, tmp_path_factory):
    index = tmp_path_factory.mktemp("index") / "catalogue.sqlite"
    update_catalogue(shelf, index)
    return index


def found(index, **wanted):
    frame = find_in_catalogue(index, "samples", Wanted(**wanted))
    return sorted(zip(frame["site_id"], frame["sample_id"], strict=True))


HOLL = ("HOLL", "231")


@pytest.mark.parametrize(
    ("wanted", "expected"),
    [
        ({}, [HOLL, ("MILL", "17"), ("MILL", "231")]),
        ({"site": "mill"}, [("MILL", "17"), ("MILL", "231")]),
        ({"site": "Site 7"}, [HOLL]),
        ({"species": "qusp"}, [("MILL", "17")]),
        ({"species": "PI*"}, [HOLL, ("MILL", "231")]),
        ({"species": "P_PO"}, []),
        ({"species": "%"}, []),
        ({"use": "beam", "site": "HOLL"}, [HOLL]),
        ({"from_year": 1781}, [HOLL]),
        ({"from_year": 1782}, []),
        ({"to_year": 1780}, []),
        ({"from_year": 1700, "to_year": 1800}, [HOLL]),
        ({"stamp": "17"}, [("MILL", "17")]),
        ({"keeper": "LAB"}, [HOLL]),
        ({"keeper": "Alder Ring*"}, [HOLL]),
        ({"accession": "2031-1"}, []),
        ({"edition": "full"}, [HOLL, ("MILL", "17"), ("MILL", "231")]),
        ({"edition": "public"}, []),
    ],
)
def test_what_is_asked_for_is_found_and_no_more(filled, wanted, expected) -> None:
    assert found(filled, **wanted) == expected


def test_years_that_run_backwards_are_refused() -> None:
    with pytest.raises(UnusableInput, match="backwards"):
        Wanted(from_year=1800, to_year=1700)


def test_a_copy_is_listed_once_unless_every_one_is_wanted(repository, index) -> None:
    shutil.copytree(repository / "one", repository / "copy")
    update_catalogue(repository, index)
    assert found(index, site="HOLL") == [HOLL]
    assert found(index, site="HOLL", every=True) == [HOLL, HOLL]


def test_the_accession_number_is_read_from_the_bag(repository, index) -> None:
    info = repository / "one" / "bag-info.txt"
    info.write_text(info.read_text() + "Accession-Number: 2031-17\n")
    update_catalogue(repository, index)
    assert found(index, accession="2031-17") == [HOLL]


def test_a_person_who_did_not_agree_is_not_named(filled) -> None:
    frame = ask_sql(filled, "SELECT * FROM sample")
    assert "Mara" not in frame.write_csv()
    assert "Alder Ring Laboratory (invented)" in set(frame["keeper_name"])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("shape", sorted(set(FORMATS) - {"geojson"}))
def test_every_kind_has_every_form(filled, kind, shape) -> None:
    frame = find_in_catalogue(filled, kind)
    answer = answer_bytes(frame, shape)
    if shape == "csv":
        rows = list(csv.DictReader(io.StringIO(answer.decode())))
        assert [row["path"] for row in rows] == list(frame["path"])
    elif shape == "json":
        assert json.loads(answer) == frame.to_dicts()
    elif shape == "parquet":
        assert pl.read_parquet(io.BytesIO(answer)).equals(frame)
    else:
        assert (f"{len(frame)} found" if len(frame) else "nothing found") in answer.decode()


def test_sites_become_points_in_longitude_and_latitude(filled) -> None:
    """RFC 7946 sections 3.1.1 (longitude first) and 3.2 (a feature without a place: null)."""
    frame = find_in_catalogue(filled, "sites")
    collection = json.loads(answer_bytes(frame, "geojson"))
    assert collection["type"] == "FeatureCollection"
    geometries = {one["properties"]["site_id"]: one["geometry"] for one in collection["features"]}
    assert geometries == {
        "HOLL": None,
        "MILL": {"type": "Point", "coordinates": [-101.25, 47.5]},
    }


def test_geojson_of_samples_is_refused_with_what_to_ask_for(filled) -> None:
    with pytest.raises(UnusableInput, match="--of sites"):
        answer_bytes(find_in_catalogue(filled, "samples"), "geojson")


def test_a_site_in_another_system_is_carried_over_to_wgs84() -> None:
    """EPSG:32613 is UTM zone 13N: its central meridian is 105° W, false easting 500,000 m
    (EPSG Geodetic Parameter Dataset)."""
    from provenance._catalogue.entry import _on_wgs84

    row = {"easting_m": "500000", "northing_m": "0", "grid_epsg": "32613"}
    longitude, latitude = _on_wgs84(row)
    assert longitude == pytest.approx(-105)
    assert latitude == pytest.approx(0, abs=1e-9)
    assert _on_wgs84(row | {"grid_epsg": "999999"}) == (None, None)


def test_plain_sql_can_read_and_cannot_write(filled) -> None:
    assert ask_sql(filled, "SELECT count(*) AS n FROM bundle")["n"].to_list() == [2]
    for query in ("DELETE FROM bundle", "SELECT nothing FROM bundle", "ATTACH 'x' AS y; SELECT 1"):
        with pytest.raises(UnusableInput):
            ask_sql(filled, query)
    assert ask_sql(filled, "SELECT count(*) AS n FROM bundle")["n"].to_list() == [2]


def test_the_command_lists_and_says_on_standard_error_what_changed(repository) -> None:
    runner = CliRunner()
    run = runner.invoke(catalogue, [str(repository), "--species", "QU*", "--format", "csv"])
    assert run.exit_code == 0
    assert "2 read" in run.stderr
    assert [row["sample_id"] for row in csv.DictReader(io.StringIO(run.stdout))] == ["17"]
    exact = runner.invoke(catalogue, [str(repository), "--format", "geojson"])
    assert "restricted store only" in exact.stderr
    (repository / "other.zip").unlink()
    gone = runner.invoke(catalogue, [str(repository)])
    assert gone.exit_code == 1
    assert "vanished" in gone.stderr


def test_hostile_text_in_a_record_stays_text_on_the_terminal(filled) -> None:
    frame = pl.DataFrame({"title": ["\x1b[31mred\x1b[0m"]})
    assert "\x1b" not in answer_bytes(frame, "table").decode()


def test_what_is_in_a_place_is_found_from_the_places_and_not_among_all_samples(filled) -> None:
    """Else one box takes as long as the whole collection."""
    query = f"WITH RECURSIVE {_INSIDE} SELECT held.sample_id FROM inside CROSS JOIN held "
    query += "WHERE held.is_current AND held.place = inside.place_id"
    frame = ask_sql(filled, f"EXPLAIN QUERY PLAN {query}", ["B7"] * 3)
    assert any("SEARCH held USING INDEX" in line and "place=?" in line for line in frame["detail"])


def test_a_package_beside_its_own_bundle_is_not_counted(repository) -> None:
    package = shutil.copytree(repository / "one" / "data", repository / "working")
    (package / "bundle.json").unlink()  # which pack writes into bundles only
    run = CliRunner().invoke(catalogue, [str(repository), "--site", "HOLL", "--format", "json"])
    assert [one["path"] for one in json.loads(run.stdout)] == [str(repository / "one")]
    assert "not counted: 1 working package; --every lists them" in run.stderr
    every = CliRunner().invoke(catalogue, [str(repository), "--of", "bundles", "--every"])
    assert "working" in every.stdout

"""Coordinates that contradict themselves, compared with the EPSG data set through PROJ."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import a_sound_record, only


def test_half_a_position_is_an_error() -> None:
    broken = a_sound_record().but("site", longitude=None)
    only(broken.says("site.half_a_position"), "site 2 latitude", "longitude ?")


def test_half_a_grid_position_is_an_error() -> None:
    broken = a_sound_record().but("site", easting_m="500000")
    only(broken.says("site.half_a_position"), "site 2 easting_m", "500000")


def test_coordinates_need_their_uncertainty() -> None:
    """Darwin Core, coordinateUncertaintyInMeters."""
    broken = a_sound_record().but("site", coordinate_uncertainty_m=None)
    only(broken.says("site.no_uncertainty"), "coordinate_uncertainty_m", "56")


def test_degrees_need_their_coordinate_system() -> None:
    """Darwin Core, geodeticDatum."""
    broken = a_sound_record().but("site", geodetic_epsg=None)
    only(broken.says("site.no_coordinate_system"), "site 2 geodetic_epsg")


def test_eastings_need_their_coordinate_system() -> None:
    broken = a_sound_record().but("site", grid_epsg=None, easting_m="500000", northing_m="6206000")
    only(broken.says("site.no_coordinate_system"), "site 2 grid_epsg")
    without_a_grid = a_sound_record().but("site", grid_epsg=None)
    assert without_a_grid.says("site.no_coordinate_system") == []


def test_a_code_that_epsg_does_not_have_is_an_error() -> None:
    """EPSG data set: WGS 84 / UTM has the codes 32601-32660 and 32701-32760."""
    broken = a_sound_record().but("site", grid_epsg="32661")
    assert broken.says("site.unknown_coordinate_system") == []  # the polar grid next to them
    broken = a_sound_record().but("site", grid_epsg="32699")
    only(broken.says("site.unknown_coordinate_system"), "EPSG 32699", "not in the register")


def test_a_grid_given_as_a_system_in_degrees_is_an_error() -> None:
    broken = a_sound_record().but("site", geodetic_epsg="32631", grid_epsg="4326")
    findings = broken.says("site.unknown_coordinate_system")
    assert [line.split(":")[0] for line in findings] == ["site 2 geodetic_epsg", "site 2 grid_epsg"]
    assert "no geographic system" in findings[0]
    assert "no projected system (WGS 84)" in findings[1]


def test_two_zeros_are_no_position() -> None:
    broken = a_sound_record().but("site", latitude="0", longitude="0")
    only(broken.says("site.null_island"), "HOLL")


def test_a_latitude_beyond_ninety_was_exchanged_with_the_longitude() -> None:
    """ISO 6709: a latitude is never beyond 90 degrees."""
    broken = a_sound_record().but("site", latitude="151.2", longitude="-33.1", grid_epsg="32756")
    only(broken.says("site.coordinates_exchanged"), "151.2", "no latitude beyond 90")


def test_exchanged_coordinates_are_told_by_the_grid() -> None:
    broken = a_sound_record().but("site", latitude="3.2", longitude="56")
    only(broken.says("site.coordinates_exchanged"), "only exchanged", "EPSG 32631")
    assert broken.says("site.another_grid_zone") == []


@pytest.mark.parametrize("zone", range(1, 61))
def test_the_middle_of_each_utm_zone_lies_in_its_grid(zone: int) -> None:
    """EPSG: zone z is 6 degrees wide round 6 z - 183; 32600 + z north, 32700 + z south."""
    middle = 6 * zone - 183
    for code, latitude in ((32600 + zone, 40), (32700 + zone, -40)):
        sound = a_sound_record().but("site", latitude=latitude, longitude=middle, grid_epsg=code)
        assert sound.says("site.another_grid_zone") == []
        astray = sound.but("site", longitude=(middle + 12 + 180) % 360 - 180)
        # where the two figures exchanged would fit, that is the likelier reason
        said = astray.says("site.another_grid_zone") + astray.says("site.coordinates_exchanged")
        only(said, f"EPSG {code}")


def test_a_site_just_across_the_edge_of_a_zone_may_keep_its_neighbours_grid() -> None:
    assert a_sound_record().but("site", longitude="6.2").says("site.another_grid_zone") == []


def test_a_longitude_that_lost_its_minus_lies_in_another_zone() -> None:
    broken = a_sound_record().but("site", latitude="40", longitude="109", grid_epsg="32612")
    only(broken.says("site.another_grid_zone"), "longitude 109", "-114 to -108")


def test_grid_and_degrees_of_one_place_agree() -> None:
    """IOGP Guidance Note 7-2: in the middle of a zone the easting is 500 000 m, and the scale
    0.9996; the equator has northing 0."""
    at_zero = {"latitude": "0", "longitude": "3", "easting_m": "500000", "northing_m": "0"}
    assert a_sound_record().but("site", **at_zero).says("site.grid_and_degrees_disagree") == []


@pytest.mark.parametrize("easting", ["510000", "50000"])
def test_a_lost_or_changed_figure_in_the_easting_is_reported(easting: str) -> None:
    broken = a_sound_record().but(
        "site", latitude="0", longitude="3", easting_m=easting, northing_m="0"
    )
    only(broken.says("site.grid_and_degrees_disagree"), f"Easting {easting}", "km from")


def test_a_grid_position_off_the_earth_is_reported_too() -> None:
    """It counts as the south pole; from there to 56 degrees north are 16,210 km of meridian, on a
    sphere of the earth's mean radius of 6371.0 km 16,234."""
    broken = a_sound_record().but("site", easting_m="9e12", northing_m="9e12")
    only(broken.says("site.grid_and_degrees_disagree"), " lie 162", "km from its latitude")


@pytest.mark.parametrize(
    ("longitude", "latitude", "told"),
    [
        ("6.5", "56", False),
        ("6.51", "56", True),
        ("-0.5", "56", False),
        ("-0.51", "56", True),
        ("3", "84.5", False),
        ("3", "84.51", True),
        ("3", "-0.5", False),
        ("3", "-0.51", True),
        ("3.2", "90", True),
        ("3.2", "90.1", False),  # no latitude at all, which another rule says
    ],
)
def test_a_site_may_lie_half_a_degree_beyond_the_edge_of_its_grid(
    longitude: str, latitude: str, told: bool
) -> None:
    """EPSG 32631 is for 0 to 6 degrees east and 0 to 84 degrees north."""
    record = a_sound_record().but("site", longitude=longitude, latitude=latitude)
    assert bool(record.says("site.another_grid_zone")) is told


@pytest.mark.parametrize(
    ("longitude", "told"),
    [
        ("179.9", False),
        ("-179.9", False),
        ("176.31", False),
        ("176.3", True),
        ("-177.65", False),
        ("-177.64", True),
    ],
)
def test_a_grid_may_reach_across_the_date_line(longitude: str, told: bool) -> None:
    """EPSG 3460 is for 176.81 degrees east to 178.15 degrees west."""
    record = a_sound_record().but("site", latitude="-17", longitude=longitude, grid_epsg="3460")
    assert bool(record.says("site.another_grid_zone")) is told


@pytest.mark.parametrize(
    ("easting", "uncertainty", "told"),
    [
        ("500999", "0", False),
        ("501000", "0", True),
        ("501000", "", True),
        ("501000", "1", False),
        ("501400", "500", False),
        ("501500", "500", True),
    ],
)
def test_the_zero_point_of_a_grid_may_lie_a_kilometre_from_the_site(
    easting: str, uncertainty: str, told: bool
) -> None:
    """IOGP Guidance Note 7-2: scale 0.9996 in the middle of a zone, so 1000 m of easting are
    1000.4 m, and 1500 m are 1500.6 m."""
    record = a_sound_record().but(
        "site",
        latitude="0",
        longitude="3",
        easting_m=easting,
        northing_m="0",
        coordinate_uncertainty_m=uncertainty,
    )
    assert bool(record.says("site.grid_and_degrees_disagree")) is told


@pytest.mark.parametrize(
    ("latitude", "longitude", "told"),
    [("90", "10", 0), ("90.1", "90", 1), ("-90.1", "90", 1), ("90.1", "90.1", 0)],
)
def test_a_latitude_is_never_beyond_ninety(latitude: str, longitude: str, told: int) -> None:
    """ISO 6709."""
    record = a_sound_record().but("site", latitude=latitude, longitude=longitude, grid_epsg="32633")
    assert len(record.says("site.coordinates_exchanged")) == told


def test_an_exchange_at_the_pole_is_told_once() -> None:
    """EPSG 32646 is for 90 to 96 degrees east; its grid alone tells the exchange at 90."""
    at_ninety = a_sound_record().but("site", latitude="90", longitude="10", grid_epsg="32646")
    only(at_ninety.says("site.coordinates_exchanged"), "only exchanged")
    beyond = at_ninety.but("site", latitude="90.4")
    only(beyond.says("site.coordinates_exchanged"), "no latitude beyond 90")


@pytest.mark.parametrize(("latitude", "longitude"), [("0", "3"), ("56", "0")])
def test_a_single_zero_is_a_position(latitude: str, longitude: str) -> None:
    record = a_sound_record().but("site", latitude=latitude, longitude=longitude)
    assert record.says("site.null_island") == []

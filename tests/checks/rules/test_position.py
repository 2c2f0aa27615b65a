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
    broken = a_sound_record().but("site", easting_m="9e12", northing_m="9e12")
    only(broken.says("site.grid_and_degrees_disagree"), "km from its latitude")

"""The declination of the day on which a bearing was taken."""

from __future__ import annotations

import math

import numpy as np
import pytest

from provenance._record.declination import Declinations, decimal_year, declinations_of_sites

SITE = ("HOLL", 4.5, "2024-06-03", None)


def dated(*pairs: tuple[str, float | None]) -> list[tuple[str, float | None, str]]:
    """Rows of the table 'declination'."""
    return [("HOLL", degrees, day) for day, degrees in pairs]


def test_a_declination_lies_on_the_line_between_the_recorded_days_around_it() -> None:
    """Whatever the order of the rows; outside them it is that of the nearest day."""
    rng = np.random.default_rng(3)
    for _ in range(50):
        days = sorted(rng.choice(36500, 3, replace=False).tolist())
        first, middle, last = (str(np.datetime64("1950-01-01") + day) for day in days)
        low, high = rng.uniform(-180, 180, 2)
        rows = dated((last, high), (first, low))
        told, away = declinations_of_sites([SITE], rows)["HOLL"].on(middle)
        share = (days[1] - days[0]) / (days[2] - days[0])
        near = 0.03 * abs(high - low) / max((days[2] - days[0]) / 365.25, 0.03)
        assert told == pytest.approx(low + share * (high - low), abs=near)
        years = min(days[1] - days[0], days[2] - days[1]) / 365.25
        assert away == pytest.approx(years, abs=0.03)
        of_site = declinations_of_sites([SITE], dated((middle, low), (last, high)))
        assert of_site["HOLL"].on(first)[0] == pytest.approx(low)


def test_one_declination_holds_for_any_day_and_several_for_none_unknown() -> None:
    only = declinations_of_sites([SITE], [])["HOLL"]
    assert only.on("2034-06") == pytest.approx((4.5, 10.0), abs=0.05)
    value, away = only.on("")
    assert (value, math.isnan(away)) == (4.5, True)
    undated = declinations_of_sites([("HOLL", 4.5, "", None)], [])["HOLL"]
    assert undated.on("2034-06")[0] == 4.5
    assert math.isnan(undated.on("2034-06")[1])
    several = declinations_of_sites([SITE], dated(("2020", 1), ("2026", 2), ("soon", 9)))
    assert math.isnan(several["HOLL"].on("")[0])
    assert several["HOLL"].on("2023")[0] == pytest.approx(1.5)
    assert all(math.isnan(one) for one in Declinations().on("2024"))


def test_what_has_a_day_goes_before_the_one_figure_of_the_site() -> None:
    assert declinations_of_sites([SITE], dated(("2026", -3)))["HOLL"].on("2024")[0] == -3
    for unreadable in (None, math.nan):
        assert declinations_of_sites([SITE], dated(("2026", unreadable)))["HOLL"].degrees == (4.5,)
        assert not declinations_of_sites([("HOLL", unreadable, "2024", "2024")], [])
    assert math.isnan(decimal_year("on a Sunday"))

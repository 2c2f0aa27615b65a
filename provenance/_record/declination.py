"""Finds the magnetic declination of a day between the days that it is recorded for.

No model of the earth's field is built in: the crew looks the declination up and says where.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from provenance._base.errors import UnreadableValue
from provenance._model.edtf import bounds

FAR_YEARS = 5.0
"""Beyond so many years from any recorded day a declination may be off by more than a compass is.

It changes by up to about 0.2 degrees a year where people live, and a hand compass is good to 1
degree. Common practice, no source.
"""

DECLINATION_REMEDY = (
    "Look the declination up for the days of these bearings, and enter it with the day in the "
    "table declination."
)


@dataclass(frozen=True)
class Declinations:
    """What is recorded for one site: years (as 2024.5, in order, NaN for no day) and degrees."""

    years: tuple[float, ...] = ()
    degrees: tuple[float, ...] = ()

    def on(self, day: str) -> tuple[float, float]:
        """The declination on a day (EDTF), and how many years the nearest recorded day is away.

        In degrees, east positive; interpolated linearly in time, before the first and after the
        last recorded day the same as there, and a single one as it stands. NaN where none is
        recorded, or several are and the day is not known; the years are NaN for an unknown day.
        """
        if not self.years:
            return math.nan, math.nan
        year = decimal_year(day)
        if len(self.years) == 1:
            return self.degrees[0], abs(year - self.years[0])
        away = min(abs(year - one) for one in self.years)
        return float(np.interp(year, self.years, self.degrees)), away


def declinations_of_sites(
    sites: Iterable[tuple[str | None, float | None, str | None, str | None]],
    dated: Iterable[tuple[str | None, float | None, str | None]],
) -> Mapping[str, Declinations]:
    """Site code → its declinations, where it has any.

    `sites` are code, degrees, first and last day of the visit (EDTF) of each site, `dated` are code
    of the site, degrees and day of each row of the table 'declination'. What has a day goes before
    the one figure of the site, which holds for its visit.
    """
    pairs: defaultdict[str, list[tuple[float, float]]] = defaultdict(list)
    for site_id, degrees, day in dated:
        if degrees is not None and math.isfinite(degrees):
            pairs[site_id or ""].append((decimal_year(day or ""), degrees))
    for site_id, degrees, *visit in sites:
        if degrees is not None and math.isfinite(degrees) and (site_id or "") not in pairs:
            ends = [decimal_year(day or "") for day in visit]
            known = [one for one in ends if math.isfinite(one)]
            year = sum(known) / len(known) if known else math.nan
            pairs[site_id or ""].append((year, degrees))
    found = {}
    for site_id, all_ in pairs.items():
        # of several, one without a day says nothing about any day
        told = sorted(one for one in all_ if math.isfinite(one[0])) if len(all_) > 1 else all_
        found[site_id] = Declinations(*(tuple(part) for part in zip(*told, strict=True)))
    return found


def decimal_year(day: str) -> float:
    """The middle of what an EDTF date allows, as a year with decimals; NaN for no date.

    >>> decimal_year("2024"), decimal_year("2024-07-01/..")
    (2024.5, 2024.5)
    """
    try:
        ends = [one for one in bounds(day) if one is not None]
    except UnreadableValue:
        return math.nan
    years = [one.year + (one.month - 1) / 12 + (one.day - 1) / 365.25 for one in ends]
    return round(sum(years) / len(years), 2) if years else math.nan

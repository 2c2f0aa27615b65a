"""Brings the tables that a survey needs into one place, with rows numbered from nought."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from provenance._base.errors import UnusableInput
from provenance._survey.parts.observation import Floats, Ints

if TYPE_CHECKING:
    import pandas as pd

    from provenance._record.package import Package

__all__ = ["FieldRecord", "numbers", "read_field_record"]

_TABLES = ("site", "place", "datum", "tie", "element", "sample")


def numbers(frame: pd.DataFrame, name: str) -> Floats:
    """A column of a text table as numbers (n,), NaN where nothing readable is written."""
    import pandas as pd

    if name not in frame or (frame[name] == "").all():
        return np.full(len(frame), np.nan)
    return pd.to_numeric(frame[name], errors="coerce").to_numpy(dtype=float, na_value=np.nan)


@dataclass(frozen=True)
class FieldRecord:
    """The tables as texts; the index of each is the record number in its file.

    Points are numbered: end a of element i is 2i, end b is 2i + 1, the hole of sample j is 2E + j
    with E the number of elements.
    """

    site: pd.DataFrame
    place: pd.DataFrame
    datum: pd.DataFrame
    tie: pd.DataFrame
    element: pd.DataFrame
    sample: pd.DataFrame

    @property
    def n_ends(self) -> int:
        """Number of element ends, which come first among the points."""
        return 2 * len(self.element)

    @property
    def n_points(self) -> int:
        """Number of points that can be tied."""
        return self.n_ends + len(self.sample)

    def number_of(self, table: str, ids: pd.Series) -> Ints:
        """Row numbers (n,) in a table for keys; -1 for a blank or unknown one."""
        import pandas as pd

        keys = pd.Index(getattr(self, table)[f"{table}_id"])
        # of two rows with one key the check speaks; here the first one counts
        unique = keys.drop_duplicates()
        place = np.flatnonzero(~keys.duplicated())
        found = unique.get_indexer(pd.Index(ids))
        return np.asarray(np.append(place, -1)[found], dtype=np.int64)

    def point_name(self, point: int) -> str:
        """What a person calls a point: 'end a of B1-014', 'the hole of 231'."""
        if point < self.n_ends:
            return f"end {'ab'[point % 2]} of {self.element['element_id'].iloc[point // 2]}"
        return f"the hole of {self.sample['sample_id'].iloc[point - self.n_ends]}"

    def point_row(self, point: int) -> tuple[str, int, str]:
        """Table, record number and key of the row that a point belongs to."""
        if point < self.n_ends:
            frame, at, table = self.element, point // 2, "element"
        else:
            frame, at, table = self.sample, point - self.n_ends, "sample"
        return table, int(frame.index[at]), str(frame[f"{table}_id"].iloc[at])

    def place_of(self, point: int) -> str:
        """Code of the place that the wood of a point is in, '' when none is recorded."""
        at = point // 2
        if point >= self.n_ends:
            of = self.sample["element_id"].iloc[[point - self.n_ends]]
            at = int(self.number_of("element", of)[0])
        return str(self.element["place_id"].iloc[at]) if at >= 0 else ""

    @cached_property
    def _parents(self) -> dict[str, tuple[int, str]]:
        """Row number and larger place of each place; of two rows with one code the first."""
        pairs = zip(self.place["place_id"], self.place["parent_place_id"], strict=True)
        parents: dict[str, tuple[int, str]] = {}
        for at, (place_id, parent) in enumerate(pairs):
            parents.setdefault(str(place_id), (at, str(parent)))
        return parents

    def line_of_places(self, place_id: str) -> list[int]:
        """Row numbers of a place and the larger places round it, smallest first."""
        line: list[int] = []
        while place_id in self._parents:
            at, parent = self._parents[place_id]
            if at in line:
                break  # a place inside itself; the check reports it
            line.append(at)
            place_id = parent
        return line

    @cached_property
    def storeys(self) -> dict[str, int]:
        """Storey number of each place, taken from the larger place where blank."""
        own = numbers(self.place, "level")
        storeys = {}
        for place_id in self._parents:
            known = [own[at] for at in self.line_of_places(place_id) if np.isfinite(own[at])]
            if known:
                storeys[place_id] = int(known[0])
        return storeys

    def floor_heights(self) -> dict[str, float]:
        """Height of the floor of each place in m, taken from the larger place where blank."""
        own = numbers(self.place, "floor_height_m")
        heights = {}
        for place_id in self.place["place_id"]:
            known = [own[at] for at in self.line_of_places(place_id) if np.isfinite(own[at])]
            if known:
                heights[str(place_id)] = float(known[0])
        return heights

    def recorded_ends(self) -> tuple[Floats, Floats]:
        """Coordinates of the points as the crew wrote them (n, 3), and their 95 % radius (n,)."""
        xyz = np.full((self.n_points, 3), np.nan)
        radius = np.full(self.n_points, np.nan)
        for end, letter in enumerate("ab"):
            for axis, name in enumerate("xyz"):
                xyz[end : self.n_ends : 2, axis] = numbers(self.element, f"{name}{letter}_m")
            radius[end : self.n_ends : 2] = numbers(self.element, "position_uncertainty_m")
        return xyz, radius


def read_field_record(package: Package, site: str | None = None) -> FieldRecord:
    """The tables of a package that a survey reads, of one site or of all.

    Raises UnusableInput when there is no such site.
    """
    frames = {name: package.table(name) for name in _TABLES}
    if site is None:
        return FieldRecord(**frames)
    known = list(frames["site"]["site_id"])
    if site not in known:
        raise UnusableInput(
            f"{package.table_path('site')}: there is no site '{site}'; "
            f"there {'are ' + ', '.join(known) if known else 'is none yet'}"
        )
    frames = {
        name: frame[frame["site_id"] == site] if "site_id" in frame else frame
        for name, frame in frames.items()
    }
    tie = frames["tie"]
    mine = (
        tie["element_id"].isin(frames["element"]["element_id"])
        | tie["sample_id"].isin(frames["sample"]["sample_id"])
        | tie["target_datum_id"].isin(frames["datum"]["datum_id"])
        | tie["from_datum_id"].isin(frames["datum"]["datum_id"])
    )
    return FieldRecord(**{**frames, "tie": tie[mine & (tie["tie_id"] != "")]})

"""Brings the tables that a survey needs into one place, with rows numbered from nought."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
import polars as pl

from provenance._base.errors import UnusableInput
from provenance._model.measures import SI, Measures
from provenance._record.cells import read_numbers
from provenance._record.edition_key import is_public
from provenance._record.package import Package
from provenance._record.snapshot import Row
from provenance._record.tables import ROW, is_blank
from provenance._record.trust import POSITION
from provenance._survey.parts.observation import Floats, Ints

Names = npt.NDArray[np.object_]
BUILDING = "building"
"""The kind of a place that is one."""
SURVEYED = ("site", "place", "datum", "tie", "element", "sample", "declination")
"""The tables that a survey reads; a package of an older version may lack the last."""


@dataclass(frozen=True)
class FieldRecord:
    """The tables as texts, '' for a column that a package of an older version lacks.

    Points are numbered: end a of element i is 2i, end b is 2i + 1, the hole of sample j is 2E + j
    with E the number of elements.

    `grid_a_building` is True for a public edition, in which every building has a grid of its own,
    so that coordinates of two of them say nothing about each other. `measures` is how the record
    says its lengths; all numbers here are SI.
    """

    tables: Mapping[str, pl.DataFrame]
    grid_a_building: bool = False
    measures: Measures = SI
    _numbers: dict[tuple[str, str], Floats] = field(default_factory=dict, repr=False, compare=False)
    _first: dict[str, dict[str, int]] = field(default_factory=dict, repr=False, compare=False)

    # -- cells -------------------------------------------------------------------------------------

    def count(self, table: str) -> int:
        """How many rows a table has."""
        return len(self.tables[table])

    def column(self, table: str, column: str) -> pl.Series:
        """A column as texts (n,)."""
        frame = self.tables[table]
        if column in frame.columns:
            return frame[column]
        return pl.Series(column, [""], dtype=pl.String).new_from_index(0, len(frame))

    def numbers(self, table: str, column: str) -> Floats:
        """A column as numbers (n,), NaN where nothing is written that the check reads as one."""
        key = table, column
        if key not in self._numbers:
            texts = self.column(table, column)
            # most columns of most records are blank
            blank = is_blank(texts)
            read = np.full(len(texts), np.nan) if blank else read_numbers(texts).to_numpy().copy()
            read.flags.writeable = False
            self._numbers[key] = read
        return self._numbers[key]

    def cell(self, table: str, column: str, at: int) -> str:
        """One cell as text."""
        return str(self.column(table, column)[at])

    def row(self, table: str, at: int) -> Row:
        """One row as texts by column."""
        return defaultdict(str, self.tables[table].row(at, named=True))

    def record_number(self, table: str, at: int) -> int:
        """The number that findings call a row by: its place in the file, where the header is 1."""
        return int(self.tables[table][ROW][at])

    # -- keys --------------------------------------------------------------------------------------

    def _rows_by_key(self, table: str) -> dict[str, int]:
        if table not in self._first:
            first: dict[str, int] = {}
            # of two rows with one key the check speaks; here the first one counts
            for at, key in enumerate(self.column(table, f"{table}_id")):
                first.setdefault(key, at)
            first.pop("", None)
            self._first[table] = first
        return self._first[table]

    def find(self, table: str, key: str) -> int:
        """Row number of a key; -1 for a blank or unknown one."""
        return self._rows_by_key(table).get(key, -1)

    def number_of(self, table: str, keys: pl.Series) -> Ints:
        """Row numbers (n,) in a table for keys; -1 for a blank or unknown one."""
        return _looked_up(keys, self._rows_by_key(table))

    def coded(self, table: str, column: str, codes: Sequence[str]) -> Ints:
        """Places (n,) of a column's texts among `codes`, -1 for any other text."""
        places = {code: place for place, code in enumerate(codes)}
        return _looked_up(self.column(table, column), places)

    def site(self, site_id: str) -> Row | None:
        """The row of a site, None for an unknown one."""
        at = self.find("site", site_id)
        return self.row("site", at) if at >= 0 else None

    def grid_north_deg(self, site_id: str) -> float | None:
        """Bearing of the y axis of a site's grid from true north; None where it is not recorded."""
        at = self.find("site", site_id)
        north = float(self.numbers("site", "grid_north_deg")[at]) if at >= 0 else np.nan
        return north if np.isfinite(north) else None

    # -- points ------------------------------------------------------------------------------------

    @property
    def n_ends(self) -> int:
        """Number of element ends, which come first among the points."""
        return 2 * self.count("element")

    @property
    def n_points(self) -> int:
        """Number of points that can be tied."""
        return self.n_ends + self.count("sample")

    @cached_property
    def point_keys(self) -> list[str]:
        """Keys of the points in the table 'position'."""
        elements, samples = (self.column(one, f"{one}_id") for one in ("element", "sample"))
        ends = [f"end:{one}:{side}" for one in elements for side in "ab"]
        return ends + [f"hole:{one}" for one in samples]

    @cached_property
    def datum_keys(self) -> list[str]:
        """Keys of the datums in the table 'position'."""
        return [f"datum:{one}" for one in self.column("datum", "datum_id")]

    @cached_property
    def datum_sites(self) -> Ints:
        """Row number of the site of each datum, as many as there are sites where it has none."""
        return self._sites("datum")

    @cached_property
    def point_sites(self) -> Ints:
        """Row number of the site of each point, as many as there are sites where it has none."""
        ends = np.repeat(self._sites("element"), 2)
        return np.concatenate([ends, self._sites("sample")])

    def _sites(self, table: str) -> Ints:
        site = self.number_of("site", self.column(table, "site_id"))
        return np.where(site < 0, self.count("site"), site)

    def place_in_tables(self, point: int) -> tuple[str, int]:
        """Table and row number of the row that a point belongs to."""
        if point < self.n_ends:
            return "element", point // 2
        return "sample", point - self.n_ends

    def point_name(self, point: int) -> str:
        """What a person calls a point: 'end a of B1-014', 'the hole of 231'."""
        table, at = self.place_in_tables(point)
        key = self.cell(table, f"{table}_id", at)
        return f"end {'ab'[point % 2]} of {key}" if table == "element" else f"the hole of {key}"

    def point_row(self, point: int) -> tuple[str, int, str]:
        """Table, record number and key of the row that a point belongs to."""
        table, at = self.place_in_tables(point)
        return table, self.record_number(table, at), self.cell(table, f"{table}_id", at)

    # -- places ------------------------------------------------------------------------------------

    def place_of(self, point: int) -> str:
        """Code of the place that the wood of a point is in, '' when none is recorded."""
        table, at = self.place_in_tables(point)
        if table == "sample":
            at = self.find("element", self.cell("sample", "element_id", at))
        return self.cell("element", "place_id", at) if at >= 0 else ""

    @cached_property
    def _parents(self) -> dict[str, tuple[int, str]]:
        """Row number and larger place of each place; of two rows with one code the first."""
        pairs = zip(
            *(self.column("place", f"{one}place_id") for one in ("", "parent_")), strict=True
        )
        parents: dict[str, tuple[int, str]] = {}
        for at, (place_id, parent) in enumerate(pairs):
            parents.setdefault(place_id, (at, parent))
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

    def places_round(self, place_id: str) -> list[str]:
        """Codes of a place and the larger places round it, smallest first."""
        return [self.cell("place", "place_id", at) for at in self.line_of_places(place_id)]

    # -- buildings ---------------------------------------------------------------------------------

    @cached_property
    def buildings(self) -> dict[str, str]:
        """The building that each place is or lies in: the outermost, else the outermost place."""
        kinds = self.column("place", "kind")
        found = {}
        for place_id in self._parents:
            line = self.line_of_places(place_id)
            building = next((at for at in reversed(line) if kinds[at] == BUILDING), line[-1])
            found[place_id] = self.cell("place", "place_id", building)
        found.pop("", None)
        return found

    @cached_property
    def _only_building(self) -> dict[str, str]:
        """The building of each site that has one alone, which then holds what names no place."""
        of_site: dict[str, set[str]] = defaultdict(set)
        for place_id, building in self.buildings.items():
            of_site[self.cell("place", "site_id", self._parents[place_id][0])].add(building)
        return {site: next(iter(all_)) for site, all_ in of_site.items() if len(all_) == 1}

    @cached_property
    def buildings_of_rows(self) -> Mapping[str, Names]:
        """The building of each row of 'element' and 'datum', '' where none can be told."""
        found = {}
        for table in ("element", "datum"):
            pairs = zip(self.column(table, "place_id"), self.column(table, "site_id"), strict=True)
            named = [
                self.buildings.get(place) or self._only_building.get(site, "")
                for place, site in pairs
            ]
            found[table] = np.array(named, dtype=object)
        return found

    def on_grid_of(self, table: str, element: int) -> npt.NDArray[np.bool_]:
        """Which rows of 'element' or 'datum' have coordinates on the grid of that wood (a row)."""
        of_site = self.column(table, "site_id") == self.cell("element", "site_id", element)
        same: npt.NDArray[np.bool_] = of_site.to_numpy().copy()
        if self.grid_a_building:
            building = self.buildings_of_rows["element"][element]
            same &= (self.buildings_of_rows[table] == building) & bool(building)
            if table == "element":
                same[element] = True  # wood in no building has a grid that is its alone
        return same

    def _nearest(self, column: str) -> dict[str, float]:
        """A number of each place, taken from the larger place where blank."""
        own = self.numbers("place", column)
        found = {}
        for place_id in self._parents:
            known = [own[at] for at in self.line_of_places(place_id) if np.isfinite(own[at])]
            if known:
                found[place_id] = float(known[0])
        return found

    @cached_property
    def storeys(self) -> dict[str, int]:
        """Storey number of each place, taken from the larger place where blank."""
        return {place_id: int(level) for place_id, level in self._nearest("level").items()}

    @cached_property
    def floor_heights(self) -> dict[str, float]:
        """Height of the floor of each place in m, taken from the larger place where blank."""
        return self._nearest("floor_height_m")

    def recorded_ends(self) -> tuple[Floats, Floats]:
        """Coordinates of the points as the crew wrote them (n, 3), and their 95 % radius (n,)."""
        xyz = np.full((self.n_points, 3), np.nan)
        radius = np.full(self.n_points, np.nan)
        for end, letter in enumerate("ab"):
            for axis, name in enumerate("xyz"):
                xyz[end : self.n_ends : 2, axis] = self.numbers("element", f"{name}{letter}_m")
            radius[end : self.n_ends : 2] = self.numbers("element", "position_uncertainty_m")
        return xyz, radius


def _looked_up(texts: pl.Series, places: Mapping[str, int]) -> Ints:
    """What `places` says of each text, -1 for others; the columns are short, and asked often."""
    found = (places.get(text, -1) for text in texts.to_list())
    return np.fromiter(found, np.int64, len(texts))


def read_field_record(package: Package, site: str | None = None) -> FieldRecord:
    """The tables of a package that a survey reads, of one site or of all.

    Raises UnusableInput when there is no such site.
    """
    # a package of an older version has not all of them
    there = set(package.model.tables)
    if POSITION in there:
        # what is surveyed is written and read by this; schemas that lost it are told of here
        package.model.table(POSITION).field("found_by")
    tables = {
        name: package.tables.texts(name) if name in there else pl.DataFrame({ROW: []})
        for name in SURVEYED
    }
    record = FieldRecord(tables, is_public(package), package.model.measures)
    if site is None:
        return record
    known = record.column("site", "site_id").to_list()
    if site not in known:
        raise UnusableInput(
            f"{package.table_path('site')}: there is no site '{site}'; "
            f"there {'are ' + ', '.join(known) if known else 'is none yet'}"
        )
    mine = {
        name: frame.filter(frame["site_id"] == site) if "site_id" in frame.columns else frame
        for name, frame in record.tables.items()
    }
    chosen = FieldRecord(mine, measures=record.measures)
    tied = np.zeros(record.count("tie"), dtype=bool)
    for column in ("element_id", "sample_id", "target_datum_id", "from_datum_id"):
        table = column.removesuffix("_id").split("_")[-1]
        tied |= chosen.number_of(table, record.column("tie", column)) >= 0
    tied &= (record.column("tie", "tie_id") != "").to_numpy()
    with_ties = {**mine, "tie": record.tables["tie"].filter(tied)}
    return FieldRecord(with_ties, record.grid_a_building, record.measures)

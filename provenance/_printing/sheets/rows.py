"""Chooses the rows of a package that sheets are filled in with."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from provenance._base.errors import TreenailError
from provenance._identity.naming import SampleNames
from provenance._identity.selection import select_samples
from provenance._ledger.inside import samples_inside
from provenance._record.package import Package
from provenance._record.snapshot import Row
from provenance._record.tables import ROW

NOT_OF_A_SITE = frozenset({"party"})
"""People and organizations belong to every site."""


@dataclass(frozen=True)
class ChosenRows:
    """The rows of a package that belong to one site and to the selections, table by table.

    `samples` ('201-245,260') limits samples and their plugs, `elements` the timbers.
    """

    package: Package
    site: str | None = None
    samples: str | None = None
    elements: str | None = None
    _kept: dict[str, list[tuple[int, Row]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Raise TreenailError when the site is not in the package."""
        known = self.package.tables.column("site", "site_id")
        if self.site is not None and self.site not in known:
            names = ", ".join(known) or "none yet"
            raise TreenailError(f"there is no site '{self.site}'; there are {names}")

    def of(self, table: str) -> list[tuple[int, Row]]:
        """The chosen rows of a table, each with its record number (the header is 1)."""
        if table not in self._kept:
            self._kept[table] = self._choose(table)
        return self._kept[table]

    @cached_property
    def only_site(self) -> str:
        """The code of the site when there is only one, to be printed on blanks; else ''."""
        codes = [row["site_id"] for _, row in self.of("site")]
        return codes[0] if len(codes) == 1 else ""

    @cached_property
    def length_of_wood_m(self) -> dict[str, float]:
        """The length of each timber that has one, by its code."""
        known = self.package.tables["element"].select("element_id", "length_m").drop_nulls()
        return dict(known.iter_rows())

    @cached_property
    def samples_of(self) -> dict[str, list[str]]:
        """The samples of each timber, in the order of the table."""
        found: dict[str, list[str]] = {}
        for row in self.package.tables.rows("sample"):
            found.setdefault(row["element_id"], []).append(row["sample_id"])
        return found

    def around(self, sample: Row) -> dict[str, Row]:
        """The rows that a core sheet shows, by table: the sample, its timber, its plug."""
        timber = self._elements.get(sample["element_id"])
        plug = self._plugs.get(sample["sample_id"])
        found = (("sample", sample), ("element", timber), ("plug", plug))
        return {table: row for table, row in found if row is not None}

    @cached_property
    def _elements(self) -> dict[str, Row]:
        return {row["element_id"]: row for row in self.package.tables.rows("element")}

    @cached_property
    def _plugs(self) -> dict[str, Row]:
        """The plug of each sample; of several the last that no other replaced."""
        rows = self.package.tables.rows("plug")
        return {row["sample_id"]: row for row in rows if not row["replaced_by_plug_id"]}

    def _keys(self, table: str) -> set[str]:
        name = self.package.model.table(table).primary_key[0]
        return {row[name] for _, row in self.of(table)}

    def _choose(self, table: str) -> list[tuple[int, Row]]:
        tables = self.package.tables
        rows = list(zip(tables.texts(table)[ROW], tables.rows(table), strict=True))
        if self.site is not None and table not in NOT_OF_A_SITE:
            rows = [(number, row) for number, row in rows if self._of_site(table, row)]
        selection = {"sample": self.samples, "element": self.elements}.get(table)
        if selection is not None:
            key = self.package.model.table(table).primary_key[0]
            by_key = {row[key]: (number, row) for number, row in rows}
            if table == "sample":
                names = SampleNames.of(tables)
                chosen = select_samples(
                    list(by_key),
                    selection,
                    names,
                    inside=lambda code: samples_inside(tables, code).samples,
                )
            else:
                chosen = select_samples(list(by_key), selection, noun="timber")
            rows = [by_key[code] for code in chosen]
        if table == "plug" and self.samples is not None:
            wanted = self._keys("sample")
            rows = [(number, row) for number, row in rows if row["sample_id"] in wanted]
        return rows

    def _of_site(self, table: str, row: Row) -> bool:
        if "site_id" in row:
            return row["site_id"] == self.site
        for key in self.package.model.table(table).foreign_keys:
            if key.table in NOT_OF_A_SITE or key.table == table:
                continue
            if code := row[key.fields[0]]:
                return code in self._keys(key.table)
        return True

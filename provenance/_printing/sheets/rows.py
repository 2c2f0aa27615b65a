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
"""People and organisations belong to every site."""


@dataclass(frozen=True)
class ChosenRows:
    """The rows of a package that belong to one site and to the selections, table by table.

    `samples` ('201-245,260') limits samples and their plugs, `elements` the pieces of wood.
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
        """The length of each piece of wood that has one, by its code."""
        known = self.package.tables["element"].select("element_id", "length_m").drop_nulls()
        return dict(known.iter_rows())

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
                chosen = select_samples(list(by_key), selection, noun="piece of wood")
            rows = [by_key[code] for code in chosen]
        if table == "plug" and self.samples is not None:
            wanted = self._keys("sample")
            rows = [(number, row) for number, row in rows if row["sample_id"] in wanted]
        return rows

    def _of_site(self, table: str, row: Row) -> bool:
        if "site_id" in row:
            return row["site_id"] == self.site
        if table == "file":
            return self._about_site(row)
        for key in self.package.model.table(table).foreign_keys:
            if key.table in NOT_OF_A_SITE or key.table == table:
                continue
            if code := row[key.fields[0]]:
                return code in self._keys(key.table)
        return True

    def _about_site(self, row: Row) -> bool:
        """A file is of the site of the row that it is about; one about nothing is of every site."""
        table, code = row["about_table"], row["about_id"]
        if not code or table not in self.package.model.tables or table in ("file", *NOT_OF_A_SITE):
            return True
        return code in self._keys(table)

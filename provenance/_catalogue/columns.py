"""Describes every table and column of the catalogue, as schemas/catalogue.yaml has them.

The same words stand in the database itself, in the table `description`, for whoever opens it with
any SQLite program.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._bundle.describe.plain_text import text_template

CATALOGUE_VERSION = 4


@dataclass(frozen=True)
class CatalogueTable:
    """One table; `columns` map each name to its SQL type with constraints and what it means.

    `more` are table constraints, `indexes` the columns of each index. `view` is the query of one
    that is no table of its own, `like` the table whose columns it begins with.
    """

    name: str
    meaning: str
    columns: Mapping[str, tuple[str, str]]
    more: str = ""
    indexes: tuple[str, ...] = ()
    view: str = ""
    like: str = ""

    @property
    def statements(self) -> tuple[str, ...]:
        """The SQL that makes it."""
        if self.view:
            return (f"CREATE VIEW {self.name} AS {self.view}",)
        columns = [f"{name} {kind}" for name, (kind, _) in self.columns.items()]
        parts = ", ".join(columns + ([self.more] if self.more else []))
        made = [f"CREATE TABLE {self.name} ({parts})"]
        for number, index in enumerate(self.indexes, start=1):
            names, where, which = index.partition(" WHERE ")
            index_name = f"{self.name}_{number}"
            made.append(f"CREATE INDEX {index_name} ON {self.name} ({names}){where}{which}")
        return tuple(made)


@cache
def catalogue_tables() -> tuple[CatalogueTable, ...]:
    """The tables and views in the order in which they are made."""
    found: dict[str, CatalogueTable] = {}
    for one in read_yaml(shipped("schemas") / "catalogue.yaml"):
        if "like" in one:
            one["columns"] = {**found[one["like"]].columns, **one["columns"]}
        found[one["name"]] = CatalogueTable(**one)
    return tuple(found.values())


def catalogue_text() -> str:
    """The tables in words, as Markdown, with queries to start from."""
    return text_template("catalogue/catalogue.md").render(tables=catalogue_tables())

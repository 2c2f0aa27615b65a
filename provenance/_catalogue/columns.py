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

CATALOGUE_VERSION = 3


@dataclass(frozen=True)
class CatalogueTable:
    """One table; `columns` map each name to its SQL type with constraints and what it means.

    `more` are table constraints, `indexes` the columns of each index.
    """

    name: str
    meaning: str
    columns: Mapping[str, tuple[str, str]]
    more: str = ""
    indexes: tuple[str, ...] = ()


@cache
def catalogue_tables() -> tuple[CatalogueTable, ...]:
    """The tables in the order in which they are made."""
    return tuple(CatalogueTable(**one) for one in read_yaml(shipped("schemas") / "catalogue.yaml"))


def catalogue_text() -> str:
    """The tables in words, as Markdown, with queries to start from."""
    return text_template("catalogue/catalogue.md").render(tables=catalogue_tables())

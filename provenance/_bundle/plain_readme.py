"""Writes README.txt: how to read the bundle with nothing but a text editor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from provenance._bundle.deposit.files import deposit_forms
from provenance._bundle.describe.citation import keeper
from provenance._bundle.describe.contents import Contents
from provenance._bundle.describe.editions import Edition
from provenance._bundle.describe.plain_text import WIDTH, flat, text_template
from provenance._record.origin import Ancestor
from provenance._record.package import Package


def plain_readme(
    package: Package,
    contents: Contents,
    edition: Edition,
    *,
    day: str,
    rows: Mapping[str, int],
    earlier: Sequence[Ancestor] = (),
) -> str:
    """The text of README.txt of a bundle; `rows` maps each table to its row count.

    `earlier` are the bundles that this one goes on from, newest first.
    """
    tables = package.model.tables
    forms = sorted(deposit_forms(), key=lambda one: not one.people_read)
    return text_template("bundle/readme.txt").render(
        title=flat(package.title),
        width=WIDTH,
        name=package.name,
        edition=edition,
        day=day,
        earlier=earlier,
        forms=[one.readme for one in forms if one.readme],
        keeper=_keeper_in_words(package, edition),
        tables=tables.values(),
        rows=rows,
        sealed="custody" in tables and not edition.is_public,
        contents=contents,
        cautions=package.model.cautions,
    )


def _keeper_in_words(package: Package, edition: Edition) -> str:
    """The keeper with the addresses that this edition has of it, '' where none may be named."""
    one = keeper(package)
    if one is None or (edition.is_public and not one.named):
        return ""
    row = next(row for row in package.tables.rows("party") if row["party_id"] == one.party_id)
    ways = [row[name] for name in ("postal_address", "email") if row[name]]
    return f"{one.name}, {'; '.join(ways)}" if ways else one.name

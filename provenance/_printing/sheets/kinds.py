"""Names the kinds of sheets that there are, and what table each one asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from provenance._base.errors import TreenailError


@dataclass(frozen=True)
class SheetKind:
    """One kind: `layout` is 'cover', 'form' (a row a sheet), 'ledger' (many) or 'grid'.

    `tables` are asked for in that order; `title` heads the page ('' for the table's own title).
    """

    name: str
    title: str
    layout: str
    tables: tuple[str, ...]


SHEETS = (
    SheetKind("cover", "Before you begin", "cover", ("site",)),
    SheetKind("site", "Site", "form", ("site",)),
    SheetKind("party", "", "ledger", ("party",)),
    SheetKind("place", "", "ledger", ("place",)),
    SheetKind("tie", "", "ledger", ("datum", "tie")),
    SheetKind("element", "Piece of wood", "form", ("element",)),
    SheetKind("ledger", "Ledger of pieces of wood", "ledger", ("element",)),
    SheetKind("sample", "Sample", "form", ("sample",)),
    SheetKind("plug", "Plug register", "ledger", ("plug",)),
    SheetKind("photo", "Photo and file log", "ledger", ("file",)),
    SheetKind("grid", "Plan grid", "grid", ("file",)),
)
"""Every kind in the order in which a crew needs them; a plan on the grid becomes a row of file."""


def sheets_named(names: Sequence[str]) -> list[SheetKind]:
    """The kinds of those names in the order of SHEETS; 'all' or no name is every kind.

    Raises TreenailError that lists the names.
    """
    known = [kind.name for kind in SHEETS]
    for name in names:
        if name != "all" and name not in known:
            raise TreenailError(f"there is no sheet '{name}'; there are {', '.join(known)} and all")
    everything = not names or "all" in names
    return [kind for kind in SHEETS if everything or kind.name in names]

"""What a sheet is before it is printed: its pages, and a heading that they share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from provenance._printing.sheets.frame import Heading


@dataclass(frozen=True)
class PageDraft:
    """One page: `draw` draws its content on a canvas; `fields` are the schema's fields it asks.

    `keys` are those of the first and last line of a ledger's page, '' on blanks.
    """

    draw: Callable[[Any], None]
    landscape: bool = False
    fields: tuple[str, ...] = ()
    keys: tuple[str, str] = ("", "")


@dataclass(frozen=True)
class SheetSet:
    """Pages that belong together and are counted together: 'page n of m'."""

    heading: Heading
    pages: tuple[PageDraft, ...]

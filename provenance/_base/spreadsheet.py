"""Writes CSV that a person opens in a spreadsheet or on a terminal, whatever a stranger wrote.

A cell that a spreadsheet would take for a formula gets an apostrophe before it, as spreadsheets
write it; hidden and control characters are written out by their numbers. Tables of a record are
written elsewhere, byte for byte. Source: OWASP, 'CSV Injection' (from memory).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import polars as pl

from provenance._base.visible import HIDDEN, visible

if TYPE_CHECKING:
    import pandas as pd

_FORMULA = r"^[=+\-@＝＋－＠\t\n]"
_NUMBER = r"^[-+]?[0-9]*[.,]?[0-9]+(?:[eE][-+]?[0-9]+)?$"


def spreadsheet_csv(frame: pl.DataFrame, *, with_header: bool = True) -> str:
    """The frame as CSV with LF; nothing where there is nothing.

    >>> spreadsheet_csv(pl.DataFrame({"note": ["=1+1", "-0.5", None]}), with_header=False)
    "'=1+1\\n-0.5\\n\\n"
    """
    text = pl.col(pl.String)
    shown = frame.with_columns(
        pl.when(text.str.contains(HIDDEN))
        .then(text.map_elements(visible, return_dtype=pl.String))
        .otherwise(text)
        .name.keep()
    )
    guarded = shown.with_columns(
        pl.when(text.str.contains(_FORMULA) & ~text.str.contains(_NUMBER))
        .then("'" + text)
        .otherwise(text)
        # nothing rather than an empty text, around which this writer puts quotes
        .replace("", None)
        .name.keep()
    )
    return guarded.write_csv(include_header=with_header)


def plain_cell(text: str) -> str:
    """One cell on one line as `spreadsheet_csv` writes it; the same when it is done again.

    >>> plain_cell("=1+1   of two")
    "'=1+1 of two"
    """
    shown = visible(" ".join(text.split()))
    guarded = re.match(_FORMULA, shown) and not re.fullmatch(_NUMBER, shown)
    return f"'{shown}" if guarded else shown


def without_guard(cell: str) -> str:
    """A cell as it was before `plain_cell` kept a spreadsheet from taking it for a formula.

    >>> without_guard(plain_cell("-A1")), without_guard("'twas")
    ('-A1', "'twas")
    """
    guarded = cell[:1] == "'" and plain_cell(cell[1:]) == cell
    return cell[1:] if guarded else cell


def spreadsheet_csv_of(frame: pd.DataFrame) -> str:
    """The same for a frame of pandas, without its index."""
    cells = frame.astype(object).where(frame.notna(), None)
    texts = {
        str(name): [None if one is None else str(one) for one in cells[name]] for name in cells
    }
    return spreadsheet_csv(pl.DataFrame(texts, schema=dict.fromkeys(texts, pl.String)))

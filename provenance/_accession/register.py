"""Keeps the register of accessions: a CSV file to which lines are only ever added."""

from __future__ import annotations

import csv
import io
from dataclasses import astuple, dataclass, fields
from pathlib import Path

import polars as pl

from provenance._base.errors import UnusableInput
from provenance._base.spreadsheet import spreadsheet_csv
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.folders import read_plain
from provenance._gate.refusal import RefusedInput


@dataclass(frozen=True)
class Accession:
    """One line of the register; every value is a text.

    `received_sha256` and `kept_sha256` are the checksums of tagmanifest-sha256.txt of the bundle
    as it came in and as it is kept, with its number in it; each stands for every byte of a bundle.
    `kept_at` and `receipt` are paths from the register's folder. `ledger_head` is the seal of the
    last custody event of the bundle that is kept, and `ledger_events` how many there are;
    `received_head` and `received_events` of the bundle as it came in. All four are blank for a
    public edition, for a record without events, and in lines from before there were these columns.
    """

    number: str
    accessioned_on: str
    bundle: str
    title: str
    edition: str
    record_date: str
    received_sha256: str
    kept_sha256: str
    kept_at: str
    depositor: str
    receipt: str
    ledger_head: str = ""
    ledger_events: str = ""
    received_head: str = ""
    received_events: str = ""


COLUMNS = tuple(one.name for one in fields(Accession))
_FIRST_COLUMNS = COLUMNS[:11]
"""Registers that were begun before the ledger's end stood in them; their lines stay as they are."""
_FILLED = ("number", "accessioned_on", "received_sha256", "kept_sha256")


def read_register(path: Path) -> list[Accession]:
    """The lines of a register in their order; [] when there is none yet.

    Raises UnusableInput that names file, line and column: a register that is not whole must not
    give out numbers.
    """
    if not path.exists():
        return []
    try:
        # a person names it, so it may be a link; what that leads to is a plain file all the same
        text = read_plain(path.resolve(), DEFAULT_BUDGET.most_manifest_bytes).decode("utf-8-sig")
        rows = list(csv.reader(io.StringIO(text, newline="")))
    except (OSError, UnicodeDecodeError, csv.Error, RefusedInput) as error:
        raise UnusableInput(f"{path} is not a readable register: {error}; restore it") from error
    if not rows or tuple(rows[0]) not in (COLUMNS, _FIRST_COLUMNS):
        found = ",".join(rows[0])[:120] if rows else "nothing"
        raise UnusableInput(
            f"{path} is not a register of accessions: its first line is '{found}' and should be "
            f"'{','.join(COLUMNS)}'. Name another file, or restore it from a copy (a program for "
            "spreadsheets may have written it again with other separators)"
        )
    seen: dict[str, int] = {}
    found_rows = []
    for place, row in enumerate(rows[1:], start=2):
        if len(row) not in (len(rows[0]), len(_FIRST_COLUMNS)):
            raise UnusableInput(
                f"{path}, line {place}: it has {len(row)} cells and should have {len(rows[0])}; "
                "restore the register from a copy"
            )
        one = Accession(*row)
        for name in _FILLED:
            if not getattr(one, name):
                raise UnusableInput(
                    f"{path}, line {place}, column '{name}': the cell is blank; restore the "
                    "register from a copy"
                )
        if one.number in seen:
            raise UnusableInput(
                f"{path}, line {place}, column 'number': {one.number} is in line "
                f"{seen[one.number]} as well; find out which is right and restore the register"
            )
        seen[one.number] = place
        found_rows.append(one)
    return found_rows


def find_bundle(register: list[Accession], tagmanifest_sha256: str) -> Accession | None:
    """The accession of a bundle, shown as it came in or as it is kept; None when it is new."""
    for one in register:
        if tagmanifest_sha256 in (one.received_sha256, one.kept_sha256):
            return one
    return None


def register_bytes(path: Path, added: Accession) -> bytes:
    """The register with one line more; the accessions that stand there stay byte for byte.

    The first line of one that was begun without the ledger's end gets the columns for it.
    """
    before = path.read_bytes() if path.exists() else line_of(COLUMNS)
    if not before.endswith(b"\n"):
        before += b"\n"
    names, end, lines = before.partition(b"\n")
    if tuple(next(csv.reader([names.decode("utf-8-sig")]))) == _FIRST_COLUMNS:
        names = names.rstrip(b"\r") + b"," + ",".join(COLUMNS[len(_FIRST_COLUMNS) :]).encode()
    return names + end + lines + line_of(astuple(added))


def line_of(cells: tuple[str, ...]) -> bytes:
    """One line of CSV; line ends inside cells become blanks, so that a line is an accession."""
    one = pl.DataFrame({str(place): " ".join(cell.split()) for place, cell in enumerate(cells)})
    return spreadsheet_csv(one, with_header=False).encode("utf-8")

"""Keeps the scans of a stocktake, each on disk as soon as it is made, and reads what they say."""

from __future__ import annotations

import csv
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from provenance._base.durable import sync_file
from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._base.spreadsheet import plain_cell
from provenance._identity.payload import is_scan, read_scan, split_scans
from provenance._identity.place_code import END, read_place

PLACE, SAMPLE, CLOSED, UNREAD = "place", "sample", "closed", "unread"
FOLDER = "stocktake"


class Scan(NamedTuple):
    """One scan: its kind, the code of a place or the site and number of a sample, and its text.

    A number without a site has a blank site. Of what was not read, `text` says why.
    """

    kind: str
    place_code: str = ""
    site_id: str = ""
    sample_id: str = ""
    text: str = ""


def read_one(text: str) -> Scan:
    """What one scan says; never raises for what cannot be read, since the next one comes at once.

    >>> read_one("TREENAIL HOLL-231-JV").sample_id, read_one("231").kind, read_one("end").kind
    ('231', 'sample', 'closed')
    """
    text = " ".join(text.split())
    # typed by a person who has no label for it
    if text.upper() == END:
        return Scan(CLOSED, text=text)
    try:
        if (code := read_place(text)) is not None:
            return Scan(CLOSED, text=text) if code == END else Scan(PLACE, code, text=text)
        if not is_scan(text):
            return Scan(SAMPLE, sample_id=text, text=text)
        said = read_scan(text)
    except UnreadableValue as error:
        return Scan(UNREAD, text=plain_cell(str(error)))
    if said.inside:
        why = f"'{said.identifier}' is a box of a crew, not a place of the store"
        return Scan(UNREAD, text=why)
    return Scan(SAMPLE, site_id=said.site_id, sample_id=said.sample_id, text=text)


def scans_path(folder: Path, name: str) -> Path:
    """Where the scans of a stocktake lie in a store; raises UnusableInput for a name that cannot
    be one.
    """
    if not name or not all(one.isalnum() or one in "-_" for one in name) or len(name) > 60:
        raise UnusableInput(
            f"'{name}' cannot name a stocktake; use letters, digits and '-', such as 2027-spring"
        )
    return folder / FOLDER / f"{name}.csv"


def keep_scans(path: Path, lines: Iterable[str], *, each: bool = False) -> Iterator[Scan]:
    """Add scans behind those that are kept, and give what each says.

    With `each` a scan is on disk before the next one is asked for: a scanner that types line by
    line loses nothing when the machine stops.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with open(path, "a", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        if not stream.tell():
            writer.writerow(Scan._fields)
        for line in lines:
            for _, text in split_scans(line):
                scan = read_one(text)
                writer.writerow(scan)
                if each:
                    stream.flush()
                    sync_file(stream.fileno())
                yield scan
        stream.flush()
        os.fsync(stream.fileno())


def kept_scans(path: Path) -> Iterator[tuple[str, ...]]:
    """The scans of a stocktake in their order, with the columns of Scan.

    A line that a stopped machine left unfinished at the end is passed over.
    """
    with open(path, encoding="utf-8", newline="") as stream:
        reader = csv.reader(stream)
        if tuple(next(reader, ())) != Scan._fields:
            raise UnusableInput(f"{path} is not a list of scans; restore it, or begin another one")
        for row in reader:
            if len(row) == len(Scan._fields):
                yield tuple(row)

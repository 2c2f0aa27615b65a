"""Makes all files of the demonstration anew, the same bytes each time: python make_demo.py [DIR].

Everything is invented. Nothing here knows the program that reads the files: the record is made
first, and written down as two crews and a laboratory would; see README.md.
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.dont_write_bytecode = True  # this folder travels in the wheel
sys.path.insert(0, str(HERE))

from invention.attempts import attempts_book  # noqa: E402 - found through the path above
from invention.crews import crew1_book, crew2_book  # noqa: E402
from invention.drawings import write_pictures  # noqa: E402
from invention.faults import write_faulted  # noqa: E402
from invention.laboratory import (  # noqa: E402
    enclosures_book,
    first_book,
    report,
    ring_files,
    second_book,
)
from invention.last_day import last_day_books  # noqa: E402
from invention.notebooks import (  # noqa: E402
    assumptions_book,
    custody_book,
    photo_book,
    relations_book,
    site_book,
    tape_book,
)
from invention.tables import Book, write_book  # noqa: E402


def field_books() -> list[Book]:
    """What came back from the field."""
    crews = [site_book(), crew1_book(), crew2_book(), attempts_book()]
    return [*crews, tape_book(), custody_book(), photo_book()]


def evaluation_books() -> list[Book]:
    """What was written down to make sense of the wood; the faulted papers go without."""
    return [relations_book(), assumptions_book()]


def laboratory_books() -> list[Book]:
    """What came back from the laboratory."""
    return [first_book(), second_book(), enclosures_book()]


def make_demo(folder: Path) -> None:
    """Write field/, laboratory/, two_laptops/, files/ and faulted/ below `folder`."""
    for book in (*field_books(), *evaluation_books()):
        write_book(book, folder / "field")
    for book in laboratory_books():
        write_book(book, folder / "laboratory")
    for book in last_day_books():
        write_book(book, folder / "two_laptops")
    (folder / "laboratory" / "ring_widths").mkdir(parents=True, exist_ok=True)
    for name, text in ring_files().items():
        (folder / "laboratory" / "ring_widths" / name).write_text(text, encoding="utf-8")
    (folder / "laboratory" / "report.txt").write_text(report(), encoding="utf-8")
    write_pictures(folder / "files")
    write_faulted(field_books(), laboratory_books(), folder / "faulted")


if __name__ == "__main__":
    make_demo(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)

"""Writes and reads the plain text in the QR code that ties a sheet of paper to its row.

    treenail-sheet 1 element B1-014
    package hollin-reach
    profile log_building

The first line is for machines: a fixed word, the version of this layout, the table, and the key
of the row, '-' where the sheet belongs to no single row (blanks, ledgers). A key that a code cannot
say as it is gives '-' and a line `row` with the record number in the table's file. Layout and words
are this project's own.
"""

from __future__ import annotations

from dataclasses import dataclass

from provenance._base.errors import UnreadableValue
from provenance._identity.payload import one_line

MAGIC = "treenail-sheet"
LAYOUT_VERSION = 1
NO_KEY = "-"
LONGEST_KEY_BYTES = 60
LONGEST_LINE = 40
LONGEST_CODE = 1000
MOST_BYTES = 238
"""What a code of the frame of a sheet (CODE_MM) can hold in UTF-8 and still be read."""


@dataclass(frozen=True)
class SheetCode:
    """What the code of a sheet says; '' where it does not say it.

    `key` is the row's primary key; `row` its record number (header = 1) when the key cannot be
    told. Sheets of older versions also tell the `first` and `last` key of their lines.
    """

    table: str
    key: str = ""
    row: str = ""
    first: str = ""
    last: str = ""
    package: str = ""
    profile: str = ""


def _tellable(key: str) -> bool:
    """Whether a code can say the key letter for letter and be read back to the same."""
    return (
        bool(key)
        and key != NO_KEY
        and one_line(key, LONGEST_KEY_BYTES) == key
        and len(key.encode("utf-8")) <= LONGEST_KEY_BYTES
    )


def compose_sheet_code(code: SheetCode, most_bytes: int = MOST_BYTES) -> str:
    r"""The text for a sheet's QR code in lines, of at most so many bytes in UTF-8.

    >>> print(compose_sheet_code(SheetCode("sample", key="231", package="holl")))
    treenail-sheet 1 sample 231
    package holl
    """
    key = code.key if _tellable(code.key) else NO_KEY
    lines = [f"{MAGIC} {LAYOUT_VERSION} {code.table} {key}"]
    if code.key and key == NO_KEY and code.row:
        lines.append(f"row {code.row}")
    lines += [
        f"{word} {one_line(text, LONGEST_LINE)}"
        for word, text in (("package", code.package), ("profile", code.profile))
        if one_line(text, LONGEST_LINE)
    ]
    # the row is what a code is for: the package is left out where letters take many bytes
    while len("\n".join(lines).encode("utf-8")) > most_bytes:
        lines.pop()
    return "\n".join(lines)


def read_sheet_code(text: str) -> SheetCode:
    """Read the text that a scanner gives for a sheet's QR code.

    Raises UnreadableValue that says which line is not as the layout has it.

    >>> read_sheet_code("treenail-sheet 1 sample 231").key
    '231'
    """
    if len(text) > LONGEST_CODE:
        raise UnreadableValue(one_line(text, 60), "is far longer than the code of a sheet")
    lines = [line.strip() for line in text.removeprefix("\ufeff").replace("\r", "\n").split("\n")]
    lines = [line for line in lines if line]
    words = lines[0].split(" ", 3) if lines else []
    if not words or words[0] != MAGIC:
        raise UnreadableValue(one_line(text, 60), f"is not a sheet; it begins with '{MAGIC}'")
    if len(words) != 4:
        raise UnreadableValue(
            one_line(lines[0], 60), f"is not complete; it should read '{MAGIC} 1', table and key"
        )
    if words[1] != str(LAYOUT_VERSION):
        raise UnreadableValue(
            one_line(lines[0], 60),
            f"is a sheet of another layout; this version reads layout {LAYOUT_VERSION}",
        )
    said: dict[str, str] = {}
    for line in lines[1:]:
        word, _, rest = line.partition(" ")
        if word not in ("row", "first", "last", "package", "profile") or not rest or word in said:
            raise UnreadableValue(one_line(line, 60), "is not a line of a sheet's layout 1")
        said[word] = rest
    return SheetCode(table=words[2], key="" if words[3] == NO_KEY else words[3], **said)

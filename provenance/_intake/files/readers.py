"""Opens a received file with the reader for what it is, not for what its name says."""

from __future__ import annotations

import zipfile
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._gate.budget import FOREIGN_BUDGET, SheetBudget
from provenance._gate.zips import refuse_directory
from provenance._intake.files.received import ReceivedFile, TextHabits
from provenance._record.package import DESCRIPTOR

HEAD_BYTES = 4096
HAND_IN = "hand in CSV, TSV, XLSX, ODS or a Data Package"
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_FOREIGN = (
    (b"%PDF", "is a PDF; type its table into a spreadsheet, or export it from where it came"),
    (b"{\\rtf", f"is a text document (RTF), no table; {HAND_IN}"),
    (b"\x89PNG", f"is a picture, no table; {HAND_IN}"),
    (b"\xff\xd8\xff", f"is a picture, no table; {HAND_IN}"),
    (b"SQLite format 3", "is a database; export its tables as CSV"),
    (b"\x1f\x8b", "is packed (gzip); unpack it and hand in what is inside"),
)


def open_received(
    path: Path, habits: TextHabits | None = None, limits: SheetBudget | None = None
) -> ReceivedFile:
    """The file, open for reading; what it is is told by its content. Close it after use.

    Raises UnusableInput for a file that is missing, empty, locked with a password, of an old or
    foreign format, damaged, or larger than `limits`.
    """
    limits = limits or SheetBudget()
    if path.is_dir() and (path / DESCRIPTOR).is_file():
        from provenance._intake.files.data_package import DataPackage

        return DataPackage(path, limits)
    if path.is_dir():
        raise UnusableInput(f"{path} is a folder without {DESCRIPTOR}; name the files in it")
    try:
        with open(path, "rb") as stream:
            head = stream.read(HEAD_BYTES)
    except OSError as error:
        raise UnusableInput(f"{path} cannot be read: {error.strerror}; check the name") from None
    if not head.strip(b"\xef\xbb\xbf\xff\xfe \t\r\n"):
        raise UnusableInput(f"{path.name} is empty; export it again")
    if head.startswith(b"PK"):
        return _open_archive(path, limits)
    if head.startswith(_OLE):
        raise UnusableInput(_about_ole(path))
    for mark, what in _FOREIGN:
        if head.startswith(mark):
            raise UnusableInput(f"{path.name} {what}")
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")[:200].lower()
    if start.startswith((b"<!doctype html", b"<html", b"<table")):
        raise UnusableInput(
            f"{path.name} is a web page, whatever its name says; open it in a spreadsheet program "
            "and save it as .xlsx"
        )
    if start.startswith(b"<?xml"):
        raise UnusableInput(
            f"{path.name} is XML; open it in a spreadsheet program and save it as .xlsx or .ods"
        )
    from provenance._intake.files.text_tables import TextTable

    return TextTable(path, habits or TextHabits(), limits)


def _open_archive(path: Path, limits: SheetBudget) -> ReceivedFile:
    from provenance._intake.files.data_package import DataPackage, holds_data_package
    from provenance._intake.files.xlsx import DAMAGE, XlsxBook

    try:
        with open(path, "rb") as stream:
            refuse_directory(stream, path.name, FOREIGN_BUDGET)
            with zipfile.ZipFile(stream) as archive:
                names = set(archive.namelist())
                kind = b""
                if "mimetype" in names:
                    with archive.open("mimetype") as part:
                        kind = part.read(100)
    except DAMAGE as error:
        raise UnusableInput(
            f"{path.name} is damaged or cut off ({error}); copy or export it again"
        ) from error
    if b"opendocument.spreadsheet" in kind:
        from provenance._intake.files.ods import OdsBook

        return OdsBook(path, limits)
    if "xl/workbook.xml" in names:
        return XlsxBook(path, limits)
    if holds_data_package(names):
        return DataPackage(path, limits)
    if "xl/workbook.bin" in names:
        what = "is a binary workbook (.xlsb); save it as .xlsx"
    elif b"opendocument" in kind:
        what = f"is an OpenDocument file, but no spreadsheet; {HAND_IN}"
    elif "word/document.xml" in names:
        what = f"is a text document (.docx); copy its table into a spreadsheet and {HAND_IN}"
    elif any(name.startswith("Index/") or name.endswith(".iwa") for name in names):
        what = "is a Numbers document; export it as .xlsx"
    else:
        what = f"is an archive, no workbook; unpack it and {HAND_IN}"
    raise UnusableInput(f"{path.name} {what}")


def _about_ole(path: Path) -> str:
    """The old container of Microsoft holds old workbooks and locked new ones."""
    with open(path, "rb") as stream:
        start = stream.read(1 << 20)
        # the directory of the container may stand at its end
        stream.seek(max(0, path.stat().st_size - (1 << 20)))
        end = stream.read()
    if any("EncryptedPackage".encode("utf-16-le") in part for part in (start, end)):
        return f"{path.name} is locked with a password; save a copy without one"
    return (
        f"{path.name} is in a format from before 2007 (.xls or the like); open it in a spreadsheet "
        "program and save it as .xlsx"
    )

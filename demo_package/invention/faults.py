"""Plants faults in a second copy of the papers and writes down what must name each of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import yaml

from invention.tables import INVENTED, Book, Cell, write_book

TIMBERS = ("timbers_log_house_and_barn.xlsx", "Timbers")
WOOD = ("room_block.xlsx", "Wood")
CORES = ("room_block.xlsx", "Cores and slices")
DOWELS = ("room_block.xlsx", "Dowels")
SITE = ("site_people_places.xlsx", "Site")
CUSTODY = ("custody_log.tsv", "")
TAPES = ("datums_and_ties.csv", "")
PHOTOS = ("photo_log.csv", "")
RESULTS_1 = ("results_1.csv", "")
RESULTS_2 = ("results_2.xlsx", "Results")


@dataclass(frozen=True)
class Fault:
    """Cells of one row changed so that one rule must speak.

    `where` finds the row by what stands in it; `cells` are the new contents by heading. `rule`,
    `table` and `key` are what the check must say; `key` is the row's key in the package, which
    may name headings in braces; blank for a cell that could not be read.
    `follows` are findings that the same fault also leads to, as (rule, table, key).
    """

    says: str
    source: tuple[str, str]
    where: dict[str, str]
    cells: dict[str, Cell]
    rule: str
    table: str
    key: str
    follows: tuple[tuple[str, str, str], ...] = ()


def _timber(number: str, **more: str) -> dict[str, str]:
    return {"House": number.split("-")[0], "Timber no": number.split("-")[1], **more}


FAULTS: tuple[Fault, ...] = (
    Fault(
        "the core is five times as long as it was, longer than the rafter is thick",
        TIMBERS,
        {"FS no": "212"},
        {"Core length": "12 5/8", "Hole depth": "12 7/8"},
        "sample.longer_than_wood",
        "sample",
        "212",
    ),
    Fault(
        "the hole lies beyond the end of the log",
        TIMBERS,
        {"FS no": "207"},
        {"From end A": "31' 6\""},
        "sample.position_beyond_wood",
        "sample",
        "207",
    ),
    Fault(
        "a clock has no thirteen",
        TIMBERS,
        {"FS no": "218"},
        {"O'clock": "13:00"},
        "intake.cell_unread",
        "unread",
        "",
        follows=(("sample.hole_without_position", "sample", "218"),),
    ),
    Fault(
        "a dowel of 7/8 in does not go into a hole of 1/2 in",
        TIMBERS,
        {"FS no": "205"},
        {"Dowel": "7/8"},
        "plug.too_thick",
        "plug",
        "P-205",
    ),
    Fault(
        "a core that left a hole, and no dowel in it",
        TIMBERS,
        {"FS no": "214"},
        {"Stamp": "", "Dowel": "", "Dowel length": "", "Glue": "", "Plugged": ""},
        "plug.missing",
        "sample",
        "214",
    ),
    Fault(
        "two figures of the stamp changed places",
        TIMBERS,
        {"FS no": "206"},
        {"Stamp": "260"},
        "plug.stamp_is_not_its_sample",
        "plug",
        "P-206",
    ),
    Fault(
        "taken a month before anybody was there",
        TIMBERS,
        {"FS no": "201"},
        {"Taken": "5/8/23"},
        "sample.before_visit",
        "sample",
        "201",
        follows=(("custody.collected_on_another_day", "custody", "1"),),
    ),
    Fault(
        "marked as sampled, and no sample of it",
        TIMBERS,
        _timber("LH-020"),
        {"Sampled": "Y"},
        "element.sampled_without_sample",
        "element",
        "LH-020",
    ),
    Fault(
        "the thick end was read in inches and written down as centimetres would be",
        TIMBERS,
        _timber("LH-042"),
        {"Dia A1": "12 in", "Dia A2": "11 5/8 in"},
        "element.taper_implausible",
        "element",
        "LH-042",
    ),
    Fault(
        "a slice cut from wood that still stands, and nobody allowed it",
        CORES,
        {"Number": "310"},
        {"Permission": ""},
        "sample.cut_without_authority",
        "sample",
        "310",
    ),
    Fault(
        "sampled, but marked as not",
        WOOD,
        {"Wood": "W02"},
        {"Core/slice?": "no"},
        "element.sample_not_marked",
        "element",
        "RB-W02",
    ),
    Fault(
        "the room does not exist",
        WOOD,
        {"Wood": "W11"},
        {"Room": "R9"},
        "structure.link_broken",
        "element",
        "RB-W11",
    ),
    Fault(
        "a length that is a guess",
        WOOD,
        {"Wood": "W20"},
        {"L cm": "370 or so"},
        "intake.cell_unread",
        "unread",
        "",
    ),
    Fault(
        "a permit is needed and none is written down",
        SITE,
        {"Site code": "HOLL"},
        {"Permit number": ""},
        "site.protected_without_permit",
        "site",
        "HOLL",
    ),
    Fault(
        "easting of the neighbouring zone of the grid",
        SITE,
        {"Site code": "HOLL"},
        {"EPSG of easting and northing": "32711"},
        "site.another_grid_zone",
        "site",
        "HOLL",
        follows=(("site.grid_and_degrees_disagree", "site", "HOLL"),),
    ),
    Fault(
        "a position without its error",
        SITE,
        {"Site code": "HOLL"},
        {"Error of the position (m)": ""},
        "site.no_uncertainty",
        "site",
        "HOLL",
    ),
    Fault(
        "an e-mail address in a remark that everybody may read",
        WOOD,
        {"Wood": "W15"},
        {"Notes": "ask zf@example.org about this one"},
        "privacy.email_in_open_field",
        "element",
        "RB-W15",
    ),
    Fault(
        "handed to the laboratory before it left the wood",
        CUSTODY,
        {"Sample": "208", "What happened": "shipped"},
        {"When": "2023-05-26"},
        "custody.out_of_order",
        "custody",
        "{No}",
        follows=(("custody.before_the_sample", "custody", "{No}"),),
    ),
    Fault(
        "given away by one who no longer had it",
        CUSTODY,
        {"Sample": "301", "What happened": "shipped"},
        {"Given by": "AP"},
        "custody.two_holders",
        "custody",
        "{No}",
    ),
    Fault(
        "the parcel is one sample short of its list",
        ("site_people_places.xlsx", "Parcel"),
        {"Parcel": "C-2023-1"},
        {"How many samples": "43"},
        "parcel.count_differs",
        "consignment",
        "C-2023-1",
    ),
    Fault(
        "inside and outside year changed places",
        RESULTS_1,
        {"Your no": "204"},
        {"Inside": "1871", "Outside": "1775", "Dating": ""},
        "result.outer_before_inner",
        "lab_result",
        "{Our no}-1",
        follows=(("widths.outside_the_dates", "file", "R-{Our no}-1"),),
    ),
    Fault(
        "a hundred rings fewer than years",
        RESULTS_1,
        {"Your no": "205"},
        {"Rings": "27", "Sapwood": ""},
        "result.rings_do_not_fit_years",
        "lab_result",
        "{Our no}-1",
        follows=(("widths.rings_differ", "file", "R-{Our no}-1"),),
    ),
    Fault(
        "bark reported on a sill that was hewn all round",
        RESULTS_1,
        {"Your no": "201"},
        {"Outside sign": "B", "Dating": "1745 - 1858B"},
        "result.cutting_date_on_lost_surface",
        "lab_result",
        "{Our no}-1",
    ),
    Fault(
        "pine in the field, oak at the laboratory",
        RESULTS_1,
        {"Your no": "213"},
        {"Wood": "QUAL"},
        "result.genus_differs",
        "lab_result",
        "{Our no}-1",
    ),
    Fault(
        "two cores of one log, two years of felling",
        RESULTS_1,
        {"Your no": "203"},
        {"Outside": "1868", "Inside": "1758", "Dating": "1758np - 1868r"},
        "result.cutting_dates_differ",
        "lab_result",
        "{Our no}-1",
        follows=(("widths.outside_the_dates", "file", "R-{Our no}-1"),),
    ),
    Fault(
        "the last ring grew after the core was taken",
        RESULTS_2,
        {"Field number": "227"},
        {"First year": 1974, "Last year": 2041, "As reported": "1974p - 2041B"},
        "result.ring_after_collection",
        "lab_result",
        "{Lab number}-{Issue}",
        follows=(("widths.outside_the_dates", "file", "R-{Lab number}-{Issue}"),),
    ),
    Fault(
        "not dated, and no word why",
        RESULTS_2,
        {"Field number": "223"},
        {"Reason": ""},
        "result.undated_without_reason",
        "lab_result",
        "{Lab number}-{Issue}",
    ),
    Fault(
        "a tape that starts nowhere",
        TAPES,
        {"Tie": "T001"},
        {"From datum": ""},
        "geometry.datum_missing",
        "tie",
        "T001",
    ),
    Fault(
        "a photo of a dowel that does not exist",
        PHOTOS,
        {"Photo": "PH-05"},
        {"Number of it": "P-290"},
        "files.about_nothing",
        "file",
        "PH-05",
    ),
    Fault(
        "the log names a photo that nobody handed in",
        PHOTOS,
        {"Photo": "PH-06"},
        {"File": "photos/plug_217.jpeg"},
        "files.missing",
        "file",
        "PH-06",
        follows=(("files.without_row", "file", ""),),
    ),
)

RENUMBERED = {"311": "601", "313": "109"}
"""Two samples numbered anew wherever they are mentioned: upside down 601 reads 109."""


def write_faulted(
    field_books: Iterable[Book], laboratory_books: Iterable[Book], folder: Path
) -> None:
    """Write field/ and laboratory/ with every fault planted, and FAULTS.yaml."""
    field, laboratory = list(field_books), list(laboratory_books)
    books = {book.file_name: book for book in (*field, *laboratory)}
    listed = [_plant(fault, books[fault.source[0]]) for fault in FAULTS]
    listed += _renumber(books.values())
    for part, some in (("field", field), ("laboratory", laboratory)):
        for book in some:
            write_book(book, folder / part)
    text = yaml.safe_dump(listed, sort_keys=False, allow_unicode=True, width=100)
    head = f"# {INVENTED}.\n# Every fault that was planted, and the finding that must name it.\n"
    (folder / "FAULTS.yaml").write_text(head + text, encoding="utf-8")


def _plant(fault: Fault, book: Book) -> dict[str, object]:
    sheet = book.sheet(fault.source[1])
    rows = [row for row in sheet.rows if row and _reads(row, fault.where)]
    if len(rows) != 1:
        raise LookupError(f"{fault.says}: {len(rows)} rows of {fault.source} fit {fault.where}")
    (row,) = rows
    was = {heading: str(row.get(heading, "")) for heading in fault.cells}
    row.update(fault.cells)
    return {
        "fault": fault.says,
        "file": book.file_name,
        "sheet": sheet.name,
        "line": sheet.line_of(row),
        "was": was,
        "is": {heading: str(value) for heading, value in fault.cells.items()},
        "rule": fault.rule,
        "table": fault.table,
        "key": fault.key.format_map(row),
        "follows": [
            {"rule": rule, "table": table, "key": key.format_map(row)}
            for rule, table, key in fault.follows
        ],
    }


def _renumber(books: Iterable[Book]) -> list[dict[str, object]]:
    for sheet in (sheet for book in books for sheet in book.sheets):
        for row in (row for row in sheet.rows if row):
            for heading, value in row.items():
                if heading in _NUMBERS and str(value).removeprefix("P-") in RENUMBERED:
                    prefix = "P-" if str(value).startswith("P-") else ""
                    row[heading] = prefix + RENUMBERED[str(value).removeprefix("P-")]
    return [
        {
            "fault": f"number {new} reads {other} upside down",
            "file": DOWELS[0],
            "sheet": DOWELS[1],
            "was": {"Punched": old},
            "is": {"Punched": new},
            "rule": "plug.stamps_read_alike",
            "table": "plug",
            "key": f"P-{new}",
            "follows": [],
        }
        for (old, new), other in zip(RENUMBERED.items(), reversed(RENUMBERED.values()), strict=True)
    ]


_NUMBERS = frozenset(
    {"Number", "For number", "Punched", "Dowel", "Sample", "Field number", "Hole of"}
)


def _reads(row: dict[str, Cell], where: dict[str, str]) -> bool:
    return all(str(row.get(heading, "")) == text for heading, text in where.items())

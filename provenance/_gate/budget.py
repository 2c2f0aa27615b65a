"""How much something received may ask of the machine that opens it.

The limits stand in docs/limits.md too. Real records of 100,000 files, tables of 1,000 columns and
tables of 1,000,000 rows pass; time is bounded by them, because all work is in step with the sizes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Budget:
    """Bounds on a package or bundle; whatever goes beyond one is refused with a word, not tried.

    The defaults let 2 TB of scans pass. Sizes are in bytes; `most_ratio` is the size of a zip
    member against its compressed size, looked at from `ratio_from_bytes` on, where it matters
    (deflate reaches 1,032 at most, plain tables seldom 50). `most_folders` is how deep folders
    nest, `longest_name_bytes` a whole path in UTF-8, `most_directory_bytes` the list of members at
    the end of a zip, `most_faults_named` the wrong lines of one manifest that are told,
    `longest_line_bytes` one line of a table. `most_uneven_rows` have more or fewer cells than the
    header, and `most_missing_cells` are left out by them, because each is put in while the table is
    read. `most_json_values` counts the places where a value may begin in one document,
    `deepest_json` how deep they nest; `most_model_bytes` is for all schemas of a package.
    """

    most_files: int = 200_000
    most_total_bytes: int = 2 * 10**12
    most_ratio: float = 200.0
    ratio_from_bytes: int = 16 * 2**20
    most_folders: int = 32
    longest_name_bytes: int = 1_024
    most_directory_bytes: int = 128 * 2**20
    most_tag_bytes: int = 2**20
    most_manifest_bytes: int = 64 * 2**20
    most_faults_named: int = 1_000
    most_json_bytes: int = 256 * 2**20
    most_json_values: int = 5_000_000
    deepest_json: int = 64
    most_model_bytes: int = 32 * 2**20
    longest_line_bytes: int = 16 * 2**20
    most_table_bytes: int = 10**9
    most_columns: int = 5_000
    most_rows: int = 20_000_000
    most_cells: int = 250_000_000
    most_uneven_rows: int = 1_000_000
    most_missing_cells: int = 5_000_000


DEFAULT_BUDGET = Budget()

FOREIGN_BUDGET = replace(
    DEFAULT_BUDGET, most_files=10_000, most_total_bytes=2 * 2**30, most_json_bytes=32 * 2**20
)
"""For a workbook, a Data Package that somebody else made, answers from phones: all are kept."""


@dataclass(frozen=True)
class SheetBudget:
    """Bounds on a file of the field; a field export has a fraction of them.

    `unpacked_bytes` is what the parts of a workbook come to that hold no picture; `columns` and
    `cells` are those that hold something. `rows` is the most that the formats themselves know,
    `last_column` the last one (Microsoft, 'Excel specifications and limits'; LibreOffice takes as
    many): a cell that only bears a color may stand there. `package_columns` is for the tables of a
    Data Package, whose library compares each heading that it does not expect with all others.
    """

    text_bytes: int = 32 << 20
    unpacked_bytes: int = 128 << 20
    cells: int = 5_000_000
    columns: int = 2_000
    rows: int = 1_048_576
    last_column: int = 16_384
    package_columns: int = 1_000

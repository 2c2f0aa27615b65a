"""How much a bundle from a stranger may ask of the machine that opens it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limits:
    """Bounds on a bundle; whatever goes beyond one is refused with a word, not tried.

    The defaults let 2 TB of scans pass. Sizes are in bytes; `most_ratio` is the size of a zip
    member against its compressed size, looked at from `ratio_from_bytes` on, where it matters
    (deflate reaches 1,032 at most, plain tables seldom 50). `most_folders` is how deep folders
    nest, `longest_name_bytes` a whole path in UTF-8, `longest_line_bytes` one line of a table, and
    `most_table_bytes` a table that is read inside a zip or in a store.
    """

    most_files: int = 1_000_000
    most_total_bytes: int = 2 * 10**12
    most_ratio: float = 200.0
    ratio_from_bytes: int = 16 * 2**20
    most_folders: int = 32
    longest_name_bytes: int = 1_024
    most_tag_bytes: int = 2**20
    most_manifest_bytes: int = 512 * 2**20
    most_json_bytes: int = 256 * 2**20
    longest_line_bytes: int = 16 * 2**20
    most_table_bytes: int = 10**9


DEFAULT_LIMITS = Limits()

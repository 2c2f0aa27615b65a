"""A copy that lost a column is merged or refused in a sentence, whichever column it is."""

from __future__ import annotations

import csv
import io
import shutil
from pathlib import Path

from provenance._base.errors import TreenailError
from provenance._merging.merge import merge_packages
from provenance._record.package import open_package
from tests.bundle.conftest import a_full_package


def test_any_column_may_be_lost_in_the_other_copy(tmp_path: Path) -> None:
    """As found by a fuzzer for the seals of the ledger; here for all that merging goes by."""
    package = a_full_package(tmp_path / "mine")
    other = tmp_path / "other"
    shutil.copytree(package.folder, other)
    said = set()
    for table in ("custody", "act", "change", "file"):
        path = other / "tables" / f"{table}.csv"
        sound = path.read_bytes()
        rows = list(csv.reader(io.StringIO(sound.decode(), newline="")))
        for place, name in enumerate(rows[0] if len(rows) > 1 else ()):
            lost = [[*row[:place], *row[place + 1 :]] for row in rows]
            text = io.StringIO(newline="")
            csv.writer(text, lineterminator="\n").writerows(lost)
            path.write_bytes(text.getvalue().encode())
            try:
                merge_packages(package, open_package(other), who="MB", dry_run=True)
            except TreenailError:
                said.add((table, name))
        path.write_bytes(sound)
    assert ("custody", "event_sha256") in said

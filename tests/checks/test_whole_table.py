"""A finding about a table as a whole names no cell of it."""

from __future__ import annotations

import pytest

from provenance._checks.check import check_package
from tests.builders import a_package


@pytest.mark.parametrize("rows", [0, 3])
def test_a_stray_file_shows_no_other_files_name(tmp_path, rows):
    package = a_package(tmp_path)
    for number in range(rows):
        package.with_row("file", file_id=f"F-{number}", path=f"files/{number}.png")
    (package.package.folder / "files" / "stray.png").write_bytes(b"stray")

    report = check_package(package.package)

    (stray,) = [one for one in report if one.rule == "files.without_row"]
    assert (stray.row, stray.key, stray.value) == (0, "", "")
    assert "files/stray.png" in stray.message

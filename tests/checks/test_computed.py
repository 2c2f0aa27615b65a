"""Computed tables that are older than what they were computed from."""

from __future__ import annotations

import shutil

from provenance._checks.check import check_package
from provenance._derive.summary import derive_package
from provenance._record.package import open_package
from provenance._survey.adjust.adjustment import survey_package
from tests.builders import PackageBuilder, a_package

RULE = "computed.older_than_its_sources"


def stale(folder) -> list[str]:
    return [one.message for one in check_package(open_package(folder)) if one.rule == RULE]


def test_a_table_changed_after_derive_is_named_with_the_command(tmp_path) -> None:
    """By what the cells say: a copy with other times and line ends is as fresh as the package."""
    package = a_package(tmp_path).with_chain().with_row("lab_result").package
    assert stale(package.folder) == []  # nothing is said where nothing was noted
    derive_package(package)
    assert stale(package.folder) == []
    copy = shutil.copytree(package.folder, tmp_path / "copy", copy_function=shutil.copyfile)
    for path in (copy / "tables").glob("*.csv"):
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert stale(copy) == []
    # what derive does not read makes nothing stale
    package.write_table("party", package.table("party").assign(notes="seen again"))
    assert stale(package.folder) == []
    package.write_table("lab_result", package.table("lab_result").assign(outer_year="1780"))
    said = "What 'treenail derive' computed is stale: 'lab_result' was changed since."
    assert stale(package.folder) == [said]
    derive_package(open_package(package.folder))
    # of files only ring widths are read, so a photo makes nothing stale
    builder = PackageBuilder(open_package(package.folder)).with_row("file")
    assert stale(package.folder) == []
    builder.with_row("file", file_id="F-2", path="files/widths.csv", kind="ring_widths")
    assert stale(package.folder) == [said.replace("lab_result", "file")]
    derive_package(open_package(package.folder))
    survey_package(open_package(package.folder))
    assert stale(package.folder) == []
    package.write_table("site", package.table("site").assign(notes="nails lost"))
    said = "What 'treenail survey compute' computed is stale: 'site' was changed since."
    assert stale(package.folder) == [said]

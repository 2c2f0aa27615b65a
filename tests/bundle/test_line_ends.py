"""Tables that a spreadsheet on Windows has saved are read as if they had not been touched."""

from __future__ import annotations

import codecs
from pathlib import Path

import pandas as pd
import pytest

from provenance._bundle.verify import verify_bundle
from provenance._checks.check import check_package
from provenance._record.package import Package, open_package
from tests.builders import pack_bundle, unpack_bundle

SAVED = {
    "CRLF": lambda raw: raw.replace(b"\n", b"\r\n"),
    "BOM": lambda raw: codecs.BOM_UTF8 + raw,
    "both": lambda raw: codecs.BOM_UTF8 + raw.replace(b"\n", b"\r\n"),
}


def tables_of(package: Package) -> dict[str, pd.DataFrame]:
    return {name: package.table(name) for name in package.model.tables}


@pytest.mark.parametrize("saved", SAVED)
def test_a_record_is_the_same_with_the_line_ends_and_mark_of_windows(
    package: Package, tmp_path: Path, saved: str
) -> None:
    before = tables_of(package)
    typed = {name: package.typed(name) for name in package.model.tables}
    findings = list(check_package(package))
    for name in package.model.tables:
        path = package.table_path(name)
        path.write_bytes(SAVED[saved](path.read_bytes()))
    for name, frame in tables_of(package).items():
        pd.testing.assert_frame_equal(frame, before[name])
        pd.testing.assert_frame_equal(package.typed(name), typed[name])
    assert list(check_package(package)) == findings
    bundle = pack_bundle(package, tmp_path / "b.zip", zipped=True)
    assert verify_bundle(bundle).findings == ()
    again = unpack_bundle(bundle, tmp_path / "again")
    assert tables_of(open_package(again.folder)).keys() == before.keys()
    pd.testing.assert_frame_equal(again.table("sample"), before["sample"])
    for path in (package.folder / "tables").iterdir():
        assert (again.folder / "tables" / path.name).read_bytes() == path.read_bytes()


def test_every_text_that_is_written_has_the_line_ends_of_unix(package: Package) -> None:
    """RFC 8493 allows any; ours are the same on every system, so that bundles are."""
    package.write_table("sample", package.table("sample"))
    bundle = pack_bundle(package, package.folder.parent / "b")
    for path in bundle.rglob("*"):
        if path.suffix in (".txt", ".csv", ".json", ".html", ".md", ".xml", ".cff", ".svg"):
            assert b"\r" not in path.read_bytes(), path

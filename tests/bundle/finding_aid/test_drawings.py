"""The derived figures in the finding aid, and what packing does without."""

from __future__ import annotations

import subprocess
import sys
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

from provenance._derive.figures.figures import FIGURES
from provenance._derive.summary import derive_package
from provenance._record.package import Package, open_package
from tests.builders import PackageBuilder, pack_bundle

SVG = "{http://www.w3.org/2000/svg}"

WITHOUT = """
import sys
sys.modules["matplotlib"] = sys.modules["datacite"] = None
from provenance._cli import main
sys.argv[1:] = ["pack", sys.argv[1], "--out", sys.argv[2]]
main()
"""
"""The command, where either library raises ImportError (Python language reference, 5.3.1)."""


def derived_with_an_order(package: Package) -> Package:
    """The package with what a figure of every kind needs."""
    relation = {"relation_id": "R1", "site_id": "HOLL", "place_id": "B2"}
    relation |= {"relation_kind": "abuts", "other_place_id": "B1"}
    builder = PackageBuilder(package).with_row("place", place_id="B2")
    package = builder.with_bare_row("relation", **relation).package
    derive_package(package)
    return open_package(package.folder)


def test_a_package_is_packed_without_matplotlib_and_datacite(
    package: Package, tmp_path: Path
) -> None:
    """Both were needed once, for the figures and for datacite.xml; the bytes are the same."""
    package = derived_with_an_order(package)
    pack_bundle(package, tmp_path / "with")
    command = [sys.executable, "-c", WITHOUT, str(package.folder), str(tmp_path / "without")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    # 1: the check has findings, which does not keep a bundle from being made
    assert done.returncode in (0, 1), done.stderr
    for folder in (tmp_path / "with", tmp_path / "without"):
        drawn = {path.stem for path in folder.rglob("pages/figure/*.svg")}
        filled = {name for name, kind in FIGURES.items() if package.tables.rows(kind.table)}
        assert drawn == filled - {"ring-growth"}  # no laboratory told of widths here
    for path in (tmp_path / "with").rglob("*"):
        if path.suffix == ".svg" or path.name == "datacite.xml":
            other = tmp_path / "without" / path.relative_to(tmp_path / "with")
            assert other.read_bytes() == path.read_bytes()


def test_each_figure_says_the_same_in_the_page_and_in_its_file(
    package: Package, tmp_path: Path
) -> None:
    package = derived_with_an_order(package)
    pack_bundle(package, tmp_path / "bundle")
    page = unescape(next((tmp_path / "bundle").rglob("index.html")).read_text("utf-8"))
    for path in (tmp_path / "bundle").rglob("pages/figure/*.svg"):
        root = ElementTree.parse(path).getroot()
        title, description = root.findtext(f"{SVG}title"), root.findtext(f"{SVG}desc")
        assert title is not None
        assert description is not None
        # the words in the page are the first ones of the file's
        shown = page.partition(f'alt="{title}. ')[2].partition('"')[0]
        assert shown
        assert description.startswith(shown)

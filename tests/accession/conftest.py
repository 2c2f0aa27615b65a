"""Two pristine bundles of one place, with a repository among the parties."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from provenance._ledger.custody import append_events
from provenance._record.package import Package, open_package
from tests.builders import PackageBuilder, a_package, left_alone, pack_bundle
from tests.bundle.conftest import LEDGER


def a_sound_package(folder: Path) -> Package:
    """A package without errors, with a repository, samples with the laboratory and the crew."""
    builder = a_package(folder).with_chain()
    builder.with_bare_row(
        "party",
        party_id="REPO",
        kind="organisation",
        name="Store of Old Timber at Fenwick Moss (invented)",
    )
    builder.with_row("sample", sample_id="232", along_m="1.75").with_row(
        "plug", plug_id="P-232", sample_id="232", stamp="232"
    )
    builder.with_row("lab_result")
    builder.with_row("consignment")
    package = builder.package
    sites = package.table("site")
    sites["repository_id"] = "REPO"
    package.write_table("site", sites)
    append_events(package, LEDGER)
    events = LEDGER.head(1).copy()
    events["sample_id"], events["happened_on"] = "232", "2024-06-21"
    append_events(package, events)
    return open_package(package.folder)


@pytest.fixture(scope="session")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with bundle, bundle.zip and later.zip, each of them sound; never to be changed."""
    folder = tmp_path_factory.mktemp("shelf")
    package = a_sound_package(folder)
    pack_bundle(package, folder / "bundle")
    pack_bundle(package, folder / "bundle.zip", zipped=True)
    PackageBuilder(package).with_row("element", element_id="B1-015")
    pack_bundle(package, folder / "later.zip", zipped=True)
    with left_alone(folder):
        yield folder


@pytest.fixture
def bundle(shelf: Path, tmp_path: Path) -> Path:
    """A bundle as a folder, to be broken."""
    shutil.copytree(shelf / "bundle", tmp_path / "bundle")
    return tmp_path / "bundle"

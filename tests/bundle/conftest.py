"""One pristine package and bundle, which tests copy and then break in one way each."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

from provenance._ledger.custody import append_events
from provenance._record.package import Package, open_package
from tests.builders import a_package, left_alone, pack_bundle

PHOTO = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40
LEDGER = pd.DataFrame(
    [
        {
            "event": "collected",
            "happened_on": "2024-06-04",
            "sample_id": "231",
            "to_party_id": "MB",
        },
        {"event": "packed", "happened_on": "2024-06-15", "sample_id": "231", "to_party_id": "MB"},
        {
            "event": "received",
            "happened_on": "2024-06-20",
            "sample_id": "231",
            "consignment_id": "C-1",
            "from_party_id": "MB",
            "to_party_id": "LAB",
        },
    ]
)


def a_full_package(folder: Path) -> Package:
    """A package with a row in most tables, a photo, an original and three sealed events."""
    builder = a_package(folder).with_chain()
    for table in ("consignment", "lab_result", "datum", "tie", "file"):
        builder.with_row(table)
    package = builder.package
    (package.folder / "files" / "photo-001.png").write_bytes(PHOTO)
    append_events(package, LEDGER)
    return package


@pytest.fixture(scope="session")
def pristine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with 'holl' (package), 'bundle' and 'bundle.zip'; never to be changed."""
    folder = tmp_path_factory.mktemp("pristine")
    package = a_full_package(folder)
    pack_bundle(package, folder / "bundle")
    pack_bundle(package, folder / "bundle.zip", zipped=True)
    with left_alone(folder):
        yield folder


@pytest.fixture
def package(pristine: Path, tmp_path: Path) -> Package:
    shutil.copytree(pristine / "holl", tmp_path / "holl")
    return open_package(tmp_path / "holl")


@pytest.fixture
def bundle(pristine: Path, tmp_path: Path) -> Path:
    """A bundle as a folder, to be broken."""
    shutil.copytree(pristine / "bundle", tmp_path / "bundle")
    return tmp_path / "bundle"


@pytest.fixture(scope="session")
def zip_bundle(pristine: Path) -> Path:
    """A bundle as a zip, to be read only."""
    return pristine / "bundle.zip"

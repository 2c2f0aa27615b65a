"""A small repository of bundles, which tests copy and then break in one way each."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.builders import a_package, left_alone, pack_bundle
from tests.bundle.conftest import a_full_package
from tests.forked import forking


@pytest.fixture(scope="session")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with the bundles 'one' (folder) and 'other.zip', of two sites; never changed."""
    folder = tmp_path_factory.mktemp("shelf")
    package = a_full_package(tmp_path_factory.mktemp("one"))
    pack_bundle(package, folder / "one")
    builder = a_package(tmp_path_factory.mktemp("other")).with_chain()
    builder.with_row("sample", sample_id="17", species_field="QUSP")
    builder.with_row("plug", plug_id="P-17", sample_id="17", stamp="17")
    of_house = {"site_id": "MILL", "place_id": "B1"}
    builder.with_bare_row("wood_use", use_id="1", species="PIPO", piece_count=1, **of_house)
    builder.with_bare_row("architecture", architecture_id="1", construction="log", **of_house)
    other = builder.package
    site = other.table("site").assign(
        site_id="MILL", public_name="Site 8", latitude="47.5", longitude="-101.25"
    )
    other.write_table("site", site)
    for table in ("place", "element", "sample"):
        other.write_table(table, other.table(table).assign(site_id="MILL"))
    pack_bundle(other.with_descriptor({"name": "mill"}), folder / "other.zip", zipped=True)
    with left_alone(folder):
        yield folder


@pytest.fixture(autouse=True, scope="session")
def without_waiting_for_the_disk() -> Iterator[None]:
    """What a killed program wrote is safe without it, and no test cuts the power."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("provenance._catalogue.database.SYNCHRONOUS", "OFF")
        yield


@pytest.fixture
def repository(shelf: Path, tmp_path: Path) -> Path:
    """A copy of the shelf that may be changed."""
    return Path(shutil.copytree(shelf, tmp_path / "repository"))


@pytest.fixture
def quick_workers() -> Iterator[None]:
    """Dask's processes are forked from one that has imported everything."""
    dask = pytest.importorskip("dask")
    pytest.importorskip("distributed")
    forking()
    with dask.config.set({"distributed.worker.multiprocessing-method": "forkserver"}):
        yield


@pytest.fixture
def index(tmp_path: Path) -> Path:
    return tmp_path / "catalogue.sqlite"


def flip_a_bit(path: Path, *, place: int = -1, keep_times: bool = True) -> None:
    """Change one bit, as a decaying disk does (times stay) or as a program does."""
    state = path.stat()
    content = bytearray(path.read_bytes())
    content[place] ^= 1
    path.write_bytes(content)
    if keep_times:
        os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))

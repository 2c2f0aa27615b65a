"""Settings for the whole suite."""

from __future__ import annotations

import gc
import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from tests.programs import program

# A busy machine must not fail a law; how long a check takes is for benchmarks/ to say. Every run
# draws others, so that fewer a run are no fewer in a week.
settings.register_profile("unhurried", deadline=None, max_examples=40)
settings.load_profile("unhurried")

FSYNC = os.fsync


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The module that takes longest comes first, so that no core waits for it at the end.

    Those that need other programs come last, because these may still be on their way.
    """
    heavy = {item.path for item in items if item.get_closest_marker("heavy")}
    items.sort(key=lambda item: (item.path.name != "test_demo.py", item.path in heavy))


def pytest_collection_finish() -> None:
    """What was imported and collected stays, and so is looked through for garbage no more.

    What a test leaves in circles is little, and looking for it rarely saves a tenth of the time.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)


@pytest.fixture(autouse=True, scope="session")
def no_waiting_for_the_disk() -> Iterator[None]:
    """What a test writes need not outlast a power cut, so nothing waits until it would."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(os, "fsync", lambda handle: None)
        yield


@pytest.fixture(autouse=True, scope="session")
def data_folder_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What the program notes about copies of packages is not noted for the person who tests."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        yield


@pytest.fixture
def tmp_path(tmp_path: Path) -> Path:
    """A folder whose parent too is this test's alone: what climbs out is looked for there."""
    own = tmp_path / "own"
    own.mkdir()
    return own


@pytest.fixture(scope="session")
def saved_by_libreoffice(
    tmp_path_factory: pytest.TempPathFactory,
) -> Callable[[Path, str, Path], Path]:
    """Saves a workbook in another format; LibreOffice lays out its settings only once."""
    if program("soffice") is None:
        pytest.skip("LibreOffice is not installed")
    profile = f"-env:UserInstallation=file://{tmp_path_factory.mktemp('libreoffice')}"

    def saved(book: Path, kind: str, folder: Path) -> Path:
        command = ["soffice", profile, "--headless", "--convert-to", kind, "--outdir", folder]
        subprocess.run([*command, book], check=True, capture_output=True, timeout=180)
        return folder / f"{book.stem}.{kind}"

    return saved


@pytest.fixture
def real_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests of the writing itself: files are forced to the disk as they are outside tests."""
    monkeypatch.setattr(os, "fsync", FSYNC)

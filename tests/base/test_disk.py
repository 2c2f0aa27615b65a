"""Folders are held against writers, also those that may only be read."""

from __future__ import annotations

import os
import signal
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from provenance._base.errors import TreenailError
from provenance._base.locks import LOCK, locked, locked_for_reading

pytestmark = pytest.mark.usefixtures("real_disk")

NOBODY = 65534


def done_without_rights(work: Callable[[], None]) -> bool:
    """Whether `work` ends well in a process that has no rights beyond its own files."""
    child = os.fork()
    if not child:
        try:
            if os.getuid() == 0:
                os.setuid(NOBODY)
            work()
        except BaseException:
            os._exit(1)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status) == 0


@pytest.fixture
def shelf() -> Iterator[Path]:
    """A folder that anybody may read and nobody may write.

    pytest's own temporary folders are closed to other users, so it is made beside them.
    """
    with tempfile.TemporaryDirectory() as place:
        os.chmod(place, 0o755)
        folder = Path(place) / "shelf"
        folder.mkdir()
        folder.chmod(0o555)
        yield folder
        folder.chmod(0o755)


def read(folder: Path) -> None:
    with locked_for_reading(folder):
        pass


def write(folder: Path) -> None:
    with locked(folder):
        pass


def test_a_folder_that_may_only_be_read_is_held_for_reading_and_nothing_is_left_in_it(
    shelf: Path,
) -> None:
    assert done_without_rights(lambda: read(shelf))
    assert not done_without_rights(lambda: write(shelf))
    assert not any(shelf.iterdir())


def test_a_reader_waits_for_the_lock_of_a_writer_that_it_may_only_read(shelf: Path) -> None:
    shelf.chmod(0o755)
    with locked(shelf):
        (shelf / ".lock").chmod(0o444)
        shelf.chmod(0o555)

        def read_or_give_up() -> None:
            signal.alarm(1)  # the child ends by the alarm when it has to wait
            read(shelf)

        assert not done_without_rights(read_or_give_up)
    assert done_without_rights(lambda: read(shelf))


def test_a_lock_left_by_a_killed_process_does_not_block(tmp_path: Path) -> None:
    child = os.fork()
    if not child:
        with locked(tmp_path):
            os.kill(os.getpid(), signal.SIGKILL)
    os.waitpid(child, 0)
    assert (tmp_path / LOCK).exists()
    write(tmp_path)


def test_a_second_reader_waits_for_the_first(tmp_path: Path) -> None:
    with locked_for_reading(tmp_path):

        def read_or_give_up() -> None:
            signal.alarm(1)
            read(tmp_path)

        assert not done_without_rights(read_or_give_up)
    read(tmp_path)


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(TreenailError, match="nowhere"):
        read(tmp_path / "nowhere")

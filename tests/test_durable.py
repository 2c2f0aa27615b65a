"""What is put in place is put there by each system's own means."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from provenance._base import durable
from provenance._base.durable import put_in_place, sync_file, sync_folder, sync_path
from provenance._base.errors import TreenailError

pytestmark = pytest.mark.usefixtures("real_disk")


class HeldOpen:
    """os.replace of a Windows on which another program has the target open for a while."""

    def __init__(self, times: int, code: int) -> None:
        self.times, self.code = times, code
        self.real = os.replace

    def __call__(self, source: Path, target: Path) -> None:
        if self.times:
            self.times -= 1
            error = PermissionError(13, "Access is denied")
            error.winerror = self.code  # type: ignore[attr-defined]
            raise error
        self.real(source, target)


@pytest.fixture
def draft(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file to be put over 'table.csv', and no time to be waited."""
    (tmp_path / "table.csv").write_text("old")
    (tmp_path / "draft").write_text("new")
    monkeypatch.setattr(durable, "_WAITS_SECONDS", (0.0,) * 6)
    return tmp_path / "draft"


@pytest.mark.parametrize("code", [5, 32])
def test_a_file_that_is_open_for_a_while_is_waited_for(
    draft: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    """Microsoft, 'System Error Codes (0-499)': access denied, sharing violation."""
    monkeypatch.setattr(os, "replace", HeldOpen(3, code))
    put_in_place(draft, draft.with_name("table.csv"))
    assert draft.with_name("table.csv").read_text() == "new"
    assert not draft.exists()


def test_a_file_that_stays_open_is_named_with_what_to_do(
    draft: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "replace", HeldOpen(1_000, 32))
    with pytest.raises(TreenailError, match=r"table\.csv .*open in another program.*close it"):
        put_in_place(draft, draft.with_name("table.csv"))
    assert draft.with_name("table.csv").read_text() == "old"


def test_other_refusals_are_not_waited_for(draft: Path) -> None:
    with pytest.raises(FileNotFoundError):
        put_in_place(draft, draft.parent / "nowhere" / "table.csv")
    assert draft.exists()


def test_a_full_flush_is_asked_for_where_there_is_one_and_an_ordinary_one_elsewhere(
    draft: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """fcntl(2) of macOS: F_FULLFSYNC, number 51 in its sys/fcntl.h (from memory)."""
    asked: list[object] = []
    monkeypatch.setattr(durable, "_FULL_SYNC", 51)
    monkeypatch.setattr(durable.fcntl, "fcntl", lambda handle, command: asked.append(command))
    monkeypatch.setattr(os, "fsync", lambda handle: asked.append("fsync"))
    sync_path(draft)
    assert asked == [51]

    def unknown(handle: int, command: int) -> None:
        raise OSError(45, "Operation not supported")

    monkeypatch.setattr(durable.fcntl, "fcntl", unknown)
    sync_path(draft)
    assert asked == [51, "fsync"]


def test_a_folder_is_not_opened_on_windows_and_a_file_is_opened_for_writing(
    draft: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[tuple[Path, int]] = []
    real = os.open

    def seen(path: Path, flags: int) -> int:
        opened.append((path, flags))
        return real(path, flags)

    monkeypatch.setattr(durable, "_WINDOWS", True)
    monkeypatch.setattr(os, "open", seen)
    sync_folder(draft.parent)
    sync_path(draft)
    assert opened == [(draft, os.O_RDWR)]


def test_an_error_of_the_disk_while_flushing_is_raised(draft: Path) -> None:
    with open(draft) as stream:
        handle = stream.fileno()
    with pytest.raises(OSError, match="Bad file descriptor"):
        sync_file(handle)

"""Writes several files of a folder together: all of them or none, also when the program is killed.

New files are first written whole into a hidden staging folder. Renaming its list of files to
COMMIT is the one moment at which the change happens: before it the staging folder counts for
nothing, after it the files are moved into place, by this program or by the next one that opens the
folder (`finish_writing`). rename(2) is atomic and moving the same files once more does no harm.

The list bears a seal (HMAC-SHA256, RFC 2104) by a key of the person's account. What a stopped
program left is finished unasked only where the seal is right: a folder may come from a stranger,
and reading it must not change it.
"""

from __future__ import annotations

import hmac
import json
import os
import re
import secrets
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from provenance._base.disk import CHUNK_BYTES
from provenance._base.durable import put_in_place, sync_file, sync_folder
from provenance._base.errors import TreenailError
from provenance._base.listed import listed
from provenance._base.locks import locked
from provenance._gate.documents import read_json
from provenance._gate.folders import refuse_way_out
from provenance._gate.refusal import RefusedInput
from provenance._record.own_key import own_key

COMMIT = "commit.json"
_STAGING = re.compile(r"\.together\.[0-9a-f]{12}\.part")


class Staging:
    """Files to be put into a folder in one step; paths are relative, with forward slashes."""

    def __init__(self, folder: Path, staging: Path) -> None:
        self._folder = folder
        self._staging = staging
        self._paths: list[str] = []

    @contextmanager
    def writing(self, path: str) -> Iterator[IO[bytes]]:
        """Write the new content of `path`; raises ValueError for one that leaves the folder."""
        if _leaves_folder(path) or path in self._paths:
            raise ValueError(f"{path!r} cannot be written here, or is written already")
        staged = self._staging / str(len(self._paths))
        with open(staged, "wb") as stream:
            yield stream
            stream.flush()
            sync_file(stream.fileno())
        self._paths.append(path)

    def write(self, path: str, content: bytes) -> None:
        """Put `content` at `path`."""
        with self.writing(path) as stream:
            stream.write(content)

    def copy(
        self, path: str, source: Path, copied: Callable[[int], None] = lambda count: None
    ) -> None:
        """Put what the file `source` holds at `path`; `copied` is told of each piece's bytes."""
        with self.writing(path) as writer, open(source, "rb") as reader:
            while chunk := reader.read(CHUNK_BYTES):
                writer.write(chunk)
                copied(len(chunk))

    def commit(self) -> None:
        """The one moment: from here on the files count as written."""
        if not self._paths:
            return
        draft = self._staging / f"{COMMIT}.draft"
        sealed = {"paths": self._paths, "seal": _seal(self._staging, self._paths)}
        with open(draft, "w", encoding="utf-8", newline="\n") as stream:
            json.dump(sealed, stream)
            stream.flush()
            sync_file(stream.fileno())
        sync_folder(self._staging)
        put_in_place(draft, self._staging / COMMIT)
        sync_folder(self._staging)
        _move_into_place(self._folder, self._staging, self._paths)


@contextmanager
def writing_together(folder: Path) -> Iterator[Staging]:
    """Stage files for `folder`; they are put in place when the block ends well.

    The caller holds the folder's lock. An exception inside the block leaves all files as they were.
    """
    staging = folder / f".together.{secrets.token_hex(6)}.part"
    staging.mkdir()
    try:
        staged = Staging(folder, staging)
        yield staged
        staged.commit()
    finally:
        # after a commit that could not be finished the files must stay for the next program
        if not (staging / COMMIT).exists():
            shutil.rmtree(staging, ignore_errors=True)


def is_unfinished(folder: Path) -> bool:
    """Whether files count as written that are not all in place yet."""
    with os.scandir(folder) as entries:
        names = [entry.name for entry in entries if _STAGING.fullmatch(entry.name)]
    return any((folder / name / COMMIT).exists() for name in names)


def _leaves_folder(path: str) -> bool:
    return path.startswith("/") or "\\" in path or ".." in path.split("/")


def finish_writing(folder: Path, *, of_anybody: bool = False) -> list[str]:
    """Bring to an end what a stopped program left: put committed files in place, drop the others.

    Returns the paths of the files that count as written by it. Waits for a program that is at work.
    Raises RefusedInput for what was not begun by this account on this computer, unless it may be
    `of_anybody`, and for a list that leads out of the folder; TreenailError when the folder cannot
    be written to.
    """
    finished: list[str] = []
    with locked(folder):
        for staging in sorted(path for path in folder.iterdir() if _STAGING.fullmatch(path.name)):
            refuse_way_out(folder, staging.name)
            if (staging / COMMIT).exists():
                paths = _committed(folder, staging, of_anybody=of_anybody)
                try:
                    _move_into_place(folder, staging, paths)
                    finished += paths
                except OSError as error:
                    raise TreenailError(
                        f"{folder} holds an import that was stopped half-way and cannot be "
                        f"finished: {error}; make the folder writable and try again"
                    ) from error
            else:
                shutil.rmtree(staging)
    return finished


def _seal(staging: Path, paths: Sequence[str]) -> str:
    """What tells a list of this account's own; '' where no key of it can be kept."""
    key = own_key()
    said = json.dumps([staging.name, *paths]).encode()
    return hmac.digest(key, said, "sha256").hex() if key else ""


def _committed(folder: Path, staging: Path, *, of_anybody: bool) -> list[str]:
    """The paths that a stopped program was about to put in place, once each is harmless."""
    refuse_way_out(folder, f"{staging.name}/{COMMIT}")
    remedy = f"if no one can say what it is, remove {staging}"
    raw = read_json(staging / COMMIT, remedy=remedy)
    # before there were seals the list stood alone
    paths = raw.get("paths") if isinstance(raw, dict) else raw
    seal = raw.get("seal") if isinstance(raw, dict) else ""
    if not isinstance(paths, list) or not all(isinstance(one, str) for one in paths):
        raise RefusedInput(staging / COMMIT, "is not a list of files", remedy=remedy)
    for place, path in enumerate(paths):
        refuse_way_out(folder, path)
        refuse_way_out(staging, str(place))
    own = _seal(staging, paths)
    if not of_anybody and not (own and hmac.compare_digest(str(seal).encode(), own.encode())):
        shown = listed(paths, 3)
        raise RefusedInput(
            folder,
            f"holds a write of {shown} that was stopped half-way and was not begun by this account "
            "on this computer",
            remedy=f"open it once where it was begun; or, if you trust the sender, "
            f"'treenail change finish {folder}' puts these files in place",
        )
    return paths


def _move_into_place(folder: Path, staging: Path, paths: Sequence[str]) -> None:
    parents = set()
    for place, path in enumerate(paths):
        staged, target = staging / str(place), folder / path
        if not staged.exists():  # moved before the program was stopped
            continue
        refuse_way_out(folder, path)
        target.parent.mkdir(parents=True, exist_ok=True)
        put_in_place(staged, target)
        parents.add(target.parent)
    for parent in sorted(parents):
        sync_folder(parent)
    # the list goes first: without it the rest of the staging folder counts for nothing
    (staging / COMMIT).unlink()
    shutil.rmtree(staging)

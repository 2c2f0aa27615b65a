"""Writes the BagIt files around a payload (RFC 8493, version 1.0).

The checksums come from the bagit library, and what is written here is validated by it in verify and
in the tests. Its `make_bag` is not used for four reasons: it declares version 0.97, stamps the day
of the clock, orders the tag manifests by chance, and changes the working directory of the process.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

from provenance._bag.hashing import ALGORITHMS, Checksums, hash_files
from provenance._base.disk import write_text
from provenance._base.errors import UnusableInput
from provenance._base.progress import Progress, say_nothing

BAGIT_TXT = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


def write_bag(
    folder: Path,
    info: Mapping[str, str | Sequence[str]],
    *,
    beside: Callable[[Path], None] | None = None,
    progress: Progress = say_nothing,
) -> Checksums:
    """Make a bag of a folder that holds its payload in data/; returns the payload's checksums.

    `info` goes into bag-info.txt, several values of a label line by line; Payload-Oxum is added.
    `beside` may put further tag files into the folder once the manifests are there. Paths are
    sorted, so that the same payload makes the same files. Raises UnusableInput when a file cannot
    be read.
    """
    payload = sorted(payload_files(folder))
    sums = hash_files(folder, dict.fromkeys(payload, ALGORITHMS), progress=progress)
    for path, reason in sums.unreadable.items():
        raise UnusableInput(f"{folder / path} cannot be read: {reason}")
    byte_count = sum(os.path.getsize(os.path.join(folder, path)) for path in payload)
    write_text(folder / "bagit.txt", BAGIT_TXT)
    write_text(
        folder / "bag-info.txt",
        _tag_lines({**info, "Payload-Oxum": f"{byte_count}.{len(payload)}"}),
    )
    for algorithm in ALGORITHMS:
        lines = (f"{sums.digests[path][algorithm]}  {path}\n" for path in payload)
        write_text(folder / f"manifest-{algorithm}.txt", "".join(lines))
    if beside:
        beside(folder)
    tags = sorted(path.name for path in folder.iterdir() if path.is_file())
    tag_sums = hash_files(folder, dict.fromkeys(tags, ALGORITHMS))
    for algorithm in ALGORITHMS:
        lines = (f"{tag_sums.digests[tag][algorithm]}  {tag}\n" for tag in tags)
        write_text(folder / f"tagmanifest-{algorithm}.txt", "".join(lines))
    return sums


def payload_files(folder: Path) -> Iterator[str]:
    """The paths of the files under data/, from the bag's folder, with forward slashes."""
    for where, folders, names in os.walk(folder / "data"):
        folders.sort()
        inside = Path(where).relative_to(folder).as_posix()
        for name in sorted(names):
            yield f"{inside}/{name}"


def files_of(folder: Path) -> list[str]:
    """The paths of all files of a bag, tag files too, in order and with forward slashes."""
    return sorted(
        (Path(where) / name).relative_to(folder).as_posix()
        for where, _, names in os.walk(folder)
        for name in names
    )


def tag_pairs(text: str) -> list[tuple[str, str]]:
    """The labels and values of a bag-info.txt in their order (RFC 8493 section 2.2.2)."""
    pairs: list[tuple[str, str]] = []
    for line in text.splitlines():
        if line[:1] in (" ", "\t") and pairs:
            label, value = pairs[-1]
            pairs[-1] = (label, f"{value} {line.strip()}")
        elif ":" in line:
            label, _, value = line.partition(":")
            pairs.append((label, value.strip()))
    return pairs


def tags_in(text: str) -> dict[str, str]:
    """The tags of a bag-info.txt, the first of each label."""
    return dict(reversed(tag_pairs(text)))


def _tag_lines(info: Mapping[str, str | Sequence[str]]) -> str:
    """The lines of a tag file, by label; a value never breaks its line (section 2.2.2)."""
    lines = []
    for label, said in sorted(info.items()):
        values = [said] if isinstance(said, str) else said
        lines += [f"{label}: {' '.join(value.split())}\n" for value in values]
    return "".join(lines)

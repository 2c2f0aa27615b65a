"""Changes tag files of a bag: lines of bag-info.txt, and the lists of the tag files' checksums."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from pathlib import Path

from provenance._base.errors import UnusableInput

BAG_INFO = "bag-info.txt"


def info_lines(folder: Path) -> list[tuple[str, str]]:
    """The labels of the bag-info.txt of the bag in `folder`, each with its whole entry.

    An entry may run over several lines (RFC 8493 section 2.2.2).
    Raises UnusableInput when the file is not in UTF-8.
    """
    entries: list[str] = []
    for line in _text_of(folder / BAG_INFO).splitlines():
        if line[:1] in (" ", "\t") and entries:
            entries[-1] += f"\n{line}"
        elif line.strip():
            entries.append(line)
    return [(one.partition(":")[0].strip(), one) for one in entries]


def info_bytes(entries: Iterable[str]) -> bytes:
    """A bag-info.txt with these entries, in the order of their labels."""
    ordered = sorted(entries, key=lambda one: one.partition(":")[0])
    return "".join(f"{one}\n" for one in ordered).encode("utf-8")


def with_tag_manifests(folder: Path, changed: Mapping[str, bytes]) -> dict[str, bytes]:
    """The tag files that are put in or changed, with every list of checksums that follows.

    `changed` maps paths in the verified bag in `folder` to their new bytes.
    Raises UnusableInput when a list is not in UTF-8, which a bag may be (RFC 8493).
    """
    lists = {path.name: _text_of(path) for path in folder.glob("tagmanifest-*.txt")}
    sums = {
        name: _with_sums(text, Path(name).stem.removeprefix("tagmanifest-"), changed)
        for name, text in sorted(lists.items())
    }
    return {**changed, **sums}


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise UnusableInput(
            f"{path} is not in UTF-8 (byte {error.start + 1}), so nothing can be written into it; "
            "ask for the bundle with its tag files in UTF-8"
        ) from None


def _with_sums(text: str, algorithm: str, tags: Mapping[str, bytes]) -> bytes:
    """The list of the tag files' checksums with those of `tags`, which are new or have changed."""
    lines = [line for line in text.splitlines() if line.partition(" ")[2].strip() not in tags]
    lines += [
        f"{hashlib.new(algorithm, content).hexdigest()}  {name}" for name, content in tags.items()
    ]
    lines.sort(key=lambda line: line.partition(" ")[2].strip())
    return "".join(f"{line}\n" for line in lines).encode("utf-8")

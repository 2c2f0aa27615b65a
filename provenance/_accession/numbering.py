"""Puts an accession number on a bag without touching a byte of what it holds.

The number goes into bag-info.txt, which is no payload (RFC 8493 section 2.2.2); the lists of the
tag files' checksums are the only other files that change.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

from provenance._bundle.describe.lineage import ACCESSION_TAG

FORMER_TAG = "Former-Accession-Number"
"""Where the number of another repository goes that a bundle came with."""


def numbered_tags(folder: Path, number: str) -> dict[str, bytes]:
    """The tag files that change when the bag in `folder` gets a number: name → new content."""
    info = _numbered_info((folder / "bag-info.txt").read_text(encoding="utf-8"), number)
    tags = {"bag-info.txt": info.encode("utf-8")}
    for path in sorted(folder.glob("tagmanifest-*.txt")):
        algorithm = path.stem.removeprefix("tagmanifest-")
        tags[path.name] = _with_sum(path.read_text(encoding="utf-8"), algorithm, tags)
    return tags


def _numbered_info(text: str, number: str) -> str:
    """bag-info.txt with the number, its lines in the order of their labels."""
    entries: list[str] = []
    for line in text.splitlines():
        if line[:1] in (" ", "\t") and entries:
            entries[-1] += f"\n{line}"
        elif line.strip():
            label, colon, value = line.partition(":")
            if label.strip() == ACCESSION_TAG:
                line = f"{FORMER_TAG}{colon}{value}"
            entries.append(line)
    entries.append(f"{ACCESSION_TAG}: {number}")
    return "".join(f"{one}\n" for one in sorted(entries, key=lambda one: one.partition(":")[0]))


def _with_sum(text: str, algorithm: str, tags: Mapping[str, bytes]) -> bytes:
    digest = hashlib.new(algorithm, tags["bag-info.txt"]).hexdigest()
    lines = []
    for line in text.splitlines():
        name = line.partition(" ")[2].strip()
        lines.append(f"{digest}  bag-info.txt\n" if name == "bag-info.txt" else f"{line}\n")
    return "".join(lines).encode("utf-8")

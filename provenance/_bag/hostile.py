"""Looks a bundle over that may be meant to do harm, before a byte of it is read.

Kinds of harm: RFC 8493 section 5.1 (names that lead out of a bag), CWE-22, CWE-59 and CWE-409.
"""

from __future__ import annotations

import os
import shutil
import stat
from collections.abc import Iterator, Mapping
from pathlib import Path

from provenance._bag.names import name_collisions, unsafe_because
from provenance._bag.verdict import BundleFinding
from provenance._base.errors import UnusableInput
from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._gate.folders import what_it_is
from provenance._gate.refusal import RefusedInput
from provenance._record.remote import Place

DO_NOT_OPEN = "Do not unpack it with other programs; ask the sender what it is."
MOST_SHOWN = 200


class HostileBundle(RefusedInput):
    """A bundle that cannot be opened in safety or as a whole; `findings` says why."""

    def __init__(self, bundle: Place, findings: list[BundleFinding]) -> None:
        self.findings = findings
        first = findings[0]
        what = " ".join(part for part in (first.path, first.message) if part)
        super().__init__(str(bundle), what, remedy=first.remedy)
        self.args = (f"{bundle}: {what}. {first.remedy}",)


def container_finding(rule: str, path: str, message: str) -> BundleFinding:
    """An error of the container."""
    return BundleFinding("container", "error", rule, path[:MOST_SHOWN], message, DO_NOT_OPEN)


def _unsafe_name(path: str, reason: str) -> BundleFinding:
    return container_finding("container.unsafe_name", repr(path), f"is not a safe name: {reason}")


# -- folders -------------------------------------------------------------------------------------


def listed_folder(
    folder: Path, limits: Budget = DEFAULT_BUDGET, *, twins: bool = False
) -> dict[str, int]:
    """The size in bytes of every file below a folder, by its path in it; none is opened.

    Raises HostileBundle for links, devices, names that lead astray, names that some systems take
    for one (unless `twins`), and anything beyond `limits`.
    """
    findings: list[BundleFinding] = []
    sizes: dict[str, int] = {}
    to_do = [(folder, "")]
    while to_do:
        where, prefix = to_do.pop()
        with os.scandir(where) as entries:
            for entry in entries:
                path = f"{prefix}{entry.name}"
                if reason := unsafe_because(path, limits):
                    findings.append(_unsafe_name(path, reason))
                    continue
                status = entry.stat(follow_symlinks=False)
                if stat.S_ISDIR(status.st_mode):
                    to_do.append((where / entry.name, f"{path}/"))
                elif stat.S_ISREG(status.st_mode):
                    sizes[path] = status.st_size
                else:
                    findings.append(
                        container_finding("container.link", path, what_it_is(status.st_mode))
                    )
                if len(sizes) > limits.most_files:
                    findings.append(too_many(len(sizes), limits))
                    raise HostileBundle(folder, findings)
    _refuse(folder, findings, sizes, limits, twins)
    return sizes


def collisions(names: list[str]) -> Iterator[BundleFinding]:
    """The names that some systems take for others."""
    for one, other in name_collisions(names):
        yield container_finding(
            "container.name_collision", other, f"is the same name as {one!r} on some systems"
        )


def too_many(count: int, limits: Budget) -> BundleFinding:
    """More files than anybody needs."""
    return container_finding(
        "container.too_many_files", "", f"holds {count} files or more; {limits.most_files} may be"
    )


def too_big(byte_count: int, limits: Budget) -> BundleFinding:
    """More bytes than anybody needs."""
    return container_finding(
        "container.too_big",
        "",
        f"holds {byte_count} bytes when unpacked; {limits.most_total_bytes} may be",
    )


# -- stores --------------------------------------------------------------------------------------


def survey_sizes(
    bundle: Place,
    sizes: Mapping[str, int],
    limits: Budget = DEFAULT_BUDGET,
    *,
    twins: bool = False,
) -> None:
    """Look at the names and sizes that a store lists; raises HostileBundle as `listed_folder`."""
    findings = [
        _unsafe_name(path, reason) for path in sizes if (reason := unsafe_because(path, limits))
    ]
    if len(sizes) > limits.most_files:
        findings.append(too_many(len(sizes), limits))
    _refuse(bundle, findings, sizes, limits, twins)


def _refuse(
    bundle: Place,
    findings: list[BundleFinding],
    sizes: Mapping[str, int],
    limits: Budget,
    twins: bool,
) -> None:
    """Raise HostileBundle for what was found, and for what the names and sizes are together."""
    findings += () if twins else collisions(list(sizes))
    if (total := sum(sizes.values())) > limits.most_total_bytes:
        findings.append(too_big(total, limits))
    if findings:
        raise HostileBundle(bundle, findings)


def refuse_full_disk(bundle: Place, folder: Path, byte_count: int) -> None:
    """Raise UnusableInput when so many bytes do not fit into the temporary `folder`."""
    free = shutil.disk_usage(folder).free
    if byte_count > free:
        raise UnusableInput(
            f"{bundle} needs {byte_count} bytes of room, but only {free} are free in "
            f"{folder.parent}; make room, or set TMPDIR to a folder on a larger disk"
        )

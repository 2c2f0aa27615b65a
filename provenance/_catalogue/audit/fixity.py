"""Examines one bundle for the audit: is it what was packed, and did it hold still meanwhile?"""

from __future__ import annotations

import errno
import hashlib
import os
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from provenance._bag.hashing import NO_CHECKSUMS, Checksums
from provenance._bag.verdict import BundleFinding
from provenance._base.errors import TreenailError, UnusableInput
from provenance._catalogue.database import now
from provenance._catalogue.stores.records import open_source, signature_of
from provenance._catalogue.stores.stores import file_states
from provenance._record.remote import Place, Remote

MOST_FINDINGS = 1_000
"""So many findings of one bundle are kept, with a word about the rest."""

WHOLE = ("sound", "changed", "bag_valid", "bag_warned", "bag_changed")
"""Outcomes of bundles, and bags of others, in which every file is as its list of checksums says."""

_OF_OTHERS = {
    "valid": "bag_valid",
    "valid, with warnings": "bag_warned",
    "incomplete": "bag_incomplete",
    "not valid": "bag_not_valid",
    "not a bag": "not_a_bag",
}
"""The outcome of what holds no record, by the word for it as a bag alone."""

_OF_THE_MACHINE = frozenset(
    {errno.ENOSPC, errno.EDQUOT, errno.EMFILE, errno.ENFILE, errno.ENOMEM, errno.EFBIG}
)
"""Failures that say nothing about the bundle."""

_REMEDY = "Look at the storage and its permissions, then audit again."

_FileState = tuple[str, int, int, int] | tuple[str, str]


@dataclass(frozen=True)
class Examination:
    """What one look at one bundle found.

    `outcome` is explained in schemas/catalogue.yaml; only those in WHOLE mean that all was as it
    should be. `changed` and `bag_changed` the audit tells, for it knows what lay there before.
    `identity` and `signature` as in the catalogue's table `bundle`; `fingerprint` is the SHA-256 of
    the names, sizes and times of all files: where it is as it was and the bytes are not, nobody
    wrote to them, and the storage has decayed. `findings` are plain values with rule, path and
    message.
    """

    path: Place
    started_at: str
    ended_at: str
    seconds: float
    outcome: str
    identity: str
    fingerprint: str
    signature: str
    file_count: int
    byte_count: int
    findings: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class Begun:
    """What was seen of a bundle before its bytes were read; a failure stands in `trouble`."""

    path: Place
    started_at: str
    signature: str = ""
    identity: str = ""
    fingerprint: str = ""
    as_it_was: str = ""
    trouble: OSError | None = None
    seconds: float = 0.0


def examine_bundle(path: Place) -> Examination:
    """Verify a bundle in full, every checksum; never raises for what is wrong with the bundle.

    Its files are listed before and after: one that changes meanwhile is not settled and is never
    called sound.
    """
    return finish_examination(begin_examination(path))


def begin_examination(path: Place) -> Begun:
    """Note how the files of a bundle stand before they are read."""
    started_at, clock = now(), time.monotonic()
    begun = Begun(path, started_at)
    try:
        begun = replace(begun, signature=signature_of(path) or "")
        before = _states(path)
        begun = replace(
            begun,
            fingerprint=_digest(before, with_ctime=False),
            as_it_was=_digest(before, with_ctime=True),
        )
        begun = replace(begun, identity=_identity(path))
    except OSError as error:
        begun = replace(begun, trouble=error)
    return replace(begun, seconds=time.monotonic() - clock)


def finish_examination(
    begun: Begun, known: Checksums = NO_CHECKSUMS, *, seconds: float = 0.0
) -> Examination:
    """Read and judge a bundle, and see whether it stood still since it was begun.

    `known` are checksums of its files that others have computed meanwhile, in `seconds`.
    """
    clock = time.monotonic()
    outcome, files, byte_count, identity = "", 0, 0, begun.identity
    findings: list[dict[str, Any]] = []
    try:
        if begun.trouble:
            raise begun.trouble
        outcome, files, byte_count, findings, of_bag = _verify(begun.path, known)
        identity = of_bag or identity
        if begun.as_it_was != _digest(_states(begun.path), with_ctime=True):
            outcome = "unsettled"
            word = "its files changed while they were read; it is examined again at the next audit"
            findings.insert(0, finding("audit.unsettled", "", word))
    except OSError as error:
        outcome = "not_examined" if error.errno in _OF_THE_MACHINE else "unreadable"
        where = str(error.filename or "")
        findings = [finding(f"audit.{outcome}", where, error.strerror or str(error))]
    return Examination(
        path=begun.path,
        started_at=begun.started_at,
        ended_at=now(),
        seconds=begun.seconds + seconds + time.monotonic() - clock,
        outcome=outcome,
        identity=identity,
        fingerprint=begun.fingerprint,
        signature=begun.signature,
        file_count=files,
        byte_count=byte_count,
        findings=tuple(_cut(findings)),
    )


def _verify(path: Place, known: Checksums) -> tuple[str, int, int, list[dict[str, Any]], str]:
    """Outcome, files, bytes and findings; the identity too of a bag that holds no record."""
    from provenance._bundle.verify import verify_bundle

    try:
        verdict = verify_bundle(path, known=known)
    except UnusableInput as error:
        if cause := _os_error(error):
            raise cause from error
        # a zip that cannot be opened or unpacked
        return "damaged", 0, 0, [finding("audit.not_opened", "", str(error))], ""
    except TreenailError as error:
        return "faulty", 0, 0, [finding("audit.not_judged", "", str(error))], ""
    errors = [vars(one) for one in verdict.findings if one.severity == "error"]
    others = [vars(one) for one in verdict.findings if one.severity != "error"]
    unread = [one for one in errors if one["rule"] == "bag.file_unreadable"]
    if verdict.sound:
        outcome = "sound"
    elif unread and len(unread) == len(errors):
        outcome = "unreadable"
    elif verdict.as_bag:
        outcome = _OF_OTHERS[verdict.as_bag.word]
    elif verdict.intact:
        outcome = "faulty"
    else:
        outcome = "damaged"
    identity = verdict.as_bag.identity if verdict.as_bag else ""
    return outcome, verdict.file_count, verdict.byte_count, errors + others, identity


def _os_error(error: BaseException) -> OSError | None:
    """The failure of the operating system behind an error, if there is one."""
    below: BaseException | None = error
    while below is not None:
        if isinstance(below, OSError):
            return below
        below = below.__cause__
    words = str(error)
    if "make room" in words:
        # refused beforehand, because a zip would not fit where it is unpacked
        return OSError(errno.ENOSPC, words)
    return None


def _identity(path: Place) -> str:
    try:
        with open_source(path) as source:
            return source.identity()
    except UnusableInput as error:
        if cause := _os_error(error):
            raise cause from error
        return ""


def _states(path: Place) -> list[_FileState]:
    """(name, size, mtime, ctime) of every file; links are not followed, a missing path raises.

    Of a file in a store: (name, what the store tells of it).
    """
    if isinstance(path, Remote):
        return list(file_states(path))
    if not path.is_dir():
        return [_state(path, "")]
    found = []
    to_do = [(path, "")]
    while to_do:
        folder, prefix = to_do.pop()
        with os.scandir(folder) as entries:
            for entry in entries:
                if entry.is_dir(follow_symlinks=False):
                    to_do.append((folder / entry.name, f"{prefix}{entry.name}/"))
                else:
                    found.append(_state(folder / entry.name, f"{prefix}{entry.name}"))
    return sorted(found)


def _state(path: Path, name: str) -> _FileState:
    state = path.stat(follow_symlinks=False)
    return name, state.st_size, state.st_mtime_ns, state.st_ctime_ns


def _digest(states: list[_FileState], *, with_ctime: bool) -> str:
    digest = hashlib.sha256()
    for one in states:
        digest.update(repr(one if with_ctime else one[:3]).encode("utf-8", "surrogateescape"))
    return digest.hexdigest()


def finding(rule: str, path: str, message: str, remedy: str = _REMEDY) -> dict[str, Any]:
    """A finding about the examination itself, as plain values."""
    return vars(BundleFinding("container", "error", rule, path, message, remedy))


def _cut(findings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    if len(findings) <= MOST_FINDINGS:
        return findings
    left = len(findings) - MOST_FINDINGS
    word = f"there are {left} more findings, which are not kept; 'treenail verify' lists them all"
    return [*findings[:MOST_FINDINGS], finding("audit.cut_short", "", word)]

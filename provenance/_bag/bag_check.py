"""Validates a bag (RFC 8493) that may come from a stranger, and names every file that is wrong.

The bagit library is the judge of structure, sizes and completeness. Before it opens anything, the
manifests are looked through here: the library follows a path such as '../bag-2/x' beside a bag
named 'bag', stops at the first bad line, and lets a file be missing from one of two manifests.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance._bag.hashing import NO_CHECKSUMS, Checksums, hash_files
from provenance._bag.names import unsafe_because
from provenance._bag.verdict import BundleFinding
from provenance._base.progress import Progress, say_nothing
from provenance._gate.budget import DEFAULT_BUDGET, Budget

HEX_DIGITS = {"md5": 32, "sha1": 40, "sha224": 56, "sha256": 64, "sha384": 96, "sha512": 128}
WEAK = frozenset({"md5", "sha1"})
ENCODINGS = frozenset({"utf-8", "utf8", "us-ascii", "ascii", "iso-8859-1", "utf-16"})
MANIFEST = re.compile(r"(tag)?manifest-([A-Za-z0-9]+)\.txt")
_ASK_AGAIN = "Ask for the bundle again; do not repair it by hand."


@dataclass(frozen=True)
class JudgedBag:
    """Every fault of a bag, and the checksums that were found on the way."""

    findings: list[BundleFinding]
    sums: Checksums


def judge_bag(
    folder: Path,
    *,
    fast: bool = False,
    known: Checksums = NO_CHECKSUMS,
    limits: Budget = DEFAULT_BUDGET,
    progress: Progress = say_nothing,
) -> JudgedBag:
    """Look for every fault of the bag in `folder`, which must hold plain files and folders only.

    `fast` compares names and the sum of sizes; otherwise every checksum is computed again, but for
    files of which `known` has it, as it was found when they were read elsewhere.
    `progress` is told the bytes hashed and in total.
    """
    findings = list(_check_tag_files(folder, limits))
    if any(one.severity == "error" for one in findings):
        return JudgedBag(findings, known)
    from bagit import BagError, BagValidationError, normalize_unicode

    with _quiet_library():
        try:
            bag = _library_bag(folder)
        # the library takes the tags of a stranger's bag-info.txt at their word
        except (BagError, ValueError, LookupError, TypeError, AttributeError) as error:
            return JudgedBag([*findings, _finding("bag.invalid", "", str(error))], known)
        try:
            # structure and sizes only: names and contents are compared below, file by file
            bag.validate(fast=bag.has_oxum(), completeness_only=True)
        except BagValidationError as error:
            if not error.details:
                findings.append(_finding("bag.invalid", "", str(error)))
        except (BagError, ValueError, LookupError, TypeError, AttributeError) as error:
            findings.append(_finding("bag.invalid", "", str(error)))
        missing, extra = bag.compare_manifests_with_fs()
    findings += [
        _finding("bag.file_missing", path, "is listed in a manifest but is not in the bundle")
        for path in sorted(missing)
    ]
    findings += [
        _finding("bag.file_extra", path, "is in the bundle but in no manifest")
        for path in sorted(extra)
    ]
    if not fast:
        # a name may have changed its Unicode form on the way; the library knows both forms
        on_disk = bag.normalized_filesystem_names
        wanted = {
            on_disk.get(normalize_unicode(path), path): sums
            for path, sums in bag.entries.items()
            if path not in missing
        }
        known = _summed(folder, wanted, known, progress)
        findings += compare_sums(wanted, known)
    return JudgedBag(findings, known)


def _finding(rule: str, path: str, message: str, remedy: str = _ASK_AGAIN) -> BundleFinding:
    return BundleFinding("bag", "error", rule, path, message, remedy)


def _library_bag(folder: Path) -> Any:
    """The bag as the library sees it, raising what the library does.

    Its own look at each path for a link or step that leads out resolves the path twice, which was
    half of the time of a bag of many small files; names and links have been judged before.
    """
    from bagit import Bag

    class JudgedPaths(Bag):  # type: ignore[misc]
        def _path_is_dangerous(self, path: str) -> bool:
            return False

    return JudgedPaths(str(folder))


@contextmanager
def _quiet_library() -> Iterator[None]:
    """Keep the library from writing to standard error what the verdict says anyway."""
    logger = logging.getLogger("bagit")
    before = logger.disabled
    logger.disabled = True
    try:
        yield
    finally:
        logger.disabled = before


# -- tag files and manifests, before anything in them is followed ---------------------------------


def _check_tag_files(folder: Path, limits: Budget) -> Iterator[BundleFinding]:
    if not (folder / "bagit.txt").is_file():
        yield _finding("bag.no_declaration", "bagit.txt", "is missing, so this is not a BagIt bag")
        return
    for path in sorted(one for one in folder.iterdir() if one.is_file()):
        manifest = MANIFEST.fullmatch(path.name)
        most = limits.most_manifest_bytes if manifest else limits.most_tag_bytes
        if path.name.endswith(".txt") and path.stat().st_size > most:
            yield _finding(
                "bag.tag_file_too_big",
                path.name,
                f"has {path.stat().st_size} bytes; more than {most} is more than sense",
            )
            return
    if (folder / "fetch.txt").exists():
        yield _finding(
            "bag.incomplete",
            "fetch.txt",
            "names files that are to be fetched from elsewhere; an archive bundle holds everything "
            "itself, and nothing is fetched",
            "Ask for the complete bundle.",
        )
    encoding = _declared_encoding(folder / "bagit.txt")
    if encoding not in ENCODINGS:
        yield _finding("bag.encoding", "bagit.txt", f"declares the encoding {encoding!r}")
        return
    yield from _check_manifests(folder, encoding, limits)


def _declared_encoding(path: Path) -> str:
    match = re.search(
        rb"^Tag-File-Character-Encoding:[ \t]*([\w.:-]{1,40})", path.read_bytes(), re.MULTILINE
    )
    return match.group(1).decode("ascii", "replace").lower() if match else ""


def _check_manifests(folder: Path, encoding: str, limits: Budget) -> Iterator[BundleFinding]:
    listed: dict[str, set[str]] = {}
    tags: set[str] | None = None
    for path in sorted(folder.iterdir()):
        match = MANIFEST.fullmatch(path.name)
        if not match:
            continue
        of_tags, algorithm = match.groups()
        if algorithm not in HEX_DIGITS:
            yield _finding("bag.unknown_checksum", path.name, f"uses the unknown '{algorithm}'")
            continue
        names, faults = _read_manifest(
            path, encoding, HEX_DIGITS[algorithm], bool(of_tags), limits.most_faults_named
        )
        yield from faults
        if of_tags:
            tags = names | (tags or set())
        else:
            listed[algorithm] = names
    if not listed:
        yield _finding("bag.no_manifest", "", "the bundle has no list of checksums")
        return
    if tags is not None:
        yield from _unlisted_tags(folder, tags)
    if set(listed) <= WEAK:
        yield BundleFinding(
            "bag",
            "warning",
            "bag.weak_checksums",
            f"manifest-{min(listed)}.txt",
            "the only checksums are MD5 or SHA-1, which can be forged",
            "Trust it against accident, not against intent; pack it again with SHA-256.",
        )
    everything = set().union(*listed.values())
    for algorithm, names in listed.items():
        for name in sorted(everything - names):
            yield _finding(
                "bag.file_unlisted", name, f"is missing from manifest-{algorithm}.txt alone"
            )


def _unlisted_tags(folder: Path, tags: set[str]) -> Iterator[BundleFinding]:
    """Files beside data/ that no tag manifest lists; RFC 8493 section 2.2.1 lets them be there."""
    beside = [one for top in folder.iterdir() if top.name != "data" for one in _files_at(top)]
    for name in sorted(one.relative_to(folder).as_posix() for one in beside):
        if name.startswith("tagmanifest-") or name in tags:
            continue
        yield BundleFinding(
            "bag",
            "warning",
            "bag.tag_file_unlisted",
            name,
            "has no checksum, so it cannot be known whether it was added or changed later",
            "Trust nothing that it says; ask the sender whether it belongs here.",
        )


def _files_at(top: Path) -> list[Path]:
    return [top] if top.is_file() else [one for one in top.rglob("*") if one.is_file()]


def _read_manifest(
    path: Path, encoding: str, hex_digits: int, of_tags: bool, most_faults: int
) -> tuple[set[str], list[BundleFinding]]:
    names: set[str] = set()
    faults: list[BundleFinding] = []
    line_pattern = re.compile(rf"([0-9A-Fa-f]{{{hex_digits}}})[ \t]+\*?(.+)")
    try:
        # newline handling as RFC 8493 section 2.1.3 has it: CR, LF or both end a line, nothing else
        with open(path, encoding=encoding) as stream:
            for number, line in enumerate(stream, start=1):
                if len(faults) >= most_faults:
                    message = f"has {most_faults} wrong lines and more; it is read no further"
                    return names, [*faults, _finding("bag.manifest_line", path.name, message)]
                if line.strip():
                    match = line_pattern.fullmatch(line.removesuffix("\n"))
                    name = match[2].removeprefix("./") if match else ""
                    if fault := _fault_of_line(path.name, number, name, names, of_tags):
                        faults.append(fault)
                    if match:
                        names.add(name)
    except UnicodeError as error:
        return set(), [_finding("bag.manifest_unreadable", path.name, str(error))]
    return names, faults


def _fault_of_line(
    manifest: str, number: int, name: str, names: set[str], of_tags: bool
) -> BundleFinding | None:
    """What is wrong with the line of a manifest that names a file, '' where it names none."""
    if not name:
        return _finding("bag.manifest_line", manifest, f"line {number} is not checksum and path")
    if reason := unsafe_because(name):
        return _finding(
            "bag.unsafe_path",
            manifest,
            f"line {number} names {name[:200]!r}, which is not followed: {reason}",
        )
    if name.startswith("data/") == of_tags:
        where = "outside" if of_tags else "inside"
        message = f"line {number}: {name!r} is not {where} data/"
        return _finding("bag.manifest_line", manifest, message)
    if name in names:
        return _finding("bag.manifest_line", manifest, f"line {number} names {name!r} again")
    return None


# -- checksums -----------------------------------------------------------------------------------


def _summed(
    folder: Path, wanted: dict[str, dict[str, str]], known: Checksums, progress: Progress
) -> Checksums:
    """The checksums of all wanted files: those known already, and the others computed."""
    left = {
        path: tuple(sums)
        for path, sums in wanted.items()
        if path not in known.unreadable and not set(sums) <= set(known.digests.get(path, ()))
    }
    return known.with_more(hash_files(folder, left, progress=progress))


def compare_sums(wanted: dict[str, dict[str, str]], found: Checksums) -> Iterator[BundleFinding]:
    """The files that cannot be read or are not those of which the manifests have the checksums."""
    for path, reason in sorted(found.unreadable.items()):
        if path in wanted:
            yield _finding("bag.file_unreadable", path, f"cannot be read: {reason}")
    for path, sums in sorted(wanted.items()):
        if path in found.unreadable:
            continue
        digests = found.digests[path]
        wrong = sorted(name for name, digest in sums.items() if digests[name] != digest.lower())
        if wrong:
            yield _finding(
                "bag.file_differs",
                path,
                f"is not what was packed: {' and '.join(wrong)} differ{'s' * (len(wrong) == 1)} "
                "from the manifest",
            )

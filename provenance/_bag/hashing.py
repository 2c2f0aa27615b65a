"""Computes the checksums of many files on all cores, in flat memory.

The hashing itself is `generate_manifest_lines` of the bagit library, run in threads: hashlib lets
other threads run while it works, so threads reach what processes do, without a second copy of the
program and without changing the working directory, as the library's own pool needs.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from functools import partial
from itertools import islice
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from provenance._bag.verdict import BundleFinding
from provenance._base.progress import Progress, say_nothing

ALGORITHMS = ("sha256", "sha512")
BATCH_BYTES = 8 << 20
BATCH_FILES = 256

_Job = tuple[tuple[str, ...], tuple[str, ...]]
"""Files that one thread hashes one after the other, and the algorithms."""

Given = TypeVar("Given")
Made = TypeVar("Made")


@dataclass(frozen=True)
class Checksums:
    """Checksums by file and algorithm, and the files that could not be read, with the reason.

    `faults` are findings about the container that came up on the way: members of a zip that are
    damaged inside it.
    """

    digests: Mapping[str, Mapping[str, str]]
    unreadable: Mapping[str, str]
    faults: tuple[BundleFinding, ...] = ()

    def with_more(self, other: Checksums) -> Checksums:
        """Both together; they are of different files."""
        return Checksums(
            {**self.digests, **other.digests},
            {**self.unreadable, **other.unreadable},
            self.faults + other.faults,
        )


NO_CHECKSUMS = Checksums({}, {})


def count_cores() -> int:
    """The cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def hash_files(
    folder: Path,
    paths: Mapping[str, Sequence[str]],
    *,
    threads: int | None = None,
    progress: Progress = say_nothing,
) -> Checksums:
    """Hash files under `folder`.

    `paths` maps each relative path to the algorithms wanted for it. `progress` is told the bytes
    done and in total. A file that cannot be read is named in the result, not raised.
    """
    threads = threads or count_cores()
    root = os.fspath(folder)
    sizes = {path: _size(os.path.join(root, path)) for path in paths}
    total = sum(sizes.values())
    digests: dict[str, dict[str, str]] = {path: {} for path in paths}
    unreadable: dict[str, str] = {}
    done = 0.0
    jobs = _jobs(paths, sizes, largest_alone=total // threads)
    for results in in_threads(partial(_hash_job, root), jobs, threads):
        for path, result in results:
            if isinstance(result, OSError):
                unreadable[path] = result.strerror or str(result)
            else:
                digests[path].update(result)
                done += sizes[path] * len(result) / len(paths[path])
        progress(int(done), total)
    read = {path: MappingProxyType(one) for path, one in digests.items() if path not in unreadable}
    return Checksums(MappingProxyType(read), MappingProxyType(unreadable))


def in_threads(
    work: Callable[[Given], Made], jobs: Iterator[Given], threads: int
) -> Iterator[Made]:
    """What comes of the jobs, done in so many threads, as each is done."""
    with ThreadPoolExecutor(threads) as pool:
        running: set[Future[Made]] = set()
        while True:
            # a few jobs ahead and no more: a million queued jobs would cost a gigabyte
            for job in islice(jobs, 2 * threads - len(running)):
                running.add(pool.submit(work, job))
            if not running:
                return
            finished, running = wait(running, return_when=FIRST_COMPLETED)
            yield from (future.result() for future in finished)


def _size(path: str) -> int:
    try:
        return os.stat(path).st_size
    except OSError:
        return 0


def _jobs(
    paths: Mapping[str, Sequence[str]], sizes: Mapping[str, int], *, largest_alone: int
) -> Iterator[_Job]:
    """Largest files first, so that no thread is left alone with a large one at the end."""
    batches: dict[tuple[str, ...], list[str]] = {}
    bytes_in: dict[tuple[str, ...], int] = {}
    for path in sorted(paths, key=lambda one: (-sizes[one], one)):
        algorithms = tuple(paths[path])
        if sizes[path] > max(largest_alone, BATCH_BYTES):
            # one file is most of the work: its algorithms share the cores instead
            yield from (((path,), (algorithm,)) for algorithm in algorithms)
            continue
        batch = batches.setdefault(algorithms, [])
        batch.append(path)
        bytes_in[algorithms] = bytes_in.get(algorithms, 0) + sizes[path]
        if bytes_in[algorithms] >= BATCH_BYTES or len(batch) >= BATCH_FILES:
            yield tuple(batch), algorithms
            batches[algorithms], bytes_in[algorithms] = [], 0
    for algorithms, batch in batches.items():
        if batch:
            yield tuple(batch), algorithms


def _hash_job(folder: str, job: _Job) -> list[tuple[str, dict[str, str] | OSError]]:
    from bagit import generate_manifest_lines

    paths, algorithms = job
    results: list[tuple[str, dict[str, str] | OSError]] = []
    for path in paths:
        try:
            lines = generate_manifest_lines(os.path.join(folder, path), algorithms=algorithms)
        except OSError as error:
            results.append((path, error))
        else:
            results.append((path, {algorithm: digest for algorithm, digest, _, _ in lines}))
    return results

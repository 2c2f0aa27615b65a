"""Parts the files of one large bundle into portions that several workers can hash."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from provenance._bag.hashing import Checksums
from provenance._bag.hostile import listed_folder
from provenance._bag.limits import DEFAULT_LIMITS
from provenance._bag.streaming import (
    Container,
    Folder,
    batches,
    hash_members,
    is_read_as_file,
    opened_container,
)
from provenance._record.remote import Place

MOST_FILES = 20_000


@dataclass(frozen=True)
class Portion:
    """Some files of a bundle, by their paths in it; the `number` of the portion counts from 0."""

    bundle: Place
    number: int
    paths: tuple[str, ...]


@contextmanager
def _opened(bundle: Place) -> Iterator[Container]:
    if isinstance(bundle, Path) and bundle.is_dir():
        yield Folder(bundle, listed_folder(bundle))
        return
    with opened_container(bundle, DEFAULT_LIMITS) as container:
        yield container


def portions_of(bundle: Place, most_bytes: int) -> tuple[Portion, ...]:
    """The files of a bundle that need no more than hashing, in portions of about `most_bytes`.

    No file is in two of them; a file that is larger is a portion by itself. Raises HostileBundle,
    UnusableInput and OSError, as verifying does.
    """
    with _opened(bundle) as container:
        sizes = container.sizes
        paths = (one for one in sizes if not is_read_as_file(one, sizes[one], DEFAULT_LIMITS))
        portions = enumerate(batches(sizes, paths, most_bytes, MOST_FILES))
        return tuple(Portion(bundle, number, together) for number, together in portions)


def hash_portion(portion: Portion) -> Checksums:
    """The checksums of a portion, for `verify_bundle(known=…)`; raises as `portions_of`."""
    with _opened(portion.bundle) as container:
        there = [path for path in portion.paths if path in container.sizes]
        return hash_members(container, there)

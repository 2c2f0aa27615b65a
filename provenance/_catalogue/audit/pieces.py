"""Shares the examination of large bundles out among workers, file by file, and puts it together.

A large bundle is begun (its files listed), hashed in portions, and finished by one worker, which
judges all that is not checksums. Nothing is stored before it is finished, so a bundle has one
examination whatever becomes of workers meanwhile.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from provenance._bag.hashing import NO_CHECKSUMS, Checksums
from provenance._bag.streaming import (
    batches,
    hash_members,
    is_read_as_file,
    opened_container,
)
from provenance._base.errors import TreenailError
from provenance._catalogue.audit.fixity import (
    Begun,
    Examination,
    begin_examination,
    finish_examination,
)
from provenance._catalogue.stores.spread import Broken
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._record.remote import Place

LARGE_BYTES = 2 * 10**9
"""From here on a bundle is shared out, where there are several workers."""

PORTIONS_OF_LARGE = 4
MOST_FILES = 20_000


@dataclass(frozen=True)
class Portion:
    """Some files of a bundle, by their paths in it; the `number` of the portion counts from 0."""

    bundle: Place
    number: int
    paths: tuple[str, ...]


def portions_of(bundle: Place, most_bytes: int) -> tuple[Portion, ...]:
    """The files of a bundle that need no more than hashing, in portions of about `most_bytes`.

    No file is in two of them; a file that is larger is a portion by itself. Raises HostileBundle,
    UnusableInput and OSError, as verifying does.
    """
    with opened_container(bundle, DEFAULT_BUDGET) as container:
        sizes = container.sizes
        paths = (one for one in sizes if not is_read_as_file(one, sizes[one], DEFAULT_BUDGET))
        portions = enumerate(batches(sizes, paths, most_bytes, MOST_FILES))
        return tuple(Portion(bundle, number, together) for number, together in portions)


def hash_portion(portion: Portion) -> Checksums:
    """The checksums of a portion, for `verify_bundle(known=…)`; raises as `portions_of`."""
    with opened_container(portion.bundle, DEFAULT_BUDGET) as container:
        there = [path for path in portion.paths if path in container.sizes]
        return hash_members(container, there)


@dataclass(frozen=True)
class Large:
    """A large bundle that is to be begun, in portions of about `portion_bytes`."""

    bundle: Place
    portion_bytes: int


@dataclass(frozen=True, eq=False)
class Listed:
    """A large bundle that was begun, and its portions."""

    begun: Begun
    portions: tuple[Portion, ...]


@dataclass(frozen=True, eq=False)
class Finish:
    """A large bundle all of whose portions are hashed; `seconds` is what that took the workers."""

    begun: Begun
    sums: Checksums
    seconds: float


Piece = Place | Large | Portion | Finish
Done = Examination | Listed | tuple[Checksums, float]


@dataclass(frozen=True)
class Piecework:
    """What a worker does with a piece; `whole` examines a bundle that is not shared out."""

    whole: Callable[[Place], Examination]

    def __call__(self, piece: Piece) -> Done:
        """Do one piece."""
        if isinstance(piece, Large):
            begun = begin_examination(piece.bundle)
            try:
                portions = portions_of(piece.bundle, piece.portion_bytes)
            except (TreenailError, OSError):
                # whatever is wrong with it, the examination of the whole says it
                return self.whole(piece.bundle)
            return Listed(begun, portions)
        if isinstance(piece, Portion):
            clock = time.monotonic()
            sums = hash_portion(piece)
            return sums, time.monotonic() - clock
        if isinstance(piece, Finish):
            return finish_examination(piece.begun, piece.sums, seconds=piece.seconds)
        return self.whole(piece)


@dataclass
class _Open:
    listed: Listed
    missing: set[int]
    sums: Checksums = NO_CHECKSUMS
    seconds: float = 0.0
    broken: bool = False


class PutTogether:
    """Gathers the portions of large bundles as they are done."""

    def __init__(self) -> None:
        self._open: dict[Place, _Open] = {}

    def more(self, piece: Piece, done: Done | Broken) -> list[Piece]:
        """What follows from a piece that is done: portions, then the finish."""
        if isinstance(done, Listed):
            portions = done.portions
            if not portions:
                return [Finish(done.begun, NO_CHECKSUMS, 0.0)]
            numbers = {portion.number for portion in portions}
            self._open[done.begun.path] = _Open(done, numbers)
            return list(portions)
        if not isinstance(piece, Portion):
            return []
        gathered = self._open[piece.bundle]
        gathered.missing.discard(piece.number)
        if isinstance(done, Broken):
            gathered.broken = True
        elif isinstance(done, tuple):
            sums, seconds = done
            gathered.sums = gathered.sums.with_more(sums)
            gathered.seconds += seconds
        if gathered.missing:
            return []
        del self._open[piece.bundle]
        if gathered.broken:
            # one worker looks at it from end to end, and says what is wrong
            return [piece.bundle]
        return [Finish(gathered.listed.begun, gathered.sums, gathered.seconds)]

    def outcome(
        self, piece: Piece, done: Done | Broken
    ) -> tuple[Place, Examination | Broken] | None:
        """The bundle that a piece brings to its end, and how; None while it is under way."""
        if isinstance(piece, Portion):
            return None
        if isinstance(piece, Finish):
            bundle = piece.begun.path
        else:
            bundle = piece.bundle if isinstance(piece, Large) else piece
        if isinstance(done, Examination | Broken):
            return bundle, done
        return None

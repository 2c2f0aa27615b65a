"""Finds out which verdict an answer from a bundle bears, and refuses answers from a damaged one."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from provenance._bag.verdict import Verdict
from provenance._base.errors import TreenailError, UnusableInput
from provenance._base.progress import Progress, say_nothing
from provenance._bundle.verify import judge_folder, open_record, opened_bundle, verify_bundle
from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._record.package import DESCRIPTOR, Package, bag_around, open_package
from provenance._record.remote import Place

ORDINARY_BYTES = 256 * 2**20
"""A bundle of so many bytes is verified whole before it answers, which takes a second or two."""


class DamagedAnswer(UnusableInput):
    """A bundle that is not what was packed, so that nothing is told from it unasked."""

    def __init__(self, verdict: Verdict) -> None:
        self.verdict = verdict
        super().__init__(
            f"{verdict.bundle} is not searched, because it is damaged: {verdict.what_is_damaged}. "
            "'treenail verify' lists every fault; ask for the bundle again. --even-if-damaged (in "
            "Python even_if_damaged=True) answers from it anyway"
        )


def bytes_of(bundle: Place) -> int | None:
    """How large a bundle on this machine is; None for one in a store, read over a network."""
    if not isinstance(bundle, Path):
        return None
    if bundle.is_file():
        return bundle.stat().st_size
    return sum(
        os.lstat(os.path.join(folder, name)).st_size
        for folder, _, names in os.walk(bundle)
        for name in names
    )


def verdict_for_answer(
    bundle: Place,
    *,
    even_if_damaged: bool = False,
    most_bytes: int = ORDINARY_BYTES,
    limits: Budget = DEFAULT_BUDGET,
    progress: Progress = say_nothing,
) -> Verdict:
    """The verdict over a bundle that is asked for something: whole, up to `most_bytes`.

    Of a larger one, and of one in a store, names and sizes only are compared, and the verdict says
    so. Raises DamagedAnswer for a damaged one, unless `even_if_damaged`, and UnusableInput for what
    is no bundle.
    """
    try:
        size = bytes_of(bundle)
        whole = size is not None and size <= most_bytes
        verdict = verify_bundle(bundle, fast=not whole, limits=limits, progress=progress)
    except OSError as error:
        raise UnusableInput(f"{bundle} cannot be read: {error.strerror or error}") from error
    refuse_damaged(verdict, even_if_damaged=even_if_damaged)
    return verdict


def refuse_damaged(verdict: Verdict, *, even_if_damaged: bool = False) -> None:
    """Raise DamagedAnswer for the verdict over a damaged bundle, unless `even_if_damaged`.

    Raises UnusableInput for what holds no record.
    """
    verdict.refuse_without_record()
    if verdict.word == "damaged" and not even_if_damaged:
        raise DamagedAnswer(verdict)


@contextmanager
def opened_to_ask(
    place: Path, *, even_if_damaged: bool = False, progress: Progress = say_nothing
) -> Iterator[Package]:
    """A package, or the one in a bundle, which bears the verdict over it, while the block runs.

    Raises DamagedAnswer as `verdict_for_answer`, UnusableInput for a bundle that is not safe to
    read, and UnusablePackage for what is neither.
    """
    place = bag_around(place)
    is_bag = any((place / name).exists() for name in ("bagit.txt", "data"))
    if (place / DESCRIPTOR).is_file() or not (place.is_file() or is_bag):
        yield open_package(place)
        return
    with opened_bundle(place) as folder:
        verdict = judged_to_answer(place, folder, even_if_damaged, progress)
        try:
            yield replace(open_record(folder), bundle=place, verdict=verdict.in_words)
        except TreenailError as error:
            # where a zip was unpacked to is gone when a person reads this
            error.args = tuple(str(one).replace(str(folder), str(place)) for one in error.args)
            raise


def judged_to_answer(
    place: Path, folder: Path, even_if_damaged: bool, progress: Progress
) -> Verdict:
    """The verdict over the opened bundle in `folder`, as `verdict_for_answer` gives it."""
    fast = (bytes_of(folder) or 0) > ORDINARY_BYTES
    verdict = judge_folder(place, folder, fast=fast, limits=DEFAULT_BUDGET, progress=progress)
    refuse_damaged(verdict, even_if_damaged=even_if_damaged)
    return verdict

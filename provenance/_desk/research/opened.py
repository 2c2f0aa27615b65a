"""A bundle as it is opened at the desk: verified first, and a damaged one only on demand."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._bag.verdict import Verdict
from provenance._base.languages import _
from provenance._bundle.verify import open_record, opened_bundle, verify_bundle
from provenance._desk.answers import Instead, Page
from provenance._desk.asked import Asked
from provenance._desk.prepared import prepared, stamp_of
from provenance._record.package import Package

if TYPE_CHECKING:
    from provenance._base.progress import Progress

ALL_THE_SAME = "all-the-same"
"""In an address: a person wants the answer of a damaged bundle."""


@dataclass(frozen=True)
class Opened:
    """A bundle whose verdict is known and whose record can be read; `folder` is the bag's."""

    package: Package
    verdict: Verdict
    folder: Path


def key_of(asked: Asked, what: str) -> Hashable:
    """The key of what was prepared from the bundle as it lies there now."""
    return what, asked.bundle, stamp_of(asked.bundle)


def verdict_of(asked: Asked) -> Verdict:
    """The verdict over the bundle of the address, every byte of it."""
    bundle = asked.bundle
    return prepared(
        asked,
        _("Verifying {name}").format(name=bundle.name),
        key_of(asked, "verdict"),
        lambda progress: verify_bundle(bundle, progress=progress),
    )


def is_answering(asked: Asked, verdict: Verdict) -> bool:
    """Whether a bundle may answer: it is not damaged, or a person wants it all the same."""
    key = key_of(asked, ALL_THE_SAME)
    if asked.query.get(ALL_THE_SAME) == "yes":
        asked.desk.prepared.keep(key, True)
    wanted = key in asked.desk.prepared.ready and can_be_read(verdict)
    return verdict.word != "damaged" or wanted


def can_be_read(verdict: Verdict) -> bool:
    """Whether all tables of a bundle can be read, damaged or not."""
    return "custody" in verdict.looked_at


def opened(asked: Asked) -> Opened:
    """The bundle of the address, to be asked for something.

    Raises Instead with the verdict where it is damaged and nobody wanted its answer all the same,
    and UnusableInput for a bag without a record or one that is not safe to unpack.
    """
    verdict = verdict_of(asked)
    verdict.refuse_without_record()
    if not is_answering(asked, verdict):
        values = {"verdict": verdict, "readable": can_be_read(verdict)}
        raise Instead(Page("research/damaged.html", values))
    bundle = asked.bundle

    def opening(progress: Progress) -> tuple[Package, Path]:
        folder = asked.desk.at_the_end.enter_context(opened_bundle(bundle, progress=progress))
        return replace(open_record(folder), bundle=bundle), folder

    title = _("Opening {name}").format(name=bundle.name)
    package, folder = prepared(asked, title, key_of(asked, "package"), opening)
    return Opened(replace(package, verdict=verdict.in_words), verdict, folder)

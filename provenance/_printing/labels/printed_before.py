"""Remembers on this computer of which samples labels came out of the printer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from provenance._base.disk import write_text
from provenance._base.errors import TreenailError
from provenance._base.locks import locked
from provenance._record.copies import notes_about

if TYPE_CHECKING:
    from provenance._printing.labels.facts import SampleFacts
    from provenance._record.package import Package

_KIND = "labels"


def labels_printed(package: Package) -> frozenset[str]:
    """The samples of which labels were noted as printed; a renamed one needs a new label."""
    path = notes_about(package, _KIND)
    return frozenset(path.read_text("utf-8").splitlines()) if path.is_file() else frozenset()


def note_labels(package: Package, samples: Iterable[str]) -> None:
    """Note that the labels of these samples were printed."""
    path = notes_about(package, _KIND)
    path.parent.mkdir(parents=True, exist_ok=True)
    with locked(path.parent):
        known = sorted(labels_printed(package).union(samples))
        write_text(path, "".join(f"{one}\n" for one in known))


def not_yet_printed(package: Package, facts: Sequence[SampleFacts]) -> list[SampleFacts]:
    """Those of the samples that have no label yet; raises TreenailError where all have one."""
    printed = labels_printed(package)
    left = [one for one in facts if one.sample_id not in printed]
    if facts and not left:
        raise TreenailError("there is nothing to print: labels of all of these were printed before")
    return left

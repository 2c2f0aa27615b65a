"""Asks about records as wholes: is a bundle sound, what changed, which hole is this."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._api.record import Record
from provenance._base.errors import UnusableInput
from provenance._record.remote import Place, place_at

if TYPE_CHECKING:
    from provenance._bag.verdict import Verdict
    from provenance._compare.difference import Difference
    from provenance._identity.locate import Found


def verify(path: str | Path | Record, *, anchors: Sequence[str | Path] = ()) -> Verdict:
    """Verify whether a bundle is sound, and list what is not.

    `path` is a folder, a zip, or an address that fsspec reads. Every checksum is compared. It may
    come from a stranger: no link is followed, nothing in it can write outside a temporary folder.
    `anchors` are what was kept of its custody ledger elsewhere: paths of older bundles, packages or
    registers, or the line 'ledger …' of a receipt. Without any of them no one can know whether the
    ledger was rewritten whole, and `word` is 'not anchored' at best.

    Returns:
        The verdict in a `word`, with everything that is wrong in `frame`; `sound` says whether the
        files and the record are.

    Raises:
        UnusableInput: there is nothing at `path`, it is not a bundle, or an anchor is none.
    """
    from provenance._accession.anchoring import anchors_named
    from provenance._bundle.verify import verify_bundle
    from provenance._ledger.statement import pinned_keys

    place = _place_of(path)
    known = anchors_named([str(one) for one in anchors], place)
    return verify_bundle(place, anchors=known, pins=pinned_keys())


def compare(
    old: str | Path | Record, new: str | Path | Record, *, even_if_damaged: bool = False
) -> Difference:
    """List what changed between two bundles of one record.

    Each may be a bundle or a package. Rows are compared by primary key, cell by cell; files by
    checksum. A damaged bundle is compared only with `even_if_damaged`.

    Returns:
        The difference; `same` when there is none, every cell, row and file of it in `frame`, and
        the `verdicts` over the two bundles.

    Raises:
        UnusableInput: one is neither bundle nor package, is damaged, or lies in a store.
    """
    from provenance._compare.compare import compare as compare_places

    places = []
    for place in map(_place_of, (old, new)):
        if not isinstance(place, Path):
            raise UnusableInput(f"{place} is in a store; copy it to a disk to compare it")
        places.append(place)
    return compare_places(*places, even_if_damaged=even_if_damaged)


def locate(
    reading: str,
    *records: str | Path | Record,
    place: str | None = None,
    even_if_damaged: bool = False,
) -> Found:
    """Find the hole that a worn stamp belongs to.

    `reading` is what can be read: `231`, `2?1` (one cannot be read), `2[38]1` (3 or 8), `2..`,
    `..31` or `2..1` (some may be missing there), `66.` (with its orientation dot), or `6 or 8`; or
    what a label says (`HOLL-231-JV`), or its scanned code, whose check letters must fit. Each of
    `records` is a record, or the path of a package, a bundle, or a folder of them. `place` is the
    building or room that the plug is in, by code, name or kind; one that no record has is left out,
    and `notes` say so. Several copies of one record count once. A damaged bundle is asked only with
    `even_if_damaged`.

    Returns:
        The plugs it may be, ranked by probability, in `frame`; numbers that were reserved and have
        no recorded plug are there with the status 'reserved'. `unrecorded` is the probability that
        it is none of them; `exchanged` are stamps that it would be with two digits exchanged;
        `verdicts` has the verdict over each bundle.

    Raises:
        UnusableInput: no record is named, or one cannot be read.
        TreenailError: the reading says nothing that can be looked for (a ValueError too).
    """
    from provenance._catalogue.plugs import gather_plugs, read_genera
    from provenance._identity.locate import locate_plug
    from provenance._identity.plug_fit import Seen

    if not records:
        raise UnusableInput("no record is named; name at least one in which to look for the plug")
    places = dict.fromkeys(map(_place_of, records))
    verdicts: dict[str, str] = {}
    plugs = [
        plug
        for one in places
        for plug in gather_plugs(one, verdicts=verdicts, even_if_damaged=even_if_damaged)
    ]
    found = locate_plug(plugs, reading, Seen(place=place), genera=read_genera())
    return replace(found, verdicts=verdicts)


def _place_of(record: str | Path | Record) -> Place:
    return record.path if isinstance(record, Record) else place_at(record)

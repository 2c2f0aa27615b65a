"""Says which samples lie in a box, drawer or parcel whose code was scanned."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from provenance._base.errors import UnreadableValue
from provenance._identity.payload import inside_code, is_inside, parcel_code, read_scan
from provenance._ledger.holdings import events_of, holdings_of, samples_in_parcel

if TYPE_CHECKING:
    from provenance._record.snapshot import Snapshot


class Inside(NamedTuple):
    """What is meant, in words ('Box 12 with MB', 'parcel C-1'), and the samples in it."""

    words: str
    samples: tuple[str, ...]


def samples_inside(tables: Snapshot, text: str) -> Inside:
    """What lies in the box, drawer or parcel of a code, as its own label lists it.

    Of a box or drawer those of the code's site that the ledger says lie there, of a parcel those
    that were packed into it. Raises UnreadableValue when nothing does, or the code could be of
    several.
    """
    scanned = read_scan(text)
    sites = sorted({one.upper() for one in tables.column("site", "site_id")})
    if sites and scanned.site_id not in sites:
        raise UnreadableValue(
            scanned.identifier,
            f"is of site {scanned.site_id}, and this record has {', '.join(sites)}",
        )
    site_of = {row["sample_id"]: row["site_id"].upper() for row in tables.rows("sample")}
    # spelled in capitals or not, one holder's box is one box
    found: dict[tuple[str, ...], Inside] = {}
    for one in holdings_of(tables).values():
        if one.gone or one.on_the_way_to or site_of.get(one.sample_id) != scanned.site_id:
            continue
        if inside_code(one.place_held) == scanned.inside:
            words = f"{one.place_held} with {one.holder}" if one.holder else one.place_held
            before = found.get(("box", one.holder), Inside(words, ()))
            found["box", one.holder] = before._replace(samples=(*before.samples, one.sample_id))
    for parcel in tables.column("consignment", "consignment_id"):
        if parcel_code(parcel) == scanned.inside:
            packed = tuple(samples_in_parcel(events_of(tables), parcel))
            found["parcel", parcel] = Inside(f"parcel {parcel}", packed)
    several = [one for one in found.values() if one.samples]
    if not several:
        raise UnreadableValue(
            scanned.identifier,
            "is not the code of a box, drawer or parcel with samples in this ledger",
        )
    if len(several) > 1:
        said = " or ".join(one.words for one in several)
        raise UnreadableValue(scanned.identifier, f"could be {said}; scan the samples themselves")
    return several[0]


def place_named(tables: Snapshot, text: str) -> str:
    """The words of the ledger for the box or drawer whose code was scanned; else the text."""
    if not is_inside(text):
        return text
    scanned = read_scan(text)
    for event in reversed(events_of(tables)):
        if event.place_held and inside_code(event.place_held) == scanned.inside:
            return event.place_held
    raise UnreadableValue(scanned.identifier, "is not the code of a box or drawer in this ledger")

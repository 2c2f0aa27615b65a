"""Finds anchors of a custody ledger where they are kept: receipts, registers, bundles, packages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from provenance._accession.before import is_old_register, old_register
from provenance._base.errors import UnusableInput
from provenance._base.standing import BROKEN
from provenance._bundle.in_place import known_as, opened_in_place
from provenance._bundle.verify import open_record, opened_bundle, verify_bundle
from provenance._ledger.anchors import (
    Anchor,
    anchor_from,
    anchor_in_text,
    anchor_of,
    faults_of,
)
from provenance._record.origin import Ancestor, read_origin
from provenance._record.package import DESCRIPTOR, open_package
from provenance._record.remote import Place
from provenance._store.acts import ACCESSION, Act, read_register
from provenance._store.identity import marks_of

FULL = "full"


def anchors_named(texts: Sequence[str], bundle: Place) -> list[Anchor]:
    """The anchors that a person names, for the ledger of `bundle`.

    Each text is the line of a receipt ('ledger 323 3f2a 91c0 …'), or the path of an older bundle, a
    package or a register. Raises UnusableInput for what is none, is itself damaged or broken, or
    knows nothing of the record in `bundle`.
    """
    return [anchor for text in texts for anchor in _anchors_at(text, bundle)]


def _anchors_at(text: str, bundle: Place) -> list[Anchor]:
    path = Path(text)
    if (typed := anchor_in_text(text, "the receipt")) is not None:
        return [typed]
    if path.suffix.lower() == ".csv" and path.is_file():
        return _in_register(path, bundle)
    if (path / DESCRIPTOR).is_file():
        return _of_package(path, bundle)
    if path.exists():
        return [_of_bundle(path, bundle)]
    raise UnusableInput(
        f"--anchor {text}: it is neither a file nor a line of a receipt. Give an older bundle, a "
        "package, a register (register.csv), or the line 'ledger 323 3f2a 91c0 …' as it appears on "
        "the receipt; an accession number alone is not enough"
    )


def _of_package(folder: Path, bundle: Place) -> list[Anchor]:
    """The ledger of a package as it stands, and that of the bundle it was unpacked from."""
    package = open_package(folder)
    if broken := faults_of(package.tables):
        raise UnusableInput(
            f"{folder} cannot be an anchor, because its own ledger is not valid: "
            f"{broken[0].message}"
        )
    other = _of_another_record(package.name, bundle)
    found = [anchor_of(package.tables, f"the package {folder}{other}")]
    if (origin := read_origin(folder)) and origin.event_count:
        source = f"the bundle that {folder} was unpacked from{other}"
        end = (origin.last_seal, origin.event_count)
        found.append(Anchor(source, *end, origin.bundle.record_date))
    if not any(found):
        raise UnusableInput(f"{folder} has no sealed event, so it cannot be an anchor")
    return [one for one in found if one]


def _of_bundle(path: Path, bundle: Place) -> Anchor:
    verdict = verify_bundle(path)
    if verdict.damage or verdict.ledger is None:
        raise UnusableInput(f"{path} cannot be an anchor: {verdict.in_words}")
    if verdict.ledger.word == BROKEN:
        raise UnusableInput(
            f"{path} cannot be an anchor, because its own ledger is not valid: "
            f"{' '.join(verdict.ledger.said)}"
        )
    with opened_bundle(path) as folder:
        known = known_as(folder)
        source = f"the older bundle {path.name}{_of_another_record(known.name, bundle)}"
        found = anchor_of(open_record(folder).tables, source, on=known.record_date)
    if found is None or known.edition != FULL:
        raise UnusableInput(
            f"{path} has no sealed event, so it cannot be an anchor; a public edition never has"
        )
    return found


def _of_another_record(name: str, bundle: Place) -> str:
    """A word about an anchor that is called otherwise than the record in `bundle`."""
    try:
        here = known_as(bundle).name
    except UnusableInput:
        return ""  # what is wrong with it the verdict says
    return f", which is of '{name}' and not of '{here}'," if name != here else ""


# -- registers -----------------------------------------------------------------------------------


def _in_register(path: Path, bundle: Place) -> list[Anchor]:
    """What a register knows of the ledger of the record in `bundle`.

    Lines behind that of the bundle itself are left out: they are of later days.
    """
    known = known_as(bundle)
    anchors = []
    for act in _acts_of_record(path, known, bundle):
        if act.edition == FULL:
            anchors += anchors_in(act)
        if known.tagmanifest_sha256 in (act.received, act.bag):
            break
    if not anchors:
        raise UnusableInput(f"{path} has no line with the end of the ledger of '{known.name}'")
    return anchors


def _acts_of_record(path: Path, known: Ancestor, bundle: Place) -> list[Act]:
    if is_old_register(path):
        return [act for act in old_register(path) if act.bundle == known.name]
    with opened_in_place(bundle) as package:
        marks = set(marks_of(package.tables))
    return [act for act in read_register(path) if act.kind == ACCESSION and act.marks & marks]


def anchors_in(act: Act) -> list[Anchor]:
    """What an accession knows of the ledger of its record; [] where it had none."""
    if not act.heads:
        return []
    source = f"the register's line of {act.number}"
    kept = anchor_from(source, act.heads, act.events, on=act.happened_on)
    if not act.received_heads or act.received_heads == act.heads:
        return [kept]
    came = anchor_from(source, act.received_heads, act.received_events, on=act.happened_on)
    return [replace(kept, handed_in=came)]

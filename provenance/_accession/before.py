"""Takes over a store of an older version, whose register had one line an accession and no seals."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from datetime import date
from pathlib import Path
from types import MappingProxyType

from provenance._accession.keeping import enter, known_of
from provenance._accession.known import newcomer_in
from provenance._base.errors import TreenailError, UnusableInput
from provenance._bundle.describe.lineage import identity_of
from provenance._bundle.verify import open_record, opened_bundle
from provenance._ledger.anchors import sealed_events
from provenance._ledger.branches import seals_at_ends
from provenance._store.acts import ACCESSION, REGISTER, Act
from provenance._store.door import BROKEN, Newcomer, judge
from provenance._store.store import Store, Writing, is_store
from provenance._store.tables import read_cells

BEFORE = "register-before.csv"
WITHOUT = "taken over without its bundle"
COLUMNS: Mapping[str, str] = MappingProxyType(
    {
        "number": "number",
        "accessioned_on": "happened_on",
        "bundle": "bundle",
        "title": "title",
        "edition": "edition",
        "record_date": "record_date",
        "received_sha256": "received",
        "kept_sha256": "bag",
        "kept_at": "kept_at",
        "depositor": "depositor",
        "receipt": "receipt",
        "ledger_head": "heads",
        "ledger_events": "events",
        "received_head": "received_heads",
        "received_events": "received_events",
    }
)
"""The columns of an older register, and the cells of an act that say the same."""
_FIRST_COLUMNS = tuple(COLUMNS)[:11]
"""Registers that were begun before the ledger's end stood in them."""
_FILLED = ("number", "accessioned_on", "received_sha256", "kept_sha256")
_OF_THE_BUNDLE = ("kind", "recorded_on", "edition", "heads", "events")


def is_old_store(folder: Path) -> bool:
    """Whether a folder is a store that an older version began."""
    return not is_store(folder) and is_old_register(folder / REGISTER)


def is_old_register(path: Path) -> bool:
    """Whether a file is the register of an older version."""
    rows = read_cells(path) if path.is_file() else []
    return bool(rows) and tuple(rows[0]) in (tuple(COLUMNS), _FIRST_COLUMNS)


def take_over(folder: Path, *, on: date, recorded_on: str, by: str = "") -> tuple[Act, ...]:
    """Make a store of one that an older version began; returns the acts of its accessions.

    The lines become acts in their order, cards and ledgers come from the kept bundles. Where one is
    missing or is not the one that the line names, its line stands with blanks and the reason says
    so. The old register is kept as register-before.csv. Nothing is done where it is a store
    already. Raises UnusableInput that names file, line and column for a register that is not whole.
    """
    store = Store(folder)
    with store.writing(on=on, recorded_on=recorded_on, by=by, anew=True) as writing:
        if is_store(folder):
            return ()
        lines = old_register(folder / REGISTER)
        writing.staged.write(BEFORE, (folder / REGISTER).read_bytes())
        for line in lines:
            _enter_line(writing, line)
        return tuple(act for act in writing.acts if act.kind == ACCESSION)


def _enter_line(writing: Writing, line: Act) -> None:
    """One line of the older register; its cells are kept, but for what the bundle itself says."""
    said = asdict(line)
    cells = {name: text for name, text in said.items() if text and name not in _OF_THE_BUNDLE}
    try:
        with _kept(writing.store.folder / line.kept_at, line.bag) as kept:
            known = known_of(writing, kept)
            judged = judge(kept, known.peers)
            follows = " ".join(act.act_id for act in judged.follows)
            with_ledger = judged.word != BROKEN
            cells |= {"follows": follows, "reason": judged.word}
            came = writing.store.folder / line.kept_at
            cells |= _ends_as_received(came.parent / "received" / came.name)
            enter(writing, kept, known, with_ledger=with_ledger, **cells)
    except (TreenailError, OSError) as error:
        why = " ".join(str(error).split())
        unknown = ("received_heads", "received_events")
        cells = {name: text for name, text in cells.items() if name not in unknown}
        cells["reason"] = f"{WITHOUT}: {why}"
        writing.add(ACCESSION, edition=line.edition, **cells)


def _ends_as_received(path: Path) -> dict[str, str]:
    """Where the ledger ended of a bundle beside which another is kept; {} where there is none."""
    if not path.exists():
        return {}
    with opened_bundle(path) as folder:
        ledger = sealed_events(open_record(folder).tables)
    return {
        "received_heads": " ".join(seals_at_ends(ledger)),
        "received_events": str(len(ledger)),
    }


@contextmanager
def _kept(path: Path, bag: str) -> Iterator[Newcomer]:
    """What the bundle that an old line names is known by; raises TreenailError for another one."""
    with opened_bundle(path) as folder:
        if identity_of(folder).tagmanifest_sha256 != bag:
            raise UnusableInput(f"{path} is not the bundle that the register names")
        yield newcomer_in(folder, open_record(folder))


def old_register(path: Path) -> list[Act]:
    """The lines of a register of an older version in their order, as acts without a seal.

    Raises UnusableInput that names file, line and column: what is not whole gives out no numbers.
    """
    rows = read_cells(path)
    found: dict[str, Act] = {}
    for place, row in enumerate(rows[1:], start=2):
        if len(row) not in (len(rows[0]), len(_FIRST_COLUMNS)):
            raise UnusableInput(
                f"{path}, line {place}: it has {len(row)} cells and should have {len(rows[0])}; "
                "restore the register from a copy"
            )
        line = dict(zip(COLUMNS.values(), row, strict=False))
        for column, name in COLUMNS.items():
            if column in _FILLED and not line[name]:
                raise UnusableInput(
                    f"{path}, line {place}, column '{column}': the cell is blank; restore the "
                    "register from a copy"
                )
        act = Act(kind=ACCESSION, recorded_on="", **line)
        if act.number in found:
            raise UnusableInput(
                f"{path}, line {place}, column 'number': {act.number} is there twice; find out "
                "which is right and restore the register"
            )
        found[act.number] = act
    return list(found.values())

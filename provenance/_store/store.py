"""Opens a store, and writes several of its files in one step.

    store.json             its own name, which never changes and is copied along
    repository.yaml        what the repository says of itself
    register.csv           the acts of the store (see acts.py)
    ledger/RECORD.csv      the whole custody ledger of a record, the store's own events behind it
    2026.0001/             one accession: the kept bundle, its receipt, and card.csv, which says
                           what each number of the record stands for and survives the bundle
    place.csv, party.csv … what schemas/store describes

All of these are the truth; the catalogue is made from them and may be deleted. Paths in the
register are relative to the store, so that it may be moved.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from functools import cache, cached_property
from pathlib import Path, PurePosixPath

from provenance._base.errors import UnusableInput
from provenance._base.locks import locked, locked_for_reading
from provenance._base.resources import shipped
from provenance._base.spreadsheet import without_guard
from provenance._gate.documents import read_json
from provenance._ledger.branches import before_of, heads_of, with_all_before
from provenance._ledger.custody import sealed, verify_events
from provenance._ledger.ed25519 import Signer
from provenance._ledger.seals import SEAL, Event
from provenance._record.given_out import Numbers, numbers_bytes
from provenance._record.together import Staging, finish_writing, is_unfinished, writing_together
from provenance._store.acts import (
    LEDGER,
    OPENED,
    REGISTER,
    WITHDRAWN,
    WROTE,
    Act,
    accessions_in,
    ends_of,
    read_register,
    register_bytes,
    sealed_act,
)
from provenance._store.tables import Row, cells_bytes, read_cells, read_rows, rows_bytes

MARKER = "store.json"
CARD = "card.csv"
LEDGERS = "ledger"
FORMER_SAMPLE = "former_sample"
"""The table of a card that says what number a sample bears now that its events call otherwise."""


@dataclass(frozen=True)
class Store:
    """A store as it stands; what is read is read once."""

    folder: Path

    @cached_property
    def store_id(self) -> str:
        """The name that a copy of the store has too."""
        raw = read_json(self.folder / MARKER)
        found = raw.get("store_id") if isinstance(raw, dict) else None
        if not isinstance(found, str) or not found:
            raise UnusableInput(f"{self.folder / MARKER} names no store; restore it from a copy")
        return found

    @cached_property
    def acts(self) -> tuple[Act, ...]:
        """The register; () for a folder that is no store yet, or one of an older version."""
        return read_register(self.folder / REGISTER) if is_store(self.folder) else ()

    @cached_property
    def accessions(self) -> tuple[Act, ...]:
        """The accessions in their order, withdrawn ones too."""
        return tuple(accessions_in(self.acts))

    @cached_property
    def withdrawn(self) -> dict[str, Act]:
        """Numbers whose bundle was taken away on purpose → the act that says why."""
        return {act.number: act for act in self.acts if act.kind == WITHDRAWN}

    def accession(self, number: str) -> Act:
        """The accession of a number; raises UnusableInput when there is none."""
        for act in self.accessions:
            if act.number == number:
                return act
        raise UnusableInput(f"the register in {self.folder} has no accession {number}")

    def ledger(self, record_id: str) -> list[dict[str, str]]:
        """The events of a record, its own and behind them the store's; [] where it has none."""
        path = self.folder / ledger_path(record_id)
        if not path.exists():
            return []
        first, *rows = read_cells(path) or [[]]
        if SEAL not in first or any(len(row) != len(first) for row in rows):
            raise UnusableInput(f"{path} is not a custody ledger; restore it from a copy")
        return [dict(zip(first, row, strict=True)) for row in rows]

    def card(self, accession: Act) -> dict[str, dict[str, str]]:
        """What each number of an accessioned record stands for: table → key → owner.

        {} where the card is not there. Raises UnusableInput when it cannot be read.
        """
        found: dict[str, dict[str, str]] = {}
        for row in read_rows(self.folder / card_path(accession), "card"):
            # a number as found may begin as a formula does
            found.setdefault(row["table"], {})[without_guard(row["key"])] = without_guard(
                row["owner"]
            )
        return found

    def rows(self, table: str) -> list[dict[str, str]]:
        """The rows of a table of the store (place, party …)."""
        return read_rows(self.folder / f"{table}.csv", table)

    @contextmanager
    def writing(
        self,
        *,
        on: date,
        recorded_on: str,
        by: str = "",
        signer: Signer | None = None,
        anew: bool = False,
    ) -> Iterator[Writing]:
        """Hold the store and write what the block adds, all of it or nothing.

        Two curators at once: the second waits here, and then sees what the first has written.
        `on` is the day of the acts, `recorded_on` when they are written down (RFC 3339); `anew`
        when the register of an older version gives way to this one. Raises UnusableInput where
        there is a register and no store.json.
        """
        self.folder.mkdir(parents=True, exist_ok=True)
        with held(self.folder) as now, writing_together(self.folder) as staged:
            _refuse_nameless(now.folder, anew)
            writing = Writing(now, staged, on.isoformat(), recorded_on, by, signer)
            yield writing
            writing.finish()
        for name in _OF_THE_REGISTER:
            self.__dict__.pop(name, None)


_OF_THE_REGISTER = ("acts", "accessions", "withdrawn")
"""What a store has read of its register, until something is written."""


def open_store(folder: Path) -> Store:
    """The store in a folder, once what a stopped program left there is brought to an end.

    Raises UnusableInput when it is none.
    """
    if not (folder / MARKER).is_file():
        raise UnusableInput(
            f"{folder} is not a store: it has no {MARKER}. 'treenail accession' starts one"
        )
    if is_unfinished(folder):
        finish_writing(folder)
    return Store(folder)


@contextmanager
def held(folder: Path, *, to_read: bool = False) -> Iterator[Store]:
    """The store in a folder, in which no other program writes while the block runs.

    What a stopped program left there is brought to an end first. Who only wants `to_read` need not
    be allowed to write there.
    """
    while True:
        # who may write takes away what was not committed, too
        if is_unfinished(folder) or (not to_read and any(folder.glob(".together.*.part"))):
            finish_writing(folder)
        with locked_for_reading(folder) if to_read else locked(folder):
            # another program may have been stopped between the two lines above
            if is_unfinished(folder):
                continue
            yield Store(folder)
            return


def is_store(folder: Path) -> bool:
    """Whether a folder is a store."""
    return (folder / MARKER).is_file()


def card_path(accession: Act) -> str:
    """Where the card of an accession lies in the store."""
    return f"{PurePosixPath(accession.kept_at).parent}/{CARD}"


def ledger_path(record_id: str) -> str:
    """Where the ledger of a record lies in the store."""
    return f"{LEDGERS}/{record_id}.csv"


@cache
def ledger_columns() -> tuple[str, ...]:
    """The columns of a ledger in the store: those of the table custody."""
    raw = json.loads((shipped("schemas") / "tables" / "custody.json").read_text(encoding="utf-8"))
    return tuple(str(one["name"]) for one in raw["fields"])


@dataclass
class Writing:
    """What is being added to a store; nothing of it counts before the block ends.

    Files whose checksum stands in another act, such as a bundle, are `staged`.
    """

    store: Store
    staged: Staging
    on: str
    recorded_on: str
    by: str
    signer: Signer | None
    acts: list[Act] = field(init=False)
    _ends: list[str] = field(init=False)
    _ledgers: dict[str, list[dict[str, str]]] = field(default_factory=dict)
    _cards: dict[str, Numbers] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.put_acts(self.store.acts)
        if not is_store(self.store.folder):
            self.staged.write(MARKER, _marker())
            self.add(OPENED)

    def put_acts(self, acts: Iterable[Act]) -> None:
        """Let the register have these acts, as after a copy was joined."""
        self.acts = list(acts)
        self._ends = ends_of(self.acts)

    def add(self, kind: str, **facts: str) -> Act:
        """Add one act to the register; `facts` are other cells of its line."""
        said = {"happened_on": self.on, "recorded_on": self.recorded_on, "by": self.by} | facts
        act = sealed_act(self._ends, Act(kind=kind, **said), self.signer)
        self.acts.append(act)
        self._ends = [act.act_id]
        return act

    def ledger(self, record_id: str) -> list[dict[str, str]]:
        """The ledger of a record, with what this block has added."""
        return self._ledgers.get(record_id) or self.store.ledger(record_id)

    def card(self, accession: Act) -> Numbers:
        """The card of an accession, with what this block has added."""
        return self._cards.get(accession.act_id) or self.store.card(accession)

    def put_card(self, accession: Act, numbers: Numbers) -> None:
        """Write the card of an accession, whose act has its checksum."""
        self._cards[accession.act_id] = numbers
        self.staged.write(card_path(accession), numbers_bytes(numbers))

    def put_ledger(self, record_id: str, events: Sequence[Event], number: str = "") -> Act:
        """Let a record have this whole ledger; the register says where it ends now.

        `number` is that of the loan or request that the newest events are about.
        Raises UnusableInput when its events do not fit together.
        """
        for fault in verify_events(events):
            raise UnusableInput(f"the ledger of {record_id} cannot be kept: {fault.message}")
        self._ledgers[record_id] = [dict(event) for event in events]
        heads = heads_of(events)
        return self.add(
            LEDGER,
            number=number,
            record_id=record_id,
            heads=" ".join(head.seal for head in heads),
            events=str(len(events)),
        )

    def add_events(
        self, record_id: str, events: Iterable[Event], number: str = ""
    ) -> list[dict[str, str]]:
        """Seal events behind the ledger of a record; returns the whole ledger.

        `events` map columns of the table custody to texts; numbers and seals are filled in here.
        `number` is that of the loan or request that they are about.
        Raises UnusableInput when the ledger does not fit together.
        """
        blank = dict.fromkeys(ledger_columns(), "")
        said = {"recorded_on": self.recorded_on, "recorded_by": self.by}
        added = [blank | said | dict(event) for event in events]
        before = [blank | event for event in self.ledger(record_id)]
        whole = sealed([*before, *added])
        self.put_ledger(record_id, whole, number)
        return whole

    def put_rows(self, table: str, rows: Iterable[Row]) -> Act:
        """Let a table of the store have these rows; the register keeps its checksum."""
        return self.put_file(f"{table}.csv", rows_bytes(table, rows))

    def put_file(self, path: str, content: bytes) -> Act:
        """Write a file of the store; the register keeps its checksum."""
        self.staged.write(path, content)
        return self.add(WROTE, path=path, digest=hashlib.sha256(content).hexdigest())

    def finish(self) -> None:
        """Write what was added, the register last."""
        for record_id, events in self._ledgers.items():
            more = dict.fromkeys(key for event in events for key in event)
            columns = dict.fromkeys((*ledger_columns(), *more))
            self.staged.write(ledger_path(record_id), cells_bytes(tuple(columns), events))
        if len(self.acts) > len(self.store.acts):
            self.staged.write(REGISTER, register_bytes(self.acts))


def _refuse_nameless(folder: Path, anew: bool) -> None:
    if not anew and not is_store(folder) and (folder / REGISTER).exists():
        raise UnusableInput(
            f"{folder} has a {REGISTER} but no {MARKER}; restore {MARKER} from a copy. Where an "
            f"older version began it, 'treenail store take-over {folder}' makes a store of it"
        )


def _marker() -> bytes:
    marker = {"storeVersion": "1", "store_id": secrets.token_hex(16)}
    return (json.dumps(marker, indent=2) + "\n").encode()


def events_known(ledger: Iterable[Event], heads: str) -> set[str]:
    """The seals of the events that some ends of a ledger stand on, themselves included."""
    before = before_of(ledger)
    return with_all_before(before, heads.split()) & before.keys()

"""Brings the catalogue up to a store: its register, ledgers, cards, places and people.

Where a bundle is lost, what it held is taken from the edition before it, and what was new in it
from its card; so the answers are the same whether the catalogue knew the bundle before or not.
"""

from __future__ import annotations

import hashlib
import sqlite3
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from provenance._base.disk import state_of
from provenance._base.errors import TreenailError, UnusableInput
from provenance._catalogue.columns import catalogue_tables
from provenance._catalogue.current import (
    PUBLIC,
    TAKEN_AWAY,
    UNREGISTERED,
    read_instead,
    record_of,
    roles_in,
)
from provenance._catalogue.database import now, transaction
from provenance._catalogue.entry import SAMPLE_COLUMNS, held_beside
from provenance._catalogue.settling import (
    COMMIT_SECONDS,
    FROM_INSIDE,
    HELD_COLUMNS,
    insert_rows,
    put_role,
    put_signature,
    settle_samples,
    signature_in,
)
from provenance._ledger.holdings import Holding
from provenance._record.remote import Place
from provenance._store.acts import ACCESSION, REGISTER, WITHDRAWN, Act
from provenance._store.places import Places
from provenance._store.standing import disputed_in, holdings_in
from provenance._store.store import Store, card_path, ledger_path
from provenance._store.tables import Row
from provenance._store.terms import PREVIOUS, RESTRICTION, restrictions_by_record

_NAMED = {
    "sample_id": "sample",
    "parent_sample_id": "sample",
    "consignment_id": "consignment",
    "from_party_id": "party",
    "to_party_id": "party",
}
"""Columns of a ledger that name rows → the table these stand in."""
_TEXTS = frozenset(SAMPLE_COLUMNS) - {
    "inner_year", "outer_year", "end_from_year", "end_to_year", "felled_from_year",
    "felled_to_year",
}  # fmt: skip


def kept_in(store: Store) -> frozenset[Place]:
    """Where the bundles lie that are read: records that were not withdrawn."""
    gone = store.withdrawn
    return frozenset(
        store.folder / act.kept_at
        for act in store.accessions
        if act.edition and act.number not in gone
    )


def facts_in(store: Store) -> dict[Place, dict[str, str]]:
    """Path → what the register says of the bundle that is kept there, for the table bundle."""
    return {store.folder / act.kept_at: _facts(act) for act in store.accessions}


def _facts(act: Act) -> dict[str, str]:
    facts = {
        "name": act.bundle,
        "title": act.title,
        "edition": act.edition,
        "accession": act.number,
        "record_date": act.record_date,
        "record": record_of(act),
        "identity": act.payload,
        "bag": act.bag,
    }
    return {name: text for name, text in facts.items() if text}


def put_accessions(database: sqlite3.Connection, store: Store, run_id: int) -> None:
    """Let the table bundle have one row an accession, as the register stands now."""
    signature = state_of(store.folder / REGISTER)
    if signature == signature_in(database, REGISTER):
        return
    first = {"read_at": now(), "first_seen_at": now(), "read_in_run": run_id}
    known = set()
    with transaction(database):
        for act in store.accessions:
            path = str(store.folder / act.kept_at)
            known.add(path)
            form = "zip" if path.lower().endswith(".zip") else "folder"
            new = {"path": path, "form": form, "state": "there", "signature": ""}
            row = {**new, **first, "first_seen_in_run": run_id, **_facts(act)}
            updates = ", ".join(f"{name} = excluded.{name}" for name in _facts(act))
            database.execute(
                f"INSERT INTO bundle ({', '.join(row)}) VALUES ({', '.join('?' * len(row))}) "
                f"ON CONFLICT (path) DO UPDATE SET {updates}",
                list(row.values()),
            )
        gone = [
            (str(store.folder / a.kept_at),)
            for a in store.accessions
            if a.number in store.withdrawn
        ]
        rows = database.execute("SELECT bundle_id, path FROM bundle WHERE record <> ''").fetchall()
        forgotten = [(row["bundle_id"],) for row in rows if row["path"] not in known]
        for table in FROM_INSIDE:
            which = "bundle_id = (SELECT bundle_id FROM bundle WHERE path = ?)"
            database.executemany(f"DELETE FROM {table} WHERE {which}", gone)
            database.executemany(f"DELETE FROM {table} WHERE bundle_id = ?", forgotten)
        database.executemany("DELETE FROM bundle WHERE bundle_id = ?", forgotten)
        put_signature(database, REGISTER, signature)


def settle_store(database: sqlite3.Connection, store: Store) -> dict[str, str]:
    """Settle every record of which a bundle, the ledger or a line in the register has changed.

    Returns path → why, for ledgers, cards and tables that cannot be read.
    """
    unreadable: dict[str, str] = {}
    people = _rows(store, "party", unreadable)
    with transaction(database):
        _put_places(database, store, unreadable)
        _put_terms(database, store, unreadable)
        database.execute(f"UPDATE bundle SET role = '{UNREGISTERED}' WHERE record = ''")
        database.executemany(
            "UPDATE bundle SET state = 'withdrawn', why = ? WHERE path = ? AND state = 'vanished'",
            [
                (store.withdrawn[act.number].reason, str(store.folder / act.kept_at))
                for act in store.accessions
                if act.number in store.withdrawn
            ],
        )
    names = {row["party_id"]: row["name"] for row in people}
    records: dict[str, list[Act]] = {}
    gone = store.withdrawn
    for act in store.accessions:
        records.setdefault(record_of(act), []).append(act)
        if act.number in gone:
            records[record_of(act)].append(gone[act.number])
    told = hashlib.sha256(repr(sorted(names.items())).encode()).hexdigest()
    waiting = iter(records.items())
    while True:
        began = time.monotonic()
        with transaction(database):
            for record_id, acts in waiting:
                _Settling(database, store, record_id, acts, names, told, unreadable).settle()
                if time.monotonic() - began > COMMIT_SECONDS:
                    break
            else:
                return unreadable


def _rows(store: Store, table: str, unreadable: dict[str, str]) -> list[dict[str, str]]:
    try:
        return store.rows(table)
    except UnusableInput as error:
        unreadable[f"{table}.csv"] = str(error)
        return []


def _put_places(database: sqlite3.Connection, store: Store, unreadable: dict[str, str]) -> None:
    signature = state_of(store.folder / "place.csv")
    if signature == signature_in(database, "place.csv"):
        return
    places = Places(_rows(store, "place", unreadable))
    database.execute("DELETE FROM place")
    database.executemany(
        "INSERT INTO place VALUES (?, ?, ?, ?, ?)",
        [
            (code, row["within"], row["kind"], row["name"], places.path(code))
            for code, row in places.rows.items()
        ],
    )
    if "place.csv" not in unreadable:
        put_signature(database, "place.csv", signature)


def _put_terms(database: sqlite3.Connection, store: Store, unreadable: dict[str, str]) -> None:
    """Old numbers and restrictions; each act of the store may have changed them."""
    paths = (REGISTER, f"{PREVIOUS}.csv", f"{RESTRICTION}.csv")
    signature = " ".join(state_of(store.folder / path) for path in paths)
    if signature == signature_in(database, RESTRICTION):
        return
    old: dict[str, list[str]] = {}
    for row in _rows(store, PREVIOUS, unreadable):
        old.setdefault(row["accession"], []).append(row["previous_number"])
    rows = _rows(store, RESTRICTION, unreadable)
    record = {act.number: record_of(act) for act in store.accessions}
    said = restrictions_by_record(rows, store.accessions, record)
    database.executemany(
        "UPDATE bundle SET restriction = ?, previous_numbers = ? WHERE path = ?",
        [
            (
                said.get(act.number, ""),
                "; ".join(old.get(act.number, ())),
                str(store.folder / act.kept_at),
            )
            for act in store.accessions
        ],
    )
    if not unreadable.keys() & set(paths):
        put_signature(database, RESTRICTION, signature)


@dataclass(frozen=True)
class _Settling:
    """Settles one record: what its bundles are, and where its samples are by the ledger."""

    database: sqlite3.Connection
    store: Store
    record_id: str
    acts: Sequence[Act]
    names: Mapping[str, str]
    told: str
    unreadable: dict[str, str]

    def settle(self) -> None:
        """Make the rows of the record anew, if anything that they rest on has changed."""
        accessions = [act for act in self.acts if act.kind == ACCESSION]
        paths = ", ".join("?" * len(accessions))
        rows = {
            row["path"]: row
            for row in self.database.execute(
                f"SELECT * FROM bundle WHERE path IN ({paths})", list(map(self._path, accessions))
            )
        }
        bundles = {act.act_id: rows[self._path(act)] for act in accessions}
        signature = self._signature(accessions, bundles)
        name = f"record {self.record_id}"
        if signature == signature_in(self.database, name):
            return
        faults = len(self.unreadable)
        roles = roles_in(self.acts)
        by_id = {act.act_id: act for act in accessions}
        for act in accessions:
            row = bundles[act.act_id]
            put_role(self.database, row["bundle_id"], roles[act.number])
            if row["state"] != "there" and act.edition and roles[act.number].role != TAKEN_AWAY:
                before = read_instead(act, by_id)
                self._fill_lost(act, row["bundle_id"], bundles[before.act_id] if before else None)
            self.database.execute(
                "DELETE FROM sample WHERE bundle_id = ? AND is_added", [row["bundle_id"]]
            )
            self.database.execute(
                "UPDATE sample SET is_current = 0 WHERE bundle_id = ?", [row["bundle_id"]]
            )
            self.database.execute("DELETE FROM held WHERE bundle_id = ?", [row["bundle_id"]])
        counted = [
            bundles[act.act_id]["bundle_id"] for act in accessions if roles[act.number].is_current
        ]
        settle_samples(self.database, counted)
        if counted:
            full = [bundles[a.act_id]["bundle_id"] for a in accessions if a.edition != PUBLIC]
            self._put_holdings(full, counted)
        if len(self.unreadable) == faults:
            put_signature(self.database, name, signature)

    def _path(self, act: Act) -> str:
        return str(self.store.folder / act.kept_at)

    def _signature(self, accessions: Sequence[Act], bundles: Mapping[str, sqlite3.Row]) -> str:
        gone = {act.number for act in self.acts if act.kind == WITHDRAWN}
        said = [self.told, state_of(self.store.folder / ledger_path(self.record_id))]
        for act in accessions:
            row = bundles[act.act_id]
            lost = row["state"] != "there"
            card = state_of(self.store.folder / card_path(act)) if lost else ""
            facts = (row["state"], row["signature"], row["read_in_run"], act.number in gone, card)
            said.append(f"{act.act_id} {facts}")
        return hashlib.sha256("\n".join(said).encode()).hexdigest()

    # -- lost bundles ----------------------------------------------------------------------------

    def _fill_lost(self, act: Act, bundle_id: int, before: sqlite3.Row | None) -> None:
        """What a bundle held that cannot be read: the edition before it, and its own card."""
        for table in FROM_INSIDE:
            self.database.execute(f"DELETE FROM {table} WHERE bundle_id = ?", [bundle_id])
            if before is not None:
                names = ", ".join(_columns(table))
                self.database.execute(
                    f"INSERT INTO {table} (bundle_id, {names}) SELECT ?, {names} FROM {table} "
                    "WHERE bundle_id = ? ORDER BY rowid",
                    [bundle_id, before["bundle_id"]],
                )
        try:
            card = self.store.card(act)
        except UnusableInput as error:
            self.unreadable[card_path(act)] = str(error)
            return
        samples, sites = card.get("sample"), card.get("element", {})
        if samples is None:
            return
        known = {
            row[0]
            for row in self.database.execute(
                "SELECT sample_id FROM sample WHERE bundle_id = ?", [bundle_id]
            )
        }
        for table in ("sample", "plug"):
            self.database.executemany(
                f"DELETE FROM {table} WHERE bundle_id = ? AND sample_id = ?",
                [(bundle_id, one) for one in known - samples.keys()],
            )
        new = [
            {"sample_id": one, "element_id": wood, "site_id": sites.get(wood, "")}
            for one, wood in samples.items()
            if one not in known
        ]
        insert_rows(self.database, "sample", bundle_id, SAMPLE_COLUMNS, map(_bare_sample, new))

    # -- holdings --------------------------------------------------------------------------------

    def _put_holdings(self, full: Sequence[int], counted: Sequence[int]) -> None:
        ledger = list(self._ledger(counted[-1]))
        held, disputed = holdings_in(ledger), disputed_in(ledger)
        rows = [
            row
            for bundle_id in counted
            for row in self.database.execute(
                "SELECT bundle_id, site_id, sample_id, element_id, keeper_id, gone FROM sample "
                "WHERE bundle_id = ? AND is_current ORDER BY rowid",
                [bundle_id],
            ).fetchall()
        ]
        known = {row["sample_id"]: row for row in rows}
        for sample in sorted(held.keys() - known.keys()):
            known[sample] = self._put_new(sample, ledger, known, counted[-1])
        parties = {
            row["party_id"]: row["name"]
            for row in self.database.execute(
                "SELECT party_id, name FROM party WHERE bundle_id = ?", [counted[-1]]
            )
        }
        named = {**self.names, **parties}
        for sample, row in sorted(known.items()):
            # without any ledger the last word is what the bundle says
            alone = Holding(sample, holder=row["keeper_id"], gone=row["gone"])
            holding = held.get(sample, Holding(sample) if ledger else alone)
            self._put_held(row, holding, named, disputed=sample in disputed)
            keeper = holding.holder or holding.on_the_way_to
            self.database.executemany(
                "UPDATE sample SET keeper_id = ?, keeper_name = ?, gone = ? "
                "WHERE bundle_id = ? AND sample_id = ?",
                [(keeper, named.get(keeper, ""), holding.gone, one, sample) for one in full],
            )

    def _ledger(self, bundle_id: int) -> Iterator[dict[str, str]]:
        """The events of the record, which name rows by the keys that these bear now."""
        try:
            ledger = self.store.ledger(self.record_id)
        except TreenailError as error:
            self.unreadable[ledger_path(self.record_id)] = str(error)
            return
        called: dict[str, dict[str, str]] = {}
        for table, old, new in self.database.execute(
            "SELECT table_name, former_key, row_key FROM former WHERE bundle_id = ?", [bundle_id]
        ):
            called.setdefault(table, {})[old] = new
        for row in ledger:
            now_called = {
                name: called[table].get(row[name], row[name])
                for name, table in _NAMED.items()
                if table in called and name in row
            }
            yield row | now_called

    def _put_new(
        self,
        sample: str,
        ledger: Iterable[Row],
        known: Mapping[str, sqlite3.Row],
        bundle_id: int,
    ) -> sqlite3.Row:
        """A sample that only the store's ledger has: a part of another, or found in the store."""
        parents = (row.get("parent_sample_id") for row in ledger if row["sample_id"] == sample)
        wood = known.get(next(filter(None, parents), ""))
        sites = {row["site_id"] for row in known.values()} - {""}
        new = {"sample_id": sample, "site_id": sites.pop() if len(sites) == 1 else ""}
        if wood is not None:
            new |= {"site_id": wood["site_id"], "element_id": wood["element_id"]}
        insert_rows(self.database, "sample", bundle_id, SAMPLE_COLUMNS, [_bare_sample(new)])
        row: sqlite3.Row = self.database.execute(
            "UPDATE sample SET is_current = 1, is_added = 1 WHERE rowid = last_insert_rowid() "
            "RETURNING bundle_id, site_id, sample_id, element_id, keeper_id, gone"
        ).fetchone()
        return row

    def _put_held(
        self, row: sqlite3.Row, holding: Holding, names: Mapping[str, str], *, disputed: bool
    ) -> None:
        of_sample = (row["site_id"], row["sample_id"], row["element_id"], holding.gone)
        beside = held_beside(holding, lambda code: names.get(code, ""), disputed=disputed)
        columns = (*HELD_COLUMNS, "is_current")
        insert_rows(self.database, "held", row["bundle_id"], columns, [(*of_sample, *beside, 1)])


def _bare_sample(row: Row) -> tuple[str | None, ...]:
    """A sample of which only its number and wood are known."""
    return tuple(row.get(name, "" if name in _TEXTS else None) for name in SAMPLE_COLUMNS)


def _columns(table: str) -> list[str]:
    described = next(one for one in catalogue_tables() if one.name == table)
    return [name for name in described.columns if name != "bundle_id"]

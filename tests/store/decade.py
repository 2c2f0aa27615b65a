"""A decade of a store: seeded acts and faults, and a model of what a curator knows of them.

The model is plain dictionaries. After every act the audit must tell exactly the findings that the
model expects; every few acts a catalogue made anew must answer as the model does. By hand:

    python -m tests.store.decade SEEDS STEPS [FIRST_SEED]
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import random
import shutil
import sys
import tempfile
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from unittest.mock import patch

from provenance._accession.accession import (
    Accessioned,
    ContradictsKept,
    accession,
)
from provenance._accession.damage import DamagedBundle
from provenance._accession.taking_in import AlreadyAccessioned
from provenance._base.errors import TreenailError
from provenance._catalogue.audit.audit import audit_place, settle_in_store
from provenance._catalogue.build import index_place, update_catalogue
from provenance._catalogue.query import Wanted, find_in_catalogue
from provenance._collection.export import export_record
from provenance._collection.recording import Said, record_in_store
from provenance._collection.scans import keep_scans, scans_path
from provenance._collection.taking_stock import record_seen, take_stock
from provenance._drawing.paper import paper_named
from provenance._identity.payload import compose_code
from provenance._identity.place_code import END, compose_place
from provenance._ledger.branches import seals_at_ends
from provenance._ledger.custody import JOINED, sealed
from provenance._ledger.handover import record_events
from provenance._ledger.seals import BODY, FILLED_IN
from provenance._record import together
from provenance._record.origin import Ancestor, ancestor_from, numbers_of
from provenance._store.acts import read_register, register_bytes
from provenance._store.comparing import StoreFinding
from provenance._store.copies import merge_copy
from provenance._store.home import CopyOfStore, refuse_copy
from provenance._store.paper import ActAnchor, anchor_line, read_anchor_line
from provenance._store.standing import holdings_in
from provenance._store.store import Store, ledger_columns, open_store
from tests.builders import PackageBuilder, a_package, pack_bundle
from tests.forked import started

PLACES = {"MAIN": "", "R1": "MAIN", "R2": "MAIN", "B1": "R1", "B2": "R1", "B3": "R2"}
BOXES = ("B1", "B2", "B3")
KEEPER, CREW, BORROWER = "REPO", "MB", "LAB"
EVEN_DAMAGED = Wanted(even_if_damaged=True)

TIMBERS = ("B1-014", "B1-015")
LEFT_OUT = ("pages", "check", "index.html", "go.html", "codebook.html", "CODEBOOK.md", "datacite",
            "dublin-core.xml", "CITATION.cff", "schema-org.jsonld", "csv-metadata.json",
            "darwin-core.zip")  # fmt: skip
"""Pages made of a record, which a store does not read."""
Row = dict[str, str]
Wood = Mapping[str, tuple[str, str]]
"""Sample → its timber, and the sample that it was cut from or ''."""
Expected = tuple[str, str]
"""A finding: its kind, and the number or the path that it is about."""


# -- bundles -------------------------------------------------------------------------------------


@cache
def template() -> dict[str, bytes]:
    """The files of a packed record without samples and pages, from which others are made."""
    with tempfile.TemporaryDirectory() as folder:
        builder = a_package(Path(folder)).with_chain()
        name = "Store of Old Timber at Fenwick Moss (invented)"
        builder.with_bare_row("party", party_id=KEEPER, kind="organisation", name=name)
        builder.with_row("element", element_id=TIMBERS[1])
        package = builder.package
        site = package.table("site").assign(visit_start="2016-01-01", repository_id=KEEPER)
        package.write_table("site", site)
        out = pack_bundle(package, Path(folder) / "bundle")
        files = {p.relative_to(out).as_posix(): p for p in out.rglob("*") if p.is_file()}
        kept = {
            name: path.read_bytes()
            for name, path in files.items()
            if (
                "manifest-" not in name
                and not name.startswith(tuple(f"data/{one}" for one in LEFT_OUT))
            )
            or name == "data/datapackage.json"
        }
    crate = json.loads(kept["data/ro-crate-metadata.json"])
    gone = {name.removeprefix("data/") for name in files.keys() - kept.keys()}
    crate["@graph"] = [_without(one, gone) for one in crate["@graph"] if one["@id"] not in gone]
    kept["data/ro-crate-metadata.json"] = json.dumps(crate).encode()
    return kept


def _without(node: dict[str, Any], gone: set[str]) -> dict[str, Any]:
    def names(one: object) -> bool:
        return isinstance(one, dict) and one.get("@id") in gone

    return {
        key: [one for one in value if not names(one)] if isinstance(value, list) else value
        for key, value in node.items()
        if not names(value)
    }


def _rows(text: bytes) -> list[Row]:
    return list(csv.DictReader(io.StringIO(text.decode(), newline="")))


def _table(columns: Sequence[str], rows: Sequence[Mapping[str, str]]) -> bytes:
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, lineterminator="\n", restval="")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


@dataclass(frozen=True)
class State:
    """A record as its depositor has it; `earlier` are its bundles, newest first."""

    wood: Wood
    ledger: Sequence[Row]
    earlier: tuple[Ancestor, ...] = ()


@dataclass(frozen=True)
class Deposit:
    """A bundle on its way to the store."""

    path: Path
    state: State
    bag: str
    payload: str
    edition: str = "full"

    @property
    def as_earlier(self) -> Ancestor:
        """What the next bundle of the record says of this one."""
        heads = tuple(seals_at_ends(self.state.ledger))
        told = (self.path.stem, self.edition, "2016-01-01", self.bag, "", self.payload)
        return Ancestor(*told, heads, len(self.state.ledger))

    @property
    def after(self) -> State:
        """What its depositor goes on from."""
        return replace(self.state, earlier=(self.as_earlier, *self.state.earlier))


def a_deposit(path: Path, site: str, state: State, edition: str = "full") -> Deposit:
    """Write a bundle of a record as one zip."""
    files = {
        name: content.replace(b"HOLL", site.encode()).replace(b'"holl', f'"{site.lower()}'.encode())
        if name.startswith("data/") and "/schemas/" not in name
        else content
        for name, content in template().items()
    }
    sample, plug = (_rows(files[f"data/tables/{one}.csv"])[0] for one in ("sample", "plug"))
    samples = [
        sample | {"sample_id": s, "element_id": timber, "parent_sample_id": parent}
        for s, (timber, parent) in state.wood.items()
    ]
    plugs = [plug | {"plug_id": f"P-{s}", "sample_id": s, "stamp": s} for s in state.wood]
    files["data/tables/sample.csv"] = _table(list(sample), samples)
    files["data/tables/plug.csv"] = _table(list(plug), plugs)
    ledger = state.ledger if edition == "full" else ()
    files["data/tables/custody.csv"] = _table(ledger_columns(), ledger)
    facts = json.loads(files["data/bundle.json"]) | {"edition": edition}
    facts["rows"] |= {"sample": len(samples), "plug": len(plugs), "custody": len(ledger)}
    facts["lastSeal"] = ledger[-1]["event_sha256"] if ledger else ""
    earlier = [one if edition == "full" else one.in_public for one in state.earlier]
    facts["revisionOf"] = [one.as_dict() for one in earlier]
    files["data/bundle.json"] = json.dumps(facts).encode()
    payload = {name for name in files if name.startswith("data/")}
    oxum = f"{sum(len(files[name]) for name in payload)}.{len(payload)}"
    tags = [line for line in files["bag-info.txt"].decode().splitlines() if ":" in line]
    tags = [line for line in tags if not line.startswith(("Payload-Oxum", "Custody-Ledger"))]
    files["bag-info.txt"] = "\n".join([*tags, f"Payload-Oxum: {oxum}", ""]).encode()
    for name, of in (
        ("manifest-sha256.txt", payload),
        ("tagmanifest-sha256.txt", {"bagit.txt", "bag-info.txt", "manifest-sha256.txt"}),
    ):
        lines = "".join(f"{_sha256(files[one])}  {one}\n" for one in sorted(of))
        files[name] = lines.encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in sorted(files.items()):
            archive.writestr(zipfile.ZipInfo(f"bundle/{name}"), content)
    sums = [_sha256(files[f"{one}-sha256.txt"]) for one in ("tagmanifest", "manifest")]
    return Deposit(path, state, *sums, edition)


def packed(path: Path, wood: Wood) -> Deposit:
    """The same of a bundle that was packed by the program itself."""
    with zipfile.ZipFile(path) as archive:
        base = next(iter(archive.namelist())).split("/")[0]

        def read(name: str) -> bytes:
            return archive.read(f"{base}/{name}")

        facts = json.loads(read("data/bundle.json"))
        ledger = _rows(read("data/tables/custody.csv"))
        sums = [_sha256(read(f"{one}-sha256.txt")) for one in ("tagmanifest", "manifest")]
    # the bundles that go on from it are made without lineage.csv, so they name no checksum of it
    named = (ancestor_from(one) for one in facts["revisionOf"])
    earlier = tuple(replace(one, bindings="") for one in named)
    return Deposit(path, State(wood, ledger, earlier), *sums)


def with_events(ledger: Sequence[Row], said: Sequence[Row]) -> list[Row]:
    """A ledger with some events sealed behind it."""
    blank = dict.fromkeys(ledger_columns(), "")
    return sealed([*(blank | one for one in ledger), *(blank | one for one in said)])


# -- kills ---------------------------------------------------------------------------------------


class Killed(BaseException):
    """The program was stopped here, and none of its own code ran any more."""


@dataclass
class Kill:
    """Stops a program before one of its steps on the disk; `committed` when what it did counts."""

    before_step: int
    steps: int = 0
    committed: bool = False
    dead: bool = False

    @contextmanager
    def armed(self) -> Iterator[None]:
        with ExitStack() as stack:
            for name in ("sync_file", "put_in_place"):
                real = getattr(together, name)
                stack.enter_context(patch.object(together, name, self._step(real, name)))
            tree = patch.object(together.shutil, "rmtree", self._unless_dead(shutil.rmtree))
            stack.enter_context(tree)
            yield

    def _step(self, real: Callable[..., None], name: str) -> Callable[..., None]:
        def step(*given: Any) -> None:
            self.steps += 1
            if self.steps == self.before_step:
                self.dead = True
                raise Killed
            real(*given)
            self.committed |= name == "put_in_place" and given[1].name == together.COMMIT

        return step

    def _unless_dead(self, real: Callable[..., None]) -> Callable[..., None]:
        def rmtree(*given: Any, **more: Any) -> None:
            if not self.dead:
                real(*given, **more)

        return rmtree


# -- the model -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Where:
    """Where a sample is, as a curator knows it."""

    holder: str
    place: str = ""
    due: str = ""
    lender: str = ""
    gone: str = ""

    @property
    def is_here(self) -> bool:
        return self.holder == KEEPER and not self.gone


@dataclass
class Record:
    """A record of the store; `base` is what its depositor goes on from, None when it went astray.

    `unsent` says that the store has recorded events that `base` does not know.
    """

    record_id: str
    site: str
    base: State | None
    where: dict[str, Where] = field(default_factory=dict)
    tips: list[str] = field(default_factory=list)
    deposits: list[tuple[str, Deposit]] = field(default_factory=list)
    disputed: set[str] = field(default_factory=set)
    unsent: bool = False


@dataclass
class Kept:
    """An accession; `is_well` while nothing is known to be wrong with it."""

    record: str
    path: str
    wood: Wood
    edition: str
    is_well: bool = True


Acts = list[tuple[Callable[[], object], int]]


class Decade:
    """One store, what happens to it, and what its curator knows."""

    def __init__(self, seed: int, folder: Path, *, look_every: int = 10, most: int = 12) -> None:
        self.chance = random.Random(seed)
        self.root, self.at = folder, folder / "store"
        self.day = date(2016, 1, 4)
        self.count = self.ticks = 0
        self.look_every, self.most = look_every, most
        self.records: dict[str, Record] = {}
        self.kept: dict[str, Kept] = {}
        self.given: set[str] = set()
        self.expected: Counter[Expected] = Counter()
        self.paper: list[ActAnchor] = []
        self.tally: Counter[str] = Counter()
        self.last = ""
        with Store(self.at).writing(**self.when) as writing:
            settings = f"party_id: {KEEPER}\nnumber_pattern: '{{year}}.{{serial:04}}'\n"
            name = "name: Store of Old Timber at Fenwick Moss (invented)\n"
            writing.put_file("repository.yaml", (name + settings).encode())
            kinds = {"M": "building", "R": "room", "B": "box"}
            rows = [{"place_id": p, "within": w, "kind": kinds[p[0]]} for p, w in PLACES.items()]
            writing.put_rows("place", rows)

    # -- small things ----------------------------------------------------------------------------

    @property
    def when(self) -> dict[str, Any]:
        return {"on": self.day, "recorded_on": self.now, "by": "Wen Tolliver (invented)"}

    @property
    def now(self) -> str:
        """Another second each time: what two people write down alike at once would be one event."""
        self.ticks = (self.ticks + 1) % 36000
        minutes, seconds = divmod(self.ticks, 60)
        return f"{self.day}T{9 + minutes // 60:02}:{minutes % 60:02}:{seconds:02}Z"

    @property
    def today(self) -> str:
        return self.day.isoformat()

    def new(self, name: str) -> Path:
        self.count += 1
        return self.root / f"{name}{self.count}"

    def pick(self, among: Sequence[Any]) -> Any:
        return self.chance.choice(among) if among else None

    def record(self, *, quiet: bool = False) -> Record | None:
        """A record with one current bundle and a depositor, `quiet` without events of the store."""
        return self.pick(
            [
                one
                for one in self.records.values()
                if one.base and len(one.tips) == 1 and not one.disputed
                and len(one.deposits) < 7 and not (quiet and one.unsent)
            ]
        )  # fmt: skip

    def well(self, edition: str = "") -> str | None:
        """The number of a bundle with which nothing is known to be wrong."""
        wells = [n for n, one in self.kept.items() if one.is_well and edition in ("", one.edition)]
        return self.pick(wells)

    def perhaps_killed(self, act: Callable[[], Any]) -> tuple[bool, Any]:
        """Whether it counts, and what it gave; None when the program was killed."""
        kill = Kill(self.chance.randint(1, 14) if self.chance.random() < 0.15 else 0)
        try:
            with kill.armed():
                return True, act()
        except Killed:
            self.tally[f"killed, {'counts' if kill.committed else 'undone'}"] += 1
            if self.chance.random() < 0.5:
                open_store(self.at)
            return kill.committed, None

    # -- deposits --------------------------------------------------------------------------------

    def season(self, site: str, base: State) -> Deposit:
        """A bundle with new samples; some came to the store with it."""
        wood, said = dict(base.wood), []
        for _ in range(self.chance.randint(1, 2)):
            self.count += 1
            sample = str(1000 + self.count)
            wood[sample] = (self.pick(TIMBERS), "")
            of = {"happened_on": self.today, "sample_id": sample}
            said.append(of | {"event": "collected", "to_party_id": CREW})
            if self.chance.random() < 0.8:
                given = {"from_party_id": CREW, "to_party_id": KEEPER}
                said.append(of | {"event": "deposited"} | given)
        state = State(wood, with_events(base.ledger, said), base.earlier)
        return a_deposit(self.new("b").with_suffix(".zip"), site, state)

    def hand_in(self, bundle: Path, at: Path | None = None) -> Accessioned:
        return accession(
            bundle,
            at or self.at,
            depositor="Mara Birkwood (invented)",
            on=self.day,
            recorded_on=self.now,
            paper=paper_named("a4"),
        )

    def take_in(
        self, deposit: Deposit, site: str, *words: str, record: Record | None = None
    ) -> str:
        """Accession a bundle, which is told to be one of `words`; its number, '' when killed."""
        counts, done = self.perhaps_killed(lambda: self.hand_in(deposit.path))
        if not counts:
            return ""
        entry = done.entry if done else open_store(self.at).accessions[-1]
        number = entry.number
        assert entry.reason in words, (entry.reason, words)
        assert number not in self.given, f"{number} was given twice"
        self.given.add(number)
        wood = deposit.state.wood
        self.kept[number] = Kept(entry.record_id, entry.kept_at, wood, deposit.edition)
        if deposit.edition == "public":
            assert record
            assert entry.record_id == record.record_id
            return number
        if record is None:
            assert entry.record_id not in self.records
            record = self.records[entry.record_id] = Record(entry.record_id, site, deposit.after)
        assert entry.record_id == record.record_id
        record.deposits.append((number, deposit))
        known = {one["sample_id"] for one in deposit.state.ledger}
        came = {
            one["sample_id"]: one["to_party_id"]
            for one in deposit.state.ledger
            if one["event"] in ("collected", "deposited")
        }
        for sample in sorted(known - record.where.keys() - {""}):
            record.where[sample] = Where(came[sample])
        if entry.reason != "older":
            followed = {number for number in record.tips if number in self._followed(deposit)}
            record.tips = [one for one in record.tips if one not in followed] + [number]
        if entry.reason in ("first", "successor"):
            record.base = deposit.after
        self.expected[("branched", record.record_id)] = int(len(record.tips) > 1)
        return number

    def _followed(self, deposit: Deposit) -> set[str]:
        payloads = {one.payload for one in deposit.state.earlier}
        every = (one for record in self.records.values() for one in record.deposits)
        return {number for number, one in every if one.payload in payloads}

    def first(self) -> None:
        if len(self.records) >= self.most:
            return self.move()
        self.count += 1
        site = f"S{self.count % 1000:03}"
        deposit = self.season(site, State({}, []))
        self.take_in(deposit, site, "first")

    def successor(self) -> None:
        if not (record := self.record()):
            return
        base = record.base
        assert base
        if sent := self.chance.random() < 0.5:
            base = self.with_parts(record, base)
        if self.take_in(self.season(record.site, base), record.site, "successor", record=record):
            record.unsent = record.unsent and not sent

    def with_parts(self, record: Record, base: State) -> State:
        """What the depositor has once the store has sent him its ledger, and the parts it cut."""
        ledger = open_store(self.at).ledger(record.record_id)
        wood = dict(base.wood)
        for one in ledger:
            if (part := one["sample_id"]) not in wood and (parent := one["parent_sample_id"]):
                wood[part] = (wood[parent][0], parent)
        return replace(base, wood=wood, ledger=ledger)

    def exported(self) -> None:
        """A season made of what the store gives out, with the program itself."""
        if not (record := self.record()):
            return
        tip = self.kept[record.tips[0]]
        if not tip.is_well:
            return
        out = self.new("work") / record.site.lower()
        out.parent.mkdir()
        package = export_record(open_store(self.at), record.tips[0], out).package
        self.count += 1
        sample = str(1000 + self.count)
        PackageBuilder(package).with_row(
            "sample", sample_id=sample, site_id=record.site, element_id=TIMBERS[0]
        ).with_row("plug", plug_id=f"P-{sample}", sample_id=sample, stamp=sample)
        package = PackageBuilder(package).package
        record_events(
            package,
            "collected",
            [sample],
            happened_on=self.today,
            recorded_on=self.now,
            to_party_id=CREW,
        )
        parents = {r["sample_id"]: r["parent_sample_id"] for r in package.tables.rows("sample")}
        numbers = numbers_of(package)["sample"]
        wood = {s: (timber, parents[s]) for s, timber in numbers.items()}
        assert wood.keys() == tip.wood.keys() | record.where.keys() | {sample}
        path = pack_bundle(PackageBuilder(package).package, self.new("p").with_suffix(".zip"),
                           zipped=True)  # fmt: skip
        deposit = packed(path, wood)
        if self.take_in(deposit, record.site, "successor", record=record):
            record.unsent = False

    def branch_and_join(self) -> None:
        if not (record := self.record(quiet=True)):
            return
        old = record.base
        assert old
        one, other = self.season(record.site, old), self.season(record.site, old)
        if not self.take_in(one, record.site, "successor", record=record):
            return
        if not self.take_in(other, record.site, "branch", record=record):
            return
        self.check()
        ledger = open_store(self.at).ledger(record.record_id)
        both = (other.as_earlier, one.as_earlier, *old.earlier)
        state = State({**one.state.wood, **other.state.wood}, ledger, both)
        joint = a_deposit(self.new("b").with_suffix(".zip"), record.site, state)
        if self.take_in(joint, record.site, "successor", record=record):
            assert len(record.tips) == 1
            self.tally["branches joined"] += 1
        else:
            record.base = None

    def older(self) -> None:
        if not (record := self.record()):
            return
        assert record.base
        between = self.season(record.site, record.base)
        later = self.season(record.site, between.after)
        if self.take_in(later, record.site, "successor", record=record):
            self.take_in(between, record.site, "older", record=record)

    def public(self) -> None:
        if not (record := self.record()):
            return
        base = record.base
        assert base
        path = self.new("public").with_suffix(".zip")
        deposit = a_deposit(path, record.site, base, "public")
        known = {d.payload for d in self.publics}
        if deposit.payload not in known:
            number = self.take_in(deposit, record.site, "public edition", record=record)
            self.publics += [deposit] if number else []

    publics: list[Deposit]

    # -- events ----------------------------------------------------------------------------------

    def move(self) -> None:
        if record := self.pick([one for one in self.records.values() if one.tips]):
            counts, moved = self.moved(record)
            if counts:
                record.where |= moved

    def moved(self, record: Record, at: Path | None = None) -> tuple[bool, dict[str, Where]]:
        """Record what is done with some samples; where they are then, if it counts."""
        free = {s: w for s, w in record.where.items() if s not in record.disputed}
        kinds = ["stored", "stored", "taken_back", "lost", "found", "deaccessioned"]
        kind = self.pick(kinds + ["loaned", "sub_sampled"] * (at is None))
        may = {
            "taken_back": [s for s, w in free.items() if w.lender and not w.gone],
            "found": [s for s, w in free.items() if w.gone == "lost" and not w.lender],
        }.get(kind, [s for s, w in free.items() if w.is_here])
        if not may:
            return False, {}
        some = self.chance.sample(may, min(len(may), self.chance.randint(1, 2)))
        if kind in ("deaccessioned", "sub_sampled"):
            some = some[:1]
        place, due = (
            self.pick(BOXES),
            (self.day + timedelta(self.chance.randrange(200))).isoformat(),
        )
        said, after = {
            "stored": ({"place_held": place}, Where(KEEPER, place)),
            "loaned": ({"to_party_id": BORROWER, "loan_due_on": due},
                       Where(BORROWER, "", due, KEEPER)),
            "taken_back": ({"place_held": place}, Where(KEEPER, place)),
            "lost": ({}, Where("", gone="lost")),
            "found": ({"place_held": place}, Where(KEEPER, place)),
            "sub_sampled": ({"place_held": place}, Where(KEEPER, place)),
            "deaccessioned": ({"notes": "rotten"}, Where("", gone="deaccessioned")),
        }[kind]  # fmt: skip
        words = Said(kind, self.today, self.today, **said)
        record.unsent = True

        def act() -> Any:
            store = open_store(at or self.at)
            return record_in_store(store, {record.record_id: some}, words, recorded_on=self.now)

        if at and self.chance.random() < 0.2:
            # what gives a number is done in the store itself alone
            try:
                lent = replace(words, event="loaned", to_party_id=BORROWER, loan_due_on=due)
                here = {record.record_id: some}
                record_in_store(open_store(at), here, lent, recorded_on=self.now)
            except CopyOfStore:
                pass
            else:
                raise AssertionError("a copy gave out the number of a loan")
        before = {one["sample_id"] for one in open_store(at or self.at).ledger(record.record_id)}
        counts, _ = self.perhaps_killed(act) if at is None else (True, act())
        if not counts:
            return False, {}
        self.tally[kind] += 1
        if kind == "sub_sampled":
            ledger = open_store(at or self.at).ledger(record.record_id)
            parts = {one["sample_id"] for one in ledger} - before
            assert len(parts) == 1, parts
            return True, dict.fromkeys(parts, after)
        return True, dict.fromkeys(some, after)

    def stocktake(self) -> None:
        """One or two boxes are looked through; a sample is astray, and one lies elsewhere."""
        self.count += 1
        store, name = open_store(self.at), f"s{self.count}"
        every = {
            (record.record_id, record.site, sample): where
            for record in self.records.values()
            if record.tips
            for sample, where in record.where.items()
        }
        if any(one.disputed for one in self.records.values()):
            return
        here = {one: where.place for one, where in every.items() if where.is_here}
        opened = self.chance.sample(BOXES, self.chance.randint(1, 2))
        inside = {box: [one for one, place in here.items() if place == box] for box in opened}
        lost = self.pick([one for box in opened for one in inside[box]])
        strayed = self.pick([one for one, place in here.items() if place not in opened])
        lines = []
        seen: dict[tuple[str, str, str], str] = {}
        for box in opened:
            lines.append(compose_place(box))
            seen |= {one: box for one in inside[box] if one != lost}
            seen |= {strayed: box} if strayed and box == opened[0] else {}
            lines += [compose_code(one[1], one[2]) for one in seen if seen[one] == box]
        lines.append(compose_place(END))
        path = scans_path(self.at, name)
        list(keep_scans(path, lines))
        taken = take_stock(store, path, with_seen=True)
        expected = {
            "right": len(seen) - bool(strayed),
            "misplaced": int(bool(strayed)),
            "missing": int(bool(lost)),
            "not_looked_at": sum(place not in opened for place in here.values()) - bool(strayed),
        }
        assert dict(taken.found.counts) == {k: n for k, n in expected.items() if n}, (
            taken.found.counts,
            expected,
        )
        counts, _ = self.perhaps_killed(lambda: record_seen(store, taken, name=name, **{
            "on": self.day, "recorded_on": self.now}))  # fmt: skip
        if counts:
            for (record_id, _, sample), box in seen.items():
                record = self.records[record_id]
                record.where[sample] = replace(record.where[sample], place=box)
                record.unsent = True

    # -- the store as a whole --------------------------------------------------------------------

    def move_store(self) -> None:
        self.at = self.at.rename(self.new("store"))

    def print_anchor(self) -> None:
        self.paper = [read_anchor_line(anchor_line(open_store(self.at).acts))]

    def copy_and_merge(self) -> None:
        record = self.pick([one for one in self.records.values() if one.tips and not one.disputed])
        if not record:
            return
        refuse_copy(open_store(self.at))
        copy = self.new("copy")
        shutil.copytree(self.at, copy)
        stranger = self.season("S000", State({}, []))
        self.refused(stranger, CopyOfStore, "is a copy of the store", at=copy)
        before = dict(record.where)
        there: dict[str, Where] = {}
        for _ in range(2):
            counts, moved = self.moved(record, copy)
            record.where |= moved
            there |= moved
        record.where = dict(before)
        counts, here = self.moved(record)
        here = here if counts else {}
        record.where |= here
        mine = {one.act_id for one in open_store(self.at).acts}
        merge_copy(open_store(self.at), open_store(copy), **self.when)
        assert mine <= {one.act_id for one in open_store(self.at).acts}
        shutil.rmtree(copy)
        record.where |= {s: w for s, w in there.items() if s not in here}
        both = here.keys() & there.keys()
        ledger = f"ledger/{record.record_id}.csv"
        self.expected[("two holders", ledger)] = sum(here[s] != there[s] for s in both)
        record.disputed = {s for s in both if here[s] != there[s]}
        self.check()
        self.check_catalogue()
        for sample in sorted(both):
            held = holdings_in(open_store(self.at).ledger(record.record_id))[sample]
            box = self.pick(BOXES)
            event = "taken_back" if held.lender else "stored"
            if held.gone:
                event = "found" if held.gone == "lost" else "found_in_collection"
            elif not held.lender and held.holder not in ("", KEEPER):
                event = "deposited"
            to_keeper = event in ("found", "found_in_collection", "deposited")
            more = {"to_party_id": KEEPER} if to_keeper else {}
            words = Said(event, self.today, self.today, place_held=box, **more)
            some = {record.record_id: [sample]}
            record_in_store(open_store(self.at), some, words, recorded_on=self.now)
            record.where[sample] = Where(KEEPER, box)
        record.disputed = set()
        del self.expected["two holders", ledger]

    def withdraw(self) -> None:
        if number := self.well("public"):
            kept = self.kept[number]

            def act() -> None:
                with open_store(self.at).writing(**self.when) as writing:
                    cells = {"number": number, "record_id": kept.record}
                    writing.add("withdrawn", reason="the owner asked for it", **cells)

            counts, _ = self.perhaps_killed(act)
            if counts:
                (self.at / kept.path).unlink()
                kept.is_well = False

    def two_curators(self) -> None:
        """Two programs at once: a bundle each, and moves of one record beside them."""
        sites = [f"S{(self.count + n) % 1000:03}" for n in (1, 2)]
        deposits = [self.season(site, State({}, [])) for site in sites]
        processes = [started(hand_in_elsewhere, self, one.path) for one in deposits]
        for one in processes:
            one.join()
            assert one.exitcode == 0
        acts = {act.received: act for act in open_store(self.at).accessions}
        for site, deposit in zip(sites, deposits, strict=True):
            entry = acts[deposit.bag]
            assert entry.number not in self.given
            self.given.add(entry.number)
            self.kept[entry.number] = Kept(
                entry.record_id, entry.kept_at, deposit.state.wood, "full"
            )
            last = {e["sample_id"]: Where(e["to_party_id"]) for e in deposit.state.ledger}
            tips, deposited = [entry.number], [(entry.number, deposit)]
            self.records[entry.record_id] = Record(
                entry.record_id, site, deposit.after, last, tips, deposited
            )

    # -- hostile deposits ------------------------------------------------------------------------

    def refused(
        self, deposit: Deposit, kind: type[TreenailError], word: str, at: Path | None = None
    ) -> None:
        """What must not come in is refused in that word, and nothing is written."""
        register = (at or self.at) / "register.csv"
        open_store(at or self.at)
        before = register.read_bytes()
        try:
            done = self.hand_in(deposit.path, at)
        except kind as error:
            told = error.judged.word if isinstance(error, ContradictsKept) else str(error)
            assert word in told, (told, word)
        else:
            raise AssertionError(f"taken in as {done.entry}, though it is: {word}")
        assert register.read_bytes() == before
        self.tally[f"refused: {word}"] += 1

    def hostile(self) -> None:
        if not (record := self.record()):
            return
        base = record.base
        assert base
        again = record.deposits[-1][1]
        events = [one for one in base.ledger if one["event"] != JOINED]
        what = self.pick(
            (
                "again",
                "moved",
                "gone",
                "rewritten",
                "cut",
                "honest cut",
                "broken",
                "damaged",
                "posing",
            )
        )
        if what == "again":
            return self.refused(again, AlreadyAccessioned, "already accessioned")
        ledger, wood, earlier = list(base.ledger), dict(base.wood), base.earlier
        last = {**ledger[-1], "notes": "changed"}
        if what in ("rewritten", "posing", "cut", "honest cut") and len(events) < len(ledger):
            return None
        if what == "posing" and len(ledger) == 1:
            return None  # with no event left, and no acts, nothing tells which record it was
        word = {"moved": "number moved", "gone": "number gone", "honest cut": "at odds",
                "broken": "broken ledger", "posing": "looks rewritten"}.get(what, what)  # fmt: skip
        if what == "moved":
            sample = self.pick(sorted(wood))
            wood[sample] = (next(one for one in TIMBERS if one != wood[sample][0]), wood[sample][1])
        elif what == "gone":
            wood.pop(self.pick(sorted(wood)))
        elif what == "broken":
            ledger[-1] = last
        elif what in ("cut", "honest cut"):
            ledger = ledger[:-1]
        elif what in ("rewritten", "posing"):
            ledger = with_events(ledger[:-1], [last | dict.fromkeys(FILLED_IN, "") | {BODY: ""}])
        if what in ("cut", "rewritten"):
            names = {one["event_sha256"] for one in ledger}
            honest = [one for one in earlier[1:] if set(one.heads) <= names]
            lie = replace(earlier[0], heads=tuple(seals_at_ends(ledger)), events=len(ledger))
            earlier = (lie, *honest)
        if what == "posing":
            earlier = ()
        path = self.new("h").with_suffix(".zip")
        deposit = a_deposit(path, record.site, State(wood, ledger, earlier))
        if what == "damaged":
            flip(path)
            return self.refused(deposit, DamagedBundle, "")
        return self.refused(deposit, ContradictsKept, word)

    # -- faults on the disk ----------------------------------------------------------------------

    def fault(self) -> None:
        """Something happens to the store behind its back; then it is put right, or settled."""
        number = self.well()
        if not number:
            return
        kept = self.kept[number]
        bundle = self.at / kept.path
        kind = self.pick(
            ("missing", "damaged", "exchanged", "foreign", "unregistered", "duplicate", "moved",
             "tags altered", "card altered", "card missing", "table altered",
             "unregistered edition", "ledger broken", "ledger cut", "ledger rewritten",
             "ledger ahead", "register", "register")
        )  # fmt: skip
        if kind == "register":
            return self.register_fault()
        record = self.records.get(kept.record)
        ledger = self.at / f"ledger/{kept.record}.csv"
        touched = {
            "card altered": self.at / number / "card.csv",
            "card missing": self.at / number / "card.csv",
            "table altered": self.at / "place.csv",
        }.get(kind, ledger if kind.startswith("ledger") else bundle)
        aside = self.new("aside")
        shutil.copy2(touched, aside)
        stray = self.at / f"stray{self.count}.zip"
        about = number
        if kind in ("missing", "card missing"):
            touched.unlink()
        elif kind == "damaged":
            flip(bundle)
        elif kind in ("exchanged", "foreign"):
            other = self.well()
            if kind == "exchanged" and (other in (None, number)):
                return None
            source = self.at / self.kept[other].path if kind == "exchanged" else self.a_stranger()
            shutil.copy2(source, bundle)
        elif kind == "unregistered":
            shutil.copy2(self.a_stranger(), stray)
            about = stray.name
        elif kind == "unregistered edition":
            if not (record and record.base) or kept.edition != "full":
                return None
            shutil.copy2(self.season(record.site, record.base).path, stray)
            about = [n for n, one in self.kept.items() if one.record == kept.record][-1]
        elif kind == "duplicate":
            shutil.copy2(bundle, stray)
        elif kind == "moved":
            bundle.rename(stray)
        elif kind == "tags altered":
            retagged(bundle)
        elif kind == "card altered":
            touched.write_text(touched.read_text().replace("B1-014", "B1-099") + "sample,9,x\n")
        elif kind == "table altered":
            touched.write_text(touched.read_text().replace("room", "shelf"))
            about = touched.name
        else:
            about = f"ledger/{kept.record}.csv"
            rows = _rows(ledger.read_bytes())
            columns = list(rows[0])
            if kind == "ledger broken":
                rows[0]["notes"] += "!"
            elif kind == "ledger cut":
                if rows[-1]["event"] == JOINED:
                    return None
                rows = rows[:-1]
            elif kind == "ledger rewritten":
                if rows[-1]["event"] == JOINED:
                    return None
                blank = dict.fromkeys(FILLED_IN, "") | {BODY: "", "notes": "changed"}
                rows = sealed([*rows[:-1], rows[-1] | blank])
            else:
                event = {"event": "stored", "sample_id": rows[0]["sample_id"],
                         "happened_on": self.today, "place_held": "B1"}  # fmt: skip
                rows = with_events(rows, [event])
            ledger.write_bytes(_table(columns, rows))
        self.expected[kind, about] += 1
        self.check(full=kind in ("damaged", "tags altered", "foreign", "exchanged"))
        self.tally[f"fault: {kind}"] += 1
        settles = {"missing", "damaged", "moved", "unregistered", "duplicate", "tags altered"}
        if kind in settles and self.chance.random() < 0.4:
            for one in self.open_findings():
                if (one.kind, one.number or one.path) == (kind, about):
                    self.settle(one)
            self.tally["settled"] += 1
            # where a second one stays, a lost bundle would be a moved one
            kept.is_well = kind == "unregistered"
        else:
            stray.unlink(missing_ok=True)
            shutil.move(aside, touched)
            if kind in ("damaged", "tags altered", "foreign", "exchanged"):
                del self.expected[kind, about]
                return self.check(full=True)
        del self.expected[kind, about]
        return None

    def settle(self, finding: StoreFinding) -> None:
        def act() -> object:
            index = index_place(self.at)
            return settle_in_store(self.at, index, finding.finding_id, reason="known")

        while not self.perhaps_killed(act)[0]:
            pass

    def a_stranger(self) -> Path:
        return self.season("S999", State({}, [])).path

    def register_fault(self) -> None:
        """A line of the register is changed, taken out or cut off, in a copy of the store."""
        copy = self.new("spoiled")
        shutil.copytree(self.at, copy, ignore=lambda *_: [index_place(self.at).name])
        path = copy / "register.csv"
        acts = list(read_register(path))
        kind = self.pick(("broken", "taken out", "cut"))
        place, cut = self.chance.randrange(len(acts) - 1), self.chance.randint(1, 4)
        gone = acts[-cut:]
        if kind == "broken":
            acts[place] = replace(acts[place], by="somebody else")
        elif kind == "taken out":
            del acts[place]
        else:
            acts = acts[:-cut]
        path.write_bytes(register_bytes(acts))
        found = audit_place(copy, self.root / "spoiled.sqlite", minutes=0, anchors=self.paper)
        assert found.store
        new = Counter(map(known_by, found.store.open)) - self.expected
        seen = bool(new)
        on_paper = any(one.count > len(acts) for one in self.paper)
        said = {act.kind for act in gone} & {"accession", "withdrawn"}
        must = kind != "cut" or on_paper or bool(said)
        self.tally[f"register {kind}: {'seen' if seen else 'not seen'}"] += 1
        assert seen or not must, (kind, [act.kind for act in gone])
        shutil.rmtree(copy)
        (self.root / "spoiled.sqlite").unlink()

    # -- the oracle ------------------------------------------------------------------------------

    def open_findings(self, *, full: bool = False) -> tuple[StoreFinding, ...]:
        minutes = None if full else 0
        found = audit_place(self.at, index_place(self.at), minutes=minutes, anchors=self.paper)
        assert found.store
        return found.store.open

    def check(self, *, full: bool = False) -> None:
        """The audit tells exactly what the model knows to be wrong."""
        found = Counter(map(known_by, self.open_findings(full=full)))
        expected = +self.expected
        assert found == expected, f"told {found - expected}, not told {expected - found}"

    def check_catalogue(self) -> None:
        """The catalogue of the store, and one made anew, answer as the model does."""
        anew = self.new("index").with_suffix(".sqlite")
        for index in (index_place(self.at), anew):
            update_catalogue(self.at, index)
            self._check_answers(index)
        anew.unlink()
        self.tally["catalogues"] += 1

    def _check_answers(self, index: Path) -> None:
        expected = {
            (record.site, sample): record.where.get(sample, Where("")) if not_disputed else None
            for record in self.records.values()
            for sample in {
                *record.where,
                *(s for number in record.tips for s in self.kept[number].wood),
            }
            for not_disputed in [sample not in record.disputed]
        }
        held = find_in_catalogue(index, "holdings").to_dicts()
        assert len(held) == len(expected), (len(held), len(expected))
        for row in held:
            where = expected[row["site_id"], row["sample_id"]]
            told = Where(
                *(row[one] or "" for one in ("holder", "place", "due_on", "lender", "gone"))
            )
            assert bool(row["disputed"]) == (where is None), (row["sample_id"], "disputed")
            assert where in (None, told), (row["site_id"], row["sample_id"], told, where)
        samples = find_in_catalogue(index, "samples", EVEN_DAMAGED).to_dicts()
        counted = Counter((row["site_id"], row["sample_id"]) for row in samples)
        assert counted == Counter(list(expected)), (counted, expected)
        for room in ("R1", "B3"):
            inside = {p for p, within in PLACES.items() if room in (p, within)}
            there = {one for one, where in expected.items() if where and where.place in inside}
            found = (
                find_in_catalogue(index, "holdings", Wanted(place=room)).to_dicts() if there else []
            )
            sure = {(r["site_id"], r["sample_id"]) for r in found if not r["disputed"]}
            assert sure == there, room
        late = {one for one, where in expected.items() if where and "" < where.due < self.today}
        found = find_in_catalogue(index, "loans", Wanted(overdue=self.today)).to_dicts()
        sure = {(r["site_id"], r["sample_id"]) for r in found if not r["disputed"]}
        assert sure == late
        tips = {number for record in self.records.values() for number in record.tips}
        bundles = find_in_catalogue(index, "bundles").to_dicts()
        current = {row["accession"] for row in bundles if row["accession"] in self.kept}
        assert current == tips, (current ^ tips, "current bundles")

    # -- the run ---------------------------------------------------------------------------------

    def run(self, steps: int, *, processes: bool = False) -> Counter[str]:
        self.publics = []
        acts: Acts = [
            (self.first, 3), (self.successor, 4), (self.exported, 1), (self.branch_and_join, 1),
            (self.older, 1), (self.public, 1), (self.move, 9), (self.stocktake, 2),
            (self.move_store, 1), (self.copy_and_merge, 2), (self.withdraw, 1),
            (self.print_anchor, 2), (self.hostile, 4), (self.fault, 6),
        ]  # fmt: skip
        if processes:
            acts.append((self.two_curators, 0))
        for step in range(1, steps + 1):
            self.day += timedelta(self.chance.randrange(4))
            (act,) = self.chance.choices([one for one, _ in acts], [n for _, n in acts])
            if step <= 2:
                act = self.first
            if processes and step % 60 == 0:
                act = self.two_curators
            self.last = act.__name__
            act()
            self.tally[act.__name__] += 1
            self.check(full=step % 50 == 0)
            if step % self.look_every == 0:
                self.check_catalogue()
        return self.tally


def hand_in_elsewhere(decade: Decade, bundle: Path) -> None:
    decade.hand_in(bundle)


def known_by(one: StoreFinding) -> Expected:
    about = one.record_id if one.kind == "branched" else one.number or one.path
    return one.kind, about


def flip(path: Path) -> None:
    """Change one letter inside a zip whose files are not compressed, or one of its bytes."""
    content = bytearray(path.read_bytes())
    place = len(content) // 2
    content[place] ^= 1
    path.write_bytes(content)


def retagged(path: Path) -> None:
    """Add a line to bag-info.txt, and make the lists fit."""
    with zipfile.ZipFile(path) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    base = next(iter(files)).split("/")[0]
    files[f"{base}/bag-info.txt"] += b"Contact-Phone: 1\n"
    for algorithm in ("sha256", "sha512"):
        name = f"{base}/tagmanifest-{algorithm}.txt"
        if name in files:
            lines = []
            for line in files[name].decode().splitlines():
                tag = line.split("  ", 1)[1]
                digest = hashlib.new(algorithm, files[f"{base}/{tag}"]).hexdigest()
                lines.append(f"{digest}  {tag}\n")
            files[name] = "".join(lines).encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name), content)


def main(seeds: int = 10, steps: int = 200, first: int = 0) -> None:
    """Run some decades; ends with the first difference."""
    total: Counter[str] = Counter()
    for seed in range(first, first + seeds):
        with tempfile.TemporaryDirectory(prefix="decade-") as folder:
            os.environ["XDG_DATA_HOME"] = f"{folder}/data"
            decade = Decade(seed, Path(folder))
            try:
                total += decade.run(steps, processes=True)
            except BaseException:
                print(f"seed {seed}, {sum(decade.tally.values())} counted, in {decade.last}")
                raise
        print(f"seed {seed}: {steps} acts without a difference", flush=True)
    for name, count in sorted(total.items()):
        print(f"{count:6} {name}")


if __name__ == "__main__":
    with patch.object(os, "fsync", lambda handle: None):
        main(*map(int, sys.argv[1:]))

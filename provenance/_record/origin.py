"""Knows the bundle that a package was unpacked from, so that a later season can be told from it.

`treenail unpack` leaves this in the hidden file `.origin.json` at the top of the package; hidden
files stay out of bundles. It holds what must be known when the older bundle itself is not at hand:
what it is called, and every number that it gave to something.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from provenance._base.errors import UnusablePackage
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.documents import read_json
from provenance._gate.folders import read_plain
from provenance._gate.refusal import RefusedInput
from provenance._record.doi import doi_in
from provenance._record.given_out import (
    LINEAGE_TABLE,
    STAMP,
    GivenOut,
    lineage_text,
    numbers_digest,
    read_lineage,
)

if TYPE_CHECKING:
    from provenance._record.package import Package


ORIGIN = ".origin.json"
_FACTS = "bundle.json"
ORIGIN_VERSION = "1"

NUMBERED: Mapping[str, str] = MappingProxyType(
    {
        "element": "site_id",
        "sample": "element_id",
        "plug": "sample_id",
        "consignment": "",
        "lab_result": "sample_id",
        "reservation": "site_id",
    }
)
"""Tables whose keys are never given to something else, and the column that says whose they are."""

_ANCESTOR = ("name", "edition", "recordDate", "tagmanifestSha256", "accession")
"""The properties of an ancestor in JSON, in the order of its fields."""


@dataclass(frozen=True)
class Ancestor:
    """One earlier bundle of the same record, by what is known of it anywhere.

    `tagmanifest_sha256` is the checksum of its tagmanifest-sha256.txt, which stands for every byte
    of it; `accession` is '' where no repository had given it a number, `doi` where it had none. The
    rest lets a later bundle be judged without this one, and is blank where an earlier version
    packed it: `payload` is the checksum of its manifest-sha256.txt, `heads` the seals of its last
    custody events, `events` how many there were, `bindings` the checksum over what its numbers
    stood for (see given_out.py), and `statement` the text of its signed statement.
    """

    name: str
    edition: str
    record_date: str
    tagmanifest_sha256: str
    accession: str = ""
    payload: str = ""
    heads: tuple[str, ...] = ()
    events: int = 0
    bindings: str = ""
    statement: str = ""
    signatures: str = ""
    doi: str = ""

    def as_dict(self) -> dict[str, Any]:
        """The ancestor as it stands in bundle.json; what is not known is left out."""
        plain = {key: getattr(self, name) for key, name in zip(_ANCESTOR, _FIELDS[:5], strict=True)}
        if self.doi:
            plain["doi"] = self.doi
        if not self.payload:
            return plain
        told = {
            "payload": self.payload,
            "heads": list(self.heads),
            "events": self.events,
            "bindings": self.bindings,
        }
        signed = {"statement": self.statement, "signatures": self.signatures}
        return plain | told | (signed if self.statement else {})

    @property
    def in_public(self) -> Ancestor:
        """What a public edition may say of it."""
        return Ancestor(*(getattr(self, name) for name in _FIELDS[:5]))

    @property
    def in_words(self) -> str:
        """'the full edition of 2024-06-14, accession 2026.0003'."""
        number = f", accession {self.accession}" if self.accession else ""
        return f"the {self.edition} edition of {self.record_date}{number}"


_TEXTS = ("payload", "bindings", "statement", "signatures")
_FIELDS = tuple(one.name for one in fields(Ancestor))


@dataclass(frozen=True)
class Origin:
    """The bundle a package came from.

    `bundle` is that one and `earlier` those before it, newest first. The package is unchanged while
    it has `member_count` files of `byte_count` bytes whose checksums make `members_sha256`.
    `numbers` maps table → key → whose it is (see NUMBERED), `stamps` plug → stamp as punched;
    `spent` maps table → keys that had gone before already. The ledger had `event_count` sealed
    events, the last with the seal `last_seal`. `damaged` says, a sentence each, what of the bundle
    was not what was packed when it was unpacked all the same. `given` is what numbers stood for in
    this bundle and in those before it, as far as that was told.
    """

    bundle: Ancestor
    earlier: tuple[Ancestor, ...]
    members_sha256: str
    member_count: int
    byte_count: int
    numbers: Mapping[str, Mapping[str, str]]
    stamps: Mapping[str, str]
    event_count: int
    last_seal: str
    spent: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    damaged: tuple[str, ...] = ()
    given: GivenOut = field(default_factory=GivenOut)

    @property
    def bundles(self) -> list[str]:
        """The checksums of this bundle and those before it, oldest first."""
        return bundles_of((self.bundle, *self.earlier))

    @property
    def false_cards(self) -> list[Ancestor]:
        """Bundles of which it is told what their numbers stood for, under another checksum."""
        return [
            one
            for one in (self.bundle, *self.earlier)
            if one.bindings
            and numbers_digest(self.given.numbers_in(one.tagmanifest_sha256)) != one.bindings
        ]

    @property
    def taken(self) -> set[str]:
        """Every stamp and number of a sample that stood for something in an older bundle."""
        taken = set(self.stamps.values())
        for table in ("sample", "reservation"):
            taken |= {*self.numbers.get(table, ()), *self.spent.get(table, ())}
        return taken - {""}

    def as_dict(self) -> dict[str, Any]:
        """The origin as it stands in its file."""
        return {
            "originVersion": ORIGIN_VERSION,
            "bundle": self.bundle.as_dict(),
            "earlier": [one.as_dict() for one in self.earlier],
            "membersSha256": self.members_sha256,
            "memberCount": self.member_count,
            "byteCount": self.byte_count,
            "numbers": {table: dict(keys) for table, keys in self.numbers.items()},
            "stamps": dict(self.stamps),
            "eventCount": self.event_count,
            "lastSeal": self.last_seal,
            "spent": {table: list(keys) for table, keys in self.spent.items()},
            "given": lineage_text(self.given, self.bundles).splitlines(),
            **({"damaged": list(self.damaged)} if self.damaged else {}),
        }


def bundles_of(ancestors: Sequence[Ancestor]) -> list[str]:
    """The checksums of bundles, newest first, as lineage.csv counts them: oldest first."""
    return [one.tagmanifest_sha256 for one in reversed(ancestors)]


def ancestor_from(raw: object) -> Ancestor:
    """An ancestor as bundle.json has it; raises ValueError when it is none."""
    if not isinstance(raw, dict) or not all(isinstance(raw.get(one), str) for one in _ANCESTOR):
        raise ValueError(f"it lacks one of {', '.join(_ANCESTOR)}")
    plain = replace(Ancestor(*(raw[one] for one in _ANCESTOR)), doi=doi_in(raw.get("doi")))
    if "payload" not in raw:
        return plain
    heads, events = raw.get("heads"), raw.get("events")
    texts = {name: raw.get(name, "") for name in _TEXTS}
    if (
        not isinstance(heads, list)
        or not all(isinstance(one, str) for one in (*heads, *texts.values()))
        or not isinstance(events, int)
    ):
        raise ValueError(f"one of 'heads', 'events', {', '.join(_TEXTS)} is not what it should be")
    return replace(plain, heads=tuple(heads), events=events, **texts)


def origin_from(raw: object) -> Origin:
    """An origin as its file has it; raises ValueError when it is none."""
    if not isinstance(raw, dict):
        raise ValueError("it is not a JSON object")
    try:
        bundle = ancestor_from(raw["bundle"])
        earlier = tuple(ancestor_from(one) for one in raw["earlier"])
        return Origin(
            bundle=bundle,
            earlier=earlier,
            members_sha256=str(raw["membersSha256"]),
            member_count=int(raw["memberCount"]),
            byte_count=int(raw["byteCount"]),
            numbers={
                table: {str(key): str(owner) for key, owner in keys.items()}
                for table, keys in raw["numbers"].items()
            },
            stamps={str(key): str(stamp) for key, stamp in raw["stamps"].items()},
            event_count=int(raw["eventCount"]),
            last_seal=str(raw["lastSeal"]),
            spent={table: tuple(map(str, keys)) for table, keys in raw["spent"].items()},
            damaged=tuple(map(str, raw.get("damaged", ()))),
            given=_given_in(raw, bundles_of((bundle, *earlier))),
        )
    except (KeyError, TypeError, AttributeError, csv.Error) as error:
        raise ValueError(f"it is not whole ({type(error).__name__} {error})") from error


def _given_in(raw: Mapping[str, Any], bundles: Sequence[str]) -> GivenOut:
    # a version that did not keep it yet
    lines = raw.get("given")
    return read_lineage("\n".join(map(str, lines)), bundles) if lines else GivenOut()


def read_origin(folder: Path) -> Origin | None:
    """The origin of the package in `folder`; None for one that was not unpacked from a bundle.

    Raises UnusablePackage when the file is there and cannot be read.
    """
    path = folder / ORIGIN
    try:
        return origin_from(read_json(path))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, RefusedInput) as error:
        raise UnusablePackage(
            f"{path} cannot be read: {error}. It says which bundle this package came from: unpack "
            "that bundle again and copy the file from there"
        ) from error


def told_origin(folder: Path) -> Origin | None:
    """What the payload of a bundle tells of the bundles before it, as the origin of its record.

    None where it tells nothing: for a first bundle, a public edition, one of an older version, and
    a package. Raises UnusablePackage when that cannot be read.
    """
    path = folder / LINEAGE_TABLE
    if not path.is_file() or not (folder / _FACTS).is_file():
        return None
    try:
        facts = read_json(folder / _FACTS)
        ancestors = [ancestor_from(one) for one in facts["revisionOf"]]
        bundles = bundles_of(ancestors)
        content = read_plain(path, DEFAULT_BUDGET.most_table_bytes)
        given = read_lineage(content.decode("utf-8"), bundles)
        newest = ancestors[0]
    except (OSError, ValueError, LookupError, TypeError, csv.Error, RefusedInput) as error:
        raise UnusablePackage(
            f"{path} cannot be read: {error}. It says what numbers stood for in earlier bundles: "
            "ask for the bundle again"
        ) from error
    stamps = {
        key: owner
        for (table, key, owner), there in given.rows.items()
        if table == STAMP and newest.tagmanifest_sha256 in there
    }
    spent: dict[str, tuple[str, ...]] = {}
    for table, key in sorted(given.gone):
        spent[table] = (*spent.get(table, ()), key)
    return Origin(
        bundle=newest,
        earlier=tuple(ancestors[1:]),
        members_sha256="",
        member_count=0,
        byte_count=0,
        numbers={table: keys for table, keys in given.newest(bundles).items() if table != STAMP},
        stamps=stamps,
        event_count=newest.events,
        last_seal=newest.heads[0] if newest.heads else "",
        spent=spent,
        given=given,
    )


def numbers_of(package: Package) -> dict[str, dict[str, str]]:
    """Every key of the numbered tables and whose it is: table → key → owner."""
    found: dict[str, dict[str, str]] = {}
    for table, owner in NUMBERED.items():
        if table not in package.model.tables:
            continue
        key = package.model.table(table).primary_key[0]
        if key not in package.tables.columns(table) and package.tables.count(table):
            # without it every number would be free again
            raise UnusablePackage(
                f"{package.tables.where}/tables/{table}.csv has no column '{key}', so no one can "
                "tell which numbers were given out; write the heading there, or ask the sender for "
                "the record again"
            )
        pairs = package.tables.tuples(table, (key, owner))
        found[table] = {one: whose for one, whose in pairs if one}
    return found


def joined_origins(one: Origin, other: Origin) -> Origin:
    """What two copies of a record know of their bundles: the newer one's, and both's numbers."""
    older, newer = sorted(
        (one, other), key=lambda o: (o.bundle.record_date, o.bundle.tagmanifest_sha256)
    )
    ancestors: dict[str, Ancestor] = {}
    for known in (*newer.earlier, older.bundle, *older.earlier):
        there = ancestors.get(known.tagmanifest_sha256)
        # one copy may have been unpacked by a version that told less
        if there is None or not there.payload:
            ancestors[known.tagmanifest_sha256] = known
    ancestors.pop(newer.bundle.tagmanifest_sha256, None)
    return replace(
        newer,
        earlier=tuple(ancestors.values()),
        numbers={
            table: {**older.numbers.get(table, {}), **newer.numbers.get(table, {})}
            for table in sorted({*newer.numbers, *older.numbers})
        },
        stamps={**older.stamps, **newer.stamps},
        given=older.given.joined(newer.given),
        damaged=tuple(dict.fromkeys([*older.damaged, *newer.damaged])),
        spent={
            table: tuple(sorted({*older.spent.get(table, ()), *newer.spent.get(table, ())}))
            for table in sorted({*newer.spent, *older.spent})
        },
    )

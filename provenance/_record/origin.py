"""Knows the bundle that a package was unpacked from, so that a later season can be told from it.

`treenail unpack` leaves this in the hidden file `.origin.json` at the top of the package; hidden
files stay out of bundles. It holds what must be known when the older bundle itself is not at hand:
what it is called, and every number that it gave to something.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from provenance._base.errors import UnusablePackage
from provenance._gate.documents import read_json
from provenance._gate.refusal import RefusedInput
from provenance._record.doi import doi_in

if TYPE_CHECKING:
    from provenance._record.package import Package


ORIGIN = ".origin.json"
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
    of it; `accession` is '' where no repository had given it a number, `doi` where it had none.
    """

    name: str
    edition: str
    record_date: str
    tagmanifest_sha256: str
    accession: str = ""
    doi: str = ""

    def as_dict(self) -> dict[str, str]:
        """The ancestor as it stands in bundle.json."""
        known = dict(zip((*_ANCESTOR, "doi"), vars(self).values(), strict=True))
        return known if self.doi else {name: known[name] for name in _ANCESTOR}

    @property
    def in_words(self) -> str:
        """'the full edition of 2024-06-14, accession 2026.0003'."""
        number = f", accession {self.accession}" if self.accession else ""
        return f"the {self.edition} edition of {self.record_date}{number}"


@dataclass(frozen=True)
class Origin:
    """The bundle a package came from.

    `bundle` is that one and `earlier` those before it, newest first. The package is unchanged while
    it has `member_count` files of `byte_count` bytes whose checksums make `members_sha256`.
    `numbers` maps table → key → whose it is (see NUMBERED), `stamps` plug → stamp as punched;
    `spent` maps table → keys that had gone before already. The ledger had `event_count` sealed
    events, the last with the seal `last_seal`. `damaged` says, a sentence each, what of the bundle
    was not what was packed when it was unpacked all the same.
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
            **({"damaged": list(self.damaged)} if self.damaged else {}),
        }


def ancestor_from(raw: object) -> Ancestor:
    """An ancestor as bundle.json has it; raises ValueError when it is none."""
    if not isinstance(raw, dict) or not all(isinstance(raw.get(one), str) for one in _ANCESTOR):
        raise ValueError(f"it lacks one of {', '.join(_ANCESTOR)}")
    return replace(Ancestor(*(raw[one] for one in _ANCESTOR)), doi=doi_in(raw.get("doi")))


def origin_from(raw: object) -> Origin:
    """An origin as its file has it; raises ValueError when it is none."""
    if not isinstance(raw, dict):
        raise ValueError("it is not a JSON object")
    try:
        return Origin(
            bundle=ancestor_from(raw["bundle"]),
            earlier=tuple(ancestor_from(one) for one in raw["earlier"]),
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
        )
    except (KeyError, TypeError, AttributeError) as error:
        raise ValueError(f"it is not whole ({type(error).__name__} {error})") from error


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
    ancestors = dict.fromkeys([*newer.earlier, older.bundle, *older.earlier])
    ancestors.pop(newer.bundle, None)
    return replace(
        newer,
        earlier=tuple(ancestors),
        numbers={
            table: {**older.numbers.get(table, {}), **newer.numbers.get(table, {})}
            for table in sorted({*newer.numbers, *older.numbers})
        },
        stamps={**older.stamps, **newer.stamps},
        damaged=tuple(dict.fromkeys([*older.damaged, *newer.damaged])),
        spent={
            table: tuple(sorted({*older.spent.get(table, ()), *newer.spent.get(table, ())}))
            for table in sorted({*newer.spent, *older.spent})
        },
    )

"""Small stores for tests: bundles of a few files, taken in as an accession takes them in."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from provenance._ledger.branches import heads_of
from provenance._ledger.custody import sealed
from provenance._store.store import Store, Writing, ledger_columns

WHEN: dict[str, Any] = {"on": date(2030, 5, 4), "recorded_on": "2030-05-04T09:00:00Z"}
Wood = Mapping[str, str]
"""Sample → its timber."""


def csv_text(rows: Sequence[Mapping[str, Any]]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def events_sealed(said: Sequence[Mapping[str, str]]) -> list[dict[str, str]]:
    """A ledger of these events."""
    return sealed([dict.fromkeys(ledger_columns(), "") | dict(one) for one in said])


@dataclass(frozen=True)
class SmallBundle:
    """A bag of what the catalogue reads, written as a zip; `note` makes it another edition."""

    site: str
    wood: Wood
    ledger: Sequence[Mapping[str, str]] = ()
    edition: str = "full"
    note: str = ""
    follows: tuple[str, ...] = ()
    files: dict[str, str] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        wood = [{"element_id": e, "site_id": self.site} for e in sorted(set(self.wood.values()))]
        tables = {
            "site": [{"site_id": self.site}],
            "party": [{"party_id": "R", "kind": "organisation", "name": "Reed Store (invented)"}],
            "element": wood,
            "sample": [
                {"sample_id": s, "site_id": self.site, "element_id": e, "species_field": "PISY"}
                for s, e in self.wood.items()
            ],
            "plug": [{"plug_id": f"P-{s}", "sample_id": s, "stamp": s} for s in self.wood],
            "custody": self.ledger,
        }
        about = {
            "edition": self.edition,
            "revisionOf": [{"tagmanifestSha256": one} for one in self.follows],
        }
        inside = {f"tables/{name}.csv": csv_text(rows) for name, rows in tables.items() if rows}
        inside |= {"datapackage.json": json.dumps({"name": self.site.lower(), "title": self.note})}
        inside |= {"bundle.json": json.dumps(about)}
        self.files.update({f"data/{name}": text for name, text in inside.items()})
        self.files["bagit.txt"] = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
        for name in ("manifest", "tagmanifest"):
            is_tag = name == "tagmanifest"
            listed = [one for one in self.files if one.startswith("data/") != is_tag]
            lines = [f"{_sha256(self.files[one])}  {one}\n" for one in sorted(listed)]
            self.files[f"{name}-sha256.txt"] = "".join(lines)

    @property
    def payload(self) -> str:
        return _sha256(self.files["manifest-sha256.txt"])

    @property
    def bag(self) -> str:
        return _sha256(self.files["tagmanifest-sha256.txt"])

    @property
    def zipped(self) -> bytes:
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            for name, text in sorted(self.files.items()):
                archive.writestr(zipfile.ZipInfo(f"bundle/{name}"), text)
        return out.getvalue()

    @property
    def numbers(self) -> dict[str, dict[str, str]]:
        of_timbers = dict.fromkeys(self.wood.values(), self.site)
        return {"sample": dict(self.wood), "element": of_timbers}


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def accession(writing: Writing, number: str, record: str, bundle: SmallBundle, **said: str) -> str:
    """Take a bundle in under a number; its act. The ledger of the record is put by the caller."""
    facts = {
        "number": number,
        "record_id": record,
        "edition": bundle.edition,
        "title": bundle.note,
        "bundle": bundle.site.lower(),
        "bag": bundle.bag,
        "payload": bundle.payload,
        "kept_at": f"{number}/bundle.zip",
        "heads": " ".join(one.seal for one in heads_of(bundle.ledger)),
        "events": str(len(bundle.ledger)),
    }
    act = writing.add("accession", **facts | said)
    with writing.staged.writing(act.kept_at) as stream:
        stream.write(bundle.zipped)
    writing.put_card(act, bundle.numbers)
    with writing.staged.writing(f"{number}/received/bundle.zip") as stream:
        stream.write(bundle.zipped)
    return act.act_id


def a_store(folder: Path) -> Store:
    """A store with the places MAIN / R1 / B7 and B8, and MAIN / R2."""
    store = Store(folder)
    rooms = [("MAIN", "", "building"), ("R1", "MAIN", "room"), ("R2", "MAIN", "room")]
    boxes = [("B7", "R1", "box"), ("B8", "R1", "box")]
    with store.writing(**WHEN) as writing:
        rows = [{"place_id": p, "within": of, "kind": kind} for p, of, kind in rooms + boxes]
        writing.put_rows("place", rows)
    return Store(folder)

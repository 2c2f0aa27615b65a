"""Gives out a record of a store as a package, with all that happened to its samples here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from provenance._bag.verdict import Verdict
from provenance._base.disk import building_folder
from provenance._base.errors import UnusableInput, UnusableSchema
from provenance._base.progress import Progress, say_nothing
from provenance._bundle.unpack import unpack
from provenance._collection.kept import Kept, kept_record, record_named
from provenance._history.entering import stage_tables
from provenance._history.history import frame_of
from provenance._ledger.custody import TABLE
from provenance._ledger.seals import SEAL
from provenance._record.new import update_package
from provenance._record.package import Package, open_package
from provenance._record.together import writing_together
from provenance._store.store import Store

Row = Mapping[str, str]
_PARTIES = ("from_party_id", "to_party_id", "recorded_by")
_OF_PARENT = ("site_id", "element_id", "collected_on", "collected_by")
_PARTY_KINDS = {"person": "person", "organization": "organisation"}


@dataclass(frozen=True)
class Exported:
    """A package to work on, with what the store added to what was in the bundle.

    `events` counts the events that are new in it; `parties` and `parts` are the codes and numbers
    that were entered; `updated` says that its schemas were brought forward for them.
    """

    package: Package
    verdict: Verdict
    number: str
    events: int
    parties: tuple[str, ...]
    parts: tuple[str, ...]
    updated: bool


def export_record(
    store: Store, named: str, out: Path, *, progress: Progress = say_nothing
) -> Exported:
    """Write the current bundle of a record as the new folder `out`, with the store's whole ledger.

    Parties of the store that events name, and parts of samples that were cut in the store, are
    entered as any other rows. Packed and handed in, it goes on from the bundle that is kept.
    Raises UnusableInput where the bundle is lost or not sound, or its ledger is not in the store's,
    and AlreadyThere when `out` exists.
    """
    record_id = record_named(store, named)
    kept = kept_record(store, record_id)
    bundle = store.folder / kept.accession.kept_at
    if not bundle.exists():
        raise UnusableInput(
            f"{bundle} is not there, so the record {kept.accession.number} cannot be given out; "
            "restore it from a copy"
        )
    with building_folder(out) as being_built:
        being_built.rmdir()  # unpack makes it
        unpacked = unpack(bundle, being_built, progress=progress)
        package, updated = brought_forward(unpacked.package, kept)
        events = _count_new(package, kept)
        parties, parts = _new_parties(package, kept), _new_parts(package, kept)
        _enter(package, kept, parties, parts)
    return Exported(
        open_package(out),
        unpacked.verdict,
        kept.accession.number,
        events,
        tuple(one["party_id"] for one in parties),
        tuple(one["sample_id"] for one in parts),
        updated,
    )


def brought_forward(package: Package, kept: Kept) -> tuple[Package, bool]:
    """The package with schemas that have the columns and codes of the events; whether they changed.

    Raises UnusableInput where its profile is not at hand, or does not know them either.
    """
    if not _lacks(package, kept):
        return package, False
    try:
        newer = update_package(package, package.model.profile)
    except UnusableSchema as error:
        raise UnusableInput(
            f"the schemas of {kept.accession.number} do not know events of this store, and its "
            f"profile is not here: {error}. Unpack the bundle, bring it forward with 'treenail new "
            "PACKAGE --update --profile FILE', pack it and take it in; then give it out"
        ) from error
    if lacking := _lacks(newer, kept):
        raise UnusableInput(
            f"the events of {kept.accession.number} use '{lacking}', which its profile does not "
            "know; add it to the profile"
        )
    return newer, True


def _lacks(package: Package, kept: Kept) -> str:
    """A column or code of the store's events that the package's schemas lack, '' for none."""
    table = package.model.table(TABLE)
    codes = package.model.vocabularies["custody_event"].codes
    for row in kept.ledger:
        for name, text in row.items():
            if text and name not in table:
                return name
        if row["event"] not in codes:
            return row["event"]
    needs_parent = bool(kept.parents) and "parent_sample_id" not in package.model.table("sample")
    return "parent_sample_id" if needs_parent else ""


def _count_new(package: Package, kept: Kept) -> int:
    here = {row[SEAL] for row in kept.ledger}
    mine = {row[SEAL] for row in package.tables.rows(TABLE)}
    if lost := mine - here - {""}:
        raise UnusableInput(
            f"the store's ledger of {kept.accession.number} lacks {len(lost)} of the custody "
            "events in its bundle; restore ledger/ from a copy ('treenail audit' says more)"
        )
    return len(here - mine)


def _new_parties(package: Package, kept: Kept) -> list[dict[str, str]]:
    """Rows for the parties that events name and the record does not know."""
    known = set(package.tables.column("party", "party_id"))
    former = package.tables.rows("former_key") if "former_key" in package.model.tables else ()
    known |= {row["former_key"] for row in former if row["table_name"] == "party"}
    named = dict.fromkeys(row[one] for row in kept.ledger for one in _PARTIES if row.get(one))
    rows = []
    for code in named:
        if code in known:
            continue
        party = kept.shop.get(code)
        if party is None:
            raise UnusableInput(
                f"events of {kept.accession.number} name the party {code}, which neither record "
                "nor store has in its table 'party'; enter it with 'treenail store enter STORE "
                "party FILE'"
            )
        rows.append(
            {
                "party_id": code,
                "kind": _PARTY_KINDS[party["kind"]],
                "name": party["name"],
                "postal_address": party["address"],
            }
        )
    return rows


def _new_parts(package: Package, kept: Kept) -> list[dict[str, str]]:
    """Rows for the parts that were cut in the store."""
    there = {row["sample_id"]: row for row in package.tables.rows("sample")}
    rows: list[dict[str, str]] = []
    for part, parent in kept.parents.items():
        if part in there:
            continue
        of = there.get(parent)
        if of is None:
            raise UnusableInput(
                f"{part} was cut from sample {parent}, which is not in {kept.accession.number}"
            )
        row = {
            "sample_id": part,
            "parent_sample_id": parent,
            "kind": "other",
            "notes": f"Part of sample {parent}, cut in a store.",
            **{name: of[name] for name in _OF_PARENT},
        }
        there[part] = row
        rows.append(row)
    return rows


def _enter(package: Package, kept: Kept, parties: Sequence[Row], parts: Sequence[Row]) -> None:
    columns = package.model.table(TABLE).names
    ledger = [{name: row.get(name, "") for name in columns} for row in kept.ledger]
    changed = {
        table: [*map(dict, package.tables.rows(table)), *rows]
        for table, rows in (("party", parties), ("sample", parts))
        if rows
    }
    with package.locked(), writing_together(package.folder) as staging:
        if changed:
            why = f"recorded in the store, {kept.accession.number}"
            stage_tables(package, staging, changed, why=why)
        with staging.writing(f"tables/{TABLE}.csv") as stream:
            package.write_table_to(stream, TABLE, frame_of(columns, ledger))

"""Makes up a parcel for a laboratory: its row, its events, its list and the form to fill in."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.disk import write_text
from provenance._base.errors import TreenailError
from provenance._base.spreadsheet import spreadsheet_csv_of
from provenance._history.entering import enter_table
from provenance._identity.identifier import joined_key
from provenance._ledger.handover import record_events, refuse_what_gave_nothing
from provenance._ledger.holdings import (
    Event,
    Holding,
    events_of,
    first_day,
    holdings_of,
    last_day,
    refusal,
    samples_in_parcel,
)
from provenance._model.edtf import is_edtf
from provenance._record.attempts import failed_attempts
from provenance._record.package import Package

if TYPE_CHECKING:
    import pandas as pd

LIST_COLUMNS = (
    "sample_id", "kind", "element_id", "function", "species_field", "outer_surface", "pith_seen",
    "pieces", "length_mm", "rings_field", "collected_on", "notes",
)  # fmt: skip
"""What the laboratory is told of each sample; nothing of where the site lies."""


@dataclass(frozen=True)
class Parcel:
    """A parcel that was made up: its code, for whom it is, and its samples in order."""

    consignment_id: str
    to_party_id: str
    samples: tuple[str, ...]


def consign_samples(
    package: Package,
    samples: Sequence[str],
    *,
    to_party_id: str,
    packed_on: str,
    recorded_on: str,
    from_party_id: str = "",
    purpose: str = "dating",
    due_on: str = "",
    questions: str = "",
    seal_number: str = "",
    recorded_by: str = "",
) -> Parcel:
    """Pack samples into a new parcel: a row in `consignment`, an event 'packed' for each sample.

    Everything is checked before anything is written; the parcel's code is the next free C-YEAR-N.
    The giver is the holder of the samples, who must be one and the same; what lies packed in
    another parcel that has not left is not packed twice.
    Raises TreenailError (Refused for the ledger) and writes nothing when it cannot be.
    """
    events = events_of(package.tables)
    refuse_what_gave_nothing(package, samples)
    _refuse_packed_twice(samples, {one.sample_id: one for one in events})
    _refuse_answer_before_parcel(packed_on, due_on)
    held = holdings_of(package.tables)
    holders = {held.get(sample, Holding(sample)).holder for sample in samples}
    if not from_party_id:
        if len(holders) != 1 or "" in holders:
            said = ", ".join(sorted(holder or "no one" for holder in holders)) or "no one"
            raise TreenailError(
                f"the samples are with {said}; a parcel has one sender. Record first who has them, "
                "or make up a parcel for each holder"
            )
        from_party_id = next(iter(holders))
    parties = set(package.tables.column("party", "party_id"))
    if to_party_id not in parties:
        raise TreenailError(
            f"the table 'party' has no {to_party_id}; there are {', '.join(sorted(parties))}"
        )
    purposes = package.model.vocabularies["consignment_purpose"].codes
    if purpose not in purposes:
        raise TreenailError(f"'{purpose}' is not a purpose; there are {', '.join(purposes)}")
    consignment_id = _next_code(package, packed_on)
    # the ledger refuses what cannot be, so it comes first: a refusal leaves no parcel behind
    record_events(
        package,
        "packed",
        samples,
        happened_on=packed_on,
        recorded_on=recorded_on,
        recorded_by=recorded_by,
        consignment_id=consignment_id,
    )
    with package.locked():
        row = {
            "consignment_id": consignment_id,
            "from_party_id": from_party_id,
            "to_party_id": to_party_id,
            "purpose": purpose,
            "packed_on": packed_on,
            "due_on": due_on,
            "seal_number": seal_number,
            "sample_count": str(len(samples)),
            "questions": questions,
        }
        rows = [*package.tables.rows("consignment"), row]
        enter_table(package, "consignment", rows, who=recorded_by, why="consign", when=recorded_on)
    return Parcel(consignment_id, to_party_id, tuple(samples))


def why_not_packed(package: Package, samples: Sequence[str], packed_on: str) -> dict[str, str]:
    """The samples that cannot go into a new parcel, each with the reason; see `consign_samples`."""
    events = events_of(package.tables)
    held = holdings_of(package.tables)
    failed = failed_attempts(package.tables)
    lying = _lying_packed(samples, {one.sample_id: one for one in events})
    reasons = {}
    for sample in samples:
        packed = Event("", "packed", packed_on, sample)
        if sample in failed:
            reasons[sample] = f"{sample} is an attempt that gave no sample"
        elif sample in lying:
            reasons[sample] = f"{sample} is packed in {lying[sample]} already"
        elif why := refusal(held.get(sample, Holding(sample)), packed):
            reasons[sample] = why
    return reasons


def _lying_packed(samples: Sequence[str], last: Mapping[str, Event]) -> dict[str, str]:
    """The samples whose last event put them into a parcel that has not left, with its code."""
    newest = [last[sample] for sample in samples if sample in last]
    return {
        one.sample_id: one.consignment_id
        for one in newest
        if one.event == "packed" and one.consignment_id
    }


def _refuse_packed_twice(samples: Sequence[str], last: Mapping[str, Event]) -> None:
    if lying := _lying_packed(samples, last):
        said = ", ".join(f"{sample} in {parcel}" for sample, parcel in lying.items())
        raise TreenailError(
            f"already packed: {said}. Hand that parcel over, or record with 'stored' where the "
            "samples removed from it are now"
        )


def _refuse_answer_before_parcel(packed_on: str, due_on: str) -> None:
    if not due_on:
        return
    if not is_edtf(due_on):
        raise TreenailError(f"'{due_on}' is not a date to answer by; write 2024-12-01")
    packed, due = first_day(packed_on), last_day(due_on)
    if packed is not None and due is not None and due < packed:
        raise TreenailError(f"an answer by {due_on} is asked for before it is packed, {packed_on}")


def _next_code(package: Package, packed_on: str) -> str:
    year = re.match(r"\d{4}", packed_on)
    prefix = f"C-{year[0] if year else '0000'}-"
    known = set(package.tables.column("consignment", "consignment_id"))
    known |= set(package.tables.column("custody", "consignment_id"))
    number = 1
    while f"{prefix}{number}" in known:
        number += 1
    return f"{prefix}{number}"


def samples_in(package: Package, consignment_id: str) -> list[str]:
    """The samples that the ledger puts into a parcel, in the order in which they were packed."""
    return samples_in_parcel(events_of(package.tables), consignment_id)


def parcel_of(package: Package, consignment_id: str) -> Parcel:
    """A parcel that was made up before.

    Raises TreenailError for one that is unknown or that the ledger puts nothing into.
    """
    parcels = package.table("consignment").set_index("consignment_id")
    if consignment_id not in parcels.index:
        known = ", ".join(parcels.index) or "none"
        raise TreenailError(f"there is no consignment '{consignment_id}'; there are {known}")
    samples = samples_in(package, consignment_id)
    if not samples:
        raise TreenailError(f"the ledger puts no sample into '{consignment_id}'")
    return Parcel(consignment_id, str(parcels.loc[consignment_id, "to_party_id"]), tuple(samples))


def parcel_list(package: Package, consignment_id: str) -> pd.DataFrame:
    """The list that goes with the parcel: LIST_COLUMNS of each sample, in the order packed."""
    samples = package.table("sample").set_index("sample_id", drop=False)
    wanted = [one for one in samples_in(package, consignment_id) if one in samples.index]
    chosen = samples.loc[wanted]
    elements = package.table("element").drop_duplicates("element_id").set_index("element_id")
    chosen = chosen.assign(function=chosen["element_id"].map(elements["function"]).fillna(""))
    return chosen[list(LIST_COLUMNS)].reset_index(drop=True)


def write_papers(package: Package, consignment_id: str, folder: Path) -> tuple[Path, Path]:
    """Write the list (CSV) and the form for the results (XLSX) of a parcel; returns the two paths.

    Raises as `write_results_form`.
    """
    listed = folder / f"{consignment_id}-list.csv"
    form = folder / f"{consignment_id}-results.xlsx"
    write_text(listed, spreadsheet_csv_of(parcel_list(package, consignment_id)))
    return listed, write_results_form(package, consignment_id, form)


def write_results_form(package: Package, consignment_id: str, out: Path) -> Path:
    """Write the workbook that the laboratory fills in; `treenail results import` reads it unmapped.

    One line a sample, with result code, laboratory and parcel filled in.
    Raises TreenailError for an unknown or empty parcel.
    """
    import pandas as pd

    from provenance._printing.workbook import write_workbook

    parcel = parcel_of(package, consignment_id)
    rows = pd.DataFrame(
        {
            "result_id": [joined_key(consignment_id, sample) for sample in parcel.samples],
            "sample_id": parcel.samples,
            "laboratory_id": parcel.to_party_id,
            "consignment_id": consignment_id,
        },
        dtype=str,
    )
    return write_workbook(
        package.model,
        out,
        rows={"lab_result": rows},
        tables=["lab_result"],
        title=f"Results for {consignment_id}",
        read_by="results import",
    )

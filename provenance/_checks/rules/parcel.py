"""Rules about parcels: what was in them, and whether they arrived."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.dates import date_bounds
from provenance._checks.language.links import of_each, without_any
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import (
    MOST_PARCEL_EVENTS,
    last_known_day,
    parcel_samples,
    results_with_samples,
)
from provenance._record.joined import ledger_now
from provenance._record.snapshot import Snapshot

EXAMINED = ("dating", "species", "radiocarbon")
"""Purposes that a laboratory answers with a result."""
ON_THE_WAY_DAYS = 60
"""A parcel that no one acknowledged for two months is worth a telephone call."""


def _dated_parcels(tables: Snapshot) -> pl.DataFrame:
    return tables.once(
        "dated_parcels",
        lambda all_: date_bounds(
            all_["consignment"], "packed_on", "sent_on", "due_on", "received_on"
        ),
    )


@rule(
    "parcel.received_before_sent",
    table="consignment",
    field="received_on",
    severity="error",
    says="Parcel {consignment_id} was received on {received_on}, before it was sent on {sent_on}.",
    remedy="Compare both dates with the postal slip and the receipt.",
    source=COMMON_PRACTICE,
)
def received_before_sent(tables: Snapshot) -> pl.DataFrame:
    """One of the two dates is wrong, and so is the chain."""
    return _dated_parcels(tables).filter(pl.col("received_on_last") < pl.col("sent_on_first"))


@rule(
    "parcel.sent_before_packed",
    table="consignment",
    field="sent_on",
    severity="error",
    says="Parcel {consignment_id} was sent on {sent_on}, before it was packed on {packed_on}.",
    remedy="Compare both dates with the packing list.",
    source=COMMON_PRACTICE,
)
def sent_before_packed(tables: Snapshot) -> pl.DataFrame:
    """One of the two dates is wrong, and so is the chain."""
    return _dated_parcels(tables).filter(pl.col("sent_on_last") < pl.col("packed_on_first"))


@rule(
    "parcel.packed_before_its_samples",
    table="consignment",
    field="packed_on",
    severity="error",
    says="Parcel {consignment_id} was packed on {packed_on}, but sample {sample_id} in it was "
    "taken on {collected_on}.",
    remedy="Compare both dates, and check whether the sample went in a later parcel.",
    source=COMMON_PRACTICE,
)
def packed_before_its_samples(tables: Snapshot) -> pl.DataFrame:
    """A sample cannot be packed before it is taken."""
    taken = tables["sample"].select("sample_id", "collected_on").drop_nulls()
    collected = of_each(date_bounds(taken, "collected_on"), "sample_id")
    packed = parcel_samples(tables).join(collected, on="sample_id")
    in_order = packed.sort("collected_on_first", "sample_id")
    newest = of_each(in_order, "consignment_id", keep="last")
    return (
        _dated_parcels(tables)
        .join(newest, on="consignment_id", maintain_order="left")
        .filter(pl.col("packed_on_last") < pl.col("collected_on_first"))
    )


@rule(
    "parcel.to_oneself",
    table="consignment",
    field="to_party_id",
    severity="error",
    says="Parcel {consignment_id} goes from {from_party_id} to itself.",
    remedy="Enter who should receive it.",
    source=COMMON_PRACTICE,
)
def to_oneself(tables: Snapshot) -> pl.DataFrame:
    """A parcel changes hands."""
    return tables["consignment"].filter(pl.col("from_party_id") == pl.col("to_party_id"))


@rule(
    "parcel.count_differs",
    table="consignment",
    field="sample_count",
    severity="error",
    says="Parcel {consignment_id} declares {sample_count} samples, but the ledger has {counted} "
    "in it.",
    remedy="Count them on the packing list; add the missing events 'packed', or correct the count.",
    source=COMMON_PRACTICE,
)
def count_differs(tables: Snapshot) -> pl.DataFrame:
    """The difference was lost or never recorded."""
    counts = parcel_samples(tables).group_by("consignment_id").agg(pl.len().alias("counted"))
    return (
        tables["consignment"]
        .join(counts, on="consignment_id", how="left", maintain_order="left")
        .filter(pl.col("sample_count") != pl.col("counted"))
    )


@rule(
    "parcel.empty",
    table="consignment",
    field="consignment_id",
    severity="warning",
    says="The ledger has no sample in parcel {consignment_id}.",
    remedy="Add an event 'packed' for each sample in it.",
    source=COMMON_PRACTICE,
)
def empty(tables: Snapshot) -> pl.DataFrame:
    """If it went astray, the loss could not be listed."""
    return without_any(tables["consignment"], parcel_samples(tables), "consignment_id")


@rule(
    "parcel.overdue",
    table="consignment",
    field="due_on",
    severity="note",
    says="Results for parcel {consignment_id} were requested by {due_on}; samples still without a "
    "result: {waiting}.",
    remedy="Ask {to_party_id}, and enter the new date.",
    source="common practice, no source; 'today' is the newest day in ledger, parcels and results",
)
def overdue(tables: Snapshot) -> pl.DataFrame:
    """Samples that no one follows up on end in a drawer."""
    reported = tables["lab_result"].filter(pl.col("outcome") != "pending").select("sample_id")
    waiting = (
        parcel_samples(tables)
        .join(reported, on="sample_id", how="anti")
        .group_by("consignment_id")
        .agg(pl.len().alias("waiting"))
    )
    today = last_known_day(tables)
    return (
        _dated_parcels(tables)
        .filter(pl.col("purpose").is_in(EXAMINED) & (pl.col("due_on_last") < today))
        .join(waiting, on="consignment_id", maintain_order="left")
    )


@rule(
    "parcel.no_receipt",
    table="consignment",
    field="received_on",
    severity="warning",
    says="Parcel {consignment_id} was sent to {to_party_id} on {sent_on}; its receipt is not "
    "acknowledged.",
    remedy="Ask for the signed receipt; enter its date and add the event 'received'.",
    source="common practice, no source; 'today' is the newest day in ledger, parcels and results",
)
def no_receipt(tables: Snapshot) -> pl.DataFrame:
    """Between two signatures, no one is responsible for a parcel."""
    today = last_known_day(tables)
    received = ledger_now(tables).filter(pl.col("event") == "received").select("consignment_id")
    out = _dated_parcels(tables).filter(
        pl.col("received_on").is_null() & (pl.col("sent_on_last") + ON_THE_WAY_DAYS < today)
    )
    return without_any(out, received, "consignment_id")


@rule(
    "parcel.result_before_receipt",
    table="lab_result",
    field="reported_on",
    severity="error",
    says="Result {result_id} of sample {sample_id} was reported on {reported_on}, before its "
    "parcel {consignment_id} was received on {received_on}.",
    remedy="Compare both dates; the sample may have come in another parcel.",
    source=COMMON_PRACTICE,
)
def result_before_receipt(tables: Snapshot) -> pl.DataFrame:
    """A laboratory cannot measure a sample it does not have."""
    days = ("consignment_id", "received_on", "received_on_first")
    received = of_each(_dated_parcels(tables).select(days).drop_nulls(), "consignment_id")
    return (
        results_with_samples(tables)
        .join(received, on="consignment_id", maintain_order="left")
        .filter(pl.col("reported_on_last") < pl.col("received_on_first"))
    )


@rule(
    "parcel.to_another_laboratory",
    table="lab_result",
    field="consignment_id",
    severity="warning",
    says="Result {result_id} is by {laboratory_id}, but parcel {consignment_id} went to "
    "{to_party_id}.",
    remedy="Check the parcel number, or enter how the sample was handed on.",
    source=COMMON_PRACTICE,
)
def to_another_laboratory(tables: Snapshot) -> pl.DataFrame:
    """Credit for the work and the location of the sample depend on this."""
    parcels = tables["consignment"].select("consignment_id", "to_party_id").drop_nulls()
    firsts = of_each(parcels, "consignment_id")
    joined = tables["lab_result"].join(firsts, on="consignment_id", maintain_order="left")
    return joined.filter(pl.col("to_party_id") != pl.col("laboratory_id"))


@rule(
    "parcel.with_many_events",
    table="consignment",
    field="consignment_id",
    severity="warning",
    says="Parcel {consignment_id} has {events} events of its own; they are not followed to its "
    "samples.",
    remedy="A parcel has a handful of events; look for rows that were read more than once.",
    source="own limit, so that a broken record cannot stop the check",
)
def with_many_events(tables: Snapshot) -> pl.DataFrame:
    """The rules about the chain skip such a parcel."""
    counts = (
        ledger_now(tables)
        .filter(pl.col("sample_id").is_null())
        .group_by("consignment_id")
        .agg(pl.len().alias("events"))
        .filter(pl.col("events") > MOST_PARCEL_EVENTS)
    )
    return tables["consignment"].join(counts, on="consignment_id", maintain_order="left")

"""Rules about the ledger: who had a sample, and whether each event fits the ones before."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.dates import date_bounds
from provenance._checks.language.links import codes_with, of_each, without_any
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import (
    at_event_before,
    last_known_day,
    ledger,
    samples_with_wood,
)
from provenance._ledger.custody import JOINED
from provenance._ledger.holdings import DEACCESSIONED
from provenance._record.attempts import samples_taken
from provenance._record.joined import ledger_now
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

CHAIN = "W3C PROV-DM (agents and their responsibility); " + COMMON_PRACTICE


def _once_a_row(events: pl.DataFrame) -> pl.DataFrame:
    """One line an event: an event of a parcel appears once for each sample in it."""
    return of_each(events, ROW)


@rule(
    "custody.none",
    table="sample",
    field="sample_id",
    severity="warning",
    says="The ledger has no events for sample {sample_id}.",
    remedy="Add its events to the ledger, beginning with 'collected' and its present holder "
    "(treenail custody handover).",
    source=COMMON_PRACTICE,
)
def none(tables: Snapshot) -> pl.DataFrame:
    """A sample without a known holder is as good as lost."""
    taken = ~pl.col("kind").is_in(["image"])
    return without_any(samples_taken(tables).filter(taken), ledger(tables), "sample_id")


@rule(
    "custody.about_nothing",
    table="custody",
    field="sample_id",
    severity="error",
    says="Event {custody_id} ({event}, {happened_on}) names neither a sample nor a parcel.",
    remedy="Ledger rows are never changed: add the event correctly, with this number as the event "
    "it corrects.",
    source=COMMON_PRACTICE,
)
def about_nothing(tables: Snapshot) -> pl.DataFrame:
    """An event without a sample or parcel proves nothing."""
    corrected = ledger_now(tables)["corrects_custody_id"].drop_nulls().to_list()
    return ledger_now(tables).filter(
        pl.col("sample_id").is_null()
        & pl.col("consignment_id").is_null()
        & ~pl.col("event").is_in(["corrected", JOINED])
        & ~pl.col("custody_id").is_in(corrected)
    )


@rule(
    "custody.first_is_not_collected",
    table="custody",
    field="event",
    severity="warning",
    says="The first event of sample {sample_id} is '{event}' on {happened_on}, not 'collected'.",
    remedy="Add who took the sample and when; if it came from an old collection, say so in the "
    "notes.",
    source=COMMON_PRACTICE,
)
def first_is_not_collected(tables: Snapshot) -> pl.DataFrame:
    """A chain needs its first link."""
    firsts = of_each(ledger(tables), "sample_id")
    begins = pl.col("event").is_in(["collected", "found_in_collection"])
    if "parent_sample_id" in firsts.columns:
        begins |= pl.col("parent_sample_id").is_not_null()
    return _once_a_row(firsts.filter(~begins))


@rule(
    "custody.collected_twice",
    table="custody",
    field="event",
    severity="error",
    says="Sample {sample_id} was collected a second time by event {custody_id} on {happened_on}.",
    remedy="Two samples may share a number: look for a second label. If the event is a mistake, "
    "add 'corrected' with its number.",
    source=COMMON_PRACTICE,
)
def collected_twice(tables: Snapshot) -> pl.DataFrame:
    """A sample is collected once."""
    collected = ledger(tables).filter(pl.col("event") == "collected")
    return _once_a_row(collected.filter(~pl.col("sample_id").is_first_distinct()))


@rule(
    "custody.party_missing",
    table="custody",
    field="to_party_id",
    severity="error",
    says="Event {custody_id} ({event}, {happened_on}) does not say who {did}.",
    remedy="Find the receipt and add the event with both names, as the correction of this one.",
    source=CHAIN,
)
def party_missing(tables: Snapshot) -> pl.DataFrame:
    """After this event the holder of the sample is not known."""
    no_giver = (
        pl.col("event").is_in(codes_with(tables, "custody_event", "needs_from", True))
        & pl.col("from_party_id").is_null()
    )
    no_taker = (
        pl.col("event").is_in(codes_with(tables, "custody_event", "needs_to", True))
        & pl.col("to_party_id").is_null()
    )
    corrected = ledger_now(tables)["corrects_custody_id"].drop_nulls().to_list()
    return (
        ledger_now(tables)
        .filter((no_giver | no_taker) & ~pl.col("custody_id").is_in(corrected).fill_null(False))
        .with_columns(
            field=pl.when(no_taker).then(pl.lit("to_party_id")).otherwise(pl.lit("from_party_id")),
            did=pl.when(no_taker).then(pl.lit("has it afterwards")).otherwise(pl.lit("gave it")),
        )
    )


def _misfits(tables: Snapshot) -> pl.DataFrame:
    """Moving events whose giver does not have the sample; `had_it` if he had it at some time.

    An event 'received' by the one who was named as taker before is the other half of the same
    handing over, and fits whoever stands in it as the giver.
    """
    events = ledger(tables)
    holder = pl.col("holder_before")
    confirms = (pl.col("event") == "received") & (pl.col("to_party_id") == holder)
    misfits = events.filter(
        pl.col("moves")
        & (holder != "")
        & pl.col("from_party_id").is_not_null()
        & (pl.col("from_party_id") != holder)
        & ~confirms.fill_null(False)
    )
    held = events.filter("moves").group_by(
        "sample_id", pl.col("to_party_id").alias("from_party_id")
    )
    return misfits.join(
        held.agg(pl.col("order").min().alias("_held_from")),
        on=["sample_id", "from_party_id"],
        how="left",
        maintain_order="left",
    ).with_columns(had_it=(pl.col("_held_from") < pl.col("order")).fill_null(False))


@rule(
    "custody.giver_does_not_have_it",
    table="custody",
    field="from_party_id",
    severity="error",
    says="Event {custody_id} ({event}, {happened_on}): {from_party_id} gave sample {sample_id}, "
    "but {holder_before} held it and {from_party_id} never did.",
    remedy="An event between the two is missing, or a name is wrong: find the receipt.",
    source=CHAIN,
)
def giver_does_not_have_it(tables: Snapshot) -> pl.DataFrame:
    """The chain has a gap: how the giver got the sample is not recorded."""
    return _once_a_row(_misfits(tables).filter(~pl.col("had_it")))


@rule(
    "custody.two_holders",
    table="custody",
    field="from_party_id",
    severity="error",
    says="Sample {sample_id} would have two holders: {from_party_id} gave it away earlier, "
    "{holder_before} has it, and in event {custody_id} ({event}, {happened_on}) {from_party_id} "
    "gives it again.",
    remedy="Enter how it came back to {from_party_id}, or correct the event that is wrong.",
    source=CHAIN,
)
def two_holders(tables: Snapshot) -> pl.DataFrame:
    """A sample is always with exactly one party."""
    return _once_a_row(_misfits(tables).filter(pl.col("had_it")))


@rule(
    "custody.received_by_another",
    table="custody",
    field="to_party_id",
    severity="error",
    says="Sample {sample_id} was on its way to {holder_before}, but in event {custody_id} "
    "({happened_on}) {to_party_id} received it; the event does not say from whom.",
    remedy="Ask both; enter the event by which {to_party_id} received it.",
    source=CHAIN,
)
def received_by_another(tables: Snapshot) -> pl.DataFrame:
    """The sample went astray, or it has two holders at once."""
    return _once_a_row(
        ledger(tables).filter(
            (pl.col("event") == "received")
            & pl.col("from_party_id").is_null()
            & (pl.col("holder_before") != "")
            & (pl.col("to_party_id") != pl.col("holder_before"))
        )
    )


@rule(
    "custody.given_to_oneself",
    table="custody",
    field="to_party_id",
    severity="warning",
    says="Event {custody_id} ({event}, {happened_on}) goes from {from_party_id} to itself.",
    remedy="If only the shelf changed, use 'stored'; otherwise one name is wrong.",
    source=CHAIN,
)
def given_to_oneself(tables: Snapshot) -> pl.DataFrame:
    """Nothing changed hands."""
    moving = codes_with(tables, "custody_event", "moves", True)
    return ledger_now(tables).filter(
        pl.col("event").is_in(moving) & (pl.col("from_party_id") == pl.col("to_party_id"))
    )


@rule(
    "custody.out_of_order",
    table="custody",
    field="happened_on",
    severity="error",
    says="Event {custody_id} ({event}) of sample {sample_id} happened on {happened_on}, before an "
    "event that is earlier in the ledger.",
    remedy="Compare the dates with the receipts; add the event with the right date, as a "
    "correction of this one.",
    source=COMMON_PRACTICE,
)
def out_of_order(tables: Snapshot) -> pl.DataFrame:
    """The ledger lists events in the order in which they happened."""
    latest = pl.col("happened_on_first").cum_max().forward_fill().over("sample_id")
    events = ledger(tables).with_columns(_latest=latest)
    return _once_a_row(events.filter(pl.col("happened_on_last") < at_event_before("_latest")))


@rule(
    "custody.before_the_sample",
    table="custody",
    field="happened_on",
    severity="error",
    says="Event {custody_id} ({event}) of sample {sample_id} happened on {happened_on}, before the "
    "sample was taken on {collected_on}.",
    remedy="Compare both dates with the record sheet and the receipt.",
    source=COMMON_PRACTICE,
)
def before_the_sample(tables: Snapshot) -> pl.DataFrame:
    """A sample has no holder before it is taken."""
    return _once_a_row(
        _with_collection(tables).filter(pl.col("happened_on_last") < pl.col("collected_on_first"))
    )


@rule(
    "custody.collected_on_another_day",
    table="custody",
    field="happened_on",
    severity="warning",
    says="The ledger has sample {sample_id} collected on {happened_on}, its own record on "
    "{collected_on}.",
    remedy="Compare with the record sheet; if the ledger is wrong, add the event with the right "
    "date, as a correction of this one.",
    source=COMMON_PRACTICE,
)
def collected_on_another_day(tables: Snapshot) -> pl.DataFrame:
    """Both dates are of one act."""
    return _once_a_row(
        _with_collection(tables).filter(
            (pl.col("event") == "collected")
            & (pl.col("happened_on_first") > pl.col("collected_on_last"))
        )
    )


def _with_collection(tables: Snapshot) -> pl.DataFrame:
    collected = ("collected_on", "collected_on_first", "collected_on_last")
    samples = of_each(samples_with_wood(tables).select("sample_id", *collected), "sample_id")
    return ledger(tables).join(samples, on="sample_id", maintain_order="left")


@rule(
    "custody.after_destruction",
    table="custody",
    field="event",
    severity="error",
    says="Event {custody_id} ({event}, {happened_on}) comes after sample {sample_id} was "
    "destroyed.",
    remedy="If a part was left, add 'sub-sampled' as a correction of 'destroyed'.",
    source=COMMON_PRACTICE,
)
def after_destruction(tables: Snapshot) -> pl.DataFrame:
    """A destroyed sample cannot be sent or stored."""
    gone = (pl.col("event") == "destroyed").cum_max().over("sample_id")
    events = ledger(tables).with_columns(_gone=gone)
    return _once_a_row(events.filter(at_event_before("_gone")))


@rule(
    "custody.destroyed_without_decision",
    table="custody",
    field="reference",
    severity="warning",
    says="Event {custody_id} ({happened_on}) uses up or destroys sample {sample_id}, and {lacks}.",
    remedy="Enter the number of the request that was granted, or the reason in the notes, as a "
    "correction of this event.",
    source=COMMON_PRACTICE,
)
def destroyed_without_decision(tables: Snapshot) -> pl.DataFrame:
    """Someone answers for what can never be examined again."""
    events = ledger(tables)
    # an older version of the schemas
    if not {"reference", "request_decision"} <= set(events.columns):
        return events.clear()
    notes = ledger_now(tables).select("custody_id", _reason="notes")
    granted = (pl.col("event") == "decided") & (pl.col("request_decision") == "granted")
    decisions = events.filter(granted).select("sample_id", "reference", _granted_at="order")
    firsts = decisions.unique(["sample_id", "reference"], keep="first", maintain_order=True)
    gone = (
        events.filter(pl.col("event") == "destroyed")
        .join(of_each(notes, "custody_id"), on="custody_id", how="left", maintain_order="left")
        .join(firsts, on=["sample_id", "reference"], how="left", maintain_order="left")
    )
    named = pl.col("reference").is_not_null()
    allowed = (pl.col("_granted_at") < pl.col("order")).fill_null(False)
    faulty = gone.filter((named & ~allowed) | (~named & pl.col("_reason").is_null()))
    said = pl.format("request {} was not granted before", "reference")
    return _once_a_row(
        faulty.with_columns(
            lacks=pl.when(named).then(said).otherwise(pl.lit("it gives neither request nor reason"))
        )
    )


@rule(
    "custody.loan_overdue",
    table="custody",
    field="loan_due_on",
    severity="note",
    says="Sample {sample_id} was due back from {to_party_id} on {loan_due_on}.",
    remedy="Ask for it; then record 'taken_back', or a correction of the loan with its new day.",
    source=COMMON_PRACTICE,
)
def loan_overdue(tables: Snapshot) -> pl.DataFrame:
    """A loan that no one asks about becomes a loss."""
    ends = pl.col("moves") | pl.col("event").is_in(["destroyed", DEACCESSIONED])
    events = ledger(tables).filter(ends)
    if "loan_due_on" not in events.columns:  # an older version of the schemas
        return events.clear()
    lasts = date_bounds(of_each(events, "sample_id", keep="last"), "loan_due_on")
    out = lasts.filter(pl.col("event") == "loaned")
    return out.filter(pl.col("loan_due_on_last") < last_known_day(tables))


@rule(
    "custody.moved_while_lost",
    table="custody",
    field="event",
    severity="error",
    says="Event {custody_id} ({event}, {happened_on}) moves sample {sample_id}, which was lost and "
    "not found again.",
    remedy="Add the event 'found' with date and place.",
    source=COMMON_PRACTICE,
)
def moved_while_lost(tables: Snapshot) -> pl.DataFrame:
    """The chain must show where and how the sample was found."""
    seen = pl.when(pl.col("event").is_in(["lost", "found"])).then(pl.col("event") == "lost")
    events = ledger(tables).with_columns(_lost=seen.forward_fill().over("sample_id"))
    return _once_a_row(events.filter(at_event_before("_lost") & pl.col("moves")))


@rule(
    "custody.missing_now",
    table="custody",
    field="state",
    severity="warning",
    says="Sample {sample_id} is missing according to its last event ({custody_id}, {event}, "
    "{happened_on}).",
    remedy="Ask its last two holders; add 'found', or 'lost' if the search fails.",
    source=COMMON_PRACTICE,
)
def missing_now(tables: Snapshot) -> pl.DataFrame:
    """The sooner someone looks, the better."""
    lasts = of_each(ledger(tables), "sample_id", keep="last")
    missing = (pl.col("state") == "missing").fill_null(False)
    return lasts.filter(missing & ~pl.col("event").is_in(["lost", "destroyed", "found"]))


@rule(
    "custody.stored_nowhere",
    table="custody",
    field="place_held",
    severity="note",
    says="Event {custody_id} ({happened_on}) stores the sample, but the shelf is not recorded.",
    remedy="Enter room, shelf and box.",
    source=COMMON_PRACTICE,
)
def stored_nowhere(tables: Snapshot) -> pl.DataFrame:
    """A store has many shelves."""
    return ledger_now(tables).filter(
        pl.col("event").is_in(["stored", "deposited"]) & pl.col("place_held").is_null()
    )


@rule(
    "custody.corrects_nothing",
    table="custody",
    field="corrects_custody_id",
    severity="error",
    says="Event {custody_id} ({event}) is a correction, but of {what}.",
    remedy="A correction names an earlier event by its number.",
    source=COMMON_PRACTICE,
)
def corrects_nothing(tables: Snapshot) -> pl.DataFrame:
    """A correction must name its event."""
    target = pl.col("corrects_custody_id")
    no_target = (pl.col("event") == "corrected") & target.is_null()
    not_earlier = target >= pl.col("custody_id")
    return (
        ledger_now(tables)
        .filter(no_target | not_earlier)
        .with_columns(
            what=pl.when(target.is_null())
            .then(pl.lit("no event"))
            .otherwise(pl.format("event {}, which is not earlier", target))
        )
    )


@rule(
    "custody.corrects_another_sample",
    table="custody",
    field="corrects_custody_id",
    severity="error",
    says="Event {custody_id} about sample {sample_id} corrects event {corrects_custody_id}, which "
    "is about sample {their_sample_id}.",
    remedy="Check the number of the corrected event.",
    source=COMMON_PRACTICE,
)
def corrects_another_sample(tables: Snapshot) -> pl.DataFrame:
    """It would undo an event of another sample."""
    targets = ledger_now(tables).select(
        corrects_custody_id="custody_id", their_sample_id="sample_id"
    )
    firsts = of_each(targets.drop_nulls(), "corrects_custody_id")
    joined = ledger_now(tables).join(firsts, on="corrects_custody_id", maintain_order="left")
    return joined.filter(pl.col("sample_id") != pl.col("their_sample_id"))

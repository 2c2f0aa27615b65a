"""Joins that many trade rules share: samples with their wood, results with samples, the ledger."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.dates import date_bounds
from provenance._checks.language.links import codes_with, look_up, of_each, starts_of_chains
from provenance._ledger.holdings import DEACCESSIONED
from provenance._ledger.seals import FILLED_IN
from provenance._record.joined import codes_in, ledger_now, superseded
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

MOST_PARCEL_EVENTS = 100
"""Parcel events of one parcel beyond this number are not spread over its samples (see ledger)."""

_WOOD = {
    "wood_site_id": "site_id",
    "function": "function",
    "in_place": "in_place",
    "shape": "shape",
    "load_bearing": "load_bearing",
    "wood_length_m": "length_m",
    "wood_surface": "outer_surface",
    "wood_species": "species_field",
    **{name: name for name in ("diameter_a1_cm", "diameter_a2_cm")},
    **{name: name for name in ("diameter_b1_cm", "diameter_b2_cm")},
}
_NOT_IN_LEDGER = (
    *("place_held", "recorded_on", "recorded_by", "notes"),
    *FILLED_IN,
)
"""Columns of custody that no rule over the ledger asks for; of a million events each is 16 MB."""
_SITE_DATES = ("visit_start", "visit_end", "permit_from", "permit_until", "consent_on")


def in_list(column: str, codes: list[str]) -> pl.Expr:
    """Whether a list of codes has at least one of `codes`; false where there is no list."""
    return pl.col(column).list.eval(pl.element().is_in(codes)).list.any().fill_null(False)


def samples_with_wood(tables: Snapshot) -> pl.DataFrame:
    """Every sample with collected_on as days and what is known of its timber.

    The columns of `sample`, those of `element` under the names of `_WOOD`, the dates of the site
    as text and as days, and `leaves_hole`, `cuts_wood` and `standing` (null when not known).
    """
    return tables.once("samples_with_wood", _join_wood)


def _join_wood(tables: Snapshot) -> pl.DataFrame:
    frame = look_up(tables["sample"], "element_id", tables, "element", _WOOD)
    sites = date_bounds(tables["site"], *_SITE_DATES).drop_nulls("site_id")
    dates = [f"{name}{part}" for name in _SITE_DATES for part in ("", "_first", "_last")]
    sites = of_each(sites.select("site_id", *dates), "site_id")
    frame = frame.join(sites, on="site_id", how="left", maintain_order="left")
    return date_bounds(frame, "collected_on").with_columns(
        leaves_hole=pl.col("kind").is_in(codes_with(tables, "sample_kind", "leaves_hole", True)),
        cuts_wood=pl.col("kind").is_in(codes_with(tables, "sample_kind", "cuts_wood", True)),
        standing=pl.col("in_place").is_in(codes_with(tables, "in_place_status", "standing", True)),
    )


def results_with_samples(tables: Snapshot) -> pl.DataFrame:
    """Every result with reported_on as days, its signs as lists, and its sample's field record.

    `field_species` and `field_surface` are the sample's own, or the wood's where the sample has
    none; `superseded` says whether a later result replaces this one.
    """
    return tables.once("results_with_samples", _join_samples)


def _join_samples(tables: Snapshot) -> pl.DataFrame:
    known = samples_with_wood(tables).select(
        *("sample_id", "element_id", "site_id", "leaves_hole", "direction"),
        *("collected_on", "collected_on_first", "collected_on_last"),
        sample_length_mm="length_mm",
        field_species=pl.coalesce("species_field", "wood_species"),
        field_surface=pl.coalesce("outer_surface", "wood_surface"),
    )
    samples = of_each(known.drop_nulls("sample_id"), "sample_id")
    return (
        date_bounds(tables["lab_result"], "reported_on")
        .join(samples, on="sample_id", how="left", maintain_order="left")
        .with_columns(
            inner_signs=codes_in("inner_symbol"),
            outer_signs=codes_in("outer_symbol"),
            superseded=superseded(tables),
        )
    )


def live_results(tables: Snapshot) -> pl.DataFrame:
    """The results that no later one replaces."""
    results = results_with_samples(tables)
    # mostly none is, and then nothing need be copied
    return results.filter(~pl.col("superseded")) if results["superseded"].any() else results


def parcel_samples(tables: Snapshot) -> pl.DataFrame:
    """consignment_id and sample_id of every sample that the ledger puts into a parcel."""
    return (
        ledger_now(tables)
        .select("consignment_id", "sample_id")
        .drop_nulls()
        .unique(maintain_order=True)
    )


def ledger(tables: Snapshot) -> pl.DataFrame:
    """The events of every sample in their order, events of its parcels included.

    Beside the columns of `custody` without _NOT_IN_LEDGER: `order`, `moves`, `holder_before`
    (party, '' when no one knows, null before the first move) and happened_on as days. Sorted by
    sample_id and order. An event
    that corrects another stands where the first wrong one stood; what was corrected, and the bare
    word 'corrected', are left out. An event of a parcel appears once for each sample in it that
    has no such event of its own; parcels with more than MOST_PARCEL_EVENTS events are not spread,
    so that a broken record cannot make the ledger grow without bound (the rule
    parcel.with_many_events names them).
    """
    return tables.once("ledger", _spread_ledger)


def _spread_ledger(tables: Snapshot) -> pl.DataFrame:
    custody = ledger_now(tables).drop(_NOT_IN_LEDGER, strict=False)
    corrected = custody["corrects_custody_id"].drop_nulls().unique().to_list()
    named_taker = pl.col("event").is_in(["found", DEACCESSIONED])
    if "parent_sample_id" in custody.columns:  # an older version of the schemas has none
        named_taker |= pl.col("parent_sample_id").is_not_null()
    events = (
        custody.filter(
            ~pl.col("custody_id").is_in(corrected).fill_null(False)
            & (pl.col("event") != "corrected")
        )
        .join(
            starts_of_chains(custody, "custody_id", "corrects_custody_id"),
            on="custody_id",
            how="left",
            maintain_order="left",
        )
        .with_columns(
            order=pl.coalesce("start", "custody_id"),
            moves=pl.col("event").is_in(codes_with(tables, "custody_event", "moves", True))
            | (named_taker & pl.col("to_party_id").is_not_null()),
        )
        .drop("start")
    )
    own = events.filter(pl.col("sample_id").is_not_null())
    parcels = events.filter(pl.col("sample_id").is_null() & pl.col("consignment_id").is_not_null())
    parcels = parcels.filter(pl.len().over("consignment_id") <= MOST_PARCEL_EVENTS)
    spread = parcels.drop("sample_id").join(parcel_samples(tables), on="consignment_id")
    # what is said of the sample itself is not said once more by its parcel
    for said_by in ("consignment_id", "happened_on"):
        spread = spread.join(own, on=["sample_id", "event", said_by], how="anti")
    together = pl.concat([own, spread.select(own.columns)])
    together = together.sort("sample_id", "order", "custody_id", ROW, nulls_last=True)
    nobody_yet = "\0"
    is_first = pl.col("sample_id").ne_missing(pl.col("sample_id").shift(1))
    holder = (
        pl.when("moves")
        .then(pl.col("to_party_id").fill_null(""))
        .when(is_first)
        .then(pl.lit(nobody_yet))
        .forward_fill()
    )
    return (
        date_bounds(together, "happened_on")
        .with_columns(_holder=holder)
        .with_columns(holder_before=at_event_before("_holder"))
        .with_columns(
            pl.when(pl.col("holder_before") != nobody_yet)
            .then("holder_before")
            .alias("holder_before")
        )
        .drop("_holder")
    )


def at_event_before(column: str) -> pl.Expr:
    """The value at the event before in the ledger; null at a sample's first event.

    Takes the order of the ledger as given, which is many times faster than a window a sample.
    """
    same = pl.col("sample_id") == pl.col("sample_id").shift(1)
    return pl.when(same).then(pl.col(column).shift(1))


def last_known_day(tables: Snapshot) -> pl.Expr:
    """The newest day on which anything in the ledger, the parcels or the results happened.

    Stands for 'today' in rules about what is overdue: a check gives the same answer whenever it is
    run. Null when nothing has a date.
    """
    return pl.lit(tables.once("last_known_day", _last_known_day), dtype=pl.Int64)


def _last_known_day(tables: Snapshot) -> int | None:
    days: list[int] = []
    for table, columns in (
        ("custody", ("happened_on", "recorded_on")),
        ("consignment", ("sent_on", "received_on")),
        ("lab_result", ("reported_on",)),
    ):
        dated = date_bounds(tables[table].select(columns), *columns)
        for column in columns:
            newest = dated[f"{column}_first"].max()
            if isinstance(newest, int):
                days.append(newest)
    return max(days, default=None)


def species_differ(tables: Snapshot, one: str, other: str) -> tuple[pl.Expr, pl.Expr]:
    """Whether two columns of species codes name another genus, and only another species.

    A code for a whole genus (ITRDB gives it SP as its second half) agrees with every species of it.
    """
    terms = tables.model.vocabularies["species"].terms
    genera = {
        term.code: str(term.attributes["genus"]) for term in terms if "genus" in term.attributes
    }

    def genus(column: str) -> pl.Expr:
        return pl.col(column).replace_strict(genera, default=None, return_dtype=pl.String)

    whole_genus = pl.col(one).str.ends_with("SP") | pl.col(other).str.ends_with("SP")
    same = genus(one) == genus(other)
    return ~same, same & (pl.col(one) != pl.col(other)) & ~whole_genus

"""Rules about one sample: when and where it was taken, and whether its description holds."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.links import codes_with, look_up, of_each, with_any
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import samples_with_wood, species_differ
from provenance._record.attempts import NO_SAMPLE
from provenance._record.joined import ledger_now
from provenance._record.snapshot import Snapshot

RINGS_PER_MM = 10.0
"""Rings narrower than a tenth of a millimeter on average are next to unknown."""
SAFETY = "common practice, no source; local codes and the engineer in charge decide"


@rule(
    "sample.before_visit",
    table="sample",
    field="collected_on",
    severity="error",
    says="Sample {sample_id} was taken on {collected_on}, before the visit to site {site_id} began "
    "on {visit_start}.",
    remedy="Compare both dates with the field book; check the year first.",
    source=COMMON_PRACTICE,
)
def before_visit(tables: Snapshot) -> pl.DataFrame:
    """A sample cannot be taken before the visit."""
    return samples_with_wood(tables).filter(
        pl.col("collected_on_last") < pl.col("visit_start_first")
    )


@rule(
    "sample.after_visit",
    table="sample",
    field="collected_on",
    severity="warning",
    says="Sample {sample_id} was taken on {collected_on}, after the visit to site {site_id} ended "
    "on {visit_end}.",
    remedy="Compare both dates with the field book; a second visit extends the end of the visit.",
    source=COMMON_PRACTICE,
)
def after_visit(tables: Snapshot) -> pl.DataFrame:
    """Either a date is wrong or a visit was not recorded."""
    return samples_with_wood(tables).filter(pl.col("collected_on_first") > pl.col("visit_end_last"))


@rule(
    "sample.of_another_site",
    table="sample",
    field="site_id",
    severity="error",
    says="Sample {sample_id} belongs to site {site_id}, but its timber {element_id} to site "
    "{wood_site_id}.",
    remedy="Compare with the label; enter the right site or the right timber.",
    source=COMMON_PRACTICE,
)
def of_another_site(tables: Snapshot) -> pl.DataFrame:
    """The chain from site to sample would split."""
    return samples_with_wood(tables).filter(pl.col("wood_site_id") != pl.col("site_id"))


@rule(
    "sample.cut_without_authority",
    table="sample",
    field="authority",
    severity="error",
    says="Sample {sample_id} was cut through a standing timber ({element_id}, {in_place}); who "
    "authorized the cut is not recorded.",
    remedy="Enter who authorized the cut, with the letter or permit number. If no one did, tell "
    "the owner and the authority.",
    source=SAFETY,
)
def cut_without_authority(tables: Snapshot) -> pl.DataFrame:
    """A cut through standing timber cannot be undone and may weaken the building."""
    return samples_with_wood(tables).filter(
        pl.col("cuts_wood") & pl.col("standing") & pl.col("authority").is_null()
    )


@rule(
    "sample.cut_through_load_bearing_wood",
    table="sample",
    field="kind",
    severity="warning",
    says="Sample {sample_id} ({kind}) was cut from {element_id}, which is load-bearing.",
    remedy="A structural engineer must inspect it; enter the engineer's advice under the "
    "authority or in the notes.",
    source=SAFETY,
)
def cut_through_load_bearing_wood(tables: Snapshot) -> pl.DataFrame:
    """People may stand below."""
    return samples_with_wood(tables).filter(pl.col("cuts_wood") & (pl.col("load_bearing") == "yes"))


@rule(
    "sample.cut_without_asking_for_load",
    table="sample",
    field="kind",
    severity="warning",
    says="Sample {sample_id} ({kind}) was cut from standing timber {element_id}; whether it is "
    "load-bearing is not recorded.",
    remedy="Find out whether anything rests on it; if in doubt, ask a structural engineer.",
    source=SAFETY,
)
def cut_without_asking_for_load(tables: Snapshot) -> pl.DataFrame:
    """This must be known before cutting."""
    unasked = pl.col("load_bearing").fill_null("unknown") == "unknown"
    return samples_with_wood(tables).filter(pl.col("cuts_wood") & pl.col("standing") & unasked)


@rule(
    "sample.core_longer_than_its_hole",
    table="sample",
    field="length_mm",
    severity="warning",
    says="Core {sample_id} is {length_mm} mm long, but the drill went in only {depth_mm} mm.",
    remedy="Check both figures; a broken core laid out with gaps measures too long.",
    source=COMMON_PRACTICE,
)
def core_longer_than_its_hole(tables: Snapshot) -> pl.DataFrame:
    """A core cannot be longer than the depth drilled."""
    allowance_mm = 10
    return samples_with_wood(tables).filter(
        pl.col("leaves_hole") & (pl.col("length_mm") > pl.col("depth_mm") + allowance_mm)
    )


@rule(
    "sample.more_rings_than_length",
    table="sample",
    field="rings_field",
    severity="warning",
    says="{rings_field} rings were counted on core {sample_id}, which is {length_mm} mm long.",
    remedy="Check the count and the length; more than 10 rings per millimeter are not known.",
    source=COMMON_PRACTICE,
)
def more_rings_than_length(tables: Snapshot) -> pl.DataFrame:
    """Count and length cannot both be right."""
    return samples_with_wood(tables).filter(
        pl.col("leaves_hole") & (pl.col("rings_field") > pl.col("length_mm") * RINGS_PER_MM)
    )


@rule(
    "sample.pieces_and_condition",
    table="sample",
    field="condition",
    severity="note",
    says="Sample {sample_id} came out in {pieces} piece(s), but its condition is '{condition}'.",
    remedy="Correct whichever is wrong.",
    source=COMMON_PRACTICE,
)
def pieces_and_condition(tables: Snapshot) -> pl.DataFrame:
    """The laboratory counts the pieces when it opens the parcel."""
    broken = pl.col("condition").is_in(["in_pieces", "pieces_unordered"])
    return tables["sample"].filter(
        ((pl.col("condition") == "whole") & (pl.col("pieces") > 1))
        | (broken & (pl.col("pieces") == 1))
    )


@rule(
    "sample.taken_by_an_organisation",
    table="sample",
    field="collected_by",
    severity="warning",
    says="Sample {sample_id} was taken by {collected_by}, which is an organization.",
    remedy="Enter the person who drilled; that person's row names the organization.",
    source=COMMON_PRACTICE,
)
def taken_by_an_organisation(tables: Snapshot) -> pl.DataFrame:
    """In fifty years, only a person's field book can answer a question."""
    joined = look_up(tables["sample"], "collected_by", tables, "party", {"their_kind": "kind"})
    return joined.filter(pl.col("their_kind") == "organisation")


@rule(
    "sample.surface_better_than_its_wood",
    table="sample",
    field="outer_surface",
    severity="warning",
    says="Sample {sample_id} shows '{outer_surface}', but the best-preserved surface of its "
    "timber {element_id} is '{wood_surface}'.",
    remedy="Look at the photos: the timber is described at its best-preserved part, so it cannot "
    "be worse than the sample.",
    source=COMMON_PRACTICE,
)
def surface_better_than_its_wood(tables: Snapshot) -> pl.DataFrame:
    """If the last ring is present, the date is a felling date; if not, it is only a limit."""
    kept = codes_with(tables, "outer_surface", "surface", "present")
    gone = codes_with(tables, "outer_surface", "surface", "gone")
    return samples_with_wood(tables).filter(
        pl.col("outer_surface").is_in(kept) & pl.col("wood_surface").is_in(gone)
    )


@rule(
    "sample.species_unlike_its_wood",
    table="sample",
    field="species_field",
    severity="note",
    says="Sample {sample_id} is recorded as {species_field}, its timber {element_id} as "
    "{wood_species}.",
    remedy="Look at the end grain again, and check that the sample is from this timber.",
    source="ITRDB species codes",
)
def species_unlike_its_wood(tables: Snapshot) -> pl.DataFrame:
    """Two species may mean that the sample is from another timber."""
    another_genus, another_species = species_differ(tables, "species_field", "wood_species")
    return samples_with_wood(tables).filter(another_genus | another_species)


# -- attempts that gave nothing, and what was asked before the drill -------------------------------

INFORMATION_WITHHELD = "information_withheld"
"""The column in which a public edition says what it leaves out of a row."""
BEFORE = {
    "before_end_grain": "whether a photo of the end could serve",
    "before_loose_wood": "whether loose wood was looked for",
    "before_old_core": "whether older samples were asked about",
    "why_here": "why this timber and this spot",
}


def _attempts(tables: Snapshot) -> pl.DataFrame:
    """samples_with_wood with `failed`; no row where the schema, of an older version, lacks it."""
    samples = samples_with_wood(tables)
    if "attempt" not in samples.columns:
        return samples.clear().with_columns(pl.lit(None).alias("failure_cause"), failed=False)
    return samples.with_columns(failed=pl.col("attempt").eq_missing(NO_SAMPLE))


def _holes(tables: Snapshot) -> pl.DataFrame:
    """samples_with_wood of holes and cuts; a reason that a public edition withholds is '?'."""
    samples = samples_with_wood(tables).filter(pl.col("leaves_hole") | pl.col("cuts_wood"))
    if not {"why_here", INFORMATION_WITHHELD} <= set(samples.columns):
        return samples
    withheld = pl.when(pl.col(INFORMATION_WITHHELD).is_not_null()).then(pl.lit("?"))
    return samples.with_columns(why_here=pl.coalesce("why_here", withheld))


@rule(
    "sample.failed_without_cause",
    table="sample",
    field="failure_cause",
    severity="warning",
    says="Attempt {sample_id} in {element_id} gave no sample, but why is not recorded.",
    remedy="Enter the cause; 'other' with a note where none fits.",
    source=COMMON_PRACTICE,
)
def failed_without_cause(tables: Snapshot) -> pl.DataFrame:
    """Without the cause someone will drill there again for nothing."""
    return _attempts(tables).filter(pl.col("failed") & pl.col("failure_cause").is_null())


@rule(
    "sample.perhaps_failed",
    table="sample",
    field="attempt",
    severity="warning",
    says="Sample {sample_id} counts as a sample, but {why}.",
    remedy="Set the result of the attempt to 'no sample' or 'part of a sample', or correct the "
    "other field.",
    source=COMMON_PRACTICE,
)
def perhaps_failed(tables: Snapshot) -> pl.DataFrame:
    """A hole without a sample would be counted, labeled, and looked for in parcels."""
    caused = pl.col("failure_cause").is_not_null() & pl.col("attempt").ne_missing("part_sample")
    why = (
        pl.when(pl.col("pieces") == 0)
        .then(pl.lit("it came out in 0 pieces"))
        .when(caused)
        .then(pl.format("'{}' is given as the cause of a failure", "failure_cause"))
    )
    attempts = _attempts(tables)
    if attempts.is_empty():
        return attempts.with_columns(why=pl.lit(""))
    return attempts.filter(~pl.col("failed")).with_columns(why=why).drop_nulls("why")


@rule(
    "sample.failed_but_kept",
    table="sample",
    field="attempt",
    severity="error",
    says="Attempt {sample_id} gave no sample, but {what}.",
    remedy="Find out which is right: if something was taken, set the result of the attempt to "
    "'part of a sample'; otherwise the result or event is of another sample.",
    source=COMMON_PRACTICE,
)
def failed_but_kept(tables: Snapshot) -> pl.DataFrame:
    """What was never taken cannot be dated, sent, or stored."""
    failed = _attempts(tables).filter("failed")
    dated = with_any(failed, tables["lab_result"], "sample_id")
    sent = with_any(failed, ledger_now(tables), "sample_id")
    found = pl.concat(
        [
            dated.with_columns(what=pl.lit("a laboratory has a result for it")),
            sent.with_columns(what=pl.lit("the ledger has events of it")),
        ]
    )
    return of_each(found.sort("row", maintain_order=True), "row")


@rule(
    "sample.not_asked_before",
    table="site",
    field="site_id",
    severity="warning",
    says="Of {holes} hole(s) and cut(s) at site {site_id}, {unanswered} lack answers to what is "
    "asked before drilling ({lacking}); the first is {first_id}.",
    remedy="Answer the questions of the section 'Before you drill'; where no one knows any more, "
    "answer 'unknown' and say so.",
    source="common practice, no source: what does not harm the building comes first",
)
def not_asked_before(tables: Snapshot) -> pl.DataFrame:
    """A photo, loose wood, or an old core may serve, and a hole is for good."""
    samples = _holes(tables)
    columns = [name for name in BEFORE if name in samples.columns]
    sites = of_each(tables["site"].drop_nulls("site_id"), "site_id")
    blank = [pl.col(name).is_null() for name in columns]
    lacking = [
        pl.when(pl.col(name).is_null().any()).then(pl.lit(BEFORE[name])).alias(name)
        for name in columns
    ]
    if not columns or samples.is_empty():
        texts = ("lacking", "first_id")
        return sites.clear().with_columns(
            *(pl.lit("").alias(name) for name in texts), holes=0, unanswered=0
        )
    of_sites = (
        samples.with_columns(blank=pl.any_horizontal(blank))
        .group_by("site_id", maintain_order=True)
        .agg(
            *lacking,
            holes=pl.len(),
            unanswered=pl.col("blank").sum(),
            first_id=pl.col("sample_id").filter("blank").first(),
        )
        .with_columns(lacking=pl.concat_list(columns).list.drop_nulls().list.join(", "))
        .filter(pl.col("unanswered") > 0)
    )
    return sites.join(
        of_sites.select("site_id", "holes", "unanswered", "lacking", "first_id"),
        on="site_id",
        maintain_order="left",
    )


@rule(
    "sample.photo_would_have_served",
    table="sample",
    field="why_here",
    severity="warning",
    says="By its record a photo of the end grain could have served in place of {sample_id} "
    "({kind}), and why it was taken all the same is not recorded.",
    remedy="Say in one sentence why a hole or cut was needed.",
    source="common practice, no source: what does not harm the building comes first",
)
def photo_would_have_served(tables: Snapshot) -> pl.DataFrame:
    """Wood that is gone does not come back."""
    samples = _holes(tables)
    if not {"before_end_grain", "why_here"} <= set(samples.columns):
        return samples.clear()
    return samples.filter((pl.col("before_end_grain") == "yes") & pl.col("why_here").is_null())

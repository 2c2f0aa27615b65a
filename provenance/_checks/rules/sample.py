"""Rules about one sample: when and where it was taken, and whether its description holds."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.links import codes_with, look_up
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import samples_with_wood, species_differ
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

"""Rules about a site: its permit, the owner's consent, the crew's visit and its rights."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.dates import date_bounds
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import samples_with_wood
from provenance._record.agreements import TABLE as AGREEMENTS
from provenance._record.snapshot import Snapshot

NEEDS_PERMIT = ("listed", "both")
CONSENTED = ("given", "given_orally", "not_needed")


def _sampled_sites(tables: Snapshot) -> pl.DataFrame:
    counts = tables["sample"].group_by("site_id").agg(pl.len().alias("samples"))
    return tables["site"].join(counts, on="site_id", how="inner", maintain_order="left")


@rule(
    "site.protected_without_permit",
    table="site",
    field="permit_number",
    severity="error",
    says="Site {site_id} is protected ({protection}) and was sampled ({samples}), but no permit "
    "is recorded.",
    remedy="Enter the permit's number. If there is none, stop, tell the authority, and leave the "
    "next step to it.",
    source=COMMON_PRACTICE,
)
def protected_without_permit(tables: Snapshot) -> pl.DataFrame:
    """Taking wood from a protected place without a permit is an offence in most countries."""
    return _sampled_sites(tables).filter(
        pl.col("protection").is_in(NEEDS_PERMIT) & pl.col("permit_number").is_null()
    )


@rule(
    "site.no_permit",
    table="site",
    field="permit_number",
    severity="warning",
    says="No permit is recorded for site {site_id}, and its protection is given as '{protection}'.",
    remedy="Enter the permit's number, or ask the authority and set the protection to 'none' if "
    "no permit is needed.",
    source=COMMON_PRACTICE,
)
def no_permit(tables: Snapshot) -> pl.DataFrame:
    """A repository may refuse samples whose legal standing nobody can show."""
    # a community's agreement is what the rules about agreements ask for
    agreed = ("community",) if AGREEMENTS in tables.model.tables else ()
    settled = (*NEEDS_PERMIT, "none", *agreed)
    return _sampled_sites(tables).filter(
        pl.col("permit_number").is_null() & ~pl.col("protection").is_in(settled).fill_null(False)
    )


@rule(
    "site.permit_without_authority",
    table="site",
    field="permit_authority_id",
    severity="warning",
    says="Site {site_id} names a permit, or is protected ({protection}), but not the authority "
    "that answers for it.",
    remedy="Enter the authority among the parties and its code here.",
    source=COMMON_PRACTICE,
)
def permit_without_authority(tables: Snapshot) -> pl.DataFrame:
    """A permit number means nothing without the office that gave it."""
    needs = NEEDS_PERMIT if AGREEMENTS in tables.model.tables else (*NEEDS_PERMIT, "community")
    protected = pl.col("protection").is_in(needs).fill_null(False)
    return tables["site"].filter(
        pl.col("permit_authority_id").is_null()
        & (pl.col("permit_number").is_not_null() | protected)
    )


@rule(
    "site.permit_ends_before_it_starts",
    table="site",
    field="permit_until",
    severity="error",
    says="The permit of site {site_id} ends ({permit_until}) before it starts ({permit_from}).",
    remedy="Compare both dates with the permit.",
    source=COMMON_PRACTICE,
)
def permit_ends_before_it_starts(tables: Snapshot) -> pl.DataFrame:
    """With such dates nobody can tell which samples the permit covers."""
    dated = date_bounds(tables["site"], "permit_from", "permit_until")
    return dated.filter(pl.col("permit_until_last") < pl.col("permit_from_first"))


@rule(
    "site.sampled_outside_permit",
    table="sample",
    field="collected_on",
    severity="error",
    says="Sample {sample_id} was taken on {collected_on}; the permit of site {site_id} ran from "
    "{permit_from} to {permit_until}.",
    remedy="Compare the date with the record sheet and the permit. If both are right, tell the "
    "authority.",
    source=COMMON_PRACTICE,
)
def sampled_outside_permit(tables: Snapshot) -> pl.DataFrame:
    """A permit covers the days it names and no others."""
    return samples_with_wood(tables).filter(
        (pl.col("collected_on_last") < pl.col("permit_from_first"))
        | (pl.col("collected_on_first") > pl.col("permit_until_last"))
    )


@rule(
    "site.consent_refused",
    table="site",
    field="owner_consent",
    severity="error",
    says="The owner of site {site_id} refused, yet samples are recorded ({samples}).",
    remedy="Compare with the owner's letter. If it stands, tell the owner and do not publish.",
    source=COMMON_PRACTICE,
)
def consent_refused(tables: Snapshot) -> pl.DataFrame:
    """The wood belongs to somebody; a refusal ends the work."""
    return _sampled_sites(tables).filter(pl.col("owner_consent") == "refused")


@rule(
    "site.no_consent",
    table="site",
    field="owner_consent",
    severity="warning",
    says="Samples were taken at site {site_id} ({samples}), but the owner's consent is "
    "'{owner_consent}'.",
    remedy="Ask the owner in writing; enter the answer and its date.",
    source=COMMON_PRACTICE,
)
def no_consent(tables: Snapshot) -> pl.DataFrame:
    """Without consent on record nobody can hand the samples on for good."""
    answered = (*CONSENTED, "refused")
    return _sampled_sites(tables).filter(~pl.col("owner_consent").is_in(answered).fill_null(False))


@rule(
    "site.sampled_before_consent",
    table="sample",
    field="collected_on",
    severity="warning",
    says="Sample {sample_id} was taken on {collected_on}, before the owner's consent of "
    "{consent_on}.",
    remedy="Compare both dates; if the owner had agreed by word before, say so in the notes.",
    source=COMMON_PRACTICE,
)
def sampled_before_consent(tables: Snapshot) -> pl.DataFrame:
    """Consent comes first."""
    return samples_with_wood(tables).filter(
        pl.col("collected_on_last") < pl.col("consent_on_first")
    )


@rule(
    "site.visit_ends_before_it_starts",
    table="site",
    field="visit_end",
    severity="error",
    says="The visit to site {site_id} ends ({visit_end}) before it starts ({visit_start}).",
    remedy="Compare both dates with the field book.",
    source=COMMON_PRACTICE,
)
def visit_ends_before_it_starts(tables: Snapshot) -> pl.DataFrame:
    """Every other date of the field record is compared with these two."""
    dated = date_bounds(tables["site"], "visit_start", "visit_end")
    return dated.filter(pl.col("visit_end_last") < pl.col("visit_start_first"))


@rule(
    "site.no_hazards",
    table="site",
    field="hazards",
    severity="note",
    says="Nobody wrote down what can hurt people or the building at site {site_id}.",
    remedy="List the hazards, or 'none' after somebody competent has looked; the sheets carry the "
    "cautions.",
    source=COMMON_PRACTICE,
)
def no_hazards(tables: Snapshot) -> pl.DataFrame:
    """Whoever goes back to find a hole relies on this list."""
    return tables["site"].filter(pl.col("hazards").is_null())


@rule(
    "site.no_rights",
    table="site",
    field="rights",
    severity="note",
    says="Site {site_id} does not say under which licence its public part may be used.",
    remedy="Agree on a licence with the owner and enter its SPDX identifier, such as CC-BY-4.0.",
    source="FAIR Guiding Principles, R1.1 (Wilkinson and others 2016, Scientific Data 3, 160018)",
)
def no_rights(tables: Snapshot) -> pl.DataFrame:
    """Data without a licence cannot be used again lawfully."""
    return tables["site"].filter(pl.col("rights").is_null())


@rule(
    "site.no_repository",
    table="site",
    field="repository_id",
    severity="note",
    says="Site {site_id} names no repository in which the record is to be kept.",
    remedy="Agree on one before the samples leave the site and enter its code.",
    source=COMMON_PRACTICE,
)
def no_repository(tables: Snapshot) -> pl.DataFrame:
    """Records and samples without a home are the ones that get lost."""
    return tables["site"].filter(pl.col("repository_id").is_null())

"""Rules about a laboratory's result: whose it is, what it replaces, and when it came."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.links import (
    look_up,
    looping,
    of_each,
    unlike_first,
    with_any,
    without_any,
)
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import (
    in_list,
    ledger,
    live_results,
    results_with_samples,
    species_differ,
)
from provenance._model.determination import WITH_YEARS
from provenance._record.joined import codes_in
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

YEARS = ("inner_year", "outer_year", "felled_from_year", "felled_to_year")


@rule(
    "result.before_sample",
    table="lab_result",
    field="reported_on",
    severity="error",
    says="Result {result_id} was reported on {reported_on}, before sample {sample_id} was taken on "
    "{collected_on}.",
    remedy="Compare both dates, and check the sample number.",
    source=COMMON_PRACTICE,
)
def before_sample(tables: Snapshot) -> pl.DataFrame:
    """A result cannot be older than its sample; it belongs to another one."""
    return results_with_samples(tables).filter(
        pl.col("reported_on_last") < pl.col("collected_on_first")
    )


def _arrivals(tables: Snapshot) -> pl.DataFrame:
    """First arrival of each sample at each party."""
    return (
        ledger(tables)
        .filter("moves")
        .drop_nulls("to_party_id")
        .group_by("sample_id", pl.col("to_party_id").alias("laboratory_id"))
        .agg(
            pl.col("happened_on_first").min().alias("arrived_first"),
            pl.col("happened_on").sort_by("happened_on_first", nulls_last=True).first(),
        )
    )


@rule(
    "result.before_arrival",
    table="lab_result",
    field="reported_on",
    severity="error",
    says="Result {result_id} was reported on {reported_on}, but sample {sample_id} reached "
    "{laboratory_id} only on {happened_on}.",
    remedy="Compare the report with the receipt.",
    source=COMMON_PRACTICE,
)
def before_arrival(tables: Snapshot) -> pl.DataFrame:
    """A laboratory cannot measure a sample it does not have."""
    return (
        results_with_samples(tables)
        .join(_arrivals(tables), on=["sample_id", "laboratory_id"], maintain_order="left")
        .filter(pl.col("reported_on_last") < pl.col("arrived_first"))
    )


@rule(
    "result.never_sent",
    table="lab_result",
    field="laboratory_id",
    severity="warning",
    says="Result {result_id} is by {laboratory_id}, but the ledger shows no transfer of sample "
    "{sample_id} to that laboratory.",
    remedy="Add the events by which the sample got there, or enter the right laboratory.",
    source=COMMON_PRACTICE,
)
def never_sent(tables: Snapshot) -> pl.DataFrame:
    """Only the ledger shows where the sample is."""
    # a record may have very many of them
    results = results_with_samples(tables).select(ROW, "result_id", "laboratory_id", "sample_id")
    followed = with_any(results, ledger(tables), "sample_id")
    return without_any(followed, _arrivals(tables), "sample_id", "laboratory_id")


@rule(
    "result.of_a_lost_sample",
    table="lab_result",
    field="sample_id",
    severity="error",
    says="Result {result_id} was reported on {reported_on}, but sample {sample_id} was {fate} on "
    "{lost_on} and not found since.",
    remedy="Check the sample number, and whether the sample was found again.",
    source=COMMON_PRACTICE,
)
def of_a_lost_sample(tables: Snapshot) -> pl.DataFrame:
    """A result for a lost sample probably belongs to another one."""
    missing = (pl.col("state") == "missing").fill_null(False)
    fates = ledger(tables).filter(pl.col("event").is_in(["lost", "destroyed", "found"]) | missing)
    lost = (
        of_each(fates, "sample_id", keep="last")
        .filter((pl.col("event") == "lost") | (missing & (pl.col("event") != "found")))
        .select(
            "sample_id",
            pl.when(missing).then(pl.lit("missing")).otherwise("event").alias("fate"),
            pl.col("happened_on").alias("lost_on"),
            pl.col("happened_on_last").alias("lost_last"),
        )
    )
    return (
        results_with_samples(tables)
        .join(lost, on="sample_id", maintain_order="left")
        .filter(pl.col("reported_on_first") > pl.col("lost_last"))
    )


@rule(
    "result.two_live",
    table="lab_result",
    field="supersedes_result_id",
    severity="warning",
    says="Results {first_id} and {result_id} are both current for sample {sample_id} ({method}).",
    remedy="If the later one replaces the earlier, enter the earlier one's number here.",
    source=COMMON_PRACTICE,
)
def two_live(tables: Snapshot) -> pl.DataFrame:
    """Readers cannot tell which date is valid."""
    examined = live_results(tables).filter(
        ~pl.col("outcome").is_in(["pending", "species_only"]) & pl.col("sample_id").is_not_null()
    )
    return unlike_first(examined, "result_id", ["sample_id", "method"])


@rule(
    "result.supersedes_itself",
    table="lab_result",
    field="supersedes_result_id",
    severity="error",
    says="Result {result_id} supersedes {supersedes_result_id}, which in the end supersedes "
    "{result_id} again.",
    remedy="List the results by report date; the first one supersedes none.",
    source=COMMON_PRACTICE,
)
def supersedes_itself(tables: Snapshot) -> pl.DataFrame:
    """No result in the circle would be current."""
    return looping(tables["lab_result"], "result_id", "supersedes_result_id")


_EARLIER = {
    "their_sample_id": "sample_id",
    "their_revision": "revision",
    "their_laboratory_id": "laboratory_id",
}


@rule(
    "result.supersedes_another_sample",
    table="lab_result",
    field="supersedes_result_id",
    severity="error",
    says="Result {result_id} of sample {sample_id} supersedes {supersedes_result_id}, which is of "
    "sample {their_sample_id}.",
    remedy="Check both numbers against the reports.",
    source=COMMON_PRACTICE,
)
def supersedes_another_sample(tables: Snapshot) -> pl.DataFrame:
    """It would remove another sample's date."""
    joined = look_up(tables["lab_result"], "supersedes_result_id", tables, "lab_result", _EARLIER)
    return joined.filter(pl.col("their_sample_id") != pl.col("sample_id"))


@rule(
    "result.revision_not_rising",
    table="lab_result",
    field="revision",
    severity="error",
    says="Result {result_id} is revision {revision}, but supersedes {supersedes_result_id}, which "
    "is revision {their_revision}.",
    remedy="Revisions of a sample count 1, 2, 3 …; correct the number or the superseded result.",
    source=COMMON_PRACTICE,
)
def revision_not_rising(tables: Snapshot) -> pl.DataFrame:
    """The highest revision is the current one."""
    joined = look_up(tables["lab_result"], "supersedes_result_id", tables, "lab_result", _EARLIER)
    return joined.filter(pl.col("revision") <= pl.col("their_revision"))


@rule(
    "result.revision_of_nothing",
    table="lab_result",
    field="supersedes_result_id",
    severity="warning",
    says="Result {result_id} of sample {sample_id} is revision {revision}, but the result it "
    "supersedes is not recorded.",
    remedy="Enter the number of the earlier result; enter that result too if it is missing.",
    source=COMMON_PRACTICE,
)
def revision_of_nothing(tables: Snapshot) -> pl.DataFrame:
    """Earlier dates were published; they must stay traceable."""
    return tables["lab_result"].filter(
        (pl.col("revision") > 1) & pl.col("supersedes_result_id").is_null()
    )


@rule(
    "result.superseded_twice",
    table="lab_result",
    field="supersedes_result_id",
    severity="warning",
    says="Results {first_id} and {result_id} both supersede {supersedes_result_id}.",
    remedy="Let the later one supersede the earlier.",
    source=COMMON_PRACTICE,
)
def superseded_twice(tables: Snapshot) -> pl.DataFrame:
    """The revisions fork, and two dates are current."""
    later = tables["lab_result"].drop_nulls("supersedes_result_id")
    return unlike_first(later, "result_id", ["supersedes_result_id"])


@rule(
    "result.dated_without_year",
    table="lab_result",
    field="outer_year",
    severity="error",
    says="Result {result_id} of sample {sample_id} is '{outcome}', but gives no year.",
    remedy="Enter the outside year from the report, or correct the outcome.",
    source=COMMON_PRACTICE,
)
def dated_without_year(tables: Snapshot) -> pl.DataFrame:
    """A date needs a year."""
    years = ("outer_year", "felled_from_year", "felled_to_year")
    no_year = pl.all_horizontal(pl.col(years).is_null())
    return tables["lab_result"].filter(pl.col("outcome").is_in(WITH_YEARS) & no_year)


@rule(
    "result.undated_with_year",
    table="lab_result",
    field="outcome",
    severity="error",
    says="Result {result_id} of sample {sample_id} is '{outcome}', but gives years "
    "({inner_year} to {outer_year}).",
    remedy="Read the report again: either it is dated or the years are from another sample.",
    source=COMMON_PRACTICE,
)
def undated_with_year(tables: Snapshot) -> pl.DataFrame:
    """Readers will take the years for a date."""
    any_year = pl.any_horizontal(pl.col(name).is_not_null() for name in YEARS)
    return tables["lab_result"].filter(~pl.col("outcome").is_in(WITH_YEARS) & any_year)


@rule(
    "result.undated_without_reason",
    table="lab_result",
    field="undated_reason",
    severity="warning",
    says="Result {result_id} of sample {sample_id} is '{outcome}'; the reason is not recorded.",
    remedy="Ask the laboratory; the reason shows whether a second core is worth the hole.",
    source=COMMON_PRACTICE,
)
def undated_without_reason(tables: Snapshot) -> pl.DataFrame:
    """Without the reason, someone may drill again for nothing."""
    undated = pl.col("outcome").is_in(["undated", "not_measured"])
    return tables["lab_result"].filter(undated & pl.col("undated_reason").is_null())


@rule(
    "result.no_reference_named",
    table="lab_result",
    field="reference_chronology",
    severity="note",
    says="Result {result_id} was crossdated, but its reference chronology is not recorded.",
    remedy="Enter the chronology and the match statistics from the report.",
    source=COMMON_PRACTICE,
)
def no_reference_named(tables: Snapshot) -> pl.DataFrame:
    """A crossdate can be tested only against its reference chronology."""
    return live_results(tables).filter(
        (pl.col("outcome") == "dated")
        & (pl.col("method") == "crossdating")
        & pl.col("reference_chronology").is_null()
    )


@rule(
    "result.laboratory_without_role",
    table="lab_result",
    field="laboratory_id",
    severity="note",
    says="Result {result_id} is by {laboratory_id}, who is not recorded as a laboratory or "
    "analyst.",
    remedy="Add the role to the party, or enter the right party.",
    source=COMMON_PRACTICE,
)
def laboratory_without_role(tables: Snapshot) -> pl.DataFrame:
    """Owners and crew do not date their own samples."""
    examines = in_list("_roles", ["laboratory", "analyst"])
    joined = look_up(tables["lab_result"], "laboratory_id", tables, "party", {"roles": "roles"})
    return joined.drop_nulls("roles").with_columns(_roles=codes_in("roles")).filter(~examines)


@rule(
    "result.laboratory_number_twice",
    table="lab_result",
    field="lab_number",
    severity="error",
    says="{laboratory_id} gave number {lab_number} to sample {sample_id} and to sample "
    "{first_sample_id}.",
    remedy="Ask the laboratory which sample it is.",
    source=COMMON_PRACTICE,
)
def laboratory_number_twice(tables: Snapshot) -> pl.DataFrame:
    """One of the two samples has another sample's date."""
    numbered = tables["lab_result"].drop_nulls(["laboratory_id", "lab_number", "sample_id"])
    number = ["laboratory_id", "lab_number"]
    return unlike_first(numbered, "sample_id", number, first="first_sample_id")


@rule(
    "result.genus_differs",
    table="lab_result",
    field="species",
    severity="warning",
    says="The laboratory identified sample {sample_id} as {species}; the field identification is "
    "{field_species}, another genus.",
    remedy="Look at the photo: if the field identification is wrong, correct it; if not, two "
    "samples may have been swapped.",
    source="ITRDB species codes",
)
def genus_differs(tables: Snapshot) -> pl.DataFrame:
    """A different species is often the first sign of a swapped sample."""
    another_genus, _ = species_differ(tables, "species", "field_species")
    return live_results(tables).filter(another_genus)


@rule(
    "result.species_differs",
    table="lab_result",
    field="species",
    severity="note",
    says="The laboratory identified sample {sample_id} as {species}; the field identification is "
    "{field_species}.",
    remedy="Within a genus the laboratory is usually right; correct the field identification if "
    "you agree.",
    source="ITRDB species codes",
)
def species_differs(tables: Snapshot) -> pl.DataFrame:
    """The field identification is a guess; the record should not keep two."""
    _, another_species = species_differ(tables, "species", "field_species")
    return live_results(tables).filter(another_species)

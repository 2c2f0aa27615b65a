"""Rules about people and organizations: their identifiers and the part they play."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.links import look_up, unlike_first
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.snapshot import Snapshot

# Crockford's base 32 as ROR uses it: no i, l, o, u
_BASE32 = "0123456789abcdefghjkmnpqrstvwxyz"


def _orcid_holds(orcid: str) -> bool:
    from stdnum.iso7064 import mod_11_2

    return bool(mod_11_2.is_valid(orcid.replace("-", "")))


def _ror_holds(ror: str) -> bool:
    from stdnum.iso7064 import mod_97_10

    code = ror.removeprefix("https://ror.org/")
    if len(code) != 9 or any(letter not in _BASE32 for letter in code[1:7]):
        return False
    number = 0
    for letter in code[1:7]:
        number = number * 32 + _BASE32.index(letter)
    return bool(mod_97_10.is_valid(f"{number}{code[7:]}"))


@rule(
    "party.orcid_check_digit",
    table="party",
    field="orcid",
    severity="error",
    says="{orcid} of {party_id} is not an ORCID: its check character does not fit.",
    remedy="Copy it again from the person's ORCID page.",
    source="ISO/IEC 7064 MOD 11-2, as ORCID uses it (python-stdnum)",
)
def orcid_check_digit(tables: Snapshot) -> pl.DataFrame:
    """A wrong digit credits the work to someone else."""
    orcids = tables["party"]["orcid"].drop_nulls().unique().to_list()
    return tables["party"].filter(
        pl.col("orcid").is_in([orcid for orcid in orcids if not _orcid_holds(orcid)])
    )


@rule(
    "party.ror_check_digits",
    table="party",
    field="ror",
    severity="error",
    says="{ror} of {party_id} is not a ROR identifier: its check digits do not fit.",
    remedy="Copy it again from the organization's ROR page.",
    source="ISO/IEC 7064 MOD 97-10 over base 32, as ROR uses it (python-stdnum)",
)
def ror_check_digits(tables: Snapshot) -> pl.DataFrame:
    """A wrong digit names another organization, or none."""
    rors = tables["party"]["ror"].drop_nulls().unique().to_list()
    return tables["party"].filter(pl.col("ror").is_in([r for r in rors if not _ror_holds(r)]))


@rule(
    "party.identifier_of_the_other_kind",
    table="party",
    field="kind",
    severity="warning",
    says="{party_id} is entered as {kind}, but has {identifier}, which only {owner} can have.",
    remedy="Set the right kind, or move the identifier to the right party.",
    source="ORCID identifies people, ROR organizations (orcid.org, ror.org)",
)
def identifier_of_the_other_kind(tables: Snapshot) -> pl.DataFrame:
    """The kind decides what is withheld from the public edition."""
    orcid = (pl.col("kind") == "organisation") & pl.col("orcid").is_not_null()
    ror = (pl.col("kind") == "person") & pl.col("ror").is_not_null()
    return (
        tables["party"]
        .filter(orcid | ror)
        .with_columns(
            identifier=pl.when(orcid).then(pl.format("ORCID {}", "orcid")).otherwise("ror"),
            owner=pl.when(orcid).then(pl.lit("a person")).otherwise(pl.lit("an organization")),
        )
    )


@rule(
    "party.organisation_is_a_person",
    table="party",
    field="organisation_id",
    severity="warning",
    says="{party_id} is recorded as working for {organisation_id}, which is a person.",
    remedy="Enter the organization as its own party.",
    source=COMMON_PRACTICE,
)
def organisation_is_a_person(tables: Snapshot) -> pl.DataFrame:
    """Samples are lent to institutions, and people leave."""
    joined = look_up(tables["party"], "organisation_id", tables, "party", {"their_kind": "kind"})
    return joined.filter(pl.col("their_kind") == "person")


@rule(
    "party.listed_twice",
    table="party",
    field="name",
    severity="warning",
    says="{party_id} and {first_id} have the same name.",
    remedy="Keep one code for one party; change the other wherever it is used.",
    source=COMMON_PRACTICE,
)
def listed_twice(tables: Snapshot) -> pl.DataFrame:
    """Two codes for one laboratory break the custody chain."""
    plain = pl.col("name").str.to_lowercase().str.replace_all(r"\s+", " ").str.strip_chars()
    named = tables["party"].drop_nulls("name").with_columns(_plain=plain)
    return unlike_first(named, "party_id", ["_plain"])


@rule(
    "party.mentioned_nowhere",
    table="party",
    field="party_id",
    severity="note",
    says="{party_id} is not used anywhere in the record.",
    remedy="Remove the party, or enter the code where it belongs.",
    source="GDPR, Regulation (EU) 2016/679, article 5(1)(c): no more personal data than needed",
)
def mentioned_nowhere(tables: Snapshot) -> pl.DataFrame:
    """People without a part in the work should not be in the archive."""
    mentioned = [
        tables[table.name][key.fields[0]].drop_nulls().unique()
        for table in tables.model.tables.values()
        for key in table.foreign_keys
        if key.table == "party"
    ]
    everybody = pl.concat(mentioned).unique().to_list()
    return tables["party"].filter(~pl.col("party_id").is_in(everybody))

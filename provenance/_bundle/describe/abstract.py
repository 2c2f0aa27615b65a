"""Sums up a record in a few sentences of counts, in which no text of a person stands."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from provenance._base.opinion_words import counted
from provenance._record.attempts import samples_taken
from provenance._record.joined import standing_results
from provenance._record.package import DEFAULT_DESCRIPTION, Package


@dataclass(frozen=True)
class DatedRings:
    """How many samples are dated, and the first and last year of their rings.

    Years are astronomical (0 is 1 BC).
    """

    samples: int
    first: int
    last: int


def dated_rings(package: Package) -> DatedRings | None:
    """The dated rings of all samples, None where nothing is dated.

    Results that a later one supersedes, and those that are not dated, do not count.
    """
    dated = standing_results(package.tables).filter(outcome="dated")
    years = [one for name in ("inner_year", "outer_year") for one in dated[name].drop_nulls()]
    if not years:
        return None
    return DatedRings(dated["sample_id"].n_unique(), min(years), max(years))


def collected(package: Package) -> tuple[str, str] | None:
    """The first and the last whole day on which samples were taken, None where no day is known."""
    days = [one for one in package.tables.column("sample", "collected_on") if len(one) == 10]
    return (min(days), max(days)) if days else None


def abstract(package: Package) -> str:
    """What the package holds: sites, timbers, samples, species, dated rings, days of work.

    All of it is counted in this very package, so that of a public edition tells no more than the
    edition itself. What a person wrote as the package's description stands first.
    """
    tables = package.tables
    taken = samples_taken(tables)
    said = " ".join(str(package.descriptor.get("description") or DEFAULT_DESCRIPTION).split())
    sentences = [] if said == DEFAULT_DESCRIPTION else [said]
    sentences.append(
        f"Tree-ring samples from buildings at {counted(tables.count('site'), 'site')}: "
        f"{counted(tables.count('element'), 'timber')} recorded, "
        f"{counted(taken.height, 'sample')} taken."
    )
    if species := _species(package, taken):
        sentences.append(f"Species: {', '.join(species)}.")
    if dated := dated_rings(package):
        are = "is" if dated.samples == 1 else "are"
        sentences.append(
            f"{counted(dated.samples, 'sample')} {are} dated, with rings from "
            f"{_year(dated.first)} to {_year(dated.last)}."
        )
    if days := collected(package):
        when = f"on {days[0]}" if days[0] == days[1] else f"from {days[0]} to {days[1]}"
        sentences.append(f"The samples were taken {when}.")
    return " ".join(sentences)


def _species(package: Package, taken: pl.DataFrame) -> list[str]:
    """The species, most samples first: as the laboratory says, else as seen in the field."""
    reported = (
        standing_results(package.tables)
        .drop_nulls("species")
        .unique("sample_id", keep="last", maintain_order=True)
        .select("sample_id", "species")
    )
    of_samples = taken.join(reported, "sample_id", "left", maintain_order="left").select(
        code=pl.coalesce("species", "species_field")
    )
    counts = of_samples.drop_nulls().group_by("code").len()
    counts = counts.sort("len", "code", descending=[True, False])
    names = package.model.vocabulary_of(package.model.table("lab_result").field("species"))
    return [names.label(code) if names else code for code in counts["code"]]


def _year(year: int) -> str:
    return str(year) if year > 0 else f"{1 - year} BC"

"""Rules about agreements: whether the work was agreed to, and whether its conditions are kept."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from provenance._base.listed import listed
from provenance._checks.language.dates import date_bounds
from provenance._checks.language.links import look_up, of_each
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import last_known_day
from provenance._record.agreements import ENDED, IN_FORCE, TABLE, agreements_of, uncovered
from provenance._record.joined import places_around
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

ETHICS = (
    "CARE Principles for Indigenous Data Governance (Carroll and others 2020, Data Science "
    "Journal 19, 43); common practice, no source"
)
PICTURES = ("photo", "plan", "drawing")


@rule(
    "agreement.sampled_without",
    table="site",
    field="protection",
    severity="error",
    says="{count} hole(s) or cut(s) at site {site_id} are in wood that is {why}, and no agreement "
    "that held on the day allows them: {samples}.",
    remedy="Enter the agreement with its scope, place, and dates. If there is none, stop, tell the "
    "community or household, and leave the next step to them.",
    source=ETHICS,
)
def sampled_without(tables: Snapshot) -> pl.DataFrame:
    """Consent of the people concerned comes before the drill."""
    rows = of_each(tables["site"].drop_nulls("site_id"), "site_id")
    number = dict(zip(rows["site_id"], rows[ROW], strict=True))
    found = [
        (number[one.site], one.site, one.why, len(one.samples), listed(one.samples, 10))
        for one in uncovered(tables)
        if one.site in number
    ]
    columns = {ROW: pl.UInt32, "site_id": pl.String, "why": pl.String}
    columns |= {"count": pl.Int64, "samples": pl.String}
    lines = pl.DataFrame(found, columns, orient="row")
    # a site with several reasons is one finding
    return lines.group_by(ROW, "site_id", maintain_order=True).agg(
        pl.col("why").unique(maintain_order=True).str.join(" or "),
        pl.col("count").sum(),
        pl.col("samples").str.join(", "),
    )


@rule(
    "agreement.ended",
    table=TABLE,
    field="agreement_status",
    severity="warning",
    says="Agreement {agreement_id} of site {site_id} is {agreement_status}.",
    remedy="Before anything more is taken, lent, or made public, ask those who gave it.",
    source=ETHICS,
)
def ended(tables: Snapshot) -> pl.DataFrame:
    """Who took an agreement back has a say over what was taken under it."""
    return tables[TABLE].filter(pl.col("agreement_status").is_in(ENDED))


@rule(
    "agreement.ran_out",
    table=TABLE,
    field="valid_until",
    severity="warning",
    says="Agreement {agreement_id} of site {site_id} was valid until {valid_until}, but is still "
    "'{agreement_status}'.",
    remedy="Ask for a new agreement, or set the status to 'expired'.",
    source=COMMON_PRACTICE,
)
def ran_out(tables: Snapshot) -> pl.DataFrame:
    """Work that goes on under an old agreement is work without one."""
    return date_bounds(tables[TABLE], "valid_until").filter(
        pl.col("agreement_status").is_in(IN_FORCE)
        & (pl.col("valid_until_last") < last_known_day(tables))
    )


@rule(
    "agreement.ends_before_it_starts",
    table=TABLE,
    field="valid_until",
    severity="error",
    says="Agreement {agreement_id} ends ({valid_until}) before it starts ({agreed_on}).",
    remedy="Compare both dates with the letter.",
    source=COMMON_PRACTICE,
)
def ends_before_it_starts(tables: Snapshot) -> pl.DataFrame:
    """With such dates no one can tell which samples it covers."""
    dated = date_bounds(tables[TABLE], "agreed_on", "valid_until")
    return dated.filter(pl.col("valid_until_last") < pl.col("agreed_on_first"))


@rule(
    "agreement.incomplete",
    table=TABLE,
    field="agreement_status",
    severity="warning",
    says="Agreement {agreement_id} is '{agreement_status}', but its record lacks: {lacking}.",
    remedy="Enter who agreed, when, and to what; of an ended agreement also the last day.",
    source=COMMON_PRACTICE,
)
def incomplete(tables: Snapshot) -> pl.DataFrame:
    """An agreement without name, day, or scope cannot be shown to anyone who asks."""
    agreed = pl.col("agreement_status").is_in([*IN_FORCE, *ENDED])
    needed = {
        "given_by_party_id": ("who agreed", agreed),
        "agreed_on": ("the day", agreed),
        "scope": ("what was agreed to", agreed),
        "valid_until": ("the last day", pl.col("agreement_status").is_in(ENDED)),
    }
    lacking = [
        pl.when(pl.col(column).is_null() & wanted).then(pl.lit(words))
        for column, (words, wanted) in needed.items()
    ]
    said = pl.concat_list(lacking).list.drop_nulls().list.join(", ")
    return tables[TABLE].with_columns(lacking=said).filter(pl.col("lacking") != "")


@rule(
    "agreement.place_of_another_site",
    table=TABLE,
    field="place_id",
    severity="error",
    says="Agreement {agreement_id} is of site {site_id}, but its place {place_id} is of site "
    "{place_site_id}.",
    remedy="Set the right site or the right place.",
    source=COMMON_PRACTICE,
)
def place_of_another_site(tables: Snapshot) -> pl.DataFrame:
    """It would cover nothing at either site."""
    found = look_up(tables[TABLE], "place_id", tables, "place", {"place_site_id": "site_id"})
    return found.filter(pl.col("place_site_id") != pl.col("site_id"))


@rule(
    "agreement.open_images",
    table="file",
    field="access",
    severity="error",
    says="File {file_id} ({path}) is open to everyone, but agreement {agreement_id} asks that no "
    "images become public.",
    remedy="Set its access to 'restricted'; only those who gave the agreement can change the "
    "condition.",
    source=ETHICS,
)
def open_images(tables: Snapshot) -> pl.DataFrame:
    """A picture that is public once cannot be called back."""
    asked = [one for one in agreements_of(tables) if "no_images" in one.conditions]
    images = tables["file"].filter(pl.col("kind").is_in(PICTURES) & (pl.col("access") == "open"))
    if not asked or images.is_empty():
        return images.clear().with_columns(agreement_id=pl.lit(""))
    where = dict(_where(tables))
    around = places_around(tables)
    names = images.select(pl.col("about_table", "about_id").fill_null("")).iter_rows()
    bound = []
    for about in names:
        # what is not known to lie elsewhere may lie there
        site, place = where.get(about, ("", ""))
        binding = [
            one.code
            for one in asked
            if site in ("", one.site) and (not one.place or one.place in around.get(place, ()))
        ]
        bound.append(binding[0] if binding else None)
    return images.with_columns(agreement_id=pl.Series(bound, dtype=pl.String)).drop_nulls(
        "agreement_id"
    )


def _where(tables: Snapshot) -> Iterator[tuple[tuple[str, str], tuple[str, str]]]:
    """(Table, key) of what a picture may show → the site and the place in which that is."""
    for (site,) in tables["site"].select("site_id").drop_nulls().iter_rows():
        yield ("site", site), (site, "")
    for place, site in tables["place"].select("place_id", "site_id").drop_nulls().iter_rows():
        yield ("place", place), (site, place)
    wood = {}
    columns = pl.col("element_id", "site_id", "place_id").fill_null("")
    for element, *at in tables["element"].select(columns).iter_rows():
        wood[element] = (at[0], at[1])
        yield ("element", element), wood[element]
    for sample, element in tables["sample"].select("sample_id", "element_id").iter_rows():
        yield ("sample", sample), wood.get(element, ("", ""))

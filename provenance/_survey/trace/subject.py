"""Says what a plan shows: a storey, a building, or a site with all its buildings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from provenance._base.errors import UnusableInput
from provenance._base.listed import listed
from provenance._record.edition_key import is_public
from provenance._record.package import Package
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.plan.plan_content import NAMED, buildings_of, levels_of
from provenance._survey.trace.points import HOLE, Marked


@dataclass(frozen=True)
class Subject:
    """What a plan shows, by the row of the table 'place' or 'site' that stands for it."""

    table: str
    key: str
    site_id: str
    name: str

    def may_hold(self, record: FieldRecord, place_id: str) -> bool:
        """Whether what is in a place may be on the plan: the place is a part of this, or round it.

        Wood is often recorded in a building while the plan shows one storey of it.
        """
        if self.table == "site" or not place_id:
            return True
        return self.key in record.places_round(place_id) or place_id in record.places_round(
            self.key
        )


def subject_of_plan(package: Package, record: FieldRecord, named: str | None) -> Subject:
    """What a plan shows, by the code of a place or site; the only building where none is named.

    Raises UnusableInput that names what there is, and for a public edition.
    """
    if is_public(package):
        raise UnusableInput(f"{package.folder} is a public edition; trace plans in the full record")
    buildings, sites = buildings_of(record), record.column("site", "site_id").to_list()
    if named is None:
        alone = buildings or sites
        named = alone[0] if len(alone) == 1 else ""
    for table, name in (("place", "name"), ("site", "site_id")):
        if (at := record.find(table, named)) >= 0:
            row = record.row(table, at)
            return Subject(table, named, row["site_id"], row[name] or named)
    places = record.column("place", "place_id").to_list()
    asked = f"there is no place '{named}'" if named else "say with --place what the plan shows"
    raise UnusableInput(
        f"{package.table_path('place')}: {asked}; places are: {listed(places, 12) or 'none'}; "
        f"sites: {', '.join(sites) or 'none'}"
    )


def refuse_other_grids(record: FieldRecord, subject: Subject, traced: Sequence[Marked]) -> None:
    """Raise UnusableInput for wood or a hole of another site, whose grid is another one."""
    for one in traced:
        table = "sample" if one.kind == HOLE else "element"
        site = record.cell(table, "site_id", record.find(table, one.name))
        if site and site != subject.site_id:
            raise UnusableInput(
                f"{one.place}, column 'name': {one.name} belongs to the site {site}, and the plan "
                f"to {subject.site_id}, which has a grid of its own; correct the name or the place"
            )


def doubts_about_subject(
    record: FieldRecord, subject: Subject, traced: Sequence[Marked]
) -> Iterator[str]:
    """What a person should know of storeys and of wood that is recorded elsewhere, in sentences."""
    storeys = levels_of(record, subject.key)
    if subject.table == "site" or (subject.key in buildings_of(record) and len(storeys) > 1):
        yield (
            f"The picture will lie under every plan of {subject.key}, whatever building or story; "
            "take the story as its place (--place) if it shows one alone."
        )
    other: dict[str, str] = {}
    nowhere: dict[str, None] = {}
    for one in traced:
        wood = one.name
        if one.kind == HOLE:
            wood = record.cell("sample", "element_id", record.find("sample", one.name))
        at = record.find("element", wood)
        place = record.cell("element", "place_id", at) if at >= 0 else ""
        if at >= 0 and not place:
            nowhere[wood] = None
        elif not subject.may_hold(record, place):
            other[wood] = place
    if other:
        told = listed([f"{wood} ({place})" for wood, place in other.items()], NAMED)
        yield f"The plan is of {subject.key}, but the record has this wood elsewhere: {told}."
    if nowhere:
        yield (
            f"No place is recorded for {listed(nowhere, NAMED)}; such wood is on no plan until "
            "its place is entered."
        )

"""Writes a page for each place, piece of wood and sample: the chain, to be walked both ways."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from provenance._base.errors import UnreadableValue
from provenance._bundle.finding_aid.addresses import anchor, page_path, relocation_path
from provenance._bundle.finding_aid.cells import Cells, link, shown
from provenance._bundle.finding_aid.conclusions import Conclusions
from provenance._bundle.finding_aid.pictures import Pictures
from provenance._bundle.finding_aid.plans import Plans
from provenance._bundle.finding_aid.record import Record
from provenance._bundle.finding_aid.relocation_pages import RelocationPages
from provenance._bundle.finding_aid.writing import Page, Writer
from provenance._derive.wood.size import size_in_words
from provenance._identity.check_character import check_letters
from provenance._identity.identifier import identifier_in
from provenance._ledger.holdings import Event
from provenance._model.felling import dates_in_words
from provenance._model.felling_together import together_in_words
from provenance._record.attempts import kind_in_words
from provenance._record.edition_key import is_public
from provenance._record.fellings import felled_pieces
from provenance._record.same_trees import same_trees
from provenance._record.snapshot import Row

_ROOT = "../../"
_ELEMENT_SHOWN = frozenset({"element_id", "site_id", "place_id"})
_SAMPLE_SHOWN = frozenset({"sample_id", "site_id", "element_id"})
_PLUG_SHOWN = frozenset({"sample_id", "plug_id"})
_RESULT_SHOWN = frozenset({"sample_id", "result_id"})
_PLACE_SHOWN = frozenset({"place_id", "site_id", "parent_place_id", "name"})


@dataclass(frozen=True)
class Step:
    """One step of the way from the site to a record; `href` is as seen from index.html."""

    name: str
    href: str | None


@dataclass(frozen=True)
class Wood:
    """A piece of wood in a list: its page, its use and species, and the samples taken from it."""

    key: str
    href: str
    use: str
    species: str
    place: str
    place_href: str | None
    samples: Sequence[tuple[str, str, str]]


class ChainPages:
    """Writes the pages of one record."""

    def __init__(
        self,
        cells: Cells,
        writer: Writer,
        pictures: Pictures,
        plans: Plans,
        relocations: RelocationPages | None,
        conclusions: Conclusions,
    ) -> None:
        """`relocations` are the pages that lead back to holes, None in an edition without them."""
        self._cells = cells
        self._relocations = relocations
        self._record: Record = cells.record
        self._writer = writer
        self._pictures = pictures
        self._plans = plans
        self._sizes = self._record.by("size", "element_id")
        self._conclusions = conclusions
        self._drawn: set[str] = set()
        tables = self._record.package.tables
        self._felled = felled_pieces(tables)
        self._tree_of = same_trees(tables)
        self._wood_of_tree: dict[str, list[str]] = {}
        for element, tree in self._tree_of.items():
            self._wood_of_tree.setdefault(tree, []).append(element)

    def write(self, tell: Callable[[int, int], None]) -> None:
        """Write every page; `tell` hears how many of how many are done."""
        record = self._record
        of = len(record.places) + len(record.elements) + len(record.samples)
        done = 0
        # buildings first, so that their wood knows whether it is on a plan
        for keys, write in (
            (record.places, self._write_place),
            (record.elements, self._write_element),
            (record.samples, self._write_sample),
        ):
            for key in keys:
                write(key)
                done += 1
                if done % 200 == 0 or done == of:
                    tell(done, of)

    # -- places ----------------------------------------------------------------------------------

    def _write_place(self, key: str) -> None:
        record, row = self._record, self._record.places[key]
        is_outer = any(row is one for one in record.outer_places)
        plans = self._plans.of_building(key, _ROOT) if is_outer else []
        if plans:
            self._drawn |= {one["place_id"] for one in record.below(key)}
        inside = [
            {
                "name": record.place_name(one),
                "key": one["place_id"],
                "href": page_path("place", one["place_id"]),
                "count": len(record.wood_of.get(one["place_id"], ())),
            }
            for one in record.below(key)[1:]
        ]
        kind = record.label("place", "kind", row["kind"])
        self._write(
            "place",
            key,
            f"{kind or 'Place'}: {record.place_name(row)}" + (f" ({key})" if row["name"] else ""),
            steps_to_here=self._way(row["site_id"], record.chain(row["parent_place_id"])),
            rows=self._fields("place", key, _PLACE_SHOWN),
            plans=plans,
            no_plan=self._plans.trouble if is_outer and not plans else "",
            is_public=is_public(record.package),
            is_outer=is_outer,
            outer_page=_ROOT + page_path("place", record.chain(key)[-1]["place_id"]),
            story=self._conclusions.of_place(key),
            story_tables=self._conclusions.tables(),
            drawings=self._conclusions.drawings_of(key) if is_outer else [],
            inside=inside,
            wood=[
                self.listed(one)
                for place in record.below(key)
                for one in record.wood_of.get(place["place_id"], ())
                if one["element_id"]
            ],
            place=key,
            leads_back=self._leads_back,
        )

    def _leads_back(self, sample_id: str) -> str | None:
        """Where the page is that leads back to the hole of a sample, None without such pages."""
        return relocation_path(sample_id) if self._relocations else None

    def listed(self, row: Row) -> Wood:
        """A piece of wood as lists show it."""
        record, key = self._record, row["element_id"]
        samples = record.samples_of.get(key, ())
        place = record.places.get(row["place_id"])
        return Wood(
            key,
            page_path("element", key),
            record.label("element", "function", row["function"]),
            record.label("element", "species_field", row["species_field"]),
            record.place_name(place) if place else row["place_id"],
            page_path("place", row["place_id"]) if place else None,
            [
                (one["sample_id"], page_path("sample", one["sample_id"]), self.dates(one))
                for one in samples
                if one["sample_id"]
            ],
        )

    def dates(self, sample: Row) -> str:
        """The results of a sample that stand, in the laboratory's own notation."""
        record = self._record
        said = [
            row["notation"] or record.label("lab_result", "outcome", row["outcome"])
            for row in record.standing_results(sample["sample_id"])
        ]
        return "; ".join(one for one in said if one)

    # -- wood ------------------------------------------------------------------------------------

    def _write_element(self, key: str) -> None:
        record, row = self._record, self._record.elements[key]
        sizes = self._sizes.get(key, ())
        chain = record.chain(row["place_id"])
        plan = None
        if row["place_id"] in self._drawn:
            name = page_path("element", key).rpartition("/")[2].removesuffix(".html")
            plan = f"{page_path('place', chain[-1]['place_id'])}#plan.element.{name}"
        use = record.label("element", "function", row["function"])
        self._write(
            "element",
            key,
            f"Wood {key}" + (f": {use.lower()}" if use else ""),
            steps_to_here=self._way(row["site_id"], chain),
            rows=self._fields("element", key, _ELEMENT_SHOWN),
            sizes=[one for row in sizes if (one := size_in_words(row, record.model.measures))],
            samples=[
                {
                    "key": one["sample_id"],
                    "href": page_path("sample", one["sample_id"]),
                    "kind": kind_in_words(record.model, one),
                    "stamps": self._stamps(one["sample_id"]),
                    "dates": self.dates(one),
                }
                for one in record.samples_of.get(key, ())
                if one["sample_id"]
            ],
            plan=plan,
            felled=self._felled_in_words(key),
            same_tree=[
                (one, page_path("element", one))
                for one in self._wood_of_tree.get(self._tree_of.get(key, ""), ())
                if one != key
            ],
            story=self._conclusions.of_wood(key),
            felling_row=self._cells.table_row("felling", key),
            trust=self._plans.trust.get(("element", key), ""),
        )

    def _felled_in_words(self, key: str) -> str:
        """When the tree of a piece of wood was felled; '' where no sample of it is dated."""
        piece = self._felled.get(key)
        return together_in_words(piece.felling, piece.disagreement) if piece else ""

    def _stamps(self, sample_id: str) -> str:
        plugs = self._record.plugs_of.get(sample_id, ())
        return ", ".join(row["stamp"] for row in plugs if row["stamp"])

    # -- samples ---------------------------------------------------------------------------------

    def _write_sample(self, key: str) -> None:
        record, row = self._record, self._record.samples[key]
        element = record.elements.get(row["element_id"])
        chain = record.chain(element["place_id"]) if element else []
        steps = self._way((element or row)["site_id"] or row["site_id"], chain)
        if row["element_id"]:
            steps.append(
                Step(f"Wood {row['element_id']}", self._cells.address("element", row["element_id"]))
            )
        try:
            identifier = identifier_in(record.model.numbering, row["site_id"], key)
        except UnreadableValue:
            identifier = ""
        kind = kind_in_words(record.model, row)
        results = record.results_of.get(key, ())
        self._write(
            "sample",
            key,
            f"Sample {key}" + (f": {kind.lower()}" if kind else ""),
            steps_to_here=steps,
            identifier=identifier,
            check=check_letters(identifier) if identifier else "",
            dates=self.dates(row),
            meaning=[
                words
                for one in record.standing_results(key)
                if (words := dates_in_words(one, record.model))
            ],
            rows=self._fields("sample", key, _SAMPLE_SHOWN),
            element=self.listed(element) if element else None,
            plugs=self._parts("plug", "plug_id", record.plugs_of.get(key, ()), _PLUG_SHOWN),
            results=[
                part | {"words": dates_in_words(result, record.model)}
                for part, result in zip(
                    self._parts("lab_result", "result_id", results, _RESULT_SHOWN),
                    results,
                    strict=True,
                )
            ],
            standing=self._standing(key),
            events=self._events(key),
            trust=self._plans.trust.get(("sample", key), ""),
            leads_back=self._leads_back(key),
        )
        if self._relocations:
            self._relocations.write(key, [*steps, Step(f"Sample {key}", page_path("sample", key))])

    def _parts(
        self, table: str, key: str, rows: Sequence[Row], without: frozenset[str]
    ) -> list[dict[str, Any]]:
        """Rows that stand on the page of their sample, with an id where the key is no other's."""
        keys = [row[key] for row in rows]
        return [
            {
                "id": anchor(table, one) if one and one not in keys[:place] else None,
                "heading": one,
                "stamp": row["stamp"],
                "superseded": one in self._record.superseded,
                "fields": self._cells.fields(table, row, _ROOT, without=without),
            }
            for place, (one, row) in enumerate(zip(keys, rows, strict=True))
        ]

    def _standing(self, key: str) -> Markup:
        """Where the sample is now, in a sentence."""
        holding = self._record.holdings.get(key)
        if holding is None:
            return Markup("No custody events are recorded.")
        since = Markup(" since {}").format(shown(holding.since)) if holding.since else ""
        if holding.gone:
            return Markup("Recorded as {}{}.").format(shown(holding.gone), since)
        if holding.on_the_way_to:
            return Markup("On the way to {}{}.").format(self._party(holding.on_the_way_to), since)
        if holding.lender:
            due = Markup(", due back {}").format(shown(holding.due_on)) if holding.due_on else ""
            loan = Markup(" ({})").format(shown(holding.loan)) if holding.loan else ""
            lender, holder = self._party(holding.lender), self._party(holding.holder)
            return Markup("On loan to {} from {}{}{}{}.").format(holder, lender, since, due, loan)
        if holding.holder:
            where = holding.place_held
            kept = Markup(", {}").format(shown(where)) if where else ""
            return Markup("Held by {}{}{}.").format(self._party(holding.holder), kept, since)
        return Markup("Who holds it is not recorded.")

    def _party(self, party_id: str) -> Markup:
        return link(
            self._cells.address("party", party_id), shown(self._record.party(party_id)), _ROOT
        )

    def _events(self, key: str) -> list[dict[str, Any]]:
        record = self._record
        seen: set[str] = set()
        found = []
        for event in record.events_of.get(key, ()):
            name = anchor("custody", event.custody_id)
            found.append(
                {
                    "id": None if name in seen else name,
                    "when": event.happened_on,
                    "what": self._what(event),
                    "from": self._party(event.from_party_id) if event.from_party_id else "",
                    "to": self._party(event.to_party_id) if event.to_party_id else "",
                    "where": event.place_held,
                    "parcel": link(
                        self._cells.address("consignment", event.consignment_id),
                        shown(event.consignment_id),
                        _ROOT,
                    )
                    if event.consignment_id
                    else "",
                }
            )
            seen.add(name)
        return found

    def _what(self, event: Event) -> str:
        """What happened: 'On loan until 2026-06-30 (L2026.001)'."""
        label = self._record.label
        return "".join(
            (
                label("custody", "event", event.event),
                f" until {event.loan_due_on}" if event.loan_due_on else "",
                f", part of {event.parent_sample_id}" if event.parent_sample_id else "",
                f": {label('custody', 'request_decision', event.request_decision).lower()}"
                if event.request_decision
                else "",
                f" ({event.reference})" if event.reference else "",
            )
        )

    # -- all -------------------------------------------------------------------------------------

    def _way(self, site_id: str, chain: Sequence[Row]) -> list[Step]:
        """From the site to the place, the outer before the inner."""
        record = self._record
        steps = []
        if site_id:
            name = record.sites.get(site_id, {}).get("name") or site_id
            steps.append(Step(name, self._cells.table_row("site", site_id)))
        for row in reversed(chain):
            steps.append(Step(record.place_name(row), page_path("place", row["place_id"])))
        return steps

    def _fields(self, table: str, key: str, without: frozenset[str]) -> list[list[Any]]:
        """The filled fields of each row of that key: one list, if the record is sound."""
        rows = self._record.same_key(table, key)
        return [self._cells.fields(table, row, _ROOT, without=without) for row in rows]

    def _write(self, table: str, key: str, heading: str, **values: Any) -> None:
        self._writer.write(
            Page(page_path(table, key), f"{table}.html", heading),
            here=key,
            row=self._cells.table_row(table, key),
            attachments=self._pictures.about(table, key),
            cautions=self._record.model.cautions,
            **values,
        )

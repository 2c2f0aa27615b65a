"""Knows the columns of a store's old card index or register, and what becomes of them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from provenance._intake.drafting.columns import Column
from provenance._intake.drafting.words import form_words
from provenance._intake.drafting.yaml_words import listed, quoted
from provenance._intake.mapping.mapping_file import OPEN

_SITE, _PLACE, _OUTER = "site", "place_held", "outer_year"
_FOR_THE_STORE = ("accession", "old_number", "donor", "restriction")
"""What goes into tables of the store, and not into the record."""


@dataclass(frozen=True)
class CardIndex:
    """The columns that no field sheet has: what each says, in the order of the sheet."""

    said: tuple[tuple[str, Column], ...]

    def of(self, *kinds: str) -> list[Column]:
        """The columns that say one of these."""
        return [column for kind, column in self.said if kind in kinds]

    @property
    def columns(self) -> list[Column]:
        """All of them."""
        return [column for _, column in self.said]

    @property
    def for_the_store(self) -> list[Column]:
        """What goes into the store's own tables."""
        return self.of(*_FOR_THE_STORE)

    @property
    def site(self) -> Column | None:
        """The column of the sites."""
        return next(iter(self.of(_SITE)), None)

    @property
    def outer_year(self) -> Column | None:
        """The column of the years of the last rings."""
        return next(iter(self.of(_OUTER)), None)

    @property
    def place_held(self) -> str:
        """The source of the place in which a sample lies, '' where no column says it."""
        places = self.of(_PLACE)
        if len(places) == 1:
            return f"column: {quoted(places[0].name)}"
        if len({frozenset(one.cells) for one in places}) > 1:
            # a template says nothing where one of them is blank
            return f"all_of: {listed([one.name for one in places])}"
        return f"template: {quoted(', '.join(f'{one.name} {{{one.name}}}' for one in places))}"

    def answers(self, table: str, name: str, timber: str) -> str:
        """What stands for a field that every row needs, and that old cards do not say; ''.

        `timber` is the heading of the timbers, or of the samples where there is none.
        """
        if name == "site_id" and self.site:
            return f"{{column: {quoted(self.site.name)}}}"
        if name == "element_id":
            return f"{{column: {quoted(timber)}}}  # ? samples of one timber have the same here"
        return {
            ("element", "function"): "{constant: unknown}  # ? the cards do not say",
            ("sample", "kind"): "{constant: unknown}  # ? core, cross_section …",
            ("sample", "collected_on"): '{constant: "?"}  # when, as exactly as is known: 1985~',
            ("sample", "collected_by"): '{constant: "?"}  # the code given to party above',
        }.get((table, name), "")

    def before(self, number: Column) -> Iterator[str]:
        """The rows that others lean on: sites, and who collected the samples of this `number`."""
        if self.site:
            name = quoted(self.site.name)
            yield from _rows(
                "site", name, site_id=f"{{column: {name}}}", name=f"{{column: {name}}}"
            )
        yield from _rows(
            "party",
            quoted(number.name),
            party_id='{constant: "?"}  # a code for whoever collected and dated these, such as OLD',
            kind="{constant: person}  # ? one, or several together",
            name='{constant: "?"}  # a name, or: not known',
        )

    def behind(self, number: Column) -> Iterator[str]:
        """The rows that lean on samples, which have this `number`: dates, and where they lie."""
        sample = f"{{column: {quoted(number.name)}}}"
        result = f"{{template: {quoted(f'R-{{{number.name}}}')}}}  # ? made up of the other"
        if any(re.search(r"\s", text) for text in number.texts) or "{" in number.name:
            result = f"{{column: {quoted(OPEN)}}}  # a code without blanks for each date"
        if self.outer_year:
            name = quoted(self.outer_year.name)
            yield from _rows(
                "lab_result",
                name,
                result_id=result,
                sample_id=sample,
                laboratory_id='{constant: "?"}  # the code given to party above',
                outcome="{constant: dated}  # ? every year on a card is a date",
                outer_year=f"{{column: {name}}}",
                reported_on='{constant: "?"}  # when, as exactly as is known: 1990~',
            )
        if self.of(_PLACE):
            yield from _rows(
                "custody",
                quoted(number.name),
                event="{constant: stored}",
                sample_id=sample,
                place_held=f"{{{self.place_held}}}",
                happened_on='{constant: "?"}  # the day on which they were seen there: 2026-03-01',
            )


def card_index_of(columns: Sequence[Column]) -> CardIndex | None:
    """What a sheet has of a card index; None for a sheet that is none.

    One such heading may stand on any form, so that two different things must be said.
    """
    kinds = {word: kind for kind, words in form_words().card_index.items() for word in words}
    said = tuple((kinds[one.heading.plain], one) for one in columns if one.heading.plain in kinds)
    telling = {kind for kind, _ in said} - {_SITE, _OUTER}
    if len(telling) < 2 or any(sign in one.name for _, one in said for sign in "{}"):
        return None
    once = {_SITE, _OUTER}
    first = dict(reversed(said))
    return CardIndex(tuple((k, one) for k, one in said if k not in once or first[k] is one))


def _rows(table: str, when: str, **fields: str) -> Iterator[str]:
    yield f"      - table: {table}"
    yield f"        when: {when}"
    yield "        fields:"
    for name, source in fields.items():
        yield f"          {name}: {source}"

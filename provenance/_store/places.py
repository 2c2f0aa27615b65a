"""The places of a store as a tree: building, room, cabinet, drawer, box."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from functools import cached_property

from provenance._base.errors import UnusableInput
from provenance._base.visible import visible
from provenance._identity.place_code import END, place_code
from provenance._store.tables import Row, rows_bytes


class Places:
    """The rows of the table place, which `faults_in_places` found nothing wrong with."""

    def __init__(self, rows: Sequence[Row]) -> None:
        self.rows = {row["place_id"]: row for row in rows}

    @cached_property
    def below(self) -> dict[str, list[str]]:
        """Place → those right within it, in the order of the file; '' → the outermost."""
        found: dict[str, list[str]] = {}
        for place, row in self.rows.items():
            found.setdefault(row["within"] if row["within"] in self.rows else "", []).append(place)
        return found

    def within(self, place: str) -> Iterator[str]:
        """A place and all below it, each before those within it."""
        yield place
        for one in self.below.get(place, ()):
            yield from self.within(one)

    def depth(self, place: str) -> int:
        """How many places are around it."""
        return len(self._around(place)) - 1

    def path(self, place: str) -> str:
        """The codes of a place and of those around it, outermost first: 'MAIN / R2 / B7'."""
        return " / ".join(reversed(self._around(place)))

    def _around(self, place: str) -> list[str]:
        found = []
        while place in self.rows and place not in found:
            found.append(place)
            place = self.rows[place]["within"]
        return found

    def named(self, text: str) -> str:
        """The place that a person means by its code or name; raises UnusableInput."""
        wanted = " ".join(text.split()).casefold()
        for said in (
            [place for place in self.rows if place.casefold() == wanted],
            [place for place, row in self.rows.items() if row["name"].casefold() == wanted],
        ):
            if len(said) == 1:
                return said[0]
            if said:
                paths = ", ".join(map(self.path, said))
                raise UnusableInput(f"'{text}' may be {paths}; give the code of the place")
        raise UnusableInput(
            f"the store has no place '{text}'; 'treenail store places STORE' lists them all"
        )

    def chosen(self, below: str | None) -> list[str]:
        """A place that is named and all below it, or all places, in the order of the tree."""
        starts = [self.named(below)] if below else self.below.get("", [])
        return [place for start in starts for place in self.within(start)]

    @cached_property
    def by_code(self) -> dict[str, str]:
        """What a scanned label says → place."""
        return {place_code(place): place for place in self.rows}


def faults_in_places(rows: Sequence[Row]) -> Iterator[tuple[str, str, str, str]]:
    """(place, column, value, what is wrong and what to do) of the rows of the table place."""
    known = {row["place_id"]: row["within"] for row in rows}
    codes: dict[str, str] = {}
    for place, around in known.items():
        code = place_code(place)
        if not code or code == END:
            why = "no label can say this code; use letters and digits, and not END"
            yield place, "place_id", place, why
        elif (other := codes.setdefault(code, place)) != place:
            why = f"its label would read like that of '{other}'; choose another code"
            yield place, "place_id", place, why
        if around and around not in known:
            yield place, "within", around, "there is no such place; add it, or correct the code"
        seen = {place}
        while around in known:
            if around in seen:
                why = "these places lie within one another; correct one of them"
                yield place, "within", known[place], why
                break
            seen.add(around)
            around = known[around]


def places_text(places: Places, chosen: Sequence[str], shape: str) -> str:
    """Some places as a tree in lines ('text'), or their rows as 'csv' or 'json'."""
    rows = [{**places.rows[one], "path": places.path(one)} for one in chosen]
    if shape == "csv":
        return rows_bytes("place", rows).decode()
    if shape == "json":
        return json.dumps(rows, indent=1, ensure_ascii=False) + "\n"
    if not rows:
        return "no places yet; enter them with 'treenail store enter STORE place FILE.csv'\n"
    least = min(map(places.depth, chosen))
    lines = []
    for one in chosen:
        row = places.rows[one]
        about = ", ".join(filter(None, (row["kind"], row["name"])))
        lines.append(f"{'  ' * (places.depth(one) - least)}{one}  {about}")
    return "".join(f"{visible(line)}\n" for line in lines)

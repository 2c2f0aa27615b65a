"""Weighs how a recorded plug fits what a person sees around the worn one: place, dowel and wood."""

from __future__ import annotations

import difflib
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from provenance._identity.reading import read_wear
from provenance._model.measures import SI, Measures

RESERVED = "reserved"
"""The state of a number that was given out and of which no plug is recorded."""
_NEAREST = 3


class PlugRecord(NamedTuple):
    """One plug as the record has it, with what helps to tell it from others.

    `places` names its place and every larger one it lies in, codes and names, in lower case, one a
    line, and behind a blank line what kinds of place these are; `former` the numbers that its
    sample bore before, one a line; `source` is the package or bundle it was read from. `crew` is
    who was given the number, where no plug of it is recorded (status RESERVED). A tuple, because
    there may be very many and an index hands them over as they are.
    """

    source: str
    site_id: str
    sample_id: str
    plug_id: str
    stamp: str
    orientation_mark: str
    dowel_mm: float | None
    status: str
    element_id: str
    function: str
    species: str
    places: str
    where: str
    collected_on: str
    former: str = ""
    crew: str = ""

    @property
    def is_marked(self) -> bool:
        """Whether a mark shows which way up it is."""
        return self.orientation_mark not in ("", "none")


STORED = PlugRecord._fields[1:-1]
"""What an index keeps of a recorded plug."""


@dataclass(frozen=True)
class Seen:
    """What a person sees beside the stamp; None where nothing is known.

    `place` is a code, a name or a kind of place, `species` a code or a name of wood,
    `measures` how they measure.
    """

    place: str | None = None
    dowel_mm: float | None = None
    species: str | None = None
    upright: bool = False
    measures: Measures = SI


def state_weight(status: str) -> float:
    """How likely a plug is to be met that the record says is in this state."""
    states: Mapping[str, float] = read_wear().settings["states"]
    return states.get(status, states["other"])


def without_plug(crew: str) -> str:
    """What is said of a number that was given out and has no plug.

    >>> without_plug("north"), without_plug("crew 2")
    ('given to the north crew, no plug recorded', 'given to crew 2, no plug recorded')
    """
    said = crew if "crew" in crew.casefold() else f"the {crew} crew"
    return f"given to {said}, no plug recorded"


@dataclass(frozen=True)
class Around:
    """What is seen, as the searched records understand it.

    `seen` without a place or wood that they do not know; `place` is a line of the names, or of the
    kinds where `by_kind`; `species` are the codes that the wood may be; `genera` maps codes to
    genus; `notes` say what was understood otherwise than it was written.
    """

    seen: Seen
    place: str
    by_kind: bool
    species: tuple[str, ...]
    genera: Mapping[str, str]
    notes: tuple[str, ...]

    @property
    def stranger_fit(self) -> float:
        """How well all this fits a plug of which nothing is known."""
        given = (self.seen.place, self.seen.dowel_mm, self.seen.species)
        return float(_fits()["given"] ** sum(one is not None for one in given))

    def fit(self, plug: PlugRecord) -> float:
        """How well it fits a recorded plug."""
        fits, fit = _fits(), 1.0
        if self.seen.place is not None:
            fit *= fits["place"][self._lies_in(plug)]
        if self.seen.dowel_mm is not None:
            dowel = fits["dowel"]
            if plug.dowel_mm is None:
                fit *= dowel["unknown"]
            else:
                off = (plug.dowel_mm - self.seen.dowel_mm) / dowel["spread_mm"]
                fit *= max(math.exp(-off * off / 2), dowel["floor"])
        if self.seen.species is not None:
            fit *= fits["wood"][self._wood(plug)]
        return float(fit)

    def reasons(self, plug: PlugRecord) -> tuple[str, ...]:
        """What is recorded of the plug, beside what was seen."""
        reasons = []
        if self.seen.place is not None:
            place = self.seen.place
            words = {"inside": f"is in {place}", "outside": f"is not in {place}"}
            reasons.append(words.get(self._lies_in(plug), "no place"))
        if self.seen.dowel_mm is not None and plug.dowel_mm is None:
            reasons.append("no dowel size recorded")
        elif self.seen.dowel_mm is not None and plug.dowel_mm is not None:
            same = abs(plug.dowel_mm - self.seen.dowel_mm) < 2 * _fits()["dowel"]["spread_mm"]
            size = self.seen.measures.say(plug.dowel_mm, "mm", "bore", other=True)
            reasons.append(f"dowel {size}{'' if same else ', not as you measured'}")
        if self.seen.species is not None:
            reasons.append(
                f"wood recorded as {plug.species}" if plug.species else "no wood recorded"
            )
        return tuple(reasons)

    def _lies_in(self, plug: PlugRecord) -> str:
        if not plug.places:
            return "unknown"
        return "inside" if self.place in _lines(plug.places)[self.by_kind] else "outside"

    def _wood(self, plug: PlugRecord) -> str:
        if not plug.species:
            return "unknown"
        if plug.species in self.species:
            return "same"
        genus = self.genera.get(plug.species)
        known = {self.genera[code] for code in self.species if code in self.genera}
        return "genus" if genus is not None and genus in known else "other"


def understand(seen: Seen, plugs: Sequence[PlugRecord], genera: Mapping[str, str]) -> Around:
    """What is seen in the terms of these records; what they do not know is left out, and said."""
    notes: list[str] = []
    place, by_kind = "", False
    if seen.place is not None:
        place = seen.place.strip().lower()
        around = [_lines(one) for one in {plug.places for plug in plugs}]
        names = {name for one in around for name in one[0]}
        by_kind = place not in names
        if by_kind and not any(place in kinds for _, kinds in around):
            notes.append(_unknown_place(seen.place, names))
            seen = replace(seen, place=None)
    species: tuple[str, ...] = ()
    if seen.species is not None:
        species, note = _species(seen.species, {*genera, *(plug.species for plug in plugs)} - {""})
        notes += [note] if note else []
        seen = seen if species else replace(seen, species=None)
    return Around(seen, place, by_kind, species, genera, tuple(notes))


def _unknown_place(place: str, names: Collection[str]) -> str:
    typed = place.strip().lower()
    near = sorted(name for name in names if typed and typed in name)
    near += difflib.get_close_matches(typed, sorted(names), n=_NEAREST, cutoff=0)
    near = list(dict.fromkeys(near))[:_NEAREST]
    known = f"the nearest are {', '.join(near)}" if near else "no place is recorded here"
    return f"no record here has a place '{place}', so it is left out; {known}"


def _species(said: str, known: Collection[str]) -> tuple[tuple[str, ...], str]:
    """The codes that a wood may be, none where nobody knows it; and what is to be said of it."""
    code = said.strip().upper()
    if code in known:
        return (code,), ""
    from provenance._model.wood_names import shipped_species, species_meant

    if named := species_meant(said, shipped_species(), slips=False):
        return named, f"wood '{said}' is taken for {' or '.join(named)}"
    near = species_meant(said, shipped_species())
    hint = f"did you mean {' or '.join(near)}?" if near else "the code book lists the codes"
    return (
        (),
        f"no list of species and no record here has the wood {said}, so it is left out; {hint}",
    )


def _lines(places: str) -> tuple[list[str], list[str]]:
    """The names of places and their kinds."""
    names, _, kinds = places.partition("\n\n")
    return names.strip("\n").split("\n"), kinds.strip("\n").split("\n")


def _fits() -> Mapping[str, Any]:
    found: Mapping[str, Any] = read_wear().settings["fits"]
    return found

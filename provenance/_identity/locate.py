"""Finds the hole that a worn stamp belongs to: ranks every recorded plug by what can be read.

The probability of a plug is Bayes' rule over all plugs that were searched: how likely the reading
is for its stamp (identity/reading.py), times how well building, dowel and wood fit, times how
likely a plug in its recorded state is to be seen at all. One share is kept for a plug that is in no
record. Weights marked 'own estimate' are this project's; no one has counted such cases.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from provenance._identity.naming import SampleNames, key_of
from provenance._identity.payload import is_scan, one_line
from provenance._identity.reading import Reading, Wear, likelihoods, parse_reading, read_wear

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

UNRECORDED = 0.05
"""Share of plugs met in a building that the searched records do not hold (own estimate)."""

STATUS_WEIGHTS = {
    "in_place": 1.0,
    "in_place_worn": 1.0,
    "hidden": 0.2,
    "unknown": 0.5,
    "replaced": 0.05,
    "lost": 0.03,
    "not_plugged": 0.01,
}
"""How likely a plug of that recorded state is to be met (own estimate)."""

PLACE_WEIGHTS = {True: 1.0, False: 0.03, None: 0.3}
WOOD_WEIGHTS = {"same": 1.0, "genus": 0.7, "other": 0.15, None: 0.5}
DOWEL_SPREAD_MM = 0.6
DOWEL_FLOOR = 0.02
DOWEL_UNKNOWN = 0.3
"""How much place, wood and dowel count; people measure and remember wrongly (own estimate)."""


_SHOWN = (
    "stamp", "sample_id", "site_id", "plug_id", "element_id", "function", "species", "dowel_mm",
    "status", "where", "collected_on", "source",
)  # fmt: skip
"""Fields of PlugRecord that the frame of candidates has."""


class PlugRecord(NamedTuple):
    """One plug as the record has it, with what helps to tell it from others.

    `places` names its place and every larger one it lies in, codes and names, in lower case, one a
    line; `former` the numbers that its sample bore before, one a line; `source` is the package or
    bundle it was read from. A tuple, because there may be very many and an index hands them over as
    they are.
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


@dataclass(frozen=True)
class Seen:
    """What a person sees beside the stamp; None where nothing is known."""

    place: str | None = None
    dowel_mm: float | None = None
    species: str | None = None
    upright: bool = False


@dataclass(frozen=True)
class Candidate:
    """One plug that the reading may belong to, with its probability and the reasons.

    `copies` are further packages and bundles that say the very same of it.
    """

    probability: float
    plug: PlugRecord
    why: tuple[str, ...]
    copies: tuple[str, ...] = ()


@dataclass(frozen=True)
class Found:
    """The ranked answer.

    `searched` counts plugs, each once however many copies of its record there are; `unrecorded` is
    the probability that no searched record holds the plug; `verdicts` maps each bundle that was
    searched, by the path that is the `source` of its plugs, to the verdict over it on a line.
    """

    reading: Reading
    searched: int
    candidates: tuple[Candidate, ...]
    unrecorded: float
    verdicts: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The candidates as a pandas frame, the likeliest first.

        Columns: probability (0 to 1), then as the record has them stamp, sample_id, site_id,
        plug_id, element_id, function, species, dowel_mm, status, where and collected_on; `source`
        is the package or bundle, and `why` the reasons.
        """
        import pandas as pd

        rows = [
            {
                "probability": one.probability,
                **{name: getattr(one.plug, name) for name in _SHOWN},
                "why": "; ".join(one.why),
            }
            for one in self.candidates
        ]
        frame = pd.DataFrame(rows, columns=["probability", *_SHOWN, "why"])
        return frame.astype({"probability": "Float64", "dowel_mm": "Float64"})

    @property
    def none_fits(self) -> bool:
        """True when it is likelier than not that the plug is in none of the records."""
        return self.unrecorded > 0.5


def locate_plug(
    plugs: Sequence[PlugRecord],
    reading: str,
    seen: Seen | None = None,
    *,
    genera: Mapping[str, str] | None = None,
    limit: int = 10,
) -> Found:
    """Rank the plugs by what can be read on one; `reading` as identity/reading.py explains.

    `reading` may also be what a label says (HOLL-231-H, 231-H) or its scanned code: then only the
    plugs of that sample are candidates, and nothing is guessed.

    A plug of which several sources say the very same is one plug: a bundle, its zip and the package
    it was packed from do not make it likelier.

    `genera` maps species codes to genus, so that a pine of another species still half fits.
    `limit` is how many candidates are returned. Raises UnreadableValue for a faulty reading, and
    for a label whose check character does not fit or whose sample has no plug here.
    """
    import numpy as np

    named = _named_by_label(plugs, reading)
    if named is not None:
        return _plugs_of(named, plugs, reading, limit)
    parsed = parse_reading(reading)
    seen = seen or Seen()
    wear = read_wear()
    plugs, copies = _without_copies(plugs)
    struck = sorted({(plug.stamp, plug.orientation_mark not in ("", "none")) for plug in plugs})
    chance = dict(zip(struck, _read_chance(struck, parsed, wear, seen.upright), strict=True))

    states = np.array([STATUS_WEIGHTS.get(plug.status, 0.5) for plug in plugs])
    fits = np.array([_context_fit(plug, seen, genera or {}) for plug in plugs])
    reads = np.array([chance[(p.stamp, p.orientation_mark not in ("", "none"))] for p in plugs])
    weights = (1 - UNRECORDED) * states / (states.sum() or 1.0) * fits * reads
    stranger = UNRECORDED * _stranger_chance(parsed, wear, seen) * _stranger_fit(seen)
    total = float(weights.sum()) + stranger
    if total <= 0:
        return Found(parsed, len(plugs), (), 1.0)
    order = np.lexsort((np.arange(len(plugs)), -weights))[:limit]
    candidates = tuple(
        Candidate(
            float(weights[i]) / total,
            plugs[i],
            _reasons(plugs[i], parsed, wear, seen),
            tuple(copies.get(plugs[i][1:], ())),
        )
        for i in order
        if weights[i] > 0
    )
    return Found(parsed, len(plugs), candidates, stranger / total)


def _named_by_label(plugs: Sequence[PlugRecord], text: str) -> frozenset[tuple[str, str]] | None:
    """The samples that a label's text or code names; None where the text is the reading of a stamp.

    A reading has no hyphen, and blanks in it part characters; so a text is a label's when it has
    one, begins with the code of a site, or is no stamp and ends in a fitting check character.
    """
    joined = "".join(text.split()).upper()
    hyphen = "-" in key_of(joined)
    if not (hyphen or is_scan(text) or joined[:1].isalpha() or joined[-1:].isalpha()):
        # names are gathered only for what may be one: there may be very many plugs
        return None
    names = SampleNames(
        ((plug.site_id, plug.sample_id) for plug in plugs),
        former={(p.site_id, p.sample_id): p.former.split() for p in plugs if p.former},
        strange="is no sample with a plug in these records",
    )
    of_label = hyphen or is_scan(text) or key_of(text).split("-")[0] in names.sites
    if not of_label and (joined in {plug.stamp for plug in plugs} or not joined[-1:].isalpha()):
        return None
    named = names.samples(text)
    if not named and of_label:
        raise names.refusal(text)
    return frozenset(named) or None


def _plugs_of(
    named: frozenset[tuple[str, str]], plugs: Sequence[PlugRecord], text: str, limit: int
) -> Found:
    """The plugs of samples that are known for certain, those still in the wood first."""
    own, copies = _without_copies([p for p in plugs if (p.site_id, p.sample_id) in named])
    weights = [STATUS_WEIGHTS.get(plug.status, 0.5) for plug in own]
    ranked = sorted(zip(weights, own, strict=True), key=lambda one: -one[0])[:limit]
    candidates = tuple(
        Candidate(
            weight / sum(weights),
            plug,
            ("as its label says", *_state(plug)),
            tuple(copies.get(plug[1:], ())),
        )
        for weight, plug in ranked
    )
    return Found(Reading(one_line(text), ()), len(own), candidates, 0.0)


def _without_copies(
    plugs: Sequence[PlugRecord],
) -> tuple[list[PlugRecord], dict[tuple[object, ...], list[str]]]:
    """Each plug once, and the further sources of those that have some, by all but the source."""
    first: dict[tuple[object, ...], PlugRecord] = {}
    copies: dict[tuple[object, ...], list[str]] = {}
    alone: list[PlugRecord] = []
    for plug in plugs:
        known = first.setdefault(plug[1:], plug)
        if known is plug or known.source == plug.source:
            # rows repeated inside one source are a fault of the record, not a copy
            alone.append(plug)
        else:
            copies.setdefault(plug[1:], []).append(plug.source)
    return alone, copies


def _read_chance(
    struck: Sequence[tuple[str, bool]], reading: Reading, wear: Wear, upright: bool
) -> np.ndarray:
    stamps = [stamp for stamp, _ in struck]
    marked = [mark for _, mark in struck]
    return likelihoods(stamps, reading, wear, marked=marked, upright=upright)


def _stranger_chance(reading: Reading, wear: Wear, seen: Seen) -> float:
    """How likely the reading is for a plug of some other site: any number up to 999."""
    others = [str(number) for number in range(1, 1000)]
    return float(likelihoods(others, reading, wear, upright=seen.upright).mean())


def _stranger_fit(seen: Seen) -> float:
    given = [seen.place is not None, seen.dowel_mm is not None, seen.species is not None]
    return float(DOWEL_UNKNOWN ** sum(given))


def _context_fit(plug: PlugRecord, seen: Seen, genera: Mapping[str, str]) -> float:
    fit = 1.0
    if seen.place is not None:
        fit *= PLACE_WEIGHTS[_lies_in(plug, seen.place)]
    if seen.dowel_mm is not None:
        if plug.dowel_mm is None:
            fit *= DOWEL_UNKNOWN
        else:
            off = (plug.dowel_mm - seen.dowel_mm) / DOWEL_SPREAD_MM
            fit *= max(math.exp(-off * off / 2), DOWEL_FLOOR)
    if seen.species is not None:
        fit *= WOOD_WEIGHTS[_wood_fit(plug, seen.species, genera)]
    return fit


def _lies_in(plug: PlugRecord, place: str) -> bool | None:
    if not plug.places:
        return None
    return place.strip().lower() in plug.places.split("\n")


def _wood_fit(plug: PlugRecord, species: str, genera: Mapping[str, str]) -> str | None:
    if not plug.species:
        return None
    if plug.species == species:
        return "same"
    genus = genera.get(species)
    return "genus" if genus is not None and genera.get(plug.species) == genus else "other"


def _reasons(plug: PlugRecord, reading: Reading, wear: Wear, seen: Seen) -> tuple[str, ...]:
    plain = float(likelihoods([plug.stamp], reading, wear, upright=True)[0])
    both = float(likelihoods([plug.stamp], reading, wear)[0])
    reasons = []
    if both > 0 and not seen.upright:
        share = 1 - min(1.0, plain / 2 / both)
        if share > 0.9:
            reasons.append("only if you saw it upside down")
        elif share > 0.1:
            reasons.append("whichever way up you saw it")
        else:
            reasons.append("seen the right way up")
    if seen.place is not None:
        lies = _lies_in(plug, seen.place)
        words = {True: f"is in {seen.place}", False: f"is not in {seen.place}", None: "no place"}
        reasons.append(words[lies])
    if seen.dowel_mm is not None:
        if plug.dowel_mm is None:
            reasons.append("no dowel size recorded")
        else:
            same = abs(plug.dowel_mm - seen.dowel_mm) < 2 * DOWEL_SPREAD_MM
            reasons.append(f"dowel {plug.dowel_mm:g} mm{'' if same else ', not as you measured'}")
    if seen.species is not None:
        reasons.append(f"wood recorded as {plug.species}" if plug.species else "no wood recorded")
    return (*reasons, *_state(plug))


def _state(plug: PlugRecord) -> tuple[str, ...]:
    """What is to be said of a plug that is not simply in its place, or was called otherwise."""
    called = tuple(f"its sample was called {old} before" for old in plug.former.split())
    if plug.status in ("in_place", "in_place_worn", ""):
        return called
    return (*called, f"recorded as {plug.status.replace('_', ' ')}")

"""Finds the hole that a worn stamp belongs to: ranks every recorded plug by what can be read.

The probability of a plug is Bayes' rule over all plugs that were searched: how likely the reading
is for its stamp (identity/reading.py), times how well building, dowel and wood fit, times how
likely a plug in its recorded state is to be seen at all. A number that was given out and has no
recorded plug counts as an unlikely plug. One share is kept for a plug that is in no record. All
weights are in schemas/stamp_wear.yaml; no one has counted such cases.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from provenance._base.errors import UnreadableValue
from provenance._identity.naming import SampleNames, folded_number, key_of
from provenance._identity.payload import is_scan, one_line
from provenance._identity.plug_fit import (
    RESERVED,
    Around,
    PlugRecord,
    Seen,
    state_weight,
    understand,
    without_plug,
)
from provenance._identity.reading import (
    Reading,
    likelihoods,
    parse_reading,
    read_wear,
    stranger_likelihood,
)

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

_SHOWN = (
    "stamp", "sample_id", "site_id", "plug_id", "element_id", "function", "species", "dowel_mm",
    "status", "where", "collected_on", "source",
)  # fmt: skip
"""Fields of PlugRecord that the frame of candidates has."""

_BY_USUAL_DIES = re.compile("[0-9A-Z]{0,8}")


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

    `searched` counts plugs, each once however many copies of its record there are, and `reserved`
    the numbers without a recorded plug; `unrecorded` is the probability that no searched record
    holds the plug; `exchanged` are stamps there that it would be with two digits exchanged; `notes`
    say how a place or wood was understood, or that it was not. `verdicts` maps each bundle that was
    searched, by the path that is the `source` of its plugs, to the verdict over it on a line.
    """

    reading: Reading
    searched: int
    candidates: tuple[Candidate, ...]
    unrecorded: float
    verdicts: Mapping[str, str] = field(default_factory=dict)
    reserved: int = 0
    exchanged: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

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

    A place or wood that no record and no list knows is left out, and said in the notes.

    `genera` maps species codes to genus, so that a pine of another species still half fits.
    `limit` is how many candidates are returned. Raises UnreadableValue for a faulty reading, and
    for a label whose check character does not fit or whose sample has no plug here.
    """
    import numpy as np

    named = _named_by_label(plugs, reading)
    if named is not None:
        return _plugs_of(named, plugs, reading, limit)
    wear = read_wear()
    plugs, copies = _without_copies(_without_used_numbers(plugs))
    around = understand(seen or Seen(), plugs, genera or {})
    upright = around.seen.upright
    as_written = _stamps_as_written(plugs, reading)
    parsed = _read(reading, as_written)
    of = {one: at for at, one in enumerate(sorted({(p.stamp, p.is_marked) for p in plugs}))}
    struck, marked = [stamp for stamp, _ in of], [mark for _, mark in of]
    each = likelihoods(struck, parsed, wear, marked=marked, upright=upright)
    each[0, [at for (stamp, _), at in of.items() if stamp in as_written]] = 1.0
    reads = each[:, [of[plug.stamp, plug.is_marked] for plug in plugs]]

    unrecorded = wear.settings["unrecorded"]
    states = np.array([state_weight(plug.status) for plug in plugs])
    fits = np.array([around.fit(plug) for plug in plugs])
    weights = (1 - unrecorded) * states / (states.sum() or 1.0) * fits * reads.sum(0)
    stranger = unrecorded * stranger_likelihood(parsed, wear, upright=upright) * around.stranger_fit
    total = float(weights.sum()) + stranger
    reserved = sum(plug.status == RESERVED for plug in plugs)
    slips = set(parsed.exchanged) & set(struck)
    order = np.lexsort((np.arange(len(plugs)), -weights))[:limit]
    candidates = tuple(
        Candidate(
            float(weights[i]) / total,
            plugs[i],
            _reasons(plugs[i], reads[:, i], around, plugs[i].stamp in parsed.exchanged),
            tuple(copies.get(plugs[i][1:], ())),
        )
        for i in order
        if weights[i] > 0
    )
    return Found(
        parsed,
        len(plugs) - reserved,
        candidates,
        # what is longer than any number that is struck leaves nothing to share
        stranger / total if total else 1.0,
        reserved=reserved,
        exchanged=tuple(one for one in parsed.exchanged if one in slips),
        notes=around.notes,
    )


def _read(text: str, as_written: Collection[str]) -> Reading:
    """The reading; none where the text is one only of stamps as found. Raises UnreadableValue."""
    try:
        return parse_reading(text)
    except UnreadableValue:
        if not as_written:
            raise
        return Reading(one_line(text), ())


def _stamps_as_written(plugs: Sequence[PlugRecord], text: str) -> frozenset[str]:
    """The stamps as found that a text is, or is but for blanks, case and `- . _ /`.

    How stamps wear is known only of those that the usual dies strike.
    """
    folded = folded_number(text)
    odd = {plug.stamp for plug in plugs if not _BY_USUAL_DIES.fullmatch(plug.stamp)}
    same = frozenset(one for one in odd if one == text.strip())
    return same or frozenset(one for one in odd if folded_number(one) == folded)


def _named_by_label(plugs: Sequence[PlugRecord], text: str) -> frozenset[tuple[str, str]] | None:
    """The samples that a label's text or code names; None where the text is the reading of a stamp.

    A text is a label's when it begins with the code of a site, is no stamp and ends in a fitting
    check character, or has a hyphen; but 2-07 and A-12 are readings where they can name nothing.
    """
    joined = "".join(text.split()).upper()
    hyphen = "-" in key_of(joined)
    if not (hyphen or is_scan(text) or joined[:1].isalpha() or joined[-1:].isalpha()):
        # names are gathered only for what may be one: there may be very many plugs
        return None
    names = SampleNames(
        ((plug.site_id, plug.sample_id) for plug in plugs),
        as_found=not all(_BY_USUAL_DIES.fullmatch(plug.sample_id) for plug in plugs),
        former={(p.site_id, p.sample_id): p.former.splitlines() for p in plugs if p.former},
        strange="is not a sample with a plug in these records",
    )
    of_label = hyphen or is_scan(text) or key_of(text).split("-")[0] in names.sites
    if not of_label and (joined in {plug.stamp for plug in plugs} or not joined[-1:].isalpha()):
        return None
    if hyphen and key_of(text).split("-")[0] not in names.sites and not names.nearly(text):
        bare = key_of(text).replace("-", "")
        if not any(sign.isalpha() for sign in bare) or bare in {plug.stamp for plug in plugs}:
            return None
    named = names.samples(text)
    if not named and of_label and not _stamps_as_written(plugs, text):
        raise names.refusal(text)
    return frozenset(named) or None


def _plugs_of(
    named: frozenset[tuple[str, str]], plugs: Sequence[PlugRecord], text: str, limit: int
) -> Found:
    """The plugs of samples that are known for certain, those still in the wood first."""
    own, copies = _without_copies([p for p in plugs if (p.site_id, p.sample_id) in named])
    weights = [state_weight(plug.status) for plug in own]
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


def _without_used_numbers(plugs: Sequence[PlugRecord]) -> list[PlugRecord]:
    """Without reserved numbers of which another record of the site, a newer one, has the plug."""
    used = {
        (plug.site_id, number)
        for plug in plugs
        if plug.status != RESERVED
        for number in (plug.stamp, plug.sample_id)
    }
    return [p for p in plugs if p.status != RESERVED or (p.site_id, p.stamp) not in used]


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


def _reasons(
    plug: PlugRecord, reads: np.ndarray, around: Around, exchanged: bool
) -> tuple[str, ...]:
    reasons = ["if two digits were swapped"] if exchanged else []
    plain, over = map(float, reads)
    if plain + over > 0 and not (exchanged or around.seen.upright):
        share = over / (plain + over)
        if share > 0.9:
            reasons.append("only if you saw it upside down")
        elif share > 0.1:
            reasons.append("whichever way up you saw it")
        else:
            reasons.append("seen the right way up")
    return (*reasons, *around.reasons(plug), *_state(plug))


def _state(plug: PlugRecord) -> tuple[str, ...]:
    """What is to be said of a plug that is not simply in its place, or was called otherwise."""
    called = tuple(f"its sample was called {old} before" for old in plug.former.splitlines())
    if plug.status == RESERVED:
        return (*called, without_plug(plug.crew))
    if plug.status in ("in_place", "in_place_worn", ""):
        return called
    return (*called, f"recorded as {plug.status.replace('_', ' ')}")

"""Gathers what a hole card says: where the hole is, what was taken, where sample and record lie."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from provenance._base.errors import TreenailError
from provenance._base.languages import _
from provenance._drawing.fitting import Pair
from provenance._ledger.holdings import Holding, holdings_of
from provenance._model.felling import felling_in_words
from provenance._model.schema import Model
from provenance._model.spoken import spoken
from provenance._printing.labels.facts import SampleFacts, gather_facts, joined, rows_by_key
from provenance._record.cells import float_of
from provenance._record.joined import split_codes
from provenance._record.measured import shown
from provenance._record.package import Package
from provenance._record.snapshot import Row, Snapshot
from provenance._record.trust import POSITION, brief_words, trust_of


@dataclass(frozen=True)
class HoleCard:
    """What one card says."""

    facts: SampleFacts
    title: str
    stamp: str
    orientation_mark: str
    stamp_note: str
    hours: float | None
    direction: str
    where: tuple[Pair, ...]
    taken: tuple[Pair, ...]
    now: tuple[Pair, ...]
    warning: str
    consent: str


def gather_cards(
    package: Package, selection: str | None = None, site: str | None = None
) -> list[HoleCard]:
    """The cards of the selected samples; of all that left a hole or cut when none is selected.

    Raises TreenailError as `gather_facts` does, or when nothing that was taken left a hole or cut.
    """
    tables = {
        name: rows_by_key(package, name)
        for name in ("site", "sample", "element", "place", "party", "plug")
    }
    held = holdings_of(package.tables)
    plugs = _standing_plugs(tables["plug"])
    results = _standing_results(package)
    doubts = _doubts(package)
    damaged = f" {package.verdict}." if package.verdict.startswith("DAMAGED") else ""
    cards = []
    for facts in gather_facts(package, selection, site, failed_too=True):
        sample = tables["sample"][facts.sample_id]
        plug = plugs.get(facts.sample_id, {})
        if selection is None and not plug and not _leaves_trace(package.model, sample["kind"]):
            continue
        element = tables["element"].get(sample["element_id"], {})
        holding = held.get(facts.sample_id, Holding(facts.sample_id))
        cards.append(
            HoleCard(
                facts=facts,
                title=_("Cut in the wood")
                if _cuts(package.model, sample["kind"])
                else _("Hole in the wood"),
                stamp=plug.get("stamp", ""),
                orientation_mark=plug.get("orientation_mark", "none"),
                stamp_note=_stamp_note(package.tables, plug),
                hours=float_of(sample["clock"]),
                direction=sample["direction"],
                where=(
                    *_where(package.tables, facts, sample, element),
                    *doubts.get(facts.sample_id, ()),
                ),
                taken=_taken(package.tables, facts, sample, plug, tables["party"]),
                now=_now(package, holding, tables, facts, results.get(facts.sample_id, {})),
                warning=_warning(package.model, element, tables, facts) + damaged,
                consent=spoken(package.model).consent,
            )
        )
    if not cards:
        raise TreenailError(
            "there is nothing to print: no sample here left a hole or a cut; name some with "
            "--samples to print their cards all the same"
        )
    return cards


def _doubts(package: Package) -> dict[str, tuple[Pair]]:
    """Of the holes that were taped themselves those whose place is in doubt, and why.

    A card tells where a hole is on its wood; doubts about where the wood is are on other papers.
    """
    known = package.model.tables.get(POSITION)
    if known is None or not {"verdict", "found_by"} <= set(known.names):
        return {}
    holes = package.tables[POSITION].filter(
        (pl.col("point_kind") == "hole") & (pl.col("found_by") == "adjusted")
    )
    return {
        row["sample_id"]: (("in doubt", brief_words(trust, package.model.measures)),)
        for row in holes.iter_rows(named=True)
        if (trust := trust_of(row)).is_doubted
    }


def _attribute(model: Model, kind: str, name: str) -> bool:
    term = model.vocabularies["sample_kind"].term(kind)
    return bool(term and term.attributes.get(name))


def _cuts(model: Model, kind: str) -> bool:
    return _attribute(model, kind, "cuts_wood")


def _leaves_trace(model: Model, kind: str) -> bool:
    return _attribute(model, kind, "leaves_hole") or _cuts(model, kind)


def _standing_plugs(plugs: Mapping[str, Row]) -> dict[str, Row]:
    """The plug now in each sample's hole: the one that no newer one replaced."""
    standing: dict[str, Row] = {}
    for plug in plugs.values():
        if not plug["replaced_by_plug_id"] or plug["sample_id"] not in standing:
            standing[plug["sample_id"]] = plug
    return standing


def _standing_results(package: Package) -> dict[str, Row]:
    """The last result of each sample that no later one supersedes."""
    results = rows_by_key(package, "lab_result")
    superseded = {row["supersedes_result_id"] for row in results.values()}
    return {row["sample_id"]: row for key, row in results.items() if key not in superseded}


def _stamp_note(tables: Snapshot, plug: Row) -> str:
    if not plug:
        return _("no plug is recorded")
    statuses = spoken(tables.model).vocabularies["plug_status"]
    status = statuses.label(plug["status"]) if plug["status"] else ""
    size = shown(tables, "plug", "dowel_mm", plug["dowel_mm"], other=True)
    dowel = _("dowel {size}").format(size=size) if size else ""
    return joined(", ", dowel, status.lower())


def _clock_words(clock: str) -> str:
    """'4:30 on the clock face' for 4.5; what is no number stays as it is written."""
    hours = float_of(clock)
    if hours is None:
        return clock
    minutes = round(hours * 60)
    return _("{time} on the clock face").format(time=f"{minutes // 60 or 12}:{minutes % 60:02}")


def _inclination_words(inclination: str) -> str:
    """Whether the drill rose or fell as it went in."""
    degrees = float_of(inclination)
    if degrees is None:
        return inclination
    if degrees == 0:
        return _("level")
    way = _("{degrees}° upwards") if degrees > 0 else _("{degrees}° downwards")
    return way.format(degrees=f"{abs(degrees):g}")


def _where(tables: Snapshot, facts: SampleFacts, sample: Row, element: Row) -> tuple[Pair, ...]:
    directions = spoken(tables.model).vocabularies["drill_direction"]
    direction = directions.label(sample["direction"]).lower() if sample["direction"] else ""
    inclination = _inclination_words(sample["inclination_deg"])
    height = shown(tables, "sample", "height_m", sample["height_m"], other=True)
    drilled = joined(", ", _clock_words(sample["clock"]), direction, inclination)
    return (
        (_("place"), facts.place),
        (_("wood"), joined(", ", facts.wood_words, element.get("position_note", ""))),
        (_("from end A"), shown(tables, "sample", "along_m", sample["along_m"], other=True)),
        (_("drilled at"), drilled),
        (_("height"), _("{height} above the floor").format(height=height) if height else ""),
    )


def _taken(
    tables: Snapshot, facts: SampleFacts, sample: Row, plug: Row, parties: Mapping[str, Row]
) -> tuple[Pair, ...]:
    # there is room for one size in both systems: that which the next dowel has to fit
    length, bore, depth = (
        shown(tables, "sample", name, sample[name], other=name == "bore_mm")
        for name in ("length_mm", "bore_mm", "depth_mm")
    )
    size = joined(
        ", ",
        facts.kind.lower(),
        _("{length} long").format(length=length) if length else "",
        _("bore {size}").format(size=bore) if bore else "",
        _("hole {depth} deep").format(depth=depth) if depth else "",
    )
    collector = parties.get(facts.collected_by, {}).get("name", facts.collected_by)
    by = joined(", ", facts.collected_on, collector)
    set_on = plug.get("placed_on", "")
    return (
        (_("taken"), size),
        (_("on, by"), by),
        *(((_("plug in on"), set_on),) if set_on else ()),
    )


def _now(
    package: Package,
    holding: Holding,
    tables: Mapping[str, Mapping[str, Row]],
    facts: SampleFacts,
    result: Row,
) -> tuple[Pair, ...]:
    parties = tables["party"]

    def named(party_id: str) -> str:
        return parties.get(party_id, {}).get("name", party_id)

    if holding.gone:
        where = _("{state} since {date}").format(state=_(holding.gone), date=holding.since)
    elif holding.on_the_way_to:
        where = _("on the way to {name} since {date}").format(
            name=named(holding.on_the_way_to), date=holding.since
        )
    else:
        where = joined(", ", named(holding.holder), holding.place_held)
        if holding.lender:
            lent = _("on loan from {name} until {date}")
            where += ", " + lent.format(
                name=named(holding.lender), date=holding.due_on or _("not recorded")
            )
        since = _("since {date}").format(date=holding.since)
        where += f" ({since})" if where and holding.since else ""
    repository = tables["site"].get(facts.site_id, {}).get("repository_id", "")
    record = joined(", ", package.title, named(repository))
    outcome = result.get("outcome", "")
    words = (
        spoken(package.model).vocabularies["result_outcome"].label(outcome).lower()
        if outcome
        else ""
    )
    date = joined(" ", words, result.get("notation", ""))
    if date and result.get("laboratory_id"):
        date += f" ({named(result['laboratory_id'])})"
    date = joined(", ", date, felling_in_words(result, spoken(package.model)))
    return ((_("sample now"), where), (_("record"), record), (_("result"), date))


def _warning(
    model: Model, element: Row, tables: Mapping[str, Mapping[str, Row]], facts: SampleFacts
) -> str:
    """What is known of this very wood and place, before the general cautions."""
    said = []
    if element.get("load_bearing") == "yes":
        said.append(_("This timber is load-bearing."))
    hazards = spoken(model).vocabularies["hazard"]
    rows = (
        tables["site"].get(facts.site_id, {}),
        tables["place"].get(element.get("place_id", ""), {}),
    )
    codes = [code for row in rows for code in split_codes(row.get("hazards"))]
    told = {"none", "load_bearing"} if said else {"none"}
    seen = [hazards.label(code).lower() for code in dict.fromkeys(codes) if code not in told]
    if seen:
        said.append(_("Seen here: {hazards}.").format(hazards=", ".join(seen)))
    return " ".join(said)

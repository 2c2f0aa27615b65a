"""From a worn stamp to its hole: in a record, a bundle, or all that lies in the folder."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.errors import UnreadableValue
from provenance._base.languages import N_, _
from provenance._catalogue.plugs import gather_plugs, read_genera, seen_around
from provenance._desk.answers import Answer, Page
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.prepared import prepared, stamp_of
from provenance._desk.research.opened import key_of, opened
from provenance._desk.things import BUNDLE, RECORD, things_in
from provenance._identity.locate import locate_plug
from provenance._identity.plug_fit import RESERVED, PlugRecord

if TYPE_CHECKING:
    from provenance._base.progress import Progress

pages = Pages()

MOST = 10
MOST_PLACES = 300
"""Candidates shown, and places in the list to choose from."""


@dataclass(frozen=True)
class Plugs:
    """What is searched; `unreadable` says why a source is not."""

    plugs: list[PlugRecord]
    unreadable: dict[str, str] = field(default_factory=dict)
    verdicts: dict[str, str] = field(default_factory=dict)


@pages.shown("/find")
def in_folder(asked: Asked) -> Answer:
    """Over all records and bundles of the folder; damaged ones are named and left out."""
    folder = asked.desk.folder
    things = [one for one in things_in(folder) if one.kind in (RECORD, BUNDLE)]
    for one in things:
        if one.kind == RECORD:
            asked.desk.open_record(one.path).write()
    key = ("plugs", *((one.path, stamp_of(one.path)) for one in things))
    return _page(asked, _plugs(asked, folder, key))


@pages.shown("/record/{record}/find", title=N_("Plug finder"), group=N_("Results"))
def in_record(asked: Asked) -> Answer:
    """In one record."""
    return _page(asked, Plugs(gather_plugs(asked.record.folder)))


@pages.shown("/bundle/{bundle}/find", title=N_("Plug finder"), group=N_("Bundle"))
def in_bundle(asked: Asked) -> Answer:
    """In one bundle, of which the verdict is known."""
    verdict = opened(asked).verdict
    damaged = verdict.word == "damaged"
    key = key_of(asked, "plugs")
    return _page(asked, _plugs(asked, asked.bundle, key, even_if_damaged=damaged))


def _plugs(asked: Asked, place: Path, key: Hashable, *, even_if_damaged: bool = False) -> Plugs:
    def reading(progress: Progress) -> Plugs:
        unreadable: dict[str, str] = {}
        verdicts: dict[str, str] = {}
        plugs = gather_plugs(
            place,
            unreadable=unreadable,
            verdicts=verdicts,
            even_if_damaged=even_if_damaged,
            progress=progress,
        )
        return Plugs(plugs, unreadable, verdicts)

    return prepared(asked, _("Reading the plugs"), key, reading)


def _page(asked: Asked, searched: Plugs) -> Answer:
    typed = {name: asked.queried(name) for name in ("reading", "room", "dowel", "wood")}
    upright = "upright" in asked.query
    found, problem = None, ""
    if typed["reading"]:
        try:
            seen = seen_around(typed["room"], typed["dowel"], typed["wood"], upright=upright)
            found = locate_plug(
                searched.plugs, typed["reading"], seen, genera=read_genera(), limit=MOST
            )
        except UnreadableValue as error:
            problem = str(error)  # told beside what was typed, which stays there
    lies = {str(one.path): f"/{one.kind}/{one.name}" for one in things_in(asked.desk.folder)}
    places = {line for one in searched.plugs for line in one.places.split("\n\n")[0].splitlines()}
    return Page(
        "research/find.html",
        {
            "typed": typed,
            "upright": upright,
            "found": found,
            "problem": problem,
            "searched": searched,
            "lies": lies,
            "places": sorted(places)[:MOST_PLACES],
            "reserved": RESERVED,
            "several": len({one.source for one in searched.plugs}) > 1,
        },
    )

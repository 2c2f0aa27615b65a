"""Takes bundles into the store: verdict, comparison with what is held, terms, number, receipt."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from provenance._accession.accession import ContradictsKept, OnlyChecked, accession
from provenance._accession.bulk import COLUMNS, Line, faults_of
from provenance._accession.damage import DamagedBundle
from provenance._accession.of_others import accession_of_bag, judged_bag
from provenance._accession.receipt import against_kept
from provenance._accession.taking_in import AlreadyAccessioned
from provenance._base.disk import write_text
from provenance._base.errors import TreenailError, UnusableInput
from provenance._base.languages import N_, _
from provenance._base.progress import Progress
from provenance._compare.compare import compare
from provenance._compare.report import difference_text
from provenance._desk.answers import Answer, Done, Page, Work
from provenance._desk.asked import Asked
from provenance._desk.inputs import DATE, LONG_TEXT, Input
from provenance._desk.pages import Pages
from provenance._desk.store.common import (
    MOST_ROWS,
    bundles_here,
    inside,
    kept_path,
    keys_of_store,
    new_path,
    opened,
    plain_input,
)
from provenance._desk.things import BUNDLE
from provenance._drawing.paper import PAPERS, paper_named
from provenance._gate.documents import read_json
from provenance._history.history import moment_text
from provenance._store.current import OLDER
from provenance._store.door import BRANCH, FIRST, NOT_KNOWN, PUBLIC_EDITION, SUCCESSOR
from provenance._store.tables import store_table

pages = Pages()
_TITLES: Mapping[str, tuple[str, str]] = {
    "depositor": (N_("Handed in by"), N_("Who and when")),
    "on": (N_("Day of the accession"), N_("Who and when")),
    "number": (N_("Number"), N_("Who and when")),
    "reason": (N_("Reason"), N_("Who and when")),
    "as": (N_("It comes as"), N_("On what terms")),
    "title_holder": (N_("Owner"), N_("On what terms")),
    "donor": (N_("Donor"), N_("On what terms")),
    "agreement": (N_("Agreement"), N_("On what terms")),
    "from": (N_("From"), N_("On what terms")),
    "until": (N_("Until"), N_("On what terms")),
    "previous_number": (N_("Previous numbers"), N_("On what terms")),
    "restriction": (N_("Restrictions"), N_("On what terms")),
    "embargo_until": (N_("Embargo until"), N_("On what terms")),
    "samples": (N_("Which samples"), N_("Samples")),
    "place": (N_("Where they are"), N_("Samples")),
}
"""Column of a list of bundles → what a form calls it, and under which heading."""
_DAYS = ("on", "from", "until", "embargo_until")
_AGAIN = "drop it again"
_STATE, _COMPARED = "received.json", "comparison.txt"
_STANDS: Mapping[str, str] = {
    FIRST: N_("It is the first bundle of its record here."),
    SUCCESSOR: N_("It goes on from what is held of its record."),
    OLDER: N_("It is older than what is held of its record."),
    BRANCH: N_("It goes on from an older bundle of its record, beside the one that is current."),
    NOT_KNOWN: N_("It goes on from a bundle that was never taken in here."),
    PUBLIC_EDITION: N_("It is a public edition; its seals are withheld, so nothing is compared."),
}
"""What the door says of a bundle that is let in, in a sentence."""
_NOTHING: dict[str, Any] = {
    "outcome": "",
    "verdict": "",
    "compared": "",
    "told": [],
    "came": [],
    "to_mend": [],
    "letter": "",
    "number": "",
    "follows": [],
    "can_insist": False,
}
"""What a page says of a bundle of which nothing is known."""


def _inputs() -> list[Input]:
    kinds = store_table("acquisition").codes["kind"]
    return [
        plain_input(
            name,
            _(title),
            COLUMNS[name][:1].upper() + COLUMNS[name][1:] + ".",
            section=_(section),
            options=kinds if name == "as" else (),
            required=name in ("depositor", "on"),
            kind=DATE if name in _DAYS else LONG_TEXT if name == "restriction" else "",
            points_at="place" if name == "place" else "",
        )
        for name, (title, section) in _TITLES.items()
    ]


@pages.shown("/store/{store}/receive", title=N_("Take in a bundle"), group=N_("Store"))
def receive(asked: Asked) -> Answer:
    """Where a bundle is dropped."""
    return Page("store/receive.html", {"bundles": bundles_here(asked)})


@pages.done("/store/{store}/receive")
def received(asked: Asked) -> Answer:
    """Verify a bundle that was dropped or chosen, and compare it with what is held."""
    dropped = asked.files.get("bundle", ())
    if len(dropped) > 1:
        raise UnusableInput(_("Take in one bundle after another; drop one."))
    if dropped:
        bundle = dropped[0]
    elif name := asked.text("here"):
        bundle = asked.desk.path(name, BUNDLE)
    else:
        raise UnusableInput(_("Drop a bundle, or choose one that is in the folder."))
    cells = dict.fromkeys(COLUMNS, "") | {
        "bundle": bundle.name,
        "depositor": asked.needed("depositor", _("Handed in by")),
        "on": date.today().isoformat(),
        "bag_only": asked.text("bag_only"),
    }
    path, token = new_path(asked, _STATE)
    return _judging(asked, path, token, {"bundle": str(bundle), "cells": cells})


@pages.shown("/store/{store}/received/{token}")
def verdict(asked: Asked) -> Answer:
    """The verdict over a bundle, the comparison, and the form to take it in."""
    state = _state(asked)
    return Page(
        "store/received.html",
        state
        | {
            "inputs": _inputs(),
            "lists": keys_of_store(opened(asked)),
            "papers": [one.name for one in PAPERS],
            "token": asked.address["token"],
        },
    )


@pages.done("/store/{store}/received/{token}/check")
def check(asked: Asked) -> Answer:
    """Check again with what was filled in; nothing is written."""
    state = _filled(asked)
    return _judging(asked, kept_path(asked, _STATE), asked.address["token"], state)


@pages.done("/store/{store}/received/{token}/accession")
def take_in(asked: Asked) -> Answer:
    """Accession the bundle: number, register, receipt."""
    state = _filled(asked)
    line, store = _line(state), asked.store
    said: dict[str, Any] = _said(line) | {"paper": paper_named(asked.text("paper", "a4"))}
    path, token = kept_path(asked, _STATE), asked.address["token"]
    insists = asked.text("even_if_rewritten") == "yes"
    if insists and not line.cells["reason"]:
        raise UnusableInput(_("Say in 'Reason' why it is accepted although it was refused."))

    def taken_in(progress: Progress) -> Done:
        if line.is_bag_only:
            bag = accession_of_bag(line.bundle, store, progress=progress, **said)
            return Done(asked.at("records", bag.entry.number), bag.verdict.in_words)
        done = accession(
            line.bundle,
            store,
            samples=line.cells["samples"],
            place=line.cells["place"],
            even_if_rewritten=insists,
            progress=progress,
            **said,
        )
        sentences = [
            _("Accessioned as {number}.").format(number=done.entry.number),
            _("Every file is as it was packed; custody ledger: {said}.").format(
                said=against_kept(done.judged)
            ),
            *done.judged.said,
            *done.notes,
            *(f"{word}: {text}" for word, text in done.beside.in_words),
        ]
        if done.received:
            sentences.append(
                _("The ledger says now that {count} samples came to the repository.").format(
                    count=len(done.deposited)
                )
            )
        if done.to_mend:
            sentences.append(
                _("The record has {count} faults to correct; the receipt lists them.").format(
                    count=len(done.to_mend)
                )
            )
        return Done(asked.at("records", done.entry.number), "\n".join(sentences))

    def work(progress: Progress) -> Done:
        try:
            return taken_in(progress)
        except TreenailError as error:
            # back to the form, with what was filled in and the letter
            write_text(path, json.dumps(state | _told_of(error)))
            return Done(asked.at("received", token))

    return Work(_("Taking in {name}").format(name=line.bundle.name), work)


@pages.done("/store/{store}/received/{token}/compare")
def compared(asked: Asked) -> Answer:
    """What changed between a bundle that is kept and the one that came in."""
    store, bundle = opened(asked), Path(_state(asked)["bundle"])
    kept = inside(store, store.accession(asked.needed("number", _("Number"))).kept_at)
    return _comparing(asked, kept, bundle)


@pages.done("/store/{store}/compare")
def compared_kept(asked: Asked) -> Answer:
    """What changed between two accessions of a record."""
    store = opened(asked)
    old, new = (store.accession(asked.needed(one, _("Number"))) for one in ("old", "new"))
    return _comparing(asked, inside(store, old.kept_at), inside(store, new.kept_at))


@pages.shown("/store/{store}/comparison/{token}")
def comparison(asked: Asked) -> Answer:
    """A comparison in words."""
    text = kept_path(asked, _COMPARED).read_text(encoding="utf-8")
    return Page("store/comparison.html", {"text": text})


def _comparing(asked: Asked, old: Path, new: Path) -> Work:
    def work(progress: Progress) -> Done:
        found = compare(old, new, progress=progress)
        path, token = new_path(asked, _COMPARED)
        write_text(path, difference_text(found, most=MOST_ROWS))
        return Done(asked.at("comparison", token))

    return Work(_("Comparing"), work)


def _state(asked: Asked) -> dict[str, Any]:
    state: dict[str, Any] = read_json(kept_path(asked, _STATE), remedy=_AGAIN)
    return state


def _filled(asked: Asked) -> dict[str, Any]:
    """The state with what was filled in; raises UnusableInput for what cannot be used."""
    state = _state(asked)
    said = {name: " ".join(asked.text(name).split()) for name in _TITLES if name in asked.form}
    # of restrictions one stands on a line
    if "restriction" in asked.form:
        said["restriction"] = "; ".join(filter(None, asked.text("restriction").splitlines()))
    state = {"bundle": state["bundle"], "cells": state["cells"] | said}
    for column, why in faults_of(_line(state)):
        title = _(_TITLES[column][0]) if column in _TITLES else column
        raise UnusableInput(f"{title}, '{state['cells'][column]}': {why}")
    return state


def _line(state: Mapping[str, Any]) -> Line:
    return Line(1, Path(state["bundle"]), state["cells"])


def _said(line: Line) -> dict[str, Any]:
    cells = line.cells
    return {
        "depositor": cells["depositor"],
        "on": date.fromisoformat(cells["on"]),
        "recorded_on": moment_text(),
        "number": cells["number"],
        "reason": cells["reason"],
        "terms": line.terms,
    }


def _judging(asked: Asked, path: Path, token: str, state: dict[str, Any]) -> Work:
    line, store = _line(state), asked.store

    def work(progress: Progress) -> Done:
        write_text(path, json.dumps(state | _judged(line, store, progress)))
        return Done(asked.at("received", token))

    return Work(_("Verifying {name}").format(name=line.bundle.name), work)


def _judged(line: Line, store: Path, progress: Progress) -> dict[str, Any]:
    """What a page says of a bundle that is only checked."""
    try:
        if line.is_bag_only:
            found = judged_bag(line.bundle, reason=line.cells["reason"], progress=progress)
            return _NOTHING | {"outcome": "can be", "verdict": found.in_words}
        accession(
            line.bundle,
            store,
            samples=line.cells["samples"],
            place=line.cells["place"],
            paper=PAPERS[0],
            only_check=True,
            progress=progress,
            **_said(line),
        )
        raise AssertionError("a check alone never ends so")
    except TreenailError as error:
        return _told_of(error)


def _told_of(error: TreenailError) -> dict[str, Any]:
    """What a page says of a check, or of a bundle that was not taken in; letters and lists too."""
    match error:
        case OnlyChecked():
            return _NOTHING | {
                "outcome": "can be",
                "verdict": _("Every file is as it was packed. Custody ledger: {said}.").format(
                    said=against_kept(error.judged)
                ),
                "compared": _(_STANDS[error.judged.word]),
                "told": [*error.judged.said, *error.notes],
                "came": list(error.came),
                "to_mend": list(error.to_mend),
                "number": error.number,
                "follows": [act.number for act in error.judged.follows],
            }
        case ContradictsKept():
            return _NOTHING | {
                "outcome": "refused",
                "verdict": _("It is refused, and no number was given: {word}.").format(
                    word=error.judged.word
                ),
                "told": list(error.judged.said),
                "letter": error.letter,
                "can_insist": True,
            }
        case DamagedBundle():
            return _NOTHING | {
                "outcome": "refused",
                "verdict": _("It is damaged and refused, and no number was given."),
                "told": [f"{one.path} {one.message}".strip() for one in error.findings],
                "letter": error.letter,
            }
        case AlreadyAccessioned():
            there = {"outcome": "there", "verdict": str(error), "number": error.entry.number}
            return _NOTHING | there
    return _NOTHING | {"outcome": "refused", "verdict": str(error)}

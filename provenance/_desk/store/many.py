"""Takes in many bundles by a list: checked line by line first, then taken in."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

from provenance._accession.bulk import CAN_BE, COLUMNS, accession_list, read_list, report_rows
from provenance._base.disk import write_text
from provenance._base.errors import UnusableInput
from provenance._base.languages import _
from provenance._base.progress import Progress
from provenance._desk.answers import Answer, Done, Page, Sent, Work
from provenance._desk.asked import Asked
from provenance._desk.jobs import Stopped
from provenance._desk.pages import Pages
from provenance._desk.store.common import CSV, kept_path, new_path
from provenance._drawing.paper import PAPERS, paper_named
from provenance._gate.documents import read_json
from provenance._history.history import moment_text

pages = Pages()
_AGAIN = "drop it again"
_STATE = "list.json"


@pages.shown("/store/{store}/receive/many")
def many(asked: Asked) -> Answer:
    """Where a list is dropped, with its bundles."""
    return Page("store/many.html", {"columns": {name: _(what) for name, what in COLUMNS.items()}})


@pages.done("/store/{store}/receive/many")
def check(asked: Asked) -> Answer:
    """Say what would come of each line; nothing is written."""
    files = asked.files.get("files", ())
    lists = [one for one in files if one.suffix.lower() == ".csv"]
    if len(lists) != 1:
        raise UnusableInput(_("Drop one list (CSV) and the bundles that it names, all at once."))
    path, token = new_path(asked, _STATE)
    said = {"list": str(lists[0]), "depositor": asked.text("depositor")}
    return _working(asked, path, token, said, only_check=True)


@pages.shown("/store/{store}/receive/many/{token}")
def outcomes(asked: Asked) -> Answer:
    """What came of each line."""
    state = read_json(kept_path(asked, _STATE), remedy=_AGAIN)
    ready = sum(one["word"] == CAN_BE for one in state["outcomes"])
    papers = [one.name for one in PAPERS]
    return Page(
        "store/outcomes.html",
        {**state, "ready": ready, "papers": papers, "token": asked.address["token"]},
    )


@pages.done("/store/{store}/receive/many/{token}")
def take_in(asked: Asked) -> Answer:
    """Take in what can be taken in; a bundle that is refused stops no other."""
    path = kept_path(asked, _STATE)
    state = read_json(path, remedy=_AGAIN)
    return _working(asked, path, asked.address["token"], state, only_check=False)


def _working(
    asked: Asked, path: Path, token: str, state: dict[str, Any], *, only_check: bool
) -> Work:
    lines = read_list(Path(state["list"]), depositor=state["depositor"], on=date.today())
    store, paper = asked.store, paper_named(asked.text("paper", PAPERS[0].name))

    def work(progress: Progress) -> Done:
        done = []
        said = ""
        try:
            for one in accession_list(
                lines,
                store,
                recorded_on=moment_text(),
                paper=paper,
                only_check=only_check,
                progress=progress,
            ):
                done.append(one)
        except Stopped:
            said = _("Stopped. What was taken in before stays.")
        finally:
            # also of a run that is stopped
            told = [
                {
                    "line": one.line.line,
                    "bundle": one.line.cells["bundle"],
                    "word": one.word,
                    "number": one.number,
                    "said": one.said,
                    "letter": one.letter,
                }
                for one in done
            ]
            report = asked.desk.made(Sent(report_rows(done), "outcomes.csv", CSV))
            write_text(path, json.dumps({**state, "outcomes": told, "report": report}))
        return Done(asked.at("receive", "many", token), said)

    return Work(_("Checking the list") if only_check else _("Taking in the list"), work)

"""Takes stock by scanner or camera; each scan is on disk before it is answered."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _, ngettext
from provenance._base.locks import locked
from provenance._collection.scans import (
    CLOSED,
    FOLDER,
    PLACE,
    UNREAD,
    Scan,
    keep_scans,
    kept_scans,
    scans_path,
)
from provenance._collection.stocktake import WORDS
from provenance._collection.stocktake_sheet import print_stocktake
from provenance._collection.taking_stock import record_seen, take_stock
from provenance._desk.answers import Answer, Done, Page, Told, Work
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.store.common import MOST_ROWS, day_of, index_of, opened, shown_pdf
from provenance._desk.things import NotHere
from provenance._drawing.paper import paper_named
from provenance._identity.place_code import compose_place
from provenance._store.places import Places

pages = Pages()
LAST_SHOWN = 12
CAMERA = {"script-src": "'wasm-unsafe-eval'", "media-src": "blob:"}
"""What the library that reads codes from pictures needs beside what every page may load."""


@pages.shown("/store/{store}/stocktake", title=N_("Stocktake"), group=N_("Store"))
def stocktakes(asked: Asked) -> Answer:
    """The stocktakes that were begun, the newest first."""
    folder = asked.store / FOLDER
    found = sorted(folder.glob("*.csv"), key=lambda one: -one.stat().st_mtime)
    usual = f"{date.today():%Y-%m}"
    return Page("store/stocktakes.html", {"names": [one.stem for one in found], "usual": usual})


@pages.done("/store/{store}/stocktake")
def begin(asked: Asked) -> Answer:
    """Begin a stocktake, or go on with one of that name."""
    name = asked.needed("name", _("Name"))
    path = scans_path(asked.store, name)
    if not path.exists():
        _keep(asked.store, path, "")
    return Done(asked.at("stocktake", name))


@pages.shown("/store/{store}/stocktake/{name}")
def scanning(asked: Asked) -> Answer:
    """Where one scans; what was scanned last is there again."""
    path = _path(asked)
    scans = [Scan._make(one) for one in kept_scans(path)]
    open_place = ""
    for one in scans:
        if one.kind in (PLACE, CLOSED):
            open_place = one.place_code
    tree = Places(opened(asked).rows("place"))
    return Page(
        "store/scanning.html",
        {
            "name": path.stem,
            "count": len(scans),
            "last": [_told(one) for one in scans[: -LAST_SHOWN - 1 : -1]],
            "places": [(one, tree.path(one)) for one in tree.chosen(None)],
            "open_place": tree.path(tree.by_code.get(open_place, "")) or open_place,
        },
        allowed=CAMERA,
    )


@pages.done("/store/{store}/stocktake/{name}/scan")
def scan(asked: Asked) -> Answer:
    """Keep one scan, and answer what it says: a script asks with JSON, a form without one too."""
    path = _path(asked)
    by_script = isinstance(asked.value, dict)
    said = asked.value if by_script else {name: asked.text(name) for name in ("text", "place")}
    text = str(said.get("text", ""))
    if place := str(said.get("place", "")):
        text = compose_place(Places(opened(asked).rows("place")).named(place))
    if not text.strip():
        raise UnusableInput(_("This scan is blank. Scan it again."))
    found = [_told(one) for one in _keep(asked.store, path, text)]
    return Told(found) if by_script else Done(asked.at("stocktake", path.stem))


@pages.shown("/store/{store}/stocktake/{name}/report")
def report(asked: Asked) -> Answer:
    """What differs: missing, misplaced, unknown."""
    path = _path(asked)
    taken = take_stock(opened(asked), path, index_of(asked))
    return Page(
        "store/stocktake_report.html",
        {
            "name": path.stem,
            "taken": taken,
            "words": WORDS,
            "rest": taken.rest[:MOST_ROWS],
            "today": date.today().isoformat(),
        },
    )


@pages.shown("/store/{store}/stocktake/{name}/report.pdf")
def report_to_sign(asked: Asked) -> Answer:
    """The report to be signed."""
    path, store = _path(asked), opened(asked)
    taken = take_stock(store, path, index_of(asked))
    out = asked.desk.scratch() / f"stocktake-{path.stem}.pdf"
    looked = len(taken.closed)
    places = _("{n} places looked through").format(n=looked)
    about = f"{store.folder.name}; {date.today().isoformat()}; {places}"
    paper = paper_named(asked.query.get("paper", "a4"))
    print_stocktake(taken, _("Stocktake {name}").format(name=path.stem), about, paper, out)
    return shown_pdf(out)


@pages.done("/store/{store}/stocktake/{name}/record")
def record(asked: Asked) -> Answer:
    """Once a person has signed it: record in the ledgers what was seen where."""
    path, store, day = _path(asked), opened(asked), day_of(asked)
    if asked.text("signed") != "yes":
        raise UnusableInput(_("Print the report and sign it first; then check the box."))

    def work(_progress: Any) -> Done:
        taken = take_stock(store, path)
        count = record_seen(store, taken, name=path.stem, recorded_by=day["by"], **day)
        said = ngettext(
            "Recorded where {count} sample was seen.",
            "Recorded where {count} samples were seen.",
            count,
        ).format(count=count)
        return Done(asked.at("stocktake", path.stem, "report"), said)

    return Work(_("Recording the stocktake"), work)


def _path(asked: Asked) -> Path:
    path = scans_path(asked.store, asked.address["name"])
    if not path.exists():
        raise NotHere(_("There is no stocktake of this name. Begin it."))
    return path


def _keep(store: Path, path: Path, text: str) -> list[Scan]:
    """Two tabs at once: a scan of one is behind that of the other, never in it."""
    with locked(store):
        return list(keep_scans(path, [text], each=True))


def _told(one: Scan) -> dict[str, str]:
    """A scan as the page shows it: what it is, and what it says."""
    said = {
        PLACE: _("Place opened: {text}").format(text=one.place_code),
        CLOSED: _("Place closed"),
        UNREAD: _("Not read: {text}").format(text=one.text),
    }
    sample = "-".join(filter(None, (one.site_id, one.sample_id)))
    return {"kind": one.kind, "said": said.get(one.kind) or sample, "place": one.place_code}

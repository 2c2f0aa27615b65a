"""The finding aid of a bundle, written anew from its verified record; no page in it is served."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._bag.bag import payload_files
from provenance._base.languages import _
from provenance._base.visible import visible
from provenance._bundle.describe.editions import FULL, PUBLIC
from provenance._bundle.finding_aid.write import write_finding_aid
from provenance._bundle.in_place import known_as
from provenance._desk.answers import Answer, Sent
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.prepared import prepared
from provenance._desk.research.opened import Opened, key_of, opened
from provenance._desk.things import NotHere
from provenance._record.edition_key import is_public

if TYPE_CHECKING:
    from provenance._base.progress import Progress

pages = Pages()

MEDIA_TYPES = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".jpg": "image/jpeg",
}
"""Of what our own writer makes; the system's list differs from one machine to the next."""


@dataclass(frozen=True)
class Aid:
    """A finding aid in `folder`: the paths that our writer `made`, and the record's own `files`."""

    folder: Path
    made: frozenset[str]
    files: frozenset[str]


@pages.shown("/bundle/{bundle}/pages/{path:path}")
def page(asked: Asked) -> Answer:
    """A page that our own writer made, or a file of the record, which is kept and not opened."""
    bundle = opened(asked)
    aid = prepared(
        asked,
        _("Writing the finding aid of {name}").format(name=asked.bundle.name),
        key_of(asked, "aid"),
        lambda progress: _written(asked, bundle, progress),
    )
    path = asked.address["path"]
    if path in aid.made:
        media_type = MEDIA_TYPES[Path(path).suffix]
        is_page = media_type == "text/html"
        return Sent(aid.folder / path, Path(path).name, media_type, shown=True, as_page=is_page)
    if path in aid.files:
        return Sent(bundle.package.folder / path, Path(path).name)
    raise NotHere(_("The finding aid has no page {path}.").format(path=path))


def _written(asked: Asked, bundle: Opened, progress: Progress) -> Aid:
    package = bundle.package
    known = known_as(asked.bundle)
    edition = PUBLIC if is_public(package) or known.edition == PUBLIC.name else FULL
    verdict = bundle.verdict.in_words
    files = frozenset(one.removeprefix("data/") for one in payload_files(bundle.folder))
    folder = asked.desk.scratch()
    facts = [
        (_("Verdict"), verdict),
        (_("Newest entry"), known.record_date),
        (_("Kind of place"), package.model.title),
        (_("Record"), known.name),
    ]
    write_finding_aid(
        package,
        folder,
        edition=replace(edition, notice=f"{verdict[:1].upper()}{verdict[1:]}. {edition.notice}"),
        facts=[(name, visible(value)) for name, value in facts if value],
        links=[
            {"path": asked.at(), "link": _("back to the desk: verdict, plug finder, comparison")}
        ],
        files=files,
        shows_svg=False,
        progress=progress,
    )
    made = (one for one in folder.rglob("*") if one.is_file())
    return Aid(folder, frozenset(one.relative_to(folder).as_posix() for one in made), files)

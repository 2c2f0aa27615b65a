"""Photos dropped, shown as what they become, attached, and linked to what they show."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._base.progress import Progress
from provenance._desk.answers import Answer, Done, Page, Sent, Work
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.record.open_record import OpenRecord
from provenance._desk.things import NotHere
from provenance._history.deciding import correct
from provenance._intake.attachments import KEPT_IN, TABLE, copies_of
from provenance._intake.photos.attaching import PicturesAttached, attach_pictures
from provenance._intake.photos.drafting import OPEN, RESTRICTED
from provenance._intake.photos.picture import drawn_anew, is_picture
from provenance._intake.photos.subjects import Subject, Subjects
from provenance._record.package import Package

pages = Pages()
THUMBNAIL_PIXELS = 320
MOST = 200
"""Photos that are not linked shown at once."""
_BATCH = "/record/{record}/photos/{batch}"


@dataclass
class Batch:
    """Photos that were dropped and looked at, and not yet attached."""

    token: str
    record: str
    paths: Sequence[Path]
    under: str
    access: str
    found: PicturesAttached | None = None

    def path_in(self, path: Path) -> str:
        """Where a file would lie in the record."""
        return f"{self.under}/{path.name}"


@pages.shown("/record/{record}/photos", title=N_("Photos"), group=N_("In the field"))
def photos(asked: Asked) -> Answer:
    """A place to drop photos, those that wait, and those that are linked to nothing."""
    name = asked.address["record"]
    waiting = [
        one
        for one in asked.desk.held.values()
        if isinstance(one, Batch) and one.record == name and one.found is not None
    ]
    rows = [row for row in asked.record.tables.rows(TABLE) if not row["about_id"]]
    unlinked = [row for row in rows if is_picture(Path(row["path"]))]
    return Page(
        "bringing/photos.html",
        {"waiting": waiting, "unlinked": unlinked[:MOST], "count": len(unlinked)},
    )


@pages.done("/record/{record}/photos")
def dropped(asked: Asked) -> Answer:
    """Look at dropped photos; nothing is attached."""
    paths = asked.files.get("files", ())
    if not paths:
        raise UnusableInput(_("Choose the photos to bring in."))
    folder = asked.text("under").strip("/")
    batch = Batch(
        secrets.token_urlsafe(8),
        asked.address["record"],
        paths,
        f"{KEPT_IN}/{folder}" if folder else KEPT_IN,
        OPEN if asked.text("access") == OPEN else RESTRICTED,
    )
    copies_of(batch.paths, batch.under)  # a name that cannot be is told before the long look
    package, to = asked.record, asked.at("photos", batch.token)
    held = asked.desk.held

    def work(progress: Progress) -> Done:
        batch.found = _attached(package, batch, progress, trial=True)
        held[batch.token] = batch
        return Done(to)

    return Work(_("Looking at photos"), work)


@pages.shown(_BATCH)
def batch_shown(asked: Asked) -> Answer:
    """What each photo becomes, and what is asked."""
    batch = _batch(asked)
    found = batch.found
    assert found is not None
    drafted = {row["path"]: row for row in found.drafted}
    remarks: dict[str, list[str]] = {}
    for remark in found.remarks:
        remarks.setdefault(remark.path, []).append(remark.says)
    shown = [
        {
            "number": number,
            "name": path.name,
            "row": drafted.get(batch.path_in(path)),
            "told_by": found.told_by.get(batch.path_in(path), ""),
            "remarks": remarks.get(batch.path_in(path), []),
            "twice": found.duplicates.get(path, ""),
            "there": batch.path_in(path) in found.unchanged,
            "is_picture": is_picture(path),
        }
        for number, path in enumerate(batch.paths)
    ]
    return Page("bringing/photos_batch.html", {"batch": batch, "shown": shown})


@pages.shown(f"{_BATCH}/{{number}}")
def thumbnail(asked: Asked) -> Answer:
    """A dropped photo, drawn anew; of a file that came from elsewhere not a byte is shown."""
    batch, text = _batch(asked), asked.address["number"]
    if not (text.isascii() and text.isdecimal() and int(text) < len(batch.paths)):
        raise NotHere("there is no such photo")
    return _drawn(batch.paths[int(text)])


@pages.shown("/record/{record}/thumbnail/{file:path}")
def thumbnail_kept(asked: Asked) -> Answer:
    """A photo of the record, drawn anew."""
    package, number = asked.record, asked.address["file"]
    row = next((one for one in package.tables.rows(TABLE) if one["file_id"] == number), None)
    path = (package.folder / row["path"]).resolve() if row else package.folder
    if not path.is_file() or not path.is_relative_to(package.folder.resolve()):
        raise NotHere("there is no such photo")
    return _drawn(path)


@pages.done(f"{_BATCH}/attach")
def attach(asked: Asked) -> Answer:
    """Attach the photos as they were shown, linked to what was found or typed."""
    batch, package, record, who = _batch(asked), asked.record, asked.open_record, asked.by
    subjects = Subjects(package.tables)
    # all that was typed is read before anything is written
    links = {
        batch.path_in(path): subjects.named(text)
        for number, path in enumerate(batch.paths)
        if (text := asked.text(f"about|{number}"))
    }
    again, held = asked.at("photos"), asked.desk.held

    def work(progress: Progress) -> Done:
        found = _attached(package, batch, progress)
        for row in found.drafted:
            if row["path"] in links and not row["about_id"]:
                _link(record, row["file_id"], links[row["path"]], who)
        del held[batch.token]
        return Done(again, _("Attached: {count} files.").format(count=len(found.copied)))

    return Work(_("Attaching photos"), work)


@pages.done(f"{_BATCH}/away")
def put_away(asked: Asked) -> Answer:
    """Do not attach the photos."""
    del asked.desk.held[_batch(asked).token]
    return Done(asked.at("photos"))


@pages.done("/record/{record}/photos/link/{file:path}")
def link(asked: Asked) -> Answer:
    """Say what a photo of the record shows."""
    subject = Subjects(asked.record.tables).named(asked.needed("about", _("What it shows")))
    _link(asked.open_record, asked.address["file"], subject, asked.by)
    return Done(asked.at("photos"), _("Linked to {what}.").format(what=subject))


def _link(record: OpenRecord, file_id: str, subject: Subject, who: str) -> None:
    cells = {"about_table": subject.table, "about_id": subject.key}
    record.decide(correct(TABLE, file_id, cells), by=who, why="linked by hand")


def _attached(
    package: Package, batch: Batch, progress: Progress, *, trial: bool = False
) -> PicturesAttached:
    return attach_pictures(
        package,
        batch.paths,
        batch.under,
        access=batch.access,
        trial=trial,
        progress=progress,
    )


def _batch(asked: Asked) -> Batch:
    one = asked.desk.held.get(asked.address["batch"])
    if not isinstance(one, Batch) or one.record != asked.address["record"] or not one.found:
        raise NotHere(_("These photos do not wait any more. Bring them in again."))
    return one


def _drawn(path: Path) -> Sent:
    drawn = drawn_anew(path, THUMBNAIL_PIXELS) if is_picture(path) else b""
    if not drawn:
        raise NotHere("this file cannot be drawn")
    return Sent(drawn, f"{path.stem}.jpg", "image/jpeg", shown=True)

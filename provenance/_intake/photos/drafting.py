"""Drafts the row of the table 'file' that describes one picture."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import PurePosixPath

from provenance._intake.attachments import TABLE
from provenance._intake.photos.matching import Match
from provenance._intake.photos.names import NameReading
from provenance._intake.photos.picture import Look
from provenance._model.schema import Model

PHOTO, FORM = "photo", "form"
OPEN, RESTRICTED = "open", "restricted"


@dataclass(frozen=True)
class Seen:
    """All that is known of one picture: its path in the package, checksum, look, name and match."""

    path: str
    sha256: str
    look: Look
    name: NameReading
    match: Match


def draft_row(
    seen: Seen, file_id: str, model: Model, *, access: str, today: date, twin: str = ""
) -> tuple[dict[str, str], list[str]]:
    """The row as far as it can be known, and sentences about what is left to a person.

    `twin` is the number of a file that may be the same picture. Media type, size and checksum are
    measured when the file is copied. Columns that an older package lacks are left out then.
    """
    remarks = [seen.look.trouble] if seen.look.trouble else []
    camera, match = seen.look.camera, seen.match
    made = camera.moment or seen.name.day
    # a day of grace: it may be tomorrow already where the picture was made
    if made and date.fromisoformat(made[:10]) > today + timedelta(days=1):
        remarks.append(f"its date, {made}, has not come yet; enter the day under taken_on")
        made = ""
    notes = []
    if match.several:
        notes.append(f"In view: {', '.join(str(one) for one in match.several)}.")
    if twin:
        notes.append(f"Perhaps the same picture as {twin}, saved again.")
        remarks.append(
            f"perhaps the same picture as {twin}, saved again: camera, moment and size are the "
            "same; keep the better one"
        )
    if match.question:
        remarks.append(match.question)
    row = {
        "file_id": file_id,
        "path": seen.path,
        "kind": _kind(seen, model),
        "title": seen.name.words,
        "about_table": match.subject.table if match.subject else "",
        "about_id": match.subject.key if match.subject else "",
        "taken_on": made,
        "made_with": camera.made_with,
        "access": access,
        "notes": " ".join(notes),
    }
    return row, remarks


def _kind(seen: Seen, model: Model) -> str:
    """A sheet of ours is a form; what no camera dated is what its name or folder calls it."""
    if seen.match.is_sheet:
        return FORM
    if seen.look.camera.moment:
        return PHOTO
    vocabulary = model.vocabulary_of(model.table(TABLE).field("kind"))
    # the file's own name says more than the folder it lies in
    for part in reversed(PurePosixPath(seen.path).with_suffix("").parts[1:]):
        words = {one.casefold().removesuffix("s") for one in re.findall(r"[^\W\d_]+", part)}
        for term in vocabulary.terms if vocabulary else ():
            if not words.isdisjoint(one.casefold() for one in (term.code, *term.synonyms)):
                return term.code
    return PHOTO

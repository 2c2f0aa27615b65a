"""What a laboratory reports: dropped, shown as it would come in, and brought in."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _, ngettext
from provenance._base.progress import Progress
from provenance._desk.answers import Answer, Done, Page, Sent, Work
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.paper.preview import path_of
from provenance._history.edits import in_words
from provenance._intake.mapping.mapping import FormMapping
from provenance._intake.mapping.mapping_file import read_mapping
from provenance._intake.mapping.workbook_marker import mapping_of_workbook
from provenance._lab.results import import_results, preview_results
from provenance._model.felling import dates_in_words
from provenance._model.spoken import spoken

pages = Pages()
_MAPPINGS = (".yaml", ".yml")


@pages.shown("/record/{record}/results", title=N_("Results"), group=N_("Laboratory"))
def results(asked: Asked) -> Answer:
    """Where a laboratory's tables are dropped; once they are, what they say."""
    parcel = asked.queried("parcel")
    if not (keys := asked.queried("files")):
        return Page("laboratory/results.html", {"parcel": parcel, "foreign": ()})
    files, mapping = _dropped(asked, keys)
    foreign = [one.name for one in files if mapping is None and mapping_of_workbook(one) is None]
    if foreign:
        return Page("laboratory/results.html", {"parcel": parcel, "foreign": foreign})
    record = asked.record
    read, rows = preview_results(record, files, mapping)
    model = spoken(record.model)
    return Page(
        "laboratory/results_preview.html",
        {
            "parcel": parcel,
            "keys": keys,
            "files": [one.name for one in files],
            "read": read,
            "added": read.imported.added.get("lab_result", 0),
            "changes": [in_words(one) for one in read.imported.changes],
            "rows": [(row, dates_in_words(row, model)) for row in rows],
            "outcomes": model.vocabularies["result_outcome"],
        },
    )


@pages.done("/record/{record}/results")
def drop(asked: Asked) -> Answer:
    """Keep dropped tables, and perhaps the mapping that reads them, until they are looked at."""
    dropped = asked.files.get("files", ())
    if not any(one.suffix.lower() not in _MAPPINGS for one in dropped):
        raise UnusableInput(_("Choose the table of the laboratory."))
    made = [asked.desk.made(Sent(path, path.name)).rpartition("/")[2] for path in dropped]
    return Done(asked.at("results", files=".".join(made), parcel=asked.text("parcel")))


@pages.done("/record/{record}/results/take")
def take(asked: Asked) -> Answer:
    """Bring the tables in as they were shown."""
    record = asked.record
    files, mapping = _dropped(asked, asked.needed("files", _("Files")))
    parcel = asked.text("parcel")

    def work(progress: Progress) -> Done:
        read = import_results(record, files, mapping, progress=progress)
        added = read.imported.added.get("lab_result", 0)
        told = [ngettext("{n} new result.", "{n} new results.", added).format(n=added)]
        told += [
            _("{newer} supersedes {older}.").format(newer=newer, older=older)
            for newer, older in read.superseded
        ]
        told += [one.message for one in read.findings if one.severity != "note"]
        return Done(asked.at("reconcile", parcel=parcel or None), "\n".join(told))

    return Work(_("Bringing in results"), work)


def _dropped(asked: Asked, keys: str) -> tuple[Sequence[Path], FormMapping | None]:
    paths = [path_of(asked.desk, key) for key in keys.split(".")]
    mappings = [one for one in paths if one.suffix.lower() in _MAPPINGS]
    if len(mappings) > 1:
        raise UnusableInput(_("Drop one mapping at a time."))
    mapping = read_mapping(mappings[0], asked.record.model) if mappings else None
    return [one for one in paths if one not in mappings], mapping

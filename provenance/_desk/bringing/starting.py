"""Starts a record by drawings and plain questions, and puts a dropped bundle into the folder."""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from provenance._bag.hostile_zip import DAMAGE
from provenance._base.disk import writing
from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _, catalogue, named_languages
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._gate.zips import refuse_directory
from provenance._model.measures import SYSTEMS
from provenance._model.profile import shipped_profiles
from provenance._model.schema import AS_FOUND, STRICT
from provenance._record.new import new_package, package_name
from provenance._record.settings import Settings

pages = Pages()
ANY_KIND = "blank"
MEASURED = {"metric": N_("Meters and centimeters"), "feet_inches": N_("Feet and inches")}


@pages.shown("/new")
def new(asked: Asked) -> Answer:
    """The kinds of place as drawings, and what else a record is asked at its start."""
    _refuse_no_shelf(asked)
    say = catalogue(asked.desk.language).pgettext
    kinds = {name: say("profile.title", title) for name, title in shipped_profiles().items()}
    return Page(
        "bringing/new.html",
        {
            "kinds": kinds,
            "any_kind": ANY_KIND,
            "units": {one: MEASURED[one] for one in SYSTEMS},
            "spoken": named_languages(),
        },
    )


@pages.done("/new")
def start(asked: Asked) -> Answer:
    """Start the record in a folder of its own, named by its title."""
    _refuse_no_shelf(asked)
    title = asked.needed("title", _("Title"))
    kinds = asked.texts("kind")
    chosen = [one for one in shipped_profiles() if one in kinds and one != ANY_KIND]
    package = new_package(
        asked.desk.free(package_name(title)),
        "+".join(chosen or [ANY_KIND]),
        title=title,
        settings=Settings(
            units=asked.text("units", "metric").replace("_", "-"),
            language=asked.text("language", asked.desk.language),
            numbering=(AS_FOUND if asked.text("numbers") == "keep" else STRICT).replace("_", "-"),
        ),
    )
    return Done(
        f"/record/{package.folder.name}/import",
        _(
            "The record “{title}” is begun. Bring in what the crew wrote, or enter it in tables."
        ).format(title=title),
    )


@pages.done("/bundle-in")
def bundle_in(asked: Asked) -> Answer:
    """Put dropped bundles into the folder, each whole under a free name."""
    _refuse_no_shelf(asked)
    paths = asked.files.get("bundle", ())
    if not paths:
        raise UnusableInput(_("Choose the bundle to bring in."))
    refused = [said for path in paths if (said := _why_not_a_bundle(path))]
    if refused:
        raise UnusableInput("\n".join(refused))
    names = list(_placed(asked, paths))
    return Done("/", _("Brought in: {names}.").format(names=", ".join(names)))


def _placed(asked: Asked, paths: Sequence[Path]) -> Iterator[str]:
    for path in paths:
        target = asked.desk.free(path.name)
        with path.open("rb") as received, writing(target) as stream:
            shutil.copyfileobj(received, stream)
        yield target.name


def _why_not_a_bundle(path: Path) -> str:
    """What is wrong with a dropped file at first sight; its content is judged when it is opened."""
    again = _("a bundle is one file whose name ends in .zip, as “pack” writes it")
    if path.suffix.lower() != ".zip":
        return f"{path.name}: {again}"
    try:
        with path.open("rb") as stream:
            refuse_directory(stream, path.name)
            with zipfile.ZipFile(stream) as archive:
                tops = [one for one in archive.namelist() if one.count("/") <= 1]
    except DAMAGE as error:
        return f"{path.name} is no zip, or is damaged ({error}); copy or download it again"
    if not any(one.split("/")[-1] == "bagit.txt" for one in tops):
        return _(
            "{name} is a zip, but no bundle. Answers from phones are brought in on the page of "
            "their record."
        ).format(name=path.name)
    return ""


def _refuse_no_shelf(asked: Asked) -> None:
    if not asked.desk.is_shelf:
        raise UnusableInput(
            _("This desk holds one record, bundle or store. Open the folder around it to add more.")
        )

"""The first page of the desk, the settings of who sits at it, and work that is going on."""

from __future__ import annotations

from provenance._base.languages import _, available_languages
from provenance._desk.answers import Answer, Done, Page, Sent
from provenance._desk.asked import Asked
from provenance._desk.jobs import Running
from provenance._desk.pages import Pages
from provenance._desk.remembered import Remembered, remember
from provenance._desk.things import FILE, NotHere, things_in

pages = Pages()


@pages.shown("/")
def first(asked: Asked) -> Answer:
    """What lies in the folder, and what can be begun."""
    return Page("first.html", {"things": things_in(asked.desk.folder)})


@pages.done("/at-work")
def at_work(asked: Asked) -> Answer:
    """Who enters what is entered, and the language of the pages; the next start knows both."""
    desk = asked.desk
    desk.by = asked.needed("by", _("Your name or initials"))
    if (language := asked.text("language")) in available_languages():
        desk.language = language
    remember(Remembered(desk.by, desk.language))
    return Done(asked.text("back", "/"))


@pages.done("/close", changes=False)
def close(asked: Asked) -> Answer:
    """Close the desk; what was entered is saved."""
    asked.desk.stop()
    return Page("closed.html", whole=False)


@pages.shown("/work/{job}")
def work(asked: Asked) -> Answer:
    """How far a work is; where it ended, the way on."""
    running = _job(asked)
    if running.done is not None and running.done.said:
        asked.desk.said[running.done.to.partition("?")[0]] = running.done.said
    return Page(
        "work.html" if "part" not in asked.query else "work_part.html",
        {"job": running},
        whole="part" not in asked.query,
    )


def _job(asked: Asked) -> Running:
    try:
        return asked.desk.jobs[asked.address["job"]]
    except KeyError:
        raise NotHere(_("This work has ended.")) from None


@pages.done("/work/{job}/stop", changes=False)
def stop(asked: Asked) -> Answer:
    """Stop a work; what was not finished is not written."""
    running = _job(asked)
    running.stopping.set()
    return Done(f"/work/{running.job_id}")


@pages.shown("/file/{name}")
def file(asked: Asked) -> Answer:
    """A file of the folder, to be kept by the browser."""
    path = asked.desk.path(asked.address["name"], FILE)
    return Sent(path, path.name)


@pages.shown("/made/{made}")
def made(asked: Asked) -> Answer:
    """A file that was made for a person."""
    try:
        return asked.desk.fetch(asked.address["made"])
    except KeyError:
        raise NotHere(_("This file is gone. Make it again.")) from None

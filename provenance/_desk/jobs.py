"""Work that takes longer than a page may: one thread each, with progress, and a way to stop it."""

from __future__ import annotations

import contextvars
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from provenance._base.disk import disk_trouble
from provenance._base.errors import TreenailError
from provenance._base.languages import _

if TYPE_CHECKING:
    from provenance._base.progress import Progress
    from provenance._desk.answers import Done

MOST_KEPT = 50
"""Jobs that ended and can still be looked at."""


class Stopped(Exception):  # no error: a person asked for it
    """Raised inside the work when a person stops it; what writes puts nothing in place then."""


@dataclass
class Running:
    """A job: how far it is, and how it ended: `done` with a page to go to, or `problem`."""

    job_id: str
    title: str
    back: str
    share: float | None = None
    done: Done | None = None
    problem: str = ""
    stopping: threading.Event = field(default_factory=threading.Event)
    thread: threading.Thread = field(default_factory=threading.Thread)

    @property
    def ended(self) -> bool:
        """Whether nothing more happens."""
        return self.done is not None or bool(self.problem)

    def progress(self, done: int, total: int) -> None:
        """What the work calls now and then."""
        if self.stopping.is_set():
            raise Stopped
        self.share = min(done / total, 1.0) if total else None


class Jobs:
    """The jobs of a desk."""

    def __init__(self, fault: Callable[[BaseException], str]) -> None:
        self._fault = fault
        self._jobs: dict[str, Running] = {}

    def __getitem__(self, job_id: str) -> Running:
        """The job; raises KeyError."""
        return self._jobs[job_id]

    def running(self) -> list[Running]:
        """Those that have not ended."""
        return [one for one in self._jobs.values() if not one.ended]

    def start(self, title: str, back: str, work: Callable[[Progress], Done]) -> Running:
        """Begin work in a thread of its own; `back` is the page that a person came from."""
        ended = [one for one in self._jobs.values() if one.ended]
        for one in ended[: len(ended) - MOST_KEPT + 1]:
            del self._jobs[one.job_id]
        running = Running(secrets.token_urlsafe(8), title, back)
        self._jobs[running.job_id] = running
        # the language that is spoken goes along
        context = contextvars.copy_context()
        running.thread = threading.Thread(
            target=context.run, args=(self._run, running, work), name=title, daemon=True
        )
        running.thread.start()
        return running

    def _run(self, running: Running, work: Callable[[Progress], Done]) -> None:
        try:
            running.done = work(running.progress)
        except Stopped:
            running.problem = _("Stopped. What was not finished was not written.")
        except TreenailError as error:
            running.problem = str(error)
        except OSError as error:
            running.problem = disk_trouble(error)
        # a thread that dies without a word would leave the page waiting
        except BaseException as error:
            running.problem = self._fault(error)

"""Longer work whose outcome several pages show, done once for the same bytes."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar
from urllib.parse import quote, urlencode

from provenance._base.disk import state_of
from provenance._base.errors import TreenailError
from provenance._desk.answers import Done, Instead, Page

if TYPE_CHECKING:
    from provenance._base.progress import Progress
    from provenance._desk.asked import Asked
    from provenance._desk.jobs import Running

QUICK_SECONDS = 2.0
"""Work that ends sooner is not shown as work."""
MOST_KEPT = 50

T = TypeVar("T")


class Prepared:
    """What was prepared for the pages of a desk, and what is being prepared, by key."""

    def __init__(self) -> None:
        self.ready: OrderedDict[Hashable, Any] = OrderedDict()
        self.running: dict[Hashable, Running] = {}
        self.beginning = threading.Lock()

    def keep(self, key: Hashable, value: Any) -> None:
        """Keep a value; the oldest goes where there are too many."""
        self.ready[key] = value
        while len(self.ready) > MOST_KEPT:
            self.ready.popitem(last=False)


def prepared(asked: Asked, title: str, key: Hashable, work: Callable[[Progress], T]) -> T:
    """What `work` gives, from the last time where that was under the same key.

    Raises Instead with the progress where it takes long, which then leads back to the same page;
    and TreenailError with what stopped it.
    """
    desk = asked.desk
    held = desk.prepared
    with held.beginning:
        if key in held.ready:
            made: T = held.ready[key]
            return made
        if key not in held.running:
            back = quote(asked.path)
            back += f"?{urlencode(list(asked.queries))}" if asked.queries else ""

            def working(progress: Progress) -> Done:
                held.keep(key, work(progress))
                return Done(back)

            held.running[key] = desk.jobs.start(title, asked.path, working)
        running = held.running[key]
    running.thread.join(QUICK_SECONDS)
    if not running.ended:
        raise Instead(Page("work.html", {"job": running}))
    with held.beginning:
        held.running.pop(key, None)
    if running.problem:
        raise TreenailError(running.problem)
    made = held.ready[key]
    return made


def stamp_of(path: Path) -> Hashable:
    """What differs when any file of a bundle or record was changed; raises OSError."""
    files = [path] if path.is_file() else sorted(one for one in path.rglob("*") if one.is_file())
    return tuple((str(one), state_of(one)) for one in files)

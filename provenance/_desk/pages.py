"""Where a module of the desk puts its pages: address, function, place in the list of ways."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from provenance._desk.answers import Answer
from provenance._desk.asked import Asked

Answering = Callable[[Asked], Answer]


@dataclass(frozen=True)
class Way:
    """An entry in the list of pages that a record, bundle or store has.

    `title` is marked for translation; `group` is the heading it stands under.
    """

    address: str
    title: str
    group: str


@dataclass(frozen=True)
class Route:
    """An address (`/record/{record}/day`), the method it takes, and who answers.

    What `changes` something is refused where the desk only reads.
    """

    address: str
    method: str
    answering: Answering
    changes: bool


class Pages:
    """The pages of one module; `_desk/app.py` lists the modules.

    >>> pages = Pages()
    >>> @pages.shown("/record/{record}/day", title="Day", group="In the field")
    ... def day(asked: Asked) -> Answer: ...
    >>> @pages.done("/record/{record}/undo")
    ... def undo(asked: Asked) -> Answer: ...
    """

    def __init__(self) -> None:
        self.routes: list[Route] = []
        self.ways: list[Way] = []

    def shown(
        self, address: str, *, title: str = "", group: str = ""
    ) -> Callable[[Answering], Answering]:
        """A page that changes nothing; with a title it stands in the list of ways."""

        def kept(answering: Answering) -> Answering:
            self.routes.append(Route(address, "GET", answering, changes=False))
            if title:
                self.ways.append(Way(address, title, group))
            return answering

        return kept

    def done(self, address: str, *, changes: bool = True) -> Callable[[Answering], Answering]:
        """An act; the guard has looked at its token, and a desk that only reads refuses it.

        One that `changes` nothing outside the desk itself is done there too.
        """

        def kept(answering: Answering) -> Answering:
            self.routes.append(Route(address, "POST", answering, changes))
            return answering

        return kept

"""What a page of the desk answers with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from provenance._base.progress import Progress


@dataclass(frozen=True)
class Page:
    """A page, or with `whole` false a part of one; `template` lies in templates/desk.

    `allowed` adds to the content security policy: directive → sources.
    """

    template: str
    values: Mapping[str, Any] = field(default_factory=dict)
    whole: bool = True
    allowed: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Done:
    """An act that was done: the page to go to, and what is said there."""

    to: str
    said: str = ""


@dataclass(frozen=True)
class Work:
    """An act that takes longer: `work` is done in a thread, told by its progress, and can be
    stopped; what it returns is where the person goes then."""

    title: str
    work: Callable[[Progress], Done]


@dataclass(frozen=True)
class Sent:
    """A file or bytes, to be kept by the browser under `name`; `shown` in it instead.

    Only what the program made itself is `shown`; what others made is kept, never opened here. A
    page that brings its own frame is shown `as_page`, under the policy of all pages.
    """

    content: Path | bytes
    name: str
    media_type: str = "application/octet-stream"
    shown: bool = False
    as_page: bool = False


@dataclass(frozen=True)
class Told:
    """What the page's own script asked for, as JSON; bytes are JSON already."""

    value: Any
    status: int = 200


Answer = Page | Done | Work | Sent | Told


class Instead(Exception):  # no error: something else comes first
    """Raised with the answer that comes before the one that was asked for, such as a question."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer

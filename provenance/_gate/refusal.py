"""Says why something received is not let in."""

from __future__ import annotations

import os

from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._base.visible import visible

ASK_AGAIN = "ask the sender for it again"


class RefusedInput(UnusableInput, UnusablePackage):
    """Something received that could do harm, or asks for more than its budget.

    `file` is what was looked at, `found` what it is or has, `limit` what may be ('' where nothing
    of the kind may), `remedy` what to do.
    """

    def __init__(
        self, file: str | os.PathLike[str], found: str, *, limit: str = "", remedy: str = ASK_AGAIN
    ) -> None:
        self.file = visible(os.fspath(file))
        self.found = found
        self.limit = limit
        self.remedy = remedy
        said = "; ".join(part for part in (found, limit, remedy) if part)
        super().__init__(f"{self.file} {said}")


def at_most(count: int, what: str) -> str:
    """A limit in words, such as '5,000 columns may be'."""
    return f"{count:,} {what} may be"

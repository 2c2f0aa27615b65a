"""Keeps site, wood, sample, plug stamp and laboratory result tied together for decades.

The names in `__all__` are the whole of what other programs may use; every module is private by its
name. They are imported when they are first asked for, so that `import provenance` costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from provenance._api.record import Record, new, open
    from provenance._api.several import compare, locate, verify
    from provenance._bag.verdict import Verdict
    from provenance._base.errors import AlreadyThere, TreenailError, UnusableInput, UnusablePackage
    from provenance._base.findings import Report
    from provenance._bundle.pack import Packed
    from provenance._bundle.review.review import Review
    from provenance._compare.difference import Difference
    from provenance._history.deciding import Done, Refused
    from provenance._identity.locate import Found

__version__ = "0.1.0"

__all__ = [
    "AlreadyThere",
    "Difference",
    "Done",
    "Found",
    "Packed",
    "Record",
    "Refused",
    "Report",
    "Review",
    "TreenailError",
    "UnusableInput",
    "UnusablePackage",
    "Verdict",
    "compare",
    "locate",
    "new",
    "open",
    "verify",
]

_MODULES = {
    "_api.record": ("Record", "new", "open"),
    "_api.several": ("compare", "locate", "verify"),
    "_base.errors": ("AlreadyThere", "TreenailError", "UnusableInput", "UnusablePackage"),
    "_base.findings": ("Report",),
    "_bag.verdict": ("Verdict",),
    "_bundle.pack": ("Packed",),
    "_bundle.review.review": ("Review",),
    "_compare.difference": ("Difference",),
    "_history.deciding": ("Done", "Refused"),
    "_identity.locate": ("Found",),
}


def __getattr__(name: str) -> Any:
    """One of the public names, imported now."""
    for module, names in _MODULES.items():
        if name in names:
            return getattr(importlib.import_module(f"{__name__}.{module}"), name)
    raise AttributeError(f"module '{__name__}' has no attribute '{name}'")


def __dir__() -> list[str]:
    """The public names, for a person who looks what there is."""
    return [*__all__, "__version__"]

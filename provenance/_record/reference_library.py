"""Keeps the reference library of Data Package (frictionless) off the network and inside a folder.

The library fetches what a descriptor points at: a profile that is a web address, a remote table, a
reference in a JSON Schema. A descriptor may come from a stranger, so all of that is taken out of it
first, and the library's own way to the network is closed while it works.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import Any, NoReturn

V2_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
_SHIPPED = {
    f"https://datapackage.org/profiles/2.0/{name}.json"
    for name in ("datapackage", "dataresource", "tableschema", "tabledialect")
} | {"data-package", "tabular-data-package", "data-resource", "tabular-data-resource", "default"}
"""Profiles that the library brings with it, or takes no notice of."""
_FETCHED = ("$schema", "profile", "profiles", "$ref", "jsonSchema")
"""Properties through which a descriptor makes the library read something else."""


class _NoNetwork:
    """Stands where the library keeps its web client."""

    def get(self, address: str, **_: object) -> NoReturn:
        """Refuse to fetch."""
        raise ConnectionError(f"{address} was not fetched; nothing here uses the network")


@contextmanager
def offline_library() -> Iterator[ModuleType]:
    """The library, imported when it is first used, without a way to the network in the block."""
    import frictionless

    with frictionless.system.use_context(trusted=False, http_session=_NoNetwork()):
        yield frictionless


def is_address(path: str) -> bool:
    """Whether a path of a descriptor is an address, of whatever scheme, and no file name.

    >>> is_address("https://example.org/a.csv"), is_address("tables/a.csv"), is_address("C:\\\\a")
    (True, False, False)
    """
    scheme, colon, _ = path.partition(":")
    return bool(colon) and len(scheme) > 1 and "/" not in scheme


def without_fetching(document: Any, where: str = "") -> tuple[Any, list[str]]:
    """A copy of a descriptor without what the library would fetch, and the places of that.

    Places are written like 'resources[2].schema.profile = "https://…"'.
    """
    if isinstance(document, list):
        parts = [without_fetching(one, f"{where}[{at}]") for at, one in enumerate(document)]
        return [one for one, _ in parts], [place for _, places in parts for place in places]
    if not isinstance(document, dict):
        return document, []
    kept, places = {}, []
    for key, value in document.items():
        here = f"{where}.{key}".lstrip(".")
        if key in _FETCHED and not (isinstance(value, str) and value in _SHIPPED):
            shown = f' = "{value[:200]}"' if isinstance(value, str) else ""
            places.append(here + shown)
            continue
        kept[key], more = without_fetching(value, here)
        places += more
    return kept, places

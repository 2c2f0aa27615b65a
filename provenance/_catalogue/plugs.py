"""Hands `locate` the plugs of packages and bundles: read afresh, or from the catalogue.

A bundle that has vanished keeps its plugs, because the plugs are still in the wood.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._base.progress import Progress, say_nothing
from provenance._bundle.answering import ORDINARY_BYTES, bytes_of, verdict_for_answer
from provenance._catalogue.build import update_catalogue
from provenance._catalogue.database import read_only_catalogue
from provenance._catalogue.entry import (
    RESERVED_COLUMNS,
    read_entry,
    read_symbols,
    reserved_plug,
)
from provenance._catalogue.query import VERDICTS
from provenance._catalogue.stores.records import find_sources, is_bundle
from provenance._identity.plug_fit import STORED, PlugRecord
from provenance._record.remote import Place


def read_genera() -> dict[str, str]:
    """Species code → genus, as shipped: by it `locate` tells which woods are near each other."""
    from provenance._base.resources import shipped
    from provenance._base.yaml_text import read_yaml

    raw = read_yaml(shipped("schemas") / "vocabularies" / "species.yaml")
    return {str(term["code"]): str(term.get("genus", "")) for term in raw["terms"]}


def gather_plugs(
    place: Place,
    *,
    unreadable: dict[str, str] | None = None,
    verdicts: dict[str, str] | None = None,
    even_if_damaged: bool = False,
    progress: Progress = say_nothing,
) -> list[PlugRecord]:
    """All plugs at `place` and all reserved numbers without one, read afresh.

    `place` is one package or bundle, or a folder of them.

    With `unreadable`, sources that cannot be read are put into it, path → why, and the others are
    read all the same; `verdicts` is filled with the verdict over each bundle, path → words. Bundles
    are verified whole as long as they are not too many bytes together. Raises UnusableInput when
    there is no source, when none can be read or, without `unreadable`, when one cannot; a damaged
    bundle counts as one that cannot, unless `even_if_damaged`.
    """
    sources = find_sources(place)
    if not sources:
        raise UnusableInput(f"{place} holds neither a package nor a bundle")
    symbols = read_symbols()
    plugs: list[PlugRecord] = []
    most_bytes = ORDINARY_BYTES
    for done, path in enumerate(sources, start=1):
        try:
            if is_bundle(path):
                verdict = verdict_for_answer(
                    path, even_if_damaged=even_if_damaged, most_bytes=most_bytes
                )
                if verdict.depth == "full":
                    most_bytes -= bytes_of(path) or 0
                if verdicts is not None:
                    verdicts[str(path)] = verdict.in_words
            entry = read_entry(path, symbols, even_if_damaged=even_if_damaged)
            plugs.extend(map(PlugRecord._make, entry.plugs))
            plugs.extend(reserved_plug(str(path), row) for row in entry.reserved)
        except UnusableInput as error:
            if unreadable is None or len(unreadable) + 1 == len(sources):
                raise
            unreadable[str(path)] = str(error)
        progress(done, len(sources))
    return plugs


def index_plugs(place: Path, index: Path, *, progress: Progress = say_nothing) -> dict[str, str]:
    """Bring the catalogue up to what lies at `place`; returns path → why, for the unreadable.

    A source that cannot be read keeps what the catalogue knew of it. Raises TreenailError when the
    catalogue itself cannot be used.
    """
    return update_catalogue(place, index, progress=progress).unreadable


def stored_plugs(index: Path, *, even_if_damaged: bool = False) -> list[PlugRecord]:
    """Every plug and reserved number in the catalogue, those of vanished bundles too.

    Raises TreenailError.

    Those of bundles that the last audit found damaged are left out, unless `even_if_damaged`.
    """
    kept = "1" if even_if_damaged else "judged.verdict != 'damaged'"

    def asked(table: str, names: Sequence[str]) -> str:
        columns = ", ".join(f'{table}."{name}"' for name in names)
        return (
            f"{VERDICTS}SELECT bundle.path, {columns} FROM {table} JOIN bundle USING (bundle_id) "
            f"JOIN judged USING (bundle_id) WHERE {kept} ORDER BY bundle.path, {table}.rowid"
        )

    with read_only_catalogue(index) as database:
        database.row_factory = None
        plugs = [PlugRecord(*row) for row in database.execute(asked("plug", STORED))]
        reserved = database.execute(asked("reserved", RESERVED_COLUMNS))
        return plugs + [reserved_plug(path, row) for path, *row in reserved]

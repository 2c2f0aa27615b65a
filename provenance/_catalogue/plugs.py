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
from provenance._catalogue.current import BRANCH, CURRENT, Lies, read_instead, roles_in, roles_of
from provenance._catalogue.database import read_only_catalogue
from provenance._catalogue.entry import (
    RESERVED_COLUMNS,
    Entry,
    read_entry,
    read_symbols,
    reserved_plug,
)
from provenance._catalogue.query import VERDICTS
from provenance._catalogue.stores.records import find_sources, is_bundle
from provenance._identity.plug_fit import STORED, PlugRecord, Seen
from provenance._intake.values.units import read_length
from provenance._model.measures import FEET_INCHES, INCH_MARK, METRIC, Measures
from provenance._record.remote import Place
from provenance._store.acts import Act
from provenance._store.store import Store, is_store, open_store


def read_genera() -> dict[str, str]:
    """Species code → genus, as shipped: by it `locate` tells which woods are near each other."""
    from provenance._base.resources import shipped
    from provenance._base.yaml_text import read_yaml

    raw = read_yaml(shipped("schemas") / "vocabularies" / "species.yaml")
    return {str(term["code"]): str(term.get("genus", "")) for term in raw["terms"]}


def seen_around(room: str = "", dowel: str = "", wood: str = "", *, upright: bool = False) -> Seen:
    """What a person typed of the place, dowel ('5/8 in', '16 mm') and wood around a plug.

    Raises UnreadableValue for what is no size.
    """
    return Seen(
        place=room or None,
        dowel_mm=read_length(dowel, "mm", "mm") if dowel else None,
        species=wood or None,
        upright=upright,
        measures=Measures(FEET_INCHES if INCH_MARK.search(dowel) else METRIC),
    )


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
    store = open_store(place) if isinstance(place, Path) and is_store(place) else None
    sources = _current_in(store) if store else find_sources(place)
    if not sources:
        raise UnusableInput(f"{place} holds neither a package nor a bundle")
    symbols = read_symbols()
    entries: list[Entry] = []
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
            entries.append(read_entry(path, symbols, even_if_damaged=even_if_damaged))
        except UnusableInput as error:
            if unreadable is None or len(unreadable) + 1 == len(sources):
                raise
            unreadable[str(path)] = str(error)
        progress(done, len(sources))
    if store is None:
        roles = roles_of(Lies.of(str(one.path), one.form, one.facts) for one in entries)
        entries = [one for one in entries if roles[str(one.path)].is_current]
    return [
        plug
        for one in entries
        for plug in (
            *map(PlugRecord._make, one.plugs),
            *(reserved_plug(str(one.path), row) for row in one.reserved),
        )
    ]


def _current_in(store: Store) -> list[Place]:
    """The current bundles of a store; for a lost one that from which it goes on."""
    roles = roles_in(store.acts)
    by_id = {act.act_id: act for act in store.accessions}
    found: dict[Place, None] = {}
    for act in store.accessions:
        one: Act | None = act if roles[act.number].is_current and act.edition else None
        while one is not None and not (store.folder / one.kept_at).exists():
            one = read_instead(one, by_id)
        if one is not None:
            found[store.folder / one.kept_at] = None
    return list(found)


def index_plugs(place: Path, index: Path, *, progress: Progress = say_nothing) -> dict[str, str]:
    """Bring the catalogue up to what lies at `place`; returns path → why, for the unreadable.

    A source that cannot be read keeps what the catalogue knew of it. Raises TreenailError when the
    catalogue itself cannot be used.
    """
    return update_catalogue(place, index, progress=progress).unreadable


def stored_plugs(index: Path, *, even_if_damaged: bool = False) -> list[PlugRecord]:
    """Every plug and reserved number of current editions, those of vanished bundles too.

    Raises TreenailError.

    Those of bundles that the last audit found damaged are left out, unless `even_if_damaged`.
    """
    kept = "1" if even_if_damaged else "judged.verdict != 'damaged'"
    last_known = f"'{CURRENT}', '{BRANCH}'"

    def asked(table: str, names: Sequence[str]) -> str:
        columns = ", ".join(f'{table}."{name}"' for name in names)
        return (
            f"{VERDICTS}SELECT bundle.path, {columns} FROM {table} JOIN bundle USING (bundle_id) "
            f"JOIN judged USING (bundle_id) WHERE {kept} "
            f"AND (is_current OR role IN ({last_known})) ORDER BY bundle.path, {table}.rowid"
        )

    with read_only_catalogue(index) as database:
        database.row_factory = None
        plugs = [PlugRecord(*row) for row in database.execute(asked("plug", STORED))]
        reserved = database.execute(asked("reserved", RESERVED_COLUMNS))
        return plugs + [reserved_plug(path, row) for path, *row in reserved]

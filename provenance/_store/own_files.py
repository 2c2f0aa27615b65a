"""Reads the text files of a store and compares them; bundles are left to the audit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial

from provenance._base.disk import sha256_of
from provenance._base.errors import UnusableInput
from provenance._base.resources import shipped
from provenance._store.comparing import (
    StoreFinding,
    card_findings,
    last_written,
    ledger_findings,
    register_findings,
    said_of_ledgers,
    table_findings,
)
from provenance._store.fixity import fixity_files
from provenance._store.paper import ActAnchor
from provenance._store.store import LEDGERS, Store, ledger_path

_NOT_IN_THE_FOLDER = ("card", "fixity", "register")

Judge = Callable[[str, str, Callable[[], Sequence[StoreFinding]]], Sequence[StoreFinding]]
"""Findings about a path whose state is known by a text: of before where that is as it was."""


def judge_anew(
    path: str, state: str, judge: Callable[[], Sequence[StoreFinding]]
) -> Sequence[StoreFinding]:
    """Remember nothing."""
    return judge()


def digest_in(store: Store, path: str) -> str:
    """The SHA-256 of a file by its path in the store, '' where there is none."""
    here = store.folder / path
    return sha256_of(here) if here.is_file() else ""


def own_findings(
    store: Store, anchors: Iterable[ActAnchor] = (), judged: Judge = judge_anew
) -> list[StoreFinding]:
    """What is wrong with register, ledgers, cards and tables of a store.

    Raises UnusableInput for a register that cannot be read.
    """
    acts = store.acts
    found = [*register_findings(acts, anchors)]
    digest_of = partial(digest_in, store)
    tables = {one.stem for one in (shipped("schemas") / "store").glob("*.json")}
    there = [f"{one}.csv" for one in sorted(tables - {*_NOT_IN_THE_FOLDER})]
    there = [one for one in there if (store.folder / one).is_file()]
    paths = dict.fromkeys([*last_written(acts), *there, *fixity_files(store)])
    found += [*card_findings(acts, digest_of), *table_findings(acts, paths, digest_of)]
    said_of = said_of_ledgers(acts)
    for record_id, said in said_of.items():
        digest = digest_of(ledger_path(record_id))

        def judge(
            record_id: str = record_id,
            said: Sequence[tuple[str, int]] = said,
            digest: str = digest,
        ) -> list[StoreFinding]:
            try:
                ledger = store.ledger(record_id)
            except UnusableInput as error:
                path = ledger_path(record_id)
                why = str(error)
                return [StoreFinding("ledger broken", "", record_id, path, digest, why)]
            return list(ledger_findings(record_id, said, ledger, digest))

        found += judged(ledger_path(record_id), f"{digest} {said}", judge)
    for path in sorted((store.folder / LEDGERS).glob("*.csv")):
        if path.stem not in said_of:
            words = "the register does not know its record"
            name = ledger_path(path.stem)
            found.append(StoreFinding("ledger ahead", "", path.stem, name, digest_of(name), words))
    return found

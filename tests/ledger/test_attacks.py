"""What the ledger alone shows of an attack, and what a kept seal adds to that."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from provenance._ledger.branches import Head, covered_by, heads_of
from provenance._ledger.custody import append_events, sealed, verify_ledger
from provenance._ledger.keys import countersign_key, enter_key, is_vouched, keys_of
from provenance._ledger.seals import (
    BODY,
    FILLED_IN,
    KEY_ID,
    SEAL,
    SIGNATURE,
    Signs,
    body_hash,
    event_hash,
    seal_event,
)
from provenance._ledger.signing import verify_signed
from provenance._record.package import Package
from tests.ledger.test_signing import KEEPER, MARA, THIEF, a_record, a_signer

KEPT = 20
"""Events that somebody knows to have been there when he noted the seal of the last of them."""
Ledger = list[dict[str, str]]


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """Thirty events, every third one signed by the keeper, the rest by Mara but for every fifth."""
    package = a_record(tmp_path_factory.mktemp("attacked"))
    blank = dict.fromkeys(package.model.table("custody").names, "")
    rows: Ledger = []
    for number in range(30):
        signer = KEEPER if number % 3 == 0 else MARA
        event = {"event": "stored", "happened_on": f"2024-06-{number + 1:02d}", "sample_id": "231",
                 "recorded_on": "2024-07-01", "place_held": f"shelf {number}"}  # fmt: skip
        rows = sealed([*rows, blank | event], signer if number % 5 else None)
    return put(package, rows)


def resealed(rows: Ledger, start: int, signer: Callable[[dict[str, str]], Signs | None]) -> Ledger:
    """The events from the one at `start` on, sealed anew by somebody who knows how."""
    done = rows[:start]
    for number, row in enumerate(rows[start:], start=start + 1):
        event = {**row, "custody_id": str(number)}
        event["previous_sha256"] = done[-1][SEAL] if done else ""
        seal_event(event, signer(row))
        done.append(event)
    return done


def unsigned(row: dict[str, str]) -> None:
    return None


def altered(rows: Ledger, place: int = 9) -> Ledger:
    return [*rows[:place], {**rows[place], "place_held": "sold"}, *rows[place + 1 :]]


def blank(rows: Ledger, start: int) -> Ledger:
    return rows[:start] + [{**row, **dict.fromkeys(FILLED_IN, "")} for row in rows[start:]]


def stripped(rows: Ledger, *, key_too: bool = False, seal: bool = False) -> Ledger:
    """Without the signature of event 12, and perhaps with the outer seals made to fit."""
    rows = [dict(row) for row in rows]
    rows[11][SIGNATURE] = ""
    if key_too:
        rows[11][KEY_ID] = ""
    return rows if not seal else with_outer_seals(rows, 11)


def with_outer_seals(rows: Ledger, start: int) -> Ledger:
    """Seals that fit, but with the signatures that were there: nobody's keys are needed."""
    for place in range(start, len(rows)):
        if place > start:
            rows[place]["previous_sha256"] = rows[place - 1][SEAL]
        rows[place][BODY] = body_hash(rows[place])
        rows[place][SEAL] = event_hash(rows[place])
    return rows


BROKEN: dict[str, Callable[[Ledger], Ledger]] = {
    "altered": altered,
    "a signature is taken off": stripped,
    "a signature and its key are taken off": lambda rows: stripped(rows, key_too=True),
    "every signature is taken off": lambda rows: [
        {**row, SIGNATURE: "", KEY_ID: ""} for row in rows
    ],
    "a signature is taken off and all after it is sealed anew": lambda rows: stripped(
        rows, seal=True
    ),
    "altered and sealed anew, with the old signatures": lambda rows: with_outer_seals(
        altered([dict(row) for row in rows]), 9
    ),
    "all seals are blanked": lambda rows: blank(rows, 0),
    "seals are blanked to the end": lambda rows: blank(rows, 12),
    "seals are blanked in the middle": lambda rows: blank(rows[:13], 12) + rows[13:],
    "an event is dropped": lambda rows: rows[:9] + rows[10:],
    "an event is dropped and the rest numbered anew": lambda rows: [
        {**row, "custody_id": str(number)}
        for number, row in enumerate(rows[:9] + rows[10:], start=1)
    ],
    "two events change places": lambda rows: [
        {**row, "custody_id": str(number)}
        for number, row in enumerate([*rows[:9], rows[10], rows[9], *rows[11:]], start=1)
    ],
    "an event is sealed as earlier versions did, to do without signatures": lambda rows: [
        *rows,
        as_before({**rows[-1], "custody_id": "31", "previous_sha256": rows[-1][SEAL]}),
    ],
}
"""Attacks that the ledger shows by itself."""


def as_before(event: dict[str, str]) -> dict[str, str]:
    older = {name: text for name, text in event.items() if name not in (BODY, KEY_ID, SIGNATURE)}
    seal_event(older)
    return {**event, BODY: "", KEY_ID: "", SIGNATURE: "", SEAL: older[SEAL]}


FITS: dict[str, Callable[[Ledger], Ledger]] = {
    "altered and all after it sealed anew, unsigned": lambda rows: resealed(
        altered(rows), 9, unsigned
    ),
    "altered and signed anew with another key": lambda rows: resealed(
        altered(rows), 9, lambda row: THIEF if row[SIGNATURE] else None
    ),
    "blanked and sealed anew": lambda rows: resealed(blank(rows, 12), 12, unsigned),
    "events dropped in the middle and the rest sealed anew": lambda rows: resealed(
        rows[:9] + rows[14:], 9, unsigned
    ),
    "rewritten from the beginning": lambda rows: resealed(altered(rows, 0), 0, unsigned),
    "cut off before the kept seal": lambda rows: rows[:15],
}
"""Attacks by whoever seals anew: the ledger fits together, and only a kept seal shows them."""


def put(package: Package, rows: Ledger) -> Package:
    package.write_table("custody", pd.DataFrame(rows, columns=list(rows[0]), dtype=str))
    return package


def is_broken(package: Package) -> bool:
    found = [*verify_ledger(package.tables), *verify_signed(package.tables)]
    return any(one.severity == "error" for one in found)


def test_an_attack_is_shown_by_the_ledger_or_by_a_kept_seal(package: Package) -> None:
    rows: Ledger = [dict(row) for row in package.tables.rows("custody")]
    kept = Head(rows[KEPT - 1][SEAL], KEPT)

    def agrees(rows: Ledger) -> bool:
        return len(covered_by(rows, kept.seal)) == kept.count

    assert heads_of(rows) == [Head(rows[-1][SEAL], 30)]
    assert not is_broken(package)
    assert agrees(rows)
    for attack, do in BROKEN.items():
        assert is_broken(put(package, do(rows))), attack
    for attack, do in FITS.items():
        after = do(rows)
        assert not is_broken(put(package, after)), attack
        assert not agrees(after), attack
    # what came after the kept seal can still be cut off: nobody knew of it
    cut = rows[: KEPT + 7]
    assert not is_broken(put(package, cut))
    assert agrees(cut)
    put(package, rows)


def test_a_key_entered_in_anothers_name_lacks_the_keeper_whom_the_reader_trusts(
    tmp_path: Path,
) -> None:
    """Whoever packs can enter keys and keepers; the reader's own list of keepers is the answer."""
    package = a_record(tmp_path)
    own_keeper, as_mara = a_signer(7), a_signer(8)
    enter_key(package, own_keeper, "REPO", since="2020-01-01")
    enter_key(package, as_mara, "MB", since="2024-01-01")
    countersign_key(package, as_mara.key_id, own_keeper)
    event = {"event": "collected", "happened_on": "2024-06-04", "to_party_id": "MB",
             "sample_id": "231", "recorded_on": "2024-06-04", "recorded_by": "MB"}  # fmt: skip
    append_events(package, pd.DataFrame([event]), as_mara)
    assert not is_broken(package)
    keys = keys_of(package.tables)
    assert is_vouched(keys[MARA.key_id], {KEEPER.key_id})
    assert not is_vouched(keys[as_mara.key_id], {KEEPER.key_id})
    assert not is_vouched(keys[own_keeper.key_id], {KEEPER.key_id})

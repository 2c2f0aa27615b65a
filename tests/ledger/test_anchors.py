"""A ledger rewritten whole fits together by itself; whoever kept its end elsewhere finds it out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from provenance._base.errors import UnusableInput
from provenance._base.standing import BROKEN, CONTRADICTS, NOT_ANCHORED, SOUND
from provenance._ledger.anchors import (
    Anchor,
    anchor_from,
    anchor_in_text,
    anchor_of,
    sealed_events,
    standing,
)
from provenance._ledger.branches import seals_at_ends
from provenance._ledger.custody import append_events, sealed
from provenance._ledger.ed25519 import Signer
from provenance._ledger.seals import FILLED_IN, SEALS
from provenance._ledger.statement import Judged
from provenance._record.package import Package
from tests.builders import a_package

COUNT, KNOWN = 12, 9
"""Events of the ledger, and how many of them the receipt knows."""
OWN, OTHERS = (Signer(Ed25519PrivateKey.from_private_bytes(bytes([n] * 32))) for n in (1, 2))
Rows = list[dict[str, str]]


@pytest.fixture(scope="module")
def honest(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """A ledger of twelve events, the third signed by the party who wrote it down."""
    package = a_package(tmp_path_factory.mktemp("honest")).with_chain().package
    events = [
        {"event": "stored", "happened_on": f"2024-06-{n:02}", "sample_id": "231", "notes": f"{n}"}
        for n in range(1, COUNT + 1)
    ]
    append_events(package, pd.DataFrame(events[:2]))
    append_events(package, pd.DataFrame(events[2:3]), OTHERS)
    append_events(package, pd.DataFrame(events[3:]))
    return package


@pytest.fixture(scope="module")
def receipt(honest: Package) -> Anchor:
    return Anchor("the receipt", sealed_events(honest.tables)[KNOWN - 1]["event_sha256"], KNOWN)


@pytest.fixture(scope="module")
def forged(honest: Package, tmp_path_factory: pytest.TempPathFactory) -> Callable[[Rows], Package]:
    """A package with other rows in its ledger."""
    package = a_package(tmp_path_factory.mktemp("forged")).with_chain().package
    columns = honest.table("custody").columns

    def put(rows: Rows) -> Package:
        package.write_table("custody", pd.DataFrame(rows, columns=columns, dtype=str).fillna(""))
        return package

    return put


def rows_of(package: Package) -> Rows:
    return [dict(row) for row in package.tables.rows("custody")]


def sealed_from(rows: Rows, place: int, signer: Signer | None = None) -> Rows:
    """The ledger with new seals from that event on (counted from 0), as a forger makes them."""
    return sealed(
        [*rows[:place], *(row | dict.fromkeys(FILLED_IN, "") for row in rows[place:])], signer
    )


def altered(rows: Rows) -> Rows:
    return [*rows[:2], rows[2] | {"to_party_id": "OWN"}, *rows[3:]]


def without_seals(rows: Rows, place: int = 0) -> Rows:
    return [*rows[:place], *(row | dict.fromkeys(SEALS, "") for row in rows[place:])]


def test_each_attack_gets_its_word_with_and_without_a_receipt(
    honest: Package, receipt: Anchor, forged: Callable[[Rows], Package]
) -> None:
    rows = rows_of(honest)
    rewritten = sealed_from(altered(rows), 2)
    short, sealed_short = rows[: KNOWN - 2], sealed_from(altered(rows)[: KNOWN - 2], 2)
    attacks: dict[str, tuple[Rows, str, str]] = {
        "altered": (altered(rows), BROKEN, CONTRADICTS),
        "seals blanked": (without_seals(rows), BROKEN, CONTRADICTS),
        "seals blanked behind the receipt": (without_seals(rows, KNOWN), BROKEN, BROKEN),
        "blanked from an event on": (without_seals(rows, 4), BROKEN, CONTRADICTS),
        "altered and sealed anew, unsigned": (rewritten, NOT_ANCHORED, CONTRADICTS),
        "blanked from an event on and sealed anew": (
            sealed_from([*rows[:4], rows[4] | {"notes": ""}, *rows[5:]], 4),
            NOT_ANCHORED,
            CONTRADICTS,
        ),
        "an event dropped and all sealed anew": (
            sealed_from([*rows[:5], *rows[6:]], 5),
            NOT_ANCHORED,
            CONTRADICTS,
        ),
        "cut off before the receipt": (short, NOT_ANCHORED, CONTRADICTS),
        "altered, cut off and sealed anew": (sealed_short, NOT_ANCHORED, CONTRADICTS),
        "no events at all": ([], NOT_ANCHORED, CONTRADICTS),
        "the last cut off": (rows[:-1], NOT_ANCHORED, NOT_ANCHORED),
        "honest": (rows, NOT_ANCHORED, NOT_ANCHORED),
        "as on the receipt": (rows[:KNOWN], NOT_ANCHORED, SOUND),
    }
    for name, (ledger, alone, held) in attacks.items():
        tables = forged(ledger).tables
        assert standing(tables).word == alone, name
        assert standing(tables, [receipt]).word == held, name


def test_a_rewritten_ledger_signed_with_a_key_of_ones_own_is_no_better(
    honest: Package, receipt: Anchor, forged: Callable[[Rows], Package]
) -> None:
    """Whose key it is stands nowhere but in the ledger itself: entered as another's, too."""
    package = forged(sealed_from(altered(rows_of(honest)), 2, OWN))
    assert standing(package.tables).word == NOT_ANCHORED
    assert standing(package.tables, [receipt]).word == CONTRADICTS


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_is_rewritten_the_receipt_fits_just_where_its_events_are_as_they_were(
    honest: Package, forged: Callable[[Rows], Package], data: st.DataObject
) -> None:
    rows = rows_of(honest)
    known = data.draw(st.integers(1, COUNT))
    place = data.draw(st.integers(0, COUNT - 1))
    attack = data.draw(st.sampled_from(["alter", "drop", "cut", "insert", "swap"]))
    if attack == "alter":
        ledger = [*rows[:place], rows[place] | {"notes": "altered"}, *rows[place + 1 :]]
    elif attack == "drop":
        ledger = [*rows[:place], *rows[place + 1 :]]
    elif attack == "cut":
        ledger = rows[:place]
    elif attack == "insert":
        ledger = [*rows[:place], rows[place] | {"notes": "put in"}, *rows[place:]]
    else:
        ledger = [*rows[:place], *rows[place:][::-1]]
    first = next((n for n, (a, b) in enumerate(zip(rows, ledger, strict=False)) if a != b), None)
    ledger = ledger if first is None else sealed_from(ledger, first)
    untouched = min(COUNT, len(ledger)) if first is None else first
    anchor = Anchor("the receipt", rows[known - 1]["event_sha256"], known)
    found = standing(forged(ledger).tables, [anchor])
    assert (found.word == CONTRADICTS) == (untouched < known)
    assert ("events were removed" in found.said[0]) == (untouched < known and len(ledger) < known)


def test_what_cannot_be_known_is_said(
    honest: Package, receipt: Anchor, forged: Callable[[Rows], Package]
) -> None:
    alone = standing(honest.tables)
    assert alone.said == (
        "The seals match one another, but anyone who had this bundle could have rewritten the "
        "entire ledger; give an older bundle, a receipt or a register line with --anchor.",
    )
    part = standing(honest.tables, [receipt])
    assert (part.events, part.anchored) == (COUNT, KNOWN)
    assert f"Events {KNOWN + 1} to {COUNT} ({COUNT - KNOWN}) came after it" in part.said[-1]
    whole = standing(forged(rows_of(honest)[:KNOWN]).tables, [receipt])
    assert "whether there were later events that someone removed" in whole.said[-1]


def test_a_statement_vouches_for_what_came_after_the_receipt_if_its_signer_is_trusted(
    honest: Package, receipt: Anchor
) -> None:
    events = sealed_events(honest.tables)

    def judged(*, trusted: bool = True, **other: object) -> Judged:
        facts = {"heads": tuple(seals_at_ends(events)), "events": COUNT} | other
        return Judged("holl", "full", manifest_sha256="", trusted=trusted, said=(), **facts)  # type: ignore[arg-type]

    for statement, anchors, word in (
        (judged(), [receipt], SOUND),
        (judged(), [], NOT_ANCHORED),  # whoever signs could have rewritten it before
        (judged(trusted=False), [receipt], NOT_ANCHORED),
        (judged(events=COUNT + 1), [receipt], BROKEN),
        (judged(heads=("0" * 64,)), [receipt], BROKEN),
    ):
        assert standing(honest.tables, anchors, statement).word == word


def test_the_right_seal_with_another_number_of_events_does_not_fit(
    honest: Package, receipt: Anchor
) -> None:
    for wrong in (
        Anchor("x", receipt.head, KNOWN + 1),
        Anchor("x", "0" * 32, KNOWN),
    ):
        assert standing(honest.tables, [receipt, wrong]).word == CONTRADICTS


def test_the_copy_of_who_handed_it_in_is_told_from_a_rewritten_one(
    honest: Package, receipt: Anchor, forged: Callable[[Rows], Package]
) -> None:
    """The keeper adds events when samples come along; the other copy goes on without them."""
    rows = rows_of(honest)
    kept = Anchor("the register", rows[-1]["event_sha256"], COUNT, handed_in=receipt)
    for ledger, word in (
        (rows, SOUND),
        (rows[:KNOWN], NOT_ANCHORED),
        (sealed_from([*rows[:KNOWN], rows[KNOWN] | {"notes": "own"}], KNOWN), NOT_ANCHORED),
        (sealed_from(altered(rows), 2), CONTRADICTS),
    ):
        found = standing(forged(ledger).tables, [kept])
        assert found.word == word
        assert (word == NOT_ANCHORED) == (
            "merged with the one that is kept" in " ".join(found.said)
        )


def test_the_end_of_a_ledger_is_written_and_read_in_every_form_of_a_receipt(
    honest: Package,
) -> None:
    here = anchor_of(honest.tables, "here")
    assert here is not None
    printed = here.code
    digits = here.head[:32]
    scanned = f"treenail accession 2026.0001\non 2026-03-01\nledger {COUNT} {digits}"
    for text in (printed, printed.upper(), scanned, f"custody: {printed} (nothing kept here)"):
        found = anchor_in_text(text, "the receipt")
        assert found == Anchor("the receipt", digits, COUNT), text
        assert standing(honest.tables, [found]).word == SOUND
    assert anchor_in_text("2026.0001", "the receipt") is None
    for text in (printed[:-1], f"ledger 0 {digits}"):
        with pytest.raises(UnusableInput, match="copy it again"):
            anchor_in_text(text, "the receipt")
    with pytest.raises(UnusableInput, match="not a number of events"):
        anchor_from("x", here.head, "many")


def test_a_record_without_a_ledger_can_still_contradict(tmp_path: Path) -> None:
    package = a_package(tmp_path).package
    assert anchor_of(package.tables, "x") is None
    assert standing(package.tables, [Anchor("x", "0" * 64, 1)]).word == CONTRADICTS

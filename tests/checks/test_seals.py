"""Seals and signatures of the custody ledger, as the check sees them."""

from __future__ import annotations

import sys

import pytest

from provenance._base.findings import Finding
from provenance._checks.check import check_package
from provenance._ledger.custody import verify_chain
from provenance._ledger.keys import key_faults
from provenance._ledger.seals import FILLED_IN, body_hash, event_hash, to_sign
from provenance._ledger.signing import verify_signed
from provenance._record.package import Package
from tests.builders import a_package
from tests.ledger.test_signing import MARA, THIEF, a_record, act

SUBJECTS = ("custody.chain", "custody.not_sealed", "custody.sign", "key.")


@pytest.fixture
def package(tmp_path) -> Package:
    """A package with two sealed events, the second signed."""
    package = a_record(tmp_path)
    act(package, "collected", to_party_id="MB")
    act(package, "mounted", MARA)
    return package


def found(package: Package) -> list[Finding]:
    return [one for one in check_package(package) if one.rule.startswith(SUBJECTS)]


def rewritten(package: Package, row: int, **values: str) -> Package:
    ledger = package.table("custody")
    for field, value in values.items():
        ledger.loc[row, field] = value
    package.write_table("custody", ledger)
    return package


def test_a_sealed_and_signed_ledger_has_no_finding(package) -> None:
    assert found(package) == []


def test_an_event_altered_after_it_was_sealed_is_an_error(package) -> None:
    (one,) = found(rewritten(package, 2, happened_on="2024-06-05"))
    assert (one.rule, one.severity, one.row, one.key) == ("custody.chain_broken", "error", 2, "1")
    assert "does not match its own seal" in one.message


def test_only_the_spelling_of_a_number_is_changed_and_still_it_shows(package) -> None:
    """The typed frames would read '2.0' and '2' alike; a seal covers what is written."""
    (one,) = found(rewritten(package, 3, custody_id="2.0"))
    assert (one.rule, one.field, one.value) == ("custody.chain_broken", "custody_id", "2.0")


def test_check_and_ledger_point_at_the_same_event(package) -> None:
    rewritten(package, 3, notes="put in later")
    (one,) = found(package)
    (same,) = verify_chain(package)
    assert (one.rule, one.row, one.field, one.key) == (same.rule, same.row, same.field, same.key)
    assert same.message in one.message
    assert one.remedy == same.remedy


def test_events_that_bear_no_seal_are_an_error(package) -> None:
    (one,) = found(rewritten(package, 3, **dict.fromkeys(FILLED_IN, "")))
    assert (one.rule, one.severity, one.row) == ("custody.not_sealed", "error", 3)
    assert "--seal" in one.remedy


def test_what_the_ledger_says_of_signatures_and_keys_the_check_says_too(package) -> None:
    ledger = package.table("custody")
    signed = dict(ledger.loc[3])
    for changed, rule, severity in (
        ({"signature": THIEF.sign(to_sign(signed["body_sha256"]))}, "signature_false", "error"),
        ({"signature": ""}, "signature_false", "error"),
        ({"key_id": THIEF.key_id}, "signer_unknown", "warning"),
        ({"recorded_on": "2023-06-04"}, "signed_out_of_time", "warning"),
        ({"recorded_by": "OWN"}, "signed_by_another", "warning"),
    ):
        # sealed anew, as whoever did it would
        event = signed | changed
        event["body_sha256"] = body_hash(event)
        if "signature" not in changed:
            event["signature"] = MARA.sign(to_sign(event["body_sha256"]))
        event["event_sha256"] = event_hash(event)
        (one,) = found(rewritten(package, 3, **event))
        assert (one.rule, one.severity, one.row) == (f"custody.{rule}", severity, 3), changed
        (same,) = verify_signed(package.tables)
        assert same.message in one.message
        assert (one.remedy, one.field) == (same.remedy, same.field)
    package.write_table("custody", ledger)
    keys = package.table("key")
    keys.loc[2, "keeper_signature"] = keys.loc[2, "self_signature"]
    package.write_table("key", keys)
    (one,) = found(package)
    assert (one.rule, one.table, one.row) == ("key.counter_signature_false", "key", 2)
    assert [same.message in one.message for same in key_faults(package.tables)] == [True]


def test_signatures_that_nobody_can_test_are_said_to_be_so(package, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "cryptography.hazmat.primitives.asymmetric", None)
    (one,) = found(package)
    assert (one.rule, one.severity, one.row) == ("custody.signature_not_tested", "note", 3)
    assert "pip install" in one.message


def test_a_ledger_without_a_column_of_seals_proves_nothing(package) -> None:
    path = package.table_path("custody")
    path.write_text(path.read_text("utf-8").replace("event_sha256", "seal", 1), encoding="utf-8")
    (one,) = found(package)
    assert one.rule == "custody.chain_broken"
    assert "no column event_sha256" in one.message


def test_an_empty_ledger_has_nothing_to_seal(tmp_path) -> None:
    assert found(a_package(tmp_path).with_chain().package) == []

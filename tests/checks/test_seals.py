"""Seals and signatures of the custody ledger, as the check sees them."""

from __future__ import annotations

import sys

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from provenance._base.findings import Finding
from provenance._checks.check import check_package
from provenance._ledger.custody import verify_chain
from provenance._ledger.handover import record_events
from provenance._ledger.signing import sign_events
from provenance._record.package import Package
from tests.builders import a_package

KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
RULES = {
    "custody.chain_broken",
    "custody.not_sealed",
    "custody.signature_false",
    "custody.signature_not_tested",
}


@pytest.fixture
def package(tmp_path) -> Package:
    """A package with two sealed events."""
    package = a_package(tmp_path).with_chain().package
    for event, options in (("collected", {"to_party_id": "MB"}), ("mounted", {})):
        record_events(
            package, event, ["231"], happened_on="2024-06-04", recorded_on="2024-06-04", **options
        )
    return package


def found(package: Package) -> list[Finding]:
    return [one for one in check_package(package) if one.rule in RULES]


def rewritten(package: Package, row: int, **values: str) -> Package:
    ledger = package.table("custody")
    for field, value in values.items():
        ledger.loc[row, field] = value
    package.write_table("custody", ledger)
    return package


def test_a_sealed_and_signed_ledger_is_sound(package) -> None:
    sign_events(package, KEY, ["1", "2"])
    assert found(package) == []


def test_an_event_altered_after_it_was_sealed_is_an_error(package) -> None:
    (one,) = found(rewritten(package, 2, happened_on="2024-06-05"))
    assert (one.rule, one.severity, one.row, one.key) == ("custody.chain_broken", "error", 2, "1")
    assert "does not bear its own seal" in one.message


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


def test_events_that_are_not_sealed_yet_are_a_warning(package) -> None:
    (one,) = found(rewritten(package, 3, previous_sha256="", event_sha256=""))
    assert (one.rule, one.severity, one.row) == ("custody.not_sealed", "warning", 3)


def test_a_false_signature_is_an_error(package) -> None:
    sign_events(package, KEY, ["2"])
    (one,) = found(rewritten(package, 3, signature="A" * 86 + "=="))
    assert (one.rule, one.severity, one.row) == ("custody.signature_false", "error", 3)


def test_signatures_that_nobody_can_test_are_said_to_be_so(package, monkeypatch) -> None:
    sign_events(package, KEY, ["2"])
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

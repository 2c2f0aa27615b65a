"""Signatures of custody events."""

from __future__ import annotations

import base64

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
)

from provenance._base.errors import TreenailError
from provenance._ledger.custody import verify_chain
from provenance._ledger.handover import record_events
from provenance._ledger.signing import read_signing_key, sign_events, verify_signed
from tests.builders import a_package

# RFC 8032, section 7.1, TEST 1: secret key, public key, signature over the empty message
SECRET = "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"
PUBLIC = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
SIGNATURE = (
    "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bac"
    "c61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
)
KEY = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(SECRET))


@pytest.fixture
def package(tmp_path):
    package = a_package(tmp_path).with_chain().package
    for event, options in (("collected", {"to_party_id": "MB"}), ("mounted", {})):
        record_events(
            package, event, ["231"], happened_on="2024-06-04", recorded_on="2024-06-04", **options
        )
    return package


def test_the_library_gives_the_signature_of_the_standard() -> None:
    """RFC 8032, section 7.1, TEST 1."""
    assert KEY.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw).hex() == PUBLIC
    assert KEY.sign(b"").hex() == SIGNATURE


def test_a_signature_covers_the_seal_of_its_event(package) -> None:
    sign_events(package, KEY, ["1", "2"])
    assert verify_signed(package.tables) == []
    assert verify_chain(package) == []
    row = package.table("custody").iloc[0]
    assert base64.b64decode(row["signer_key"]).hex() == PUBLIC
    KEY.public_key().verify(base64.b64decode(row["signature"]), bytes.fromhex(row["event_sha256"]))


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("signature", base64.b64encode(b"x" * 64).decode()),
        ("signature", "no base64!"),
        ("signer_key", base64.b64encode(b"x" * 32).decode()),
        ("event_sha256", "0" * 64),
    ],
)
def test_whatever_is_changed_the_signature_no_longer_holds(package, field, value) -> None:
    sign_events(package, KEY, ["1", "2"])
    ledger = package.table("custody")
    ledger.loc[2, field] = value
    package.write_table("custody", ledger)
    assert [(one.rule, one.key) for one in verify_signed(package.tables)] == [
        ("custody.signature_false", "1")
    ]


def test_events_without_a_signature_are_passed_over(package) -> None:
    assert verify_signed(package.tables) == []


def test_an_event_is_signed_once_and_only_when_it_is_there(package) -> None:
    sign_events(package, KEY, ["1"])
    with pytest.raises(TreenailError, match="signed already"):
        sign_events(package, KEY, ["1"])
    with pytest.raises(TreenailError, match="no event 9"):
        sign_events(package, KEY, ["9"])


def test_a_key_file_is_read_and_other_files_are_refused(tmp_path) -> None:
    path = tmp_path / "key.pem"
    path.write_bytes(KEY.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    assert read_signing_key(path).sign(b"").hex() == SIGNATURE
    path.write_text("no key")
    with pytest.raises(TreenailError, match="openssl genpkey"):
        read_signing_key(path)

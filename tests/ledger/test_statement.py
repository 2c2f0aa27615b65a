"""The signed statement is what the standards say, and no change to it goes unseen."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from joserfc import jws
from joserfc.jwk import OKPKey

from provenance._base.errors import UnusableInput
from provenance._ledger import statement as module
from provenance._ledger.ed25519 import Signer, b64url, jwk_of, thumbprint, unb64url
from provenance._ledger.statement import (
    FalseStatement,
    judge_statement,
    pinned_keys,
    signed,
    signing_input,
    statement_bytes,
)

# RFC 8037, appendix A.1 (the key of RFC 8032, TEST 1)
KEY = Signer(
    Ed25519PrivateKey.from_private_bytes(unb64url("nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A"))
)
OTHER = Signer(Ed25519PrivateKey.from_private_bytes(bytes(32)))
FACTS = {"record": "holl", "edition": "full", "heads": ["a" * 64], "events": 3,
         "keys": [], "manifestSha256": "b" * 64}  # fmt: skip
STATEMENT = statement_bytes(FACTS)
SIGNED = signed(STATEMENT, [KEY])
KEEPER = {KEY.key_id: "keeper"}


def test_key_and_name_of_a_key_are_those_of_rfc_8037() -> None:
    """Appendices A.2 (public key) and A.3 (thumbprint)."""
    public = KEY.public
    assert jwk_of(public)["x"] == "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"
    assert thumbprint(public) == unb64url("kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k").hex()


def test_the_signing_input_is_the_one_of_rfc_7797() -> None:
    """Section 4.2: payload '$.02' with b64 false, HS256 by the key of RFC 7515, appendix A.1."""
    secret = unb64url(
        "AyM1SysPpbyDfgZld3umj1qzKObwVMkoqQ-EstJQLr_T-1qS0gZH75aKtMN3Yj0iPS4hcgUuTwjAzZr1Z9CAow"
    )
    protected = b64url(b'{"alg":"HS256","b64":false,"crit":["b64"]}')
    assert protected == "eyJhbGciOiJIUzI1NiIsImI2NCI6ZmFsc2UsImNyaXQiOlsiYjY0Il19"
    tag = hmac.new(secret, signing_input(protected, b"$.02"), hashlib.sha256).digest()
    assert b64url(tag) == "A5dxf2s96_n5FLueVuW1Z_vh161FwXZC4YLPff6dmDY"


def test_another_library_accepts_what_is_signed_here() -> None:
    """joserfc reads the general JSON serialization, with the detached payload put back in."""
    raw = json.loads(signed(STATEMENT, [OTHER], before=SIGNED))
    assert "payload" not in raw
    assert len(raw["signatures"]) == 2
    for one, key in zip(raw["signatures"], (KEY, OTHER), strict=True):
        public = OKPKey.import_key(jwk_of(key.public))
        general = {"payload": STATEMENT.decode(), "signatures": [one]}
        assert jws.deserialize_json(general, public, ["Ed25519"]).payload == STATEMENT
        general["payload"] += " "
        with pytest.raises(jws.BadSignatureError):
            jws.deserialize_json(general, public, ["Ed25519"])


def test_what_another_library_signed_is_accepted_here() -> None:
    private = OKPKey.import_key(
        {**jwk_of(KEY.public), "d": b64url(KEY.private.private_bytes_raw())}
    )
    header = {
        "alg": "Ed25519",
        "b64": False,
        "crit": ["b64"],
        "jwk": jwk_of(KEY.public),
        "kid": KEY.key_id,
    }
    made = jws.serialize_json([{"protected": header}], STATEMENT, private, ["Ed25519"])
    signatures = json.dumps({"signatures": made["signatures"]}).encode()
    assert judge_statement(STATEMENT, signatures, KEEPER).trusted


def test_only_a_key_that_the_reader_pinned_is_trusted() -> None:
    judged = judge_statement(STATEMENT, SIGNED, KEEPER)
    assert (judged.trusted, judged.heads, judged.events) == (True, ("a" * 64,), 3)
    assert judged.said == ("The bundle is signed by keeper, whom you trust.",)
    strange = judge_statement(STATEMENT, signed(STATEMENT, [OTHER]), KEEPER)
    assert not strange.trusted
    assert OTHER.key_id in strange.said[0]
    both = judge_statement(STATEMENT, signed(STATEMENT, [OTHER], before=SIGNED), KEEPER)
    assert both.trusted


def changed(**header: object) -> bytes:
    """The signatures with another protected header, signed rightly over that."""
    kept = {**module._HEADER, "jwk": jwk_of(KEY.public), "kid": KEY.key_id}
    protected = b64url(json.dumps(kept | header).encode())
    signature = b64url(KEY.private.sign(signing_input(protected, STATEMENT)))
    return json.dumps({"signatures": [{"protected": protected, "signature": signature}]}).encode()


def test_a_statement_that_was_changed_or_is_none_is_false() -> None:
    assert judge_statement(STATEMENT, changed(), KEEPER).trusted
    one = json.loads(SIGNED)["signatures"][0]
    odd = statement_bytes(FACTS | {"heads": 1})
    cut = json.dumps({"signatures": [one | {"signature": one["signature"][:-2]}]}).encode()
    for name, statement, signatures in (
        ("changed", STATEMENT.replace(b"3", b"2"), SIGNED),
        ("cut signature", STATEMENT, cut),
        ("another's key", STATEMENT, changed(jwk=jwk_of(OTHER.public))),
        ("another's name", STATEMENT, changed(kid=OTHER.key_id)),
        ("none", STATEMENT, changed(alg="none")),
        ("HS256", STATEMENT, changed(alg="HS256")),
        ("encoded", STATEMENT, changed(b64=True)),
        ("not critical", STATEMENT, changed(crit=[])),
        ("no key", STATEMENT, changed(jwk=None)),
        ("no signature", STATEMENT, b'{"signatures": []}'),
        ("no list", STATEMENT, b'{"signatures": {"protected": ""}}'),
        ("no object", STATEMENT, b"[]"),
        ("deep", STATEMENT, b'{"signatures":' + b"[" * 100_000),
        ("not UTF-8", b"\xff", SIGNED),
        ("heads", odd, signed(odd, [KEY])),
    ):
        with pytest.raises(FalseStatement, match="statement"):
            _ = name, judge_statement(statement, signatures, KEEPER)


def test_the_keys_of_the_readers_folder_always_count(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "keepers_folder", lambda: tmp_path / "keepers")
    assert pinned_keys() == {}
    (tmp_path / "keepers").mkdir()
    for name, key in (("keepers/Fenwick store.pem", KEY), ("laboratory.pem", OTHER)):
        pem = key.private.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
        (tmp_path / name).write_bytes(pem)
    found = pinned_keys([tmp_path / "laboratory.pem"])
    assert sorted(found.values()) == ["Fenwick store", "laboratory"]
    assert found[KEY.key_id] == "Fenwick store"


def test_a_file_that_is_no_public_key_is_refused_with_what_to_do(tmp_path: Path) -> None:
    from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
    from cryptography.hazmat.primitives.serialization import NoEncryption, PrivateFormat

    pem, spki = Encoding.PEM, PublicFormat.SubjectPublicKeyInfo
    private = KEY.private.private_bytes(pem, PrivateFormat.PKCS8, NoEncryption())
    for content, said in (
        (b"", "is not a public key to trust"),
        (private, "only its owner may have"),
        (X25519PrivateKey.generate().public_key().public_bytes(pem, spki), "Ed25519 is needed"),
    ):
        (tmp_path / "key.pem").write_bytes(content)
        with pytest.raises(UnusableInput, match=said) as told:
            pinned_keys([tmp_path / "key.pem"])
        assert "openssl pkey -in KEY.pem -pubout" in str(told.value)


def test_base64url_is_read_strictly() -> None:
    """RFC 7515 section 2: no padding, no line ends, and one way only to write the same bytes."""
    assert unb64url(b64url(b"\xff\xfe")) == b"\xff\xfe"
    for text in ("_-4=", "_-4\n", "__5", "+/4", base64.b64encode(b"ab").decode()):
        with pytest.raises(ValueError, match=r".*"):
            unb64url(text)

"""Signatures of custody events, and the keys that they are made with."""

from __future__ import annotations

import base64
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from joserfc.jwk import OKPKey

from provenance._base.errors import AlreadyThere, TreenailError
from provenance._cli import treenail
from provenance._history.deciding import decide, rename
from provenance._ledger.custody import verify_chain
from provenance._ledger.ed25519 import Signer, is_signed, key_id_of
from provenance._ledger.handover import record_events
from provenance._ledger.key_files import read_key_file, write_key_file
from provenance._ledger.keys import (
    KeyRefused,
    countersign_key,
    enter_key,
    is_vouched,
    key_faults,
    keys_of,
    retire_key,
)
from provenance._ledger.signing import count_signatures, signer_of, verify_signed
from provenance._record.package import Package, open_package
from tests.builders import a_package

# RFC 8032, section 7.1, TEST 1: secret key, public key, signature over the empty message
SECRET = "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"
PUBLIC = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
SIGNATURE = (
    "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bac"
    "c61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
)
PASSPHRASE = "dry oak by the river"


def a_signer(number: int) -> Signer:
    return Signer(Ed25519PrivateKey.from_private_bytes(bytes([number]) * 32))


MARA, KEEPER, THIEF = a_signer(1), a_signer(2), a_signer(3)


def a_record(folder: Path) -> Package:
    """A record in which Mara and the archive have keys, and the archive vouches for Mara's."""
    builder = a_package(folder).with_chain()
    package = builder.with_bare_row(
        "party", party_id="REPO", kind="organisation", name="Tarn Store (invented)", roles="curator"
    ).package
    enter_key(package, MARA, "MB", since="2024-01-01")
    enter_key(package, KEEPER, "REPO", since="2020-01-01")
    countersign_key(package, MARA.key_id, KEEPER)
    return package


def act(package: Package, event: str, signer: Signer | None = None, **options: str) -> None:
    record_events(
        package, event, ["231"], happened_on="2024-06-04", recorded_on="2024-06-04T10:00:00Z",
        signer=signer, **options,
    )  # fmt: skip


@pytest.fixture
def package(tmp_path: Path) -> Package:
    """Two events, the first signed by Mara."""
    package = a_record(tmp_path)
    act(package, "collected", MARA, to_party_id="MB")
    act(package, "mounted")
    return package


def rules(package: Package) -> list[tuple[str, str, str]]:
    found = [*verify_chain(package), *verify_signed(package.tables), *key_faults(package.tables)]
    return [(one.rule, one.severity, one.key[:6]) for one in found]


def rewritten(package: Package, table: str, row: int, **values: str) -> Package:
    frame = package.table(table)
    for name, value in values.items():
        frame.loc[row, name] = value
    package.write_table(table, frame)
    return package


# -- against published values and other programs ---------------------------------------------------


def test_the_library_gives_the_signature_of_the_standard() -> None:
    """RFC 8032, section 7.1, TEST 1."""
    key = Signer(Ed25519PrivateKey.from_private_bytes(bytes.fromhex(SECRET)))
    assert base64.b64decode(key.public_key).hex() == PUBLIC
    assert base64.b64decode(key.sign(b"")).hex() == SIGNATURE
    assert is_signed(key.public_key, key.sign(b""), b"")


def test_a_key_is_named_by_the_thumbprint_of_the_standard() -> None:
    """RFC 8037, appendix A.3, and another library (joserfc, RFC 7638)."""
    key = Signer(Ed25519PrivateKey.from_private_bytes(bytes.fromhex(SECRET)))
    published = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"
    assert key.key_id == base64.urlsafe_b64decode(published + "=").hex()
    pem = MARA.private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    theirs = OKPKey.import_key(pem).thumbprint()
    assert MARA.key_id == base64.urlsafe_b64decode(theirs + "=").hex()
    assert key_id_of("no key") == key_id_of("AAAA") == ""


@pytest.mark.skipif(not shutil.which("openssl"), reason="OpenSSL is not installed")
def test_openssl_reads_our_keys_and_we_read_its(tmp_path: Path) -> None:
    def openssl(*words: str) -> bytes:
        return subprocess.run(["openssl", *words], check=True, capture_output=True).stdout

    ours = write_key_file(tmp_path / "ours.pem", PASSPHRASE)
    message, signature = tmp_path / "message", tmp_path / "signature"
    message.write_bytes(b"treenail-event-2\0" + bytes(32))
    opened = ["-inkey", str(tmp_path / "ours.pem"), "-passin", f"pass:{PASSPHRASE}"]
    openssl("pkeyutl", "-sign", "-rawin", "-in", str(message), "-out", str(signature), *opened)
    theirs = base64.b64encode(signature.read_bytes()).decode()
    assert theirs == ours.sign(message.read_bytes())
    openssl("genpkey", "-algorithm", "ed25519", "-aes256", "-pass", f"pass:{PASSPHRASE}",
            "-out", str(tmp_path / "theirs.pem"))  # fmt: skip
    read = read_key_file(tmp_path / "theirs.pem", lambda: PASSPHRASE)
    public = openssl("pkey", "-in", str(tmp_path / "theirs.pem"), "-passin", f"pass:{PASSPHRASE}",
                     "-pubout", "-outform", "DER")  # fmt: skip
    assert public.endswith(base64.b64decode(read.public_key))


# -- events --------------------------------------------------------------------------------------


def test_an_event_is_signed_when_it_is_recorded(package: Package) -> None:
    first, second = package.tables.rows("custody")
    assert rules(package) == []
    assert (first["recorded_by"], second["recorded_by"]) == ("MB", "")
    key = signer_of(first, package.tables)
    assert key is not None
    assert (key.party_id, key.key_id) == ("MB", MARA.key_id)
    assert signer_of(second, package.tables) is None
    counted = count_signatures(package.tables)
    assert (counted.events, counted.by_party, counted.unsigned) == (2, {"MB": 1}, 1)


def test_nobody_signs_with_a_key_that_is_not_his_or_out_of_its_time(package: Package) -> None:
    before = package.table_path("custody").read_bytes()
    for signer, options, says in (
        (THIEF, {}, "does not have key"),
        (MARA, {"recorded_by": "OWN"}, "belongs to MB, but OWN records this event"),
    ):
        with pytest.raises(KeyRefused, match=says):
            act(package, "stored", signer, **options)
    retire_key(package, MARA.key_id[:8], MARA, until="2024-05-31")
    with pytest.raises(KeyRefused, match="from 2024-01-01 until 2024-05-31, and today is"):
        act(package, "stored", MARA)
    assert package.table_path("custody").read_bytes() == before
    # what it signed before it was retired with an earlier day has to be asked about
    assert rules(package) == [("custody.signed_out_of_time", "warning", "1")]


@pytest.mark.parametrize(
    ("values", "rule"),
    [
        ({"signature": ""}, "custody.chain_broken"),
        ({"signature": THIEF.sign(b"x")}, "custody.chain_broken"),
        ({"signature": "no base64!"}, "custody.chain_broken"),
        ({"key_id": THIEF.key_id}, "custody.chain_broken"),
        ({"key_id": "", "signature": ""}, "custody.chain_broken"),
        ({"signer_key": THIEF.public_key}, "custody.chain_broken"),
    ],
)
def test_signature_and_key_are_inside_the_seal(
    package: Package, values: dict[str, str], rule: str
) -> None:
    rewritten(package, "custody", 2, **values)
    assert (rule, "error", "1") in rules(package)


def test_who_wrote_down_and_who_signed_are_compared_under_the_codes_of_now(
    package: Package,
) -> None:
    decide(package, rename("party", "MB", "BM"), who="MB", why="two of them")
    assert rules(package) == []
    assert signer_of(package.tables.rows("custody")[0], package.tables).party_id == "BM"  # type: ignore[union-attr]
    act(package, "stored", MARA)
    assert package.tables.rows("custody")[2]["recorded_by"] == "BM"
    assert rules(package) == []


# -- keys ----------------------------------------------------------------------------------------


def test_a_keeper_whom_the_reader_trusts_vouches_for_keys(package: Package) -> None:
    keys = keys_of(package.tables)
    assert set(keys) == {MARA.key_id, KEEPER.key_id}
    assert is_vouched(keys[MARA.key_id], {KEEPER.key_id})
    assert is_vouched(keys[KEEPER.key_id], {KEEPER.key_id})
    assert not is_vouched(keys[MARA.key_id], set())
    assert not is_vouched(keys[KEEPER.key_id], {""})
    assert not is_vouched(keys[MARA.key_id], {THIEF.key_id})


def test_what_does_not_hold_of_a_key_is_named(package: Package, tmp_path: Path) -> None:
    mara, keeper = MARA.key_id[:6], KEEPER.key_id[:6]
    unknown = ("custody.signer_unknown", "warning", "1")
    lost = [unknown, ("key.false", "error", mara)]
    forged = THIEF.sign(b"anything")
    for row, values, found in (
        (2, {"party_id": "OWN"}, lost),
        (2, {"since": "2023-01-01"}, lost),
        (2, {"public_key": THIEF.public_key}, lost),
        (2, {"self_signature": forged}, lost),
        (2, {"record_id": "0" * 24}, lost),
        (2, {"keeper_signature": forged}, [("key.counter_signature_false", "error", mara)]),
        (2, {"keeper_key_id": THIEF.key_id}, [("key.keeper_unknown", "warning", mara)]),
        (2, dict.fromkeys(("keeper_key_id", "keeper_signature"), ""),
         [("key.not_countersigned", "note", mara)]),
        (2, {"until": "2025-01-01"}, [("key.retirement_false", "error", mara)]),
        (3, {"party_id": "OWN"}, [("key.false", "error", keeper),
                                  ("key.keeper_unknown", "warning", mara)]),
    ):  # fmt: skip
        there = package.table("key")
        assert sorted(rules(rewritten(package, "key", row, **values))) == sorted(found), values
        package.write_table("key", there)
    # a party that is no keeper any more
    parties = package.table("party")
    parties.loc[parties["party_id"] == "REPO", "roles"] = "laboratory"
    package.write_table("party", parties)
    assert ("key.keeper_unknown", "warning", mara) in rules(package)


def test_a_key_cannot_be_taken_into_another_record(package: Package, tmp_path: Path) -> None:
    other = a_record(tmp_path / "other")
    folder = tmp_path / "other" / "holl"
    other.with_descriptor({"name": "another"})
    for name in ("act", "change"):
        path = folder / "tables" / f"{name}.csv"
        path.write_text(path.read_text("utf-8").splitlines()[0] + "\n", encoding="utf-8")
    other = open_package(folder)
    enter_key(other, THIEF, "LAB", since="2024-01-01")
    assert {rule for rule, _, _ in rules(other)} == {"key.false", "key.not_countersigned"}


def test_a_key_that_was_stolen_is_retired_by_a_keeper(package: Package) -> None:
    with pytest.raises(KeyRefused, match="itself or the key of a keeper"):
        retire_key(package, MARA.key_id, THIEF, until="2024-06-30")
    enter_key(package, THIEF, "LAB", since="2024-01-01", until="2024-12-31")
    with pytest.raises(KeyRefused, match="itself or the key of a keeper"):
        retire_key(package, MARA.key_id, THIEF, until="2024-06-30")
    retire_key(package, MARA.key_id, KEEPER, until="2024-06-30")
    assert rules(package) == [("key.not_countersigned", "note", THIEF.key_id[:6])]
    key = keys_of(package.tables)[MARA.key_id]
    assert (key.until, key.keeper_key_id) == ("2024-06-30", KEEPER.key_id)
    for day in ("2024-01-01", "2024-06-30T23:00:00Z", "2024", ""):
        assert key.may_sign_on(day), day
    for day in ("2023-12-31", "2024-07-01", "2025"):
        assert not key.may_sign_on(day), day
    with pytest.raises(KeyRefused, match="is already retired with 2024-06-30"):
        retire_key(package, MARA.key_id, MARA, until="2030-01-01")
    with pytest.raises(KeyRefused, match="before the first day"):
        retire_key(package, MARA.key_id, MARA, until="2023-01-01")


def test_only_keepers_vouch_and_nobody_for_himself(package: Package) -> None:
    refused: list[tuple[Callable[[], object], str]] = [
        (lambda: countersign_key(package, KEEPER.key_id, MARA), "not that of a keeper"),
        (lambda: countersign_key(package, KEEPER.key_id, KEEPER), "cannot vouch for itself"),
        (lambda: countersign_key(package, MARA.key_id, KEEPER), "already counter-signed"),
        (lambda: countersign_key(package, "0" * 8, KEEPER), "is not a key"),
        (lambda: countersign_key(package, MARA.key_id[:4], KEEPER), "first 8 characters"),
        (lambda: enter_key(package, MARA, "OWN", since="2024"), "already"),
        (lambda: enter_key(package, THIEF, "NN", since="2024"), "has no NN"),
        (lambda: enter_key(package, THIEF, "OWN", since="June"), "is not a date"),
    ]
    before = package.table_path("key").read_bytes()
    for do, says in refused:
        with pytest.raises(KeyRefused, match=says):
            do()
    assert package.table_path("key").read_bytes() == before


# -- files and commands ----------------------------------------------------------------------------


def test_a_key_file_is_protected_and_its_faults_are_told(tmp_path: Path) -> None:
    def nobody() -> str:
        raise AssertionError("a key without a passphrase needs none")

    path = tmp_path / "key.pem"
    made = write_key_file(path, PASSPHRASE)
    assert path.stat().st_mode & 0o077 == 0
    assert load_pem_private_key(path.read_bytes(), PASSPHRASE.encode())
    assert read_key_file(path, lambda: PASSPHRASE).key_id == made.key_id
    for wrong in ("dry oak by the lake", ""):
        with pytest.raises(TreenailError, match="passphrase does not open"):
            read_key_file(path, str(wrong).strip)
    with pytest.raises(AlreadyThere):
        write_key_file(path, PASSPHRASE)
    with pytest.raises(TreenailError, match="too short"):
        write_key_file(tmp_path / "other.pem", "x" * 11)
    bare = MARA.private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    path.write_bytes(bare)
    assert read_key_file(path, nobody).key_id == MARA.key_id
    exchange = X25519PrivateKey.generate()
    path.write_bytes(exchange.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    with pytest.raises(TreenailError, match="another kind of key"):
        read_key_file(path, nobody)
    path.write_text("no key")
    with pytest.raises(TreenailError, match=r"treenail custody keys PACKAGE --new key\.pem"):
        read_key_file(path, nobody)


def test_from_a_new_key_to_a_signed_event_on_the_command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TREENAIL_PASSPHRASE", raising=False)
    builder = a_package(tmp_path).with_chain()
    folder = str(builder.with_bare_row("party", party_id="REPO", kind="organisation",
                                       name="Tarn Store (invented)", roles="repository")
                 .package.folder)  # fmt: skip
    words = tmp_path / "words.txt"
    words.write_text(f"{PASSPHRASE}\nand more\n", encoding="utf-8")
    run = CliRunner()

    def done(*line: str, **options: object) -> str:
        result = run.invoke(treenail, list(line), **options)  # type: ignore[arg-type]
        assert result.exit_code == 0, (result.output, result.exception)
        return result.output

    def refused(*line: str) -> str:
        result = run.invoke(treenail, list(line))
        assert result.exit_code != 0
        return f"{result.output}{result.exception}"

    own, keepers = str(tmp_path / "mb.pem"), str(tmp_path / "repo.pem")
    new = ["custody", "keys", folder, "--since", "2024-01-01", "--new"]
    assert "has no NN" in refused(*new, own, "--party", "NN")
    assert not Path(own).exists()
    assert "say whose key" in refused(*new, own)
    assert "there is no terminal to ask on" in refused(*new, own, "--party", "MB")
    done(*new, own, "--party", "MB", "--passphrase-file", str(words))
    done(*new, keepers, "--party", "REPO", env={"TREENAIL_PASSPHRASE": PASSPHRASE})
    listed = done("custody", "keys", folder)
    name = listed.split()[0]
    assert "MB  since 2024-01-01  not counter-signed" in listed
    with_keeper = ["--key", keepers, "--passphrase-file", str(words)]
    assert "counter-signed by REPO" in done(
        "custody", "keys", folder, "--countersign", name, *with_keeper
    )

    collected = ["custody", "handover", folder, "collected", "--samples", "231", "--to", "MB"]
    collected += ["--on", "2024-06-04", "--key", own]
    wrong = tmp_path / "wrong.txt"
    wrong.write_text("dry oak by the lake", encoding="utf-8")
    assert "does not open" in refused(*collected, "--passphrase-file", str(wrong))
    assert open_package(folder).tables.count("custody") == 0
    done(*collected, "--passphrase-file", str(words))
    assert open_package(folder).tables.rows("custody")[0]["recorded_by"] == "MB"
    told = done("custody", "show", folder)
    assert "The ledger is sealed: 1 event, 1 of them signed (MB 1)." in told
    assert "It is not anchored" in told
    assert "sound" not in told
    assert " until " in done("custody", "keys", folder, "--retire", name, *with_keeper)

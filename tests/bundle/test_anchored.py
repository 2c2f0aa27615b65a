"""A ledger against what was kept of it elsewhere, and the statement signed into a bundle."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import bagit
import pandas as pd
import pytest
from click.testing import CliRunner, Result
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
)

from provenance._accession.before import COLUMNS
from provenance._base.errors import UnusableInput
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.verify import verify_bundle
from provenance._cli import treenail
from provenance._ledger.anchors import anchor_of
from provenance._ledger.custody import append_events, sealed
from provenance._ledger.ed25519 import Signer
from provenance._ledger.seals import FILLED_IN
from provenance._ledger.statement import SIGNATURES, STATEMENT
from provenance._record.package import open_package
from tests.builders import left_alone, pack_bundle
from tests.bundle.conftest import LEDGER
from tests.bundle.test_hostile import sealed_anew
from tests.bundle.test_pack import bytes_of

KEEPER, FORGER = (Signer(Ed25519PrivateKey.from_private_bytes(bytes([n] * 32))) for n in (1, 2))


def run(*arguments: object) -> Result:
    return CliRunner().invoke(treenail, [str(one) for one in arguments])


@pytest.fixture(scope="module")
def desk(pristine: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A later bundle of five events, signed, and what was kept of the first three elsewhere."""
    folder = tmp_path_factory.mktemp("desk")
    shutil.copytree(pristine / "holl", folder / "holl")
    shutil.copy(pristine / "bundle.zip", folder / "older.zip")
    first = anchor_of(open_package(folder / "holl").tables, "")
    assert first is not None
    (folder / "receipt.txt").write_text(first.code, "utf-8")
    line = dict.fromkeys(COLUMNS, "x") | {"bundle": "holl", "edition": "full"}
    line |= {"ledger_head": first.head, "ledger_events": str(first.count), "received_head": ""}
    with open(folder / "register.csv", "w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, COLUMNS)
        writer.writeheader()
        writer.writerow(line)
    later = Path(shutil.copytree(folder / "holl", folder / "later"))
    append_events(open_package(later), LEDGER.tail(2))
    pack_bundle(open_package(later), folder / "signed", keys=[KEEPER])
    for name, key in (("keeper", KEEPER), ("forger", FORGER)):
        pem, spki = Encoding.PEM, PublicFormat.SubjectPublicKeyInfo
        (folder / f"{name}.pem").write_bytes(key.private.public_key().public_bytes(pem, spki))
        private = key.private.private_bytes(pem, PrivateFormat.PKCS8, NoEncryption())
        (folder / f"{name}-private.pem").write_bytes(private)
    with left_alone(folder):
        yield folder


def signed_bundle(desk: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(desk / "signed", tmp_path / "bundle"))


def put_ledger(bundle: Path, rows: list[dict[str, str]]) -> None:
    """Other events, and every checksum and the last seal made to fit them, as a forger does."""
    package = open_package(bundle / "data")
    columns = package.table("custody").columns
    package.write_table("custody", pd.DataFrame(rows, columns=columns, dtype=str))
    (bundle / "data" / ".lock").unlink(missing_ok=True)
    facts = json.loads((bundle / "data" / "bundle.json").read_text("utf-8"))
    facts["lastSeal"] = rows[-1]["event_sha256"]
    (bundle / "data" / "bundle.json").write_text(json.dumps(facts), encoding="utf-8")
    sealed_anew(bundle)


def unsigned(bundle: Path) -> Path:
    for name in (STATEMENT, SIGNATURES):
        (bundle / name).unlink()
    return bundle


def rewritten(bundle: Path) -> Path:
    rows = [dict(row) for row in open_package(bundle / "data").tables.rows("custody")]
    rows[1]["to_party_id"] = "OWN"
    blank = [row | dict.fromkeys(FILLED_IN, "") for row in rows[1:]]
    put_ledger(bundle, sealed([rows[0], *blank]))
    return bundle


def anchors_of(desk: Path) -> dict[str, object]:
    return {
        "older bundle": desk / "older.zip",
        "package": desk / "holl",
        "receipt": (desk / "receipt.txt").read_text("utf-8"),
        "register": desk / "register.csv",
    }


def words(result: Result) -> tuple[str, str]:
    said = json.loads(result.stdout)
    return said["verdict"], said["ledger"]["word"]


def test_without_an_anchor_no_ledger_is_called_sound(desk: Path, tmp_path: Path) -> None:
    """An honest one and one rewritten whole look the same, and the exit code blames neither."""
    forged = rewritten(unsigned(signed_bundle(desk, tmp_path)))
    for bundle in (desk / "signed", forged):
        result = run("verify", bundle)
        assert result.exit_code == 0
        ledger = result.stdout.partition("  Custody ledger")[2]
        assert ledger.split("\n")[0].strip() == "sealed, not anchored"
        assert "could have rewritten the entire ledger" in ledger
        assert "sound" not in ledger
        trusted = run("verify", bundle, "--trust", desk / "keeper.pem", "--format", "json")
        assert words(trusted) == ("not anchored", "sealed, not anchored")


def test_each_kind_of_anchor_tells_an_honest_ledger_from_a_rewritten_one(
    desk: Path, tmp_path: Path
) -> None:
    forged = rewritten(unsigned(signed_bundle(desk, tmp_path)))
    for name, anchor in anchors_of(desk).items():
        options = ("--anchor", anchor, "--format", "json")
        honest = run("verify", desk / "signed", *options)
        assert words(honest) == ("not anchored", "sealed, not anchored"), name
        assert "Events 4 to 5 (2) came after it" in honest.stdout
        trusted = run("verify", desk / "signed", *options, "--trust", desk / "keeper.pem")
        assert (trusted.exit_code, *words(trusted)) == (0, "sound", "sound"), name
        mistrusted = run("verify", desk / "signed", *options, "--trust", desk / "forger.pem")
        assert words(mistrusted)[0] == "not anchored", name
        found = run("verify", forged, *options)
        assert (found.exit_code, *words(found)) == (1, *["contradicts anchor"] * 2), name
        assert "the ledger was rewritten" in found.stdout
    assert "NOT SOUND" in run("verify", forged, "--anchor", desk / "older.zip").stdout


def test_a_ledger_cut_back_to_before_the_anchor_is_said_to_be_cut(
    desk: Path, tmp_path: Path
) -> None:
    bundle = unsigned(signed_bundle(desk, tmp_path))
    rows = [dict(row) for row in open_package(bundle / "data").tables.rows("custody")]
    put_ledger(bundle, rows[:2])
    assert verify_bundle(bundle).word == "not anchored"
    found = run("verify", bundle, "--anchor", desk / "older.zip")
    assert (found.exit_code, "events were removed" in found.stdout) == (1, True)


# -- the signed statement ------------------------------------------------------------------------


def test_a_signed_bundle_is_a_bag_that_names_its_ledgers_end(desk: Path) -> None:
    """The bagit library finds every file of it listed; the same key makes the same bytes."""
    bag = bagit.Bag(str(desk / "signed"))
    bag.validate()
    assert {STATEMENT, SIGNATURES} <= {one for one in bag.entries if not one.startswith("data/")}
    facts = json.loads((desk / "signed" / STATEMENT).read_text("utf-8"))
    end = anchor_of(open_package(desk / "later").tables, "")
    assert end is not None
    assert (facts["heads"], facts["events"], facts["record"]) == ([end.head], 5, "holl")


def test_signing_changes_nothing_but_the_statement_and_packs_the_same_bytes_again(
    desk: Path, tmp_path: Path
) -> None:
    package = open_package(desk / "later")
    twice = bytes_of(pack_bundle(package, tmp_path / "twice", keys=[KEEPER]))
    assert twice == bytes_of(desk / "signed")
    plain = bytes_of(pack_bundle(package, tmp_path / "plain"))
    differing = {name for name, digest in twice.items() if plain.get(name) != digest}
    assert differing == {
        STATEMENT, SIGNATURES, "tagmanifest-sha256.txt", "tagmanifest-sha512.txt"
    }  # fmt: skip


def test_a_statement_of_other_files_or_with_a_false_signature_is_damage(
    desk: Path, tmp_path: Path
) -> None:
    def changed(name: str) -> Path:
        bundle = Path(shutil.copytree(desk / "signed", tmp_path / name))
        if name == "ledger":
            rewritten(bundle)
        elif name == "file":
            (bundle / "data" / "files" / "photo-001.png").write_bytes(b"another")
        elif name == "half":
            (bundle / SIGNATURES).unlink()
        elif name == "count":
            path = bundle / STATEMENT
            path.write_bytes(path.read_bytes().replace(b'"events":5', b'"events":3'))
        sealed_anew(bundle)
        return bundle

    for name, rule in (
        ("ledger", "custody.statement_of_another"),
        ("file", "custody.statement_of_another"),
        ("half", "custody.statement_incomplete"),
        ("count", "custody.statement_false"),
    ):
        verdict = verify_bundle(changed(name))
        assert rule in {one.rule for one in verdict.findings}, name
        assert verdict.word == "damaged", name


def test_a_signature_of_ones_own_makes_a_rewritten_ledger_no_better(
    desk: Path, tmp_path: Path
) -> None:
    """Whoever rewrites the record can pack and sign it; nobody but the forger trusts that key."""
    package = open_package(shutil.copytree(desk / "later", tmp_path / "later"))
    rows = [dict(row) for row in package.tables.rows("custody")]
    blank = [row | dict.fromkeys(FILLED_IN, "") for row in rows]
    blank[0]["notes"] = "rewritten"
    package.write_table("custody", pd.DataFrame(sealed(blank), dtype=str))
    bundle = pack_bundle(package, tmp_path / "forged.zip", zipped=True, keys=[FORGER])
    keeper = ("--trust", desk / "keeper.pem", "--format", "json")
    assert words(run("verify", bundle, *keeper))[0] == "not anchored"
    held = run("verify", bundle, *keeper, "--anchor", desk / "older.zip")
    assert words(held)[0] == "contradicts anchor"


def test_a_signed_public_edition_says_so_and_nothing_of_its_ledger(
    desk: Path, tmp_path: Path
) -> None:
    package = open_package(shutil.copytree(desk / "later", tmp_path / "later"))
    bundle = pack_bundle(package, tmp_path / "public", edition=PUBLIC, keys=[KEEPER])
    facts = json.loads((bundle / STATEMENT).read_text("utf-8"))
    assert "heads" not in facts
    assert (
        facts["derivedFrom"]
        == json.loads((bundle / "data" / "bundle.json").read_text("utf-8"))["derivedFrom"]
    )
    result = run("verify", bundle, "--trust", desk / "keeper.pem")
    assert result.exit_code == 0
    assert "signed by keeper, whom you trust" in result.stdout
    assert "Custody ledger                    seals withheld" in result.stdout


def test_pack_signs_with_the_keys_that_are_named(desk: Path, tmp_path: Path) -> None:
    package = Path(shutil.copytree(desk / "later", tmp_path / "later"))
    keys = [f"--sign={desk / f'{name}-private.pem'}" for name in ("keeper", "forger")]
    run("pack", package, "--zip", "--out", tmp_path / "b.zip", *keys)
    anchored = ("--anchor", desk / "older.zip", "--format", "json")
    found = run("verify", tmp_path / "b.zip", "--trust", desk / "forger.pem", *anchored)
    assert words(found) == ("sound", "sound")


# -- what cannot be an anchor --------------------------------------------------------------------


def test_what_can_be_no_anchor_is_refused_with_what_to_give(desk: Path, tmp_path: Path) -> None:
    damaged = signed_bundle(desk, tmp_path)
    (damaged / "data" / "files" / "photo-001.png").write_bytes(b"x")
    (tmp_path / "empty.csv").write_text(",".join(COLUMNS) + "\n", encoding="utf-8")
    for anchor, said in (
        ("2026.0001", "an accession number alone is not enough"),
        (damaged, "cannot be an anchor: DAMAGED"),
        (tmp_path / "empty.csv", "has no line with the end of the ledger of 'holl'"),
        ("ledger 3 12ab", "is not the end of a ledger"),
    ):
        error = run("verify", desk / "signed", "--anchor", anchor).exception
        assert isinstance(error, UnusableInput), anchor
        assert said in str(error), anchor
    private = run("verify", desk / "signed", "--trust", desk / "keeper-private.pem").exception
    assert "is a private key" in str(private)


def test_an_anchor_of_another_record_is_called_so_and_a_broken_one_refused(
    desk: Path, tmp_path: Path
) -> None:
    package = open_package(shutil.copytree(desk / "holl", tmp_path / "mill"))
    package.with_descriptor({"name": "mill"})
    result = run("verify", desk / "signed", "--anchor", package.folder)
    assert "which is of 'mill' and not of 'holl', fits" in result.stdout
    package.write_table("custody", package.table("custody").assign(notes="altered"))
    error = run("verify", desk / "signed", "--anchor", package.folder).exception
    assert "cannot be an anchor, because its own ledger is not valid" in str(error)

"""One verdict over bag, descriptor, tables, crate and custody ledger."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from provenance._bag import names
from provenance._bag.verdict import PARTS
from provenance._base.errors import UnusableInput
from provenance._bundle.describe.editions import EDITIONS
from provenance._bundle.verdict_text import verdict_text
from provenance._bundle.verify import verify_bundle
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._history.deciding import correct, decide
from provenance._ledger.anchors import Anchor
from provenance._ledger.ed25519 import Signer
from provenance._ledger.seals import FILLED_IN, SEALS, body_hash, event_hash
from provenance._ledger.statement import SIGNATURES, STATEMENT, signed
from provenance._record.package import Package, open_package
from tests.builders import a_package, pack_bundle, unpack_bundle
from tests.bundle.test_hostile import rules, sealed_anew


@pytest.mark.parametrize("name", ["bundle", "bundle.zip"])
@pytest.mark.parametrize("fast", [False, True])
def test_a_whole_bundle_is_sound_in_every_part(pristine: Path, name: str, fast: bool) -> None:
    verdict = verify_bundle(pristine / name, fast=fast)
    assert verdict.findings == ()
    assert set(verdict.looked_at) == set(PARTS)
    assert verdict.sound
    assert verdict.intact
    assert verdict.file_count == sum(p.is_file() for p in (pristine / "bundle").rglob("*"))


def test_verifying_a_zip_writes_nothing_beside_it(pristine: Path) -> None:
    before = sorted(path.name for path in pristine.iterdir())
    verify_bundle(pristine / "bundle.zip")
    assert sorted(path.name for path in pristine.iterdir()) == before


def test_a_broken_ledger_is_found_even_if_every_checksum_was_made_anew(
    package: Package, tmp_path: Path
) -> None:
    """Who can forge the manifests still cannot forge the chain without changing its end."""
    frame = package.table("custody")
    frame.loc[3, "to_party_id"] = "OWN"
    package.write_table("custody", frame)
    verdict = verify_bundle(pack_bundle(package, tmp_path / "b"))
    assert verdict.intact
    assert not verdict.sound
    assert rules(verdict) == {"custody.chain_broken"}
    assert "The bytes are as they were packed" in verdict_text(verdict)


def test_events_cut_off_the_ledger_are_found_by_the_last_seal(bundle: Path) -> None:
    path = bundle / "data" / "tables" / "custody.csv"
    lines = path.read_text("utf-8").splitlines(keepends=True)
    path.write_text("".join(lines[:-1]), encoding="utf-8")
    sealed_anew(bundle)
    assert rules(verify_bundle(bundle)) == {"custody.end_differs"}


def test_a_table_that_is_missing_is_named_and_hides_the_ledger(bundle: Path) -> None:
    (bundle / "data" / "tables" / "element.csv").unlink()
    verdict = verify_bundle(bundle)
    assert {"bag.file_missing", "tables.unreadable", "crate.file_missing"} <= rules(verdict)
    assert "custody" not in verdict.looked_at
    assert "not examined" in verdict_text(verdict)


def test_a_dangling_code_is_found_in_the_tables(package: Package, tmp_path: Path) -> None:
    frame = package.table("sample")
    frame["element_id"] = "B9-999"
    package.write_table("sample", frame)
    verdict = verify_bundle(pack_bundle(package, tmp_path / "b"))
    assert verdict.intact
    assert not verdict.sound
    assert {one.path for one in verdict.findings} == {"data/tables/sample.csv"}
    assert "B9-999" in verdict_text(verdict)


def test_a_descriptor_that_looks_elsewhere_for_a_table_is_found(bundle: Path) -> None:
    path = bundle / "data" / "datapackage.json"
    descriptor = json.loads(path.read_text("utf-8"))
    descriptor["resources"][0]["path"] = "../../secret.csv"
    path.write_text(json.dumps(descriptor), encoding="utf-8")
    sealed_anew(bundle)
    assert rules(verify_bundle(bundle)) == {"descriptor.resources"}


def test_a_bag_of_others_is_said_to_hold_no_record_and_is_not_called_damaged(
    tmp_path: Path,
) -> None:
    (tmp_path / "b" / "data").mkdir(parents=True)
    (tmp_path / "b" / "data" / "a.txt").write_text("x", encoding="utf-8")
    sealed_anew(tmp_path / "b")
    verdict = verify_bundle(tmp_path / "b")
    assert (verdict.word, verdict.sound, verdict.damage) == ("no record", False, ())
    assert verdict.as_bag is not None
    assert verdict.as_dict()["asBag"]["verdict"] == "valid"
    said = verdict_text(verdict)
    assert "valid by RFC 8493; it holds no treenail record." in said
    assert "damaged" not in said.lower()
    with pytest.raises(UnusableInput, match="holds no treenail record"):
        unpack_bundle(tmp_path / "b", tmp_path / "out")


def test_a_long_list_is_cut_short_with_a_loud_word(bundle: Path) -> None:
    for place in range(60):
        (bundle / "data" / "files" / f"extra-{place:02}.png").write_bytes(b"x")
    verdict = verify_bundle(bundle)
    shown = verdict_text(verdict)
    assert "... and 11 MORE, not shown here" in shown  # 60 and the sum of sizes, 50 of them shown
    assert len(verdict.as_dict()["findings"]) == len(verdict.findings)


def test_a_bundle_without_its_declaration_is_no_bag(bundle: Path) -> None:
    (bundle / "bagit.txt").unlink()
    verdict = verify_bundle(bundle)
    assert rules(verdict) == {"bag.no_declaration"}
    assert not verdict.sound


def test_a_folder_that_never_was_a_bundle_is_said_to_be_none(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="is not a bundle"):
        verify_bundle(tmp_path)


def test_a_package_is_not_taken_for_a_bundle(package: Package) -> None:
    with pytest.raises(UnusableInput, match="treenail pack"):
        verify_bundle(package.folder)


def test_nothing_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="is not there"):
        verify_bundle(tmp_path / "nowhere")


def test_the_verdict_as_json_names_what_was_looked_at(bundle: Path) -> None:
    (bundle / "data" / "tables" / "element.csv").unlink()
    verdict = verify_bundle(bundle).as_dict()
    assert verdict["sound"] is False
    assert verdict["parts"]["custody"] is None
    assert verdict["parts"]["bag"] > 0
    assert json.loads(json.dumps(verdict)) == verdict


def test_a_false_signature_is_found_in_the_ledger(package: Package, tmp_path: Path) -> None:
    frame = package.table("custody")
    last = dict(frame.iloc[-1]) | {"key_id": "ab" * 32}
    last |= {"body_sha256": body_hash(last)}
    frame.iloc[-1] = last | {"event_sha256": event_hash(last)}
    package.write_table("custody", frame)
    verdict = verify_bundle(pack_bundle(package, tmp_path / "b"))
    assert verdict.intact
    assert rules(verdict) == {"custody.signature_false"}


@pytest.mark.parametrize("facts", [{}, [], {"lastSeal": None}])
def test_a_bundle_that_hides_its_last_seal_is_not_sound(bundle: Path, facts: object) -> None:
    """Else the events at the end could be cut off, and the line that would tell with them."""
    (bundle / "data" / "bundle.json").write_text(json.dumps(facts), encoding="utf-8")
    sealed_anew(bundle)
    assert rules(verify_bundle(bundle)) == {"custody.end_unknown"}


def test_a_file_put_beside_the_record_is_a_warning(bundle: Path) -> None:
    """RFC 8493 section 2.2.1 allows tag files that no tag manifest lists."""
    (bundle / "READ ME FIRST.html").write_text("<p>Drill here", encoding="utf-8")
    verdict = verify_bundle(bundle)
    assert verdict.sound
    assert [(one.severity, one.rule, one.path) for one in verdict.findings] == [
        ("warning", "bag.tag_file_unlisted", "READ ME FIRST.html")
    ]


@pytest.fixture
def from_elsewhere(bundle: Path) -> Path:
    """A bundle of another program, with a name that Windows cannot hold."""
    (bundle / "data" / "files" / "wall: north.jpg").write_bytes(b"x")
    sealed_anew(bundle)
    return bundle


@pytest.mark.parametrize("zipped", [False, True])
def test_a_name_that_some_system_cannot_hold_is_a_warning(
    from_elsewhere: Path, tmp_path: Path, zipped: bool
) -> None:
    """Microsoft, 'Naming Files, Paths, and Namespaces': no colon in a name."""
    if zipped:
        shutil.make_archive(str(tmp_path / "b"), "zip", from_elsewhere.parent, from_elsewhere.name)
    verdict = verify_bundle(tmp_path / "b.zip" if zipped else from_elsewhere)
    assert verdict.intact
    (found,) = [one for one in verdict.findings if one.part == "container"]
    assert (found.severity, found.rule) == ("warning", "container.unportable_name")
    assert found.path == "data/files/wall: north.jpg"
    assert "it holds ':'" in found.message


def test_on_windows_a_bundle_with_such_a_name_is_not_written_to_disk(
    from_elsewhere: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """There the bytes would go into a hidden stream of another file."""
    shutil.make_archive(str(tmp_path / "b"), "zip", from_elsewhere.parent, from_elsewhere.name)
    monkeypatch.setattr(names, "_WINDOWS", True)
    verdict = verify_bundle(tmp_path / "b.zip")
    assert rules(verdict) == {"container.unsafe_name"}
    with pytest.raises(UnusableInput, match="wall: north"):
        unpack_bundle(tmp_path / "b.zip", tmp_path / "out")


def test_line_ends_in_a_value_do_not_feign_lines_of_the_verdict(bundle: Path) -> None:
    path = bundle / "data" / "tables" / "element.csv"
    feigned = "x\n  Tables                            sound"
    path.write_text(path.read_text("utf-8").replace("beam", f'"{feigned}"', 1), encoding="utf-8")
    text = verdict_text(verify_bundle(bundle))
    assert "x⟨U+000A⟩  Tables" in text
    assert text.count("\n  Tables") == 1


def cut_off(bundle: Path, facts: dict[str, object], *, withheld: bool) -> None:
    """Take the last event away, put other words into bundle.json, and seal everything anew."""
    data = bundle / "data"
    ledger = data / "tables" / "custody.csv"
    lines = ledger.read_text("utf-8").splitlines(keepends=True)
    ledger.write_text("".join(lines[:-1]), encoding="utf-8")
    (data / "bundle.json").write_text(json.dumps(facts), encoding="utf-8")
    if withheld:
        path = data / "schemas" / "custody.json"
        schema = json.loads(path.read_text("utf-8"))
        for field in schema["fields"]:
            if field["name"] in SEALS:
                field["withheld"] = True
        path.write_text(json.dumps(schema), encoding="utf-8")
    sealed_anew(bundle)


@pytest.mark.parametrize(
    ("edition", "withheld"), [("public", False), ("full", True), ("full", False), (None, True)]
)
def test_a_bundle_that_merely_claims_to_be_public_has_its_ledger_judged(
    bundle: Path, edition: str | None, withheld: bool
) -> None:
    """Only an edition that is public and whose schema has no seals is excused."""
    cut_off(bundle, {"edition": edition}, withheld=withheld)
    verdict = verify_bundle(bundle)
    assert "custody.end_unknown" in rules(verdict)
    assert not verdict.sound


def test_one_seal_withheld_of_two_excuses_no_ledger(bundle: Path) -> None:
    cut_off(bundle, {"edition": "public"}, withheld=True)
    assert "custody.end_unknown" not in rules(verify_bundle(bundle))
    path = bundle / "data" / "schemas" / "custody.json"
    schema = json.loads(path.read_text("utf-8"))
    for field in schema["fields"]:
        if field["name"] == SEALS[0]:
            del field["withheld"]
    path.write_text(json.dumps(schema), encoding="utf-8")
    sealed_anew(bundle)
    assert "custody.end_unknown" in rules(verify_bundle(bundle))


@pytest.mark.parametrize(("over", "told"), [(0, False), (1, True)])
def test_a_document_as_large_as_is_allowed_is_read(bundle: Path, over: int, told: bool) -> None:
    facts = bundle / "data" / "bundle.json"
    sizes = [path.stat().st_size for path in (bundle / "data").rglob("*.json")]
    most = max(sizes)
    text = facts.read_text("utf-8")
    facts.write_text(text + " " * (most + over - len(text.encode())), encoding="utf-8")
    sealed_anew(bundle)
    verdict = verify_bundle(bundle, limits=replace(DEFAULT_BUDGET, most_json_bytes=most))
    assert ("descriptor.too_big" in rules(verdict)) is told


def test_a_bundle_without_a_crate_is_said_to_lack_it_once(bundle: Path) -> None:
    (bundle / "data" / "ro-crate-metadata.json").unlink()
    sealed_anew(bundle)
    assert rules(verify_bundle(bundle)) == {"crate.missing"}


def test_a_crate_that_is_no_json_is_not_said_to_be_missing(bundle: Path) -> None:
    (bundle / "data" / "ro-crate-metadata.json").write_text("{", encoding="utf-8")
    sealed_anew(bundle)
    assert "crate.missing" not in rules(verify_bundle(bundle))
    assert "crate.unreadable" in rules(verify_bundle(bundle))


@pytest.mark.parametrize("change", ["schema", "name", "left out"])
def test_a_descriptor_that_does_not_fit_its_schemas_is_found(bundle: Path, change: str) -> None:
    path = bundle / "data" / "datapackage.json"
    descriptor = json.loads(path.read_text("utf-8"))
    if change == "left out":
        del descriptor["resources"][0]
    else:
        descriptor["resources"][0][change] = "schemas/other.json" if change == "schema" else "other"
    path.write_text(json.dumps(descriptor), encoding="utf-8")
    sealed_anew(bundle)
    assert rules(verify_bundle(bundle)) == {"descriptor.resources"}


@pytest.mark.parametrize(
    "name", ["bagit.txt", "manifest-sha256.txt"], ids=["declaration", "manifest"]
)
def test_one_sign_of_a_bag_is_enough_to_judge_a_folder(tmp_path: Path, name: str) -> None:
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / name).write_text("x", encoding="utf-8")
    assert not verify_bundle(tmp_path / "b").sound


def test_a_fast_look_compares_no_checksum_of_the_record(bundle: Path) -> None:
    """And still judges the ledger, which is read whole."""
    photo = bundle / "data" / "files" / "photo-001.png"
    photo.write_bytes(bytes(photo.stat().st_size))
    assert verify_bundle(bundle, fast=True).findings == ()
    assert {"bag.file_differs"} <= rules(verify_bundle(bundle))


@pytest.mark.parametrize("edition", ["full", "public"])
def test_acts_that_were_edited_before_the_bundle_was_sealed_anew_are_named(
    tmp_path: Path, edition: str
) -> None:
    """A forger who makes new checksums for what he changed has not got the key of the digests."""
    package = a_package(tmp_path).with_chain().package
    decide(package, correct("sample", "231", {"pieces": "2"}), who="MB", why="counted again")
    bundle = pack_bundle(package, tmp_path / "bundle", edition=EDITIONS[edition])
    assert verify_bundle(bundle).sound
    forged = open_package(bundle / "data")
    acts = forged.table("act")
    acts["undoes"] = [*acts["undoes"][:-1], acts["act_id"].iloc[0]]
    forged.write_table("act", acts)
    sealed_anew(bundle)
    said = [one.rule for one in verify_bundle(bundle).findings]
    assert "history.act_edited" in said


def test_the_verdict_over_a_ledger_is_the_one_of_its_anchors(pristine: Path) -> None:
    (_, second, last) = open_package(pristine / "holl").table("custody")["event_sha256"]
    for anchors, word, ledger in (
        ([], "not anchored", "sealed, not anchored"),
        ([Anchor("a receipt", second, 2)], "not anchored", "sealed, not anchored"),
        ([Anchor("a receipt", last, 3)], "sound", "sound"),
        ([Anchor("a receipt", second, 3)], "contradicts anchor", "contradicts anchor"),
    ):
        verdict = verify_bundle(pristine / "bundle.zip", anchors=anchors)
        assert verdict.ledger is not None
        assert (verdict.word, verdict.ledger.word) == (word, ledger)
        assert verdict.sound == (word != "contradicts anchor")
        assert rules(verdict) <= {"custody.contradicts_anchor"}
        assert verify_bundle(pristine / "bundle.zip", anchors=anchors, fast=True).word == (
            "not verified" if verdict.sound else word
        )


def test_a_signed_statement_is_held_against_the_ledger_and_the_files(
    package: Package, tmp_path: Path
) -> None:
    """Whoever can sign may still lie about the ledger; then the statement is of another one."""
    key = Signer(Ed25519PrivateKey.from_private_bytes(bytes(32)))
    bundle = pack_bundle(package, tmp_path / "b", keys=[key])
    assert verify_bundle(bundle).findings == ()
    small = replace(DEFAULT_BUDGET, most_tag_bytes=(bundle / STATEMENT).stat().st_size - 1)
    assert rules(verify_bundle(bundle, limits=small)) >= {"custody.statement_false"}
    facts = json.loads((bundle / STATEMENT).read_text("utf-8"))
    for lie, found in (
        ({}, set()),
        ({"events": 2}, {"custody.statement_of_another"}),
        ({"record": "mill"}, {"custody.statement_of_another"}),
        ({"edition": "public"}, {"custody.statement_of_another"}),
        ({"manifestSha256": "0" * 64}, {"custody.statement_of_another"}),
    ):
        statement = rfc8785.dumps(facts | lie)
        (bundle / STATEMENT).write_bytes(statement)
        (bundle / SIGNATURES).write_bytes(signed(statement, [key]))
        for path in bundle.glob("tagmanifest-*"):
            path.unlink()  # RFC 8493 section 2.2.1: a bag may be without
        assert rules(verify_bundle(bundle)) == found, lie


def test_events_without_a_seal_are_a_fault_in_a_bundle(package: Package, tmp_path: Path) -> None:
    """This program seals whatever it records, so somebody took the seals away."""
    frame = package.table("custody")
    frame[list(FILLED_IN)] = ""
    package.write_table("custody", frame)
    verdict = verify_bundle(pack_bundle(package, tmp_path / "b"))
    assert (verdict.word, rules(verdict)) == ("faulty", {"custody.not_sealed"})
    assert verdict.ledger is not None
    assert verdict.ledger.word == "broken"

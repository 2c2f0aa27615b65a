"""Bags that others made, judged by RFC 8493 and the BagIt versions before it.

The sections are those of RFC 8493, cited from memory; the bags of the public conformance suite are
in no package registry, so the cases are made here. Each is judged by the bagit library as well.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from provenance._bag.any_bag import holds_record, judge_any_bag
from provenance._bag.verdict import BAG_WORDS
from provenance._bundle.verdict_text import bag_text
from provenance._bundle.verify import verify_bundle
from provenance._cli import treenail
from provenance._gate.budget import DEFAULT_BUDGET
from tests.bundle.test_bag import valid_by_the_library
from tests.fuzz.mutations import Seeded, mutated_bytes, pick

FILES = {"data/plan.tif": b"plan", "data/notes/day 1.txt": b"core 4", "data/notes/day 2.txt": b""}
FINE, WARNED, LACKING, WRONG, NONE = reversed(BAG_WORDS)


def a_bag(
    folder: Path,
    version: str = "1.0",
    files: dict[str, bytes] = FILES,
    *,
    encoding: str = "UTF-8",
    algorithms: tuple[str, ...] = ("sha256", "sha512"),
) -> Path:
    """A bag as another program would write it."""
    (folder / "data").mkdir(parents=True)
    for path, content in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(content)
    (folder / "bagit.txt").write_text(
        f"BagIt-Version: {version}\nTag-File-Character-Encoding: {encoding}\n", encoding="utf-8"
    )
    info = "package-info.txt" if version in ("0.93", "0.94", "0.95") else "bag-info.txt"
    oxum = f"{sum(map(len, files.values()))}.{len(files)}"
    text = f"Source-Organization: Hollin Reach (invented)\nPayload-Oxum: {oxum}\n"
    (folder / info).write_bytes(text.encode(encoding))
    for algorithm in algorithms:
        listed = {path: hashlib.new(algorithm, content) for path, content in files.items()}
        text = "".join(f"{found.hexdigest()}  {path}\n" for path, found in listed.items())
        (folder / f"manifest-{algorithm}.txt").write_bytes(text.encode(encoding))
    return folder


def sealed(bag: Path, *, encoding: str = "UTF-8") -> None:
    """Give the bag a tag manifest of what now lies in it."""
    paths = [p for p in sorted(bag.iterdir()) if p.is_file()]
    lines = [f"{hashlib.sha256(p.read_bytes()).hexdigest()}  {p.name}\n" for p in paths]
    (bag / "tagmanifest-sha256.txt").write_bytes("".join(lines).encode(encoding))


def edited(name: str, edit: Callable[[str], str]) -> Callable[[Path], None]:
    def change(bag: Path) -> None:
        path = bag / name
        path.write_text(edit(path.read_text("utf-8") if path.exists() else ""), encoding="utf-8")

    return change


def in_each(edit: Callable[[str], str]) -> Callable[[Path], None]:
    def change(bag: Path) -> None:
        for path in bag.glob("manifest-*.txt"):
            edited(path.name, edit)(bag)

    return change


def added(line: str, name: str = "manifest-sha256.txt") -> Callable[[Path], None]:
    return edited(name, lambda text: text + line)


def both(*changes: Callable[[Path], None]) -> Callable[[Path], None]:
    def change(bag: Path) -> None:
        for one in changes:
            one(bag)

    return change


def without(name: str) -> Callable[[Path], None]:
    return lambda bag: (bag / name).unlink()


PLAN = f"{hashlib.sha256(b'plan').hexdigest()}  data/plan.tif\n"
URL = "https://reach.example/plan.tif"
TO_FETCH = edited("fetch.txt", lambda _: f"{URL} 4 data/plan.tif\n")
NOT_BY_THE_LIBRARY = "the bagit library does not look at this"
CASES: dict[str, tuple[str, Callable[[Path], None], str, str, str]] = {
    # what is done to a sound bag: (section, how, word up to 0.97, word in 1.0, why the library
    # says otherwise in 1.0)
    "nothing": ("3", lambda bag: None, FINE, FINE, ""),
    "sealed": ("2.2.1", sealed, FINE, FINE, ""),
    "ends of lines of other systems": (
        "2.1.3", in_each(lambda text: text.replace("\n", "\r\n")), FINE, FINE, ""),
    "letters of the sums": ("2.4", in_each(lambda t: t.replace("a", "A", 1)), FINE, FINE, ""),
    "listed twice": ("2.1.3", added(PLAN), WARNED, WRONG, ""),
    "listed twice, once as ./": (
        "2.1.3", added(PLAN.replace("data", "./data")), WARNED, WRONG, ""),
    "listed with two sums": ("2.1.3", added("0" * 64 + PLAN[64:]), WRONG, WRONG, ""),
    "in one manifest of two": (
        "2.1.3", edited("manifest-sha256.txt", lambda text: text.replace(PLAN, "")),
        WARNED, WRONG, NOT_BY_THE_LIBRARY),
    "in no manifest": ("3", added("x", "data/stray.txt"), WRONG, WRONG, ""),
    "not there": ("3", without("data/plan.tif"), WRONG, WRONG, ""),
    "other bytes": ("3", edited("data/plan.tif", lambda _: "plam"), WRONG, WRONG, ""),
    "leads out": ("5.1", added(PLAN.replace("data", "data/../..")), WRONG, WRONG, ""),
    "of another kind": (
        "2.1.3", added(PLAN.replace("data/plan.tif", "bagit.txt")), WRONG, WRONG, ""),
    "a line of nonsense": (
        "2.1.3", added("nonsense\n"), WRONG, WRONG, "it passes over lines that it cannot read"),
    "with stars": (
        "2.1.3", in_each(lambda text: text.replace("  ", " *")), WARNED, WARNED, ""),
    "with ./": (
        "2.1.3", in_each(lambda t: t.replace("  ", "  ./")), WARNED, WARNED, ""),
    "MD5 alone": (
        "2.4", both(without("manifest-sha256.txt"), without("manifest-sha512.txt"), lambda bag:
        (bag / "manifest-md5.txt").write_text("".join(
            f"{hashlib.md5(content).hexdigest()} {path}\n" for path, content in FILES.items()
        ), encoding="utf-8")), WARNED, WARNED, ""),
    "an algorithm from elsewhere": (
        "2.4", edited("manifest-tiger.txt", lambda _: "0 data/plan.tif\n"), WARNED, WARNED, ""),
    "no manifest": (
        "2.1.3", both(without("manifest-sha256.txt"), without("manifest-sha512.txt")),
        WRONG, WRONG, ""),
    "no declaration": ("2.1.1", without("bagit.txt"), NONE, NONE, ""),
    "a declaration of three lines": (
        "2.1.1", added("Made-By: hand\n", "bagit.txt"), WRONG, WRONG, NOT_BY_THE_LIBRARY),
    "a declaration with blanks": (
        "2.1.1", edited("bagit.txt", lambda text: text.replace(":", " :") + "\n"),
        WARNED, WRONG, NOT_BY_THE_LIBRARY),
    "a version to come": (
        "2.1.1", edited("bagit.txt", lambda t: t.replace("1.0", "2.0").replace("0.97", "2.0")),
        WRONG, WRONG, ""),
    "no version": (
        "2.1.1", edited("bagit.txt", lambda text: text.split("\n")[1]), WRONG, WRONG, ""),
    "an encoding of nothing": (
        "2.1.1", edited("bagit.txt", lambda text: text.replace("UTF-8", "none")), WRONG, WRONG, ""),
    "a byte order mark in the declaration": (
        "2.1.1", edited("bagit.txt", lambda text: "\ufeff" + text), WRONG, WRONG, ""),
    "a byte order mark in a manifest": (
        "2.1.3", edited("manifest-sha256.txt", lambda text: "\ufeff" + text), WRONG, WRONG,
        "it warns only"),
    "no such bytes in the encoding": (
        "2.1.1", lambda bag: (bag / "bag-info.txt").write_bytes(b"Contact-Name: \xff\n"),
        WRONG, WRONG, ""),
    "other sizes": (
        "2.2.2", edited("bag-info.txt", lambda t: t.replace("Oxum: 10", "Oxum: 11")),
        WRONG, WRONG, ""),
    "sizes of nonsense": (
        "2.2.2", edited("bag-info.txt", lambda t: t.replace("Oxum: 10", "Oxum: ten")),
        WRONG, WRONG, ""),
    "a tag without a colon": ("2.2.2", added("hello\n", "bag-info.txt"), WRONG, WRONG, ""),
    "a tag on two lines": ("2.2.2", added("A: b\n  c\n", "bag-info.txt"), FINE, FINE, ""),
    "a tag file without a sum": (
        "2.2.1", both(sealed, added("x", "note.txt")), WARNED, WARNED, ""),
    "a tag file changed": (
        "2.2.1", both(sealed, added("A: b\n", "bag-info.txt")), WRONG, WRONG, ""),
    "a tag file not there": ("2.2.1", both(sealed, without("bag-info.txt")), WRONG, WRONG, ""),
    "payload among the tags": (
        "2.2.1", added(PLAN, "tagmanifest-sha256.txt"), WRONG, WRONG, NOT_BY_THE_LIBRARY),
    "fetched": ("2.2.3", TO_FETCH, WARNED, WARNED, ""),
    "to be fetched": ("2.2.3", both(TO_FETCH, without("data/plan.tif")), LACKING, LACKING, ""),
    "to be fetched, and other bytes": (
        "3", both(TO_FETCH, without("data/plan.tif"), added("x", "data/notes/day 2.txt")),
        WRONG, WRONG, ""),
    "to be fetched from nowhere": (
        "2.2.3", edited("fetch.txt", lambda _: "plan.tif 4 data/plan.tif\n"), WRONG, WRONG, ""),
    "to be fetched from no host": (
        "2.2.3", edited("fetch.txt", lambda _: "https:/plan 4 data/plan.tif\n"), WRONG, WRONG, ""),
    "to be fetched by no protocol": (
        "2.2.3", edited("fetch.txt", lambda _: "//h/plan 4 data/plan.tif\n"), WRONG, WRONG, ""),
    "to be fetched from nonsense": (
        "2.2.3", edited("fetch.txt", lambda _: "http://[ 4 data/plan.tif\n"), WRONG, WRONG, ""),
    "fetched from a disk": (
        "2.2.3", edited("fetch.txt", lambda _: "file:///h - data/plan.tif\n"), WARNED, WARNED, ""),
    "to be fetched to outside": (
        "5.1", edited("fetch.txt", lambda _: f"{URL} - data/../../x\n"), WRONG, WRONG, ""),
    "to be fetched, in no manifest": (
        "2.2.3", edited("fetch.txt", lambda _: f"{URL} - data/x\n"), WRONG, WRONG,
        NOT_BY_THE_LIBRARY),
}  # fmt: skip


@pytest.mark.parametrize("version", ["0.97", "1.0"])
def test_every_case_is_judged_by_the_version_and_as_the_library_does(
    tmp_path: Path, version: str
) -> None:
    for number, (case, (section, change, older, newest, why)) in enumerate(CASES.items()):
        told = f"{case} (RFC 8493 section {section}), version {version}"
        bag = a_bag(tmp_path / f"{number}" / "bag", version)
        change(bag)
        verdict = judge_any_bag(bag)
        assert verdict.word == (newest if version == "1.0" else older), (told, verdict.findings)
        assert all(one.message and one.remedy for one in verdict.findings), told
        whole = verdict.word in (FINE, WARNED)
        if not why or (version == "0.97" and whole):
            assert whole == valid_by_the_library(bag), told
        zipped = judge_any_bag(
            shutil.make_archive(str(bag.parent / "z"), "zip", bag.parent, bag.name)
        )
        assert (zipped.word, zipped.findings) == (verdict.word, verdict.findings), told
        of_the_record = verify_bundle(bag)
        assert (of_the_record.word, of_the_record.findings) == ("no record", verdict.findings), told


def test_every_version_has_its_own_tag_file_and_rules(tmp_path: Path) -> None:
    """Before 0.96 the tags stand in package-info.txt, as the bagit library reads them too."""
    for version in ("0.93", "0.94", "0.95", "0.96", "0.97", "1.0"):
        bag = a_bag(tmp_path / version, version)
        assert judge_any_bag(bag).in_words == (
            f"this is a bag, valid by {'RFC 8493' if version == '1.0' else f'BagIt {version}'}; "
            "it holds no treenail record"
        )
        (bag / "data" / "plan.tif").write_bytes(b"plan, longer")
        rules = {one.rule for one in judge_any_bag(bag, fast=True).findings}
        assert rules == {"bag.oxum"}, version


@pytest.mark.parametrize("encoding", ["ISO-8859-1", "UTF-16", "windows-1252"])
def test_tag_files_are_read_in_the_encoding_that_is_declared(tmp_path: Path, encoding: str) -> None:
    """RFC 8493 section 2.1.1; the library is asked too."""
    bag = a_bag(tmp_path / "bag", files={"data/Türe.txt": b"door"}, encoding=encoding)
    sealed(bag, encoding=encoding)
    assert judge_any_bag(bag).word == FINE
    assert valid_by_the_library(bag)


def test_a_percent_sign_is_written_as_25_since_version_1(tmp_path: Path) -> None:
    """RFC 8493 section 2.1.3. The library never reads %25, and would miss the file."""
    for version, written, named, word in (
        ("1.0", "data/100%25.txt", "data/100%.txt", FINE),
        ("1.0", "data/100%.txt", "data/100%.txt", WARNED),
        ("1.0", "data/100%25.txt", "data/100%25.txt", WARNED),
        ("0.97", "data/100%25.txt", "data/100%25.txt", FINE),
        ("0.97", "data/100%25.txt", "data/100%.txt", WRONG),
        ("1.0", "data/a%0Ab.txt", "data/100%.txt", WRONG),
    ):
        bag = a_bag(tmp_path / "bag", version, {written: b"x"})
        (bag / written).rename(bag / named)
        assert judge_any_bag(bag).word == word, (version, written, named)
        shutil.rmtree(bag)


def test_what_is_found_is_named_once_and_within_bounds(tmp_path: Path) -> None:
    def found(bag: Path, **bounds: int) -> list[tuple[str, str]]:
        verdict = judge_any_bag(bag, limits=replace(DEFAULT_BUDGET, **bounds))
        return [(one.rule, one.path) for one in verdict.findings]

    bag = a_bag(tmp_path / "bag", files={"data/100%25.txt": b"x"}, algorithms=("md5", "sha1"))
    assert found(bag) == [
        ("bag.odd_path", "manifest-md5.txt"),
        ("bag.odd_path", "manifest-sha1.txt"),
        ("bag.weak_checksums", "manifest-md5.txt"),
    ]
    (bag / "data" / "100%25.txt").unlink()
    assert ("bag.file_missing", "data/100%.txt") in found(bag)
    longest = max(path.stat().st_size for path in bag.iterdir() if path.is_file())
    for most, told in ((longest, False), (longest - 1, True)):
        rules = [rule for rule, _ in found(bag, most_manifest_bytes=most)]
        assert ("bag.tag_file_too_big" in rules) is told
    manifest = bag / "manifest-md5.txt"
    manifest.write_text("1\n2\n3\n", encoding="utf-8")
    (bag / "manifest-sha1.txt").write_text("1\n2\n3\n", encoding="utf-8")
    for most, rules in ((3, ["manifest_line"] * 3), (2, ["manifest_line"] * 2 + ["wrong_lines"])):
        told = [rule for rule, path in found(bag, most_faults_named=most) if "md5" in path]
        assert told == [f"bag.{one}" for one in rules] + ["bag.weak_checksums"]
        told = [rule for rule, path in found(bag, most_faults_named=most) if "sha1" in path]
        assert told == [f"bag.{one}" for one in rules]
    manifest.unlink()
    (bag / "manifest-sha1.txt").unlink()
    assert found(bag) == [("bag.no_manifest", "")]


def a_zip_of(bag: Path, target: Path, renamed: dict[str, str]) -> Path:
    with zipfile.ZipFile(target, "w") as archive:
        for path in sorted(bag.rglob("*")):
            if path.is_file():
                name = path.relative_to(bag).as_posix()
                archive.write(path, f"bag/{renamed.get(name, name)}")
    return target


def test_names_that_are_one_on_some_systems_are_a_warning_and_no_damage(tmp_path: Path) -> None:
    """RFC 8493 section 6.1. In a zip, so that any disk can hold them for the test."""
    files = {"data/wall.jpg": b"1", "data/Wall_.jpg": b"2"}
    bag = a_bag(tmp_path / "bag", files=files)
    in_each(lambda text: text.replace("Wall_", "Wall"))(bag)
    found = a_zip_of(bag, tmp_path / "b.zip", {"data/Wall_.jpg": "data/Wall.jpg"})
    verdict = judge_any_bag(found)
    assert (verdict.word, [one.rule for one in verdict.findings]) == (WARNED, ["bag.name_twins"])
    of_the_record = verify_bundle(found)
    assert of_the_record.word == "no record"
    assert of_the_record.findings == verdict.findings


def test_a_name_in_another_unicode_form_is_the_same_file(tmp_path: Path) -> None:
    """RFC 8493 section 6.1; the library compares the composed form too."""
    bag = a_bag(tmp_path / "bag", files={"data/caf\u00e9.txt": b"x"})
    found = a_zip_of(bag, tmp_path / "b.zip", {"data/caf\u00e9.txt": "data/cafe\u0301.txt"})
    assert judge_any_bag(found).word == FINE


def test_an_empty_payload_needs_its_folder_which_a_zip_need_not_list(tmp_path: Path) -> None:
    """RFC 8493 section 2.1.2."""
    bag = a_bag(tmp_path / "bag", files={})
    assert judge_any_bag(bag).word == FINE
    assert judge_any_bag(a_zip_of(bag, tmp_path / "b.zip", {})).word == FINE
    (bag / "data").rmdir()
    assert judge_any_bag(bag).word == WRONG


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_bag_is_incomplete_by_exactly_the_files_that_can_be_fetched(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """RFC 8493 sections 2.2.3 and 3: once each is put back, the library finds the bag valid."""
    names = st.sampled_from(["a", "b b", "c/d", "e%", "ü"]).map("data/{}".format)
    files = data.draw(st.dictionaries(names, st.binary(max_size=3), min_size=1))
    listed = data.draw(st.sets(st.sampled_from(sorted(files))))
    gone = data.draw(st.sets(st.sampled_from(sorted(files))))
    version = data.draw(st.sampled_from(["0.96", "0.97"]))
    bag = a_bag(tmp_path_factory.mktemp("holey") / "bag", version, files)
    lines = [f"https://reach.example/{n} - {path}\n" for n, path in enumerate(sorted(listed))]
    (bag / "fetch.txt").write_text("".join(lines), encoding="utf-8")
    for path in gone:
        (bag / path).unlink()
    verdict = judge_any_bag(bag)
    assert {one.path for one in verdict.to_fetch} == gone & listed
    lost = {one.path for one in verdict.findings if one.rule == "bag.file_missing"}
    assert lost == gone - listed
    assert verdict.word == (WRONG if lost else LACKING if gone else WARNED)
    for path in gone:
        (bag / path).write_bytes(files[path])
    assert judge_any_bag(bag).word == WARNED
    assert valid_by_the_library(bag)


def test_no_bag_is_called_valid_that_the_library_refuses(tmp_path: Path) -> None:
    """Bytes flipped, cut, doubled and lost anywhere in a bag, and files gone."""
    words = set()
    for seed in range(80):
        choices = Seeded(seed)
        bag = a_bag(tmp_path / f"{seed}" / "bag", pick(choices, ("0.93", "0.97", "1.0")))
        if choices.below(2):
            TO_FETCH(bag)
        if choices.below(2):
            sealed(bag)
        path = pick(choices, [path for path in sorted(bag.rglob("*")) if path.is_file()])
        if choices.below(8):
            path.write_bytes(mutated_bytes(choices, path.read_bytes()))
        else:
            path.unlink()
        word = judge_any_bag(bag).word
        words.add(word)
        try:
            valid = valid_by_the_library(bag)
        except (TypeError, AttributeError):  # of tags that are there twice
            valid = False
        assert valid or word not in (FINE, WARNED), seed
    assert {FINE, WARNED, WRONG} <= words


def test_what_could_do_harm_is_not_opened(tmp_path: Path) -> None:
    """RFC 8493 section 5.1, CWE-22 and CWE-59, as for bundles."""
    linked = a_bag(tmp_path / "linked")
    os.symlink("/etc/passwd", linked / "data" / "link")
    climbing = a_zip_of(a_bag(tmp_path / "bag"), tmp_path / "b.zip", {"bag-info.txt": "../../x"})
    loose = tmp_path / "loose.zip"
    with zipfile.ZipFile(loose, "w") as archive:
        archive.writestr("one.txt", b"x")
    for bag, word, rule in (
        (linked, WRONG, "container.link"),
        (climbing, WRONG, "container.unsafe_name"),
        (loose, NONE, "container.not_one_folder"),
    ):
        verdict = judge_any_bag(bag)
        assert (verdict.word, [one.rule for one in verdict.findings]) == (word, [rule])


def test_a_bag_that_lost_its_record_is_damaged_and_no_bag_of_others(
    bundle: Path, zip_bundle: Path
) -> None:
    """Its lists still name the record."""
    for paths, held in (
        ({"data/schemas/model.json"}, True),
        ({"data/datapackage.json", "data/bundle.json"}, True),
        ({"data/datapackage.json", "data/a.csv"}, False),
        (set(), False),
    ):
        assert holds_record(paths) is held, paths
    whole = judge_any_bag(zip_bundle)
    assert (whole.word, whole.holds_record, whole.findings) == (FINE, True, ())
    shutil.rmtree(bundle / "data")
    (bundle / "data").mkdir()
    assert judge_any_bag(bundle).holds_record
    assert verify_bundle(bundle).word == "damaged"
    deeper = bundle.parent / "deeper.zip"
    with zipfile.ZipFile(deeper, "w") as archive:
        for name in ("bagit.txt", "data/schemas/model.json"):
            archive.writestr(f"bundle/bundle/{name}", b"x")
    assert judge_any_bag(deeper).word == NONE
    assert verify_bundle(deeper).word == "damaged"


def test_the_command_speaks_the_five_words_and_ends_with_their_codes(tmp_path: Path) -> None:
    def run(*more: str) -> tuple[int, str]:
        done = CliRunner().invoke(treenail, ["verify", "--bag-only", *more])
        return done.exit_code, done.output

    bag = a_bag(tmp_path / "bag")
    assert run(str(bag)) == (0, bag_text(judge_any_bag(bag)))
    TO_FETCH(bag)
    assert run(str(bag))[0] == 0
    (bag / "data" / "plan.tif").unlink()
    code, said = run(str(bag))
    assert code == 1
    assert "bag: incomplete (" in said
    assert f"to fetch: data/plan.tif (4 bytes) from {URL}" in said
    code, said = run(str(bag), "--format", "json")
    found = json.loads(said)
    assert (code, found["verdict"], found["holdsRecord"]) == (1, "incomplete", False)
    assert found["toFetch"] == [{"path": "data/plan.tif", "url": URL, "bytes": 4}]
    (bag / "data" / "notes" / "day 1.txt").unlink()
    assert run(str(bag))[0] == 1
    (bag / "bagit.txt").unlink()
    assert run(str(bag))[0] == 2
    assert run(str(bag), "--fast")[0] == 2

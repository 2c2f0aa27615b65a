"""The bag itself, against RFC 8493, the bagit library and the programs that read checksum lists.

The worked examples of RFC 8493 are re-created from memory, with stand-ins for the files whose bytes
the RFC does not print.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
from pathlib import Path

import bagit
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from provenance._bag.bag_check import judge_bag
from provenance._bag.hashing import hash_files
from provenance._bundle.verify import verify_bundle


def valid_by_the_library(folder: Path) -> bool:
    try:
        return bool(bagit.Bag(str(folder)).is_valid())
    except (bagit.BagError, ValueError):  # bytes that are no text are a ValueError
        return False


# -- RFC 8493 ------------------------------------------------------------------------------------


def the_rfcs_first_bag(folder: Path, *, own_sums: bool) -> Path:
    """RFC 8493 section 4.1, 'Example of a Basic Bag'."""
    bag = folder / "myfirstbag"
    images = bag / "data" / "27613-h" / "images"
    images.mkdir(parents=True)
    (images / "q172.png").write_bytes(b"stand-in for the picture")
    (images / "q172.txt").write_bytes(b"stand-in for the text")
    sums = ["49afbd86a1ca9f34b677a3f09655eae9", "408ad21d50cef31da4df6d9ed81b01a7"]
    if not own_sums:
        sums = [hashlib.md5(p.read_bytes()).hexdigest() for p in sorted(images.iterdir())]
    (bag / "manifest-md5.txt").write_text(
        f"{sums[0]} data/27613-h/images/q172.png\n{sums[1]} data/27613-h/images/q172.txt\n",
        encoding="utf-8",
    )
    (bag / "bagit.txt").write_text(
        "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", encoding="utf-8"
    )
    return bag


def test_the_rfcs_basic_bag_is_valid_but_its_md5_is_weak(tmp_path: Path) -> None:
    bag = the_rfcs_first_bag(tmp_path, own_sums=False)
    assert [(one.rule, one.severity) for one in judge_bag(bag).findings] == [
        ("bag.weak_checksums", "warning")
    ]
    assert valid_by_the_library(bag)


def test_the_rfcs_own_checksums_name_the_stand_ins_as_different(tmp_path: Path) -> None:
    bag = the_rfcs_first_bag(tmp_path, own_sums=True)
    assert [one.path for one in judge_bag(bag).findings if one.rule == "bag.file_differs"] == [
        "data/27613-h/images/q172.png",
        "data/27613-h/images/q172.txt",
    ]


def test_the_declaration_is_the_rfcs_word_for_word(bundle: Path) -> None:
    """RFC 8493 section 2.1.1: exactly two lines, version and encoding."""
    assert (bundle / "bagit.txt").read_bytes() == (
        b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    )


def test_every_payload_file_is_in_every_manifest(bundle: Path) -> None:
    """RFC 8493 section 2.1.3, new in version 1.0."""
    payload = {
        p.relative_to(bundle).as_posix() for p in (bundle / "data").rglob("*") if p.is_file()
    }
    for algorithm in ("sha256", "sha512"):
        lines = (bundle / f"manifest-{algorithm}.txt").read_text("utf-8").splitlines()
        assert {line.split("  ", 1)[1] for line in lines} == payload
        assert len(lines) == len(payload)


def test_every_other_file_is_in_the_tag_manifests(bundle: Path) -> None:
    """RFC 8493 section 2.2.1: all but the tag manifests themselves."""
    tags = {
        p.name for p in bundle.iterdir() if p.is_file() and not p.name.startswith("tagmanifest")
    }
    for algorithm in ("sha256", "sha512"):
        lines = (bundle / f"tagmanifest-{algorithm}.txt").read_text("utf-8").splitlines()
        assert {line.split("  ", 1)[1] for line in lines} == tags


def test_payload_oxum_counts_bytes_and_files(bundle: Path) -> None:
    """RFC 8493 section 2.2.2."""
    files = [path for path in (bundle / "data").rglob("*") if path.is_file()]
    oxum = f"Payload-Oxum: {sum(path.stat().st_size for path in files)}.{len(files)}\n"
    assert oxum in (bundle / "bag-info.txt").read_text("utf-8")


# -- others that read it -------------------------------------------------------------------------


@pytest.mark.parametrize("processes", [1, 2])
def test_the_bagit_library_finds_the_bag_valid(bundle: Path, processes: int) -> None:
    assert bagit.Bag(str(bundle)).validate(processes=processes)


@pytest.mark.skipif(not shutil.which("sha256sum"), reason="GNU coreutils are not here")
def test_sha256sum_checks_the_manifests_as_the_readme_says(bundle: Path) -> None:
    for program in ("sha256", "sha512"):
        for name in (f"manifest-{program}.txt", f"tagmanifest-{program}.txt"):
            checked = subprocess.run(
                [f"{program}sum", "--strict", "--quiet", "-c", name],
                cwd=bundle,
                capture_output=True,
            )
            assert (checked.returncode, checked.stdout, checked.stderr) == (0, b"", b"")


# -- every file that is wrong is named -----------------------------------------------------------


def test_changed_missing_and_added_files_are_all_named(bundle: Path) -> None:
    (bundle / "data" / "tables" / "plug.csv").write_text("changed", encoding="utf-8")
    (bundle / "data" / "files" / "photo-001.png").unlink()
    (bundle / "data" / "files" / "new.png").write_bytes(b"new")
    (bundle / "bag-info.txt").write_text("Bagging-Date: 2031-05-04\n", encoding="utf-8")
    found = {(one.rule, one.path) for one in judge_bag(bundle).findings}
    assert found == {
        ("bag.file_differs", "data/tables/plug.csv"),
        ("bag.file_missing", "data/files/photo-001.png"),
        ("bag.file_extra", "data/files/new.png"),
        ("bag.file_differs", "bag-info.txt"),
    }


def test_a_file_that_only_one_manifest_lists_is_named(bundle: Path) -> None:
    """RFC 8493 section 2.1.3; the library is content with one manifest."""
    manifest = bundle / "manifest-sha512.txt"
    lines = manifest.read_text("utf-8").splitlines(keepends=True)
    manifest.write_text("".join(line for line in lines if "photo" not in line), encoding="utf-8")
    found = {(one.rule, one.path) for one in judge_bag(bundle).findings}
    assert ("bag.file_unlisted", "data/files/photo-001.png") in found


def test_a_file_name_that_changed_its_unicode_form_on_the_way_is_the_same_file(
    tmp_path: Path,
) -> None:
    """As some file systems do; RFC 8493 section 6.1 asks for care with it."""
    from provenance._bag.bag import write_bag

    (tmp_path / "b" / "data").mkdir(parents=True)
    (tmp_path / "b" / "data" / "caf\u00e9.txt").write_text("x", encoding="utf-8")
    write_bag(tmp_path / "b", {})
    (tmp_path / "b" / "data" / "caf\u00e9.txt").rename(tmp_path / "b" / "data" / "cafe\u0301.txt")
    assert judge_bag(tmp_path / "b").findings == []


def test_fast_sees_sizes_and_names_but_not_a_flipped_bit(bundle: Path) -> None:
    photo = bundle / "data" / "files" / "photo-001.png"
    content = bytearray(photo.read_bytes())
    content[100] ^= 1
    photo.write_bytes(content)
    assert judge_bag(bundle, fast=True).findings == []
    assert [one.path for one in judge_bag(bundle).findings] == ["data/files/photo-001.png"]
    photo.write_bytes(content + b"longer")
    assert judge_bag(bundle, fast=True).findings != []


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_damage_to_one_file_is_named_and_the_library_agrees(
    pristine: Path, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Differential: our verdict against the library's, over damage of every kind."""
    folder = tmp_path_factory.mktemp("damaged") / "bundle"
    shutil.copytree(pristine / "bundle", folder)
    files = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    payload = [path for path in files if path.startswith("data/")]
    path = folder / data.draw(st.sampled_from(payload))
    damage = data.draw(st.sampled_from(["flip", "cut", "grow", "empty", "remove", "rename"]))
    content = bytearray(path.read_bytes())
    if damage == "flip":
        if not content:
            return
        content[data.draw(st.integers(0, len(content) - 1))] ^= data.draw(st.integers(1, 255))
        path.write_bytes(content)
    elif damage == "cut":
        if not content:
            return
        path.write_bytes(content[: data.draw(st.integers(0, len(content) - 1))])
    elif damage == "grow":
        path.write_bytes(content + data.draw(st.binary(min_size=1, max_size=9)))
    elif damage == "empty":
        if not content:
            return
        path.write_bytes(b"")
    elif damage == "remove":
        path.unlink()
    else:
        path.rename(path.with_name("renamed.bin"))
    name = path.relative_to(folder).as_posix()
    verdict = verify_bundle(folder)
    assert not verdict.sound
    assert not verdict.intact
    assert name in {one.path for one in verdict.findings if one.part == "bag"}
    assert not valid_by_the_library(folder)


# -- hashing -------------------------------------------------------------------------------------


@pytest.mark.parametrize("threads", [1, 2, 5])
def test_checksums_are_hashlibs_whatever_the_sizes_and_threads(
    tmp_path: Path, threads: int
) -> None:
    """One file is most of the work, so that its algorithms are shared out."""
    contents = {f"{n}.bin": bytes([n % 256]) * (n * 37) for n in range(300)}
    contents["large.bin"] = b"large" * 2_000_000
    for name, content in contents.items():
        (tmp_path / name).write_bytes(content)
    told: list[tuple[int, int]] = []
    sums = hash_files(
        tmp_path,
        dict.fromkeys(contents, ("sha256", "sha512")),
        threads=threads,
        progress=lambda done, total: told.append((done, total)),
    )
    assert sums.digests == {
        name: {
            "sha256": hashlib.sha256(content).hexdigest(),
            "sha512": hashlib.sha512(content).hexdigest(),
        }
        for name, content in contents.items()
    }
    assert told[-1][0] == told[-1][1] == sum(map(len, contents.values()))


def test_a_file_that_cannot_be_read_is_named_and_the_others_are_hashed(tmp_path: Path) -> None:
    (tmp_path / "there").write_bytes(b"x")
    sums = hash_files(tmp_path, dict.fromkeys(["there", "gone"], ("sha256",)))
    assert set(sums.digests) == {"there"}
    assert "gone" in sums.unreadable

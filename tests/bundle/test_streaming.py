"""A zip is judged as it streams by: its payload never comes to lie on the disk."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from provenance._bag.bag import write_bag
from provenance._bag.hostile_zip import opened_zip
from provenance._bag.streaming import hash_members
from provenance._bag.zipping import write_zip
from provenance._bundle import verify
from provenance._bundle.verify import verify_bundle


def test_verifying_a_zip_brings_out_tables_and_descriptions_only(
    zip_bundle: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    original = verify.judge_folder
    blocks: dict[str, int] = {}

    def noted(bundle, folder, **more):  # type: ignore[no-untyped-def]
        for path in folder.rglob("*"):
            if path.is_file():
                blocks[path.relative_to(folder).as_posix()] = path.stat().st_blocks
        return original(bundle, folder, **more)

    monkeypatch.setattr(verify, "judge_folder", noted)
    assert verify_bundle(zip_bundle).sound
    assert blocks["data/files/photo-001.png"] == 0
    assert blocks["data/index.html"] == 0
    assert blocks["data/tables/sample.csv"] > 0
    assert blocks["manifest-sha256.txt"] > 0


def test_members_have_the_checksums_of_hashlib(zip_bundle: Path) -> None:
    with zipfile.ZipFile(zip_bundle) as archive, opened_zip(zip_bundle) as bag:
        found = hash_members(bag, list(bag.members)).digests
        for name in archive.namelist():
            path = name.partition("/")[2]
            content = archive.read(name)
            for algorithm in ("sha256", "sha512"):
                assert found[path][algorithm] == hashlib.new(algorithm, content).hexdigest()


def test_a_large_member_is_hashed_in_pieces_that_threads_share(tmp_path: Path) -> None:
    (tmp_path / "bag" / "data").mkdir(parents=True)
    content = os.urandom(1 << 20) * 9 + b"odd end"
    (tmp_path / "bag" / "data" / "large.bin").write_bytes(content)
    write_bag(tmp_path / "bag", {})
    with open(tmp_path / "bag.zip", "wb") as stream:
        write_zip(tmp_path / "bag", stream, base_name="bag", day="2031-05-04")
    told: list[tuple[int, int]] = []
    with opened_zip(tmp_path / "bag.zip") as bag:
        progress = lambda done, total: told.append((done, total))  # noqa: E731
        found = hash_members(bag, ["data/large.bin"], progress=progress).digests
    assert found["data/large.bin"]["sha512"] == hashlib.sha512(content).hexdigest()
    assert told[-1] == (len(content), len(content))


def test_a_checksum_that_is_false_in_the_manifest_of_a_zip_is_found(
    zip_bundle: Path, tmp_path: Path
) -> None:
    """The zip's own CRC is right: only the manifest tells."""
    with zipfile.ZipFile(zip_bundle) as old, zipfile.ZipFile(tmp_path / "b.zip", "w") as new:
        for member in old.infolist():
            content = old.read(member)
            if member.filename.endswith("photo-001.png"):
                content = content[:-1] + b"\0"
            new.writestr(member, content)
    verdict = verify_bundle(tmp_path / "b.zip")
    assert ("bag.file_differs", "data/files/photo-001.png") in {
        (one.rule, one.path) for one in verdict.findings
    }


def test_a_member_in_the_form_of_zip64_is_read(zip_bundle: Path, tmp_path: Path) -> None:
    """APPNOTE 4.5.3: sizes of 64 bits, which files of 4 GiB and more need."""
    with zipfile.ZipFile(zip_bundle) as old, zipfile.ZipFile(tmp_path / "b.zip", "w") as new:
        for name in old.namelist():
            with new.open(name, "w", force_zip64=True) as writer:
                writer.write(old.read(name))
    assert verify_bundle(tmp_path / "b.zip").findings == ()


def test_memory_stays_flat_whatever_a_member_weighs(tmp_path: Path) -> None:
    bag = tmp_path / "bag"
    (bag / "data").mkdir(parents=True)
    with open(bag / "data" / "scan.tif", "wb") as stream:
        stream.truncate(300 << 20)
    write_bag(bag, {})
    with open(tmp_path / "bag.zip", "wb") as stream:
        write_zip(bag, stream, base_name="bag", day="2031-05-04")
    code = (
        "import re, sys; from pathlib import Path\n"
        "from provenance._bundle.verify import verify_bundle\n"
        "verdict = verify_bundle(Path(sys.argv[1]))\n"
        "assert verdict.intact, verdict.findings\n"
        # not getrusage: that counts what the process it was forked from held
        "print(re.search(r'VmHWM:\\s*(\\d+)', Path('/proc/self/status').read_text())[1])"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, tmp_path / "bag.zip"],
        capture_output=True,
        text=True,
        check=True,
    )
    kilobytes = int(run.stdout)
    assert kilobytes < 180_000  # 66,000, with a member of any size

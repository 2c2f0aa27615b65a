"""In a folder that takes 'a' and 'A' for one name nothing is lost, and bundles are the same."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from provenance._bundle.finding_aid.addresses import page_path
from provenance._bundle.pack import pack
from provenance._bundle.unpack import unpack
from provenance._bundle.verify import verify_bundle
from provenance._record.package import Package, open_package
from provenance._survey.plan.plan_content import file_name_parts
from tests.builders import PackageBuilder, a_package
from tests.programs import program
from tests.test_any_desktop import same_files

pytestmark = pytest.mark.heavy

MOUNT = Path(__file__).with_name("case_folder.py")


def cannot_mount() -> str:
    """What is missing here, or nothing."""
    if not program("fusermount3"):
        return "fuse3 is not installed"
    if not os.access("/dev/fuse", os.R_OK | os.W_OK):
        return "/dev/fuse is not there or may not be used"
    try:
        import mfusepy  # noqa: F401 - it looks for libfuse when it is imported
    except (ImportError, OSError, AttributeError) as error:
        return f"mfusepy or libfuse2 is not installed: {error}"
    return ""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder that ignores the case of names; skipped where none can be mounted."""
    if reason := cannot_mount():
        pytest.skip(reason)
    place = tmp_path_factory.mktemp("case")
    real, mounted = place / "real", place / "mounted"
    real.mkdir()
    mounted.mkdir()
    process = subprocess.Popen(
        [sys.executable, str(MOUNT), str(real), str(mounted)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    try:
        while not mounted.is_mount():
            if process.poll() is not None:
                assert process.stderr is not None
                pytest.skip(f"no folder can be mounted: {process.stderr.read().decode()[-300:]}")
            time.sleep(0.02)
        yield mounted
    finally:
        subprocess.run(["fusermount3", "-u", "-q", str(mounted)], check=False)
        process.wait(timeout=30)
        assert process.stderr is not None
        process.stderr.close()


def with_twins(folder: Path) -> Package:
    """A package with two samples and two pieces of wood whose codes differ only in case."""
    builder = a_package(folder).with_chain()
    for number, code in enumerate(("12a", "12A")):
        builder.with_row("element", element_id=f"b1-{code}")
        builder.with_row("sample", sample_id=code, element_id=f"b1-{code}")
        builder.with_row("plug", plug_id=f"P-{code}", sample_id=code, stamp=f"41{number}")
    # and one whose code is a device on Windows
    builder.with_row("sample", sample_id="CON", element_id="B1-014", along_m="1.75")
    return PackageBuilder(open_package(builder.package.folder)).package


def test_the_folder_ignores_case_and_unicode_form(folder: Path) -> None:
    (folder / "Caf\u00e9").write_text("one")
    assert (folder / "cAFE\u0301").read_text() == "one"
    (folder / "CAF\u00c9").write_text("two")
    assert [path.name for path in folder.iterdir()] == ["Caf\u00e9"]
    (folder / "Caf\u00e9").unlink()


def test_a_record_with_codes_alike_is_packed_verified_and_unpacked_there(
    folder: Path, tmp_path: Path
) -> None:
    package = with_twins(tmp_path)
    pack(package, tmp_path / "bundle")
    shutil.copytree(package.folder, folder / package.folder.name)
    there = open_package(folder / package.folder.name)
    for zipped, name in ((False, "bundle"), (True, "bundle.zip")):
        pack(there, folder / name, zipped=zipped)
        # the form of a specimen number wants capitals; that is the record's fault, not the bundle's
        found = verify_bundle(folder / name).findings
        assert [(one.rule, one.path) for one in found] == [
            ("structure.wrong_form", "data/tables/sample.csv")
        ]
    assert same_files(folder / "bundle", tmp_path / "bundle")
    for code in ("12a", "12A", "CON"):
        page = folder / "bundle" / "data" / page_path("sample", code)
        assert f"Sample {code}" in page.read_text(encoding="utf-8")
    again = unpack(folder / "bundle.zip", folder / "again").package
    assert list(again.table("sample")["sample_id"]) == ["231", "12a", "12A", "CON"]
    assert sorted(path.name for path in folder.iterdir() if path.name.endswith(".part")) == []


def test_files_named_by_code_lie_side_by_side_there(folder: Path) -> None:
    for code, part in file_name_parts(["12a", "12A", "B1/R2", "B1_R2"]).items():
        (folder / f"sheet-{part}.pdf").write_text(code)
    sheets = sorted(path.read_text() for path in folder.glob("sheet-*.pdf"))
    assert sheets == ["12A", "12a", "B1/R2", "B1_R2"]

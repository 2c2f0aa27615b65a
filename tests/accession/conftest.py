"""Two pristine bundles of one place, with a repository among the parties."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from provenance._accession import received
from provenance._bag.verdict import Verdict
from provenance._ledger.custody import append_events
from provenance._record.origin import Ancestor
from provenance._record.package import Package, open_package
from tests.builders import PackageBuilder, a_package, left_alone, pack_bundle
from tests.bundle.conftest import LEDGER


def a_sound_package(folder: Path) -> Package:
    """A package without errors, with a repository, samples with the laboratory and the crew."""
    builder = a_package(folder).with_chain()
    builder.with_bare_row(
        "party",
        party_id="REPO",
        kind="organisation",
        name="Store of Old Timber at Fenwick Moss (invented)",
    )
    builder.with_row("sample", sample_id="232", along_m="1.75").with_row(
        "plug", plug_id="P-232", sample_id="232", stamp="232"
    )
    builder.with_row("lab_result")
    builder.with_row("consignment")
    package = builder.package
    sites = package.table("site")
    sites["repository_id"] = "REPO"
    package.write_table("site", sites)
    append_events(package, LEDGER)
    events = LEDGER.head(1).copy()
    events["sample_id"], events["happened_on"] = "232", "2024-06-21"
    append_events(package, events)
    return open_package(package.folder)


@pytest.fixture(scope="session")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with bundle, bundle.zip and later.zip, each of them sound; never to be changed."""
    folder = tmp_path_factory.mktemp("shelf")
    package = a_sound_package(folder)
    pack_bundle(package, folder / "bundle")
    pack_bundle(package, folder / "bundle.zip", zipped=True)
    PackageBuilder(package).with_row("element", element_id="B1-015")
    pack_bundle(package, folder / "later.zip", zipped=True)
    with left_alone(folder):
        yield folder


@pytest.fixture(scope="session")
def verdicts() -> dict[object, Any]:
    return {}


@pytest.fixture
def judged_once(shelf: Path, verdicts: dict[object, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """A bundle on the shelf, which no test changes, is verified and checked for the first alone."""
    judge, faults = received.judge_folder, received._faults

    def remembered(key: object, ask: Callable[[], Any]) -> Any:
        if key not in verdicts:
            verdicts[key] = ask()
        return verdicts[key]

    def judge_once(bundle: Path, folder: Path, **more: Any) -> Any:
        if bundle.parent != shelf:
            return judge(bundle, folder, **more)
        return remembered(bundle, lambda: judge(bundle, folder, **more))

    def faults_once(package: Package, known_by: Ancestor, verdict: Verdict) -> Any:
        if verdict.bundle.parent != shelf:
            return faults(package, known_by, verdict)
        return remembered(verdict, lambda: faults(package, known_by, verdict))

    monkeypatch.setattr(received, "judge_folder", judge_once)
    monkeypatch.setattr(received, "_faults", faults_once)


@pytest.fixture
def bundle(shelf: Path, tmp_path: Path) -> Path:
    """A bundle as a folder, to be broken."""
    shutil.copytree(shelf / "bundle", tmp_path / "bundle")
    return tmp_path / "bundle"

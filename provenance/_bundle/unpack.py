"""Turns a bundle back into a package to work on, once it is verified."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, replace
from pathlib import Path

from provenance._bag.bag import payload_files
from provenance._bag.hostile import HostileBundle
from provenance._bag.verdict import Verdict
from provenance._base.disk import building_folder, write_text
from provenance._base.errors import UnusableInput
from provenance._base.progress import Progress, say_nothing
from provenance._bundle.describe.lineage import origin_of
from provenance._bundle.generated import generated_names
from provenance._bundle.verify import BUNDLE_FACTS, judge_folder, opened_bundle
from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._gate.documents import read_json
from provenance._record.origin import ORIGIN
from provenance._record.package import Package, as_json, open_package


@dataclass(frozen=True)
class Unpacked:
    """What came of unpacking: the package, and the verdict over the bundle it came from."""

    package: Package
    verdict: Verdict


def unpack(
    bundle: Path | str,
    out: Path | str,
    *,
    even_if_damaged: bool = False,
    limits: Budget = DEFAULT_BUDGET,
    progress: Progress = say_nothing,
) -> Unpacked:
    """Verify a bundle and write the package in it to the new folder `out`.

    Every file of the package comes back byte for byte; what pack wrote beside it (pages, code
    book, report, crate) is left out. Which bundle it was, and which numbers it had given out, is
    kept in the package's hidden file `.origin.json`. A bundle whose bytes are not as packed, or
    which cannot be read, is refused; faults of the record itself, which its report names, are for
    the person who works on it. With `even_if_damaged` what is left of a damaged one is unpacked as
    far as its record can be read, and the package says so in its check.
    Raises UnusableInput for a bundle that is refused and AlreadyThere when `out` exists.
    """
    bundle, out = Path(bundle), Path(out)
    with (
        building_folder(out) as being_built,
        opened_bundle(bundle, limits=limits, progress=progress) as folder,
    ):
        try:
            verdict = judge_folder(bundle, folder, fast=False, limits=limits, progress=progress)
        except HostileBundle as error:
            raise UnusableInput(str(error)) from error
        _refuse_unsound(verdict, even_if_damaged)
        data = folder / "data"
        generated = _generated(data)
        members: dict[str, int] = {}
        for path in payload_files(folder):
            inside = path.removeprefix("data/")
            if inside.split("/")[0] in generated:
                continue
            target = being_built / inside
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(data / inside, target, follow_symlinks=False)
            members[inside] = target.stat().st_size
        for empty in ("files", "originals"):
            (being_built / empty).mkdir(exist_ok=True)
        damaged = tuple(f"{one.path} {one.message}".strip() for one in verdict.damage)
        try:
            origin = origin_of(folder, open_package(being_built), members)
        except (OSError, ValueError, LookupError) as error:
            raise UnusableInput(f"{bundle} is too damaged to be unpacked: {error}") from error
        write_text(being_built / ORIGIN, as_json(replace(origin, damaged=damaged).as_dict()))
    return Unpacked(open_package(out), verdict)


def _refuse_unsound(verdict: Verdict, even_if_damaged: bool) -> None:
    verdict.refuse_without_record()
    if verdict.word != "damaged" or (even_if_damaged and "custody" in verdict.looked_at):
        return
    rescue = "" if even_if_damaged else "; --even-if-damaged unpacks what can be read of it"
    remedy = verdict.damage[0].remedy if verdict.damage else "Ask for the bundle again."
    raise UnusableInput(
        f"{verdict.bundle} is not unpacked, because it is not sound: {verdict.what_is_damaged}. "
        f"'treenail verify' lists every fault{rescue}. {remedy}"
    )


def _generated(data: Path) -> frozenset[str]:
    """The top names that pack wrote when this bundle was made; never a part of the package."""
    listed = read_json(data / BUNDLE_FACTS).get("generated")
    names = {one for one in listed if isinstance(one, str)} if isinstance(listed, list) else set()
    return frozenset(names or generated_names()) - {
        "datapackage.json",
        "tables",
        "schemas",
        "README.md",
    }

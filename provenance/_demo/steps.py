"""The moves from the field form to the archive, each made once on the demonstration papers."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.disk import write_text
from provenance._demo.stage import (
    ENCLOSURES,
    EVALUATION,
    FIELD,
    RESULTS,
    SOUND,
    STARTED,
    Did,
    Stage,
)
from provenance._record.package import open_package

if TYPE_CHECKING:
    from provenance._base.findings import Finding

MISSING_SAMPLE = "226"
"""Its tube came empty, says the story."""
BLUNDER = "T167"
"""One tape reading is a foot too short, says the story."""
ATTACHED = {
    "files": "files",
    "laboratory/ring_widths": "files/laboratory/ring_widths",
    "laboratory/report.txt": "files/laboratory",
}
"""Files and folders of the papers, and the folder of the package each goes into."""
PAPERS = ("field", "laboratory", "two_laptops", "mappings", "files", "faulted", "review",
          "README.md")  # fmt: skip


def lay_out_papers(stage: Stage) -> Did:
    """Copy what the crews and the laboratory handed in to where the commands read it."""
    for name in PAPERS:
        source = stage.material / name
        copy = shutil.copytree if source.is_dir() else shutil.copyfile
        stage.papers.mkdir(exist_ok=True)
        copy(source, stage.papers / name)
    return Did(
        "Papers",
        "the papers of two crews and a laboratory, all invented",
        (f"cd {stage.out}",),
        (stage.papers / "README.md",),
    )


def start_package(stage: Stage) -> Did:
    """An empty package for any kind of place."""
    from provenance._record.new import new_package

    title = "Hollin Reach 2023 (invented demonstration)"
    package = new_package(stage.sound, "blank", title=title, created=STARTED)
    return Did(
        "New package",
        f"an empty package with {len(package.model.tables)} tables",
        (f'treenail new {SOUND} --title "{title}"',),
        (stage.sound / "README.md",),
    )


def bring_in_field_papers(stage: Stage) -> Did:
    """Papers of two crews, and what the evaluation rests on, each through its mapping."""
    papers = FIELD + EVALUATION
    return import_papers("Field papers", stage, stage.sound, stage.papers / "field", papers)


def bring_in_results(stage: Stage) -> Did:
    """Two instalments of the laboratory; the second revises a result of the first."""
    return import_papers("Results", stage, stage.sound, stage.papers / "laboratory", RESULTS)


def bring_in_enclosures(stage: Stage) -> Did:
    """The laboratory's list of ring-width files, each tied to its result."""
    return import_papers("Enclosures", stage, stage.sound, stage.papers / "laboratory", ENCLOSURES)


def import_papers(title: str, stage: Stage, into: Path, source: Path, papers: Sequence[str]) -> Did:
    """Import each paper through its mapping; results also have their dates read."""
    from provenance._intake.importing import import_exports
    from provenance._intake.mapping.mapping_file import read_mapping
    from provenance._lab.results import import_results

    package = open_package(into)
    verb = "results import" if papers is RESULTS else "import"
    added: Counter[str] = Counter()
    findings: list[tuple[str, Finding]] = []
    mappings = {paper: f"{Path(paper).stem}.yaml" for paper in papers}
    for paper, mapping_name in mappings.items():
        mapping = read_mapping(stage.papers / "mappings" / mapping_name, package.model)
        if papers is RESULTS:
            read = import_results(package, [source / paper], mapping, when=STARTED)
            result = read.imported
            findings += [(paper, one) for one in read.findings]
        else:
            result = import_exports(package, [source / paper], mapping, when=STARTED)
        findings += [(paper, one) for one in result.findings]
        added.update(result.added)
    rows = ", ".join(f"{count} {table}" for table, count in added.items())
    where = source.relative_to(stage.out).as_posix()
    return Did(
        title,
        f"kept byte for byte in originals/, and read: {rows}",
        tuple(
            f"treenail {verb} {into.name} {where}/{paper} --mapping papers/mappings/{mapping_name}"
            for paper, mapping_name in mappings.items()
        ),
        (into / "originals", into / "tables"),
        tuple(f"{paper}: {one.message}" for paper, one in findings if one.severity != "note"),
    )


def attach_pictures_and_reports(stage: Stage) -> Did:
    """Plans, photos, ring widths and the report go into the package with their checksums."""
    return attach_all(stage, stage.sound)


def attach_all(stage: Stage, into: Path) -> Did:
    """Put every picture and enclosure into a package."""
    from provenance._history.history import moment_text
    from provenance._intake.attachments import attach_files

    package = open_package(into)
    attached = [
        attach_files(package, stage.papers / source, under, when=moment_text(STARTED))
        for source, under in ATTACHED.items()
    ]
    count = sum(len(one.described) for one in attached)
    return Did(
        "Pictures and reports",
        f"{count} plans, photos, ring-width files and reports, each with its checksum",
        tuple(
            f"treenail attach {into.name} papers/{source} --under {under}"
            for source, under in ATTACHED.items()
        ),
        (into / "files",),
        tuple(f"no row describes {path}" for one in attached for path in one.undescribed),
    )


def read_the_ledger(stage: Stage) -> Did:
    """The custody log that went round on paper is a sealed ledger now; one tube came empty."""
    from provenance._ledger.custody import last_seal, verify_chain
    from provenance._ledger.holdings import life_of

    package = open_package(stage.sound)
    life = life_of(package, MISSING_SAMPLE)
    surprises = [finding.message for finding in verify_chain(package)]
    if not life or life[-1].event != "lost":
        surprises.append(f"sample {MISSING_SAMPLE} should be lost by now")
    label = package.model.vocabularies["custody_event"].label
    return Did(
        "Custody",
        f"{len(package.table('custody'))} custody events, each sealed to the one before (the last "
        f"seal begins {last_seal(package)[:12]}); sample {MISSING_SAMPLE}: "
        + ", ".join(f"{label(one.event).lower()} {one.happened_on}" for one in life),
        (f"treenail custody show {SOUND} {MISSING_SAMPLE}",),
        (package.table_path("custody"),),
        tuple(surprises),
    )


def check_sound_papers(stage: Stage) -> Did:
    """The sound papers give neither error nor warning."""
    from provenance._checks.check import check_package
    from provenance._checks.report import report_html

    report = check_package(open_package(stage.sound))
    path = stage.out / "check-sound.html"
    write_text(path, report_html(report))
    return Did(
        "Check",
        f"{len(report.rules_run)} rules over {sum(report.rows_checked.values())} rows: "
        f"{report.count('error')} errors, {report.count('warning')} warnings, "
        f"{report.count('note')} notes",
        (f"treenail check {SOUND} --format html --out {path.name}",),
        (path,),
        tuple(
            f"{one.rule}: {one.table} {one.key}: {one.message}"
            for one in report
            if one.severity != "note"
        ),
    )


def survey_positions(stage: Stage) -> Did:
    """Tapes and heights become coordinates; the one misreading is found and left out."""
    from provenance._survey.adjust.adjustment import survey_package

    package = open_package(stage.sound)
    result = survey_package(package)
    warnings = [one for one in result.findings if one.severity != "note"]
    planted = [one for one in warnings if BLUNDER in one.message]
    surprises = [one.message for one in warnings if one not in planted]
    if not planted:
        surprises.append(f"the misread tape {BLUNDER} was not found")
    kinds = result.positions["point_kind"].value_counts()
    return Did(
        "Positions",
        f"{kinds.get('element_end', 0)} timber ends and {kinds.get('hole', 0)} holes on the site "
        f"grid; found the tape that was read a foot short ({BLUNDER})",
        (f"treenail survey compute {SOUND}",),
        (package.table_path("position"),),
        tuple(surprises),
    )


def pack_bundles(stage: Stage) -> Did:
    """The package as an archive bundle, once as a folder and once as a zip."""
    from provenance._bundle.pack import pack

    package = open_package(stage.sound)
    packed = pack(package, stage.bundle)
    pack(package, stage.zipped, zipped=True)
    return Did(
        "Archive bundle",
        f"{len(packed.contents.members)} files in a bag of checksums; begin with index.html",
        (f"treenail pack {SOUND}", f"treenail pack {SOUND} --zip"),
        (stage.bundle / "data" / "index.html", stage.zipped),
        (
            *(
                f"{path} is named in the record but not there"
                for *_, path in packed.contents.missing
            ),
            *(f"{path} is not what the record says" for *_, path in packed.differing),
        ),
    )


def verify_bundles(stage: Stage) -> Did:
    """Folder and zip are both whole."""
    from provenance._bundle.verify import verify_bundle

    verdicts = [verify_bundle(bundle) for bundle in (stage.bundle, stage.zipped)]
    looked_at = ", ".join(verdicts[0].looked_at)
    return Did(
        "Verify",
        f"every file and the record of both bundles are sound ({looked_at}); the seals of the "
        "ledger match one another; they were not compared with anything kept elsewhere",
        tuple(f"treenail verify {verdict.bundle.name}" for verdict in verdicts),
        (),
        tuple(
            f"{verdict.bundle.name}: {finding.message}"
            for verdict in verdicts
            if not verdict.sound
            for finding in verdict.findings
        ),
    )


def unpack_again(stage: Stage) -> Did:
    """What comes out of the bundle is what went in."""
    from provenance._bundle.unpack import unpack

    target = stage.out / f"{SOUND}-unpacked"
    unpacked = unpack(stage.zipped, target).package
    packed = open_package(stage.sound)
    differing = [
        name
        for name in packed.model.tables
        if unpacked.table_path(name).read_bytes() != packed.table_path(name).read_bytes()
    ]
    return Did(
        "Unpack",
        "the package as it was packed, every table byte for byte",
        (f"treenail unpack {stage.zipped.name} --out {target.name}",),
        (target,),
        tuple(f"table {name} came out changed" for name in differing),
    )

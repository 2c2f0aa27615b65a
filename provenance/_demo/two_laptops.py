"""Shows what happens when two crews with a laptop each number two cores alike."""

from __future__ import annotations

import shutil

from provenance._demo.stage import STARTED, Did, Stage
from provenance._record.package import open_package

NORTH, SOUTH = "laptop-north", "laptop-south"
NUMBER, NEW_NUMBER = "401", "451"
PEOPLE = {NORTH: "MB", SOUTH: "TQ"}


def copy_to_two_laptops(stage: Stage) -> Did:
    """Each crew takes a copy of the record and enters its last sheet; both used one number."""
    from provenance._intake.importing import import_exports
    from provenance._intake.mapping.mapping_file import read_mapping

    commands = []
    for laptop, who in PEOPLE.items():
        folder = stage.out / laptop
        shutil.copytree(stage.sound, folder, ignore=shutil.ignore_patterns(".lock"))
        package = open_package(folder)
        mapping = read_mapping(stage.papers / "mappings" / "last_day.yaml", package.model)
        sheet = stage.papers / "two_laptops" / f"{laptop.partition('-')[2]}_last_day.csv"
        import_exports(package, [sheet], mapping, when=STARTED, who=who)
        commands += [
            f"cp -r {stage.sound.name} {laptop}",
            f"treenail import {laptop} papers/two_laptops/{sheet.name} "
            f"--mapping papers/mappings/last_day.yaml --by {who}",
        ]
    return Did(
        "Two laptops",
        f"each crew enters its last day in a copy of its own; both call a core {NUMBER}",
        tuple(commands),
        (stage.out / NORTH, stage.out / SOUTH),
    )


def merge_and_settle(stage: Stage) -> Did:
    """The copies become one, the two cores are told apart, and a wrong correction is undone."""
    from provenance._history.deciding import LAST, correct, decide, split, undo
    from provenance._history.history import moment_text
    from provenance._merging.merge import merge_packages

    package, other = open_package(stage.out / NORTH), open_package(stage.out / SOUTH)
    merged = merge_packages(package, other, who="MB", moment=STARTED)
    fields = sorted(one.field for one in merged.conflicts)
    when, who = moment_text(STARTED), "MB"
    (south,) = {
        claim.said_by
        for one in merged.conflicts
        for claim in one.claims
        if claim.line.after == "RB-W13"
    }
    why = "the south crew punched the same number; TQ looked at the dowel"
    told = decide(
        package, split("sample", NUMBER, [south], NEW_NUMBER), who=who, why=why, when=when
    )
    wrong = correct("sample", NEW_NUMBER, {"rings_field": "74"})
    decide(package, wrong, who=who, why="read from the wrong card", when=when)
    decide(package, undo(LAST), who=who, why="it was the right card", when=when)
    rows = {row["sample_id"]: row for row in package.tables.rows("sample")}
    surprises = [] if fields else ["the two cores were not in conflict"]
    if told.conflicts or (rows[NUMBER]["element_id"], rows[NEW_NUMBER]["element_id"]) != (
        "BN-032",
        "RB-W13",
    ):
        surprises.append("the two cores were not separated")
    if rows[NEW_NUMBER]["rings_field"] != "47":
        surprises.append("the correction was not undone")
    return Did(
        "Merge",
        f"{merged.acts} act was merged; sample {NUMBER} was in conflict ({', '.join(fields)}), the "
        f"south crew's is {NEW_NUMBER} now, and a slip was undone",
        (
            f"treenail merge {NORTH} {SOUTH} --by {who}",
            f"treenail history {NORTH} --open",
            f"treenail change split {NORTH} sample {NUMBER} {NEW_NUMBER} --source {south} "
            f'--why "{why}" --by {who}',
            f"treenail change correct {NORTH} sample {NEW_NUMBER} rings_field=74 "
            f'--why "read from the wrong card" --by {who}',
            f"treenail change undo {NORTH} last --by {who}",
            f"treenail history {NORTH} sample {NEW_NUMBER}",
        ),
        (package.table_path("change"), package.table_path("act")),
        tuple(surprises),
    )

"""Runs the whole way on the demonstration papers and says where each output lies.

The papers (demo_package/, all invented) are those of two crews and a laboratory. Each step is one
move of the work, as a person would make it on the command line; a step is added by writing a
function that takes a Stage and returns what it Did, and naming it in STEPS.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from provenance._base.disk import write_text
from provenance._base.errors import AlreadyThere
from provenance._base.resources import shipped
from provenance._demo import faulted, outputs, repository, steps, two_laptops
from provenance._demo.stage import Did, Stage

STEPS: tuple[Callable[[Stage], Did], ...] = (
    steps.lay_out_papers,
    steps.start_package,
    steps.bring_in_field_papers,
    steps.bring_in_results,
    steps.bring_in_enclosures,
    steps.attach_pictures_and_reports,
    steps.read_the_ledger,
    steps.check_sound_papers,
    outputs.reconcile_the_parcel,
    steps.survey_positions,
    outputs.derive_tables_and_figures,
    outputs.print_forms,
    outputs.print_labels_and_cards,
    outputs.draw_plans_and_relocation_sheets,
    repository.review_for_the_public,
    repository.pack_public_edition,
    steps.pack_bundles,
    steps.verify_bundles,
    repository.prove_public_edition,
    steps.unpack_again,
    repository.take_into_a_repository,
    repository.compare_received_and_kept,
    outputs.find_a_worn_plug,
    two_laptops.copy_to_two_laptops,
    two_laptops.merge_and_settle,
    faulted.name_planted_faults,
)
"""The way of the sound papers, in the order of the work, then that of the faulted ones."""

MARK = "DEMO.txt"
MARK_TEXT = """Made by 'treenail demo' from invented papers; nothing in this folder is real.
When the demo runs here again, the folder is replaced: keep nothing of your own in it.
"""


@dataclass(frozen=True)
class DemoResult:
    """All steps in their order, and what went otherwise than planned."""

    folder: Path
    steps: tuple[Did, ...]

    @property
    def surprises(self) -> tuple[str, ...]:
        """What did not go as planned, in the order of the steps."""
        return tuple(surprise for step in self.steps for surprise in step.surprises)

    @property
    def as_planned(self) -> bool:
        """Whether every step went as planned (the planted faults are the plan)."""
        return not self.surprises


def run_demo(folder: Path | str, *, when_done: Callable[[Did], None] | None = None) -> DemoResult:
    """Run every step in `folder`; `when_done` is called after each of them.

    A folder that an earlier demo made is replaced. Raises AlreadyThere when anything else is there.
    """
    folder = Path(folder)
    _make_room(folder)
    write_text(folder / MARK, MARK_TEXT)
    stage = Stage(folder.resolve(), shipped("demo_package"))
    done: list[Did] = []
    for step in STEPS:
        done.append(step(stage))
        if when_done:
            when_done(done[-1])
    return DemoResult(folder, tuple(done))


def _make_room(folder: Path) -> None:
    """Take an earlier demo away, and nothing else."""
    if not folder.exists() and not folder.is_symlink():
        return
    mark = folder / MARK
    ours = not folder.is_symlink() and mark.is_file() and mark.read_text("utf-8") == MARK_TEXT
    if not ours:
        raise AlreadyThere(
            f"{folder} is already there and was not made by the demo; name another folder"
        )
    shutil.rmtree(folder)

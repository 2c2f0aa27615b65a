"""What every step of the demo knows: where it plays, which papers there are, what to report."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

STARTED = datetime(2023, 6, 17, 18, 0, tzinfo=UTC)
"""Given, so that two runs make the same tables."""

FIELD = (
    "site_people_places.xlsx", "timbers_log_house_and_barn.xlsx", "room_block.xlsx",
    "agreements_and_attempts.xlsx", "datums_and_ties.csv", "custody_log.tsv", "photo_log.csv",
)  # fmt: skip
EVALUATION = ("relations.csv", "assumptions.csv")
RESULTS = ("results_1.csv", "results_2.xlsx")
ENCLOSURES = ("enclosures.csv",)
"""The papers in the order in which they came in; the mapping of each has its name, in YAML."""

SOUND, FAULTED = "hollin-reach", "hollin-reach-faulted"
"""The packages made of the sound papers and of those with planted faults."""


@dataclass(frozen=True)
class Stage:
    """Where the demo plays: `out` is its folder, `material` the folder demo_package."""

    out: Path
    material: Path

    @property
    def papers(self) -> Path:
        """The copy of the papers that the commands read."""
        return self.out / "papers"

    @property
    def sound(self) -> Path:
        """The package made of the sound papers."""
        return self.out / SOUND

    @property
    def faulted(self) -> Path:
        """The package made of the papers with planted faults."""
        return self.out / FAULTED

    @property
    def bundle(self) -> Path:
        """The archive bundle as a folder."""
        return self.out / f"{SOUND}-bundle"

    @property
    def zipped(self) -> Path:
        """The archive bundle as a zip."""
        return self.out / f"{SOUND}-bundle.zip"

    @property
    def public(self) -> Path:
        """The edition for everybody, as a folder."""
        return self.out / f"{SOUND}-public"

    @property
    def store(self) -> Path:
        """The repository that takes the bundle in."""
        return self.out / "store"


@dataclass(frozen=True)
class Did:
    """What one step did: its name, a sentence, the commands a person would type, the outputs.

    The commands are to be typed in the demo's folder. `surprises` says what did not go as planned;
    the demo as a whole then fails.
    """

    title: str
    says: str
    commands: tuple[str, ...] = ()
    paths: tuple[Path, ...] = ()
    surprises: tuple[str, ...] = ()

"""What every step of the demo knows: where it plays, which papers there are, what to report."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType

STARTED = datetime(2023, 6, 17, 18, 0, tzinfo=UTC)
"""Given, so that two runs make the same tables."""

FIELD: Mapping[str, str] = MappingProxyType(
    {
        "site_people_places.xlsx": "site_people_places.yaml",
        "timbers_log_house_and_barn.xlsx": "timbers_log_house_and_barn.yaml",
        "room_block.xlsx": "room_block.yaml",
        "datums_and_ties.csv": "datums_and_ties.yaml",
        "custody_log.tsv": "custody_log.yaml",
        "photo_log.csv": "photo_log.yaml",
    }
)
RESULTS: Mapping[str, str] = MappingProxyType(
    {"results_1.csv": "results_1.yaml", "results_2.xlsx": "results_2.yaml"}
)
ENCLOSURES: Mapping[str, str] = MappingProxyType({"enclosures.csv": "enclosures.yaml"})
"""Each paper with the mapping that reads it, in the order in which they came in."""

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

"""Knows the papers that are printed on, by measure.

Sources: ISO 216 (A series), ANSI/ASME Y14.1 (size A, 8.5 in by 11 in); a point is 1/72 inch, as PDF
has it (ISO 32000-1, 8.3.2.3).
"""

from __future__ import annotations

from dataclasses import dataclass

from provenance._base.errors import TreenailError

INCH = 72.0
MM = INCH / 25.4
"""Points in a millimetre: drawing code works in points, whatever a person reads or writes in mm."""


@dataclass(frozen=True)
class Paper:
    """One sheet, upright; sizes in millimetres."""

    name: str
    width_mm: float
    height_mm: float

    @property
    def width(self) -> float:
        """Width in points."""
        return self.width_mm * MM

    @property
    def height(self) -> float:
        """Height in points."""
        return self.height_mm * MM

    def turned(self) -> Paper:
        """The same sheet lying on its long side."""
        return Paper(self.name, self.height_mm, self.width_mm)


PAPERS = (Paper("a4", 210.0, 297.0), Paper("letter", 215.9, 279.4))
"""The papers that every command knows by name."""


def paper_named(name: str) -> Paper:
    """The paper of that name; raises TreenailError that lists the names.

    >>> paper_named("letter").width_mm
    215.9
    """
    for paper in PAPERS:
        if paper.name == name.lower():
            return paper
    raise TreenailError(
        f"there is no paper '{name}'; there are {', '.join(paper.name for paper in PAPERS)}"
    )

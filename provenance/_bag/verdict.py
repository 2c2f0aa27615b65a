"""What a verification says about a bundle: sound or not, and what is to blame."""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, Any

from provenance._base.findings import SecondOpinion
from provenance._base.opinion_words import opinion_as_dict
from provenance._record.remote import Place

if TYPE_CHECKING:
    import pandas as pd

PARTS = ("container", "bag", "descriptor", "tables", "crate", "custody")
"""What is looked at: zip or folder, BagIt, Data Package, tables, RO-Crate, ledger."""

SEALS_WITHHELD = "custody.seals_withheld"
"""The rule id of a ledger whose seals are withheld: nothing is wrong, and nothing proved."""


@dataclass(frozen=True)
class BundleFinding:
    """One thing that is wrong with a bundle.

    `part` is one of PARTS; `severity` error, warning or note; `rule` a stable id
    ('bag.file_differs'); `path` the file inside the bundle, '' for the bundle as a whole.
    """

    part: str
    severity: str
    rule: str
    path: str
    message: str
    remedy: str


@dataclass(frozen=True)
class Verdict:
    """What a verification says about one bundle.

    `depth` is 'full' or 'fast' (sizes and names instead of checksums; table contents not read).
    `looked_at` names the parts that could be judged: a part that a graver fault hid is not in it,
    and the bundle is then never sound. `second_opinion` is there when it was asked for and the
    tables can be read.
    """

    bundle: Place
    depth: str
    findings: tuple[BundleFinding, ...]
    looked_at: tuple[str, ...]
    file_count: int
    byte_count: int
    second_opinion: SecondOpinion | None = None

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The findings as a pandas frame of texts.

        Columns: part, severity, rule, path, message, remedy.
        """
        import pandas as pd

        columns = [one.name for one in fields(BundleFinding)]
        return pd.DataFrame([astuple(one) for one in self.findings], columns=columns, dtype=str)

    def errors(self, part: str | None = None) -> int:
        """How many errors there are, in one part or in all."""
        return sum(one.severity == "error" and part in (None, one.part) for one in self.findings)

    @property
    def sound(self) -> bool:
        """True when every part was looked at and none has an error."""
        return not self.errors() and set(self.looked_at) == set(PARTS)

    @property
    def intact(self) -> bool:
        """True when the bytes are as they were packed, whatever the record says in them."""
        return {"container", "bag"} <= set(self.looked_at) and not (
            self.errors("container") or self.errors("bag")
        )

    def as_dict(self) -> dict[str, Any]:
        """The verdict as plain values, for JSON."""
        said = {
            "bundle": self.bundle.name,
            "sound": self.sound,
            "intact": self.intact,
            "depth": self.depth,
            "files": self.file_count,
            "bytes": self.byte_count,
            "parts": {
                part: (self.errors(part) if part in self.looked_at else None) for part in PARTS
            },
            "findings": [vars(one) for one in self.findings],
        }
        if self.second_opinion:
            said["secondOpinion"] = opinion_as_dict(self.second_opinion)
        return said

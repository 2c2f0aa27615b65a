"""What a verification says about a bundle: sound or not, and what is to blame."""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, Any

from provenance._base.errors import UnusableInput
from provenance._base.findings import SecondOpinion
from provenance._base.opinion_words import opinion_as_dict
from provenance._base.standing import CONTRADICTS, SOUND, Standing
from provenance._base.standing import SEALS_WITHHELD as LEDGER_WITHHELD
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


BAG_WORDS = {
    "not a bag": "this is not a bag",
    "not valid": "this is a bag, but not valid by {standard}",
    "incomplete": "this is a bag, incomplete by {standard}: files that its fetch.txt lists are not "
    "here yet",
    "valid, with warnings": "this is a bag, valid by {standard}, with warnings",
    "valid": "this is a bag, valid by {standard}",
}
"""Every word for a bag that is judged as a bag alone, the gravest first, and what it means."""

NO_RECORD = "no record"
_NO_BAG = ("bag.no_declaration", "container.not_one_folder")


@dataclass(frozen=True)
class ToFetch:
    """A file that a bag lists and does not hold; `byte_count` is None where fetch.txt has none."""

    path: str
    url: str
    byte_count: int | None


@dataclass(frozen=True)
class BagVerdict:
    """What is to be said of a bag by RFC 8493 alone, whoever made it and whatever is in it.

    `version` is the version of BagIt that it declares, '' where that cannot be read; `depth` as of
    a Verdict. `holds_record` tells whether it holds a record of this program, which is not judged
    here. `identity` is the SHA-256 of its list of checksums, '' where it has none.
    """

    bag: Place
    depth: str
    findings: tuple[BundleFinding, ...]
    version: str = ""
    to_fetch: tuple[ToFetch, ...] = ()
    holds_record: bool = False
    identity: str = ""
    file_count: int = 0
    byte_count: int = 0

    @property
    def word(self) -> str:
        """The verdict in a word, one of BAG_WORDS."""
        found = {one.severity for one in self.findings}
        if any(one.rule in _NO_BAG for one in self.findings):
            return "not a bag"
        if "error" in found:
            return "not valid"
        if self.to_fetch:
            return "incomplete"
        return "valid, with warnings" if found else "valid"

    @property
    def in_words(self) -> str:
        """The verdict in a sentence, with whether it holds a record of this program."""
        standard = f"BagIt {self.version}" if self.version.startswith("0.") else "RFC 8493"
        said = BAG_WORDS[self.word].format(standard=standard)
        if self.depth == "fast":
            said += " (names and sizes only were compared)"
        if self.holds_record:
            return f"{said}; it holds a treenail record"
        return f"{said}; it holds no treenail record"

    def as_dict(self) -> dict[str, Any]:
        """The verdict as plain values, for JSON."""
        return {
            "bag": self.bag.name,
            "verdict": self.word,
            "bagItVersion": self.version,
            "holdsRecord": self.holds_record,
            "depth": self.depth,
            "files": self.file_count,
            "bytes": self.byte_count,
            "toFetch": [
                {"path": one.path, "url": one.url, "bytes": one.byte_count} for one in self.to_fetch
            ],
            "findings": [vars(one) for one in self.findings],
        }


WORDS = {
    "damaged": "it is not what was packed",
    "contradicts anchor": "its custody ledger is not the one that was known before",
    "faulty": "every file is as it was packed, but the record in it has faults",
    NO_RECORD: "it holds no treenail record; 'treenail verify --bag-only' judges it as a bag",
    "not verified": "names and sizes only were compared",
    "not anchored": "every file is as it was packed; anyone who had it could have rewritten its "
    "custody ledger",
    "sound": "every file is as it was packed, and its custody ledger is as it was known before",
}
"""Every word of a verdict, the gravest first, and what it means."""

_OF_THE_RECORD = (
    "custody.chain_broken",
    "custody.signature_false",
    "custody.not_sealed",
    "custody.contradicts_anchor",
)


def is_of_the_record(one: BundleFinding) -> bool:
    """Whether a fault was packed with the record, rather than done to the bundle."""
    if one.part == "tables":
        return one.rule != "tables.unreadable"
    return one.rule in _OF_THE_RECORD


@dataclass(frozen=True)
class Verdict:
    """What a verification says about one bundle.

    `depth` is 'full' or 'fast' (sizes and names instead of checksums; table contents not read).
    `looked_at` names the parts that could be judged: a part that a graver fault hid is not in it,
    and the bundle is then never sound. `second_opinion` is there when it was asked for and the
    tables can be read. `ledger` is how far the custody ledger can be relied on, None where it could
    not be judged. `as_bag` is there for what holds no record: the verdict over it as a bag alone.
    """

    bundle: Place
    depth: str
    findings: tuple[BundleFinding, ...]
    looked_at: tuple[str, ...]
    file_count: int
    byte_count: int
    second_opinion: SecondOpinion | None = None
    ledger: Standing | None = None
    as_bag: BagVerdict | None = None

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
    def word(self) -> str:
        """The verdict in a word, one of WORDS."""
        if self.as_bag:
            return NO_RECORD
        if self.damage or set(self.looked_at) != set(PARTS):
            return "damaged"
        if self.ledger and self.ledger.word == CONTRADICTS:
            return "contradicts anchor"
        if self.errors():
            return "faulty"
        if self.depth == "fast":
            return "not verified"
        return "sound" if self.ledger and self.ledger.word == SOUND else "not anchored"

    @property
    def in_words(self) -> str:
        """The verdict on a line, as it stands on what is told from the bundle."""
        if self.as_bag:
            return f"{NO_RECORD}: {self.as_bag.in_words}; --bag-only judges it as a bag"
        if self.word == "damaged":
            return f"DAMAGED: {self.what_is_damaged}"
        if self.word == "not anchored" and self.ledger and self.ledger.word == LEDGER_WITHHELD:
            return (
                f"{self.word}: every file is as it was packed; its custody ledger has no seals, as "
                "in every public edition"
            )
        return f"{self.word}: {WORDS[self.word]}"

    @property
    def what_is_damaged(self) -> str:
        """The first damage on a line, and how much more there is; '' where there is none."""
        if not self.damage:
            return "" if set(self.looked_at) == set(PARTS) else "not all of it can be read"
        # one that names a file says more than one about the whole
        first = next((one for one in self.damage if one.path), self.damage[0])
        more = f" ({len(self.damage) - 1} more)" if len(self.damage) > 1 else ""
        return f"{first.path} {first.message}".strip().removesuffix(".") + more

    @property
    def damage(self) -> tuple[BundleFinding, ...]:
        """What was done to the bundle since it was packed; faults of the record are none.

        Nor are those of a bag without a record: what was packed is not known.
        """
        if self.as_bag:
            return ()
        return tuple(
            one for one in self.findings if one.severity == "error" and not is_of_the_record(one)
        )

    def refuse_without_record(self) -> None:
        """Raise UnusableInput for what holds no record, for those who can do nothing without."""
        if self.as_bag:
            raise UnusableInput(
                f"{self.bundle}: {self.as_bag.in_words}. 'treenail verify --bag-only' judges it as "
                "a bag"
            )

    @property
    def sound(self) -> bool:
        """True when every part was looked at and none has an error.

        Of the custody ledger that says only that its seals fit one another: `word` says whether it
        could have been rewritten whole.
        """
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
            "verdict": self.word,
            "sound": self.sound,
            "intact": self.intact,
            "depth": self.depth,
            "files": self.file_count,
            "bytes": self.byte_count,
            "parts": {
                part: (self.errors(part) if part in self.looked_at else None) for part in PARTS
            },
            "ledger": self.ledger.as_dict() if self.ledger else None,
            "findings": [vars(one) for one in self.findings],
        }
        if self.as_bag:
            said["asBag"] = self.as_bag.as_dict()
        if self.second_opinion:
            said["secondOpinion"] = opinion_as_dict(self.second_opinion)
        return said

"""Puts a verdict into words for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from provenance._bag.verdict import PARTS, BagVerdict, BundleFinding, Verdict
from provenance._base.opinion_words import opinion_words
from provenance._base.visible import visible

PART_TITLES = {
    "container": "Folder or zip",
    "bag": "Files and checksums (BagIt)",
    "descriptor": "Descriptor (Data Package)",
    "tables": "Tables",
    "crate": "Description of files (RO-Crate)",
    "custody": "Custody ledger",
}


_HEADS = {
    "damaged": "NOT SOUND: damaged",
    "contradicts anchor": "NOT SOUND: the custody ledger is not the one known before",
    "faulty": "NOT SOUND: as packed, with faults in the record",
    "not verified": "names and sizes are as packed, contents not verified",
    "not anchored": "files and record sound, custody ledger ",
    "sound": "sound, and the custody ledger as it was known before",
}
MOST_SHOWN = 50
"""So many findings of one part are put into words; the rest is counted."""


def verdict_text(verdict: Verdict) -> str:
    """The verdict as lines: one a part, then one a finding under it."""
    if verdict.as_bag:
        return f"{bag_text(verdict.as_bag)}  'treenail verify --bag-only' judges it as a bag.\n"
    word = headline(verdict)
    # a container that cannot be opened has nothing in it to count
    counted = f" ({verdict.file_count:,} files, {verdict.byte_count:,} bytes)"
    lines = [f"{_on_a_line(verdict.bundle.name)}: {word}{counted * (verdict.file_count > 0)}"]
    for part in PARTS:
        found = [one for one in verdict.findings if one.part == part]
        lines.append(f"  {PART_TITLES[part]:34}{state_of(verdict, part)}")
        lines += _finding_lines(found, "    ")
        if part == "custody" and verdict.ledger and not verdict.errors(part):
            lines += [f"    {_on_a_line(said)}" for said in verdict.ledger.said]
        lines += _remedy_lines(found, "      ")
    if verdict.second_opinion:
        first, *others = opinion_words(verdict.second_opinion)
        lines.append(f"  {_on_a_line(first)}")
        lines += [f"    {_on_a_line(said)}" for said in others]
    if verdict.intact and not verdict.sound:
        lines.append("  The bytes are as they were packed; the faults are in the record itself.")
    if verdict.depth == "fast":
        lines.append("  Fast: names and sizes were compared, checksums and rows were not.")
    return "\n".join(lines) + "\n"


def headline(verdict: Verdict) -> str:
    """The verdict over a bundle that holds a record, in a few words."""
    word = _HEADS[verdict.word]
    if verdict.word == "not anchored" and verdict.ledger:
        word += verdict.ledger.word
    return word


def state_of(verdict: Verdict, part: str) -> str:
    """How one of PARTS is, in a few words."""
    if part not in verdict.looked_at:
        return "not examined, because of the errors above"
    if errors := verdict.errors(part):
        return f"{errors:,} error{'s' * (errors != 1)}"
    if part == "custody" and verdict.ledger:
        return verdict.ledger.word
    if part == "bag" and verdict.depth == "fast":
        return "names and sizes as packed"
    return "sound"


def bag_text(verdict: BagVerdict) -> str:
    """The verdict over a bag as lines: a sentence, the findings, and what is to be fetched."""
    counted = f" ({verdict.file_count:,} files, {verdict.byte_count:,} bytes)"
    head = f"{_on_a_line(verdict.bag.name)}: {verdict.word}{counted * (verdict.file_count > 0)}"
    said = verdict.in_words
    lines = [head, f"  {said[0].upper()}{said[1:]}."]
    lines += _finding_lines(verdict.findings, "  ")
    lines += _remedy_lines(verdict.findings, "    ")
    for one in verdict.to_fetch[:MOST_SHOWN]:
        size = "size unknown" if one.byte_count is None else f"{one.byte_count:,} bytes"
        lines.append(f"  to fetch: {_on_a_line(one.path)} ({size}) from {_on_a_line(one.url)}")
    if (left := len(verdict.to_fetch) - MOST_SHOWN) > 0:
        lines.append(
            f"  ... and {left:,} MORE to fetch, not shown here; --format json names them all"
        )
    return "\n".join(lines) + "\n"


def _finding_lines(findings: Sequence[BundleFinding], indent: str) -> Iterator[str]:
    for one in findings[:MOST_SHOWN]:
        where = f"{one.path} " if one.path else ""
        yield f"{indent}{one.severity}: {_on_a_line(where + one.message)}"
    if (left := len(findings) - MOST_SHOWN) > 0:
        yield f"{indent}... and {left} MORE, not shown here; --format json names them all"


def _remedy_lines(findings: Sequence[BundleFinding], indent: str) -> Iterator[str]:
    for remedy in dict.fromkeys(one.remedy for one in findings):
        yield f"{indent}-> {_on_a_line(remedy)}"


def _on_a_line(text: str) -> str:
    """Text from a bundle with its line ends shown: they could feign lines of the verdict."""
    return visible(text).replace("\n", "⟨U+000A⟩")

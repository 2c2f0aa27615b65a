"""Refuses a damaged bundle, and words the letter that asks its depositor for it again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path

from provenance._bag.verdict import BundleFinding, Verdict
from provenance._base.errors import TreenailError
from provenance._bundle.describe.plain_text import bullet, flat, paragraph
from provenance._bundle.unpack import is_of_the_record

MOST_NAMED = 200

# names of files and commands are to be copied out of a letter whole
_paragraph = partial(paragraph, break_on_hyphens=False)


class DamagedBundle(TreenailError):
    """A bundle that is not what was packed: nothing was written, and no number was given.

    `findings` name every file that is damaged; `letter` asks the depositor for the bundle again.
    """

    def __init__(self, bundle: Path, findings: Sequence[BundleFinding], letter: str) -> None:
        self.findings = tuple(findings)
        self.letter = letter
        lines = [flat(f"{one.path} {one.message}".strip()) for one in findings[:MOST_NAMED]]
        if len(findings) > MOST_NAMED:
            lines.append(f"... and {len(findings) - MOST_NAMED} MORE; 'treenail verify' names all")
        super().__init__(
            f"{bundle} is damaged and was not accessioned; no number was given:\n"
            + "\n".join(f"  {line}" for line in lines)
        )


def damage_in(verdict: Verdict) -> tuple[BundleFinding, ...]:
    """What was done to the bundle since it was packed; faults of the record itself are none."""
    return tuple(
        one for one in verdict.findings if one.severity == "error" and not is_of_the_record(one)
    )


def letter_to_depositor(
    bundle: Path,
    findings: Sequence[BundleFinding],
    *,
    expected: Mapping[str, str],
    day: str,
    depositor: str,
    repository: str = "",
    contact: str = "",
) -> str:
    """A letter, ready to send, that asks for the bundle again.

    `expected` maps paths in the bundle to the SHA-256 that the bundle's own list has for them, as
    far as it is known.
    """
    name = flat(bundle.name)
    damaged = dict.fromkeys(one.path for one in findings if one.path)
    parts = [
        f"{flat(repository) + ', ' if repository else ''}{day}\n",
        _paragraph(f"To {depositor}: the bundle {name} did not reach us whole"),
        _paragraph(
            f"We looked over the bundle '{name}' on {day} and could not take it in, because it is "
            "not what was packed. Nothing was accessioned, and what you sent is kept aside "
            "unchanged. These are the files that differ, or what is wrong with the whole:"
        ),
        "".join(
            bullet(f"{one.path}: {one.message}" if one.path else one.message)
            for one in findings[:MOST_NAMED]
        ),
    ]
    if len(findings) > MOST_NAMED:
        parts.append(bullet(f"and {len(findings) - MOST_NAMED} more"))
    parts += [
        _paragraph(
            "Please send the whole bundle once more, from your own copy, as one zip file; no "
            "single files, and nothing mended by hand. If your copy is damaged too, pack the "
            "package anew ('treenail pack PACKAGE --zip') and say so. Before you send it, please "
            "run in the bundle's folder:"
        ),
        "    sha256sum -c manifest-sha256.txt\n    sha256sum -c tagmanifest-sha256.txt\n",
        _paragraph(
            "Every line must end in OK. Then tell us by another way than the bundle itself, by "
            "telephone or in a letter, what 'sha256sum tagmanifest-sha256.txt' shows: that number "
            "stands for every byte, and we hold what arrives against it."
        ),
    ]
    known = {path: expected[path] for path in damaged if path in expected}
    if known:
        parts.append(
            _paragraph("By the bundle's own list these files should have the SHA-256 checksums:")
        )
        parts.append("".join(f"  {sum256}  {flat(path)}\n" for path, sum256 in known.items()))
    if contact:
        parts.append(_paragraph(f"Questions to {contact}."))
    return "\n".join(parts)

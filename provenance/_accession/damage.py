"""Refuses a damaged bundle, and words the letters to the depositor of one that is refused."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from provenance._bag.verdict import BundleFinding
from provenance._base.errors import TreenailError
from provenance._bundle.describe.plain_text import flat, text_template
from provenance._ledger.anchors import Anchor

MOST_NAMED = 200


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
    damaged = dict.fromkeys(one.path for one in findings if one.path)
    return text_template("repository/letter.txt").render(
        name=flat(bundle.name),
        findings=findings,
        most=MOST_NAMED,
        known={path: expected[path] for path in damaged if path in expected},
        day=day,
        depositor=depositor,
        repository=flat(repository),
        contact=contact,
    )


def letter_of_contradiction(
    bundle: Path,
    word: str,
    said: Sequence[str],
    kept: Sequence[Anchor],
    *,
    day: str,
    depositor: str,
    repository: str = "",
    contact: str = "",
) -> str:
    """A letter, ready to send, about a bundle that contradicts itself or earlier ones.

    `word` says how, `said` are sentences about what does not fit; of its ledger these ends are
    `kept`.
    """
    return text_template("repository/contradiction.txt").render(
        name=flat(bundle.name),
        word=word,
        said=said,
        kept=kept,
        day=day,
        depositor=depositor,
        repository=flat(repository),
        contact=contact,
    )

"""The editions of a bundle, and what each says of itself to its readers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Edition:
    """One edition: its name in commands and bundle.json, and its standing words.

    `store` says in one phrase where it belongs, `notice` in whole sentences what its reader must
    know; both are shown at the head of the README, the pages and the bag.
    """

    name: str
    title: str
    store: str
    notice: str

    @property
    def is_public(self) -> bool:
        """Whether anybody may see it."""
        return self.name == "public"


FULL = Edition(
    name="full",
    title="Full edition",
    store="for the repository's restricted store",
    notice=(
        "It holds exact locations and personal data, and the report in check/ may quote them. Keep "
        "it in a restricted store and do not publish it."
    ),
)
PUBLIC = Edition(
    name="public",
    title="Public edition",
    store="for anyone",
    notice=(
        "Exact locations, personal data, restricted fields, and texts and files that no one "
        "released are withheld; WITHHELD.txt says what and why, and who holds the full edition."
    ),
)
EDITIONS = {one.name: one for one in (FULL, PUBLIC)}

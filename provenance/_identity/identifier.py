"""Writes and reads the full identifier of a sample: site code, sample number, check character."""

from __future__ import annotations

import re
from dataclasses import dataclass

from provenance._base.errors import UnreadableValue
from provenance._identity.check_character import (
    ALPHABET,
    check_character,
    covered_characters,
    likely_meant,
)

BETWEEN_PARTS = re.compile(r"[-‐‑‒–—−\s]+")
"""Hyphen-minus, the typographic dashes that word processors put in its place, and blanks."""

_HINTS_SHOWN = 3


@dataclass(frozen=True)
class SampleIdentifier:
    """A sample's full identifier in its parts; `str()` gives 'HOLL-231-H'."""

    site_id: str
    sample_id: str
    check_character: str

    @property
    def full_identifier(self) -> str:
        """Site and number without the check character, such as 'HOLL-231'."""
        return f"{self.site_id}-{self.sample_id}"

    def __str__(self) -> str:
        """Site, number and check character, such as 'HOLL-231-H'."""
        return f"{self.full_identifier}-{self.check_character}"


def _part(text: str, name: str) -> str:
    part = text.strip()
    if not part or BETWEEN_PARTS.search(part):
        raise UnreadableValue(
            text, f"cannot be a {name}: it must not be empty, nor hold a blank or a hyphen"
        )
    covered_characters(part)
    return part.upper()


def full_identifier(site_id: str, sample_id: str) -> str:
    """Site code and sample number in one, in capitals, unique among all sites.

    Raises UnreadableValue when either holds a blank, a hyphen (it parts the two), or a character
    outside A-Z, 0-9 and `. _ /`.

    >>> full_identifier("HOLL", "231")
    'HOLL-231'
    """
    return f"{_part(site_id, 'site code')}-{_part(sample_id, 'sample number')}"


def checked_identifier(site_id: str, sample_id: str) -> str:
    """The full identifier with its check character set apart.

    >>> checked_identifier("HOLL", "231")
    'HOLL-231-H'
    """
    identifier = full_identifier(site_id, sample_id)
    return f"{identifier}-{check_character(identifier)}"


def parse_identifier(text: str) -> SampleIdentifier:
    """Read what a person typed from a label: three parts with hyphens or blanks between them.

    Raises UnreadableValue that says what is missing, or that the check character does not fit,
    which one would, and what was perhaps meant.

    >>> parse_identifier("holl 231 h").sample_id
    '231'
    """
    parts = [part for part in BETWEEN_PARTS.split(text.strip()) if part]
    if len(parts) == 2:
        raise UnreadableValue(
            text,
            "lacks a part; write site code, sample number and check character as on the label, "
            f"such as {checked_identifier('HOLL', '231')}",
        )
    if len(parts) != 3:
        raise UnreadableValue(
            text,
            f"has {len(parts)} parts, not the three of an identifier: site code, sample number "
            f"and check character, such as {checked_identifier('HOLL', '231')}",
        )
    site_id, sample_id, check = parts
    identifier = full_identifier(site_id, sample_id)
    if len(check) != 1 or check.upper() not in ALPHABET:
        raise UnreadableValue(
            text, f"ends in {check!r}; the check character is one letter or digit"
        )
    needed = check_character(identifier)
    if check.upper() != needed:
        raise UnreadableValue(text, _misfit(identifier, check.upper(), needed))
    return SampleIdentifier(site_id.upper(), sample_id.upper(), needed)


def _misfit(identifier: str, check: str, needed: str) -> str:
    """Say that a check character does not fit, and what was perhaps meant."""
    sentence = (
        f"does not fit its check character {check}; a character of {identifier} is wrong or two "
        f"changed places, or the check character should be {needed}"
    )
    hints = [f"{one}-{check}" for one in likely_meant(identifier, check)][:_HINTS_SHOWN]
    if hints:
        sentence += f"; perhaps {' or '.join(hints)} was meant"
    return sentence + "; compare it with the label"

"""Writes and reads the full identifier of a sample: site code, sample number, check letters."""

from __future__ import annotations

import re
from typing import NamedTuple

from provenance._base.errors import UnreadableValue
from provenance._identity.check_character import (
    check_letters,
    check_like,
    covered_characters,
    is_check,
    likely_meant,
)

BETWEEN_PARTS = re.compile(r"[-‐‑‒–—−\s]+")
"""Hyphen-minus, the typographic dashes that word processors put in its place, and blanks."""

_HINTS_SHOWN = 3


class SampleIdentifier(NamedTuple):
    """Site code and sample number, in capitals."""

    site_id: str
    sample_id: str


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
    """The full identifier with its check letters behind it, as labels say it.

    >>> checked_identifier("HOLL", "231")
    'HOLL-231-JV'
    """
    identifier = full_identifier(site_id, sample_id)
    return f"{identifier}-{check_letters(identifier)}"


def parse_identifier(text: str) -> SampleIdentifier:
    """Read what a label says: three parts with hyphens or blanks between them.

    The third is the two check letters, or the one check character of a label of before. Raises
    UnreadableValue that says what is missing, or that they do not fit, which would, and what was
    perhaps meant.

    >>> parse_identifier("holl 231 jv").sample_id, parse_identifier("HOLL-231-H").sample_id
    ('231', '231')
    """
    parts = [part for part in BETWEEN_PARTS.split(text.strip()) if part]
    if len(parts) == 2:
        raise UnreadableValue(
            text,
            "lacks a part; write site code, sample number and check letters as on the label, "
            f"such as {checked_identifier('HOLL', '231')}",
        )
    if len(parts) != 3:
        raise UnreadableValue(
            text,
            f"has {len(parts)} parts, not the three of an identifier: site code, sample number "
            f"and check letters, such as {checked_identifier('HOLL', '231')}",
        )
    site_id, sample_id, check = parts
    identifier = full_identifier(site_id, sample_id)
    if not is_check(check):
        raise UnreadableValue(
            text, f"ends in {check!r}; a label ends in two check letters, or one letter or digit"
        )
    refuse_misfit(text, identifier, check.upper())
    return SampleIdentifier(site_id.upper(), sample_id.upper())


def refuse_misfit(text: str, identifier: str, check: str) -> None:
    """Raise UnreadableValue where the check does not fit, with what was perhaps meant."""
    needed = check_like(identifier, check)
    if check == needed:
        return
    sentence = (
        f"does not fit its check {check}; a character of {identifier} is wrong or two "
        f"changed places, or the check should be {needed}"
    )
    hints = [f"{one}-{check}" for one in likely_meant(identifier, check)][:_HINTS_SHOWN]
    if hints:
        sentence += f"; perhaps {' or '.join(hints)} was meant"
    raise UnreadableValue(text, sentence + "; compare it with the label")

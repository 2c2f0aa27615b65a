"""The languages in which forms, labels and pages can be written."""

from __future__ import annotations


def available_languages() -> tuple[str, ...]:
    """Codes of the languages that the program has (ISO 639-1), the first as a new record has it."""
    return ("en",)

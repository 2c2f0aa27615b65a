"""Shows text from a record as text, whatever it holds."""

from provenance.visible import visible

__all__ = ["visible"]

"""Shows text from a record as text, whatever it holds."""

from provenance._base.visible import visible

__all__ = ["visible"]

"""Finds the schemas and templates that travel with the project, in a checkout or installed."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parents[1]


def shipped(kind: str) -> Path:
    """The folder `kind` ('schemas', 'templates' or 'demo_package').

    A wheel carries them inside the import package; a checkout has them beside it.
    """
    inside = _PACKAGE / "shipped" / kind
    beside = _PACKAGE.parent / kind
    folder = inside if inside.is_dir() else beside
    if not folder.is_dir():
        raise FileNotFoundError(f"the installation lacks its folder '{kind}'; install it again")
    return folder

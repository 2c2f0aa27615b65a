"""Opens what `write_record` made, without loading what only making it needs."""

from __future__ import annotations

from pathlib import Path
from types import MappingProxyType

from provenance._record.package import Package, read_model


def open_record(folder: Path) -> Package:
    """The package in a folder that `write_record` made, read with the schemas that lie in it."""
    return Package(folder, MappingProxyType({"name": "bench"}), read_model(folder))

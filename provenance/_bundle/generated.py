"""Names what pack writes into a payload beside the package's own files."""

from __future__ import annotations

from provenance._base.errors import UnusablePackage
from provenance._bundle.deposit.files import deposit_forms
from provenance._record.given_out import LINEAGE_TABLE
from provenance._record.package import Package


def generated_names() -> tuple[str, ...]:
    """What pack writes beside the package's own files, and unpack leaves out again."""
    return (
        "README.txt",
        "index.html",
        "go.html",
        "pages",
        "codebook.html",
        "CODEBOOK.md",
        *(one.file_name for one in deposit_forms()),
        "bundle.json",
        LINEAGE_TABLE,
        "WITHHELD.txt",
        "ro-crate-metadata.json",
        "check",
    )


def refuse_taken_names(package: Package) -> None:
    """Raise UnusablePackage when something of the package stands where pack writes its own."""
    for name in generated_names():
        path = package.folder / name
        if path.is_file() or (path.is_dir() and any(path.iterdir())):
            raise UnusablePackage(
                f"{path} stands where the bundle has a file of its own; move it into files/"
            )

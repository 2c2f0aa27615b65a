"""Writes all descriptions that repositories take in into a bundle's payload."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from provenance._base.disk import write_text, writing
from provenance._bundle.deposit.citation_file import citation_file
from provenance._bundle.deposit.csvw import csvw_metadata
from provenance._bundle.deposit.darwin_core_archive import write_darwin_core_archive
from provenance._bundle.deposit.datacite_xml import datacite_xml
from provenance._bundle.deposit.dublin_core import dublin_core
from provenance._bundle.deposit.schema_org import dataset_json_ld
from provenance._bundle.describe.citation import datacite_record
from provenance._bundle.describe.contents import Contents
from provenance._bundle.describe.deposit_names import (
    CITATION,
    CSVW,
    DARWIN_CORE,
    DATACITE_JSON,
    DATACITE_XML,
    DUBLIN_CORE,
    SCHEMA_ORG,
)
from provenance._bundle.describe.editions import Edition
from provenance._model.media_types import media_type_of
from provenance._record.package import Package, as_json


def write_deposit_files(
    package: Package, data: Path, edition: Edition, *, day: str, contents: Contents
) -> dict[str, Any]:
    """Write every description into `data`; `day` is the record's date.

    Returns the one for search engines (schema.org), which the pages carry too.

    They say what the package says: one that goes into the public edition is redacted already.
    People are named only where they agreed to it, in every edition. The same package makes the same
    bytes.
    Raises UnusablePackage when the descriptor's relations cannot be cited.
    """
    media_types = sorted({media_type_of(member.path) for member in contents.members})
    record = datacite_record(
        package, edition, day=day, formats=tuple(media_types), sizes=_sizes(package, contents)
    )
    json_ld = dataset_json_ld(package, edition, day=day)
    texts: Mapping[str, str] = {
        DATACITE_JSON: as_json(record),
        DATACITE_XML: datacite_xml(record),
        DUBLIN_CORE: dublin_core(record),
        CITATION: citation_file(record),
        SCHEMA_ORG: as_json(json_ld),
        CSVW: as_json(csvw_metadata(package)),
    }
    for name, text in texts.items():
        write_text(data / name, text)
    with writing(data / DARWIN_CORE) as stream:
        write_darwin_core_archive(stream, package, edition, record, day=day)
    return json_ld


def _sizes(package: Package, contents: Contents) -> tuple[str, ...]:
    samples = package.tables.count("sample")
    return (
        f"{samples} sample{'' if samples == 1 else 's'}",
        f"{len(contents.members)} files",
        f"{contents.byte_count} bytes",
    )

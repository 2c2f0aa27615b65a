"""Writes a Darwin Core archive: text tables, what their columns mean, and who made them, in a zip.

Source: Darwin Core text guide (TDWG), dwc.tdwg.org/text.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import IO, TYPE_CHECKING, Any

from provenance._bag.zipping import zip_date
from provenance._bundle.deposit.darwin_core import Part, core, extensions
from provenance._bundle.deposit.dublin_core import dublin_core
from provenance._bundle.deposit.form import Described, Form
from provenance._bundle.deposit.xml_text import xml_document, xml_text
from provenance._bundle.describe.editions import Edition
from provenance._record.package import Package

if TYPE_CHECKING:
    from lxml.etree import _Element

TEXT_GUIDE = "http://rs.tdwg.org/dwc/text/"
META = "meta.xml"
METADATA = "dublin-core.xml"
_UNIX = 3
_PLAIN_FILE = 0o100644 << 16


def write_darwin_core_archive(
    stream: IO[bytes], package: Package, edition: Edition, record: Mapping[str, Any], *, day: str
) -> None:
    """Write the archive of a package's samples; the same package makes the same bytes.

    `record` is the citation, which goes in as Dublin Core; `day` the date that every member bears.
    """
    parts = [core(package, edition), *extensions(package)]
    with zipfile.ZipFile(stream, "w") as archive:
        for name, text in ((META, _meta(parts)), (METADATA, dublin_core(record))):
            archive.writestr(_member(name, day), text.encode())
        for part in parts:
            with (
                archive.open(_member(part.file_name, day), "w", force_zip64=True) as member,
                io.TextIOWrapper(member, encoding="utf-8", newline="") as table,
            ):
                _write_table(table, part)


def _member(name: str, day: str) -> zipfile.ZipInfo:
    member = zipfile.ZipInfo(name, zip_date(day))
    member.create_system = _UNIX
    member.external_attr = _PLAIN_FILE
    # stored, not deflated: another zlib would make other bytes of the same content
    member.compress_type = zipfile.ZIP_STORED
    return member


def _write_table(stream: IO[str], part: Part) -> None:
    writer = csv.writer(stream, lineterminator="\n", quoting=csv.QUOTE_ALL)
    writer.writerow([term.rsplit("/", 1)[-1] for term in part.terms])
    writer.writerows(part.rows)


def _meta(parts: Sequence[Part]) -> str:
    from lxml import etree

    namespaces = {None: TEXT_GUIDE}
    archive = etree.Element(
        _name("archive"),
        nsmap=namespaces,  # type: ignore[arg-type]  # the stubs know no default namespace
        metadata=METADATA,
    )
    _describe(archive, "core", "id", parts[0])
    for part in parts[1:]:
        _describe(archive, "extension", "coreid", part)
    return xml_document(archive)


def _describe(archive: _Element, kind: str, key: str, part: Part) -> None:
    from lxml import etree

    table = etree.SubElement(
        archive,
        _name(kind),
        encoding="UTF-8",
        fieldsTerminatedBy=",",
        linesTerminatedBy="\\n",
        fieldsEnclosedBy='"',
        ignoreHeaderLines="1",
        rowType=part.row_type,
    )
    files = etree.SubElement(table, _name("files"))
    etree.SubElement(files, _name("location")).text = xml_text(part.file_name)
    etree.SubElement(table, _name(key), index="0")
    # the sample's code is a term of the core alone; an extension has it to be tied by
    first = 0 if kind == "core" else 1
    for index, term in enumerate(part.terms[first:], first):
        etree.SubElement(table, _name("field"), index=str(index), term=term)


def _name(name: str) -> str:
    return f"{{{TEXT_GUIDE}}}{name}"


def _write_form(stream: IO[bytes], described: Described) -> None:
    write_darwin_core_archive(
        stream, described.package, described.edition, described.record, day=described.day
    )


FORM = Form(
    file_name="darwin-core.zip",
    title="The samples as a Darwin Core archive",
    order=70,
    write=_write_form,
    standard=(TEXT_GUIDE, "Darwin Core text guide"),
    readme=(
        "darwin-core.zip",
        "the samples with species, sizes and dated rings, for portals of "
        "collections (Darwin Core archive; meta.xml in it says what each column is)",
    ),
)

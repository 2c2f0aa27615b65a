"""Writes the citation as XML by the DataCite Metadata Schema 4.5.

The datacite library turns the JSON into XML; a repository that registers DOIs takes in either.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from provenance._bundle.deposit.xml_text import xml_document, xml_text

NO_DOI_YET = "(:tba)"
"""DataCite's standard value for 'to be assigned' (schema documentation 4.5, appendix 3)."""


def datacite_xml(record: Mapping[str, Any]) -> str:
    """The citation `record` (see citation.datacite_record) as a DataCite XML document.

    XML wants an identifier where JSON does without: it says that the DOI is to be assigned.
    """
    from datacite import schema45

    fit = _fit_for_xml(record)
    # 'schemaVersion' is the XML's namespace, and so no element
    fit.pop("schemaVersion", None)
    return xml_document(schema45.dump_etree({"doi": NO_DOI_YET, **fit}))


def _fit_for_xml(value: Any) -> Any:
    if isinstance(value, str):
        return xml_text(value)
    if isinstance(value, Mapping):
        return {key: _fit_for_xml(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_fit_for_xml(one) for one in value]
    return value

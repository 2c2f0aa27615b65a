"""Writes the citation as JSON by the DataCite Metadata Schema 4.5."""

from __future__ import annotations

from provenance._bundle.deposit.form import Form, as_text, of_citation
from provenance._bundle.describe.citation import KERNEL
from provenance._record.package import as_json

FORM = Form(
    file_name="datacite.json",
    title="Citation metadata (DataCite, JSON)",
    order=10,
    write=as_text(lambda described: as_json(described.record)),
    anew=of_citation(as_json),
    standard=(KERNEL, "DataCite Metadata Schema 4"),
    readme=("datacite.json, datacite.xml", "the same for whoever registers a DOI (DataCite 4.5)"),
)

"""Names the descriptions for repositories, which lie at the top of a bundle's payload."""

DATACITE_JSON = "datacite.json"
DATACITE_XML = "datacite.xml"
DUBLIN_CORE = "dublin-core.xml"
CITATION = "CITATION.cff"
SCHEMA_ORG = "schema-org.jsonld"
CSVW = "csv-metadata.json"
DARWIN_CORE = "darwin-core.zip"

DEPOSIT_TITLES = {
    DATACITE_JSON: "Citation metadata (DataCite, JSON)",
    DATACITE_XML: "Citation metadata (DataCite, XML)",
    DUBLIN_CORE: "Citation metadata (Dublin Core, as in OAI-PMH)",
    CITATION: "Citation metadata (Citation File Format)",
    SCHEMA_ORG: "The record as a schema.org Dataset (JSON-LD)",
    CSVW: "The tables described (CSV on the Web)",
    DARWIN_CORE: "The samples as a Darwin Core archive",
}
"""The files, and what each of them is."""

CONFORMS_TO = {
    DATACITE_JSON: ("http://datacite.org/schema/kernel-4", "DataCite Metadata Schema 4"),
    DATACITE_XML: ("http://datacite.org/schema/kernel-4", "DataCite Metadata Schema 4"),
    DUBLIN_CORE: ("http://www.openarchives.org/OAI/2.0/oai_dc/", "Dublin Core in OAI-PMH"),
    SCHEMA_ORG: ("https://www.w3.org/TR/json-ld11/", "JSON-LD 1.1"),
    CSVW: ("http://www.w3.org/ns/csvw", "CSV on the Web"),
    DARWIN_CORE: ("http://rs.tdwg.org/dwc/text/", "Darwin Core text guide"),
}
"""The standard that a file follows: the address that the standard gives itself, and its title."""

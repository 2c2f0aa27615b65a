"""Writes CITATION.cff, which programs that manage references read.

Source: Citation File Format 1.2.0 (DOI 10.5281/zenodo.5171937), type dataset.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import yaml

from provenance._bundle.deposit.form import Form, as_text, of_citation
from provenance._bundle.describe.citation import UNKNOWN

FORMAT = "1.2.0"
NOBODY_NAMED = "Makers not named in the record"
MESSAGE = "If you use this record, please cite it as below."
_ORCID = re.compile(r"https://orcid\.org/[0-9]{4}-[0-9]{4}-[0-9]{4}-[0-9]{3}[0-9X]")
# The licences made for data, by their codes in the SPDX list. The format's own list is that of 2021
# and holds all of these; a code that it lacks would make the file invalid.
_DATA_LICENCE = re.compile(
    r"CC0-1\.0|CC-BY(-NC)?(-SA|-ND)?-[1-4]\.0|ODbL-1\.0|ODC-By-1\.0|PDDL-1\.0"
)


def citation_file(record: Mapping[str, Any]) -> str:
    """The citation `record` (see citation.datacite_record) as the text of CITATION.cff.

    A record whose makers may not be named has an author all the same, since the format wants one:
    the words `NOBODY_NAMED`.
    """
    cff: dict[str, Any] = {
        "cff-version": FORMAT,
        "type": "dataset",
        "message": f"{MESSAGE} {record['rightsList'][0]['rights']}.",
        "title": record["titles"][0]["title"],
        "abstract": record["descriptions"][0]["description"],
        "authors": [_author(one) for one in record["creators"]],
        "keywords": [one["subject"] for one in record["subjects"]],
        "version": record["version"],
        "date-released": _released_on(record),
        **_licence(record),
    }
    if doi := record.get("doi"):
        cff["doi"] = doi
    return yaml.safe_dump(cff, allow_unicode=True, sort_keys=False, width=100)


def _released_on(record: Mapping[str, Any]) -> str:
    dates = {one["dateType"]: one["date"] for one in record["dates"]}
    day: str = dates.get("Issued") or dates["Updated"]  # bundles of before name no day of issue
    return day


def _author(creator: Mapping[str, Any]) -> dict[str, str]:
    if creator["name"] == UNKNOWN:
        return {"name": NOBODY_NAMED}
    if creator.get("nameType") != "Personal":
        return {"name": creator["name"]}
    author = _names(creator)
    if affiliations := creator.get("affiliation"):
        author["affiliation"] = affiliations[0]["name"]
    for identifier in creator.get("nameIdentifiers", ()):
        if _ORCID.fullmatch(identifier["nameIdentifier"]):
            author["orcid"] = identifier["nameIdentifier"]
    return author


def _names(creator: Mapping[str, Any]) -> dict[str, str]:
    """A person's name in the two parts of the format.

    Only the record, or a comma, says which part is which; a name without one is not cut, because
    the family name does not stand last everywhere. It goes into the part that no style shortens to
    initials.
    """
    name = creator["name"]
    if creator.get("familyName") and creator.get("givenName"):
        return {"family-names": creator["familyName"], "given-names": creator["givenName"]}
    family, comma, given = name.partition(",")
    if comma and family.strip() and given.strip():
        return {"family-names": family.strip(), "given-names": given.strip()}
    return {"family-names": name}


def _licence(record: Mapping[str, Any]) -> dict[str, Any]:
    """The licence by its code where the format's list has it, else by its address.

    Nothing is said of a record under several licences, which the format would read as a choice.
    """
    named = [one for one in record["rightsList"] if one.get("rightsUri", "").startswith("http")]
    if len(named) != 1:
        return {}
    if _DATA_LICENCE.fullmatch(named[0].get("rightsIdentifier", "")):
        return {"license": named[0]["rightsIdentifier"]}
    return {"license-url": named[0]["rightsUri"]}


FORM = Form(
    file_name="CITATION.cff",
    title="Citation metadata (Citation File Format)",
    order=40,
    write=as_text(lambda described: citation_file(described.record)),
    anew=of_citation(citation_file),
    readme=("CITATION.cff", "how to cite it (Citation File Format; readable as it is)"),
    people_read=True,
)

"""A repository that holds an edition and its successor says of the first that it is withdrawn."""

from __future__ import annotations

import json
import sqlite3
from datetime import date
from pathlib import Path

from pypdf import PdfReader

from provenance._accession.accession import Accessioned, accession
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.pack import pack
from provenance._bundle.withdrawal import withdrawing_of
from provenance._catalogue.audit.audit import audit_place
from provenance._catalogue.audit.audit_report import audit_html, audit_json, audit_lines
from provenance._catalogue.build import update_catalogue
from provenance._catalogue.query import Wanted, find_in_catalogue, withdrawn_editions
from provenance._drawing.paper import paper_named
from provenance._history.deciding import correct, decide
from provenance._record.package import open_package
from tests.builders import a_package

REASON = "a person asked us to take a name out"


def two_editions(folder: Path) -> tuple[Path, Path]:
    """The edition that names Mara Birkwood, as a zip, and the one that no longer does."""
    builder = a_package(folder).with_chain()
    parties = builder.package.table("party")
    parties.loc[parties["party_id"] == "MB", "may_be_named"] = "true"
    builder.package.write_table("party", parties)
    first = pack(builder.package, folder / "first.zip", zipped=True, edition=PUBLIC).path
    package = open_package(builder.package.folder)
    decide(package, correct("party", "MB", {"may_be_named": "false"}), who="IV")
    withdrawing = withdrawing_of(package, [str(first)], REASON)
    package = open_package(package.folder)
    return first, pack(package, folder / "second", edition=PUBLIC, withdrawing=withdrawing).path


def taken_in(bundle: Path, store: Path) -> Accessioned:
    return accession(
        bundle,
        store,
        depositor="Ilse Vantongle (invented)",
        on=date(2031, 5, 4),
        recorded_on="2031-05-04T12:00:00Z",
        paper=paper_named("a4"),
        pattern="{year}.{serial:04}",
    )


def receipt(done: Accessioned) -> str:
    return " ".join("".join(one.extract_text() for one in PdfReader(done.receipt).pages).split())


def test_a_withdrawn_edition_is_told_wherever_it_lies_beside_its_successor(tmp_path: Path) -> None:
    first, second = two_editions(tmp_path / "made")
    store = tmp_path / "store"
    assert "WITHDRAWN" not in receipt(taken_in(first, store))
    later = taken_in(second, store)
    ((entry, said),) = later.beside.of
    assert (entry.number, said.reason) == ("2031.0001", REASON)
    assert "takes the place of accession 2031.0001, withdrawn on" in receipt(later)

    index = tmp_path / "catalogue.sqlite"
    done = audit_place(store, index)
    old, new = str(store / "2031.0001" / "first.zip"), str(later.kept)
    assert f"Edition withdrawn: {old}, by {new}: {REASON}" in audit_lines(done)
    assert REASON in audit_html(done)
    assert json.loads(audit_json(done))["editionsWithdrawn"] == 1
    assert withdrawn_editions(index) == {old: new}
    bundles = find_in_catalogue(index, "bundles", Wanted(every=True))
    assert dict(bundles.select("path", "withdrawn_by").iter_rows()) == {old: new, new: None}

    # an index of a version that did not know of it goes on, and learns it
    with sqlite3.connect(index) as database:
        database.executescript(
            "DROP TABLE withdrawal; DELETE FROM description WHERE table_name = 'withdrawal';"
            "UPDATE bundle SET signature = 'older'"
        )
    database.close()
    update_catalogue(store, index)
    assert withdrawn_editions(index) == {old: new}

    # elsewhere the successor came first
    store = tmp_path / "elsewhere"
    taken_in(second, store)
    done_late = taken_in(first, store)
    assert done_late.beside.by is not None
    assert "WITHDRAWN since" in receipt(done_late)
    assert f"accession 2031.0001 takes its place: {REASON}" in receipt(done_late)

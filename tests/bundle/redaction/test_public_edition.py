"""The public edition as curators and readers meet it."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from provenance._bag.bag import write_bag
from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._bundle.deposit.form import Described
from provenance._bundle.deposit.schema_org import dataset_json_ld
from provenance._bundle.derivation import verify_derivation
from provenance._bundle.describe.citation import datacite_record
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.pack import pack
from provenance._bundle.redaction.redact import redact
from provenance._bundle.verify import verify_bundle
from provenance._cli import treenail
from provenance._ledger.custody import append_events
from provenance._record.edition_key import EDITION_KEY
from provenance._record.package import DESCRIPTOR, Package, as_json, open_package
from tests.builders import a_package, pack_bundle, unpack_bundle
from tests.bundle.conftest import LEDGER


def run(*arguments: object) -> Result:
    return CliRunner().invoke(treenail, [str(one) for one in arguments])


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with 'holl' (package), 'full' and 'public'; never to be changed."""
    folder = tmp_path_factory.mktemp("made")
    package = a_record(folder)
    # the first public edition gives the package its stand-ins, which the full one then has
    pack(package, folder / "public", edition=PUBLIC)
    pack_bundle(package, folder / "full")
    return folder


def a_record(folder: Path) -> Package:
    builder = a_package(folder).with_chain()
    site = builder.package.table("site")
    site[["latitude", "longitude", "coordinate_uncertainty_m"]] = ["51.47391", "-1.28376", "25"]
    site["repository_id"] = "LAB"
    builder.package.write_table("site", site)
    builder.with_row("consignment", seal_number="00417").with_row("lab_result")
    builder.with_row("datum", x_m="451251.25", y_m="5731262.5")
    builder.with_row("file")
    builder.with_row("file", file_id="F-2", path="files/letter.txt", kind="letter",
                     access="restricted", about_table="party", about_id="OWN")  # fmt: skip
    builder.with_row("file", file_id="F-3", path="files/scan.jpg", title="Copy of the letter",
                     about_table="file", about_id="F-2")  # fmt: skip
    package = builder.package
    Image.new("RGB", (20, 10), (90, 60, 30)).save(package.folder / "files" / "photo-001.png")
    (package.folder / "files" / "letter.txt").write_text("private", encoding="utf-8")
    Image.new("RGB", (20, 10), (9, 6, 3)).save(package.folder / "files" / "scan.jpg")
    append_events(package, LEDGER)
    return open_package(package.folder)


def the_public(made: Path) -> Package:
    return open_package(made / "public" / "data")


def bytes_of(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


# -- what is in it -------------------------------------------------------------------------------


def test_a_person_who_has_not_agreed_is_a_role_under_one_code_everywhere(made: Path) -> None:
    public = the_public(made)
    parties = public.table("party").set_index("party_id")
    assert "MB" not in parties.index
    lead = public.table("site")["crew_lead_id"].item()
    assert parties.loc[lead, "kind"] == "person"
    assert parties.loc[lead, "name"].startswith("Person ")
    for table, field in (("sample", "collected_by"), ("plug", "placed_by"),
                         ("custody", "to_party_id"), ("element", "recorded_by")):  # fmt: skip
        assert public.table(table)[field].iloc[0] == lead
    letter = public.table("file").set_index("file_id").loc["F-2"]
    assert letter["about_id"] == public.table("site")["owner_id"].item()


def test_whoever_agreed_is_named_and_keeps_the_code(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain()
    builder.with_bare_row(
        "party", party_id="ZF", kind="person", name="Zoë Farrowgill (invented)",
        may_be_named="true", email="zf@example.org",
    )  # fmt: skip
    pack(builder.package, tmp_path / "b", edition=PUBLIC)
    row = open_package(tmp_path / "b" / "data").table("party").set_index("party_id").loc["ZF"]
    assert (row["name"], row["email"]) == ("Zoë Farrowgill (invented)", "")
    assert row["information_withheld"] == "E-mail"


def test_an_organisation_that_refused_is_not_named(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain()
    builder.with_bare_row(
        "party", party_id="HRF", kind="organisation", name="Hollin Farm Trust", roles="owner",
        may_be_named="false",
    )  # fmt: skip
    pack(builder.package, tmp_path / "b", edition=PUBLIC)
    parties = open_package(tmp_path / "b" / "data").table("party").set_index("kind")["name"]
    names = set(parties["organisation"])
    assert "Alder Ring Laboratory (invented)" in names
    assert "Hollin Farm Trust" not in names
    assert [one for one in names if re.fullmatch("Owner [B-X]{5}", one)]


def test_coordinates_are_the_middle_of_a_cell_and_say_so(made: Path) -> None:
    """Darwin Core: dataGeneralizations, informationWithheld."""
    site = the_public(made).table("site").iloc[0]
    assert (site["latitude"], site["longitude"]) == ("51.45", "-1.25")
    assert int(site["coordinate_uncertainty_m"]) > 6000
    assert "cell of 0.1 degree" in site["data_generalizations"]
    assert "Permit number" in site["information_withheld"]
    fields = {one.name: one for one in the_public(made).model.table("site").fields}
    dwc = "http://rs.tdwg.org/dwc/terms/"
    assert fields["data_generalizations"].rdf_type == dwc + "dataGeneralizations"
    assert fields["information_withheld"].rdf_type == dwc + "informationWithheld"


def test_coordinates_may_be_dropped(made: Path, tmp_path: Path) -> None:
    shutil.copytree(made / "holl", tmp_path / "holl")
    pack(open_package(tmp_path / "holl"), tmp_path / "b", edition=PUBLIC, grid="drop")
    site = open_package(tmp_path / "b" / "data").table("site").iloc[0]
    assert site["latitude"] == site["longitude"] == site["coordinate_uncertainty_m"] == ""
    assert verify_bundle(tmp_path / "b").sound


def test_the_package_may_say_which_grid_is_used(made: Path, tmp_path: Path) -> None:
    shutil.copytree(made / "holl", tmp_path / "holl")
    package = open_package(tmp_path / "holl").with_descriptor({"publicGrid": "1"})
    pack(package, tmp_path / "b", edition=PUBLIC)
    assert open_package(tmp_path / "b" / "data").table("site")["latitude"].item() == "51.5"


def test_map_coordinates_on_a_site_grid_lose_their_tie(made: Path) -> None:
    """The one datum of a building without an outline is its zero, to within its last figure."""
    datum = the_public(made).table("datum").iloc[0]
    assert abs(float(datum["x_m"])) <= 0.0051
    assert abs(float(datum["y_m"])) <= 0.0051


def test_two_sites_are_not_tied_to_each_other_by_their_grids(tmp_path: Path) -> None:
    """Else the one that everybody knows would lead to the other."""
    builder = a_package(tmp_path).with_chain().with_row("site", site_id="TARN", name="Tarn End")
    builder.with_row("datum", x_m="451251.25", y_m="5731262.5")
    builder.with_row("datum", datum_id="D2", site_id="TARN", place_id=None,
                     x_m="452777.75", y_m="5733333.5")  # fmt: skip
    pack(builder.package, tmp_path / "b", edition=PUBLIC)
    datum = open_package(tmp_path / "b" / "data").table("datum")
    here, in_no_building = datum["x_m"]
    assert abs(float(here)) <= 0.0051
    assert in_no_building == ""


def test_a_withheld_column_stays_blank_marked_and_not_asked_for(made: Path) -> None:
    field = the_public(made).model.table("custody").field("event_sha256")
    assert field.withheld
    assert field.description.startswith("Withheld in this edition.")
    assert set(the_public(made).table("custody")["event_sha256"]) == {""}
    assert not the_public(made).model.table("file").field("path").required


def test_a_restricted_file_is_a_row_without_a_file(made: Path) -> None:
    row = the_public(made).table("file").set_index("file_id").loc["F-2"]
    assert (row["path"], row["sha256"], row["kind"]) == ("", "", "letter")
    assert "the file" in row["information_withheld"]
    assert not (made / "public" / "data" / "files" / "letter.txt").exists()


def test_an_open_copy_of_a_restricted_file_is_restricted_too(made: Path) -> None:
    public = the_public(made)
    copy = public.table("file").set_index("file_id").loc["F-3"]
    assert (copy["path"], copy["sha256"], copy["title"]) == ("", "", "[withheld]")
    assert not (public.folder / "files" / "scan.jpg").exists()


def test_the_notice_says_what_why_and_whom_to_ask(made: Path) -> None:
    text = " ".join((made / "public" / "data" / "WITHHELD.txt").read_text("utf-8").split())
    assert "Kept by: Alder Ring Laboratory (invented)." in text
    assert "Site, Permit number (site.permit_number): 1 value" in text
    assert "Left out because its access is not 'open': F-2, F-3." in text
    assert "cannot be called back" in text


def test_the_check_is_there_in_figures_alone(made: Path) -> None:
    check = made / "public" / "data" / "check"
    assert {path.name for path in check.iterdir()} == {"summary.json", "summary.txt"}
    summary = json.loads((check / "summary.json").read_text("utf-8"))
    assert all(set(one) == {"severity", "rule", "count"} for one in summary["findings"])


# -- bytes and derivation ------------------------------------------------------------------------


def test_the_same_package_makes_the_same_public_edition(made: Path, tmp_path: Path) -> None:
    shutil.copytree(made / "holl", tmp_path / "elsewhere" / "holl")
    pack(open_package(tmp_path / "elsewhere" / "holl"), tmp_path / "b", edition=PUBLIC)
    assert bytes_of(tmp_path / "b") == bytes_of(made / "public")


def test_the_package_is_not_altered_and_nothing_is_left_beside_it(
    made: Path, tmp_path: Path
) -> None:
    shutil.copytree(made / "holl", tmp_path / "holl")
    pack(open_package(tmp_path / "holl"), edition=PUBLIC, zipped=True)
    (bundle,) = {path.name for path in tmp_path.iterdir()} - {"holl"}
    # nobody released the package's name, so it goes by the stand-in of its site
    assert re.fullmatch("[a-z]{5}-public-bundle.zip", bundle)
    before, after = bytes_of(made / "holl"), bytes_of(tmp_path / "holl")
    assert {p: d for p, d in after.items() if p != ".lock"} == {
        p: d for p, d in before.items() if p != ".lock"
    }


def test_a_public_edition_is_shown_to_come_from_its_full_one(made: Path) -> None:
    derivation = verify_derivation(made / "public", made / "full")
    assert (derivation.proved, derivation.compared) == (True, True)


def test_a_public_edition_of_another_state_is_found_out(made: Path, tmp_path: Path) -> None:
    shutil.copytree(made / "holl", tmp_path / "holl")
    package = open_package(tmp_path / "holl")
    package.write_table("element", package.table("element").assign(length_m="4.3"))
    pack_bundle(package, tmp_path / "full")
    derivation = verify_derivation(made / "public", tmp_path / "full")
    assert [one.rule for one in derivation.findings] == ["derivation.commitment_differs"]


def test_a_public_edition_that_was_altered_and_bagged_again_is_found_out(
    made: Path, tmp_path: Path
) -> None:
    shutil.copytree(made / "public" / "data", tmp_path / "b" / "data")
    path = tmp_path / "b" / "data" / "tables" / "element.csv"
    path.write_text(path.read_text("utf-8").replace("4.2", "4.7"), encoding="utf-8")
    write_bag(tmp_path / "b", {"Bagging-Date": "2031-05-04"})
    assert verify_bundle(tmp_path / "b").sound
    derivation = verify_derivation(tmp_path / "b", made / "full")
    assert [one.path for one in derivation.findings] == ["data/tables/element.csv"]


def test_a_commitment_cannot_be_tried_out_without_the_key(made: Path) -> None:
    """HMAC, RFC 2104: the hashes that anybody can compute are not in the edition."""
    full = (made / "full" / "manifest-sha256.txt").read_text("utf-8")
    public = (made / "public" / "data" / "bundle.json").read_text("utf-8")
    assert not [line for line in full.splitlines() if line.split()[0] in public]
    key = open_package(made / "holl").descriptor[EDITION_KEY]
    assert not [
        path
        for path in (made / "public").rglob("*")
        if path.is_file() and key.encode() in path.read_bytes()
    ]


def test_editions_the_wrong_way_round_are_refused(made: Path) -> None:
    with pytest.raises(UnusableInput, match="is not the public edition"):
        verify_derivation(made / "full", made / "public")


def test_a_package_from_before_is_given_a_key_and_told_so(made: Path, tmp_path: Path) -> None:
    shutil.copytree(made / "holl", tmp_path / "holl")
    path = tmp_path / "holl" / DESCRIPTOR
    raw = json.loads(path.read_text("utf-8"))
    del raw[EDITION_KEY]
    path.write_text(as_json(raw), encoding="utf-8")
    packed = run("pack", tmp_path / "holl", "--edition", "public", "--out", tmp_path / "b")
    assert "pack its full edition again" in packed.stderr
    pack_bundle(open_package(tmp_path / "holl"), tmp_path / "full")
    assert verify_derivation(tmp_path / "b", tmp_path / "full").proved


# -- at the terminal -----------------------------------------------------------------------------


def test_pack_says_what_is_withheld_and_asks_for_a_look(made: Path, tmp_path: Path) -> None:
    packed = run("pack", made / "holl", "--edition", "public", "--out", tmp_path / "b")
    assert "withheld: " in packed.stdout
    assert "before you publish it" in packed.stdout


def test_verify_says_that_seals_are_withheld(made: Path) -> None:
    verified = run("verify", made / "public")
    assert verified.exit_code == 0
    assert "seals withheld" in verified.stdout


def test_verify_against_says_what_was_compared(made: Path) -> None:
    verified = run("verify", made / "public", "--against", made / "full")
    assert verified.exit_code == 0
    assert "compared byte for byte" in verified.stdout


def test_a_full_edition_that_claims_its_seals_are_withheld_is_not_sound(
    made: Path, tmp_path: Path
) -> None:
    """Somebody cuts the seals out of a full edition and marks the columns."""
    shutil.copytree(made / "full" / "data", tmp_path / "b" / "data")
    shutil.copy(made / "public/data/schemas/custody.json", tmp_path / "b/data/schemas/custody.json")
    shutil.copy(made / "public/data/tables/custody.csv", tmp_path / "b/data/tables/custody.csv")
    write_bag(tmp_path / "b", {"Bagging-Date": "2031-05-04"})
    assert not verify_bundle(tmp_path / "b").sound


@pytest.mark.parametrize("edition", ["full", "public"])
def test_a_public_edition_is_not_packed_again(made: Path, tmp_path: Path, edition: str) -> None:
    unpacked = unpack_bundle(made / "public", tmp_path / "unpacked")
    with pytest.raises(UnusablePackage, match="is a public edition"):
        pack(unpacked, tmp_path / "b", edition=PUBLIC)
    refused = run("pack", unpacked.folder, "--edition", edition, "--out", tmp_path / "b")
    assert refused.exit_code != 0
    assert not (tmp_path / "b").exists()


def test_a_code_of_the_crews_own_that_names_the_place_is_refused(tmp_path: Path) -> None:
    """It stands in the tables and schemas alike, so it cannot be replaced."""
    profile = tmp_path / "own.yaml"
    profile.write_text(
        "name: own\ntitle: Own\ndescription: Own.\nadd:\n  element:\n"
        "    - {name: hollin_reach_no, type: string, title: Number, description: Number.,"
        " public: shown, publicBecause: a number}\n",
        encoding="utf-8",
    )
    package = a_package(tmp_path, str(profile)).with_chain().package
    with pytest.raises(UnusablePackage, match="hollin_reach_no"):
        pack(package, tmp_path / "b", edition=PUBLIC)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["holl", "own.yaml"]


def test_a_package_from_before_some_fields_is_made_public(tmp_path: Path) -> None:
    """The program describes tables with its own links, of which an older package lacks some."""
    package = a_record(tmp_path)
    for table, lacks in (
        ("element", "same_tree_element_id"),
        ("lab_result", "same_tree_sample_id"),
        ("party", "family_name"),
        ("party", "given_name"),
        ("party", "award_number"),
    ):
        rows = package.table(table).drop(columns=lacks)
        path = next((package.folder / "schemas").rglob(f"{table}.json"))
        schema = json.loads(path.read_text("utf-8"))
        schema["fields"] = [one for one in schema["fields"] if one["name"] != lacks]
        schema["foreignKeys"] = [one for one in schema["foreignKeys"] if lacks not in one["fields"]]
        path.write_text(json.dumps(schema), "utf-8")
        package.table_path(table).write_text(rows.to_csv(index=False), "utf-8")
        package = open_package(package.folder)
    pack(open_package(package.folder), tmp_path / "public", edition=PUBLIC)
    assert verify_bundle(tmp_path / "public").sound


def test_several_profiles_and_their_lists_are_in_the_public_edition(tmp_path: Path) -> None:
    """Shipped words stand as they are; of a profile of one's own nothing that nobody released."""
    builder = a_package(tmp_path, "log_building+mill").with_chain()
    rows = builder.package.table("place")
    rows[["profile", "mill_power"]] = ["log_building;mill", "wind"]
    builder.package.write_table("place", rows)
    pack(builder.package, tmp_path / "public", edition=PUBLIC)
    assert verify_bundle(tmp_path / "public").sound
    public, full = open_package(tmp_path / "public" / "data"), builder.package.model
    assert public.model.profile == "log_building+mill"
    assert (public.model.title, public.model.cautions) == (full.title, full.cautions)
    assert (public.model.equipment, public.model.profiles) == (full.equipment, full.profiles)
    assert public.model.vocabularies["mill_power"].codes == full.vocabularies["mill_power"].codes
    row = public.table("place").iloc[0]
    assert (row["profile"], row["mill_power"]) == ("log_building;mill", "wind")


def test_a_list_that_a_profile_narrowed_or_made_is_the_public_editions_own(tmp_path: Path) -> None:
    profile = tmp_path / "own.yaml"
    profile.write_text(
        "name: own\ntitle: Quagga title\ndescription: Quagga words.\n"
        "equipment: [{item: Quagga kettle, purpose: Quagga tea}]\n"
        "cautions: [Quagga dog in the yard.]\n"
        "narrow: {species: [PIPO], plug.dowel_species: [PSME]}\n"
        "lists:\n  quagga_list:\n    title: Quagga list\n    description: Quagga.\n    terms:\n"
        "      - {code: quaggacode, label: Quagga one, definition: Quagga thing., source: quagga}\n"
        "synonyms: {hazard: {dust: [quagga dust]}, element.notes: [quagga notes]}\n"
        "add:\n  element:\n    - {name: quagga_kind, type: string, title: Kind, description: Kind.,"
        " vocabulary: quagga_list, public: shown, publicBecause: a kind}\n",
        encoding="utf-8",
    )
    package = a_package(tmp_path, f"church+{profile}").with_chain().package
    for table, field, value in (
        ("element", "quagga_kind", "quaggacode"),
        ("plug", "dowel_species", "PSME"),
    ):
        rows = package.table(table)
        rows[field] = value
        package.write_table(table, rows)
    pack(package, tmp_path / "public", edition=PUBLIC)
    assert verify_bundle(tmp_path / "public").sound
    public = open_package(tmp_path / "public" / "data")
    assert list(public.table("plug")["dowel_species"]) == ["PSME"]
    assert public.model.cautions[:2] == package.model.cautions[:2]
    told = "".join(
        path.read_text("utf-8")
        for path in (tmp_path / "public" / "data").rglob("*")
        if path.suffix in (".json", ".csv", ".md", ".txt", ".html")
    )
    # the names of field and list are in the tables, and so they are public
    assert not re.search(r"(?i)\bquagga(?![_ ](kind|list)\b)", told)


def test_the_public_edition_has_its_own_doi_its_embargo_and_the_other_doi_only_if_released(
    tmp_path: Path,
) -> None:
    """Whoever has the full edition's DOI is led to what is told there, the place's name too."""
    package = a_package(tmp_path).with_chain().package
    told = ("--doi", "10.5072/full-1", "--public-doi", "https://doi.org/10.5072/1-open")
    said = run("settings", package.folder, *told, "--embargo-until", "2031-12-31")
    assert said.output.splitlines()[-3:] == [
        "DOI       https://doi.org/10.5072/full-1",
        "public    https://doi.org/10.5072/1-open",
        "embargo   2031-12-31",
    ]
    public = redact(open_package(package.folder), tmp_path / "1").package
    full_doi = "https://doi.org/10.5072/full-1"
    assert full_doi not in json.dumps(dict(public.descriptor))
    record = datacite_record(public, PUBLIC, day="2031-05-04", formats=())
    assert record["doi"] == "10.5072/1-open"
    assert "relatedIdentifiers" not in record
    assert record["rightsList"][0]["rightsUri"] == "info:eu-repo/semantics/embargoedAccess"
    (until,) = [one["date"] for one in record["dates"] if one["dateType"] == "Available"]
    assert until == "2031-12-31"
    page = dataset_json_ld(Described(public, PUBLIC, record, "2031-05-04"))
    assert "isAccessibleForFree" not in page
    packed = run("pack", package.folder, "--edition", "public", "--out", tmp_path / "p")
    assert "before you publish it: the record is under embargo until 2031-12-31" in packed.stderr

    release = ("--release", "datapackage.id", "--by", "MB", "--because", "x")
    assert run("review", package.folder, *release).exit_code in (0, 1)  # other texts wait
    assert run("settings", package.folder, "--embargo-until", "none").exit_code == 0
    public = redact(open_package(package.folder), tmp_path / "2").package
    record = datacite_record(public, PUBLIC, day="2031-05-04", formats=())
    assert [one["relationType"] for one in record["relatedIdentifiers"]] == ["IsVariantFormOf"]
    assert record["relatedIdentifiers"][0]["relatedIdentifier"] == "10.5072/full-1"
    assert record["rightsList"][0]["rightsUri"] == "info:eu-repo/semantics/openAccess"


def test_a_doi_or_embargo_that_cannot_be_is_refused(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    for words, says in (
        (("--doi", "hr-1"), "is not a DOI"),
        (("--embargo-until", "next year"), "is not a day; write the day on which the embargo"),
        (("--doi", "10.5072/x", "--public-doi", "10.5072/X"), "cannot be the DOI of both"),
    ):
        error = run("settings", package.folder, *words).exception
        assert isinstance(error, UnusableInput), words
        assert says in str(error)
    assert "id" not in open_package(package.folder).descriptor
    run("settings", package.folder, "--public-doi", "10.5072/hollin-reach")
    with pytest.raises(UnusablePackage, match="holds a name or number that is withheld"):
        redact(open_package(package.folder), tmp_path / "1")
    package = open_package(package.folder).with_descriptor({"embargoUntil": "soon"})
    with pytest.raises(UnusablePackage, match="'embargoUntil' 'soon' is not a day"):
        datacite_record(package, PUBLIC, day="2031-05-04", formats=())


def test_names_orcid_and_ror_are_shown_of_those_who_may_be_named_and_of_no_one_else(
    tmp_path: Path,
) -> None:
    builder = a_package(tmp_path)
    for key, name, agreed in (("MB", "Birkwood", "true"), ("OWN", "Reedham", "false")):
        builder.with_bare_row(
            "party", party_id=key, kind="person", name=f"{key} {name}", family_name=name,
            given_name=key, orcid="0000-0002-1825-0097", may_be_named=agreed,
        )  # fmt: skip
    for key, agreed in (("AUTH", ""), ("MUS", "false")):
        builder.with_bare_row(
            "party", party_id=key, kind="organisation", name=f"{key} (invented)",
            may_be_named=agreed, ror="https://ror.org/00x0x0x00",
        )  # fmt: skip
    public = redact(builder.with_row("site").package, tmp_path / "1").package
    shown = {(one["orcid"], one["ror"], one["family_name"]) for one in public.tables.rows("party")}
    assert shown == {
        ("0000-0002-1825-0097", "", "Birkwood"),
        ("", "", ""),
        ("", "https://ror.org/00x0x0x00", ""),
    }

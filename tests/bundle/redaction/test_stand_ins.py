"""Stand-ins last: over seasons, packages brought forward, copies merged and consents withdrawn."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from provenance._base.errors import UnusableInput
from provenance._bundle.derivation import verify_derivation
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.pack import pack
from provenance._bundle.redaction.redact import redact
from provenance._bundle.redaction.remembering import Withdrawing, remember
from provenance._bundle.redaction.stand_ins import FULL_ONLY, LETTERS, TABLE
from provenance._bundle.withdrawal import withdrawing_of
from provenance._cli import treenail
from provenance._history.deciding import add, correct, decide, rename, undo
from provenance._merging.merge import merge_packages
from provenance._record.package import Package, open_package
from tests.builders import a_package, pack_bundle, unpack_bundle

STAND_IN = re.compile(f"[{LETTERS}]{{5}}")
TRACE = "N3748W10851"
"""A key that is a position."""


def run(*arguments: object) -> Result:
    return CliRunner().invoke(treenail, [str(one) for one in arguments])


def a_record(folder: Path) -> Package:
    """Mara Birkwood and Odo Reedham are not named, Zoë Farrowgill is; one piece is a position."""
    builder = a_package(folder).with_chain()
    builder.with_bare_row(
        "party", party_id="ZF", kind="person", name="Zoë Farrowgill (invented)", roles="recorder",
        may_be_named="true",
    )  # fmt: skip
    builder.with_row("element", element_id=TRACE, position_note=f"beside {TRACE}")
    builder.with_row("sample", sample_id="232", element_id=TRACE, collected_by="ZF")
    builder.with_row("plug", plug_id="P-232", sample_id="232", stamp="232", placed_by="ZF")
    builder.with_row("file", about_id=TRACE, path=f"files/{TRACE}_south.txt", kind="ring_widths")
    (builder.package.folder / "files" / f"{TRACE}_south.txt").write_text("1702 88\n", "utf-8")
    return builder.package


def public_of(package: Package, folder: Path, withdrawing: Withdrawing | None = None) -> Package:
    """The public edition as a package, without the pages, which are made of nothing else."""
    package = open_package(package.folder)
    known = remember(package, withdrawing).known
    return redact(package, folder, known=known).package


def codes_of(public: Package) -> dict[str, str]:
    """What stands for who recorded what, in this edition."""
    element = public.table("element").set_index("length_m")
    sample = public.table("sample").set_index("sample_id")
    return {
        "MB": sample.loc["231", "collected_by"],
        "ZF": sample.loc["232", "collected_by"],
        "OWN": public.table("site")["owner_id"].item(),
        TRACE: sample.loc["232", "element_id"],
        "recorded": element["recorded_by"].iloc[0],
    }


def test_a_stand_in_is_letters_that_say_nothing_and_stays(tmp_path: Path) -> None:
    package = a_record(tmp_path)
    first = codes_of(public_of(package, tmp_path / "1"))
    for who in ("MB", "OWN", TRACE):
        assert STAND_IN.fullmatch(first[who]), who
    assert first["ZF"] == "ZF"
    # rows come and go, people agree, keys change: by hand, by an act, and with other rows before
    package = open_package(package.folder)
    new = {"party_id": "AA", "kind": "person", "name": "Ada Alderidge (invented)"}
    decide(package, add("party", new), who="IV")
    decide(package, correct("party", "OWN", {"may_be_named": "true"}), who="IV")
    decide(package, rename("party", "MB", "MBW"), who="IV")
    elements = open_package(package.folder).table("element")
    elements["element_id"] = elements["element_id"].replace(TRACE, f"{TRACE}-7")
    package.write_table("element", elements)
    samples = package.table("sample")
    samples["element_id"] = samples["element_id"].replace(TRACE, f"{TRACE}-7")
    package.write_table("sample", samples)
    second = codes_of(public_of(package, tmp_path / "2"))
    assert {**second, "OWN": first["OWN"]} == first
    assert second["OWN"] == "OWN"
    names = open_package(package.folder).table(TABLE)["name"]
    assert len(set(names)) == len(names)


def test_a_key_that_tells_is_nowhere_in_a_public_edition(tmp_path: Path) -> None:
    """Tables, texts, file and page names; the tables of stand-ins are not in it at all."""
    package = a_record(tmp_path)
    pack(package, tmp_path / "public", edition=PUBLIC)
    data = tmp_path / "public" / "data"
    said = b"\n".join(
        path.relative_to(data).as_posix().encode() + b"\n" + path.read_bytes()
        for path in sorted(data.rglob("*"))
        if path.is_file()
    )
    assert TRACE.encode() not in said
    assert not re.search(rb"\bMB\b|\bOWN\b", said)
    code = codes_of(open_package(data))[TRACE]
    assert (data / "pages" / "element" / f"{code}.html").is_file()
    assert not set(FULL_ONLY) & set(open_package(data).model.tables)
    assert not [path for name in FULL_ONLY for path in data.rglob(f"*{name}*")]
    # the order of rows would tell how the keys of the full edition begin
    for name in ("party", "element"):
        keys = list(open_package(data).table(name)[f"{name}_id"])
        assert keys == sorted(keys)


def test_who_withdraws_is_blank_and_the_edition_says_which_it_takes_the_place_of(
    tmp_path: Path,
) -> None:
    package = a_record(tmp_path)
    told = run("pack", package.folder, "--edition", "public", "--out", tmp_path / "1.zip", "--zip")
    assert "pack its full edition again" in told.stderr
    again = run("pack", package.folder, "--edition", "public", "--out", tmp_path / "b.zip", "--zip")
    assert "pack its full edition again" not in again.stderr
    assert (tmp_path / "1.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()

    decide(open_package(package.folder), correct("party", "ZF", {"may_be_named": "no"}), who="IV")
    asked = ("pack", package.folder, "--edition", "public", "--out", tmp_path / "2")
    refused = str(run(*asked).exception)
    assert "party_id ZF" in refused
    assert "--withdraws" in refused
    assert not (tmp_path / "2").exists()
    reason = "Zoë Farrowgill asked us to take a name out"
    run(*asked, "--withdraws", tmp_path / "1.zip", "--because", reason)
    data = tmp_path / "2" / "data"
    codes = codes_of(open_package(data))
    assert codes["ZF"] == ""
    assert open_package(data).table("plug").set_index("plug_id").loc["P-232", "placed_by"] == ""
    # blank as what was never recorded is: nothing beside it says that something was there
    withheld = open_package(data).table("sample").set_index("sample_id")
    assert "Collected by" not in "".join(withheld.get("information_withheld", []))
    said = "".join(path.read_text("utf-8", "replace") for path in data.rglob("*") if path.is_file())
    assert "Farrowgill" not in said
    assert not re.search(r"\bZF\b", said)
    (withdrawn,) = json.loads((data / "bundle.json").read_text("utf-8"))["withdraws"]
    assert withdrawn["reason"] == "[withheld] asked us to take a name out"
    for name in ("README.txt", "WITHHELD.txt"):
        text = " ".join((data / name).read_text("utf-8").split())
        assert withdrawn["manifestSha256"] in text, name
        assert "asked us to take a name out" in text, name
    # all others are who they were
    before = codes_of(unpack_bundle(tmp_path / "1.zip", tmp_path / "1"))
    assert {**codes, "ZF": "ZF"} == before
    # the next edition says it too, and asks for nothing
    run(*asked[:-1], tmp_path / "3")
    third = json.loads((tmp_path / "3" / "data" / "bundle.json").read_text("utf-8"))
    assert third["withdraws"] == [withdrawn]

    told = run("verify", tmp_path / "1.zip", "--against", tmp_path / "2")
    assert (told.exit_code, "WITHDRAWN" in told.output) == (1, True)
    told = run("verify", tmp_path / "2", "--against", tmp_path / "1.zip", "--format", "json")
    assert (told.exit_code, json.loads(told.output)["withdrawn"]) == (0, False)
    pack_bundle(open_package(package.folder), tmp_path / "full")
    assert verify_derivation(tmp_path / "2", tmp_path / "full").compared


def test_who_is_named_after_being_a_stand_in_is_told_and_never_one_again(tmp_path: Path) -> None:
    package = a_record(tmp_path)
    was = codes_of(public_of(package, tmp_path / "1"))["OWN"]
    for agreed in ("true", "false"):
        cells = {"may_be_named": agreed}
        decide(open_package(package.folder), correct("party", "OWN", cells), who="IV")
        if agreed == "true":
            told = remember(open_package(package.folder))
            assert told.told == (was,)
    with pytest.raises(UnusableInput, match="party_id OWN"):
        remember(open_package(package.folder))
    none = Withdrawing({}, "")
    assert codes_of(public_of(package, tmp_path / "2", none))["OWN"] == ""
    # consent that came and went between two editions is withdrawn as well: it may have been shown
    decide(open_package(package.folder), correct("party", "MB", {"may_be_named": "1"}), who="IV")
    decide(open_package(package.folder), correct("party", "MB", {"may_be_named": "0"}), who="IV")
    with pytest.raises(UnusableInput, match="party_id MB"):
        remember(open_package(package.folder))


def test_a_new_code_makes_nobody_another_person(tmp_path: Path) -> None:
    """By hand: Zoë Farrowgill under another code, and taken out and entered again."""
    package = a_record(tmp_path)
    remember(package)
    for kind in ("person", "organisation"):
        for table, column in (("sample", "collected_by"), ("plug", "placed_by"),
                              ("party", "party_id")):  # fmt: skip
            frame = open_package(package.folder).table(table)
            frame[column] = frame[column].replace({"ZF": "ZZ7", "ZZ7": "ZZ8"})
            if table == "party":
                last = frame["party_id"].isin(["ZZ7", "ZZ8"])
                frame.loc[last, ["may_be_named", "kind", "roles"]] = ["false", kind, "volunteer"]
            package.write_table(table, frame)
        with pytest.raises(UnusableInput, match="party_id ZZ"):
            remember(open_package(package.folder))
    public = public_of(package, tmp_path / "1", Withdrawing({}, ""))
    assert codes_of(public)["ZF"] == ""


def test_what_was_shown_once_is_not_taken_back_with_the_act(tmp_path: Path) -> None:
    package = a_record(tmp_path)
    shown = codes_of(public_of(package, tmp_path / "1"))
    decide(open_package(package.folder), undo("last"), who="IV")
    assert not len(open_package(package.folder).table(TABLE))
    laboratory = correct("party", "LAB", {"may_be_named": "false"})
    decide(open_package(package.folder), laboratory, who="IV")
    with pytest.raises(UnusableInput, match="party_id LAB"):
        remember(open_package(package.folder))
    assert codes_of(public_of(package, tmp_path / "2", Withdrawing({}, ""))) == shown


def test_two_copies_each_draw_their_own_and_the_older_is_shown_after_a_merge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = a_record(tmp_path)
    decide(one, correct("party", "MB", {"notes": "begun"}), who="IV")
    other = open_package(shutil.copytree(one.folder, tmp_path / "other"))
    clock = "provenance._bundle.redaction.remembering.moment_text"
    shown = {}
    for package, moment in ((one, "2031-06-02T00:00:00Z"), (other, "2031-06-01T00:00:00Z")):
        monkeypatch.setattr(clock, lambda moment=moment: moment)
        shown[moment[:10]] = codes_of(public_of(package, tmp_path / moment[:10]))
    assert shown["2031-06-01"]["MB"] != shown["2031-06-02"]["MB"]
    merge_packages(open_package(one.folder), open_package(other.folder), who="IV")
    assert codes_of(public_of(one, tmp_path / "merged")) == shown["2031-06-01"]
    rows = open_package(one.folder).table(TABLE)
    assert len(rows[rows["row_key"] == "MB"]) == 2


def test_what_somebody_wrote_for_a_stand_in_is_shown_for_nobody_or_for_one(tmp_path: Path) -> None:
    package = a_record(tmp_path)
    shown = codes_of(public_of(package, tmp_path / "1"))
    rows = open_package(package.folder).table(TABLE).set_index("row_key", drop=False)
    for key, name in (("MB", "MARA"), ("OWN", shown[TRACE])):
        rows.loc[key, "name"] = name
    package.write_table(TABLE, rows)
    again = codes_of(public_of(package, tmp_path / "2"))
    # acts know what stood for her before
    assert again["MB"] == shown["MB"]
    both = {again["OWN"], again[TRACE]}
    assert len(both - {shown["MB"]}) == 2
    assert all(map(STAND_IN.fullmatch, both))


def test_a_package_of_an_older_version_packs_and_says_what_it_lacks(tmp_path: Path) -> None:
    package = a_record(tmp_path)
    for name in FULL_ONLY:
        (package.folder / "schemas" / f"{name}.json").unlink()
        package.table_path(name).unlink()
    resources = [one for one in package.descriptor["resources"] if one["name"] not in FULL_ONLY]
    package.with_descriptor({"resources": resources})
    before = {path: path.read_bytes() for path in package.folder.rglob("*.csv")}
    told = run("pack", package.folder, "--edition", "public", "--out", tmp_path / "1")
    assert "new PACKAGE --update" in told.stderr
    assert {path: path.read_bytes() for path in before} == before
    run("pack", package.folder, "--edition", "public", "--out", tmp_path / "2")
    first, second = (codes_of(open_package(tmp_path / n / "data")) for n in ("1", "2"))
    assert STAND_IN.fullmatch(first["MB"])
    assert first["MB"] != second["MB"]
    pack_bundle(open_package(package.folder), tmp_path / "full")
    derivation = verify_derivation(tmp_path / "1", tmp_path / "full")
    assert (derivation.proved, derivation.compared) == (True, False)
    refused = run("pack", package.folder, "--edition", "public", "--out", tmp_path / "3",
                  "--withdraws", "none")  # fmt: skip
    assert "--update" in str(refused.exception)
    assert run("new", package.folder, "--update").exit_code == 0
    assert remember(open_package(package.folder)).written


def test_what_is_no_edition_of_this_record_cannot_be_withdrawn(tmp_path: Path) -> None:
    package = a_record(tmp_path / "mine")
    remember(package)
    other = a_record(tmp_path / "others")
    pack(other, tmp_path / "stranger", edition=PUBLIC)
    pack_bundle(other, tmp_path / "full")
    package = open_package(package.folder)
    for editions, reason, match in (
        ([str(tmp_path / "stranger")], "asked", "a different record"),
        ([str(tmp_path / "full")], "asked", "not a public edition"),
        ([str(tmp_path / "nowhere.zip")], "asked", "nowhere.zip"),
        (["0" * 64], " ", "--because"),
        (["none", "0" * 64], "asked", "'none'"),
    ):
        with pytest.raises(UnusableInput, match=match):
            withdrawing_of(package, editions, reason)
    assert withdrawing_of(package, ["0" * 64], "asked\n to") == Withdrawing(
        {"0" * 64: ""}, "asked to"
    )
    refused = run("pack", package.folder, "--withdraws", "none")
    assert (refused.exit_code, "--edition public" in refused.output) == (2, True)

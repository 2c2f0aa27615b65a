"""A repository takes bundles in: whole ones with a number, damaged ones not at all."""

from __future__ import annotations

import contextlib
import hashlib
import json
import shutil
import zipfile
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import bagit
import pandas as pd
import pypdfium2
import pytest
import zxingcpp
from click.testing import CliRunner, Result
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from pypdf import PdfReader

from provenance._accession import received
from provenance._accession.accession import (
    Accessioned,
    ContradictsKept,
    accession,
)
from provenance._accession.before import COLUMNS
from provenance._accession.damage import DamagedBundle
from provenance._accession.taking_in import AlreadyAccessioned
from provenance._base import durable
from provenance._base.errors import AlreadyThere, TreenailError, UnusableInput
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.verify import verify_bundle
from provenance._catalogue.build import update_catalogue
from provenance._catalogue.query import Wanted, find_in_catalogue
from provenance._cli import treenail
from provenance._drawing.paper import paper_named
from provenance._history.deciding import correct, decide
from provenance._ledger.anchors import anchor_in_text
from provenance._ledger.custody import append_events, sealed, verify_chain
from provenance._ledger.ed25519 import Signer
from provenance._ledger.holdings import holdings_frame
from provenance._ledger.seals import FILLED_IN
from provenance._record import together
from provenance._record.package import open_package
from provenance._store.acts import first_fault
from provenance._store.numbers import UnusableNumber
from provenance._store.store import Store
from tests.builders import PackageBuilder, pack_bundle, unpack_bundle
from tests.bundle.test_hostile import sealed_anew
from tests.bundle.test_pack import bytes_of
from tests.forked import forking

pytestmark = pytest.mark.usefixtures("judged_once")

PATTERN = "{year}.{serial:04}"
DEPOSITOR = "Mara Birkwood (invented)"


def take_in(bundle: Path, store: Path, **options: Any) -> Accessioned:
    options = {"pattern": "" if (store / "repository.yaml").exists() else PATTERN} | options
    return accession(
        bundle,
        store,
        **{
            "depositor": DEPOSITOR,
            "on": date(2026, 3, 1),
            "recorded_on": "2026-03-01T10:00:00Z",
            "paper": paper_named("a4"),
        }
        | options,
    )


def run(*arguments: object) -> Result:
    return CliRunner().invoke(treenail, [str(one) for one in arguments])


def tagmanifest_sum(bundle: Path) -> str:
    """The checksum as `sha256sum tagmanifest-sha256.txt` gives it."""
    if bundle.is_dir():
        return hashlib.sha256((bundle / "tagmanifest-sha256.txt").read_bytes()).hexdigest()
    with zipfile.ZipFile(bundle) as archive:
        (name,) = [n for n in archive.namelist() if n.endswith("/tagmanifest-sha256.txt")]
        return hashlib.sha256(archive.read(name)).hexdigest()


def everything_in(store: Path) -> dict[str, str]:
    found = bytes_of(store) if store.exists() else {}
    found.pop(".lock", None)
    return found


# -- what is kept --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["bundle", "bundle.zip"])
def test_a_whole_bundle_is_kept_with_its_number_and_nothing_else_changes(
    shelf: Path, tmp_path: Path, name: str
) -> None:
    before = bytes_of(shelf)
    done = take_in(shelf / name, tmp_path / "store")
    assert bytes_of(shelf) == before
    assert done.entry.number == "2026.0001"
    assert verify_bundle(done.kept).sound
    kept, came = tmp_path / "kept", tmp_path / "came"
    for source, target in ((done.kept, kept), (shelf / name, came)):
        if source.is_dir():
            shutil.copytree(source, target / "bag")
        else:
            shutil.unpack_archive(source, target)
    (kept_bag,), (came_bag,) = kept.iterdir(), came.iterdir()
    assert kept_bag.name == came_bag.name
    # the independent library reads the number, and the payload is the one that came in
    bag = bagit.Bag(str(kept_bag))
    bag.validate()
    assert bag.info["Accession-Number"] == "2026.0001"
    assert bytes_of(kept_bag / "data") == bytes_of(came_bag / "data")
    assert done.received is None


def test_the_register_has_what_is_needed_to_know_the_bundle_again(
    shelf: Path, tmp_path: Path
) -> None:
    done = take_in(shelf / "bundle.zip", tmp_path / "store")
    (line,) = Store(tmp_path / "store").accessions
    assert line == done.entry
    assert line.received == tagmanifest_sum(shelf / "bundle.zip")
    assert line.bag == tagmanifest_sum(done.kept)
    assert (line.number, line.happened_on, line.bundle, line.edition, line.depositor) == (
        "2026.0001",
        "2026-03-01",
        "holl",
        "full",
        DEPOSITOR,
    )
    assert (tmp_path / "store" / line.kept_at, tmp_path / "store" / line.receipt) == (
        done.kept,
        done.receipt,
    )


def test_the_catalogue_finds_the_bundle_by_its_number(shelf: Path, tmp_path: Path) -> None:
    take_in(shelf / "bundle.zip", tmp_path / "store")
    take_in(shelf / "later.zip", tmp_path / "store")
    index = tmp_path / "catalogue.sqlite"
    update_catalogue(tmp_path / "store", index)
    found = find_in_catalogue(index, "bundles", Wanted(every=True)).to_dicts()
    assert sorted(row["accession"] for row in found) == ["2026.0001", "2026.0002"]


def test_unpacking_the_kept_bundle_and_packing_it_again_gives_its_bytes_with_the_number(
    shelf: Path, tmp_path: Path
) -> None:
    done = take_in(shelf / "bundle", tmp_path / "store")
    package = unpack_bundle(done.kept, tmp_path / "again")
    assert bytes_of(pack_bundle(package, tmp_path / "b")) == bytes_of(done.kept)
    append_events(package, package.table("custody").tail(1).iloc[:, 1:5].assign(event="mounted"))
    later = pack_bundle(package, tmp_path / "later")
    facts = json.loads((later / "data" / "bundle.json").read_text("utf-8"))
    assert facts["revisionOf"][0]["accession"] == "2026.0001"
    assert "Accession-Number" not in (later / "bag-info.txt").read_text("utf-8")
    assert "accession 2026.0001" in " ".join((later / "data" / "README.txt").read_text().split())


def test_a_bundle_with_another_repositorys_number_keeps_it_as_the_former_one(
    shelf: Path, tmp_path: Path
) -> None:
    first = take_in(shelf / "bundle", tmp_path / "first", pattern="OLD-{serial}")
    done = take_in(first.kept, tmp_path / "second")
    info = (done.kept / "bag-info.txt").read_text("utf-8")
    assert "Accession-Number: 2026.0001\n" in info
    assert "Former-Accession-Number: OLD-1\n" in info
    assert verify_bundle(done.kept).sound


def test_a_later_bundle_of_the_same_record_is_told_to_go_on_from_the_earlier_one(
    shelf: Path, tmp_path: Path
) -> None:
    first = take_in(shelf / "bundle.zip", tmp_path / "store")
    package = unpack_bundle(first.kept, tmp_path / "again")
    PackageBuilder(package).with_row("element", element_id="B1-016")
    later = pack_bundle(package, tmp_path / "later.zip", zipped=True)
    done = take_in(later, tmp_path / "store")
    assert done.goes_on_from == first.entry
    assert "accession 2026.0001" in PdfReader(done.receipt).pages[0].extract_text()
    # from the bundle as it came in, too, of which the depositor kept a copy
    theirs = unpack_bundle(shelf / "bundle.zip", tmp_path / "theirs")
    PackageBuilder(theirs).with_row("element", element_id="B1-017")
    done = take_in(pack_bundle(theirs, tmp_path / "theirs.zip", zipped=True), tmp_path / "store")
    assert done.goes_on_from == first.entry


# -- numbers -------------------------------------------------------------------------------------


def test_the_pattern_is_written_down_once_and_then_used(shelf: Path, tmp_path: Path) -> None:
    done = take_in(shelf / "bundle.zip", tmp_path / "store", pattern="HR {year}/{serial}")
    assert done.settings is not None
    assert done.entry.number == "HR 2026/1"
    assert done.entry.kept_at == "HR-2026-1/bundle.zip"
    later = take_in(
        shelf / "later.zip",
        tmp_path / "store",
        on=date(2027, 1, 1),
        recorded_on="2027-01-01T10:00:00Z",
    )
    assert (later.entry.number, later.settings) == ("HR 2027/1", None)


def test_without_a_pattern_there_is_no_number(shelf: Path, tmp_path: Path) -> None:
    with pytest.raises(UnusableNumber, match="--pattern"):
        take_in(shelf / "bundle.zip", tmp_path / "store", pattern="")
    assert everything_in(tmp_path / "store") == {}


def test_a_number_of_ones_own_keeps_to_pattern_and_order(shelf: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    assert take_in(shelf / "bundle.zip", store, number="2026.0040").entry.number == "2026.0040"
    for number, why in (
        ("2026.0040", "given out on 2026-03-01"),
        ("2026.0039", "lies before 2026.0040"),
        ("2026-41", "does not follow"),
        ("../../etc", "cannot be an accession number"),
    ):
        with pytest.raises(UnusableNumber, match=why):
            take_in(shelf / "later.zip", store, number=number)
    assert take_in(shelf / "later.zip", store).entry.number == "2026.0041"


def test_a_register_that_lost_its_last_line_does_not_give_the_number_again(
    shelf: Path, tmp_path: Path
) -> None:
    store = tmp_path / "store"
    take_in(shelf / "bundle.zip", store, pattern="{year}/{serial}")
    register = store / "register.csv"
    register.write_text(register.read_text("utf-8").splitlines(True)[0], encoding="utf-8")
    assert take_in(shelf / "later.zip", store).entry.number == "2026/2"


def test_a_number_whose_folder_is_there_is_not_used(shelf: Path, tmp_path: Path) -> None:
    (tmp_path / "store" / "GIFT").mkdir(parents=True)
    with pytest.raises(AlreadyThere, match="GIFT"):
        take_in(shelf / "bundle.zip", tmp_path / "store", number="GIFT", pattern="")


def test_the_same_files_with_other_pages_made_of_them_are_told(
    bundle: Path, shelf: Path, tmp_path: Path
) -> None:
    take_in(shelf / "bundle.zip", tmp_path / "store")
    (bundle / "data" / "README.txt").write_text("as another version writes it", encoding="utf-8")
    sealed_anew(bundle)
    done = take_in(bundle, tmp_path / "store")
    assert done.notes[0].startswith("the record's own files are those of 2026.0001;")


@pytest.mark.parametrize("shown", ["bundle", "bundle.zip", "kept"])
def test_the_same_bundle_twice_is_told(shelf: Path, tmp_path: Path, shown: str) -> None:
    """As folder or zip, as it came in or as it is kept."""
    done = take_in(shelf / "bundle.zip", tmp_path / "store")
    before = everything_in(tmp_path / "store")
    again = done.kept if shown == "kept" else shelf / shown
    with pytest.raises(AlreadyAccessioned, match=r"accessioned as 2026\.0001 on 2026-03") as told:
        take_in(again, tmp_path / "store")
    assert told.value.exit_code == 1
    assert everything_in(tmp_path / "store") == before


def test_a_register_that_is_not_whole_gives_out_no_number(shelf: Path, tmp_path: Path) -> None:
    line = "7,2026-01-01,a,b,full,d,aa,bb,k,d,r\n"
    for place, (text, why) in enumerate(
        (
            ("number;day\n1;2\n", "has a register.csv but no store.json"),
            ("", "has a register.csv but no store.json"),
            ("HEAD2026.0001,2026-01-01\n", "line 2: it has 2 cells"),
            (f"HEAD{line[1:]}", "line 2, column 'number': the cell is blank"),
            (f"HEAD{line}{line}", "line 3, column 'number': 7 is there twice"),
        )
    ):
        store = tmp_path / str(place)
        store.mkdir()
        text = text.replace("HEAD", ",".join(COLUMNS) + "\n")
        (store / "register.csv").write_text(text, encoding="utf-8")
        with pytest.raises(UnusableInput, match=why):
            take_in(shelf / "bundle.zip", store)
        assert list(everything_in(store)) == ["register.csv"]
        assert (store / "register.csv").read_text("utf-8") == text


def test_what_stands_in_the_register_stays_byte_for_byte(shelf: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    take_in(shelf / "bundle.zip", store, depositor="Å. =1+1 \n B")
    before = (store / "register.csv").read_bytes()
    take_in(shelf / "later.zip", store)
    assert (store / "register.csv").read_bytes().startswith(before)
    assert len(Store(store).accessions) == 2


def test_settings_that_break_their_schema_are_named(shelf: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    store.mkdir()
    (store / "repository.yaml").write_text("name: X\nnumbers: 1\n", encoding="utf-8")
    with pytest.raises(UnusableInput, match=r"repository\.yaml does not follow"):
        take_in(shelf / "bundle.zip", store)


# -- custody -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["bundle", "bundle.zip"])
def test_samples_that_came_along_are_with_the_repository_from_then_on(
    shelf: Path, tmp_path: Path, name: str
) -> None:
    done = take_in(shelf / name, tmp_path / "store", samples="all", place="Room 2, box 3")
    assert done.deposited == ("231", "232")
    assert verify_bundle(done.kept).sound
    package = unpack_bundle(done.kept, tmp_path / "kept")
    assert verify_chain(package) == []
    held = holdings_frame(package).set_index("sample_id")
    assert held["holder"].to_dict() == {"231": "REPO", "232": "REPO"}
    assert set(held["place_held"]) == {"Room 2, box 3"}
    ledger = package.table("custody")
    assert ledger["event"].tail(2).tolist() == ["deposited", "deposited"]
    assert ledger["notes"].tail(2).tolist() == ["accession 2026.0001"] * 2
    # the one that came in lies beside it untouched, and the kept one names it
    assert done.received is not None
    came = shelf / name
    if came.is_dir():
        assert bytes_of(done.received) == bytes_of(came)
    else:
        assert done.received.read_bytes() == came.read_bytes()
    run("unpack", done.kept, "--out", tmp_path / "facts")
    origin = json.loads((tmp_path / "facts" / ".origin.json").read_text("utf-8"))
    assert origin["earlier"][0]["tagmanifestSha256"] == tagmanifest_sum(came)
    assert origin["bundle"]["accession"] == "2026.0001"


def test_samples_of_an_older_record_come_along_too(tmp_path: Path) -> None:
    """Its ledger lacks the columns that loans have since."""
    from tests.accession.conftest import a_sound_package

    package = a_sound_package(tmp_path)
    path = package.folder / "schemas" / "custody.json"
    schema = json.loads(path.read_text("utf-8"))
    later = ("loan_due_on", "reference")
    schema["fields"] = [one for one in schema["fields"] if one["name"] not in later]
    path.write_text(json.dumps(schema), encoding="utf-8")
    events = package.table("custody").drop(columns=list(later))
    older = open_package(package.folder)
    older.write_table("custody", events)
    done = take_in(pack_bundle(older, tmp_path / "b"), tmp_path / "store", samples="231")
    assert done.deposited == ("231",)


def test_samples_on_their_way_are_received_and_those_that_are_there_stay(tmp_path: Path) -> None:
    from provenance._ledger.handover import record_events
    from tests.accession.conftest import a_sound_package

    package = a_sound_package(tmp_path)
    record_events(
        package,
        "handed_over",
        ["231"],
        happened_on="2026-02-01",
        recorded_on="2026-02-01T10:00:00Z",
        to_party_id="REPO",
    )
    done = take_in(pack_bundle(package, tmp_path / "b"), tmp_path / "store", samples="231")
    kept = unpack_bundle(done.kept, tmp_path / "kept")
    assert kept.table("custody")["event"].iloc[-1] == "received"
    again = pack_bundle(kept, tmp_path / "again")
    with pytest.raises(AlreadyAccessioned):
        take_in(again, tmp_path / "store", samples="231")
    with pytest.raises(TreenailError, match="with REPO already"):
        take_in(again, tmp_path / "elsewhere", samples="231")
    assert everything_in(tmp_path / "elsewhere") == {}


def test_a_public_edition_is_of_the_record_of_the_full_one(tmp_path: Path) -> None:
    """By the first act, which stands in both; no sample comes with it, and no check is claimed."""
    from tests.accession.conftest import a_sound_package

    package = a_sound_package(tmp_path)
    decide(package, correct("site", "HOLL", {"name": "Hollin Reach, again (invented)"}), who="IV")
    package = open_package(package.folder)
    store = tmp_path / "store"
    edition = pack_bundle(package, tmp_path / "public", edition=PUBLIC)
    with pytest.raises(UnusableInput, match="not have the entire ledger"):
        take_in(edition, store, samples="231")
    public = take_in(edition, store)
    assert (public.entry.edition, public.to_mend) == ("public", ())
    assert verify_bundle(public.kept).sound
    text = text_of_receipt(public)
    assert "rules of the record were not checked" in text
    assert "no error in the record" not in text
    full = take_in(pack_bundle(package, tmp_path / "full"), store)
    assert public.entry.record_id == full.entry.record_id
    assert (public.entry.reason, full.entry.reason) == ("public edition", "first")
    assert public.entry.heads == public.entry.received_heads == full.entry.follows == ""


def test_samples_cannot_come_to_a_repository_that_the_record_does_not_know(
    shelf: Path, tmp_path: Path
) -> None:
    store = tmp_path / "store"
    store.mkdir()
    settings = f'name: X\nnumber_pattern: "{PATTERN}"\nparty_id: STRANGER\n'
    (store / "repository.yaml").write_text(settings, encoding="utf-8")
    with pytest.raises(UnusableInput, match="'party' has no STRANGER"):
        take_in(shelf / "bundle.zip", store, samples="all")
    (store / "repository.yaml").write_text(settings.replace("STRANGER", '""'), encoding="utf-8")
    # else the ledger would say that another institution has them than the receipt
    with pytest.raises(UnusableInput, match=r"name 'X', but the keeper .* is REPO \('Store"):
        take_in(shelf / "bundle.zip", store, samples="all")
    assert list(everything_in(store)) == ["repository.yaml"]


def test_days_that_cannot_be_are_refused_and_others_need_a_reason(
    shelf: Path, tmp_path: Path
) -> None:
    """The first event of the record is of 2024-06-04, the last of 2024-06-21."""
    store, late = tmp_path / "store", {"reason": "found in the post book"}
    for day, samples, said in (
        (date(2026, 3, 3), "", "is still to come"),
        (date(2024, 6, 3), "", "is before the record began"),
        (date(2024, 6, 5), "all", "is before its last event"),
    ):
        with pytest.raises(TreenailError, match=said):
            take_in(shelf / "bundle.zip", store, on=day, samples=samples)
    with pytest.raises(TreenailError, match="is still to come"):
        take_in(shelf / "bundle.zip", store, on=date(2026, 3, 3), **late)
    assert everything_in(store) == {}
    take_in(shelf / "bundle.zip", store)
    with pytest.raises(UnusableInput, match=r"before the last accession \(2026-03-01\)"):
        take_in(shelf / "later.zip", store, on=date(2026, 2, 1))
    done = take_in(shelf / "later.zip", store, on=date(2026, 2, 1), **late)
    assert done.entry.reason == "successor: found in the post book"


# -- damage --------------------------------------------------------------------------------------


def test_a_damaged_bundle_is_refused_with_every_file_and_a_letter(
    bundle: Path, tmp_path: Path
) -> None:
    for name in ("plug", "sample"):
        (bundle / "data" / "tables" / f"{name}.csv").write_text("changed", encoding="utf-8")
    (bundle / "data" / "codebook.html").unlink()
    expected = (bundle / "manifest-sha256.txt").read_text("utf-8")
    with pytest.raises(DamagedBundle) as refused:
        take_in(bundle, tmp_path / "store")
    assert not (tmp_path / "store").exists()
    paths = ("data/tables/plug.csv", "data/tables/sample.csv", "data/codebook.html")
    for path in paths:
        assert path in str(refused.value)
        assert path in refused.value.letter
        (line,) = [one for one in expected.splitlines() if one.endswith(f"  {path}")]
        assert line in refused.value.letter
    for said in (DEPOSITOR, "sha256sum -c manifest-sha256.txt", "tagmanifest-sha256.txt"):
        assert said in refused.value.letter
    assert max(len(line) for line in refused.value.letter.splitlines()) <= 110


def test_a_hostile_or_cut_off_zip_is_refused(shelf: Path, tmp_path: Path) -> None:
    cut = tmp_path / "cut.zip"
    cut.write_bytes((shelf / "bundle.zip").read_bytes()[:-2000])
    with pytest.raises(TreenailError):
        take_in(cut, tmp_path / "store")
    hostile = tmp_path / "hostile.zip"
    with zipfile.ZipFile(hostile, "w") as archive:
        archive.writestr("bag/../../outside.txt", "x")
    with pytest.raises(DamagedBundle, match="outside"):
        take_in(hostile, tmp_path / "store")
    assert not (tmp_path / "store").exists()
    assert not (tmp_path.parent / "outside.txt").exists()


def test_the_command_prints_the_letter_and_ends_with_2(bundle: Path, tmp_path: Path) -> None:
    (bundle / "data" / "tables" / "plug.csv").write_text("changed", encoding="utf-8")
    found = run(
        "accession", bundle, "--store", tmp_path / "s", "--depositor", DEPOSITOR,
        "--pattern", PATTERN,
    )  # fmt: skip
    assert "Please send the entire bundle once more" in found.stdout
    assert isinstance(found.exception, DamagedBundle)
    assert found.exception.exit_code == 2


def test_a_record_with_faults_is_taken_in_and_the_depositor_is_told(
    bundle: Path, tmp_path: Path
) -> None:
    path = bundle / "data" / "tables" / "sample.csv"
    path.write_text(path.read_text("utf-8").replace("B1-014", "B9-999"), encoding="utf-8")
    sealed_anew(bundle)
    found = run(
        "accession", bundle, "--store", tmp_path / "s", "--depositor", DEPOSITOR,
        "--pattern", PATTERN, "--on", "2026-03-01",
    )  # fmt: skip
    assert found.exit_code == 1
    assert "accessioned as 2026.0001" in found.stdout
    assert "B9-999" in found.stderr


# -- whole or not at all -------------------------------------------------------------------------


class Killed(BaseException):
    """The end of the program; nothing that it would tidy up is tidied up."""


class Dying:
    """A module whose calls that change the disk stop working for good after a count of them."""

    def __init__(self, module: Any, names: set[str], life: list[int]) -> None:
        self._module, self._names, self._life = module, names, life

    def __getattr__(self, name: str) -> Any:
        real = getattr(self._module, name)
        if name not in self._names:
            return real

        def counted(*arguments: Any, **options: Any) -> Any:
            self._life[0] -= 1
            if self._life[0] < 0:
                raise Killed
            return real(*arguments, **options)

        return counted


@pytest.mark.heavy
@pytest.mark.usefixtures("real_disk")
def test_killed_at_any_step_there_is_a_whole_accession_or_none(
    shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # what the check says of the record is not in question here, and takes its time
    monkeypatch.setattr(received, "_faults", lambda *_: ((), 0))
    states = []
    # every third call: what comes between two of them is undone or finished in the same way
    for calls in range(0, 100, 3):
        store = tmp_path / f"store-{calls}"
        life = [calls]
        with monkeypatch.context() as dying:
            steps = Dying(durable, {"put_in_place", "sync_file", "sync_folder"}, life)
            for name in ("put_in_place", "sync_file", "sync_folder"):
                dying.setattr(together, name, getattr(steps, name))
            dying.setattr(together, "shutil", Dying(shutil, {"rmtree"}, life))
            with contextlib.suppress(Killed):
                take_in(shelf / "bundle.zip", store)
        try:
            entry = take_in(shelf / "bundle.zip", store).entry
            states.append("none")
        except AlreadyAccessioned as told:
            entry = told.entry
            states.append("whole")
        assert entry.number == "2026.0001"
        assert Store(store).accessions == (entry,)
        assert first_fault(Store(store).acts) == ""
        assert (store / "2026.0001" / "card.csv").exists()
        assert verify_bundle(store / entry.kept_at, fast=True).sound
        assert (store / entry.receipt).read_bytes().startswith(b"%PDF")
        assert sorted(one.name for one in store.iterdir()) == [
            ".lock",
            "2026.0001",
            "ledger",
            "register.csv",
            "repository.yaml",
            "store.json",
        ]
        if life[0] >= 0:
            break
    assert life[0] >= 0
    # all before the one moment are undone, all after it are finished
    assert states == ["none"] * states.count("none") + ["whole"] * states.count("whole")
    assert states.count("none") > 3
    assert states.count("whole") > 3


def number_given(bundle: Path, store: Path) -> str:
    return take_in(bundle, store, pattern=PATTERN).entry.number


def test_two_curators_at_once_get_two_numbers(shelf: Path, tmp_path: Path) -> None:
    bundles = [shelf / "bundle.zip", shelf / "later.zip"]
    with ProcessPoolExecutor(2, mp_context=forking()) as curators:
        numbers = list(curators.map(number_given, bundles, [tmp_path / "store"] * 2))
    assert sorted(numbers) == ["2026.0001", "2026.0002"]
    kept = Store(tmp_path / "store").accessions
    assert [one.number for one in kept] == ["2026.0001", "2026.0002"]


# -- the ledger against what is kept -------------------------------------------------------------


@cache
def with_events(shelf: Path, *, rewrite: bool = False, source: str = "bundle.zip") -> Path:
    """A bundle of the shelf with one event more, or with its ledger rewritten whole.

    Never to be changed; it is made for the first who asks.
    """
    folder = shelf.parent / f"{'rewritten' if rewrite else 'longer'}-{source}"
    package = unpack_bundle(shelf / source, folder / "package")
    rows = [dict(row) for row in package.tables.rows("custody")]
    if rewrite:
        blank = [row | dict.fromkeys(FILLED_IN, "") for row in rows]
        blank[0]["notes"] = "rewritten"
        package.write_table("custody", pd.DataFrame(sealed(blank), dtype=str))
    else:
        more = pd.DataFrame([{"event": "stored", "happened_on": "2025-01-07", "sample_id": "231"}])
        append_events(package, more)
    return pack_bundle(package, folder / "next.zip", zipped=True)


def text_of_receipt(done: Accessioned) -> str:
    return " ".join(" ".join(p.extract_text() for p in PdfReader(done.receipt).pages).split())


def test_a_ledger_that_goes_on_from_the_kept_one_is_said_to(shelf: Path, tmp_path: Path) -> None:
    """Receipt and register bear the end of the ledger, by which it is known again."""
    store = tmp_path / "store"
    first = take_in(shelf / "bundle.zip", store)
    assert "nothing kept here to compare it with" in text_of_receipt(first)
    second = take_in(with_events(shelf), store)
    assert (second.judged.word, second.judged.known, second.entry.events) == ("successor", 4, "5")
    assert second.entry.follows == first.entry.act_id
    text = text_of_receipt(second)
    assert "the first 4 of its events match what was kept here before" in text
    anchor = anchor_in_text(text, "the receipt")
    assert anchor is not None
    assert (anchor.head, anchor.count) == (second.entry.heads[:32], 5)
    assert verify_bundle(second.kept, anchors=[anchor]).word == "sound"
    (page,) = pypdfium2.PdfDocument(second.receipt)
    (read,) = zxingcpp.read_barcodes(page.render(scale=200 / 72).to_pil())
    scanned = anchor_in_text(read.text, "the receipt")
    assert scanned == anchor
    # each bundle of the store is held against the lines up to its own
    for done in (first, second):
        shown = run("verify", done.kept, "--anchor", store, "--format", "json")
        assert json.loads(shown.stdout)["verdict"] == "sound", shown.output


def test_a_rewritten_ledger_is_refused_and_nothing_written(shelf: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    take_in(shelf / "bundle.zip", store)
    before = everything_in(store)
    forged = with_events(shelf, rewrite=True)
    with pytest.raises(
        ContradictsKept, match=r"(?s)ancestry\.\n.*event 1 .* of 2026\.0001"
    ) as refused:
        take_in(forged, store)
    assert refused.value.exit_code == 2
    assert everything_in(store) == before
    letter = " ".join(refused.value.letter.split())
    assert f"To {DEPOSITOR}: next.zip contradicts its own record" in letter
    kept = anchor_in_text(letter, "the letter")
    assert kept is not None
    assert verify_bundle(shelf / "bundle.zip", anchors=[kept]).word == "sound"
    with pytest.raises(UnusableInput, match="needs a --reason"):
        take_in(forged, store, even_if_rewritten=True)
    done = take_in(forged, store, even_if_rewritten=True, reason="the only copy left")
    assert "NOT the ledger that was kept here before" in text_of_receipt(done)
    assert done.entry.reason == "at odds with its own ancestry: the only copy left"
    # what was kept before is kept on, and so is what came
    assert len(Store(store).ledger(done.entry.record_id)) == 4 + 4 + 1


def old_register_of(store: Path) -> str:
    """The register of a store as the first version with accessions would have written it."""
    lines = [tuple(COLUMNS)[:11]]
    for act in Store(store).accessions:
        lines.append(tuple(getattr(act, name) for name in COLUMNS.values())[:11])
    return "".join(",".join(line) + "\n" for line in lines)


def test_a_store_of_an_older_version_is_taken_over_at_the_next_accession(
    shelf: Path, tmp_path: Path
) -> None:
    """Cards, ledgers and ends come from the kept bundles; the old register stays beside."""
    store = tmp_path / "store"
    first = take_in(shelf / "bundle.zip", store, samples="231")
    take_in(with_events(shelf), store)
    old = old_register_of(store)
    made = Store(store).accessions
    (store / "register.csv").write_text(old, encoding="utf-8")
    (store / "store.json").unlink()
    shutil.rmtree(store / "ledger")
    for card in store.glob("*/card.csv"):
        card.unlink()
    (store / made[1].kept_at).unlink()
    done = take_in(with_events(shelf, source="later.zip"), store)
    assert (store / "register-before.csv").read_text("utf-8") == old
    assert first_fault(Store(store).acts) == ""
    one, two, three = Store(store).accessions
    same = ("record_id", "bag", "payload", "members", "heads", "events", "received_heads")
    assert [getattr(one, name) for name in same] == [getattr(first.entry, name) for name in same]
    assert (two.number, two.bag, two.heads) == ("2026.0002", made[1].bag, "")
    assert "taken over without its bundle" in two.reason
    assert (done.taken_over, three.number) == (2, "2026.0003")
    assert three.record_id == one.record_id


def test_the_depositors_own_copy_may_go_on_after_samples_came_along(
    shelf: Path, tmp_path: Path
) -> None:
    """The events of taking the samples in are in the kept ledger alone: nothing was rewritten."""
    store = tmp_path / "store"
    kept = take_in(shelf / "bundle.zip", store, samples="231")
    assert (kept.entry.events, kept.entry.received_events) == ("5", "4")
    with pytest.raises(ContradictsKept):
        take_in(with_events(shelf, rewrite=True), store)
    done = take_in(with_events(shelf), store)
    assert done.judged.word == "successor"
    whole = Store(store).ledger(done.entry.record_id)
    assert [one["event"] for one in whole[4:]] == ["stored", "deposited", "joined"]


@pytest.mark.parametrize("name", ["bundle", "bundle.zip"])
def test_what_is_kept_is_signed_by_the_repository_beside_whoever_signed_before(
    shelf: Path, tmp_path: Path, name: str
) -> None:
    repository, depositor = (
        Signer(Ed25519PrivateKey.from_private_bytes(bytes([n] * 32))) for n in (1, 2)
    )
    package = unpack_bundle(shelf / name, tmp_path / "package")
    signed = pack_bundle(package, tmp_path / name, zipped=name.endswith("zip"), keys=[depositor])
    for bundle, signers in ((shelf / name, [repository]), (signed, [repository, depositor])):
        done = take_in(bundle, tmp_path / bundle.parent.name, keys=[repository])
        for key in signers:
            verdict = verify_bundle(done.kept, pins={key.key_id: "someone"})
            assert not verdict.findings
            assert verdict.ledger is not None
            assert "signed by someone" in verdict.ledger.said[0]

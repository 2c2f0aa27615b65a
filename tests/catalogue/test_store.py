"""What the catalogue says of a store: current records, holders, places, loans; by its register."""

from __future__ import annotations

import csv
import io
import json
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import UnusableInput
from provenance._catalogue.build import index_place, update_catalogue
from provenance._catalogue.current import Lies, roles_of
from provenance._catalogue.plugs import gather_plugs, index_plugs, stored_plugs
from provenance._catalogue.query import Wanted, ask_sql, find_in_catalogue
from provenance._cli.cataloguing import catalogue
from provenance._ledger.custody import sealed
from provenance._store.standing import disputed_in
from provenance._store.store import Store, ledger_columns
from tests.catalogue.store_model import WHEN, SmallBundle, a_store, accession, events_sealed

RECORD = "ab" * 12


def collected(*samples: str) -> list[dict[str, str]]:
    return [
        {"event": "collected", "happened_on": "2029-06-01", "sample_id": one, "to_party_id": "CREW"}
        for one in samples
    ]


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """Record HOLL: an older edition, the current one, a public one; box B7, a loan; BARN apart."""
    a_store(tmp_path / "store")
    wood = {"201": "E1", "203": "E2"}
    ledger = events_sealed(collected("201", "203"))
    first = SmallBundle("HOLL", wood, ledger, note="first")
    second = SmallBundle("HOLL", wood | {"204": "E2"}, ledger, note="second")
    barn = SmallBundle("BARN", {"203": "E9"}, events_sealed(collected("203"))[:1], note="barn")
    public = SmallBundle("HOLL", wood, (), "public", "public")
    with Store(tmp_path / "store").writing(**WHEN) as writing:
        was = accession(writing, "2030.1", RECORD, first)
        writing.put_ledger(RECORD, ledger)
        accession(writing, "2030.2", RECORD, second, follows=was)
        accession(writing, "2030.3", RECORD, public)
        accession(writing, "2030.4", "cd" * 12, barn)
        writing.put_ledger("cd" * 12, barn.ledger)
        day = {"happened_on": "2030-05-04"}
        taken = day | {"event": "deposited", "to_party_id": "R", "place_held": "B7"}
        lent = {"event": "loaned", "to_party_id": "LAB", "reference": "L.1"}
        events = [
            taken | {"sample_id": "201"},
            taken | {"sample_id": "203"},
            day | lent | {"sample_id": "203", "loan_due_on": "2030-09-01"},
        ]
        writing.add_events(RECORD, events)
    return Store(tmp_path / "store")


def asked(store: Store, *words: str, code: int = 0) -> list[dict[str, str]]:
    """The rows of an answer of the command."""
    run = CliRunner().invoke(catalogue, [str(store.folder), *words, "--format", "csv"])
    assert run.exit_code == code, run.output
    return list(csv.DictReader(io.StringIO(run.stdout)))


def answers(index: Path) -> dict[str, Any]:
    """All that the catalogue says, but for when it looked."""
    found: dict[str, Any] = {}
    for kind in ("samples", "holdings", "loans", "sites", "bundles"):
        for every in (False, True):
            rows = find_in_catalogue(index, kind, Wanted(every=every)).to_dicts()
            told = [
                [(k, str(v)) for k, v in r.items() if k not in ("read_at", "why")] for r in rows
            ]
            found[f"{kind} {every}"] = sorted(told)
    return found


def made_anew(store: Store) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as folder:
        update_catalogue(store.folder, Path(folder) / "anew.sqlite")
        return answers(Path(folder) / "anew.sqlite")


def test_a_curator_asks_where_a_sample_is_and_what_is_in_a_box_and_what_is_overdue(store) -> None:
    where = asked(store, "--sample", "203")
    assert [(one["site_id"], one["holder"], one["loan"], one["due_on"]) for one in where] == [
        ("BARN", "CREW", "", ""),
        ("HOLL", "LAB", "L.1", "2030-09-01"),
    ]
    for place in ("B7", "b7", "MAIN", "R1"):
        (held,) = asked(store, "--place", place)
        assert (held["sample_id"], held["holder_name"]) == ("201", "Reed Store (invented)")
        assert held["within"] == "MAIN / R1 / B7"
    assert asked(store, "--place", "R2") == []
    assert [one["lender"] for one in asked(store, "--of", "loans")] == ["R"]
    assert [one["loan"] for one in asked(store, "--overdue", "2030-09-02")] == ["L.1"]
    assert asked(store, "--overdue", "2030-09-01") == []
    assert asked(store, "--overdue", "--site", "BARN") == []  # to this day, when none is said
    with pytest.raises(UnusableInput, match="no place 'B77'"):
        find_in_catalogue(index_place(store.folder), "holdings", Wanted(place="B77"))
    run = CliRunner().invoke(catalogue, [str(store.folder), "--overdue", "soon"])
    assert (run.exit_code, "is not a day" in run.output) == (2, True)


def test_each_record_counts_once_whatever_lies_in_the_store(store) -> None:
    index = index_place(store.folder)
    run = CliRunner().invoke(catalogue, [str(store.folder), "--of", "samples", "--format", "json"])
    said = [(one["accession"], one["sample_id"]) for one in json.loads(run.stdout)]
    assert said == [("2030.2", "201"), ("2030.2", "203"), ("2030.2", "204"), ("2030.4", "203")]
    assert "not counted: 1 older edition, 1 public edition" in run.stderr
    counts = "SELECT (SELECT count(*) FROM current_sample) AS one, (SELECT count(*) FROM holding), "
    counts += "(SELECT count(*) FROM every_sample), (SELECT count(*) FROM current_site), "
    counts += "(SELECT count(*) FROM current_plug)"
    assert ask_sql(index, counts).row(0) == (4, 4, 8, 2, 4)
    assert {one["accession"] for one in asked(store, "--edition", "public")} == {"2030.3"}
    roles = dict(
        ask_sql(index, "SELECT accession, role FROM bundle WHERE record <> ''").iter_rows()
    )
    assert roles == {
        "2030.1": "older", "2030.2": "current", "2030.3": "public", "2030.4": "current",
    }  # fmt: skip
    # the copies as they came in are known, so that the audit can tell of them, and not read
    received = ask_sql(index, "SELECT bundle_id FROM bundle WHERE role = 'unregistered'")
    assert len(received) == 4
    inside = "SELECT count(*) FROM sample JOIN bundle USING (bundle_id) WHERE role = 'unregistered'"
    assert ask_sql(index, inside).row(0) == (0,)
    # and so for locate, with and without an index: no plug comes twice
    index_plugs(store.folder, index)
    # (these small bundles are no whole records, which an answer says and is given all the same)
    for plugs in (stored_plugs(index), gather_plugs(store.folder, even_if_damaged=True)):
        assert sorted(one.stamp for one in plugs) == ["201", "203", "203", "204"]


def test_a_lost_bundle_is_known_by_its_card_and_the_edition_before_it(store) -> None:
    index = index_place(store.folder)
    update_catalogue(store.folder, index)
    before = asked(store, "--of", "holdings")
    kept = store.folder / "2030.2" / "bundle.zip"
    kept.rename(store.folder.parent / "away.zip")
    lost = asked(store, "--of", "holdings", code=1)
    assert [{**one, "state": "there"} for one in lost] == before
    species = {one["sample_id"]: one["species"] for one in asked(store, "--site", "HOLL")}
    # what was new in it is known by its number and timber alone
    assert species == {"201": "PISY", "203": "PISY", "204": ""}
    timbers = {one["sample_id"]: one["element_id"] for one in asked(store, "--site", "HOLL")}
    assert timbers == {"201": "E1", "203": "E2", "204": "E2"}
    assert answers(index) == made_anew(store)
    # a bundle of another record in its place answers nothing
    shutil.copyfile(store.folder / "2030.4" / "bundle.zip", kept)
    update = update_catalogue(store.folder, index)
    assert "is not the bundle that was accessioned" in update.unreadable[str(kept)]
    assert answers(index) == made_anew(store)
    (store.folder.parent / "away.zip").rename(kept)
    assert asked(store, "--of", "holdings") == before
    assert answers(index) == made_anew(store)


def test_a_store_that_was_moved_is_not_read_again_and_says_the_same(store, monkeypatch) -> None:
    index = index_place(store.folder)
    update_catalogue(store.folder, index)
    where = asked(store, "--sample", "203")
    elsewhere = store.folder.parent / "elsewhere" / "store"
    elsewhere.parent.mkdir()
    store.folder.rename(elsewhere)
    with monkeypatch.context() as patched:
        patched.setattr(
            "provenance._catalogue.build.read_entry", lambda path, symbols: pytest.fail("read")
        )
        update = update_catalogue(elsewhere, index_place(elsewhere))
    assert (update.vanished, update.unreadable) == ((), {})
    moved = asked(Store(elsewhere), "--sample", "203")
    assert [one["path"].replace("elsewhere/", "") for one in moved] == [o["path"] for o in where]
    other = a_store(elsewhere.parent / "other")
    with pytest.raises(UnusableInput, match="of a store, and this is not that store"):
        update_catalogue(other.folder, index_place(elsewhere))


def test_only_the_record_whose_ledger_has_changed_is_settled_again(store, monkeypatch) -> None:
    from provenance._catalogue import of_store

    index = index_place(store.folder)
    update_catalogue(store.folder, index)
    with Store(store.folder).writing(**WHEN) as writing:
        back = {"event": "taken_back", "happened_on": "2030-06-01", "sample_id": "203"}
        writing.add_events(RECORD, [back | {"place_held": "B8"}])
    settled = []
    original = of_store.holdings_in
    monkeypatch.setattr(
        of_store, "holdings_in", lambda ledger: settled.append(len(ledger)) or original(ledger)
    )
    assert [one["place"] for one in asked(store, "--sample", "203", "--site", "HOLL")] == ["B8"]
    assert settled == [6]
    asked(store, "--of", "loans")
    assert settled == [6]


def test_bags_of_others_are_listed_each_by_itself_and_not_read(store) -> None:
    other = SmallBundle("X", {"1": "E"})
    with Store(store.folder).writing(**WHEN) as writing:
        for number in ("2030.5", "2030.6"):
            accession(writing, number, "", other, edition="")
    index = index_place(store.folder)
    assert update_catalogue(store.folder, index).unreadable == {}
    frame = find_in_catalogue(index, "bundles").to_dicts()
    said = {one["accession"]: (one["role"], one["samples"]) for one in frame}
    assert said == {
        "2030.2": ("current", 3), "2030.4": ("current", 1),
        "2030.5": ("current", 0), "2030.6": ("current", 0),
    }  # fmt: skip


def test_a_ledger_that_cannot_be_read_is_named_and_stops_nothing_else(store) -> None:
    (store.folder / "ledger" / f"{RECORD}.csv").write_text("what,is,this\n1,2,3\n")
    run = CliRunner().invoke(catalogue, [str(store.folder), "--sample", "203", "--format", "json"])
    assert run.exit_code == 1
    assert "is not a custody ledger; restore it from a copy" in run.stderr
    assert len(json.loads(run.stdout)) == 2


def test_a_sample_that_two_copies_of_a_ledger_moved_is_in_dispute_until_one_event_settles_it() -> (
    None
):
    blank = dict.fromkeys(ledger_columns(), "")
    moved = [blank | {"event": "stored", "happened_on": "2030-01-02", "sample_id": "1"}] * 2
    first = sealed([blank | one for one in collected("1", "2")])
    here = sealed([*first, moved[0] | {"place_held": "B7"}])[-1]
    there = sealed([*first, moved[1] | {"place_held": "B8"}])[-1]
    other = sealed([*first, moved[1] | {"sample_id": "2"}])[-1]
    ends = {"previous_sha256": here["event_sha256"], "also_previous_sha256": there["event_sha256"]}
    joined = blank | {"event": "joined", "custody_id": "9", "event_sha256": "j"} | ends
    assert not disputed_in([*first, here])
    assert disputed_in([*first, here, there | {"custody_id": "8"}, joined]) == {
        "1": [here["custody_id"], "8"]
    }
    assert not disputed_in([*first, here, other | {"custody_id": "8"}])
    for said in (
        {"event": "sub_sampled", "place_held": ""},
        {"event": "requested", "place_held": ""},
        {"event": "seen", "place_held": "B7"},
        {"place_held": "B7", "notes": "put there in the other copy too"},
    ):
        there = sealed([*first, moved[1] | said])[-1]
        assert not disputed_in([*first, here, there | {"custody_id": "8"}]), said
    after = blank | moved[0] | {"custody_id": "10", "event_sha256": "k", "previous_sha256": "j"}
    assert not disputed_in([*first, here, there | {"custody_id": "8"}, joined, after])


# -- against a model -----------------------------------------------------------------------------

SITES = ("HOLL", "BARN")
STEPS = st.lists(
    st.tuples(
        st.sampled_from(
            ["edition", "edition", "branch", "older", "public", "withdraw", "lose", "back",
             "store", "store", "lend", "lend", "return", "cut", "look"]
        ),
        st.integers(0, 1),
        st.integers(0, 5),
        st.sampled_from(["B7", "B8", "R1", "MAIN", "a shelf"]),
    ),
    min_size=3,
    max_size=10,
)  # fmt: skip


class Model:
    """What a person with pencil and paper would know of the store."""

    def __init__(self, folder: Path) -> None:
        self.store = a_store(folder)
        self.serial = 0
        # number → [record, samples, edition, numbers that it goes on from, came in as older]
        self.bundles: dict[str, tuple[int, dict[str, str], str, list[str], bool]] = {}
        self.acts: dict[str, str] = {}
        self.withdrawn: set[str] = set()
        self.where: list[dict[str, dict[str, str]]] = [{}, {}]
        self.away: dict[str, bytes] = {}

    @contextmanager
    def writing(self) -> Iterator[Any]:
        with Store(self.store.folder).writing(**WHEN) as writing:
            yield writing

    def take_in(self, record: int, samples: dict[str, str], edition: str, follows: list[str],
                older: bool = False) -> None:  # fmt: skip
        self.serial += 1
        number = f"2030.{self.serial}"
        new = [one for one in samples if one not in self.where[record]] if edition == "full" else []
        with self.writing() as writing:
            ledger = Store(self.store.folder).ledger(str(record))
            if new:
                ledger = writing.add_events(str(record), collected(*new))
            bundle = SmallBundle(SITES[record], samples, ledger, edition, number)
            said = {"follows": " ".join(self.acts[one] for one in follows)}
            said |= {"reason": "older"} if older else {}
            self.acts[number] = accession(writing, number, str(record), bundle, **said)
        self.bundles[number] = (record, samples, edition, follows, older)
        for one in new:
            self.where[record][one] = {"holder": "CREW", "place": "", "due": "", "lender": ""}

    def tips(self, record: int) -> list[str]:
        full = [
            number
            for number, (of, _, edition, _, _) in self.bundles.items()
            if of == record and edition == "full" and number not in self.withdrawn
        ]
        named = {one for number in full for one in self.bundles[number][3]}
        ends = [one for one in full if one not in named]
        return [one for one in ends if not self.bundles[one][4]] or ends[-1:]

    def counted(self, record: int) -> list[str]:
        public = [
            number
            for number, (of, _, edition, _, _) in self.bundles.items()
            if of == record and edition == "public" and number not in self.withdrawn
        ]
        return self.tips(record) or public[-1:]

    def expected(self) -> set[tuple[str, ...]]:
        found = set()
        for record, where in enumerate(self.where):
            if counted := self.counted(record):
                known = dict.fromkeys([*(s for n in counted for s in self.bundles[n][1]), *where])
                nowhere = {"holder": "", "place": "", "due": "", "lender": ""}
                found |= {
                    (
                        SITES[record],
                        one,
                        *map(where.get(one, nowhere).get, ("holder", "place", "due")),
                    )
                    for one in known
                }
        return found

    def do(self, what: str, record: int, pick: int, place: str) -> None:
        mine = [number for number, one in self.bundles.items() if one[0] == record]
        tips, where = self.tips(record), self.where[record]
        if what == "edition" or not mine:
            samples = {}
            for tip in tips:
                samples |= self.bundles[tip][1]
            # what the ledger has goes on to be known, though the record may have lost it
            kept = dict(list(samples.items())[pick == 0 :])
            self.take_in(record, kept | {str(200 + self.serial): f"E{pick}"}, "full", tips)
        elif what == "branch":
            of = mine[pick % len(mine)]
            self.take_in(record, {**self.bundles[of][1], str(300 + pick): "E1"}, "full", [of])
        elif what == "older":
            self.take_in(record, self.bundles[mine[0]][1], "full", [], older=True)
        elif what == "public":
            self.take_in(record, self.bundles[mine[-1]][1], "public", [])
        elif what == "withdraw":
            number = mine[pick % len(mine)]
            if number not in self.withdrawn:
                with self.writing() as writing:
                    writing.add("withdrawn", number=number, record_id=str(record), reason="sent")
                self.withdrawn.add(number)
        elif what in ("lose", "back"):
            number = mine[pick % len(mine)]
            kept = self.store.folder / number / "bundle.zip"
            if what == "lose" and number not in self.away:
                self.away[number] = kept.read_bytes()
                kept.unlink()
            elif what == "back" and number in self.away:
                kept.write_bytes(self.away.pop(number))
        elif where:
            self.move(what, record, list(where)[pick % len(where)], place)

    def move(self, what: str, record: int, sample: str, place: str) -> None:
        now = self.where[record][sample]
        event = {"happened_on": "2030-05-04", "sample_id": sample}
        if what == "lend" and not now["lender"]:
            due = f"2030-{6 + len(place)}-01"[:10]
            event |= {"event": "loaned", "to_party_id": "LAB", "loan_due_on": due}
            new = {"holder": "LAB", "place": "", "due": due, "lender": now["holder"]}
        elif what == "return" and now["lender"]:
            event |= {"event": "taken_back", "place_held": place}
            new = {"holder": now["lender"], "place": place, "due": "", "lender": ""}
        elif what == "store" and not now["lender"]:
            event |= {"event": "stored", "place_held": place}
            new = now | {"place": place}
        elif what == "cut":
            sample = f"{sample}-p"
            event |= {"event": "found_in_collection", "to_party_id": "R", "place_held": place}
            event |= {"sample_id": sample}
            new = {"holder": "R", "place": place, "due": "", "lender": ""}
        else:
            return
        with self.writing() as writing:
            writing.add_events(str(record), [event])
        self.where[record][sample] = new


INSIDE = {"MAIN": {"MAIN", "R1", "R2", "B7", "B8"}, "R1": {"R1", "B7", "B8"}, "B7": {"B7"}}


@settings(max_examples=20)
@given(STEPS)
def test_every_answer_is_that_of_the_model_whatever_happened_to_the_store(steps) -> None:
    with tempfile.TemporaryDirectory() as folder:
        model = Model(Path(folder) / "store")
        index = index_place(model.store.folder)
        for what, record, pick, place in steps:
            model.do(what, record, pick, place)
            if what == "look":
                update_catalogue(model.store.folder, index)
        update_catalogue(model.store.folder, index)
        expected = model.expected()
        columns = ["site_id", "sample_id", "holder", "place", "due_on"]
        held = find_in_catalogue(index, "holdings").to_dicts()
        assert sorted(tuple(one[name] or "" for name in columns) for one in held) == sorted(
            expected
        )
        current = ask_sql(index, "SELECT site_id, sample_id FROM current_sample")
        assert sorted(current.iter_rows()) == sorted(one[:2] for one in expected)
        for place, inside in INSIDE.items():
            there = [one for one in expected if one[3] in inside]
            if there:
                found = find_in_catalogue(index, "holdings", Wanted(place=place))
                assert sorted(found["sample_id"]) == sorted(one[1] for one in there), place
        counted = [one for record in (0, 1) for one in model.counted(record)]
        bundles = find_in_catalogue(index, "bundles").to_dicts()
        assert sorted(one["accession"] for one in bundles) == sorted(counted)
        late = [one[1] for one in expected if one[4] and one[4] < "2030-11-01"]
        found = find_in_catalogue(index, "loans", Wanted(overdue="2030-11-01"))
        assert sorted(found["sample_id"]) == sorted(late)
        assert answers(index) == made_anew(model.store)


# -- where no register says what goes on from what -----------------------------------------------


def lies(path: str, acts: str = "", **said: Any) -> Lies:
    known = b"".join(sorted(one.encode() * 8 for one in acts))
    facts = {"identity": path, "edition": "full", "bag": path, "marks": acts[:1], "follows": ""}
    return Lies(path, acts=known, **(facts | said))


@pytest.mark.parametrize(
    ("bundles", "expected"),
    [
        ([lies("1", "a"), lies("2", "ab")], {"1": "older", "2": "current"}),
        ([lies("2", "a"), lies("1", "ab")], {"2": "older", "1": "current"}),
        ([lies("1"), lies("2", follows="1")], {"1": "older", "2": "current"}),
        ([lies("1"), lies("2", follows="1 0")], {"1": "older", "2": "current"}),
        ([lies("1", "ab"), lies("2", "ac")], {"1": "branch", "2": "branch"}),
        ([lies("1", "ab"), lies("2", "cd")], {"1": "current", "2": "current"}),
        ([lies("1", "a"), lies("2", "a", identity="1")], {"1": "current", "2": "copy"}),
        ([lies("1", "a"), lies("2", "a", edition="public")], {"1": "current", "2": "public"}),
        ([lies("1", "a"), lies("2", "ab", is_package=True)], {"1": "current", "2": "working"}),
        ([lies("1", "a"), lies("2", "ab", is_there=False)], {"1": "current", "2": "current"}),
        ([lies("1", "a", is_there=False), lies("2", "ab")], {"1": "older", "2": "current"}),
    ],
)  # fmt: skip
def test_without_a_register_lineage_says_what_is_current(bundles, expected) -> None:
    roles = roles_of(bundles)
    assert {path: one.role for path, one in roles.items()} == expected
    # one that is not there counts for nothing, though locate looks for its plugs
    counted = {path for path, one in roles.items() if one.is_current}
    there = {one.path for one in bundles if one.is_there}
    assert counted == {p for p in there if expected[p] in ("current", "branch")}
    alone = roles_of([lies("2", "a", edition="public")])
    assert alone["2"].is_current


def test_two_seasons_packed_from_one_package_count_once(tmp_path) -> None:
    """By content: neither names the other, and the later one comes first by its name."""
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    ledger = events_sealed(collected("201", "203"))
    first = SmallBundle("HOLL", {"201": "E1"}, ledger[:1])
    second = SmallBundle("HOLL", {"201": "E1", "203": "E2"}, ledger)
    for name, bundle in {"b": first, "c": first, "a": second}.items():
        (shelf / f"{name}.zip").write_bytes(bundle.zipped)
    index = tmp_path / "index.sqlite"
    update_catalogue(shelf, index)
    roles = ask_sql(index, "SELECT role, is_current FROM bundle ORDER BY path")
    assert list(roles.iter_rows()) == [("current", 1), ("older", 0), ("copy", 0)]
    held = find_in_catalogue(index, "holdings")
    assert list(held["holder"]) == ["CREW", "CREW"]
    # and when the later one is away, the earlier one is what is known
    (shelf / "a.zip").unlink()
    update_catalogue(shelf, index)
    assert list(find_in_catalogue(index, "samples")["sample_id"]) == ["201"]
    assert sorted(one.stamp for one in stored_plugs(index)) == ["201", "201", "203"]

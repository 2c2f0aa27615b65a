"""A stocktake by scanner, against a plain model of what lies where."""

from collections import Counter
from datetime import date

from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._cli import treenail
from provenance._collection.scans import keep_scans, kept_scans, scans_path
from provenance._collection.stocktake import Expected, Stocktake, compare_scans
from provenance._identity.payload import compose_code
from provenance._identity.place_code import END, compose_place
from provenance._ledger.custody import verify_events
from provenance._store.entering import enter_rows
from tests.collection.conftest import OWN, event, take_in

PLACES = ("B7", "B8", "B9")


def compared(expected: list[Expected], lines: list[str], tmp_path) -> Stocktake:
    path = scans_path(tmp_path, "2027-spring")
    path.unlink(missing_ok=True)
    list(keep_scans(path, lines))
    return compare_scans(
        lambda: expected,
        lambda number: [one[1] for one in expected if one[2] == number],
        {one: one for one in PLACES},
        kept_scans(path),
    )


def test_every_kind_of_difference_is_told_apart(tmp_path):
    expected = [
        ("a", "HOLL", "201", "B7", ""),
        ("a", "HOLL", "202", "B7", ""),
        ("a", "HOLL", "203", "B8", ""),
        ("a", "HOLL", "204", "B7", "on loan to MBD"),
        ("a", "HOLL", "205", "B9", ""),
        ("a", "HOLL", "206", "B8", ""),
        ("b", "FENN", "201", "B8", ""),
    ]
    scans = [
        compose_code("HOLL", "206"),
        compose_place("B7"),
        compose_code("HOLL", "201"),
        "treenail 1 HOLL-203 Z",
        compose_code("HOLL", "203"),
        compose_code("HOLL", "204"),
        "999",
        "201",
        compose_place("B8"),
        "treenail 1 HOLL-206 3",
        "TREENAIL .STORE:B99-XX",
        compose_place("B77"),
        compose_code("HOLL", "205"),
    ]
    taken = compared(expected, scans, tmp_path)
    seen = {(one.outcome, one.sample_id or one.text[:24]) for one in taken.rest}
    assert seen == {
        ("no_place", "HOLL-206"),
        ("misplaced", "203"),
        ("against_record", "204"),
        ("unknown", "999"),
        ("several", "201"),
        ("missing", "202"),
        ("missing", "201"),
        ("missing", "206"),
        ("unread", '"HOLL-203-Z" does not fi'),
        ("unread", '"HOLL-206-3" does not fi'),
        ("unread", '"TREENAIL .STORE:B99-XX"'),
        ("unknown_place", "TREENAIL .STORE:B77-FK"),
        ("no_place", "HOLL-205"),
    }
    assert taken.counts["right"] == 1
    assert taken.closed == ["B7", "B8"]


_NUMBERS = st.integers(1, 8)
_WALK = st.lists(st.one_of(st.sampled_from([*PLACES, END]), _NUMBERS), max_size=30)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from([*PLACES, "lent"]), min_size=8, max_size=8), _WALK)
def test_what_is_counted_is_what_a_person_would_count(tmp_path_factory, where, walk):
    expected = [
        ("a", "HOLL", str(n), place if place in PLACES else "", "" if place in PLACES else "lent")
        for n, place in enumerate(where, start=1)
    ]
    lines = [compose_code("HOLL", str(x)) if isinstance(x, int) else compose_place(x) for x in walk]
    taken = compared(expected, lines, tmp_path_factory.mktemp("scans"))
    opened, closed, seen, nowhere = "", set(), {}, 0
    for one in walk:
        if isinstance(one, int):
            if opened:
                seen.setdefault(one, set()).add(opened)
            else:
                nowhere += 1
            continue
        closed |= {opened} - {""}
        opened = one if one in PLACES else ""
    wanted: Counter[str] = Counter({"no_place": nowhere} if nowhere else {})
    for number, place in enumerate(where, start=1):
        if len(seen.get(number, ())) > 1:
            wanted["twice"] += 1
        elif number in seen:
            right = {place} == seen[number]
            wanted["against_record" if place == "lent" else "right" if right else "misplaced"] += 1
        elif place != "lent":
            wanted["missing" if place in closed else "not_looked_at"] += 1
    assert dict(taken.counts) == dict(wanted)
    assert taken.still_open == opened


def told(*words: object) -> tuple[int, str]:
    done = CliRunner().invoke(treenail, [str(one) for one in words])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.stdout


def test_a_stocktake_from_the_scanner_to_the_ledger(store, csv_file, tmp_path):
    take_in(
        store,
        "2026.0001",
        "2026-04-02",
        "a" * 24,
        "HOLL",
        [
            event("deposited", "2026-04-02", "201", to_party_id=OWN, place_held="B7"),
            event("deposited", "2026-04-02", "202", to_party_id=OWN, place_held="B7"),
            event("deposited", "2026-04-02", "203", to_party_id=OWN, place_held="B8"),
            event("deposited", "2026-04-02", "204", to_party_id=OWN, place_held="B7"),
            event("loaned", "2026-05-02", "204", to_party_id="MBD", loan_due_on="2026-09-01"),
        ],
    )
    rows = "place_id,within,kind\nR1,,room\nB7,R1,box\nB8,R1,box\n"
    day = {"on": date(2026, 4, 3), "recorded_on": "2026-04-03T09:00:00Z"}
    enter_rows(store, "place", csv_file(rows), **day)
    scans = [compose_place("B7"), *(compose_code("HOLL", n) for n in ("201", "203", "204"))]
    scans += [compose_place(END)]
    (tmp_path / "scans.txt").write_text("\n".join(scans))
    report = tmp_path / "report.pdf"
    command = ["store", "stocktake", str(store.folder), "2026-summer"]
    code, said = told(*command, "--scanned", str(tmp_path / "scans.txt"), "--out", str(report))
    assert code == 1
    assert "HOLL-202 (2026.0001); missing; recorded: R1 / B7" in said
    assert "HOLL-203 (2026.0001); in another place than recorded; seen in R1 / B7" in said
    assert "HOLL-204 (2026.0001); here, though the record says otherwise" in said
    assert "on loan to MBD until 2026-09-01" in said
    assert report.read_bytes().startswith(b"%PDF")
    before = len(store.ledger("a" * 24))
    assert told(*command, "--record", "--by", "QTS")[0] == 1
    ledger = store.ledger("a" * 24)
    assert not verify_events(ledger)
    added = [(one["event"], one["sample_id"], one["place_held"]) for one in ledger[before:]]
    assert added == [("seen", "201", "B7"), ("seen", "203", "B7")]
    assert "HOLL-203" not in told(*command)[1]

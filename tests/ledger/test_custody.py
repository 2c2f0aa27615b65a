"""The custody ledger: events are only added, each sealed to the one before."""

from __future__ import annotations

import base64
import csv
import hashlib
import json
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pandas as pd
import pytest
import rfc8785
from click.testing import CliRunner
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from provenance._base.errors import TreenailError
from provenance._cli.custody import show as custody_command
from provenance._ledger.custody import (
    BrokenLedger,
    append_events,
    last_seal,
    seal_typed,
    verify_chain,
)
from provenance._ledger.ed25519 import Signer
from provenance._ledger.keys import KeyRefused, enter_key, key_faults
from provenance._ledger.seals import BODY, FILLED_IN, KEY_ID, body_hash, event_hash
from provenance._ledger.signing import verify_signed
from provenance._record.new import update_package
from provenance._record.package import Package, open_package, write_model
from tests.builders import PackageBuilder, a_package, pack_bundle, unpack_bundle

EVENTS = pd.DataFrame(
    [
        {"event": "collected", "happened_on": "2024-06-04", "sample_id": "231"},
        {"event": "packed", "happened_on": "2024-06-15", "sample_id": "231", "notes": "box “2”"},
        {"event": "handed_over", "happened_on": "2024-06-16", "to_party_id": "LAB"},
        {"event": "received", "happened_on": "2024-06-20", "notes": 'line\r\nbreak, "quoted"'},
    ]
)


@pytest.fixture
def package(tmp_path: Path) -> Package:
    package = a_package(tmp_path).with_chain().package
    append_events(package, EVENTS)
    return package


def change(package: Package, place: int, **values: str) -> None:
    """Alter an event (counted from 1) behind the ledger's back."""
    frame = package.table("custody")
    for name, value in values.items():
        frame.loc[place + 1, name] = value
    package.write_table("custody", frame)


# -- the primitives, against the standards that define them ----------------------------------------


@pytest.mark.parametrize(
    ("message", "digest"),
    [
        # RFC 6234 section 8.5, TEST1 and TEST2_1, and TEST3 (a million times 'a'); the same
        # examples accompany FIPS 180-4
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
)
def test_sha256_is_the_one_of_the_standard(message: bytes, digest: str) -> None:
    assert hashlib.sha256(message).hexdigest() == digest


def test_canonical_json_is_the_one_of_rfc_8785_section_3_2_2() -> None:
    """The sample of RFC 8785, sections 3.2.2 (input) and 3.2.3 (result)."""
    sample = json.loads(
        r"""{
        "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
        "literals": [null, true, false]
        }"""
    )
    assert rfc8785.dumps(sample).decode() == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


def test_canonical_json_sorts_names_as_rfc_8785_section_3_2_3() -> None:
    """The sorting example of RFC 8785 section 3.2.3: order of UTF-16 code units."""
    names = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    assert list(json.loads(rfc8785.dumps(names)).values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


def by_hand(said: dict[str, str]) -> str:
    """A hash as the instructions of provenance/_ledger/seals.py say, with the standard library."""
    text = json.dumps(said, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def test_a_seal_can_be_computed_by_hand(package: Package) -> None:
    """Followed step by step as the instructions of provenance/_ledger/seals.py say."""
    key = Signer(Ed25519PrivateKey.from_private_bytes(bytes(range(32))))
    append_events(package, pd.DataFrame([{"event": "stored", "corrects_custody_id": "2"}]), key)
    with open(package.table_path("custody"), encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    before = ""
    for row in rows:
        left_out = {"custody_id", "body_sha256", "signature", "event_sha256"}
        left_out |= {"corrects_custody_id"} if row["corrects_sha256"] else set()
        body = by_hand({n: cell for n, cell in row.items() if cell and n not in left_out})
        around = {"body_sha256": body, "signature": row["signature"]}
        assert row["body_sha256"] == body
        assert row["event_sha256"] == by_hand({n: cell for n, cell in around.items() if cell})
        assert row["previous_sha256"] == before
        before = row["event_sha256"]
    assert rows[4]["corrects_sha256"] == rows[1]["event_sha256"]
    # the signature, by the reference library alone; raises where it is not the signer's
    signed = b"treenail-event-2\0" + bytes.fromhex(rows[4]["body_sha256"])
    key.private.public_key().verify(base64.b64decode(rows[4]["signature"]), signed)
    assert rows[4]["key_id"] == key.key_id


def test_a_seal_of_an_earlier_version_can_be_computed_by_hand() -> None:
    row = {
        "custody_id": "2",
        "event": "packed",
        "notes": "",
        "previous_sha256": "ab",
        "event_sha256": "anything",
        "signer_key": "anything",
        "signature": "anything",
    }
    by_hand = b'{"custody_id":"2","event":"packed","previous_sha256":"ab"}'
    assert event_hash(row) == hashlib.sha256(by_hand).hexdigest()


@given(
    st.dictionaries(
        st.sampled_from(["notes", "event", "sample_id", "place_held"]),
        st.text(st.characters(exclude_categories=["Cs"]), min_size=1),
    )
)
def test_a_seal_is_over_json_that_any_reader_reads_back(row: dict[str, str]) -> None:
    assert event_hash(row) == body_hash(row) == by_hand(row)


def test_a_blank_column_does_not_count_so_columns_may_be_added_later() -> None:
    row = {"custody_id": "1", "event": "stored"}
    for computed in (body_hash, event_hash):
        assert computed(row) == computed({**row, "humidity": ""})
        assert computed(row) != computed({**row, "humidity": "40"})


# -- adding --------------------------------------------------------------------------------------


def test_events_are_numbered_and_sealed_to_the_one_before(package: Package) -> None:
    ledger = package.table("custody")
    assert ledger["custody_id"].tolist() == ["1", "2", "3", "4"]
    assert ledger["previous_sha256"].tolist() == ["", *ledger["event_sha256"].tolist()[:-1]]
    assert verify_chain(package) == []
    assert last_seal(package) == ledger["event_sha256"].iloc[-1]


def test_events_added_in_two_goes_are_as_if_added_in_one(package: Package, tmp_path: Path) -> None:
    other = a_package(tmp_path / "other").with_chain().package
    for place in range(len(EVENTS)):
        append_events(other, EVENTS.iloc[[place]])
    assert other.table_path("custody").read_bytes() == package.table_path("custody").read_bytes()


def test_numbers_and_gaps_of_a_typed_frame_become_the_text_of_cells(package: Package) -> None:
    typed = pd.DataFrame(
        {"event": ["corrected"], "corrects_custody_id": [2], "notes": [None], "state": [pd.NA]}
    )
    append_events(package, typed)
    row = package.table("custody").iloc[-1]
    assert (row["corrects_custody_id"], row["notes"], row["state"]) == ("2", "", "")
    assert verify_chain(package) == []


def test_an_event_with_an_unknown_column_is_refused_and_nothing_is_written(
    package: Package,
) -> None:
    before = package.table_path("custody").read_bytes()
    with pytest.raises(KeyError, match="weather"):
        append_events(package, pd.DataFrame([{"event": "stored", "weather": "fine"}]))
    assert package.table_path("custody").read_bytes() == before


def test_nothing_is_added_to_a_ledger_that_does_not_fit(package: Package) -> None:
    change(package, 2, notes="never happened")
    before = package.table_path("custody").read_bytes()
    with pytest.raises(BrokenLedger, match="Event 2 does not match its own seal"):
        append_events(package, EVENTS)
    assert package.table_path("custody").read_bytes() == before


def test_events_that_were_typed_in_are_sealed_when_somebody_says_so(tmp_path: Path) -> None:
    """Only a person or an older bundle can tell them from events whose seals were taken off."""
    package = a_package(tmp_path).with_chain().with_row("custody").package
    (finding,) = verify_chain(package)
    assert (finding.severity, finding.rule) == ("error", "custody.not_sealed")
    with pytest.raises(BrokenLedger, match="--seal"):
        append_events(package, EVENTS.iloc[[3]])
    assert seal_typed(package) == 1
    assert verify_chain(package) == []
    assert seal_typed(package) == 0
    append_events(package, EVENTS.iloc[[3]])
    assert len(package.table("custody")) == 2
    change(package, 2, notes="never happened")
    with pytest.raises(BrokenLedger, match="its text was changed"):
        seal_typed(PackageBuilder(package).with_row("custody", custody_id="3").package)


def test_events_that_lost_their_seals_are_not_sealed_anew(package: Package, tmp_path: Path) -> None:
    """The bundle that a package comes from says how many had one."""
    again = unpack_bundle(pack_bundle(package, tmp_path / "bundle"), tmp_path / "again")
    bare = again.table("custody")
    bare.loc[4:, list(FILLED_IN)] = ""
    again.write_table("custody", bare)
    before = again.table_path("custody").read_bytes()
    with pytest.raises(BrokenLedger, match="had 4 sealed events, and here event 3 has no seal"):
        seal_typed(again)
    assert again.table_path("custody").read_bytes() == before


def test_a_record_of_an_earlier_version_goes_on_as_that_did(package: Package) -> None:
    """And once it is brought forward, its old events stand and new ones are sealed as now."""
    model = package.model.table("custody")
    older = tuple(one for one in model.fields if one.name not in (BODY, KEY_ID))
    tables = {name: one for name, one in package.model.tables.items() if name != "key"}
    tables["custody"] = replace(model, fields=older)
    for name in ("custody", "key"):
        (package.folder / "tables" / f"{name}.csv").unlink()
        (package.folder / "schemas" / f"{name}.json").unlink()
    old = replace(package, model=replace(package.model, tables=MappingProxyType(tables)))
    write_model(old.model, old.folder)
    old.table_path("custody").write_text(",".join(one.name for one in older) + "\n")
    old = open_package(old.folder)
    append_events(old, EVENTS)
    assert verify_chain(old) == verify_signed(old.tables) == key_faults(old.tables) == []
    assert old.tables.rows("custody")[0][BODY] == ""
    key = Signer(Ed25519PrivateKey.from_private_bytes(bytes(range(32))))
    with pytest.raises(TreenailError, match="--update"):
        append_events(old, EVENTS, key)
    with pytest.raises(KeyRefused, match="--update"):
        enter_key(old, key, "MB", since="2024-01-01")
    # a signature that was put on top then
    ledger = old.table("custody")
    ledger.loc[3, "signer_key"] = key.public_key
    ledger.loc[3, "signature"] = key.sign(bytes.fromhex(ledger.loc[3, "event_sha256"]))
    old.write_table("custody", ledger)
    assert verify_signed(old.tables) == []

    now = update_package(old, "blank")
    append_events(now, EVENTS.iloc[[3]])
    assert verify_chain(now) == []
    assert [bool(row[BODY]) for row in now.tables.rows("custody")] == [False] * 4 + [True]
    (unknown,) = verify_signed(now.tables)
    assert (unknown.rule, unknown.key) == ("custody.signer_unknown", "2")
    enter_key(now, key, "MB", since="2024-01-01")
    assert verify_signed(now.tables) == []
    ledger = now.table("custody")
    ledger.loc[3, "signature"] = key.sign(b"another event")
    now.write_table("custody", ledger)
    assert [one.rule for one in verify_signed(now.tables)] == ["custody.signature_false"]


# -- verifying -----------------------------------------------------------------------------------


def test_an_empty_ledger_is_sound(tmp_path: Path) -> None:
    package = a_package(tmp_path).package
    assert verify_chain(package) == []
    assert last_seal(package) == ""


def test_a_changed_event_is_named(package: Package) -> None:
    change(package, 3, to_party_id="MB")
    (finding,) = verify_chain(package)
    assert (finding.key, finding.row, finding.field) == ("3", 4, "event_sha256")
    assert "changed after it was sealed" in finding.message


def test_a_changed_event_that_was_sealed_anew_betrays_itself_in_the_next(package: Package) -> None:
    frame = package.table("custody")
    frame.loc[3, "notes"] = "another story"
    frame.loc[3, "body_sha256"] = body_hash(frame.loc[3].to_dict())
    frame.loc[3, "event_sha256"] = event_hash(frame.loc[3].to_dict())
    package.write_table("custody", frame)
    (finding,) = verify_chain(package)
    assert (finding.key, finding.field) == ("3", "previous_sha256")
    assert "event 2 was changed and sealed again" in finding.message


def test_a_removed_event_is_named(package: Package) -> None:
    package.write_table("custody", package.table("custody").drop(index=3))
    (finding,) = verify_chain(package)
    assert "Event number 2 is expected here, but the row says '3'" in finding.message


def test_a_removed_event_is_named_even_if_the_rest_is_numbered_anew(package: Package) -> None:
    frame = package.table("custody").drop(index=3)
    frame["custody_id"] = ["1", "2", "3"]
    package.write_table("custody", frame)
    (finding,) = verify_chain(package)
    assert finding.key == "2"


def test_exchanged_events_are_named(package: Package) -> None:
    package.write_table("custody", package.table("custody").iloc[[0, 2, 1, 3]])
    assert verify_chain(package)[0].key == "3"


def test_a_seal_blanked_in_the_middle_is_an_error_not_an_unsealed_event(package: Package) -> None:
    change(package, 2, **dict.fromkeys(FILLED_IN, ""))
    (finding,) = verify_chain(package)
    assert (finding.severity, finding.key) == ("error", "2")


def test_a_cut_off_end_shows_only_in_the_last_seal_kept_elsewhere(package: Package) -> None:
    """The one change that a chain cannot show by itself, so a bundle keeps the last seal."""
    seal = last_seal(package)
    package.write_table("custody", package.table("custody").iloc[:3])
    assert verify_chain(package) == []
    assert last_seal(package) != seal


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=st.integers(1, 4), field=st.sampled_from(["event", "notes", "sample_id", "state"]))
def test_any_altered_cell_breaks_the_chain_at_its_event(
    package: Package, place: int, field: str
) -> None:
    sound = package.table("custody")
    change(package, place, **{field: "altered"})
    assert verify_chain(package)[0].key == str(place)
    package.write_table("custody", sound)


def test_one_question_is_asked_of_the_ledger_at_a_time(tmp_path) -> None:
    """An option that is passed over would make the answer look like another one."""
    package = a_package(tmp_path).with_chain().package
    for asked in (["231", "--as-of", "2024-06-10"], ["231", "--overdue"]):
        found = CliRunner().invoke(custody_command, [str(package.folder), *asked])
        assert found.exit_code == 2
        assert "one at a time" in found.output


def test_text_of_the_record_cannot_steer_the_terminal(tmp_path) -> None:
    builder = a_package(tmp_path).with_chain()
    package = builder.with_row("custody", place_held="shelf\x1b[31m 4\nforged line").package
    found = CliRunner().invoke(custody_command, [str(package.folder), "231"])
    assert "shelf⟨U+001B⟩[31m 4 forged line" in found.output
    assert "\x1b" not in found.output

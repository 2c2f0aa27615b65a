"""Handing over and receiving: what cannot be is refused; who holds what is always known."""

from __future__ import annotations

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import TreenailError, UnreadableValue
from provenance._catalogue.entry import SAMPLE_COLUMNS, read_entry
from provenance._checks.check import check_package
from provenance._checks.second_opinion import with_second_opinion
from provenance._cli import treenail
from provenance._history.deciding import Refused as WrongDecision
from provenance._history.deciding import decide, rename
from provenance._identity.check_character import check_character, check_letters
from provenance._identity.payload import compose_code, compose_inside, inside_code, parcel_code
from provenance._identity.selection import samples_of_package
from provenance._ledger.custody import verify_chain
from provenance._ledger.handover import Refused, record_events, samples_of_parcel
from provenance._ledger.holdings import (
    Event,
    Holding,
    after,
    events_of,
    holdings_frame,
    life_of,
    overdue,
    refusal,
)
from provenance._record.package import open_package
from tests.builders import a_package


def a_field_package(tmp_path):
    """Three samples that MB has collected, and a parcel to the laboratory."""
    builder = a_package(tmp_path).with_chain()
    for number in ("232", "233"):
        builder.with_row("sample", sample_id=number)
    builder.with_row("consignment", consignment_id="C-1", sent_on="2024-06-16", due_on="2025-01-31")
    package = builder.package
    act(package, "collected", ["231", "232", "233"], "2024-06-04", to_party_id="MB")
    return package


def act(package, event, samples, day, **options):
    when = {"happened_on": day, "recorded_on": "2027-07-01"}
    return record_events(package, event, samples, **when | options)


def sent(tmp_path):
    package = a_field_package(tmp_path)
    act(package, "packed", ["231", "232"], "2024-06-15", consignment_id="C-1")
    parcel = samples_of_parcel(package, "C-1")
    act(package, "handed_over", parcel, "2024-06-16", consignment_id="C-1", to_party_id="LAB")
    return package


def holder(package, sample, **options) -> tuple[str, str]:
    frame = holdings_frame(package, **options).set_index("sample_id")
    return frame.loc[sample, "holder"], frame.loc[sample, "on_the_way_to"]


def test_a_sample_is_on_the_way_until_it_is_received(tmp_path) -> None:
    package = sent(tmp_path)
    assert holder(package, "231") == ("", "LAB")
    assert holder(package, "233") == ("MB", "")
    act(package, "received", ["231"], "2024-06-20")
    assert holder(package, "231") == ("LAB", "")


def test_what_was_found_in_the_parcel_is_kept_sample_by_sample(tmp_path) -> None:
    package = sent(tmp_path)
    act(
        package,
        "received",
        ["231", "232"],
        "2024-06-20",
        states={"231": "broken", "232": "missing"},
    )
    frame = holdings_frame(package).set_index("sample_id")
    assert frame.loc["231", "state"] == "broken"
    assert frame.loc["231", "holder"] == "LAB"
    assert frame.loc["232", "gone"] == "lost"


def test_giver_and_taker_are_filled_in_from_the_ledger(tmp_path) -> None:
    package = sent(tmp_path)
    received = act(package, "received", ["231"], "2024-06-20")[0]
    assert (received.from_party_id, received.to_party_id) == ("MB", "LAB")
    assert received.consignment_id == "C-1"


@pytest.mark.parametrize(
    ("event", "samples", "day", "options", "says"),
    [
        ("received", ["233"], "2024-06-20", {}, "was not sent: it is with MB"),
        (
            "received",
            ["231"],
            "2024-06-20",
            {"to_party_id": "OWN"},
            "on the way to LAB, not to OWN",
        ),
        ("handed_over", ["231"], "2024-06-20", {"to_party_id": "OWN"}, "is on the way to LAB"),
        ("handed_over", ["233"], "2024-06-20", {}, "who receives it"),
        (
            "handed_over",
            ["233"],
            "2024-06-20",
            {"from_party_id": "LAB", "to_party_id": "OWN"},
            "only one can hold it",
        ),
        ("received", ["231"], "2024-06-01", {}, "is before its last event"),
        ("collected", ["231"], "2024-06-20", {"to_party_id": "MB"}, "already collected"),
        ("found", ["233"], "2024-06-20", {}, "not recorded as lost"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(
    tmp_path, event, samples, day, options, says
) -> None:
    package = sent(tmp_path)
    before = package.table("custody")
    with pytest.raises(Refused, match=says):
        act(package, event, samples, day, **options)
    assert package.table("custody").equals(before)


def test_one_refused_sample_keeps_the_others_out_too(tmp_path) -> None:
    package = sent(tmp_path)
    with pytest.raises(Refused, match="sample 233 was not sent"):
        act(package, "received", ["231", "233"], "2024-06-20")
    assert holder(package, "231") == ("", "LAB")


@pytest.mark.parametrize(
    ("event", "samples", "options", "says"),
    [
        ("recieved", ["231"], {}, "did you mean 'received'"),
        ("mounted", ["999"], {}, "has no 999"),
        ("mounted", [], {}, "at least one sample"),
        ("handed_over", ["231"], {"to_party_id": "NOBODY"}, "has no NOBODY"),
        ("received", ["231"], {"states": {"232": "broken"}}, "not among the samples"),
        ("received", ["231"], {"states": {"231": "eaten"}}, "'eaten' is not one of"),
        ("mounted", ["231"], {"recorded_on": "2024-06-01"}, "2024-06-20 is still to come"),
        ("loaned", ["231"], {"to_party_id": "LAB", "loan_due_on": "soon"}, "'soon' is not a date"),
    ],
)
def test_words_that_the_package_does_not_know_are_refused(
    tmp_path, event, samples, options, says
) -> None:
    package = a_field_package(tmp_path)
    with pytest.raises(TreenailError, match=says):
        act(package, event, samples, "2024-06-20", **options)


def test_what_is_lost_can_be_found_and_nothing_else(tmp_path) -> None:
    package = a_field_package(tmp_path)
    act(package, "lost", ["233"], "2024-06-18")
    with pytest.raises(Refused, match="is lost since 2024-06-18"):
        act(package, "mounted", ["233"], "2024-06-19")
    act(package, "found", ["233"], "2024-06-20")
    assert holder(package, "233") == ("MB", "")


def test_a_correction_is_a_new_event_and_the_old_one_stays(tmp_path) -> None:
    package = sent(tmp_path)
    act(package, "received", ["231"], "2024-06-20", states={"231": "broken"})
    wrong = life_of(package, "231")[-1].custody_id
    act(
        package,
        "received",
        ["231"],
        "2024-06-19",
        to_party_id="LAB",
        states={"231": "present"},
        corrects=wrong,
    )
    life = life_of(package, "231")
    assert [one.state for one in life if one.event == "received"] == ["present"]
    assert len(package.table("custody")) == 3 + 2 + 2 + 2
    assert verify_chain(package) == []


def test_an_event_can_be_struck_out(tmp_path) -> None:
    package = sent(tmp_path)
    wrong = life_of(package, "231")[-1].custody_id
    act(package, "corrected", ["231"], "2024-06-21", corrects=wrong)
    assert holder(package, "231") == ("MB", "")


def test_who_held_what_on_a_day(tmp_path) -> None:
    package = sent(tmp_path)
    act(package, "received", ["231"], "2024-06-20")
    assert holder(package, "231", as_of="2024-06-15") == ("MB", "")
    assert holder(package, "231", as_of="2024-06-18") == ("", "LAB")
    assert holder(package, "231", as_of="2024-06-20") == ("LAB", "")


def test_a_sample_that_nobody_ever_held_is_listed_too(tmp_path) -> None:
    package = a_package(tmp_path).with_chain().package
    frame = holdings_frame(package)
    assert list(frame["sample_id"]) == ["231"]
    assert list(frame["holder"]) == [""]


def test_what_is_still_out_is_listed_with_for_how_long(tmp_path) -> None:
    package = sent(tmp_path)
    act(package, "received", ["231", "232"], "2024-06-20")
    act(package, "returned", ["232"], "2024-09-01", to_party_id="MB")
    act(package, "received", ["232"], "2024-09-03")
    late = overdue(package, today="2025-02-10")
    assert list(late["sample_id"]) == ["231"]
    assert list(late["days_over"]) == [10]
    assert list(late["days_out"]) == [239]


EVENTS = st.builds(
    Event,
    custody_id=st.just("9"),
    event=st.sampled_from(
        ["collected", "packed", "handed_over", "received", "returned", "stored", "lost", "found"]
    ),
    happened_on=st.integers(1, 28).map(lambda day: f"2024-06-{day:02}"),
    sample_id=st.just("231"),
    from_party_id=st.sampled_from(["", "A", "B"]),
    to_party_id=st.sampled_from(["", "A", "B"]),
)


@given(st.lists(EVENTS, max_size=12))
def test_whatever_is_tried_a_sample_has_at_most_one_holder_and_time_runs_forwards(tried) -> None:
    holding = Holding("231")
    for event in tried:
        if refusal(holding, event) is None:
            following = after(holding, event)
            assert following.since >= holding.since
            assert sum(map(bool, [following.holder, following.on_the_way_to, following.gone])) <= 1
            assert following.holder or following.on_the_way_to or following.gone
            holding = following


def test_an_event_of_a_whole_parcel_stands_for_its_samples(tmp_path) -> None:
    builder = a_package(tmp_path).with_chain().with_row("sample", sample_id="232")
    for number, sample in enumerate(("231", "232"), start=1):
        builder.with_row(
            "custody", custody_id=number, event="packed", sample_id=sample, consignment_id="C-1"
        )
    builder.with_row(
        "custody", custody_id=3, event="received", sample_id="232", consignment_id="C-1",
        to_party_id="LAB", state="broken",
    )  # fmt: skip
    builder.with_row(
        "custody", custody_id=4, event="received", sample_id=None, consignment_id="C-1",
        to_party_id="LAB", state="present",
    )  # fmt: skip
    events = events_of(builder.package.tables)
    received = {one.sample_id: one.state for one in events if one.event == "received"}
    assert received == {"231": "present", "232": "broken"}
    assert len(events) == 4


def test_an_event_about_nothing_holds_nothing(tmp_path) -> None:
    package = a_package(tmp_path).with_chain().with_row("custody", sample_id=None).package
    assert events_of(package.tables) == []


def test_a_day_that_cannot_be_read_is_not_answered_as_if_it_were_today(tmp_path) -> None:
    with pytest.raises(UnreadableValue, match="yesterday"):
        holdings_frame(sent(tmp_path), as_of="yesterday")


def test_the_ledger_says_when_a_parcel_left_if_its_row_does_not(tmp_path) -> None:
    package = sent(tmp_path)
    parcels = package.table("consignment").assign(sent_on="")
    package.write_table("consignment", parcels)
    late = overdue(package, today="2025-02-10")
    assert set(late["sent_on"]) == {"2024-06-16"}
    assert set(late["days_out"]) == {239}


@pytest.mark.parametrize("word", ["handed_over", "Handed over", "handed-over", "HANDED OVER"])
def test_an_event_may_be_named_as_the_forms_name_it(tmp_path, word) -> None:
    package = a_field_package(tmp_path)
    line = ["custody", "handover", str(package.folder), word, "--samples", "231", "--to", "LAB"]
    told = CliRunner().invoke(treenail, [*line, "--on", "2024-06-16"])
    assert (told.exit_code, told.output) == (0, "Handed over: 231\n")


def test_what_was_broken_or_missing_on_arrival_is_said_back(tmp_path) -> None:
    package = sent(tmp_path)
    line = ["custody", "handover", str(package.folder), "received", "--consignment", "C-1"]
    told = CliRunner().invoke(treenail, [*line, "--state", "232=broken", "--on", "2024-06-20"])
    assert told.output == "Received: 231, 232 (broken)\n"


def test_the_parcels_row_learns_when_it_left_and_arrived(tmp_path) -> None:
    package = sent(tmp_path)
    frame = package.table("consignment")
    frame["received_on"] = ""
    package.write_table("consignment", frame)
    act(package, "received", ["231", "232"], "2024-06-21", consignment_id="C-1")
    row = package.table("consignment").iloc[0]
    assert (row["sent_on"], row["received_on"]) == ("2024-06-16", "2024-06-21")


# -- labels and scanners ---------------------------------------------------------------------------


def scan(number: str, *lines: str) -> str:
    """What a scanner reads from a label, in as many lines as are given."""
    return "\n".join([f"treenail 1 HOLL-{number} {check_character(f'HOLL-{number}')}", *lines])


def test_a_scanners_lines_are_handed_over_together(tmp_path) -> None:
    """Codes of one line and of many, one behind the other, from standard input as from a file."""
    package = a_field_package(tmp_path)
    lines = (
        f"{scan('231', 'site HOLL', 'number 231', 'kind core')}{scan('232')}\r\n"
        f"HOLL–233–{check_letters('HOLL-233')}\n\n"
        f"{scan('231', 'site HOLL', 'number 231', 'kind core').replace(chr(10), ' ')}\n"
    )
    asked = ["custody", "handover", str(package.folder), "stored", "--place", "Box 4", "--scanned"]
    result = CliRunner().invoke(treenail, [*asked, "-"], input=lines.encode())
    assert result.exit_code == 0, result.output
    assert "Stored: 231, 232, 233" in result.stdout
    assert "231 was scanned 2 times, on lines 1, 7; it counts once" in result.stderr
    (tmp_path / "scans.txt").write_bytes(b"\xef\xbb\xbf" + lines.encode())
    result = CliRunner().invoke(treenail, [*asked, str(tmp_path / "scans.txt")])
    assert "Stored: 231, 232, 233" in result.stdout


def test_no_line_is_recorded_unless_all_are_good(tmp_path) -> None:
    package = a_field_package(tmp_path)
    before = package.table("custody").to_dict("records")
    asked = ["custody", "handover", str(package.folder), "stored", "--scanned", "-"]
    other = scan("232", "site HOLL", "number 233", "kind core")
    lines = f"{scan('231')}\nhello\n{other}\n233-?\n"
    told = str(CliRunner().invoke(treenail, asked, input=lines).exception)
    assert 'line 2: "hello" is not a sample of this record' in told
    assert "same number as before it" in told
    assert 'line 7: "233-?" does not fit its check character' in told
    assert "UTF-8" in str(CliRunner().invoke(treenail, asked, input=b"\xff\xfe").exception)
    assert "no line names a sample" in str(CliRunner().invoke(treenail, asked).exception)
    assert package.table("custody").to_dict("records") == before


def test_the_code_of_a_box_or_parcel_stands_for_all_samples_in_it(tmp_path) -> None:
    package = a_field_package(tmp_path)
    folder = str(package.folder)
    box = compose_inside("HOLL", inside_code("Box 12"))
    parcel = compose_inside("HOLL", parcel_code("C-1"))

    def run(event: str, *words: str, scanned: str | None = None) -> str:
        more = ["--on", "2024-06-20", *([] if scanned is None else ["--scanned", "-"])]
        line = ["custody", "handover", folder, event, *words, *more]
        result = CliRunner().invoke(treenail, line, input=scanned)
        return result.output + str(result.exception or "")

    assert "of a box, drawer or parcel with samples" in run("stored", "--samples", box)
    assert "of a box or drawer in this ledger" in run("stored", "--samples", "231", "--place", box)
    act(package, "stored", ["231"], "2024-06-05", place_held="Box 12")
    act(package, "stored", ["232"], "2024-06-05", place_held="box 12")
    # one line alone, among labels, without its word, typed small
    for scanned in (box, f"{compose_code('HOLL', '231')}\n{box}\n", box.lower().split()[1]):
        told = run("stored", scanned=scanned)
        assert "note: 2 samples in Box 12 with MB" in told
        assert "Stored: 231, 232" in told
    assert "line 1: " in run("stored", scanned=box.replace("12", "21"))
    assert "perhaps HOLL-BOX-12-TD was meant" in run("stored", scanned=box.replace("12", "21"))
    other = compose_inside("MILL", inside_code("Box 12"))
    assert "is of site MILL, and this record has HOLL" in run("stored", "--samples", other)
    # its words come from the ledger
    run("stored", "--samples", "233", "--place", box)
    assert "Stored: 231, 232, 233" in run("stored", "--samples", box)
    run("packed", "--samples", box, "--consignment", parcel)
    run("handed_over", "--samples", parcel, "--consignment", parcel, "--to=LAB")
    told = run("received", scanned=parcel)
    assert "note: 3 samples in parcel C-1" in told
    assert "231, 232, 233" in told
    assert "is the code of no parcel" in run("packed", "--consignment", box)
    # a box of that name at each of two holders is asked
    package = open_package(package.folder)
    act(package, "handed_over", ["231"], "2024-08-01", to_party_id="MB")
    act(package, "received", ["231"], "2024-08-02", to_party_id="MB", place_held="Box 12")
    act(package, "stored", ["232"], "2024-08-02", place_held="Box 12")
    assert "could be Box 12 with" in run("stored", "--samples", box)


def test_every_command_takes_what_the_label_says(tmp_path) -> None:
    """And none takes it when the check character does not fit."""
    folder = str(a_field_package(tmp_path).folder)
    full = f"HOLL-231-{check_letters('HOLL-231')}"
    right = [
        ("print labels", ["--samples", full, "--out", str(tmp_path / "l.pdf")], "1 label"),
        ("print tags", ["--samples", full.lower(), "--out", str(tmp_path / "t.pdf")], "1 tag"),
        ("print cards", ["--samples", scan("231"), "--out", str(tmp_path / "c.pdf")], "1 card"),
        ("custody show", [full[5:]], "collected"),
        ("locate", [full], "as its label says"),
        ("custody handover", ["stored", f"--samples={full}", f"--state={full}=broken"], "broken"),
        ("custody consign", ["--samples", full, "--to", "LAB", "--out", folder], "C-20"),
    ]
    for name, words, says in right:
        command = [*name.split(), folder, *words]
        result = CliRunner().invoke(treenail, command)
        assert says in result.output, result.output
        wrong = [one.replace(full, f"{full[:-1]}?").replace(full[5:], "231-J?") for one in command]
        if wrong != command:
            told = str(CliRunner().invoke(treenail, wrong).exception)
            assert "that of 231 is JV, not J?" in told, wrong
    parcel = ["custody", "handover", folder, "handed_over", "--consignment", "c–1", "--to", "LAB"]
    act(open_package(tmp_path / "holl"), "packed", ["232"], "2024-06-15", consignment_id="C-1")
    assert "232" in CliRunner().invoke(treenail, parcel).output


def test_events_and_labels_of_a_sample_that_was_renamed_are_still_its_own(tmp_path) -> None:
    package = sent(tmp_path)
    for table, old, new in (
        ("sample", "231", "301"),
        ("sample", "301", "311"),
        ("consignment", "C-1", "C-7"),
        ("party", "LAB", "WEST"),
    ):
        decide(package, rename(table, old, new), who="MB", why="label misread")
    before = package.tables.rows("custody")
    assert {row["sample_id"] for row in before} == {"231", "232", "233"}
    assert holder(package, "311") == ("", "WEST")
    assert samples_of_parcel(package, "C-7") == ["311", "232"]
    # the check knows, and so do the rules that follow a sample from hand to hand
    found = check_package(package).frame
    assert found[(found["table"] == "custody") & (found["severity"] == "error")].empty
    assert "custody.none" not in set(found["rule"])
    opinion = with_second_opinion(package, check_package(package)).second_opinion
    assert opinion is not None
    assert {(one.table, one.value in one.why) for one in opinion.library_alone} == {
        ("custody", True)
    }

    label = f"HOLL-231-{check_character('HOLL-231')}"
    run = CliRunner()
    for text in ("231", label, "301", "311"):
        shown = run.invoke(treenail, ["custody", "show", str(package.folder), text])
        assert shown.exit_code == 0, shown.output
        assert ("is called 311 now" in shown.stderr) == (text != "311")
        assert shown.stdout.count(" 311 ") == 3
    wrong = f"HOLL-231-{check_character('HOLL-301')}"
    refused = run.invoke(treenail, ["custody", "show", str(package.folder), wrong])
    assert isinstance(refused.exception, UnreadableValue)
    act(package, "received", samples_of_package(package.tables, label), "2024-06-20")
    assert holder(package, "311") == ("WEST", "")
    # no other sample gets the number that is sealed, and the sample itself gets it back
    with pytest.raises(WrongDecision, match="sealed events of the ledger still use that key"):
        decide(package, rename("sample", "233", "231"), who="MB", why="free now")
    decide(package, rename("sample", "233", "301"), who="MB", why="never sealed")
    located = run.invoke(treenail, ["locate", str(package.folder), label])
    assert "sample 311 of HOLL" in located.stdout
    columns = SAMPLE_COLUMNS.index("sample_id"), SAMPLE_COLUMNS.index("keeper_id")
    kept = {tuple(row[one] for one in columns) for row in read_entry(package.folder).samples}
    assert ("311", "WEST") in kept
    act(package, "received", ["311"], "2024-06-21", corrects=life_of(package, "311")[-1].custody_id)
    assert life_of(package, "311")[-1].happened_on == "2024-06-21"
    assert verify_chain(package) == []

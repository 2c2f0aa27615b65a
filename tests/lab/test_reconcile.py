"""What came back, against what was sent and what the field saw."""

from __future__ import annotations

import pytest

from provenance._base.errors import TreenailError
from provenance._lab.consign import consign_samples
from provenance._lab.reconcile import reconcile_results, reconciliation_html
from provenance._ledger.handover import record_events
from tests.builders import a_package


@pytest.fixture
def builder(tmp_path):
    """Samples 231 and 232 in a parcel at the laboratory; 233 stayed at home."""
    builder = a_package(tmp_path).with_chain()
    for number in ("232", "233"):
        builder.with_row("sample", sample_id=number).with_row(
            "plug", plug_id=f"P-{number}", sample_id=number, stamp=number
        )
    package = builder.package

    def act(event, samples, day, **options):
        record_events(package, event, samples, happened_on=day, recorded_on="2024-07-01", **options)

    act("collected", ["231", "232", "233"], "2024-06-04", to_party_id="MB")
    consign_samples(
        package,
        ["231", "232"],
        to_party_id="LAB",
        packed_on="2024-06-15",
        recorded_on="2024-06-15",
    )
    act("handed_over", ["231", "232"], "2024-06-16", to_party_id="LAB", consignment_id="C-2024-1")
    act("received", ["231", "232"], "2024-06-20", states={"232": "broken"})
    return builder


def with_result(builder, sample, **values):
    return builder.with_row(
        "lab_result",
        result_id=f"R-{sample}",
        sample_id=sample,
        consignment_id="C-2024-1",
        reference_chronology="Upper valley (invented)",
        **values,
    )


def line(reconciled, sample):
    return reconciled.lines.set_index("sample_id").loc[sample]


def rules(reconciled, sample):
    return {
        one.rule
        for one in reconciled.findings
        if one.key in (sample, f"R-{sample}") and one.severity != "note"
    }


def test_what_agrees_leaves_nothing_to_settle(builder) -> None:
    with_result(with_result(builder, "231"), "232")
    reconciled = reconcile_results(builder.package, "C-2024-1")
    assert line(reconciled, "231")["dates"] == "1702 p - 1781 B"
    assert line(reconciled, "232")["arrived"] == "broken"
    assert reconciled.settled


def test_a_sample_without_a_result_is_missed(builder) -> None:
    with_result(builder, "231")
    reconciled = reconcile_results(builder.package, "C-2024-1")
    assert rules(reconciled, "232") == {"reconcile.no_result"}
    assert line(reconciled, "232")["outcome"] == ""
    assert not reconciled.settled


def test_a_result_for_a_sample_that_was_not_sent_is_extra(builder) -> None:
    with_result(builder, "233")
    reconciled = reconcile_results(builder.package, "C-2024-1")
    assert "reconcile.not_sent" in rules(reconciled, "233")
    assert line(reconciled, "233")["sent"] == "no"


@pytest.mark.parametrize(
    ("values", "rule"),
    [
        ({"species": "QUSP"}, "result.genus_differs"),
        ({"outer_year": "1701", "outer_symbol": "vv"}, "result.outer_before_inner"),
        ({"ring_count": "2000", "inner_year": "-218"}, "result.more_rings_than_length"),
        ({"outer_year": "2030"}, "result.ring_after_collection"),
    ],
)
def test_what_disagrees_is_put_beside_its_sample(builder, values, rule) -> None:
    with_result(with_result(builder, "231", **values), "232")
    reconciled = reconcile_results(builder.package, "C-2024-1")
    assert rule in rules(reconciled, "231")
    assert line(reconciled, "231")["points"] >= 1


def test_a_superseded_result_is_not_reconciled(builder) -> None:
    with_result(with_result(builder, "231", species="QUSP"), "232")
    builder.with_row(
        "lab_result",
        result_id="R-231-2",
        sample_id="231",
        consignment_id="C-2024-1",
        revision=2,
        supersedes_result_id="R-231",
    )
    reconciled = reconcile_results(builder.package, "C-2024-1")
    assert line(reconciled, "231")["species"] == "PIPO"
    assert line(reconciled, "231")["points"] == 0


def test_an_unknown_parcel_is_refused(builder) -> None:
    with pytest.raises(TreenailError, match="no consignment 'C-9'"):
        reconcile_results(builder.package, "C-9")


def test_the_page_shows_hostile_text_as_text(builder) -> None:
    with_result(builder, "231", species="QUSP")
    package = builder.package
    page = reconciliation_html(
        package.model, "<script>alert(1)</script>", reconcile_results(package, "C-2024-1")
    )
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "Signed off" in page


def test_a_parcel_that_nothing_came_back_of_misses_every_sample(builder) -> None:
    reconciled = reconcile_results(builder.package, "C-2024-1")
    assert [one.key for one in reconciled.findings] == ["231", "232"]
    assert list(reconciled.lines["points"]) == [1, 1]


def test_a_result_numbered_like_a_sample_is_not_taken_for_it(builder) -> None:
    """Laboratories count their results from 1, as crews do their cores."""
    with_result(builder, "231")
    table = builder.package.table("lab_result").assign(result_id="232")
    builder.package.write_table("lab_result", table)
    reconciled = reconcile_results(builder.package, "C-2024-1")
    assert line(reconciled, "231")["points"] == 0
    assert line(reconciled, "232")["points"] == 1


def test_a_result_that_names_no_sample_is_left_to_the_check(builder) -> None:
    with_result(with_result(with_result(builder, "231"), "232"), "")
    reconciled = reconcile_results(builder.package, "C-2024-1")
    assert list(reconciled.lines["sample_id"]) == ["231", "232"]
    assert {one.rule for one in reconciled.findings if one.key == "R-"} >= {"structure.required"}

"""Tags, list and receipt say what is in the parcel, and nothing is lost between pages."""

from __future__ import annotations

from pathlib import Path

import pytest

from provenance._base.errors import TreenailError
from provenance._drawing.paper import PAPERS, Paper, paper_named
from provenance._identity.check_character import check_letters
from provenance._identity.payload import read_scan
from provenance._ledger.handover import record_events
from provenance._printing.labels.facts import SampleFacts, gather_facts
from provenance._printing.papers.consignment import print_consignment
from provenance._printing.papers.parcel import Correspondent, Parcel, ParcelItem, gather_parcel
from provenance._printing.papers.tags import print_tags, sample_tag
from provenance._record.package import Package
from tests.builders import a_package
from tests.printing.reading import decoded, ink_box_mm, page_sizes_mm, page_texts, rendered

A4 = paper_named("a4")


def a_packed_package(folder: Path, **consignment: str) -> Package:
    builder = a_package(folder).with_chain()
    for number in ("232", "233"):
        builder.with_row("sample", sample_id=number, kind="cross_section")
    builder.with_row("consignment", seal_number="INV 4417", **consignment)
    package = builder.package
    numbers = ["231", "232", "233"]
    written = {"recorded_on": "2024-06-20", "recorded_by": "MB"}
    record_events(
        package, "collected", numbers, happened_on="2024-06-05", to_party_id="MB", **written
    )
    record_events(
        package, "packed", numbers, happened_on="2024-06-15", consignment_id="C-1", **written
    )
    return package


def a_parcel(count: int, **values: str) -> Parcel:
    items = tuple(
        ParcelItem(
            SampleFacts("HOLL", str(n), "Site 7", "Core", "2024-06-04", "MB", f"B1-{n}", "Beam"),
            check_letters(f"HOLL-{n}"),
            "98",
            "1",
            "Whole",
        )
        for n in range(1, count + 1)
    )
    said = {
        "consignment_id": "C-1",
        "purpose": "Dating",
        "packed_on": "2024-06-15",
        "sent_on": "2024-06-16",
        "due_on": "",
        "carrier": "",
        "seal_number": "INV 4417",
        "questions": "",
        "recorded_count": "",
    }
    sender = Correspondent("MB", "Mara Birkwood (invented)", "1 Lane, Nowhere", "mb@example.org")
    return Parcel(**(said | values), sender=sender, receiver=Correspondent("LAB"), items=items)


@pytest.mark.parametrize("paper", PAPERS, ids=lambda paper: paper.name)
def test_a_tag_a_sample_with_its_stub(paper: Paper, tmp_path: Path) -> None:
    facts = gather_facts(a_packed_package(tmp_path))
    printed = print_tags([sample_tag(one) for one in facts], paper, tmp_path / "tags.pdf")
    assert (printed.label_count, printed.page_count) == (3, 1)
    assert page_sizes_mm(tmp_path / "tags.pdf")[0] == pytest.approx(
        (paper.width_mm, paper.height_mm), abs=0.01
    )
    words = page_texts(tmp_path / "tags.pdf")[0].split()
    for number in ("231", "232", "233"):
        assert words.count(number) == 2, "on the tag and on its stub"
    read = [read_scan(text).sample_id for text in decoded(rendered(tmp_path / "tags.pdf", 150))]
    assert sorted(read) == ["231", "232", "233"]


def test_tags_stay_inside_the_margins_that_printers_need(tmp_path: Path) -> None:
    """5 mm, which common office printers can reach (common practice, no source)."""
    facts = [
        SampleFacts("HOLL", str(n), "x" * 300, "Core", "2024", "", "B", "Beam", "y" * 300)
        for n in range(3)
    ]
    print_tags([sample_tag(one) for one in facts], A4, tmp_path / "tags.pdf")
    left, top, right, foot = ink_box_mm(rendered(tmp_path / "tags.pdf", 100), 100)
    assert min(left, top, 210 - right, 297 - foot) > 5


def test_the_list_has_every_sample_with_its_check_letters_and_the_total(tmp_path: Path) -> None:
    parcel = gather_parcel(a_packed_package(tmp_path), "C-1")
    print_consignment(parcel, A4, tmp_path / "parcel.pdf")
    text = page_texts(tmp_path / "parcel.pdf")[0]
    for number in ("231", "232", "233"):
        assert number in text
    assert "Total 3 samples: 2 cross-section, 1 core." in " ".join(text.split())
    assert "INV 4417" in text
    assert "Alder Ring Laboratory (invented)" in text


def test_a_count_that_the_ledger_does_not_bear_out_is_said(tmp_path: Path) -> None:
    parcel = gather_parcel(a_packed_package(tmp_path, sample_count="5"), "C-1")
    print_consignment(parcel, A4, tmp_path / "parcel.pdf")
    text = " ".join(page_texts(tmp_path / "parcel.pdf")[0].split())
    assert "says 5 samples and the custody ledger 3" in text


@pytest.mark.parametrize("paper", PAPERS, ids=lambda paper: paper.name)
@pytest.mark.parametrize("count", [1, 25, 26, 27, 28, 60, 95])
def test_a_long_list_goes_on_with_every_row_once(count: int, paper: Paper, tmp_path: Path) -> None:
    path = tmp_path / "parcel.pdf"
    print_consignment(a_parcel(count), paper, path)
    texts = page_texts(path)
    lists = [text for text in texts if text.startswith("Consignment list")]
    wood = [word for text in lists for word in text.split() if word.startswith("B1-")]
    assert wood == [f"B1-{n}" for n in range(1, count + 1)]
    for number, text in enumerate(lists, start=1):
        assert f"page {number} of {len(lists)}" in text
    assert sum("Total" in text for text in lists) == 1
    left, top, right, foot = ink_box_mm(rendered(path, 50, len(lists) - 1), 50)
    assert min(left, top) > 5
    assert paper.width_mm - right > 5
    assert paper.height_mm - foot > 5


def test_the_receipt_asks_for_seal_missing_broken_and_a_signature(tmp_path: Path) -> None:
    print_consignment(a_parcel(12), A4, tmp_path / "parcel.pdf")
    text = " ".join(page_texts(tmp_path / "parcel.pdf")[1].split())
    for words in (
        "Receipt for consignment C-1",
        "samples counted, of 12",
        "missing (numbers)",
        "seal number found",
        "signature",
        "1 Lane, Nowhere",
        "mb@example.org",
    ):
        assert words in text


def test_each_sample_can_have_its_tag_beside_the_parcels(tmp_path: Path) -> None:
    alone = print_consignment(a_parcel(4), A4, tmp_path / "alone.pdf")
    every = print_consignment(a_parcel(4), A4, tmp_path / "every.pdf", each_sample=True)
    assert (alone.label_count, every.label_count) == (1, 5)
    # the parcel's own tag has the code of the parcel, and says it to be typed
    (code,) = decoded(rendered(tmp_path / "alone.pdf", 150, 2))
    assert read_scan(code).inside == "PARCEL-C-1"
    assert code.removeprefix("TREENAIL ") in page_texts(tmp_path / "alone.pdf")[2]


def test_long_words_stay_in_their_cells(tmp_path: Path) -> None:
    parcel = a_parcel(3, questions="Which ring is the last? " * 80, seal_number="S" * 300)
    print_consignment(parcel, A4, tmp_path / "parcel.pdf", each_sample=True)
    for page in range(3):
        left, top, right, foot = ink_box_mm(rendered(tmp_path / "parcel.pdf", 60, page), 60)
        assert min(left, top, 210 - right, 297 - foot) > 5


def test_a_parcel_without_samples_is_refused(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().with_row("consignment").package
    with pytest.raises(TreenailError, match="no sample was packed"):
        gather_parcel(package, "C-1")
    with pytest.raises(TreenailError, match="there is no consignment 'C-2'"):
        gather_parcel(package, "C-2")

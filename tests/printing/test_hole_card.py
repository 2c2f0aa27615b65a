"""A hole card tells a stranger what a dowel in a beam means."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from provenance._base.errors import TreenailError
from provenance._base.languages import speaking
from provenance._drawing.clock_face import clock_point, draw_clock_face
from provenance._drawing.document import printed_pages
from provenance._drawing.paper import PAPERS, Paper, paper_named
from provenance._identity.payload import read_scan
from provenance._ledger.handover import record_events
from provenance._printing.papers.hole_card import print_hole_cards
from provenance._printing.papers.hole_facts import gather_cards
from tests.builders import a_package
from tests.printing.reading import decoded, ink_box_mm, page_texts, rendered


def card_text(folder: Path, package: object, **options: object) -> str:
    from provenance._record.package import Package

    assert isinstance(package, Package)
    path = folder / "cards.pdf"
    print_hole_cards(gather_cards(package, **options), paper_named("a4"), path)  # type: ignore[arg-type]
    return " ".join(" ".join(page_texts(path)).split())


def test_the_card_says_where_the_hole_is_in_words(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain(clock="4.5", height_m="2.1").package
    text = card_text(tmp_path, package)
    for words in (
        "B1-014 beam",
        "North house",
        "1.25 m",
        "4:30 on the clock face, toward the center",
        "2.1 m (6' 10 3/4\") above the floor",
        "stamp as punched",
        "core, 98 mm long",
        "Mara Birkwood (invented)",
    ):
        assert words in text


def test_sizes_taken_in_feet_and_inches_show_no_digits_that_nobody_measured(tmp_path: Path) -> None:
    chain = a_package(tmp_path).with_chain(along_m="2.27965", length_mm="136.525", height_m="knee")
    text = card_text(tmp_path, chain.package)
    assert "2.28 m" in text
    assert "137 mm long" in text
    assert "knee m above the floor" in text, "a text that is no number stays as it is"


def test_the_card_says_where_the_sample_lies_now_and_what_was_found(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().with_row("lab_result").package
    written = {"recorded_on": "2024-06-20", "recorded_by": "MB"}
    record_events(
        package, "collected", ["231"], happened_on="2024-06-05", to_party_id="MB", **written
    )
    record_events(
        package, "stored", ["231"], happened_on="2024-06-06", place_held="Box 12", **written
    )
    text = card_text(tmp_path, package)
    assert "Mara Birkwood (invented), Box 12 (since 2024-06-06)" in text
    assert (
        "dated 1702p - 1781B (Alder Ring Laboratory (invented)), felled in 1781 or before growth "
        "began in 1782"
    ) in text
    lent = {"to_party_id": "LAB", "loan_due_on": "2024-12-31"}
    record_events(package, "loaned", ["231"], happened_on="2024-06-07", **lent, **written)
    assert "(invented), on loan from Mara Birkwood (invented) until 2024-12-31" in card_text(
        tmp_path, package
    )


def test_a_superseded_result_is_not_on_the_card(tmp_path: Path) -> None:
    package = (
        a_package(tmp_path)
        .with_chain()
        .with_row("lab_result")
        .with_row(
            "lab_result", result_id="R-2", supersedes_result_id="R-1", notation="1702p - 1782r"
        )
        .package
    )
    text = card_text(tmp_path, package)
    assert "1782r" in text
    assert "1781B" not in text


def test_a_replaced_plug_gives_way_to_the_one_in_the_hole(tmp_path: Path) -> None:
    package = (
        a_package(tmp_path)
        .with_chain()
        .with_row("plug", plug_id="P-2", stamp="231A")
        .with_row("plug", plug_id="P-1", stamp="999", replaced_by_plug_id="P-2")
        .package
    )
    frame = package.table("plug")
    package.write_table("plug", frame[frame["plug_id"] != "P-231"])
    (card,) = gather_cards(package)
    assert card.stamp == "231A"


def test_the_card_warns_before_drilling_again(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    elements = package.table("element")
    elements["load_bearing"] = "yes"
    package.write_table("element", elements)
    places = package.table("place")
    places["hazards"] = "old_wiring; load_bearing; lead_paint"
    package.write_table("place", places)
    text = card_text(tmp_path, package)
    assert "This timber is load-bearing. Seen here: old wiring, lead paint." in text
    assert f"lead paint. {package.model.consent} This hole has weakened the wood" in text
    assert "structural engineer" in text
    assert "Local codes, permits and licensed practice come first." in text


def test_cautions_in_any_language_leave_room_for_every_fact(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain(height_m="2.1").package
    places = package.table("place")
    places["hazards"] = "; ".join(
        term.code for term in package.model.vocabularies["hazard"].terms if term.code != "none"
    )
    package.write_table("place", places)
    for language in ("en", "es"):
        with speaking(language):
            text = card_text(tmp_path, package)
        for words in ("B1-014", "1.25 m", "2.1 m", "98 mm", "Mara Birkwood (invented)"):
            assert words in text, language


def test_only_what_left_a_hole_or_a_cut_gets_a_card_unless_it_is_named(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain()
    builder.with_row("sample", sample_id="232", kind="fragment")
    builder.with_row("sample", sample_id="233", kind="cross_section")
    cards = gather_cards(builder.package)
    assert [(card.facts.number, card.title) for card in cards] == [
        ("231", "Hole in the wood"),
        ("233", "Cut in the wood"),
    ]
    assert [card.facts.number for card in gather_cards(builder.package, "232")] == ["232"]


def test_a_package_of_loose_pieces_needs_no_cards(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_row("site").with_row("sample", kind="fragment").package
    with pytest.raises(TreenailError, match="left a hole"):
        gather_cards(package)


@pytest.mark.parametrize("paper", PAPERS, ids=lambda paper: paper.name)
def test_four_cards_lie_on_a_page_and_long_words_stay_inside(paper: Paper, tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain(clock="12", notes="n" * 300)
    package = builder.with_row("place", place_id="B2", name="An endless name, " * 20).package
    elements = package.table("element")
    elements["place_id"] = "B2"
    elements["position_note"] = "third from the north, " * 20
    package.write_table("element", elements)
    cards = gather_cards(package) * 5
    printed = print_hole_cards(cards, paper, tmp_path / "cards.pdf")
    assert printed.page_count == 2
    page = rendered(tmp_path / "cards.pdf", 150)
    left, top, right, foot = ink_box_mm(page, 150)
    assert right - left == pytest.approx(2 * 98, abs=0.6)
    assert foot - top == pytest.approx(2 * 132, abs=0.6)
    assert [read_scan(text).sample_id for text in decoded(page)] == ["231"] * 4


def test_the_clock_runs_as_clocks_do() -> None:
    assert clock_point(0, 0, 1, 12) == (0, 1)
    assert clock_point(0, 0, 1, 3) == (1, 0)
    assert clock_point(0, 0, 1, 6) == (0, -1)
    assert clock_point(0, 0, 1, 9) == (-1, 0)


def test_the_drill_goes_in_at_its_hour(tmp_path: Path) -> None:
    """What a marked face has more than a bare one lies on the side of its hour."""
    pages = []
    for name, hours in (("bare", None), ("marked", 1.5)):
        path = tmp_path / f"{name}.pdf"
        with printed_pages(path, (200, 200), title="Face") as run:
            canvas = run.begin_page()
            draw_clock_face(canvas, 100, 100, 60, hours=hours, direction="radial")
        pages.append(rendered(path, 144))
    rows, columns = np.nonzero((pages[1] < 128) & ~(pages[0] < 128))
    assert len(rows) > 50
    assert columns.mean() > 200
    assert rows.mean() < 200

"""Labels of boxes and drawers list all that lies inside."""

from __future__ import annotations

from pathlib import Path

import pytest

from provenance._identity.payload import compose_inside, inside_code
from provenance._ledger.handover import record_events
from provenance._printing.labels.content_labels import (
    Content,
    contents_by_place,
    print_content_labels,
    ranges_of,
)
from provenance._printing.labels.facts import gather_facts
from provenance._printing.labels.stock import UnusableStock, load_stock, shipped_stocks
from tests.builders import a_package
from tests.printing.reading import decoded, page_texts, rendered

SCATTERED = tuple(str(number) for number in range(1, 3000, 2))


def test_neighbouring_numbers_are_drawn_together() -> None:
    assert ranges_of(["9", "7", "8", "11", "12", "A3", "A1", "A2", "007"]) == [
        "7–9",
        "11",
        "12",
        "A1–A3",
        "007",
    ]


def test_samples_are_grouped_by_where_the_ledger_says_they_lie(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain()
    for number in ("232", "233", "234", "235"):
        builder.with_row("sample", sample_id=number)
    package = builder.package
    written = {"recorded_on": "2024-06-20", "recorded_by": "MB"}
    record_events(
        package, "collected", ["231", "232", "233"], happened_on="2024-06-05", to_party_id="MB",
        **written,
    )  # fmt: skip
    record_events(
        package, "stored", ["231", "232"], happened_on="2024-06-06", place_held="Box 12", **written
    )
    record_events(package, "lost", ["233"], happened_on="2024-06-07", **written)
    lent = {"to_party_id": "LAB", "loan_due_on": "2024-12-31"}
    record_events(
        package, "collected", ["235"], happened_on="2024-06-05", to_party_id="MB", **written
    )
    record_events(package, "loaned", ["235"], happened_on="2024-06-08", **lent, **written)
    contents = contents_by_place(package, gather_facts(package))
    assert [(one.place_held, one.numbers) for one in contents] == [
        ("", ("234",)),
        ("Box 12", ("231", "232")),
    ]


@pytest.mark.parametrize("stock", ["a4_box", "letter_box", "a4_drawer"])
def test_the_count_and_every_number_are_printed_however_many_labels_it_takes(
    stock: str, tmp_path: Path
) -> None:
    content = Content("Shelf 7, box 12", "Alder Ring", "HOLL", "Site 7", SCATTERED)
    path = tmp_path / "labels.pdf"
    printed = print_content_labels([content], load_stock(stock), path)
    assert printed.label_count > 1
    text = " ".join(page_texts(path)).replace(",", " ")
    assert f"{len(SCATTERED)} samples" in text
    assert f"label {printed.label_count} of {printed.label_count}" in text
    assert set(SCATTERED) <= set(text.split())
    assert "…" not in text


def test_every_label_has_the_code_of_its_box_and_the_text_to_type(tmp_path: Path) -> None:
    """Not where the place is not recorded, or is in more words than a code says."""
    for stock in (one for one in shipped_stocks() if load_stock(one).draws == "content"):
        for place, code in (
            ("Box 12", "HOLL:BOX-12-TD"),
            ("Store B, shelf 7, drawer 12, second from the left", None),
            ("", ""),
            ("a sentence " * 9, ""),
        ):
            content = Content(place, "", "HOLL", "Site 7", SCATTERED[:300])
            text = (
                compose_inside("HOLL", inside_code(place)) if code is None else f"TREENAIL {code}"
            )
            path = tmp_path / "labels.pdf"
            count = print_content_labels([content], load_stock(stock), path).label_count
            expected = [text] * count if code != "" else []
            assert decoded(rendered(path, 200)) == expected, (stock, place)
            assert (code or "HOLL") in " ".join(page_texts(path))


def test_a_label_with_no_room_for_a_list_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "tiny.yaml"
    path.write_text(
        "title: Tiny\ndraws: content\n"
        "page: {width_mm: 30, height_mm: 9}\nlabel: {width_mm: 30, height_mm: 9}\n"
    )
    content = Content("Box 12", "", "HOLL", "", ("231",))
    with pytest.raises(UnusableStock, match="no room"):
        print_content_labels([content], load_stock(str(path)), tmp_path / "labels.pdf")
    # with room for a list, but not for a code, the text of the code is there all the same
    path.write_text(path.read_text().replace("9}", "18}"))
    print_content_labels([content], load_stock(str(path)), tmp_path / "labels.pdf")
    assert decoded(rendered(tmp_path / "labels.pdf", 200)) == []
    assert "HOLL:BOX-12-TD" in page_texts(tmp_path / "labels.pdf")[0]

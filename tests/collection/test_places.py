"""The places of a store: entered from a spreadsheet, a tree, labels that a scanner reads."""

from datetime import date

import pypdfium2
import pytest
import zxingcpp

from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._collection.place_labels import place_labels, print_place_labels
from provenance._identity.place_code import END, compose_place, read_place
from provenance._printing.labels.stock import load_stock
from provenance._store.entering import enter_rows
from provenance._store.places import Places, places_text

ROWS = """place_id,within,kind,name
MAIN,,building,Old Granary (invented)
R2,MAIN,room,Upper room
C1,R2,cabinet,
B7,C1,box,Cores of 2023
B8,C1,box,
"""
DAY = {"on": date(2026, 3, 1), "recorded_on": "2026-03-01T09:00:00Z", "by": "Wen Tolliver"}


def test_places_are_entered_changed_and_shown_as_a_tree(store, csv_file):
    assert enter_rows(store, "place", csv_file(ROWS), **DAY).added == 5
    changed = enter_rows(store, "place", csv_file("place_id,name\nB7,Cores of 2024\n"), **DAY)
    assert (changed.added, changed.changed, changed.unchanged) == (0, 1, 0)
    again = enter_rows(store, "place", csv_file("place_id,kind\nB7,box\n"), **DAY)
    assert (again.added, again.changed, again.unchanged) == (0, 0, 1)
    assert [act.path for act in store.acts if act.kind == "wrote"] == ["place.csv"] * 2
    tree = Places(store.rows("place"))
    assert tree.path("B7") == "MAIN / R2 / C1 / B7"
    assert tree.chosen("upper room") == ["R2", "C1", "B7", "B8"]
    assert places_text(tree, tree.chosen("C1"), "text") == (
        "C1  cabinet\n  B7  box, Cores of 2024\n  B8  box\n"
    )
    with pytest.raises(UnusableInput, match="the store has no place 'B9'"):
        tree.named("B9")


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("place_id,kind\nB7,bx\n", "line 2, column 'kind', 'bx': write one of building"),
        ("place_id,kind\nB7,\n", "line 2, column 'kind', '': it is blank"),
        ("place_id,shelf\nB7,3\n", "line 1: the table place does not know shelf"),
        ("kind\nbox\n", "line 1: the table place needs the column place_id"),
        ("place_id,kind\nB7,box\nB7,box\n", "line 3, column 'place_id': 'B7' is in line 2"),
        ("place_id,kind,within\nB7,box,C9\n", "line 2, column 'within', 'C9': there is no such"),
        ("place_id,kind,within\nA,room,B\nB,room,A\n", "lie within one another"),
        ("place_id,kind\nB-7,box\nB 7,box\n", "its label would read like that of 'B-7'"),
        ("place_id,kind\nEnd,box\n", "no label can say this code"),
    ],
)
def test_rows_that_cannot_be_are_refused_by_line_and_column(store, csv_file, rows, said):
    with pytest.raises(UnusableInput) as refused:
        enter_rows(store, "place", csv_file(rows), **DAY)
    assert said in str(refused.value)
    assert not (store.folder / "place.csv").exists()


def test_a_label_of_a_place_is_read_back_and_no_label_of_a_sample_is_one(store, csv_file, tmp_path):
    enter_rows(store, "place", csv_file(ROWS), **DAY)
    tree = Places(store.rows("place"))
    labels = place_labels(tree, tree.chosen("C1"))
    out = tmp_path / "labels.pdf"
    printed = print_place_labels(labels, load_stock("a4_70x37"), out)
    assert printed.label_count == 4
    seen = zxingcpp.read_barcodes(pypdfium2.PdfDocument(out)[0].render(scale=4).to_pil())
    assert {read_place(one.text) for one in seen} == {"C1", "B7", "B8", END}
    assert read_place("TREENAIL HOLL-231-JV") is None
    with pytest.raises(UnreadableValue):
        read_place(compose_place("B7")[:-1] + "A")

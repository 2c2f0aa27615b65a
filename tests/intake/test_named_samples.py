"""A cell that names a sample may say what its label says; its check character is verified."""

from __future__ import annotations

import pytest

from provenance._identity.check_character import check_character, check_letters
from provenance._printing.workbook import write_workbook
from tests.builders import a_package, renderings
from tests.intake.forms import NOON, bring_in, one_row, write_csv

RESULTS = """
title: Results of an invented laboratory
dates: {formats: [YYYY-MM-DD]}
sources:
  - files: "results*"
    rows:
      - table: lab_result
        values: {laboratory_id: LAB, outcome: dated}
        fields:
          result_id: {template: "R-{Sample}"}
          sample_id: {column: Sample}
          consignment_id: {column: Parcel}
"""
FORM = """
title: Cores of an invented crew
dates: {formats: [YYYY-MM-DD]}
sources:
  - files: "cores*"
    rows:
      - table: sample
        values: {site_id: HOLL, kind: core, element_id: B1-014}
        fields:
          sample_id: {column: Core}
          notes: {column: Note}
      - table: plug
        values: {}
        fields:
          plug_id: {template: "P-{Core}"}
          sample_id: {column: Core}
"""
PHOTOS = """
title: Photos of an invented crew
dates: {formats: [YYYY-MM-DD]}
sources:
  - files: "photos*"
    rows:
      - table: file
        fields:
          file_id: {column: Photo}
          path: {template: "files/{Photo}.png"}
          about_table: {column: Shows a}
          about_id: {column: Which}
"""


@pytest.fixture
def package(tmp_path):
    builder = a_package(tmp_path).with_chain().with_row("sample", sample_id="502")
    builder.with_row("consignment", consignment_id="C-2024-1")
    return builder.package


def cores(package, path, *numbers):
    lines = [{"Core": one, "Note": f"note {place}"} for place, one in enumerate(numbers)]
    return bring_in(package, write_csv(path, lines, ("Core", "Note")), mapping=FORM)


def test_all_that_names_a_sample_leads_to_its_row(package, tmp_path) -> None:
    for place, text in enumerate(renderings("HOLL", "231")):
        path = write_csv(
            tmp_path / f"results{place}.csv",
            [{"Sample": text, "Parcel": "c–2024–1"}],
            ("Sample", "Parcel"),
        )
        result = bring_in(package, path, mapping=RESULTS)
        assert result.unread == 0, text
        row = one_row(package, "lab_result", "R-231")
        assert (row["sample_id"], row["consignment_id"]) == ("231", "C-2024-1")
    assert len(package.table("lab_result")) == 1


def test_a_check_character_that_does_not_fit_makes_no_new_number(package, tmp_path) -> None:
    """502T, where the label says 502 and 3, is an open cell; nothing of its line is lost."""
    before = package.table("sample").to_dict("records")
    result = cores(package, tmp_path / "cores.csv", "502T")
    assert package.table("sample").to_dict("records") == before
    (said,) = [one for one in result.findings if one.field == "sample_id" and one.table == "sample"]
    assert (said.value, said.severity) == ("502T", "warning")
    assert "does not fit its check character: that of 502 is 3, not T" in said.message
    assert "write 502-3, or HOLL-502T-" in said.remedy
    damaged = "treenail 1 HOLL-502 3\nsite HOLL\nnumber 503\nkind core"
    result = cores(package, tmp_path / "cores2.csv", damaged)
    assert any("is not complete" in one.message for one in result.findings)
    kept = set(package.table("unread")["cell_text"])
    assert {"502T", "note 0", damaged} <= kept


def test_a_crews_numbers_that_end_in_a_letter_come_in_and_come_back(package, tmp_path) -> None:
    own = ("12", "12A", "12B", "N7", "RB-4b", f"HOLL-502T-{check_character('HOLL-502T')}")
    written = ["12", "12A", "12B", "N7", "RB-4b", "502T"]
    for _ in range(2):
        result = cores(package, tmp_path / "cores.csv", *own)
        assert result.unread == 0
        assert set(package.table("sample")["sample_id"]) == {"231", "502", *written}
        assert set(package.table("plug")["plug_id"]) >= {f"P-{one}" for one in written}


def test_a_workbook_may_be_filled_in_from_labels(package, tmp_path) -> None:
    check = check_letters("HOLL-502")
    rows = package.table("plug").assign(plug_id="P-9", sample_id=f"HOLL–502–{check}", stamp="502")
    path = write_workbook(package.model, tmp_path / "crew.xlsx", rows={"plug": rows})
    assert bring_in(package, path, mapping=None, when=NOON).unread == 0
    assert one_row(package, "plug", "P-9")["sample_id"] == "502"


def test_a_photo_may_say_of_which_sample_it_is_as_the_label_does(package, tmp_path) -> None:
    lines = [
        {"Photo": "F-1", "Shows a": "sample", "Which": "HOLL 231 H"},
        {"Photo": "F-2", "Shows a": "sample", "Which": "502T"},
        {"Photo": "F-3", "Shows a": "element", "Which": "B1-014"},
    ]
    path = write_csv(tmp_path / "photos.csv", lines, ("Photo", "Shows a", "Which"))
    result = bring_in(package, path, mapping=PHOTOS)
    about = dict(zip(*(package.table("file")[one] for one in ("file_id", "about_id")), strict=True))
    assert about == {"F-1": "231", "F-2": "", "F-3": "B1-014"}
    assert [one.value for one in result.findings if one.field == "about_id"] == ["502T"]

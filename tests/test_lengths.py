"""No page, paper or finding shows a length otherwise than its record measures.

An inch is exactly 25.4 mm (international yard and pound agreement of 1959; NIST Special
Publication 811, appendix B). Sizes here were read on a rule: 11 3/8 in are 28.8925 cm.
"""

from __future__ import annotations

import ast
import html
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import provenance
from provenance._checks.check import check_package
from provenance._checks.report_text import report_text
from provenance._derive.summary import derive_package
from provenance._drawing.paper import paper_named
from provenance._model.measures import FEET_INCHES, METRIC
from provenance._printing.labels.facts import gather_facts
from provenance._printing.papers.hole_card import print_hole_cards
from provenance._printing.papers.hole_facts import gather_cards
from provenance._printing.papers.tags import print_tags, sample_tag
from provenance._record.package import Package, open_package
from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.plan.plan import write_plans
from provenance._survey.relocation import write_relocation_sheets
from tests.builders import PARTIES, a_package, pack_bundle
from tests.printing.reading import page_texts
from tests.survey.scenes import a_room, taped

ROOT = Path(provenance.__file__).parent
LENGTH = re.compile(r"(?<![\w.,/])(\d+)(?:\.(\d+))? ?(mm|cm|m)\b(?![²³/])")
DECIMALS = {"mm": 1, "cm": 1, "m": 4}
"""No more than a caliper or the tapes of this record give, which are written to 0.1 mm."""
BESIDE = re.compile(r"(?:[\"']|\b(?:in|ft))(?: is| for)? ?\(?$")
"""What stands before a metric length that is only told beside the one in feet and inches."""
RINGS = re.compile(r"rings?\b.{0,60}$", re.IGNORECASE | re.DOTALL)
"""Ring widths are in millimeters everywhere."""
OF_TABLES = {
    "codebook.html": "says what the tables hold, which is SI",
    "reading-1.html": "the table of readings as they were written, with their step in mm",
}


def as_read_on_a_rule(folder: Path, units: str) -> Package:
    """A surveyed and derived record of one beam whose sizes were read in inches and eighths."""
    building = a_room(folder)
    for end, x in (("a", 1.0), ("b", 4.81)):
        building = taped(building, (x, 2.5, 2.4), end=end)
    for party in PARTIES:
        building = building.with_bare_row("party", **party)
    building = building.with_row(
        "element", length_m="3.81", diameter_a1_cm="28.8925", diameter_a2_cm="28.8925",
        diameter_b1_cm="25.0825", diameter_b2_cm="24.765",
    ).with_row(
        "sample", bore_mm="15.875", length_mm="123.825", along_m="2.27965", depth_mm="130.175",
        height_m="2.1209",
    ).with_row("plug", dowel_mm="12.7", length_mm="22.225").with_row("lab_result")  # fmt: skip
    building.with_bare_row(
        "reading", table_name="plug", row_key="P-231", field="length_mm", as_written="14/16 in",
        step_mm="1.5875",
    )  # fmt: skip
    path = building.package.folder / "schemas" / "model.json"
    path.write_text(json.dumps({**json.loads(path.read_text("utf-8")), "units": units}))
    package = open_package(building.package.folder)
    survey_package(package)
    derive_package(open_package(package.folder))
    return open_package(package.folder)


def shown_texts(package: Package, out: Path) -> Iterator[tuple[str, str]]:
    """Every text that a person sees, with the name of what it stands in."""
    bundle = pack_bundle(package, out / "bundle")
    drawn = write_plans(package, out / "plans", format="svg").paths
    for path in [*bundle.rglob("*.html"), *bundle.rglob("*.svg"), *drawn]:
        if path.name not in OF_TABLES:
            text = path.read_text("utf-8")
            text = re.sub(r"<(script|style)\b.*?</\1>", " ", text, flags=re.DOTALL)
            yield path.name, html.unescape(re.sub(r"<[^>]+>", " ", text))
    paper = paper_named("letter")
    print_hole_cards(gather_cards(package), paper, out / "cards.pdf")
    print_tags([sample_tag(one) for one in gather_facts(package)], paper, out / "tags.pdf")
    sheets = write_relocation_sheets(package, ["231"], out / "sheets", paper="letter")
    for path in (out / "cards.pdf", out / "tags.pdf", *sheets):
        yield path.name, " ".join(page_texts(path))
    yield "check", report_text(check_package(package))


def faults(text: str, units: str) -> Iterator[str]:
    """What is said in the wrong unit, or to digits that nobody read."""
    text = " ".join(text.split())
    for match in LENGTH.finditer(text):
        before = text[max(0, match.start() - 70) : match.start()]
        if RINGS.search(before):
            continue
        if units == FEET_INCHES and not BESIDE.search(before):
            yield f"{before[-30:]}{match[0]}"
        if len(match[2] or "") > DECIMALS[match[3]]:
            yield f"{before[-30:]}{match[0]}"
    for digits in ("28.8925", "15.875", "123.825", "2.27965", "130.175"):
        if digits in text:
            yield digits


@pytest.mark.parametrize("units", [FEET_INCHES, METRIC])
def test_every_length_is_said_as_the_record_measures(tmp_path: Path, units: str) -> None:
    texts = list(shown_texts(as_read_on_a_rule(tmp_path, units), tmp_path / "out"))
    wrong = [(name, fault) for name, text in texts for fault in faults(text, units)]
    assert not wrong
    all_of_it = " ".join(" ".join(text.split()) for _, text in texts)
    in_feet = (
        "11 3/8 in",
        "5/8 in",
        "4 7/8 in",
        "7' 5 3/4\"",
        "loose by 1/8 in",
        "7/8 in read as 14/16 in",
    )
    metric = ("read as 14/16 in", "28.9 cm", "15.9 mm", "124 mm", "2.28 m")
    for words in in_feet if units == FEET_INCHES else metric:
        assert words in all_of_it, words


def test_a_record_whose_schemas_name_no_kinds_of_length_is_shown_all_the_same(
    tmp_path: Path,
) -> None:
    package = a_package(tmp_path).with_chain(bore_mm="15.875", length_mm="123.825").package
    for path in (package.folder / "schemas").glob("*.json"):
        path.write_text(re.sub(r',\s*"measure": "\w+"', "", path.read_text("utf-8")), "utf-8")
    package = open_package(package.folder)
    assert not any(field.measure for _, field in package.model.every_field())
    print_hole_cards(gather_cards(package), paper_named("a4"), tmp_path / "cards.pdf")
    text = " ".join(" ".join(page_texts(tmp_path / "cards.pdf")).split())
    assert "core, 124 mm long, bore 15.9 mm (5/8 in)" in text


WORDED_ELSEWHERE = {
    "_cli/printing.py": "how far a printer shifts a page: of the paper, not of the record",
    "_cli/tracing.py": "how a scanned plan fits, in the meters of its page of points",
    "_drawing/qr.py": "sizes of codes on labels",
    "_drawing/svg.py": "sizes of the drawing itself",
    "_printing/labels/calibration.py": "how far a printer shifts a page",
    "_printing/labels/sample_label.py": "sizes of labels",
    "_printing/labels/stock.py": "sizes of labels",
    "_printing/sheets/plan_grid.py": "a line of known length to check the printer by",
    "_survey/trace/fit.py": "how a scanned plan fits",
    "_survey/trace/tracing.py": "how a scanned plan fits",
    "_survey/plan/sheet_parts.py": "the metric line below a bar in feet",
    "_derive/figures/forest_figures.py": "ring widths",
}
"""Where a unit of length stands behind a number all the same, and why."""


def test_no_length_is_worded_by_hand() -> None:
    """A value in braces with mm, cm or m behind it goes through `measures` or a rule's sentence."""
    found = set()
    for path in ROOT.rglob("*.py"):
        text = path.read_text("utf-8")
        # few files are worth the time to parse
        for node in ast.walk(ast.parse(text)) if re.search(r"\} ?(?:mm|cm|m)\b", text) else ():
            if not isinstance(node, ast.JoinedStr):
                continue
            for one, after in zip(node.values, node.values[1:], strict=False):
                is_value = isinstance(one, ast.FormattedValue)
                words = after.value if isinstance(after, ast.Constant) else ""
                if is_value and re.match(r" ?(?:mm|cm|m)\b", str(words)):
                    found.add(path.relative_to(ROOT).as_posix())
    assert found <= set(WORDED_ELSEWHERE), found - set(WORDED_ELSEWHERE)
    assert set(WORDED_ELSEWHERE) <= found, "these need no exception any more"


def test_no_page_words_a_length_by_hand() -> None:
    pages = [
        *(ROOT.parent / "templates").rglob("*.html"),
        *(ROOT.parent / "templates").rglob("*.js"),
    ]
    worded = {
        path.name
        for path in pages
        if "vendor" not in path.parts and re.search(r"\} ?(?:mm|cm|m)\b", path.read_text("utf-8"))
    }
    # how a scanned plan fits is worked out in the browser
    assert worded == {"trace.js"}

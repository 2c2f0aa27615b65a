"""Ring widths in plain tables: faults are named with their place, and dates are compared."""

from __future__ import annotations

from provenance._checks.check import check_package
from provenance._derive.dates.ring_series import derive_ring_series
from provenance._intake import ring_widths
from tests.builders import PackageBuilder, a_package


class Files:
    """A package with files of ring widths of sample 231, which is dated 1702 to 1781."""

    def __init__(self, folder) -> None:
        self.builder: PackageBuilder = a_package(folder).with_chain().with_row("lab_result")
        self.files = self.builder.package.folder / "files"

    def add(self, name: str, text: str, **row: str) -> None:
        (self.files / name).write_text(text)
        about = {"about_table": "lab_result", "about_id": "R-1", "title": "Widths"}
        row = {"file_id": name, "path": f"files/{name}", "kind": "ring_widths", **about, **row}
        self.builder.with_row("file", **row)

    def found(self) -> list[tuple[str, str, str]]:
        """(file, rule, message) of every finding about widths."""
        report = check_package(self.builder.package)
        told = [one for one in report if one.rule.startswith("widths.")]
        return [(str(one.key), one.rule.removeprefix("widths."), one.message) for one in told]


def years(first: int, last: int, head: str = "year,width_mm") -> str:
    return "\n".join([head, *(f"{year},1.2" for year in range(first, last + 1))])


SOUND = years(1702, 1781)


def test_each_fault_is_named_once_for_a_series_with_file_row_column_and_value(tmp_path) -> None:
    files = Files(tmp_path)
    cases = {
        "sound.csv": (SOUND, None, ()),
        "bad.csv": (SOUND.replace("1710,1.2", "1710,1.2x").replace("1712,1.2", "1712,?"),
                    "unreadable", ("row 10, column 'width_mm': '1.2x' is not", "1 more like it")),
        "year.csv": (SOUND + "\nmean,1.2", "unreadable", ("column 'year': 'mean' is not a year",)),
        "less.csv": (SOUND.replace("1710,1.2", "1710,-9"), "negative",
                     ("row 10, column 'width_mm': the width -9",)),
        "twice.csv": (SOUND + "\n1781,1.3", "year_twice", ("row 82, column 'year': 1781 stands",)),
        "gap.csv": (SOUND.replace("1710,1.2\n1711,1.2\n", ""), "gap",
                    ("sample 231 from row 2", "no width for 2 of its years")),
        "unit.csv": (years(1702, 1781, "year,width"), "unit_not_said", ("row 1", "(width)")),
        "other.csv": (years(1702, 1781, "year,999 mm"), "unknown_sample",
                      ("column '999 mm': '999' is not a sample", "79 more")),
        "wide.csv": (years(1702, 1781, "year,width 1/50 mm"), "unit_not_said",
                     ("(width 1/50 mm)",)),
        "micron.csv": (SOUND.replace(",1.2", ",120").replace("mm", "um"), None, ()),
        "fine.csv": (SOUND.replace(",1.2", ",12").replace("mm", "um"), "unit_doubtful",
                     ("0.012 mm wide",)),
        "thick.csv": (SOUND.replace(",1.2", ",120"), "unit_doubtful", ("120 mm wide",)),
        "words.csv": ("Jahr,Breite\n1702,1\n", "no_years", ("no heading for years",)),
        "locked.xlsx": ("%PDF-1.7", "not_read", ("is a PDF",)),
        # formats of their own are left as they are
        "own.txt": ("231 1702 120 118 117\n", None, ()),
        "own.dat": ("year,width\n1702,x\n", None, ()),
    }  # fmt: skip
    for name, (text, _, _) in cases.items():
        files.add(name, text)
    found = files.found()
    for name, (_, rule, parts) in cases.items():
        # what was not read leaves a gap
        left = {"gap"} if rule in ("unreadable", "negative") else set()
        mine = {(one, said) for key, one, said in found if key == name and one not in left}
        assert {one for one, _ in mine} == ({rule} if rule else set()), name
        for part in parts:
            assert part in next(iter(mine))[1], name


def test_years_are_compared_with_the_dates_just_inside_and_just_outside(tmp_path) -> None:
    files = Files(tmp_path)
    cases = {
        (1702, 1781): set(),
        (1701, 1782): set(),  # a ring that had only begun at either edge
        (1703, 1780): set(),
        (1700, 1781): {"outside_the_dates"},
        (1702, 1783): {"outside_the_dates"},
        (1703, 1782): {"outside_the_dates"},  # as many, all a year late
        (1701, 1780): {"outside_the_dates"},
        (1704, 1781): {"short_of_the_dates"},
        (1702, 1779): {"short_of_the_dates"},
        (1602, 1681): {"outside_the_dates"},
    }
    for first, last in cases:
        files.add(f"{first}-{last}.csv", years(first, last))
    found = files.found()
    for (first, last), wanted in cases.items():
        name = f"{first}-{last}.csv"
        rules = {rule for key, rule, _ in found if key == name} - {"rings_differ"}
        assert rules == wanted, name


def test_a_series_of_rings_is_told_from_one_of_years(tmp_path) -> None:
    files = Files(tmp_path)
    files.builder.with_row("sample", sample_id="307").with_row(
        "lab_result", result_id="R-2", sample_id="307", outcome="undated", notation=None,
        inner_year=None, inner_symbol=None, outer_year=None, outer_symbol=None, ring_count="80",
    )  # fmt: skip
    for head in ("year", "ring"):
        files.add(f"{head}.csv", years(1, 80, f"{head},width_mm"), about_id="R-2")
        files.add(f"few {head}.csv", years(1, 78, f"{head},width_mm"), about_id="R-2")
    rules = {(key, rule) for key, rule, _ in files.found()}
    undated = "years_of_an_undated_sample"
    differ = {("few year.csv", "rings_differ"), ("few ring.csv", "rings_differ")}
    assert rules == {("year.csv", undated), ("few year.csv", undated), *differ}


def test_nothing_outside_the_package_is_read_and_nothing_too_large(tmp_path, monkeypatch) -> None:
    files = Files(tmp_path)
    outside = tmp_path / "secret.csv"
    outside.write_text(SOUND)
    (files.files / "link.csv").symlink_to(outside)
    for name in ("../../secret.csv", "link.csv", "gone.csv"):
        files.builder.with_row("file", file_id=name, path=f"files/{name}", kind="ring_widths")
    assert derive_ring_series(files.builder.package).is_empty()
    assert files.found() == []  # other rules name them
    files.add("large.csv", SOUND)
    monkeypatch.setattr(ring_widths, "LIMITS", ring_widths.SheetBudget(cells=100))
    ((key, rule, said),) = files.found()
    assert (key, rule) == ("large.csv", "not_read")
    assert "100 cells" in said

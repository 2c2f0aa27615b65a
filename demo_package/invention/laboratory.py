"""Dates the samples at the invented laboratory: two instalments, a revision, rings, a report."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from invention.paperwork import KEPT_BACK, LABORATORY, MISSING_ON_ARRIVAL
from invention.specimens import Specimen, all_specimens
from invention.tables import INVENTED, Book, Cell, Sheet

Line = dict[str, Cell]

REVISED = "306"
SAME_TREE = {"221": "220"}
"""Two posts of the barn whose rings agree as only those of one tree do."""
SEEN_IN_RINGS = {
    "217": "scar",
    "222": "suppression; release",
    "227": "reaction wood",
    "309": "fire scar",
}
FIRST_REPORT, SECOND_REPORT = "2023-11-14", "2024-03-11"
LOST_AT_FIRST = 6
"""Rings of the revised sample that the first sanding did not show."""


@dataclass(frozen=True)
class Determination:
    """One reported result; `issue` 2 supersedes 1."""

    sample: Specimen
    lab_number: str
    issue: int
    ring_count: int
    outer_year: int | None
    sapwood: int | None

    @property
    def inner_year(self) -> int | None:
        """Year of the innermost ring."""
        return None if self.outer_year is None else self.outer_year - self.ring_count + 1

    @property
    def notation(self) -> str:
        """Dates as the laboratory writes them, such as '1746p - 1871B'."""
        if self.outer_year is None:
            return "no date"
        signs = self.sample.inner_signs, _joined(self.sample.outer_signs)
        return f"{self.inner_year}{signs[0]} - {self.outer_year}{signs[1]}"


def _joined(signs: str) -> str:
    """Signs in one word: '+;vv' is written +vv, 'B;comp' B comp."""
    return signs.replace(";comp", " comp").replace(";", "")


def first_instalment() -> list[Determination]:
    """24 results, one of which is revised later."""
    return [one for one in _once() if one.sample.sample_id in _FIRST]


def second_instalment() -> list[Determination]:
    """17 results and the revision."""
    rest = [one for one in _once() if one.sample.sample_id not in _FIRST]
    sample = next(one for one in all_specimens() if one.sample_id == REVISED)
    number = next(one for one in _once() if one.sample is sample or one.sample == sample)
    return [*rest, Determination(sample, number.lab_number, 2, sample.ring_count, 1685, None)]


_FIRST = frozenset(str(n) for n in (*range(201, 217), *range(301, 309)))


def _once() -> list[Determination]:
    done = []
    arrived = [
        one for one in all_specimens() if one.sample_id not in (*KEPT_BACK, MISSING_ON_ARRIVAL)
    ]
    for place, sample in enumerate(arrived, start=1):
        short = LOST_AT_FIRST if sample.sample_id == REVISED else 0
        outer = sample.outer_year
        surface = set(sample.outer_signs.split(";")) & {"B", "L", "c", "r", "v"}
        usual = {"PSME": 34, "PIPO": 58, "QUAL": 13}.get(sample.wood.species, 20)
        done.append(
            Determination(
                sample,
                f"ORR-23-{place:03d}",
                1,
                sample.ring_count - short,
                None if outer is None else outer - short,
                usual - 7 + int(sample.sample_id) % 15 if surface and outer else None,
            )
        )
    return done


_REASONS_1 = {
    "complacent": "complacent series",
    "broken": "fragmented",
    "too_few_rings": "short series",
    "species": "unsuitable species",
    "no_reference": "no chronology",
}
_CHRONOLOGY = {
    "PSME": "Varrowmark fir 3 (invented)",
    "PIPO": "Varrowmark pine 1 (invented)",
    "QUAL": "Ostrafell oak 2 (invented)",
}
_HEADINGS_1 = (
    *("Our no", "Your no", "Wood", "Rings", "Sapwood", "Inside", "Inside sign", "Outside"),
    *("Outside sign", "Dating", "Outcome", "Why no date", "Chronology", "Statistics"),
    *("Ring file", "Analyst", "Remarks"),
)


def first_book() -> Book:
    """First instalment: a comma-separated table with a byte order mark."""
    rows: list[Line | None] = [
        {
            "Our no": one.lab_number,
            "Your no": one.sample.sample_id,
            "Wood": one.sample.wood.species,
            "Rings": str(one.ring_count),
            "Sapwood": _blank(one.sapwood),
            "Inside": _blank(one.inner_year),
            "Inside sign": one.sample.inner_signs if one.outer_year else "",
            "Outside": _blank(one.outer_year),
            "Outside sign": one.sample.outer_signs if one.outer_year else "",
            "Dating": one.notation,
            "Outcome": "dated" if one.outer_year else "not dated",
            "Why no date": "" if one.outer_year else _REASONS_1[one.sample.reason],
            "Chronology": _CHRONOLOGY[one.sample.wood.species] if one.outer_year else "",
            "Statistics": _statistics(one),
            "Ring file": f"{one.lab_number}.txt",
            "Analyst": "IV",
        }
        for one in first_instalment()
    ]
    title = f"{LABORATORY} results, first instalment, {FIRST_REPORT} - {INVENTED}"
    sheet = Sheet("", _HEADINGS_1, rows, "Our no", title, blank_lines=0)
    return Book("results_1.csv", [sheet], encoding="utf-8-sig")


_HEADINGS_2 = (
    *("Lab number", "Field number", "Issue", "Replaces issue", "Species", "n", "Sap"),
    *("First year", "First sign", "Last year", "Last sign", "As reported", "Dated?", "Reason"),
    *("Same tree as", "Mean width (mm)", "Sensitivity", "Missing", "Seen in the rings"),
    *("Reference", "Match", "Rings in file", "Comment"),
)


def second_book() -> Book:
    """Second instalment: a workbook with other headings; the last line revises an earlier one."""
    rows: list[Line | None] = []
    for one in second_instalment():
        widths = one.sample.widths_hundredth_mm[: one.ring_count]
        line: Line = {
            "Lab number": one.lab_number,
            "Field number": one.sample.sample_id,
            "Issue": one.issue,
            "Species": one.sample.wood.species,
            "n": one.ring_count,
            "As reported": one.notation,
            "Dated?": "yes" if one.outer_year else "no",
            "Match": _statistics(one),
            "Rings in file": f"{one.lab_number}{'b' if one.issue > 1 else ''}.txt",
            "Same tree as": SAME_TREE.get(one.sample.sample_id, ""),
            "Mean width (mm)": round(sum(widths) / len(widths) / 100, 2),
            "Sensitivity": _sensitivity(widths),
            "Seen in the rings": SEEN_IN_RINGS.get(one.sample.sample_id, ""),
        }
        if one.outer_year:
            line["Missing"] = 0
        if one.outer_year and one.inner_year:
            line |= {
                "First year": one.inner_year,
                "First sign": one.sample.inner_signs,
                "Last year": one.outer_year,
                "Last sign": one.sample.outer_signs,
                "Reference": _CHRONOLOGY[one.sample.wood.species],
            }
        else:
            line["Reason"] = _REASONS_1[one.sample.reason]
        if one.sapwood is not None:
            line["Sap"] = one.sapwood
        if one.issue > 1:
            line["Replaces issue"] = one.issue - 1
            line["Comment"] = f"{LOST_AT_FIRST} more rings at the outside after fresh sanding"
        rows.append(line)
    title = f"{LABORATORY} - results, second instalment, {SECOND_REPORT} ({INVENTED})"
    sheet = Sheet("Results", _HEADINGS_2, rows, "Lab number", title)
    return Book("results_2.xlsx", [sheet], colour="#FFF2CC", font="Liberation Sans")


def _sensitivity(widths: tuple[int, ...]) -> float:
    """Mean of the differences of neighboring rings, each as a share of the mean of the two."""
    shares = [2 * abs(b - a) / (a + b) for a, b in itertools.pairwise(widths)]
    return round(sum(shares) / len(shares), 3)


def _blank(number: int | None) -> str:
    return "" if number is None else str(number)


def _statistics(one: Determination) -> str:
    if one.outer_year is None:
        return ""
    # a longer overlap gives a surer match; invented, but in the usual range
    return f"t = {3.5 + one.ring_count / 40:.1f}, n = {one.ring_count}"


def ring_files() -> dict[str, str]:
    """Ring widths by file name: year (or number of the ring) and width in 1/100 mm."""
    files = {}
    for one in (*first_instalment(), *second_instalment()):
        name = f"{one.lab_number}{'b' if one.issue > 1 else ''}.txt"
        first = one.inner_year if one.inner_year is not None else 1
        what = "year" if one.inner_year is not None else "ring"
        lines = [
            f"# {INVENTED}",
            f"# {one.lab_number}, field number HOLL {one.sample.sample_id}, issue {one.issue}",
            f"{what},width 1/100 mm",
        ]
        widths = one.sample.widths_hundredth_mm[: one.ring_count]
        lines += [f"{first + place},{width}" for place, width in enumerate(widths)]
        files[name] = "\n".join(lines) + "\n"
    return files


def enclosures_book() -> Book:
    """What the laboratory sent along, so that every file is tied to its result."""
    rows: list[Line | None] = []
    for one in (*first_instalment(), *second_instalment()):
        name = f"{one.lab_number}{'b' if one.issue > 1 else ''}.txt"
        rows.append(
            {
                "Enclosure": f"R-{one.lab_number}-{one.issue}",
                "File": f"ring_widths/{name}",
                "Kind": "ring-width file",
                "Title": f"Ring widths of {one.lab_number} (invented)",
                "Belongs to": "lab_result",
                "Number": f"{one.lab_number}-{one.issue}",
                "Date": FIRST_REPORT
                if one.issue == 1 and one.sample.sample_id in _FIRST
                else SECOND_REPORT,
            }
        )
    rows.append(
        {
            "Enclosure": "R-REPORT",
            "File": "report.txt",
            "Kind": "report",
            "Title": "Report of the laboratory in one page (invented)",
            "Belongs to": "consignment",
            "Number": "C-2023-1",
            "Date": SECOND_REPORT,
        }
    )
    headings = ("Enclosure", "File", "Kind", "Title", "Belongs to", "Number", "Date")
    sheet = Sheet("", headings, rows, "Enclosure", f"Enclosures - {INVENTED}", blank_lines=0)
    return Book("enclosures.csv", [sheet])


def report() -> str:
    """The laboratory's report, one page of plain text."""
    everything = [*first_instalment(), *second_instalment()]
    last = {one.sample.sample_id: one for one in everything}
    dated = sum(one.outer_year is not None for one in last.values())
    return f"""OSTRAFELL RING ROOM (an invented laboratory)
{INVENTED}

Report on parcel C-2023-1 from Hollin Reach (HOLL)                     {SECOND_REPORT}

Received   42 samples were listed; 41 came. Sample {MISSING_ON_ARRIVAL} was not in its tube.
           Sample 219 came broken, with pieces lost, and was counted but not matched.
Examined   {len(last)} samples: {dated} dated, {len(last) - dated} not; the tables give the reasons.
Revised    Sample {REVISED}: fresh sanding shows {LOST_AT_FIRST} more rings at the outside.
           The first result (1679vv) is withdrawn; use the second (1685vv).

What the years say, as far as wood can say it
  Log house    Trees of the walls were felled after the growing seasons of 1870 and 1871.
               Two ceiling beams (210, 211) end decades before that, and their outsides are
               worn: they may be older wood used again. Rafters and ridge end in 1902.
  Room block   Rooms 1 to 3: outside years up to 1689. Room 4: one beam with bark, 1742;
               one worn beam (307) ends in 1655.
  Barn         Outside years up to 1884. One rafter (227) has bark and ends in 1921.

Same tree    Samples 220 and 221, two posts of the barn.

None of these years is a year of building. Wood may be stored, used again or put in later.

Signs      p pith, np near the pith, fp far from the pith; B bark, L surface patina,
           c last ring whole round the section, r last ring round the part that is kept,
           v within a few years of the last ring, vv no estimate, + a ring or two may be
           missing near the end, comp last ring complete.

Ring widths are in ring_widths/, one file a sample, two columns: year (a count of rings where the
sample is not dated) and width in 1/100 mm.
"""

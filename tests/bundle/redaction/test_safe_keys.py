"""Which keys may stand in public as they are."""

from __future__ import annotations

from pathlib import Path

from provenance._bundle.redaction.gathering import gather_known, trade_words
from provenance._bundle.redaction.safe_keys import KeyJudge
from tests.builders import a_package

SAFE = (
    *("B1", "B1-014", "BN-F1", "LH-D2", "RB-W12", "T001", "P-231", "C-2023-1", "E7", "PH-01"),
    *("231", "12A", "A12", "10231", "ORR-23-039-1", "R-1", "B1-R2", "B1/3", "wall-3", "BN-1884"),
    *("B1-01234", "T10231", "ORR-2023-0123"),
)
"""Counters, and codes of a letter or three with a number, as crews write them."""
TELLING = {
    "degrees and minutes run together": ("N3748W10851", "3748-10851", "374810", "37N48-108W51"),
    "points of the compass": ("N37-W108", "S12-E14", "37N-108W"),
    "parts of a map grid": ("451234", "0451-5731", "5731234", "724-4145", "37-4830", "B12-01234"),
    "degrees, minutes and seconds of this very place": ("51-28-26", "51_28_26", "A51-28-26"),
    "a word": ("Farmhouse", "old-mill-2", "HOLL", "HOLLIN-1", "R-BRACKEN"),
    "initials of someone who is not named": ("MB", "MB-014", "or-3", "OR7", "BM-1"),
    "initials of the place": ("HR-1", "HR001"),
    "the beginning of a withheld name": ("Hol-1", "REA-2", "BIR-3", "ree-1"),
    "someone's code": ("OWN-2/OWN", "OWN"),
    "other scripts and digits": ("Möl-1", "木-1", "٣٧-١", "B1 014"),
}


def test_counters_are_safe_and_what_tells_a_place_or_person_is_not(tmp_path: Path) -> None:
    """Own rule; the forms that carry places and initials are those that were seen to get out."""
    builder = a_package(tmp_path).with_chain()
    site = builder.package.table("site")
    site[["latitude", "longitude"]] = ["51.47391", "-1.28376"]
    builder.package.write_table("site", site)
    known = gather_known(builder.package)
    names = ("Mara Birkwood (invented)", "Odo Reedham (invented)", "Hollin Reach (invented)")
    judge = KeyJudge(known.masker, names, trade_words(builder.package.model))
    assert judge.telling(SAFE) == set()
    for what, keys in TELLING.items():
        assert set(keys) - judge.telling(keys) == set(), what

"""What becomes of the bundle: an edition for everybody, an accession, a comparison."""

from __future__ import annotations

from collections import Counter
from datetime import date
from functools import partial
from pathlib import Path

from provenance._demo.stage import SOUND, STARTED, Did, Stage
from provenance._history.history import moment_text
from provenance._record.package import Package, open_package

DEPOSITOR = "Mirka Bellowhay (invented)"
DEPOSITED = "301-314"
"""The cores of the room block come to the store together with the record."""
SHELF = "Shelf 3 (invented)"
TAKEN_IN = date(2024, 4, 2)
PATTERN = "{year}.{serial:04}"
NUMBER = "2024.0001"
STAND_INS = {
    "KXQTW": ("party", "AP"), "BNRFD": ("party", "TQ"), "WCGHL": ("party", "HRF"),
    "DQXJB": ("party", "IV"), "FRKNC": ("party", "MB"),
    "GHTWM": ("party", "OOB"), "JLCVX": ("party", "ORR"), "NPBQR": ("party", "QTS"),
    "VWDKF": ("party", "ZF"),
}  # fmt: skip
"""Letters → whom or what they stand for: people and an owner who are not named."""
NAMED = frozenset({"DQXJB", "FRKNC", "GHTWM", "JLCVX", "NPBQR", "VWDKF"})
"""Those of people and organisations that the public edition names: they are never shown."""
REVIEWER = "Tamsel Orrowby (invented)"
REVIEW = "review/decisions.csv"
CODE = "four letters of a name say little"
REVIEW_RULES = (
    ("lab_result.lab_number", "ORR-23-000", "numbers of the laboratory"),
    ("file.title", "Ring widths of ORR-23-000 (invented)", "captions of ring widths"),
)


def review_for_the_public(stage: Stage) -> Did:
    """Somebody reads what the public edition would show, and decides by rule and one by one."""
    from provenance._bundle.redaction.decisions import RELEASE, REPLACE, WITHHOLD
    from provenance._bundle.review.deciding import (
        decide_by_rule,
        decide_field,
        decide_one_by_one,
    )
    from provenance._bundle.review.page import write_page
    from provenance._bundle.review.review import review_package
    from provenance._bundle.review.sheet import read_list

    page = stage.out / "review.html"
    when = moment_text(STARTED)
    # first of all, because the code stands in many other texts
    said = {"by": REVIEWER, "reason": CODE, "when": when}
    decide_field(open_package(stage.sound), "site.site_id", RELEASE, **said)
    shown = review_package(open_package(stage.sound))
    before = 1 + write_page(shown, page)
    rule = partial(decide_by_rule, shown, decision=RELEASE, by=REVIEWER, when=when)
    for where, like, why in REVIEW_RULES:
        rule(where, reason=why, like=like)
    rule("place.name", reason="rooms", known_words=True)
    words = read_list(shown, stage.papers / REVIEW)
    why = f"review: {Path(REVIEW).name}"
    decide_one_by_one(shown, words, by=REVIEWER, when=when, why=why)
    review = review_package(open_package(stage.sound))
    states = Counter(one.state for one in review.items)
    command = f"treenail review {SOUND} --by '{REVIEWER}'"
    return Did(
        "Review",
        f"{before} texts, photos and files waited for a decision; {REVIEWER} released "
        f"{states[RELEASE]}, gave other words for {states[REPLACE]} and withheld "
        f"{states[WITHHOLD]}; {review.waiting} wait",
        (
            f"{command} --release site.site_id --because '{CODE}'",
            f"treenail review {SOUND} --page {page.name}",
            *(f"{command} --release {one} --like '{like}' --because '{why}'"
              for one, like, why in REVIEW_RULES),
            f"{command} --release place.name --known-words --because rooms",
            f"{command} --decided papers/{REVIEW}",
        ),
        (page, stage.papers / REVIEW),
        tuple(f"{one.where}: no one decided about {one.text!r}" for one in review.open),
    )  # fmt: skip


def pack_public_edition(stage: Stage) -> Did:
    """The edition for everybody. It comes first: the full one then has its stand-ins."""
    from provenance._bundle.describe.editions import PUBLIC
    from provenance._bundle.pack import pack

    _give_stand_ins(open_package(stage.sound))
    packed = pack(open_package(stage.sound), stage.public, edition=PUBLIC)
    return Did(
        "Public edition",
        "exact places, people, restricted fields and what was not released are withheld; people "
        "who are not named get a stand-in, which the package keeps",
        (f"treenail pack {SOUND} --edition public --out {stage.public.name}",),
        (packed.path / "data" / "WITHHELD.txt", packed.path / "data" / "index.html"),
        ("the package lacked stand-ins",) if packed.got_stand_ins else (),
    )


def _give_stand_ins(package: Package) -> None:
    """Enter the stand-ins of an invented record, which are invented too.

    Packing draws them at random, and two runs would make other pages.
    """
    from provenance._bundle.redaction.stand_ins import TABLE
    from provenance._history.entering import enter_table
    from provenance._history.history import moment_text

    when = moment_text(STARTED)
    rows = [
        {
            **{"name": name, "table_name": table, "row_key": key, "made": when},
            "retired": when if name in NAMED else "",
        }
        for name, (table, key) in STAND_INS.items()
    ]
    with package.locked():
        enter_table(package, TABLE, rows, why="invented stand-ins", when=when)


def prove_public_edition(stage: Stage) -> Did:
    """The public edition was made of the full one."""
    from provenance._bundle.derivation import verify_derivation

    shown = verify_derivation(stage.public, stage.bundle)
    return Did(
        "Proof",
        "the public edition was made of the full one, as 'verify --against' shows",
        (f"treenail verify {stage.public.name} --against {stage.bundle.name}",),
        (),
        tuple(f"{one.path} {one.message}" for one in shown.findings),
    )


def take_into_a_repository(stage: Stage) -> Did:
    """The bundle gets a number and a receipt; the samples' keeper changes."""
    from provenance._accession.accession import accession
    from provenance._drawing.paper import paper_named

    done = accession(
        stage.zipped,
        stage.store,
        depositor=DEPOSITOR,
        on=TAKEN_IN,
        recorded_on=f"{TAKEN_IN.isoformat()}T09:00:00Z",
        paper=paper_named("a4"),
        pattern=PATTERN,
        samples=DEPOSITED,
        place=SHELF,
    )
    return Did(
        "Accession",
        f"taken in as {done.entry.number} with {len(done.deposited)} samples; the bundle as it "
        "came in is kept beside the one with the number",
        (
            f'treenail accession {stage.zipped.name} --store store --depositor "'
            f'{DEPOSITOR}" --pattern "{PATTERN}" --samples {DEPOSITED} --place "{SHELF}" '
            f"--on {TAKEN_IN.isoformat()}",
        ),
        (done.receipt, stage.store / "register.csv"),
        () if done.entry.number == NUMBER else (f"the number is {done.entry.number}",),
    )


def compare_received_and_kept(stage: Stage) -> Did:
    """Between the bundle that came in and the one that is kept lie the deposit's events alone."""
    from provenance._compare.compare import compare

    kept = stage.store / NUMBER / stage.zipped.name
    found = compare(stage.zipped, kept)
    added = {one.table: len(one.added) for one in found.tables if len(one.added)}
    others = [one.table for one in found.tables if len(one.changed) or len(one.withdrawn)]
    surprises = [f"table {name} differs" for name in (*others, *(added.keys() - {"custody"}))]
    return Did(
        "Compare",
        f"what came and what is kept differ in {added.get('custody', 0)} custody events and in "
        "nothing else",
        (f"treenail compare {stage.zipped.name} {kept.relative_to(stage.out).as_posix()}",),
        (kept,),
        tuple(surprises),
    )

"""What is printed, drawn and derived from the demonstration papers, each made once."""

from __future__ import annotations

from provenance._base.disk import write_text
from provenance._demo.stage import SOUND, Did, Stage
from provenance._record.package import open_package

PARCEL = "C-2023-1"
RELOCATED = ("201", "307")
"""A core of the log house, and one of a reused beam in the room block."""
WORN = "2?1"
"""What somebody can still read on a plug, decades on."""


def reconcile_the_parcel(stage: Stage) -> Did:
    """Results beside the parcel and the field record; the lost core is the point to settle."""
    from provenance._demo.steps import MISSING_SAMPLE
    from provenance._lab.reconcile import reconcile_results, reconciliation_html

    package = open_package(stage.sound)
    reconciled = reconcile_results(package, PARCEL)
    path = stage.out / f"{PARCEL}-reconciliation.html"
    write_text(path, reconciliation_html(package.model, package.title, reconciled))
    weighty = [one for one in reconciled.findings if one.severity != "note"]
    planned = [one for one in weighty if one.key == MISSING_SAMPLE]
    surprises = [one.message for one in weighty if one not in planned]
    if not planned:
        surprises.append(f"no finding says that a result is missing for sample {MISSING_SAMPLE}")
    return Did(
        "Reconcile",
        f"{len(reconciled.lines)} samples beside their results; one to settle: the lost core",
        (f"treenail results reconcile {SOUND} --consignment {PARCEL}",),
        (path,),
        tuple(surprises),
    )


def derive_tables_and_figures(stage: Stage) -> Did:
    """Volumes, trees, spans and phases, with figures."""
    from provenance._derive.figures.figures import draw_figures
    from provenance._derive.summary import derive_package

    package = open_package(stage.sound)
    derived = derive_package(package)
    folder = stage.out / "figures"
    figures = draw_figures(package, derived, folder)
    counts = derived.tables["tree_bound"].head(2)["trees"].cast(int)
    phases = derived.tables["phase"].to_dicts()
    years = ", ".join(f"{row['place_id']} {row['first_year']}" for row in phases)
    return Did(
        "Derive",
        f"{len(derived.tables['size'])} timbers from at least {counts[0]} and at most "
        f"{counts[1]} trees; felling phases: {years}",
        (f"treenail derive {SOUND} --out figures",),
        tuple(figure.files["png"] for figure in figures),
        () if phases else ("no felling phase was found",),
    )


def print_forms(stage: Stage) -> Did:
    """What a crew fills in: the workbook, and the record sheets."""
    from provenance._printing.sheets.record_sheets import write_sheets
    from provenance._printing.workbook import write_workbook

    package = open_package(stage.sound)
    book = write_workbook(package.model, stage.out / "workbook.xlsx", title=package.title)
    sheets = write_sheets(package.model, stage.out / "sheets.pdf", package=package)
    return Did(
        "Forms",
        f"a workbook, and record sheets to fill in by hand on {sheets.page_count} pages",
        (
            f"treenail print workbook {SOUND} --out {book.name}",
            f"treenail print sheets {SOUND} --out sheets.pdf",
        ),
        (book, *sheets.paths),
    )


def print_labels_and_cards(stage: Stage) -> Did:
    """What is stuck on, tied to and left behind: labels, parcel papers, hole cards."""
    from provenance._drawing.paper import paper_named
    from provenance._printing.labels.facts import gather_facts
    from provenance._printing.labels.labels import print_labels
    from provenance._printing.labels.stock import load_stock
    from provenance._printing.papers.consignment import print_consignment
    from provenance._printing.papers.hole_card import print_hole_cards
    from provenance._printing.papers.hole_facts import gather_cards
    from provenance._printing.papers.parcel import gather_parcel

    package = open_package(stage.sound)
    paper = paper_named("a4")
    labels, parcel, cards = (stage.out / f"{n}.pdf" for n in ("labels", "parcel", "hole-cards"))
    facts = gather_facts(package)
    print_labels(facts, load_stock("a4_70x37"), labels)
    print_consignment(gather_parcel(package, PARCEL), paper, parcel)
    print_hole_cards(gather_cards(package), paper, cards)
    return Did(
        "Labels",
        f"{len(facts)} labels, the papers of parcel {PARCEL}, and one card per hole for the house",
        (
            f"treenail print labels {SOUND} --stock a4_70x37 --out labels.pdf",
            f"treenail print tags {SOUND} --consignment {PARCEL} --out parcel.pdf",
            f"treenail print cards {SOUND} --out hole-cards.pdf",
        ),
        (labels, parcel, cards),
    )


def draw_plans_and_relocation_sheets(stage: Stage) -> Did:
    """Plans to scale, and pages that lead back to two holes."""
    from provenance._survey.plan.plan import write_plans
    from provenance._survey.relocation import write_relocation_sheets

    package = open_package(stage.sound)
    plans = write_plans(package, stage.out / "plans")
    sheets = write_relocation_sheets(package, RELOCATED, stage.out / "relocation")
    return Did(
        "Plans",
        f"{len(plans.paths)} drawings to scale; relocation pages for samples "
        f"{' and '.join(RELOCATED)}",
        (
            f"treenail print plan {SOUND} --out plans",
            f"treenail print relocation {SOUND} {' '.join(RELOCATED)} --out relocation",
        ),
        (*plans.paths, *sheets),
        tuple(f"nothing in {building} has coordinates" for building in plans.empty),
    )


def find_a_worn_plug(stage: Stage) -> Did:
    """Decades on: somebody reads what is left of a stamp and asks the bundle."""
    from provenance._catalogue.plugs import gather_plugs
    from provenance._identity.locate import locate_plug

    found = locate_plug(gather_plugs(stage.zipped), WORN)
    best = found.candidates[0] if found.candidates else None
    said = f"sample {best.plug.sample_id} ({best.probability:.0%})" if best else "nothing"
    return Did(
        "Locate",
        f"'{WORN}' on a worn plug is most likely {said}, of {found.searched} in the bundle",
        (f"treenail locate {stage.zipped.name} '{WORN}'",),
        (),
        () if best and not found.none_fits else (f"no plug fits '{WORN}'",),
    )

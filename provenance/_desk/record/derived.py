"""What sizes and dates then say: figures, sentences and numbers as `derive` makes them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._derive.dates.age_change import age_changes
from provenance._derive.dates.candidates import STORED_YEARS
from provenance._derive.dates.phases import PhaseRule
from provenance._derive.dates.ring_series import widths_not_read
from provenance._derive.figures.figure_parts import Places
from provenance._derive.figures.figures import FIGURES, figures
from provenance._derive.story import FELLED_NOT_BUILT, Story
from provenance._derive.summary import as_stored, derive_package
from provenance._derive.wood.tree_words import STEMS, TreeWords
from provenance._derive.wood.trees import END_ERROR_CM
from provenance._desk.answers import Answer, Done, Page, Sent, Work
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.things import NotHere
from provenance._drawing.svg import svg_of
from provenance._model.spoken import spoken
from provenance._record.computed_from import changed_sources

if TYPE_CHECKING:
    from provenance._base.progress import Progress
    from provenance._derive.figures.figures import Figure
    from provenance._model.schema import Model

pages = Pages()

MOST_NUMBERS = 300
"""Rows of one table of numbers on the page; all are in the table itself."""


@pages.shown("/record/{record}/derived", title=N_("Dates, phases, volumes"), group=N_("Results"))
def results(asked: Asked) -> Answer:
    """The derived tables as they stand, told and drawn, and what they assume."""
    package = asked.record
    derived = as_stored(package)
    told = []
    changes: tuple[str, ...] = ()
    whole: list[str] = []
    if derived.tables:
        story = Story(package)
        told = [
            (name or place, place, paragraphs)
            for place, name in story.buildings
            if (paragraphs := story.of_place(place))
        ]
        whole = TreeWords(package, package.tables).of(missing=True)
        if "tree_age" in derived.tables:
            changes = tuple(one.in_words for one in age_changes(derived.tables["tree_age"]))
    model = spoken(package.model)
    known = "assumption" in package.model.tables
    return Page(
        "record/derived.html",
        {
            "figures": [
                (one, _titles(model, one), one.numbers.head(MOST_NUMBERS).rows())
                for one in (figures(derived, Places.of(package)) if derived.tables else ())
            ],
            "told": told,
            "whole": [*whole, STEMS, FELLED_NOT_BUILT] if whole else [],
            "changes": changes,
            "changed": [
                model.table(name).title
                for name in changed_sources(package, package.tables, "derive")
            ],
            "any": bool(derived.tables),
            "counts": [(model.table(name), len(one)) for name, one in derived.tables.items()],
            "assumptions": package.tables.rows("assumption") if known else [],
            "assumption": model.table("assumption") if known else None,
            "kinds": model.vocabularies["assumption_kind"] if known else None,
            "rule": PhaseRule(),
            "stored_years": STORED_YEARS,
            "end_error_cm": END_ERROR_CM,
            "most": MOST_NUMBERS,
        },
    )


@pages.shown("/record/{record}/derived/{figure}.svg")
def figure(asked: Asked) -> Answer:
    """One figure, drawn from the derived tables as they stand."""
    name = asked.address["figure"]
    if name in FIGURES:
        package = asked.record
        for one in figures(as_stored(package), Places.of(package), (name,)):
            return Sent(svg_of(one.sheet).encode(), f"{name}.svg", "image/svg+xml", shown=True)
    raise NotHere(_("There is no figure {name}.").format(name=name))


@pages.done("/record/{record}/derived/anew")
def derive(asked: Asked) -> Answer:
    """Derive everything anew, by the rule that was filled in."""
    package = asked.record
    whole = {
        name: _whole(asked, name, least)
        for name, least in (("window_years", 1), ("least", 1), ("narrow", 0), ("narrow_years", 0))
    }
    stored_years = _whole(asked, "stored", 0)
    end_error = asked.text("end_error", str(END_ERROR_CM)).replace(",", ".")
    try:
        end_error_cm = float(end_error)
    except ValueError:
        end_error_cm = -1.0
    if not 0 <= end_error_cm < 1000:
        raise UnusableInput(
            _("'{text}' is not a size in cm; write a number such as 1.0").format(text=end_error)
        )

    def deriving(progress: Progress) -> Done:
        progress(0, 1)
        derived = derive_package(
            package,
            phase_rule=PhaseRule(**whole),
            stored_years=stored_years,
            end_error_cm=end_error_cm,
        )
        said = [_("Derived anew."), *derived.order_contradictions, *widths_not_read(package)]
        return Done(asked.at("derived"), "\n".join(said))

    return Work(_("Deriving"), deriving)


def _titles(model: Model, figure: Figure) -> list[str]:
    """What the columns of a figure's numbers are called."""
    table = model.table(figure.table)
    return [
        table.field(one).title if one in table else one.replace("_", " ")
        for one in figure.numbers.columns
    ]


def _whole(asked: Asked, name: str, least: int) -> int:
    text = asked.text(name)
    if not text.isascii() or not text.isdigit() or not least <= int(text) < 10_000:
        raise UnusableInput(
            _("'{text}' is not a whole number from {least} on").format(text=text, least=least)
        )
    return int(text)

"""Writes the pages for relocating each hole, which only a full edition has."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from provenance._base.languages import SOURCE, _, speaking, unreviewed
from provenance._base.visible import visible
from provenance._bundle.finding_aid.addresses import page_path, relocation_path
from provenance._bundle.finding_aid.cells import Cells, Shown
from provenance._bundle.finding_aid.pictures import Attachment, Pictures
from provenance._bundle.finding_aid.plans import Plans
from provenance._bundle.finding_aid.writing import Page, Writer, put
from provenance._drawing.drawing import Item, Picture, Sheet, Transform
from provenance._drawing.stamp_face import stamp_face
from provenance._drawing.svg import svg_inside_page, svg_of
from provenance._model.spoken import in_language
from provenance._record.measured import shown
from provenance._record.snapshot import Row
from provenance._survey.hole.hole import why_not_placed
from provenance._survey.hole.known_points import KnownPoints, laid_down
from provenance._survey.parts.field_record import FieldRecord, read_field_record
from provenance._survey.plan.elevation import draw_strip
from provenance._survey.plan.end_view import draw_end
from provenance._survey.plan.plan_content import PlanContent, stamps_of
from provenance._survey.plan.plan_map import draw_ground
from provenance._survey.plan.plan_sheet import SECRET
from provenance._survey.plan.round_hole import plan_of_wood, surroundings, view_round
from provenance._survey.plan.sheet_parts import north_arrow, scale_bar, scale_words
from provenance._survey.relocation_facts import (
    HoleFacts,
    Relocation,
    clock_words,
    gather_facts,
    gather_relocation,
)

if TYPE_CHECKING:
    from provenance._bundle.finding_aid.chain_pages import Step

LIST_PATH = "pages/holes.html"
_NEEDED = frozenset({"site", "place", "datum", "tie", "element", "sample"})
_ROOT = "../../"
_PLAN_MM, _PLAN_AREA = (114.0, 86.0), (6.0, 17.0, 106.0, 67.0)
_SIDE_MM, _SIDE_AREA = (184.0, 32.0), (0.0, 0.0, 166.0, 32.0)
_END_MM = (86.0, 56.0)
_STAMP_MM, _STAMP_RADIUS_MM = (56.0, 26.0), 11.5
_ROUND_GROUND_MM = 3.0
_MOST_PHOTOS = 3
_PLUG_SHOWN = frozenset({"sample_id", "replaced_by_plug_id"})
_NO_POSITIONS = "the positions of this record cannot be worked out; the check says why"


@dataclass(frozen=True)
class Drawing:
    """A drawing in a page: the SVG, and what stands below it."""

    svg: Markup
    words: str


@dataclass(frozen=True)
class ListedHole:
    """A hole in the list of all: where its page is, and what one looks for."""

    href: str
    number: str
    sample: str
    wood: str
    place: str
    along: str
    clock: str
    missing: str


class RelocationPages:
    """The pages of one record; `of` makes it."""

    def __init__(self, cells: Cells, writer: Writer, pictures: Pictures, plans: Plans) -> None:
        self._cells = cells
        self._record = cells.record
        self._package = cells.record.package
        self._writer = writer
        self._pictures = pictures
        self._plans = plans
        self._contents: dict[object, PlanContent] = {}
        self._grounds: dict[object, tuple[str, Sheet, Transform]] = {}
        self._listed: dict[str, ListedHole] = {}

    @classmethod
    def of(
        cls, cells: Cells, writer: Writer, pictures: Pictures, plans: Plans
    ) -> RelocationPages | None:
        """None for a record without samples, or one that lacks whole tables."""
        record = cells.record
        whole = set(record.model.tables) >= _NEEDED
        return cls(cells, writer, pictures, plans) if whole and record.samples else None

    @cached_property
    def _known(self) -> KnownPoints | None:
        return self._plans.known

    @cached_property
    def _spoken_cells(self) -> Cells:
        """The cells in the language of the record, which only these pages speak."""
        language = self._record.model.language
        if language == SOURCE:
            return self._cells
        record = copy(self._record)
        record.model = in_language(record.model, language)
        return Cells(record, self._cells.files)

    @cached_property
    def _field_record(self) -> FieldRecord:
        return self._known.record if self._known else read_field_record(self._package)

    @cached_property
    def _laid_down(self) -> KnownPoints | None:
        return laid_down(self._known, self._record.model) if self._known else None

    @cached_property
    def _stamps(self) -> dict[str, str]:
        return stamps_of(self._package)

    # -- one hole --------------------------------------------------------------------------------

    def write(self, sample_id: str, steps_to_here: Sequence[Step]) -> None:
        """Write the page of a sample that has one row at least, in the language of the record."""
        with speaking(self._record.model.language):
            facts, missing = self._write(sample_id, steps_to_here)
        self._list(sample_id, facts, missing)

    def _write(self, sample_id: str, steps_to_here: Sequence[Step]) -> tuple[HoleFacts, str]:
        number = self._field_record.find("sample", sample_id)
        known, missing = self._known, _NO_POSITIONS
        facts: HoleFacts
        if known is not None and number in known.holes.sample:
            facts, missing = gather_relocation(self._package, known, sample_id), ""
        else:
            facts = gather_facts(self._package, self._field_record, sample_id)
            if known is not None:
                missing, known = why_not_placed(known, number), self._laid_down
        placed = facts if isinstance(facts, Relocation) else None
        self._writer.write(
            Page(relocation_path(sample_id), "relocate.html", facts.heading),
            steps_to_here=steps_to_here,
            here=facts.stamp or sample_id,
            facts=facts,
            placed=placed,
            missing=missing,
            plan=self._plan(placed) if placed else None,
            side=self._side(known, facts),
            end=self._end(known, facts, number),
            stamp=self._stamp(facts) if facts.is_hole or facts.stamp else None,
            plugs=self._plugs(sample_id),
            photos=self._photos(sample_id),
            secret=f"{_(SECRET)} {unreviewed()}".strip(),
            list_href=LIST_PATH,
            sample_href=page_path("sample", sample_id),
        )
        return facts, missing

    def _list(self, sample_id: str, facts: HoleFacts, missing: str) -> None:
        """Note the hole for the list of all, which is in English as the other pages are."""
        row = self._record.samples[sample_id]
        self._listed[sample_id] = ListedHole(
            relocation_path(sample_id),
            facts.stamp or sample_id,
            sample_id,
            row["element_id"],
            facts.place,
            shown(self._package.tables, "sample", "along_m", row["along_m"], other=True),
            clock_words(facts.clock) if facts.clock is not None else "",
            missing,
        )

    def _plugs(self, sample_id: str) -> list[list[Shown]]:
        """What fills the hole now: the plugs that no other one replaced."""
        return [
            self._spoken_cells.fields("plug", row, _ROOT, without=_PLUG_SHOWN)
            for row in self._record.plugs_of.get(sample_id, ())
            if not row["replaced_by_plug_id"]
        ]

    def _photos(self, sample_id: str) -> list[Attachment]:
        """The pictures that show most of it: of the plug, then the sample, then the wood."""
        about = [("plug", row["plug_id"]) for row in self._record.plugs_of.get(sample_id, ())]
        about += [("sample", sample_id)]
        about += [("element", self._record.samples[sample_id]["element_id"])]
        found = (one for table, key in about if key for one in self._pictures.about(table, key))
        return [one for one in found if one.preview][:_MOST_PHOTOS]

    # -- its drawings ----------------------------------------------------------------------------

    def _plan(self, facts: Relocation) -> Drawing | None:
        assert self._known is not None
        hole = facts.hole
        key = plan_of_wood(self._known, facts.element_row) or facts.element_row
        if key not in self._contents:
            content = surroundings(self._package, self._known, facts.element_row)
            self._contents[key] = content
        view = view_round(self._contents[key], hole, _PLAN_AREA)
        scale = view.transform.scale
        href, ground, transform = self._ground(key, scale)
        at = view.transform(*transform.origin)
        picture = Picture(
            (at[0] - _ROUND_GROUND_MM, at[1] - _ROUND_GROUND_MM),
            ground.width,
            ground.height,
            0.0,
            b"",
            href=_ROOT + href,
        )
        width, height = _PLAN_MM
        items = (
            *view.cropped().items(hole, picture),
            *scale_bar(_PLAN_AREA[0], 6.0, scale, facts.measures, most_mm=26.0),
            *north_arrow(width - 7.0, 6.0, 4.5, view.content.grid_north_deg),
        )
        tapes = ", ".join(f"{one.datum_id} {one.shown(facts.measures)[0][0]}" for one in hole.tapes)
        at_scale = scale_words(scale, facts.measures)
        words = _("Plan at {scale}; the hole has a ring, dashed lines are tapes.").format(
            scale=at_scale
        )
        told = _("Tapes from: {tapes}.").format(tapes=tapes)
        said = f"{words} {told}" if tapes else words
        if hole.trust.is_withheld:
            said = _(
                "Plan at {scale}; search for the hole in the dashed ring; diamonds are the "
                "places where it may be."
            ).format(scale=at_scale)
        return self._drawn("plan", width, height, items, _("Plan around the hole"), said)

    def _ground(self, key: object, scale: float) -> tuple[str, Sheet, Transform]:
        """The drawing that all holes of a storey have in common, in a file of its own."""
        if (key, scale) not in self._grounds:
            content = self._contents[key]
            extent = content.extent()
            assert extent is not None  # the hole itself is on it
            low_x, low_y, high_x, high_y = extent
            transform = Transform(scale, (low_x, low_y), (_ROUND_GROUND_MM, _ROUND_GROUND_MM))
            width, height = (one + _ROUND_GROUND_MM for one in transform(high_x, high_y))
            title = f"Wood of {content.building_name or content.building_id or content.site_id}"
            items = draw_ground(content, transform)
            sheet = Sheet(
                width,
                height,
                items,
                visible(title),
                f"Plan at {scale_words(scale, content.measures)}.",
            )
            href = f"pages/ground/{len(self._grounds) + 1}.svg"
            put(self._writer.folder / href, svg_of(sheet, paper=False).encode())
            self._grounds[key, scale] = href, sheet, transform
        return self._grounds[key, scale]

    def _side(self, known: KnownPoints | None, facts: HoleFacts) -> Drawing | None:
        row = facts.element_row
        if known is None or row < 0 or not np.isfinite(known.ends[2 * row : 2 * row + 2, 0]).all():
            return None
        strip = draw_strip(known, self._stamps, row, _SIDE_AREA, marked=facts.sample_id)
        words = _(
            "Seen from the 3 o'clock side, {scale}; the hole has a ring, dashed rings lie on the "
            "far side."
        ).format(scale=scale_words(strip.scale, facts.measures))
        return self._drawn("side", *_SIDE_MM, strip.items, _("The wood from its side"), words)

    def _end(self, known: KnownPoints | None, facts: HoleFacts, number: int) -> Drawing | None:
        if known is None or number not in known.holes.sample:
            return None
        at = np.flatnonzero(known.holes.sample == number)
        view = draw_end(known, self._stamps, int(at[0]), (0.0, 0.0, *_END_MM))
        told = "" if facts.clock is not None else " " + _("The clock position is not recorded.")
        words = view.words + (told if facts.is_hole else " " + _("A piece was cut out here."))
        return self._drawn("end", *_END_MM, view.items, _("The wood from its end"), words)

    def _stamp(self, facts: HoleFacts) -> Drawing:
        width, height = _STAMP_MM
        items: list[Item] = []
        for share, upside_down in ((0.25, False), (0.75, True)):
            at, radius = (width * share, height / 2), _STAMP_RADIUS_MM
            items += stamp_face(at, radius, facts.stamp, facts.mark, upside_down=upside_down)
        words = (
            _("Right way up: {stamp}. Upside down: {words}.").format(
                stamp=facts.stamp, words=facts.turned_words
            )
            if facts.stamp
            else _("No stamp is recorded.")
        )
        return self._drawn(
            "stamp", width, height, items, _("The stamp, right way up and upside down"), words
        )

    def _drawn(
        self, name: str, width: float, height: float, items: Sequence[Item], title: str, words: str
    ) -> Drawing:
        sheet = Sheet(width, height, tuple(items), visible(title), visible(words))
        return Drawing(Markup(svg_inside_page(sheet, None, name=name)), words)

    # -- all holes -------------------------------------------------------------------------------

    def write_list(self) -> None:
        """Write the list of all holes, after their pages: building by building, along the wood."""
        record = self._record
        groups = []
        left = dict(self._listed)
        for outer in record.outer_places:
            wood = [
                row
                for place in record.below(outer["place_id"])
                for row in record.wood_of.get(place["place_id"], ())
            ]
            groups.append((record.place_name(outer), self._taken(left, wood)))
        groups.append(("Timbers whose place is not recorded", list(left.values())))
        self._writer.write(
            Page(LIST_PATH, "holes.html", "All holes"),
            groups=[(name, holes) for name, holes in groups if holes],
            count=len(self._listed),
            secret=SECRET,
        )

    def _taken(self, left: dict[str, ListedHole], wood: Sequence[Row]) -> list[ListedHole]:
        along = np.nan_to_num(self._field_record.numbers("sample", "along_m"), nan=np.inf)

        def order(sample_id: str) -> tuple[float, str]:
            return float(along[self._field_record.find("sample", sample_id)]), sample_id

        found = []
        for row in wood:
            samples = self._record.samples_of.get(row["element_id"], ())
            keys = {one["sample_id"] for one in samples} & left.keys()
            found += [left.pop(key) for key in sorted(keys, key=order)]
        return found

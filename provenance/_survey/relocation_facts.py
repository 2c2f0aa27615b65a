"""Gathers everything that somebody needs who wants to find one hole again."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._base.languages import N_, SOURCE, _, language_spoken
from provenance._gate.folders import is_plain_file
from provenance._identity.check_character import check_letters
from provenance._identity.identifier import identifier_in
from provenance._identity.rotation import turned
from provenance._ledger.holdings import Holding, holdings_of
from provenance._model.felling import felling_in_words
from provenance._model.measures import Measures
from provenance._model.notation import write_year
from provenance._model.schema import Model
from provenance._model.spoken import spoken
from provenance._record.agreements import agreements_at, notices
from provenance._record.attempts import gave_nothing, kind_in_words
from provenance._record.cells import float_of
from provenance._record.measured import said, shown
from provenance._record.package import Package
from provenance._record.snapshot import Row, Snapshot
from provenance._record.trust import UNCHECKED, grid_words, place_words, range_words, trust_words
from provenance._survey.adjust.bore import UPRIGHT_DEG, wood_axes
from provenance._survey.hole.drilling import drilling_cautions, propose_holes
from provenance._survey.hole.hole import HolePosition, hole_position
from provenance._survey.hole.known_points import KnownPoints
from provenance._survey.hole.permission import (
    Permission,
    party_words,
    permission_on_record,
)
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.plan.elevation import strip_title

_POINTS = (
    N_("north"), N_("north-east"), N_("east"), N_("south-east"),
    N_("south"), N_("south-west"), N_("west"), N_("north-west"),
)  # fmt: skip
_PICTURES = (".png", ".jpg", ".jpeg")


@dataclass(frozen=True)
class HoleFacts:
    """What is told of a hole wherever it is; lists of lines for each box, '' where unrecorded.

    `identifier` and `check` are '' for a number that no label can bear; `element_row` is -1 for
    wood that is not in the table. `on_the_wood` tells of a hole that cannot be placed what was
    written down.
    """

    sample_id: str
    identifier: str
    check: str
    site: str
    element_row: int
    is_hole: bool
    wood: str
    place: str
    stamp: str
    mark: str
    turned_reading: str
    clock: float | None
    direction: str
    on_the_wood: tuple[str, ...]
    taken: tuple[str, ...]
    keeper: tuple[str, ...]
    results: tuple[str, ...]
    permission: Permission
    cautions: tuple[str, ...]
    photo: Path | None
    photo_title: str
    measures: Measures

    @property
    def heading(self) -> str:
        """What the sheet is for, with the stamp where that is another number."""
        said = _("Relocating the cut of sample {sample}")
        if self.is_hole:
            said = _("Relocating the hole of sample {sample}")
        heading = said.format(sample=self.sample_id)
        if self.stamp in ("", self.sample_id):
            return heading
        return heading + _(", stamped {stamp}").format(stamp=self.stamp)

    @property
    def turned_words(self) -> str:
        """What the stamp says to somebody who holds it upside down."""
        reads = _("reads {number}").format(number=self.turned_reading)
        return reads if self.turned_reading else _("no number")


@dataclass(frozen=True)
class Relocation(HoleFacts):
    """The words of one sheet about a hole that can be placed."""

    hole: HolePosition
    in_space: tuple[str, ...]
    clear_places: tuple[str, ...]

    @property
    def doubt(self) -> tuple[str, ...]:
        """Why nobody must rely on one point; empty where somebody may."""
        return trust_words(self.hole.trust, self.measures) if self.hole.trust.is_doubted else ()

    @property
    def places(self) -> tuple[str, ...]:
        """Where the hole may be, if at more than one place."""
        return place_words(self.hole.trust, self.measures)

    @property
    def tape_note(self) -> str:
        """What the tape distances are and what they meet at, or why there are none."""
        return _tape_note(self.hole)


def gather_relocation(package: Package, known: KnownPoints, sample_id: str) -> Relocation:
    """The facts of one sample's sheet; raises UnusableInput when its hole cannot be placed."""
    hole = hole_position(package, sample_id, known=known)
    record = known.record
    facts = gather_facts(package, record, sample_id)
    sample = record.row("sample", record.find("sample", sample_id))
    north = record.grid_north_deg(sample["site_id"])
    plug = _standing_plug(package, sample_id)
    wood = record.row("element", facts.element_row)
    placed = {
        "wood": strip_title(known, facts.element_row, _use_words(package.model, wood["function"])),
        "on_the_wood": _on_the_wood(package, known, facts.element_row, sample, hole, plug, north),
    }
    return Relocation(
        **vars(facts) | placed,
        hole=hole,
        in_space=_in_space(package, hole, north, own_grid=record.grid_a_building),
        clear_places=_clear_places(package, known, hole),
    )


def gather_facts(package: Package, record: FieldRecord, sample_id: str) -> HoleFacts:
    """What is told of the hole of a sample in the table, whether it can be placed or not."""
    sample = record.row("sample", record.find("sample", sample_id))
    element = record.find("element", sample["element_id"])
    wood: Row = record.row("element", element) if element >= 0 else defaultdict(str)
    plug = _standing_plug(package, sample_id)
    stamp = plug["stamp"] if plug else ""
    site_id = sample["site_id"] or wood["site_id"]
    site: Row = record.site(site_id) or defaultdict(str)
    try:
        identifier = identifier_in(package.model.numbering, sample["site_id"], sample_id)
    except UnreadableValue:
        identifier = ""
    is_hole = _leaves_hole(package, sample["kind"])
    holding = holdings_of(package.tables).get(sample_id)
    photo, photo_title = _photo(package, sample_id, sample["element_id"], plug)
    return HoleFacts(
        sample_id=sample_id,
        identifier=identifier,
        check=check_letters(identifier) if identifier else "",
        site=f"{site['name']} ({site_id})" if site["name"] else site_id,
        element_row=element,
        is_hole=is_hole,
        wood=_wood_words(package, sample["element_id"], wood),
        place=_place_words(record, wood["place_id"]),
        stamp=stamp,
        mark=plug["orientation_mark"] if plug else "none",
        turned_reading=turned(stamp) or "" if stamp else "",
        clock=float_of(sample["clock"]),
        direction=sample["direction"],
        on_the_wood=_as_written(package, sample, plug, is_hole=is_hole),
        taken=_taken(package, sample),
        keeper=(_("Nothing was taken"),) if gave_nothing(sample) else _keeper(package, holding),
        results=_results(package, sample_id),
        permission=permission_on_record(package, site, wood, sample, holding),
        cautions=(
            *(
                _("Notice of the community: {words}").format(words=said)
                for said in notices(agreements_at(package.tables, site_id, wood["place_id"]))
            ),
            *drilling_cautions(package, record, element, site_id=site_id),
        ),
        photo=photo,
        photo_title=photo_title,
        measures=package.model.measures,
    )


def _by(package: Package, table: str, column: str) -> dict[str, list[Row]]:
    """The rows of a table by what stands in one column, gathered once for all samples."""

    def read(tables: Snapshot) -> dict[str, list[Row]]:
        found: dict[str, list[Row]] = defaultdict(list)
        for row in tables.rows(table):
            found[row[column]].append(row)
        return dict(found)

    return package.tables.once(f"{table} by {column}", read)


def _standing_plug(package: Package, sample_id: str) -> Row | None:
    plugs = _by(package, "plug", "sample_id").get(sample_id, ())
    standing = [plug for plug in plugs if not plug["replaced_by_plug_id"]]
    return standing[-1] if standing else None


def _leaves_hole(package: Package, kind: str) -> bool:
    term = package.model.vocabularies["sample_kind"].term(kind)
    return bool(term and term.attributes.get("leaves_hole"))


def _wood_words(package: Package, element_id: str, wood: Row) -> str:
    length = shown(package.tables, "element", "length_m", wood["length_m"])
    use = _use_words(package.model, wood["function"])
    parts = [element_id, use, wood["position_note"], length]
    return ", ".join(part for part in parts if part) or _("wood not recorded")


def _use_words(model: Model, code: str) -> str:
    """Its code in small letters, or what it is called in another language."""
    if language_spoken() == SOURCE or not code:
        return code.replace("_", " ")
    return spoken(model).vocabularies["element_function"].label(code).lower()


def _place_words(record: FieldRecord, place_id: str) -> str:
    line = reversed(record.line_of_places(place_id))
    places = (record.row("place", at) for at in line)
    words = [place["name"] or place["place_id"] for place in places]
    return ", ".join(words) or _("place not recorded")


def _label(package: Package, vocabulary: str, code: str) -> str:
    return spoken(package.model).vocabularies[vocabulary].label(code)


def clock_words(hours: float) -> str:
    """A clock position as people say it.

    >>> clock_words(3.5), clock_words(0.0), clock_words(9.0)
    ('half past 3', "12 o'clock", "9 o'clock")
    """
    whole, part = divmod(hours, 1.0)
    hour = int(whole) % 12 or 12
    if abs(part) < 0.01:
        return _("{hour} o'clock").format(hour=hour)
    if abs(part - 0.5) < 0.01:
        return _("half past {hour}").format(hour=hour)
    return _("{time} on the clock").format(time=f"{hour}:{round(part * 60):02d}")


def slope_words(inclination_deg: float) -> str:
    """Which way a drill went, up or down.

    >>> slope_words(0.5), slope_words(-30.0), slope_words(89.0)
    ('level', '30° downwards', 'straight up')
    """
    if abs(inclination_deg) < 2:
        return _("level")
    if abs(inclination_deg) > 85:
        return _("straight up") if inclination_deg > 0 else _("straight down")
    way = _("{degrees}° upwards") if inclination_deg > 0 else _("{degrees}° downwards")
    return way.format(degrees=f"{abs(inclination_deg):.0f}")


def compass_point(bearing_deg: float) -> str:
    """The nearest of the eight compass points to a true bearing.

    >>> compass_point(92.0), compass_point(-44.0)
    ('east', 'north-west')
    """
    return _(_POINTS[round(bearing_deg / 45.0) % 8])


def _clear_places(package: Package, known: KnownPoints, hole: HolePosition) -> tuple[str, ...]:
    try:
        found = propose_holes(package, hole.element_id, known=known)
    except UnusableInput:
        # without a diameter nothing can be proposed; the sheet is worth having all the same
        return (_("The size of the wood is not recorded."),)
    say = package.model.measures.say
    lines = [
        _("{along} from A, {clock}, to {depth} deep").format(
            along=say(one.along_m, "m", "timber", other=True),
            clock=clock_words(one.clock),
            depth=say(one.depth_m, "m", "core", other=True),
        )
        for one in found.places
    ]
    return (*lines, *found.notes, _("Only with a permit, and see below."))


def _on_the_wood(
    package: Package,
    known: KnownPoints,
    element: int,
    sample: Row,
    hole: HolePosition,
    plug: Row | None,
    north: float | None,
) -> tuple[str, ...]:
    stick = known.sticks.at(np.array([element]))
    axes = wood_axes(stick.a, stick.b)
    forward, length = axes[0], axes[3]
    upright = abs(forward[0, 2]) > np.sin(np.radians(UPRIGHT_DEG))
    tables, say = package.tables, package.model.measures.say
    from_b = say(float(length[0]) - hole.along_m, "m", "timber", other=True)
    from_a = said(tables, "sample", "along_m", hole.along_m, other=True)
    lines = [_("{a} from end A, {b} from end B").format(a=from_a, b=from_b)]
    side = _("the grid's y axis") if north is None else compass_point(north)
    twelve = _(" (12 is up)")
    if upright:
        twelve = _(" (12 is the side toward {side})").format(side=side)
    lines += _way_in(package, sample, hole.depth_m, is_hole=hole.is_hole, twelve=twelve)
    if hole.radius_m is not None:
        thick = say(2 * hole.radius_m, "m", "diameter", u95_mm=15.0, other=True)
        lines.append(_("Wood about {size} thick there").format(size=thick))
    return (*lines, *_in_it_now(package, plug, is_hole=hole.is_hole))


def _as_written(
    package: Package, sample: Row, plug: Row | None, *, is_hole: bool
) -> tuple[str, ...]:
    """What is known on the wood of a hole that nothing places."""
    along, height = (
        shown(package.tables, "sample", name, sample[name], other=True)
        for name in ("along_m", "height_m")
    )
    depth = float_of(sample["depth_mm"])
    lines = [_("{along} from end A").format(along=along)] if along else []
    lines += [_("{height} above the floor").format(height=height)] if height else []
    if is_hole and float_of(sample["clock"]) is None:
        lines.append(_("The clock position is not recorded"))
    depth_m = depth / 1000 if depth else None
    twelve = _(" (on level wood 12 is up)")
    lines += _way_in(package, sample, depth_m, is_hole=is_hole, twelve=twelve)
    return (*lines, *_in_it_now(package, plug, is_hole=is_hole))


def _way_in(
    package: Package, sample: Row, depth_m: float | None, *, is_hole: bool, twelve: str
) -> list[str]:
    if not is_hole:
        return []
    clock = float_of(sample["clock"])
    lines = []
    if clock is not None:
        at = _("At {clock}, seen from A toward B").format(clock=clock_words(clock))
        lines.append(at + twelve)
    way = _label(package, "drill_direction", sample["direction"]).lower()
    lines.append(_("Drilled: {way}").format(way=way))
    if depth_m is not None:
        deep = said(package.tables, "sample", "depth_mm", depth_m * 1000, other=True)
        lines.append(_("Depth {depth}").format(depth=deep))
    return lines


def _in_it_now(package: Package, plug: Row | None, *, is_hole: bool) -> list[str]:
    if plug:
        status = _label(package, "plug_status", plug["status"]).lower()
        dowel = shown(package.tables, "plug", "dowel_mm", plug["dowel_mm"], other=True)
        size = ", " + _("dowel {size}").format(size=dowel) if dowel else ""
        return [_("Plug: {status}").format(status=status) + size]
    return [_("No plug is recorded")] if is_hole else []


def _tape_note(hole: HolePosition) -> str:
    if not hole.tapes:
        return _("No datum with coordinates within reach of a tape.")
    kind = _("Slope distances") if hole.entry_m[2] is not None else _("Level distances")
    trust = hole.trust
    if trust.is_withheld and trust.places:
        more = _(". The arcs for one place meet there: look at each place.")
        return kind + more
    if trust.is_withheld:
        return kind + _(" to the likeliest place; the hole may lie elsewhere.")
    if trust.is_off:
        return kind + _(
            " to where the tapes put it; on the wood it was measured at another place: look at "
            "both."
        )
    if trust.verdict == UNCHECKED:
        return kind + _(
            ". If no tape was misread, the arcs cross at the hole, and ± holds 95 times in 100."
        )
    return kind + _("; ± holds 95 times in 100. Where the arcs cross is the hole.")


def _in_space(
    package: Package, hole: HolePosition, north: float | None, *, own_grid: bool
) -> tuple[str, ...]:
    lines = []
    measures = package.model.measures
    trust = hole.trust
    if hole.height_above_floor_m is not None:
        height = measures.say(hole.height_above_floor_m, "m", "timber", other=True)
        above = _("{height} above the floor")
        if trust.is_withheld:
            above = _("About {height} above the floor")
        lines.append(above.format(height=height))
    grid = _("The building's own grid:") if own_grid else _("Site grid")
    if not trust.places:
        likeliest = _("Likeliest place: ") if trust.is_withheld else ""
        at = grid_words(hole.entry_m, measures)
        lines.append(f"{likeliest}{grid} {at}")
    lines.append(range_words(trust, hole.u95_major_m, hole.u95_height_m, measures))
    # what makes it doubtful has a place of its own on the page
    lines += () if trust.is_doubted else trust_words(trust, measures)
    if hole.inclination_deg is not None:
        way = slope_words(hole.inclination_deg)
        over = ""
        if hole.bearing_deg is not None:
            over = _(", grid bearing {degrees}°").format(degrees=f"{hole.bearing_deg:.0f}")
            if north is not None:
                side = compass_point(hole.bearing_deg + north)
                over += _(" (toward {side})").format(side=side)
        lines.append(_("The drill went {way}").format(way=way) + over)
    if hole.nearest is not None:
        near = hole.nearest
        wood = _("the same wood") if near.same_wood else near.element_id
        off = measures.say(near.between_m, "m", "timber", other=True)
        nearest = _("Nearest other hole: {sample} in {wood}, {away} away")
        lines.append(nearest.format(sample=near.sample_id, wood=wood, away=off))
    return (*lines, *hole.notes)


def _taken(package: Package, sample: Row) -> tuple[str, ...]:
    lines = [kind_in_words(spoken(package.model), sample)]
    sizes = []
    tables = package.tables
    if bore := shown(tables, "sample", "bore_mm", sample["bore_mm"], other=True):
        sizes.append(_("bore {size}").format(size=bore))
    if length := shown(tables, "sample", "length_mm", sample["length_mm"], other=True):
        sizes.append(_("{length} long").format(length=length))
    if sample["pieces"]:
        pieces = _("{n} piece") if sample["pieces"] == "1" else _("{n} pieces")
        sizes.append(pieces.format(n=sample["pieces"]))
    lines += [", ".join(sizes)] if sizes else []
    for vocabulary, name in (("species", "species_field"), ("outer_surface", "outer_surface")):
        if sample[name]:
            lines.append(_label(package, vocabulary, sample[name]))
    by = party_words(package, sample["collected_by"]) or _("a person not recorded")
    done = _("Attempted {date} by {name}") if gave_nothing(sample) else _("Taken {date} by {name}")
    lines.append(done.format(date=sample["collected_on"] or _("(no date recorded)"), name=by))
    return tuple(lines)


def _keeper(package: Package, held: Holding | None) -> tuple[str, ...]:
    if held is None:
        return (_("No custody event is recorded"),)
    if held.gone:
        return (_("{state} since {date}").format(state=_(held.gone).capitalize(), date=held.since),)
    if held.on_the_way_to:
        return (
            _("On the way to {name} since {date}").format(
                name=party_words(package, held.on_the_way_to), date=held.since
            ),
        )
    lines = [party_words(package, held.holder), _("since {date}").format(date=held.since)]
    if held.place_held:
        lines.append(held.place_held)
    if held.state:
        lines.append(_label(package, "sample_state", held.state))
    return tuple(lines)


def _results(package: Package, sample_id: str) -> tuple[str, ...]:
    mine = _by(package, "lab_result", "sample_id").get(sample_id, ())
    replaced = {row["supersedes_result_id"] for row in mine} - {""}
    lines: list[str] = []
    for row in mine:
        if row["result_id"] in replaced:
            continue
        outcome = _label(package, "result_outcome", row["outcome"])
        said = row["notation"] or _years(row)
        reason = (
            f", {_label(package, 'undated_reason', row['undated_reason']).lower()}"
            if row["undated_reason"]
            else ""
        )
        lines.append(f"{outcome}{reason}{': ' + said if said else ''}")
        for words in (_rings(package, row), felling_in_words(row, spoken(package.model))):
            lines += [words[0].upper() + words[1:]] if words else []
        lines.append(f"{party_words(package, row['laboratory_id'])}, {row['reported_on']}")
    return tuple(lines) or (_("No results to date"),)


def _rings(package: Package, row: Row) -> str:
    """The first and the last ring with their signs in words, '' for a result without years."""

    def ring(side: str) -> str:
        codes = [code.strip() for code in row[f"{side}_symbol"].split(";") if code.strip()]
        signs = ", ".join(_label(package, "result_symbol", code).lower() for code in codes)
        year = write_year(int(row[f"{side}_year"]))
        ring = _("innermost ring {year}") if side == "inner" else _("outermost ring {year}")
        return ring.format(year=year) + (f" ({signs})" if signs else "")

    return ", ".join(ring(side) for side in ("inner", "outer") if row[f"{side}_year"])


def _years(row: Row) -> str:
    inner, outer = row["inner_year"], row["outer_year"]
    return (
        _("{first} to {last}").format(first=inner, last=outer)
        if inner and outer
        else outer or inner
    )


def _photo(
    package: Package, sample_id: str, element_id: str, plug: Row | None
) -> tuple[Path | None, str]:
    """The photo that shows most of it: of the plug, else of the sample, else of the wood."""
    files = _by(package, "file", "about_id")
    plug_id = plug["plug_id"] if plug else ""
    for about, key in (("plug", plug_id), ("sample", sample_id), ("element", element_id)):
        for row in files.get(key, ()) if key else ():
            path = package.folder / row["path"]
            shown = path.suffix.lower() in _PICTURES and row["kind"] == "photo"
            if row["about_table"] == about and shown and is_plain_file(package.folder, row["path"]):
                return path, row["title"]
    return None, ""

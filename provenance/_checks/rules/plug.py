"""Rules about plugs: one readable dowel in every hole, and its stamp."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.dates import date_bounds
from provenance._checks.language.links import look_up, looping, of_each, unlike_first, without_any
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import samples_with_wood
from provenance._identity.rotation import is_marked, turned
from provenance._record.snapshot import Snapshot

THERE = ("in_place", "in_place_worn", "hidden")
"""Statuses of a plug that is in its hole."""
PAST = ("replaced", "lost", "not_plugged")
"""Statuses of a row that stands for no plug in the wood."""

LOOSE_BY_MM = 0.5
TIGHT_BY_MM = 0.5
"""Half a millimetre is what a tap of the mallet takes, and what a turned dowel is off by."""
PROUD_BY_MM = 5.0

_FIT = "common practice, no source; 1 in is exactly 25.4 mm"


def _plugs(tables: Snapshot) -> pl.DataFrame:
    """Every plug with its dates as days and what is known of its sample."""
    return tables.once("plugs_with_samples", _join_samples)


def _join_samples(tables: Snapshot) -> pl.DataFrame:
    samples = samples_with_wood(tables).select(
        "sample_id",
        "site_id",
        "element_id",
        "leaves_hole",
        "bore_mm",
        "collected_on",
        "collected_on_first",
        pl.col("kind").alias("sample_kind"),
        pl.coalesce("depth_mm", pl.col("length_mm")).alias("hole_mm"),
    )
    samples = of_each(samples.drop_nulls("sample_id"), "sample_id")
    dated = date_bounds(tables["plug"], "placed_on", "last_seen_on")
    return dated.join(samples, on="sample_id", how="left", maintain_order="left")


@rule(
    "plug.missing",
    table="sample",
    field="sample_id",
    severity="warning",
    says="Sample {sample_id} left a hole in {element_id}, but no plug is recorded for it.",
    remedy="Enter the plug with its stamp. If the hole was left open on purpose, enter a plug with "
    "the status 'not plugged'.",
    source=COMMON_PRACTICE,
)
def missing(tables: Snapshot) -> pl.DataFrame:
    """The stamped dowel is the only mark that stays with the wood."""
    holes = samples_with_wood(tables).filter("leaves_hole")
    return without_any(holes, tables["plug"], "sample_id")


@rule(
    "plug.without_hole",
    table="plug",
    field="sample_id",
    severity="warning",
    says="Plug {plug_id} belongs to sample {sample_id}, which is a {sample_kind} and left no hole.",
    remedy="Check the kind of the sample and the number on the plug.",
    source=COMMON_PRACTICE,
)
def without_hole(tables: Snapshot) -> pl.DataFrame:
    """Either the sample was a core, or the plug is in the hole of another one."""
    stands = ~pl.col("status").is_in(["not_plugged"])
    return _plugs(tables).filter(~pl.col("leaves_hole") & stands)


@rule(
    "plug.two_in_one_hole",
    table="plug",
    field="status",
    severity="error",
    says="Plugs {first_id} and {plug_id} are both said to be in the hole of sample {sample_id}.",
    remedy="Set the older one to 'replaced' and enter the newer one as its successor.",
    source=COMMON_PRACTICE,
)
def two_in_one_hole(tables: Snapshot) -> pl.DataFrame:
    """A hole holds one dowel."""
    there = tables["plug"].filter(pl.col("status").is_in(THERE) & pl.col("sample_id").is_not_null())
    return unlike_first(there, "plug_id", ["sample_id"])


@rule(
    "plug.replaced_by_nothing",
    table="plug",
    field="replaced_by_plug_id",
    severity="warning",
    says="Plug {plug_id} of sample {sample_id} was replaced, but it is not said by which plug.",
    remedy="Enter the new plug and its code here.",
    source=COMMON_PRACTICE,
)
def replaced_by_nothing(tables: Snapshot) -> pl.DataFrame:
    """Without its successor nobody knows what is stamped in the hole today."""
    return tables["plug"].filter(
        (pl.col("status") == "replaced") & pl.col("replaced_by_plug_id").is_null()
    )


@rule(
    "plug.successor_while_in_place",
    table="plug",
    field="status",
    severity="warning",
    says="Plug {plug_id} is '{status}', but plug {replaced_by_plug_id} is said to have replaced "
    "it.",
    remedy="Set its status to 'replaced', or take the successor out.",
    source=COMMON_PRACTICE,
)
def successor_while_in_place(tables: Snapshot) -> pl.DataFrame:
    """A hole holds one dowel."""
    return tables["plug"].filter(
        pl.col("status").is_in(THERE) & pl.col("replaced_by_plug_id").is_not_null()
    )


@rule(
    "plug.replaces_itself",
    table="plug",
    field="replaced_by_plug_id",
    severity="error",
    says="Plug {plug_id} was replaced by {replaced_by_plug_id}, which in the end was replaced by "
    "{plug_id} again.",
    remedy="Order the plugs of the hole by the day they were set; the last one has no successor.",
    source=COMMON_PRACTICE,
)
def replaces_itself(tables: Snapshot) -> pl.DataFrame:
    """Nobody can tell which plug is in the hole."""
    return looping(tables["plug"], "plug_id", "replaced_by_plug_id")


@rule(
    "plug.successor_in_another_hole",
    table="plug",
    field="replaced_by_plug_id",
    severity="error",
    says="Plug {plug_id} of sample {sample_id} was replaced by {replaced_by_plug_id}, which is in "
    "the hole of sample {their_sample_id}.",
    remedy="Read the stamps again; a successor is in the same hole.",
    source=COMMON_PRACTICE,
)
def successor_in_another_hole(tables: Snapshot) -> pl.DataFrame:
    """The chain from hole to sample would jump to another piece of wood."""
    joined = look_up(
        tables["plug"], "replaced_by_plug_id", tables, "plug", {"their_sample_id": "sample_id"}
    )
    return joined.filter(pl.col("their_sample_id") != pl.col("sample_id"))


@rule(
    "plug.successor_set_earlier",
    table="plug",
    field="replaced_by_plug_id",
    severity="warning",
    says="Plug {plug_id}, set on {placed_on}, was replaced by {replaced_by_plug_id}, set on "
    "{their_placed_on}.",
    remedy="Exchange the two, or set the dates right.",
    source=COMMON_PRACTICE,
)
def successor_set_earlier(tables: Snapshot) -> pl.DataFrame:
    """The newer plug is the one to look for."""
    dated = date_bounds(tables["plug"], "placed_on")
    successors = {"their_placed_on": "placed_on"}
    joined = look_up(dated, "replaced_by_plug_id", tables, "plug", successors)
    return date_bounds(joined, "their_placed_on").filter(
        pl.col("their_placed_on_last") < pl.col("placed_on_first")
    )


@rule(
    "plug.stamp_is_not_its_sample",
    table="plug",
    field="stamp",
    severity="error",
    says="Plug {plug_id} is stamped {stamp}, but it is in the hole of sample {sample_id}.",
    remedy="Read the dowel again. If it is stamped wrongly, replace it and keep this row as "
    "'replaced'.",
    source=COMMON_PRACTICE,
)
def stamp_is_not_its_sample(tables: Snapshot) -> pl.DataFrame:
    """The stamp is what leads from the wood to the sample; row, label and stamp must agree."""
    return tables["plug"].filter(
        (pl.col("stamp") != pl.col("sample_id")) & ~pl.col("status").is_in(PAST)
    )


@rule(
    "plug.no_stamp",
    table="plug",
    field="stamp",
    severity="warning",
    says="Plug {plug_id} of sample {sample_id} is in its hole, but nothing is said to be stamped "
    "on it.",
    remedy="Read the dowel and enter exactly what is punched into it.",
    source=COMMON_PRACTICE,
)
def no_stamp(tables: Snapshot) -> pl.DataFrame:
    """A dowel without a number leads nowhere."""
    return tables["plug"].filter(pl.col("status").is_in(THERE) & pl.col("stamp").is_null())


@rule(
    "plug.stamp_twice_in_a_site",
    table="plug",
    field="stamp",
    severity="error",
    says="Stamp {stamp} of plug {plug_id} is on plug {first_id} of site {site_id} as well.",
    remedy="Read both dowels again; replace one if they are really the same.",
    source=COMMON_PRACTICE,
)
def stamp_twice_in_a_site(tables: Snapshot) -> pl.DataFrame:
    """Two holes with one number: the sample can be of either."""
    there = _plugs(tables).filter(pl.col("status").is_in(THERE)).drop_nulls(["stamp", "site_id"])
    stamped = ["site_id", "stamp"]
    named = there.with_columns(first_id=pl.col("plug_id").first().over(stamped))
    return unlike_first(named, "sample_id", stamped, first="_first_sample")


@rule(
    "plug.stamps_read_alike",
    table="plug",
    field="stamp",
    severity="warning",
    says="Upside down, stamp {stamp} of plug {plug_id} reads {reads}, which is the stamp of plug "
    "{other_id} in the same site {site_id}.",
    remedy="Punch an orientation mark below the number, or replace the plug; 'treenail stamps' "
    "reserves numbers that cannot be mistaken.",
    source="geometry of upright die characters (6 and 9 turn into each other); common practice, "
    "no source",
)
def stamps_read_alike(tables: Snapshot) -> pl.DataFrame:
    """A round dowel has no top; 66 in the ceiling is 99 to whoever stands on the other side."""
    there = _plugs(tables).filter(pl.col("status").is_in(THERE)).drop_nulls(["stamp", "site_id"])
    stamps = there["stamp"].unique().to_list()
    readings = {stamp: turned(stamp) for stamp in stamps if not is_marked(stamp)}
    alike = {stamp: read for stamp, read in readings.items() if read not in (None, stamp)}
    others = of_each(there.select("site_id", reads="stamp", other_id="plug_id"), "site_id", "reads")
    unmarked = pl.col("orientation_mark").fill_null("none") == "none"
    return (
        there.filter(unmarked & pl.col("stamp").is_in(list(alike)))
        .with_columns(
            reads=pl.col("stamp").replace_strict(alike, default=None, return_dtype=pl.String)
        )
        .join(others, on=["site_id", "reads"], maintain_order="left")
    )


@rule(
    "plug.hole_open",
    table="plug",
    field="status",
    severity="warning",
    says="Plug {plug_id} of sample {sample_id} is lost and no other one took its place.",
    remedy="Set a new dowel with the same number on the next visit, and enter it as the successor.",
    source=COMMON_PRACTICE,
)
def hole_open(tables: Snapshot) -> pl.DataFrame:
    """An open hole lets in water and insects, and has no number."""
    filled = tables["plug"].filter(~pl.col("status").is_in(["lost", "replaced"]))
    lost = (pl.col("status") == "lost") & pl.col("replaced_by_plug_id").is_null()
    return without_any(tables["plug"].filter(lost), filled, "sample_id")


@rule(
    "plug.loose",
    table="plug",
    field="dowel_mm",
    severity="warning",
    says="The dowel of plug {plug_id} is {dowel_mm} mm, the bore of sample {sample_id} "
    "{bore_mm} mm: it is loose by {gap_mm:.1f} mm.",
    remedy="Measure both again. A dowel cut in millimetres may not fit a hole bored in inches: "
    "1/2 in is 12.7 mm.",
    source=_FIT,
)
def loose(tables: Snapshot) -> pl.DataFrame:
    """A loose dowel falls out, and the number with it."""
    return (
        _plugs(tables)
        .with_columns(gap_mm=pl.col("bore_mm") - pl.col("dowel_mm"))
        .filter(~pl.col("status").is_in(PAST) & (pl.col("gap_mm") > LOOSE_BY_MM))
    )


@rule(
    "plug.too_thick",
    table="plug",
    field="dowel_mm",
    severity="warning",
    says="The dowel of plug {plug_id} is {dowel_mm} mm, the bore of sample {sample_id} only "
    "{bore_mm} mm.",
    remedy="Measure both again; the bore is the hole, not the thinner core.",
    source=_FIT,
)
def too_thick(tables: Snapshot) -> pl.DataFrame:
    """A dowel that has to be forced splits the wood."""
    return _plugs(tables).filter(
        ~pl.col("status").is_in(PAST) & (pl.col("dowel_mm") > pl.col("bore_mm") + TIGHT_BY_MM)
    )


@rule(
    "plug.longer_than_hole",
    table="plug",
    field="length_mm",
    severity="note",
    says="Plug {plug_id} is {length_mm} mm long, the hole of sample {sample_id} only {hole_mm} mm "
    "deep.",
    remedy="Check both; a plug that stands proud is worn first.",
    source=COMMON_PRACTICE,
)
def longer_than_hole(tables: Snapshot) -> pl.DataFrame:
    """The stamp should lie flush with the wood."""
    return _plugs(tables).filter(
        pl.col("leaves_hole") & (pl.col("length_mm") > pl.col("hole_mm") + PROUD_BY_MM)
    )


@rule(
    "plug.set_before_sample",
    table="plug",
    field="placed_on",
    severity="error",
    says="Plug {plug_id} was set on {placed_on}, but sample {sample_id} was taken on "
    "{collected_on}.",
    remedy="Compare both dates with the record sheet.",
    source=COMMON_PRACTICE,
)
def set_before_sample(tables: Snapshot) -> pl.DataFrame:
    """Before the drill there is no hole."""
    return _plugs(tables).filter(pl.col("placed_on_last") < pl.col("collected_on_first"))


@rule(
    "plug.seen_before_set",
    table="plug",
    field="last_seen_on",
    severity="error",
    says="Plug {plug_id} was last seen on {last_seen_on}, but set on {placed_on}.",
    remedy="Compare both dates with the record sheet.",
    source=COMMON_PRACTICE,
)
def seen_before_set(tables: Snapshot) -> pl.DataFrame:
    """Nobody can read a plug that is not there yet."""
    return _plugs(tables).filter(pl.col("last_seen_on_last") < pl.col("placed_on_first"))

"""Draws the derived figures as SVG and PNG; each says n, its rule and a caution.

Black, grey and hatching only: they survive a photocopier and colour-blind eyes.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from provenance._base.disk import write_bytes
from provenance._base.visible import visible
from provenance._derive.dating import buildings_of
from provenance._derive.summary import Derived
from provenance._model.notation import write_year

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from provenance._record.package import Package

__all__ = ["FIGURES", "draw_figures", "stem_and_leaf"]

NOT_CONSTRUCTION = (
    "A date of felling is not a date of construction: wood may be stored, reused or put in later."
)
STYLES = {
    "cutting": ("black", "", "cutting date"),
    "near": ("0.45", "", "near cutting"),
    "non_cutting": ("white", "////", "non-cutting: felled later"),
    "unstated": ("white", "", "not stated"),
}
"""Fill, hatch and words for what the last ring says."""


@dataclass(frozen=True)
class FigureFile:
    """One drawn figure: its name, what it shows in a line, and its files, form → path."""

    name: str
    title: str
    files: Mapping[str, Path]


FORMS = ("svg", "png")
_LEFT_OUT = {"svg": ("Date", "Creator"), "png": ("Software",)}
"""What the drawing library would write into a file and another day or version would differ in."""

Draw = Callable[["Package", Derived], "Figure | None"]


def draw_figures(
    package: Package, derived: Derived, folder: Path, forms: Sequence[str] = FORMS
) -> list[FigureFile]:
    """Draw every figure that has data into `folder`, a file for each of `forms`.

    The same record gives the same bytes.
    """
    import matplotlib as mpl

    mpl.use("Agg")
    files = []
    settings: dict[Any, Any] = {
        "svg.hashsalt": "treenail",
        "svg.fonttype": "none",
        "font.family": "DejaVu Sans",
        "font.size": 9,
        "hatch.linewidth": 0.6,
        # names of places are no formulas, whatever signs are in them
        "text.parse_math": False,
    }
    with mpl.rc_context(settings):
        for name, (title, draw) in FIGURES.items():
            figure = draw(package, derived)
            if figure is None:
                continue
            paths = {form: folder / f"{name}.{form}" for form in forms}
            for form, path in paths.items():
                metadata = dict.fromkeys(_LEFT_OUT[form]) | {"Title": title}
                buffer = io.BytesIO()
                with warnings.catch_warnings():
                    # the PNG shows a box for a letter that the font lacks; the SVG has the letter
                    warnings.filterwarnings("ignore", r"Glyph \d+ .* missing from font")
                    figure.savefig(
                        buffer, format=form, dpi=150, metadata=metadata, bbox_inches="tight"
                    )
                write_bytes(path, buffer.getvalue())
            files.append(FigureFile(name, title, paths))
    return files


def _figure(width_in: float, height_in: float, title: str) -> tuple[Figure, Axes]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    axes = figure.add_subplot()
    axes.set_title(title, loc="left", fontsize=11, fontweight="bold")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure, axes


def _beside(figure: Figure, text: str) -> None:
    """The words below a figure: n, rule, caution."""
    import textwrap

    width = int(figure.get_figwidth() * 17)
    lines = [line for part in text.split("\n") for line in textwrap.wrap(part, width)]
    figure.supxlabel("\n".join(lines), fontsize=7.5, x=0.01, ha="left")


def _whole_numbers(axes: Axes) -> None:
    from matplotlib.ticker import MaxNLocator

    axes.yaxis.set_major_locator(MaxNLocator(integer=True))


def _years(axes: Axes) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda year, _: write_year(round(year))))


def bar_diagram(package: Package, derived: Derived) -> Figure | None:
    """Every dated sample as a bar from its first to its last ring, by building and room."""
    spans = derived.tables["span"]
    spans = spans[spans["outer_year"].notna()]
    if spans.empty:
        return None
    spans = spans.sort_values(["building_id", "place_id", "outer_year", "sample_id"])
    figure, axes = _figure(8.3, max(2.6, 1.5 + 0.19 * len(spans)), "Dated samples")
    ticks, labels = [], []
    place_before: Any = None
    line = 0.0
    for row in spans.to_dict("records"):
        if row["place_id"] != place_before:
            line += 1.2 if place_before is not None else 0.6
            where = _place_words(package, row["place_id"])
            axes.text(0.0, line - 0.05, where, transform=axes.get_yaxis_transform(), fontsize=8,
                      fontweight="bold", va="center")  # fmt: skip
            line += 1
            place_before = row["place_id"]
        first = row["inner_year"]
        first = row["outer_year"] - 1 if first is None or first != first else first
        fill, hatch, _ = STYLES[row["cutting"]]
        width = row["outer_year"] - first
        axes.barh(line, width, left=first, height=0.62, facecolor="0.82", edgecolor="black",
                  linewidth=0.6)  # fmt: skip
        tail = _year_width(spans)
        axes.barh(line, tail, left=row["outer_year"] - tail, height=0.62, facecolor=fill,
                  hatch=hatch, edgecolor="black", linewidth=0.6)  # fmt: skip
        mark = {"reuse": " reuse?", "stockpiling": " stored?", "repair": " repair?"}
        words = (
            f" {write_year(int(row['outer_year']))}{_signs(row)}{mark.get(row['candidate'], '')}"
        )
        axes.text(row["outer_year"], line, words, va="center", fontsize=7)
        ticks.append(line)
        labels.append(f"{row['sample_id']}  {row['element_id']}")
        line += 1
    axes.set_ylim(line, -0.4)
    axes.set_yticks(ticks, labels, fontsize=7)
    axes.use_sticky_edges = False
    axes.margins(x=0.12)
    _years(axes)
    _key(axes, spans)
    _beside(
        figure,
        f"n = {len(spans)} dated samples. Grey: rings in the sample; the end shows what the last "
        f"ring says. Marked with '?': candidates beside the largest cluster of the building "
        f"({derived.cluster_rule}).\n{NOT_CONSTRUCTION}",
    )
    return figure


def _year_width(spans: pd.DataFrame) -> float:
    inner = spans["inner_year"].fillna(spans["outer_year"])
    return float(max(1.0, (spans["outer_year"].max() - inner.min()) * 0.012))


def _signs(row: dict[Any, Any]) -> str:
    symbols = row["outer_symbol"]
    return f" {symbols.replace(';', ' ')}" if isinstance(symbols, str) and symbols else ""


def _place_words(package: Package, place_id: Any) -> str:
    places = package.table("place").set_index("place_id")
    if place_id not in places.index:
        return "no place recorded"
    name = places.loc[place_id, "name"]
    building = buildings_of(package).get(str(place_id), "")
    building_name = places.loc[building, "name"] if building in places.index else building
    here = str(name or place_id)
    return visible(here if building == place_id else f"{str(building_name) or building}: {here}")


def _key(axes: Axes, spans: pd.DataFrame) -> None:
    from matplotlib.patches import Patch

    seen = set(spans["cutting"])
    patches = [
        Patch(facecolor=fill, hatch=hatch, edgecolor="black", linewidth=0.6, label=words)
        for cutting, (fill, hatch, words) in STYLES.items()
        if cutting in seen
    ]
    axes.legend(handles=patches, loc="lower right", fontsize=7, frameon=False, ncols=4,
                bbox_to_anchor=(1, 1), borderaxespad=0.2)  # fmt: skip


def outside_histogram(package: Package, derived: Derived) -> Figure | None:
    """How many outside dates fall into each five years, by what they say."""
    import numpy as np

    spans = derived.tables["span"]
    years = spans[spans["outer_year"].notna()]
    if years.empty:
        return None
    first = int(years["outer_year"].min()) // 5 * 5
    bins = np.arange(first, int(years["outer_year"].max()) + 6, 5)
    figure, axes = _figure(7, 3.2, "Outside dates")
    below = np.zeros(len(bins) - 1)
    for cutting, (fill, hatch, words) in STYLES.items():
        chosen = years[years["cutting"] == cutting]["outer_year"].astype(float)
        if chosen.empty:
            continue
        counts, _ = np.histogram(chosen, bins)
        axes.bar(bins[:-1], counts, width=5, align="edge", bottom=below, facecolor=fill,
                 hatch=hatch, edgecolor="black", linewidth=0.6, label=words)  # fmt: skip
        below += counts
    axes.set_ylabel("samples")
    _whole_numbers(axes)
    axes.legend(fontsize=7, frameon=False)
    _years(axes)
    _beside(figure, f"n = {len(years)} dated samples, in steps of 5 years.\n{NOT_CONSTRUCTION}")
    return figure


def stem_and_leaf(spans: pd.DataFrame) -> str:
    """Outside dates by decade, one digit a date; cutting dates bear a point behind.

    >>> import pandas as pd
    >>> print(stem_and_leaf(pd.DataFrame({"outer_year": [1781, 1779, 1781], "cutting":
    ...     ["cutting", "non_cutting", "cutting"]})))
    177 | 9
    178 | 1. 1.
    """
    dated = spans[spans["outer_year"].notna()]
    rows: dict[int, list[tuple[int, str]]] = {}
    for year, cutting in zip(dated["outer_year"], dated["cutting"], strict=True):
        stem, leaf = divmod(int(year), 10)
        rows.setdefault(stem, []).append((leaf, "." if cutting == "cutting" else ""))
    lines = []
    for stem in range(min(rows, default=0), max(rows, default=-1) + 1):
        leaves = " ".join(f"{leaf}{sign}" for leaf, sign in sorted(rows.get(stem, [])))
        lines.append(f"{stem} | {leaves}".rstrip())
    return "\n".join(lines)


def stem_and_leaf_figure(package: Package, derived: Derived) -> Figure | None:
    """The stem-and-leaf display as a drawing."""
    spans = derived.tables["span"]
    text = stem_and_leaf(spans)
    if not text:
        return None
    lines = text.count("\n") + 1
    figure, axes = _figure(6, 1.2 + 0.19 * lines, "Outside dates by decade")
    axes.axis("off")
    axes.text(0, 1, text, family="DejaVu Sans Mono", fontsize=9, va="top")
    _beside(
        figure,
        f"n = {int(spans['outer_year'].notna().sum())} dated samples. Left the decade, right one "
        f"digit a date; a point marks a cutting date.\n{NOT_CONSTRUCTION}",
    )
    return figure


def volume_bars(package: Package, derived: Derived) -> Figure | None:
    """Volume of wood by building and species."""
    sizes = derived.tables["size"].dropna(subset=["newton_m3"]).copy()
    if sizes.empty:
        return None
    sizes["building"] = sizes["place_id"].map(buildings_of(package)).fillna("none")
    sizes["species"] = sizes["species"].fillna("").replace("", "not known").map(visible)
    volumes = sizes.pivot_table(
        index="building", columns="species", values="newton_m3", aggfunc="sum", fill_value=0.0
    ).astype(float)
    figure, axes = _figure(7, 1.6 + 0.45 * len(volumes), "Volume of recorded wood")
    left = [0.0] * len(volumes)
    hatches = ["", "////", "....", "xx", "\\\\", "||", "--", "++"]
    for place, species in enumerate(volumes.columns):
        axes.barh(volumes.index, volumes[species], left=left, label=species, facecolor="white",
                  hatch=hatches[place % len(hatches)] * (1 + place // len(hatches)),
                  edgecolor="black", linewidth=0.6)  # fmt: skip
        left = [a + b for a, b in zip(left, volumes[species], strict=True)]
    axes.set_xlim(0, max(left) * 1.05)
    axes.set_xlabel("m³ (Newton)")
    axes.invert_yaxis()
    axes.legend(fontsize=7, frameon=False, ncols=2)
    _beside(
        figure,
        f"n = {len(sizes)} pieces with both ends and the length measured, of "
        f"{len(derived.tables['size'])}. Squared wood is taken as round, so this is an upper "
        "bound; wood that is hidden or gone is not in it.",
    )
    return figure


def age_bars(package: Package, derived: Derived) -> Figure | None:
    """Ring counts in steps of ten, as a hint of how old the trees were."""
    import numpy as np

    spans = derived.tables["span"]
    rings = spans["ring_count"].dropna().astype(int)
    if rings.empty:
        return None
    bins = np.arange(0, int(rings.max()) + 11, 10)
    counts, _ = np.histogram(rings, bins)
    figure, axes = _figure(7, 3, "Rings in the dated samples")
    axes.bar(bins[:-1], counts, width=10, align="edge", facecolor="0.7", edgecolor="black",
             linewidth=0.6)  # fmt: skip
    axes.set_xlabel("rings")
    axes.set_ylabel("samples")
    _whole_numbers(axes)
    mix = spans["species"].fillna("").replace("", "not known").value_counts(sort=True)
    species = ", ".join(f"{name} {count}" for name, count in mix.items())
    _beside(
        figure,
        f"n = {len(rings)} samples. Species: {species}. Rings in a sample are the least age of its "
        "tree: pith and outer rings may be missing. Builders chose the trees, so this is a hint "
        "of the forest and no sample of it.",
    )
    return figure


FIGURES: dict[str, tuple[str, Draw]] = {
    "dated-samples": ("Dated samples by building and room", bar_diagram),
    "outside-dates": ("Outside dates", outside_histogram),
    "outside-decades": ("Outside dates by decade, stem and leaf", stem_and_leaf_figure),
    "volume": ("Volume of recorded wood by building and species", volume_bars),
    "rings": ("Rings in the dated samples", age_bars),
}
"""File name → title and the function that draws it, in the order of a report."""

"""Reads label stock, sheets and rolls, by measure from templates/stock/ or a file of the user's."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance._base.errors import TreenailError
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._drawing.paper import MM, Box
from provenance._model.profile import check_against_schema

DEFAULT_PADDING_MM = 2.0
_TOLERANCE_MM = 0.05


class UnusableStock(TreenailError):
    """A description of label stock that contradicts itself, or does not suit what is printed."""


@dataclass(frozen=True)
class Stock:
    """One kind of sheet or roll; measures in mm from the upper left corner of the page.

    `draws` is 'sample', 'flag', 'disc' or 'content'; `wrap_mm` is 0 but for flags. `dpi` is 0 but
    for printers whose dots are black or white.
    """

    name: str
    title: str
    draws: str
    page_width_mm: float
    page_height_mm: float
    label_width_mm: float
    label_height_mm: float
    padding_mm: float
    wrap_mm: float
    columns: int
    rows: int
    left_mm: float
    top_mm: float
    pitch_x_mm: float
    pitch_y_mm: float
    dpi: float = 0.0

    @property
    def labels_a_page(self) -> int:
        """How many labels one page holds."""
        return self.columns * self.rows

    @property
    def page_size(self) -> tuple[float, float]:
        """Width and height of the page in points."""
        return self.page_width_mm * MM, self.page_height_mm * MM

    def label_box(self, place: int) -> Box:
        """The edges of a label in points; `place` counts from 0, row by row from the upper left."""
        row, column = divmod(place, self.columns)
        x_mm = self.left_mm + column * self.pitch_x_mm
        y_mm = self.page_height_mm - self.top_mm - row * self.pitch_y_mm - self.label_height_mm
        return Box(x_mm * MM, y_mm * MM, self.label_width_mm * MM, self.label_height_mm * MM)

    def boxes(self) -> Iterator[Box]:
        """The edges of every label of a page."""
        return (self.label_box(place) for place in range(self.labels_a_page))


def shipped_stocks() -> dict[str, str]:
    """The stocks that come along: name → title, in the order of their names."""
    return {
        path.stem: str(read_yaml(path)["title"])
        for path in sorted((shipped("templates") / "stock").glob("*.yaml"))
    }


def load_stock(name: str) -> Stock:
    """The stock of a shipped name, or of a YAML file of the user's.

    Raises UnusableStock that says what is wrong, or which names there are.
    """
    path = Path(name)
    if path.suffix.lower() in (".yaml", ".yml"):
        if not path.is_file():
            raise UnusableStock(f"{path} is not there; check the name of the stock file")
    else:
        path = shipped("templates") / "stock" / f"{name}.yaml"
        if name not in shipped_stocks():
            import difflib

            names = shipped_stocks()
            near = difflib.get_close_matches(name, names, n=1)
            hint = f"; did you mean '{near[0]}'?" if near else "."
            raise UnusableStock(
                f"there is no stock '{name}'{hint} There are {', '.join(names)}; or name a YAML "
                "file of your own"
            )
    return stock_from(read_yaml(path), path)


def stock_from(raw: Any, path: Path) -> Stock:
    """A stock from the YAML form that stood in `path`.

    Raises UnusableSchema where it breaks the schema, UnusableStock where it contradicts itself.
    """
    check_against_schema(raw, "stock.schema.json", path)
    label: Mapping[str, float] = raw["label"]
    page: Mapping[str, float] = raw["page"]
    grid = raw.get("grid") or _alone_on_its_page(page, label)
    stock = Stock(
        name=path.stem,
        title=raw["title"],
        draws=raw["draws"],
        page_width_mm=float(page["width_mm"]),
        page_height_mm=float(page["height_mm"]),
        label_width_mm=float(label["width_mm"]),
        label_height_mm=float(label["height_mm"]),
        padding_mm=float(label.get("padding_mm", DEFAULT_PADDING_MM)),
        wrap_mm=float(label.get("wrap_mm", 0.0)),
        columns=grid["columns"],
        rows=grid["rows"],
        left_mm=float(grid["left_mm"]),
        top_mm=float(grid["top_mm"]),
        pitch_x_mm=float(grid["pitch_x_mm"]),
        pitch_y_mm=float(grid["pitch_y_mm"]),
        dpi=float(page.get("dpi", 0.0)),
    )
    contradiction = _contradiction(stock)
    if contradiction:
        raise UnusableStock(f"{path}: {contradiction}")
    return stock


def _alone_on_its_page(page: Mapping[str, float], label: Mapping[str, float]) -> dict[str, Any]:
    return {
        "columns": 1,
        "rows": 1,
        "left_mm": (page["width_mm"] - label["width_mm"]) / 2,
        "top_mm": (page["height_mm"] - label["height_mm"]) / 2,
        "pitch_x_mm": page["width_mm"],
        "pitch_y_mm": page["height_mm"],
    }


def _contradiction(stock: Stock) -> str | None:
    """Why such a stock cannot be, or None."""
    if stock.left_mm < -_TOLERANCE_MM or stock.top_mm < -_TOLERANCE_MM:
        return "the label is larger than its page"
    if stock.columns > 1 and stock.pitch_x_mm < stock.label_width_mm - _TOLERANCE_MM:
        return (
            f"pitch_x_mm {stock.pitch_x_mm:g} is less than the label's width "
            f"{stock.label_width_mm:g}, so labels would overlap"
        )
    if stock.rows > 1 and stock.pitch_y_mm < stock.label_height_mm - _TOLERANCE_MM:
        return (
            f"pitch_y_mm {stock.pitch_y_mm:g} is less than the label's height "
            f"{stock.label_height_mm:g}, so labels would overlap"
        )
    right = stock.left_mm + (stock.columns - 1) * stock.pitch_x_mm + stock.label_width_mm
    foot = stock.top_mm + (stock.rows - 1) * stock.pitch_y_mm + stock.label_height_mm
    if right > stock.page_width_mm + _TOLERANCE_MM:
        return (
            f"the last column ends {right:g} mm from the left edge and the page is "
            f"{stock.page_width_mm:g} mm wide; use fewer columns or a smaller pitch"
        )
    if foot > stock.page_height_mm + _TOLERANCE_MM:
        return (
            f"the last row ends {foot:g} mm from the upper edge and the page is "
            f"{stock.page_height_mm:g} mm high; use fewer rows or a smaller pitch"
        )
    if 2 * stock.padding_mm >= min(stock.label_width_mm, stock.label_height_mm):
        return f"padding_mm {stock.padding_mm:g} leaves nothing of the label to print on"
    if stock.draws == "disc" and stock.label_width_mm != stock.label_height_mm:
        return "a disc is as wide as it is high: its diameter"
    if stock.draws == "flag" and not 0 < stock.wrap_mm < stock.label_width_mm * 0.8:
        return "a flag needs wrap_mm, and at least a tenth of its width for each of the two ends"
    return None

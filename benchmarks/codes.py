"""How often a worn label's code is read: the labels as they are printed now, and as before.

python benchmarks/codes.py             all stocks and damages, 16 draws each (some minutes)
python benchmarks/codes.py --draws 40

Each label is printed by the product, rendered by PDFium with 600 dots an inch, damaged, turned by
up to 12 degrees, taken down to the 300 dots an inch that a telephone has of it, and read by ZXing.
Only the very text counts as read. 'Before' is the same label with the text of layout 1 (68
characters in byte mode, level Q or H as it fits, a quiet zone of 4 modules). The damages are this
project's own: blur (Gaussian, standard deviation in mm), smear (mean along a line, mm), cover (one
square patch, share of the code, black or white), creases (three folds, largest shift in mm, and
shading), dust (grey grains, share of the label). 'thermal' is a printer of 203 dots an inch that
knows black and white only.

One run of 16 draws, means over the six stocks in per cent, now and before: blur 0.15 mm 100 and 83,
0.25 mm 96 and 43, 0.35 mm 34 and 0; smear 1.0 mm 83 and 29; creases 0.3 mm 80 and 32; dust 10 % 39
and 17; thermal with blur 0.15 mm 100 and 73. The price of larger squares: with a patch over 5 % of
the code 65 and 77, over 10 % 44 and 73, since the corner marks, which nothing mends, are a larger
part. No wrong text was read.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import zxingcpp
from PIL import Image, ImageFilter

from provenance._drawing.paper import MM, Box
from provenance._drawing.qr import draw_code, encode_to_fit
from provenance._identity.check_character import check_character
from provenance._printing.labels import sample_label
from provenance._printing.labels.facts import SampleFacts
from provenance._printing.labels.labels import print_labels
from provenance._printing.labels.stock import Stock, load_stock

STOCKS = ("a4_disc", "a4_48x25", "roll_57x32", "a4_70x37", "letter_102x51", "a4_flag")
DPI, CAMERA_DPI, THERMAL_DPI = 600, 300, 203
NUMBERS = range(201, 217)
TURN = 12.0

Picture = np.ndarray[Any, np.dtype[np.float64]]
Spot = tuple[int, int, int]
"""Left, top and side of the code in the picture of its label, in pixels."""


def facts_of(number: int) -> SampleFacts:
    return SampleFacts(
        "HOLL", str(number), "Hollin Reach (invented)", "Core", "2024-06-04", "MB",
        f"B1-{number}", "Beam", "Loft, North house",
    )  # fmt: skip


def text_before(facts: SampleFacts) -> str:
    first = f"treenail 1 {facts.identifier} {check_character(facts.identifier)}"
    return f"{first}\nsite HOLL\nnumber {facts.number}\nkind core\ndate 2024-06-04"


def draw_as_before(canvas: Any, stock: Stock, facts: SampleFacts, resolver: str, box: Box) -> None:
    code = encode_to_fit(text_before(facts), box.width / MM, facts.identifier)
    draw_code(canvas, code, box.x, box.y, box.width)


def printed(stock: Stock, before: bool, folder: Path) -> list[tuple[str, Picture, Picture, Spot]]:
    """Text of its code, picture, picture by a thermal printer, and place of the code, a label."""
    spots: list[Box] = []
    ours = sample_label._draw_code

    def noted(canvas: Any, stock: Stock, facts: SampleFacts, resolver: str, box: Box) -> None:
        spots.append(box)
        (draw_as_before if before else ours)(canvas, stock, facts, resolver, box)

    facts = [facts_of(number) for number in NUMBERS]
    sample_label._draw_code = noted
    try:
        print_labels(facts, stock, folder / "labels.pdf")
    finally:
        sample_label._draw_code = ours
    document = pypdfium2.PdfDocument(folder / "labels.pdf")
    labels = []
    pages: dict[tuple[int, int], np.ndarray[Any, Any]] = {}
    for place, one in enumerate(facts):
        page, on_page = divmod(place, stock.labels_a_page)
        edges = stock.label_box(on_page)
        cut = []
        for dpi in (DPI, THERMAL_DPI):
            if (page, dpi) not in pages:
                bitmap = document[page].render(scale=dpi / 72, grayscale=True)
                pages[page, dpi] = bitmap.to_numpy().reshape(bitmap.height, bitmap.width)
            rendered = pages[page, dpi]
            scale = dpi / 72
            top = rendered.shape[0] - round(edges.top * scale)
            left = round(edges.x * scale)
            part = rendered[
                max(top, 0) : top + round(edges.height * scale),
                left : left + round(edges.width * scale),
            ]
            if dpi == THERMAL_DPI:
                size = (round(edges.width * DPI / 72), round(edges.height * DPI / 72))
                picture = Image.fromarray(np.where(part < 128, 0, 255).astype(np.uint8))
                part = np.asarray(picture.resize(size, Image.Resampling.NEAREST))
            cut.append(part / 255.0)
        at, to_pixels = spots[place], DPI / 72
        spot = (
            round((at.x - edges.x) * to_pixels),
            round((edges.top - at.top) * to_pixels),
            round(at.width * to_pixels),
        )
        text = text_before(one) if before else one.payload()
        labels.append((text, cut[0], cut[1], spot))
    return labels


def blur(mm: float) -> Callable[..., Picture]:
    def damaged(picture: Picture, spot: Spot, draw: np.random.Generator) -> Picture:
        image = Image.fromarray((picture * 255).astype(np.uint8))
        return np.asarray(image.filter(ImageFilter.GaussianBlur(mm / 25.4 * DPI))) / 255.0

    return damaged


def smear(mm: float) -> Callable[..., Picture]:
    def damaged(picture: Picture, spot: Spot, draw: np.random.Generator) -> Picture:
        steps = max(2, round(mm / 25.4 * DPI))
        turn = draw.uniform(0, np.pi)
        moved = [
            np.roll(picture, (round(step * np.sin(turn)), round(step * np.cos(turn))), (0, 1))
            for step in np.arange(steps) - steps / 2
        ]
        mean: Picture = np.mean(moved, axis=0)
        return mean

    return damaged


def cover(share: float) -> Callable[..., Picture]:
    def damaged(picture: Picture, spot: Spot, draw: np.random.Generator) -> Picture:
        left, top, side = spot
        patch = round(side * share**0.5)
        x, y = (int(draw.integers(0, side - patch)) for _ in range(2))
        covered = picture.copy()
        rows = slice(top + y, top + y + patch)
        covered[rows, left + x : left + x + patch] = draw.integers(0, 2)
        return covered

    return damaged


def crease(mm: float) -> Callable[..., Picture]:
    def damaged(picture: Picture, spot: Spot, draw: np.random.Generator) -> Picture:
        """Three folds: what lies beside one is drawn towards it, and it is darker or lighter."""
        height, width = picture.shape
        y, x = np.mgrid[0:height, 0:width].astype(float)
        shade = np.zeros_like(picture)
        left, top, side = spot
        for _ in range(3):
            turn = draw.uniform(0, np.pi)
            away = (x - left - draw.uniform(0, side)) * np.cos(turn) + (
                y - top - draw.uniform(0, side)
            ) * np.sin(turn)
            near = np.exp(-((away / (2.5 / 25.4 * DPI)) ** 2))
            pull = mm / 25.4 * DPI * near * np.tanh(away / (0.5 / 25.4 * DPI))
            x, y = x + pull * np.cos(turn), y + pull * np.sin(turn)
            shade += draw.choice([-0.3, 0.3]) * np.exp(-((away / (0.3 / 25.4 * DPI)) ** 2))
        columns = np.clip(x.round().astype(int), 0, width - 1)
        rows = np.clip(y.round().astype(int), 0, height - 1)
        return np.clip(picture[rows, columns] + shade, 0, 1)

    return damaged


def dust(share: float) -> Callable[..., Picture]:
    def damaged(picture: Picture, spot: Spot, draw: np.random.Generator) -> Picture:
        grain = round(0.2 / 25.4 * DPI)
        y, x = np.mgrid[-grain : grain + 1, -grain : grain + 1]
        disc = x**2 + y**2 <= grain**2
        dusty = picture.copy()
        count = int(-np.log(1 - share) * picture.size / disc.sum())
        for row, column in zip(
            draw.integers(grain, picture.shape[0] - grain - 1, count),
            draw.integers(grain, picture.shape[1] - grain - 1, count),
            strict=True,
        ):
            part = dusty[row - grain : row + grain + 1, column - grain : column + grain + 1]
            part[disc] = draw.uniform(0.2, 0.8)
        return dusty

    return damaged


DAMAGES: dict[str, tuple[Callable[..., Picture], bool]] = {
    "blur 0.15": (blur(0.15), False),
    "blur 0.25": (blur(0.25), False),
    "blur 0.35": (blur(0.35), False),
    "smear 0.6": (smear(0.6), False),
    "smear 1.0": (smear(1.0), False),
    "cover 5 %": (cover(0.05), False),
    "cover 10 %": (cover(0.10), False),
    "creases 0.3": (crease(0.3), False),
    "creases 0.6": (crease(0.6), False),
    "dust 10 %": (dust(0.10), False),
    "dust 20 %": (dust(0.20), False),
    "thermal": (blur(0.05), True),
    "thermal, blur 0.15": (blur(0.15), True),
}


def seen(picture: Picture, turn: float) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """The label on a light grey table, turned, as the camera has it."""
    image = Image.fromarray((np.pad(picture, 60, constant_values=0.85) * 255).astype(np.uint8))
    image = image.rotate(turn, Image.Resampling.BILINEAR, expand=True, fillcolor=216)
    share = CAMERA_DPI / DPI
    size = (round(image.width * share), round(image.height * share))
    return np.asarray(image.resize(size, Image.Resampling.BOX))


def rates(draws: int) -> tuple[dict[tuple[str, str, bool], float], int]:
    """The share that is read, by stock, damage and whether as before; and wrong texts read."""
    read: dict[tuple[str, str, bool], float] = {}
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        for stock in STOCKS:
            for before in (False, True):
                labels = printed(load_stock(stock), before, Path(folder))
                for damage, (spoil, thermal) in DAMAGES.items():
                    # the same damage befalls the label of now and that of before
                    draw = np.random.default_rng([STOCKS.index(stock), sum(damage.encode())])
                    hits = 0
                    for one in range(draws):
                        text, whole, dots, spot = labels[one % len(labels)]
                        turn = draw.uniform(-TURN, TURN)
                        picture = seen(spoil(dots if thermal else whole, spot, draw), turn)
                        found = zxingcpp.read_barcodes(
                            picture, formats=zxingcpp.BarcodeFormat.QRCode
                        )
                        hits += any(code.text == text for code in found)
                        wrong += any(code.text not in ("", text) for code in found)
                    read[stock, damage, before] = hits / draws
    return read, wrong


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--draws", type=int, default=16)
    draws = parser.parse_args().draws
    read, wrong = rates(draws)
    print(f"read of {draws}, per cent: now / before")
    print(f"{'':20}" + "".join(f"{stock:>15}" for stock in STOCKS))
    for damage in DAMAGES:
        cells = [
            f"{read[stock, damage, False]:.0%} / {read[stock, damage, True]:.0%}"
            for stock in STOCKS
        ]
        print(f"{damage:20}" + "".join(f"{cell.replace('%', ''):>15}" for cell in cells))
    print(f"wrong texts: {wrong}")


if __name__ == "__main__":
    main()

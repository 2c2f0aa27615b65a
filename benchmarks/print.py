"""A thousand labels with their codes, against the long codes of before and a library's widget.

python benchmarks/print.py             time and size as ratios, medians of 3 taken in turns
python benchmarks/print.py --encoders  the codes alone: our encoder, and segno with the same choices
python benchmarks/print.py --memory    peak memory of 4,000 and of 16,000 pages, a process each
"""

from __future__ import annotations

import argparse
import contextlib
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from codes import draw_as_before

from provenance._drawing.paper import Box
from provenance._drawing.qr import LABEL_VERSION, MASK, encode_text
from provenance._printing.labels import sample_label
from provenance._printing.labels.facts import SampleFacts
from provenance._printing.labels.labels import print_labels
from provenance._printing.labels.stock import Stock, load_stock

LABELS = 1000
RUNS = 3


def some_facts(count: int) -> list[SampleFacts]:
    return [
        SampleFacts(
            "HOLL",
            str(201 + n),
            "Hollin Reach (invented)",
            "Core" if n % 5 else "Cross-section",
            f"2024-06-{n % 28 + 1:02}",
            "MB",
            f"B1-{n:04}",
            "Beam",
            "Loft, North house",
        )
        for n in range(count)
    ]


def draw_with_widget(
    canvas: Any, stock: Stock, facts: SampleFacts, resolver: str, box: Box
) -> None:
    """The PDF library's own QR widget, with the text that our codes have."""
    from reportlab.graphics import renderPDF
    from reportlab.graphics.barcode.qr import QrCodeWidget
    from reportlab.graphics.shapes import Drawing

    widget = QrCodeWidget(facts.payload(resolver), barLevel="H", barBorder=2)
    widget.barWidth = widget.barHeight = box.width
    drawing = Drawing(box.width, box.height)
    drawing.add(widget)
    renderPDF.draw(drawing, canvas, box.x, box.y)


@contextlib.contextmanager
def codes_drawn_by(draw: Callable[..., None]) -> Iterator[None]:
    ours = sample_label._draw_code
    sample_label._draw_code = draw
    try:
        yield
    finally:
        sample_label._draw_code = ours


def timed(folder: Path, name: str) -> tuple[float, int]:
    path = folder / f"{name}.pdf"
    facts, stock = some_facts(LABELS), load_stock("a4_48x25")
    start = time.process_time()
    print_labels(facts, stock, path)
    return time.process_time() - start, path.stat().st_size


def compare() -> None:
    ways: dict[str, Callable[..., None]] = {
        "ours": sample_label._draw_code,
        "long codes of before": draw_as_before,
        "library widget": draw_with_widget,
    }
    seconds: dict[str, list[float]] = {name: [] for name in ways}
    sizes: dict[str, int] = {}
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(RUNS):
            for name, draw in ways.items():
                with codes_drawn_by(draw):
                    spent, sizes[name] = timed(Path(folder), name.replace(" ", "-"))
                seconds[name].append(spent)
    ours = statistics.median(seconds["ours"])
    print(f"{LABELS} labels         seconds    / ours        MB    / ours")
    for name in ways:
        spent, size = statistics.median(seconds[name]), sizes[name] / 1e6
        times, larger = spent / ours, sizes[name] / sizes["ours"]
        print(f"{name:20}{spent:8.2f}  {times:8.1f}  {size:8.2f}  {larger:8.1f}")


def compare_encoders() -> None:
    """Processor seconds for the codes of LABELS labels, level H, version and mask given or left."""
    import qrcode
    import segno

    texts = [one.payload("") for one in some_facts(LABELS)]

    def ours() -> None:
        for text in texts:
            encode_text(text, "H", version=LABEL_VERSION)

    def segno_given() -> None:
        for text in texts:
            segno.make_qr(text, error="h", version=LABEL_VERSION, mode="alphanumeric", mask=MASK)

    def segno_left() -> None:
        for text in texts:
            segno.make_qr(text, error="h", boost_error=False)

    def library_left() -> None:
        for text in texts:
            symbol = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_H)
            symbol.add_data(text)
            symbol.make()

    ways: dict[str, Callable[[], None]] = {
        "ours (qrcode, version and mask given)": ours,
        "segno, version and mask given": segno_given,
        "qrcode, left to choose": library_left,
        "segno, left to choose": segno_left,
    }
    spent: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(RUNS):
        for name, way in ways.items():
            start = time.process_time()
            way()
            spent[name].append(time.process_time() - start)
    best = statistics.median(spent["ours (qrcode, version and mask given)"])
    print(f"{LABELS} codes, processor seconds, and as a multiple of ours")
    for name, seconds in spent.items():
        median = statistics.median(seconds)
        print(f"{name:40}{median:6.2f}  {median / best:5.1f}")


def peak_memory(pages: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        facts, stock = some_facts(100), load_stock("roll_57x32")
        print_labels(facts, stock, Path(folder) / "labels.pdf", copies=pages // 100)
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--encoders", action="store_true")
    parser.add_argument("--memory", action="store_true")
    parser.add_argument("--pages", type=int, default=0, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.pages:
        peak_memory(options.pages)
    elif options.encoders:
        compare_encoders()
    elif options.memory:
        for pages in (4000, 16000):
            run = subprocess.run(
                [sys.executable, __file__, "--pages", str(pages)],
                capture_output=True,
                check=True,
                text=True,
            )
            print(f"{pages:6} pages: {run.stdout.strip():>5} MB at the peak")
    else:
        compare()


if __name__ == "__main__":
    main()

"""Simulated wear of stamped digits: fits schemas/stamp_wear.yaml, and tries `locate` against it.

Digits are drawn with one open font, worn (strokes rubbed off, dust in hollows, blur, a tilt), and
read back by comparing with clean pictures; the reader may give up ('?'). The shares become the
confusion model. The check then asks, on ANOTHER font and other draws, whether the probabilities
that `locate` states hold: of all answers given with about 70 %, about 70 % should be right.

    python benchmarks/wear.py --fit    write schemas/stamp_wear.yaml anew
    python benchmarks/wear.py          the check, printed as a table
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import yaml
from PIL import Image, ImageDraw, ImageFilter, ImageFont

DIGITS = "0123456789"
SIZE = 28
GIVE_UP = 0.02
"""The reader writes '?' when the best and the second-best picture are closer than this."""


def fonts() -> dict[str, ImageFont.FreeTypeFont]:
    import reportlab

    vera = Path(reportlab.__file__).parent / "fonts" / "VeraBd.ttf"
    return {"fit": ImageFont.truetype(str(vera), SIZE), "check": ImageFont.load_default(SIZE)}


def drawn(character: str, font: ImageFont.FreeTypeFont) -> Image.Image:
    picture = Image.new("L", (SIZE, SIZE), 0)
    pen = ImageDraw.Draw(picture)
    box = pen.textbbox((0, 0), character, font=font)
    place = ((SIZE - box[2] + box[0]) / 2 - box[0], (SIZE - box[3] + box[1]) / 2 - box[1])
    pen.text(place, character, fill=255, font=font)
    return picture


def worn(picture: Image.Image, random: np.random.Generator, severity: float) -> np.ndarray:
    turned = picture.rotate(random.normal(0, 6), translate=tuple(random.integers(-2, 3, 2)))
    pen = ImageDraw.Draw(turned)
    for _ in range(random.poisson(3 * severity)):  # rubbed off
        x, y = random.uniform(0, SIZE, 2)
        r = random.uniform(1.5, 5)
        pen.ellipse((x - r, y - r, x + r, y + r), fill=0)
    for _ in range(random.poisson(1.2 * severity)):  # dust, nicks
        x, y = random.uniform(SIZE * 0.2, SIZE * 0.8, 2)
        r = random.uniform(1, 3)
        pen.ellipse((x - r, y - r, x + r, y + r), fill=int(random.uniform(120, 255)))
    blurred = turned.filter(ImageFilter.GaussianBlur(random.uniform(0.5, 1.8)))
    noisy = np.asarray(blurred, float) + random.normal(0, 25, (SIZE, SIZE))
    return noisy


def unit(picture: np.ndarray) -> np.ndarray:
    centred = picture - picture.mean()
    return (centred / (np.linalg.norm(centred) or 1)).ravel()


class Reader:
    """Reads a worn digit by the clean picture that it is most like; gives up when unsure."""

    def __init__(self, font: ImageFont.FreeTypeFont) -> None:
        rows = []
        for digit in DIGITS:
            picture = drawn(digit, font)
            for dx in (-2, -1, 0, 1, 2):
                for dy in (-2, 0, 2):
                    moved = picture.rotate(0, translate=(dx, dy))
                    blurred = moved.filter(ImageFilter.GaussianBlur(1))
                    rows.append((digit, unit(np.asarray(blurred, float))))
        self.names = [name for name, _ in rows]
        self.pictures = np.array([picture for _, picture in rows])

    def read(self, picture: np.ndarray) -> str:
        likeness = self.pictures @ unit(picture)
        best: dict[str, float] = {}
        for name, value in zip(self.names, likeness, strict=True):
            best[name] = max(best.get(name, -1), float(value))
        first, second = sorted(best, key=best.__getitem__, reverse=True)[:2]
        return "?" if best[first] - best[second] < GIVE_UP else first


def shares(font: ImageFont.FreeTypeFont, draws: int, seed: int, *, half_turn: bool) -> dict:
    random = np.random.default_rng(seed)
    reader = Reader(font)
    table: dict[str, dict[str, float]] = {}
    for digit in DIGITS:
        picture = drawn(digit, font)
        if half_turn:
            picture = picture.rotate(180)
        read = [reader.read(worn(picture, random, random.uniform(0.2, 2.2))) for _ in range(draws)]
        # one count is lent to every reading, so that nothing is called impossible
        counts = {r: read.count(r) + 1 for r in DIGITS + "?"}
        total = sum(counts.values())
        table[digit] = {r: round(n / total, 4) for r, n in counts.items()}
    return table


def fit(path: Path, draws: int) -> None:
    font = fonts()["fit"]
    model = {
        "upright": shares(font, draws, 1, half_turn=False),
        "turned": shares(font, draws, 2, half_turn=True),
    }
    head = (
        "# How worn stamped digits are read: struck -> what is read ('?' unreadable) -> share.\n"
        "# Fitted by benchmarks/wear.py on simulated wear of one open font; 'turned' is the dowel\n"
        "# seen upside down. An estimate: no collection of worn dowels has been measured.\n"
    )
    path.write_text(head + yaml.safe_dump(model, default_flow_style=None, width=160), "utf-8")


def simulate_readings(stamps: list[str], draws: int, seed: int) -> list[tuple[str, str]]:
    """(struck, read) pairs in the font that the model was not fitted on; half seen upside down."""
    random = np.random.default_rng(seed)
    font = fonts()["check"]
    reader = Reader(font)
    pictures = {digit: drawn(digit, font) for digit in DIGITS}
    pairs = []
    for _ in range(draws):
        stamp = stamps[random.integers(len(stamps))]
        upside_down = random.random() < 0.5
        severity = random.uniform(0.2, 2.2)
        shown = reversed(stamp) if upside_down else stamp
        read = ""
        for digit in shown:
            picture = pictures[digit].rotate(180) if upside_down else pictures[digit]
            read += reader.read(worn(picture, random, severity))
        pairs.append((stamp, read))
    return pairs


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--draws", type=int, default=3000)
    options = parser.parse_args()
    if options.fit:
        fit(Path("schemas/stamp_wear.yaml"), options.draws)
        return
    from provenance._identity.reading import likelihoods, parse_reading, read_wear
    from provenance._identity.stamps import free_numbers

    stamps = list(free_numbers((), first=101, last=400))
    pairs = simulate_readings(stamps, options.draws, seed=7)
    wear = read_wear()
    stated, right = [], []
    for struck, read in pairs:
        if set(read) == {"?"}:
            continue
        weights = likelihoods(stamps, parse_reading(read), wear)
        chances = weights / weights.sum()
        best = int(chances.argmax())
        stated.append(float(chances[best]))
        right.append(stamps[best] == struck)
    told, came = np.array(stated), np.array(right)
    print(f"{len(stamps)} stamps, {len(told)} readings; first answer right: {came.mean():.1%}")
    print("stated       readings  mean stated  right")
    for low in np.arange(0, 1, 0.1):
        chosen = (told >= low) & (told < low + 0.1 + (low > 0.85) * 1e-9)
        if chosen.sum() >= 20:
            print(
                f"{low:.1f}-{low + 0.1:.1f} {chosen.sum():13d} {told[chosen].mean():12.2f} "
                f"{came[chosen].mean():6.2f}"
            )


if __name__ == "__main__":
    main()

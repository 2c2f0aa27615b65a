"""Simulated wear of stamped digits: fits schemas/stamp_wear.yaml, and tries `locate` against it.

Digits are drawn with one open font, worn (strokes rubbed off, dust in hollows, blur, a tilt), and
read back by comparing with clean pictures; the reader may give up ('?'). The shares become the
confusion model. The check then asks, on ANOTHER font, with readers who write letters, gaps, slips
and plugs that are in no record, whether the probabilities that `locate` states hold: of all answers
given with about 70 %, about 70 % should be right.

    python benchmarks/wear.py --fit    write the fitted part of schemas/stamp_wear.yaml anew
    python benchmarks/wear.py          the check, printed as a table
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import yaml
from PIL import Image, ImageDraw, ImageFilter, ImageFont

DIGITS = "0123456789"
SIZE = 28
MARK = "# -- what follows is written by: python benchmarks/wear.py --fit"
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
    own_estimates = path.read_text("utf-8").partition(MARK)[0]
    head = (
        f"{MARK} ---------------------------------\n"
        "# How worn stamped digits are read: struck -> what is read ('?' unreadable) -> share. "
        "Fitted on\n# simulated wear of one open font.\n"
    )
    tables = yaml.safe_dump(model, default_flow_style=None, width=160)
    path.write_text(own_estimates + head + tables, "utf-8")


UPRIGHT = {"0": "O", "1": "Il", "2": "Z", "5": "S", "6": "Gb", "8": "B", "9": "gq"}
TURNED = {"0": "O", "1": "Il", "2": "Z", "3": "E", "4": "h", "5": "S", "7": "L", "8": "B"}
"""What a reader may write for the shape of a digit that is legible, seen upright or upside down."""


@dataclass(frozen=True)
class Slips:
    """How people write down what they see; not the rates that the model assumes."""

    strangers: float = 0.07
    letters: float = 0.3
    each_letter: float = 0.6
    gap: float = 0.1
    exchanged: float = 0.01
    overlooked: float = 0.01


def simulate_readings(
    stamps: Sequence[str], draws: int, seed: int, *, severity: tuple[float, float] = (0.2, 2.2)
) -> list[tuple[str | None, str]]:
    """(struck, read) pairs in the font that the model was not fitted on; half seen upside down.

    `struck` is None for a plug that is not among the stamps. Some readers write letters where the
    shape is legible, which is to say that the digit would be read right the right way up.
    """
    random, slips = np.random.default_rng(seed), Slips()
    font = fonts()["check"]
    reader = Reader(font)
    pictures = {sign: drawn(sign, font) for sign in DIGITS}
    pairs: list[tuple[str | None, str]] = []
    while len(pairs) < draws:
        strange = random.random() < slips.strangers
        stamp = stranger(random) if strange else stamps[random.integers(len(stamps))]
        if strange and stamp in stamps:
            continue
        lettered = random.random() < slips.letters
        upside_down, worn_by = random.random() < 0.5, random.uniform(*severity)
        signs = []
        for sign in reversed(stamp) if upside_down else stamp:
            if sign not in DIGITS:
                # a letter of another scheme is read as such, or not at all
                signs.append("?" if upside_down or random.random() < worn_by / 4 else sign)
                continue
            picture = pictures[sign].rotate(180) if upside_down else pictures[sign]
            seen = worn(picture, random, worn_by)
            read = reader.read(seen)
            letters = (TURNED if upside_down else UPRIGHT).get(sign, "")
            legible = reader.read(np.rot90(seen, 2) if upside_down else seen) == sign
            if lettered and letters and legible and random.random() < slips.each_letter:
                read = letters[random.integers(len(letters))]
            signs.append(read)
        if len(signs) > 2 and random.random() < slips.overlooked:
            del signs[random.integers(len(signs))]
        if len(signs) > 1 and random.random() < slips.exchanged:
            at = random.integers(len(signs) - 1)
            signs[at], signs[at + 1] = signs[at + 1], signs[at]
        if len(signs) > 2 and random.random() < slips.gap:
            first = random.integers(len(signs))
            signs[first : first + random.integers(1, 3)] = [".."]
        if set(signs) - {"?", ".."}:
            pairs.append((None if strange else stamp, "".join(signs)))
    return pairs


def stranger(random: np.random.Generator) -> str:
    """A number of some other scheme: plain, long, or with a letter before or behind."""
    number = str(random.integers(1, 3000))
    letter = "ABCDEFGHKMNPRSTUVWX"[random.integers(19)]
    kind = random.random()
    return letter + number[:2] if kind < 0.25 else number[:2] + letter if kind < 0.35 else number


@dataclass(frozen=True)
class Answer:
    """What was stated of one reading: of the first plug, of none; and what was right."""

    read: str
    stated: float
    first: bool
    third: bool
    none: float
    strange: bool


def answers(stamps: Sequence[str], pairs: Sequence[tuple[str | None, str]]) -> list[Answer]:
    """What `locate` answers for plugs of these stamps, all of one state."""
    from provenance._identity.locate import locate_plug
    from provenance._identity.plug_fit import PlugRecord

    plugs = [PlugRecord("", "S", one, one, one, "", None, "in_place", *[""] * 6) for one in stamps]
    found = []
    for struck, read in pairs:
        told = locate_plug(plugs, read, limit=3)
        ranked = [one.plug.stamp for one in told.candidates]
        found.append(
            Answer(
                read,
                told.candidates[0].probability,
                ranked[0] == struck,
                struck in ranked,
                told.unrecorded,
                struck is None,
            )
        )
    return found


def calibration(stated: np.ndarray, right: np.ndarray) -> list[tuple[int, float, float]]:
    """(count, mean stated, share right) by tenths of what was stated; sparse tenths left out."""
    tenths = np.minimum((stated * 10).astype(int), 9)
    rows = [(stated[tenths == one], right[tenths == one]) for one in range(10)]
    return [(len(s), float(s.mean()), float(r.mean())) for s, r in rows if len(s) >= 20]


def calibration_error(rows: Sequence[tuple[int, float, float]]) -> float:
    """How far what was stated lies from what was right, on average over the readings."""
    return sum(n * abs(s - r) for n, s, r in rows) / sum(n for n, _, _ in rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--draws", type=int, default=2000)
    options = parser.parse_args()
    if options.fit:
        fit(Path("schemas/stamp_wear.yaml"), options.draws)
        return
    from provenance._identity.stamps import free_numbers

    stamps = list(free_numbers((), first=101, last=400))
    for title, severity in (("heavy wear", (0.2, 2.2)), ("light wear", (0.1, 0.8))):
        found = answers(stamps, simulate_readings(stamps, options.draws, 19, severity=severity))
        own = [one for one in found if not one.strange]
        lettered = [one for one in own if any(sign.isalpha() for sign in one.read)]
        print(f"{title}: {len(stamps)} stamps, {len(found)} readings")
        for name, some in (("all recorded plugs", own), ("read with letters", lettered)):
            first, third = (
                np.mean([getattr(one, at) for one in some]) for at in ("first", "third")
            )
            print(f"  {name}: {len(some)}; first right {first:.1%}, among three {third:.1%}")
        stated = np.array([one.stated for one in found])
        rows = calibration(stated, np.array([one.first for one in found]))
        none = np.array([one.none for one in found])
        strange = calibration(none, np.array([one.strange for one in found]))
        for name, some in (("first answer", rows), ("in no record", strange)):
            print(f"  {name}: calibration error {calibration_error(some):.3f}")
            for count, said, right in some:
                print(f"    {count:5d} readings, stated {said:.2f}, right {right:.2f}")


if __name__ == "__main__":
    main()

"""Lists the plans and photos of the scenario, and draws them: lines and grain, no real picture."""

# ruff: noqa: E501 - the table below reads better with one picture a line

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from invention.paperwork import places
from invention.specimens import Specimen, all_specimens
from invention.timber import BUILDINGS, SEED, Wood, all_wood

Colour = tuple[int, int, int]
INK, PAPER, GREY, MARK = (25, 25, 25), (255, 255, 255), (150, 150, 150), (178, 60, 20)
SIZE = (640, 480)


@dataclass(frozen=True)
class Picture:
    """One line of the photo log; `path` is below files/."""

    file_id: str
    path: str
    kind: str
    caption: str
    about_table: str
    about_id: str
    taken_on: str
    taken_by: str
    open_access: bool = True


def _element(key: str) -> str:
    return next(piece.element_id for piece in all_wood() if piece.key == key)


# fmt: off
PICTURES = (
    Picture("PL-1", "plans/log_house.png", "plan", "Plan of the log house (invented)", "place", "LH", "2023-06-07", "MB"),
    Picture("PL-2", "plans/room_block.png", "plan", "Plan of the room block (invented)", "place", "RB", "2023-06-09", "ZF"),
    Picture("PL-3", "plans/barn.png", "plan", "Plan of the barn (invented)", "place", "BN", "2023-06-14", "TQ"),
    Picture("PH-01", "photos/log_house_south.jpg", "photo", "Log house from the south (drawn, invented)", "place", "LH", "2023-06-05", "ZF"),
    Picture("PH-02", "photos/room_block_south.jpg", "photo", "Room block from the south (drawn, invented)", "place", "RB", "2023-06-05", "ZF"),
    Picture("PH-03", "photos/barn_south.jpg", "photo", "Barn from the south (drawn, invented)", "place", "BN", "2023-06-12", "ZF"),
    Picture("PH-04", "photos/plug_202.jpg", "photo", "Dowel stamped 202 (drawn, invented)", "plug", "P-202", "2023-06-08", "ZF"),
    Picture("PH-05", "photos/plug_209.jpg", "photo", "Dowel stamped 209 (drawn, invented)", "plug", "P-209", "2023-06-08", "ZF"),
    Picture("PH-06", "photos/plug_217.jpg", "photo", "Dowel stamped 217 (drawn, invented)", "plug", "P-217", "2023-06-15", "ZF"),
    Picture("PH-07", "photos/plug_304b.jpg", "photo", "Second dowel stamped 304 (drawn, invented)", "plug", "P-304b", "2023-06-12", "ZF"),
    Picture("PH-08", "photos/beam_with_mortise.jpg", "photo", "Ceiling beam with an empty mortise (drawn, invented)", "element", _element("LH.C2"), "2023-06-07", "ZF"),
    Picture("PH-09", "photos/beam_with_notch.jpg", "photo", "Roof beam of room 4 with a notch (drawn, invented)", "element", _element("RB.B7"), "2023-06-09", "ZF"),
    Picture("PH-10", "photos/slice_215.jpg", "photo", "Slice 215 before packing (drawn, invented)", "sample", "215", "2023-06-08", "ZF"),
    Picture("PH-11", "photos/core_219_broken.jpg", "photo", "Core 219 as it came out of its tube (drawn, invented)", "sample", "219", "2023-06-29", "IV"),
    Picture("PH-12", "photos/parcel.jpg", "photo", "The parcel before it was sealed (drawn, invented)", "consignment", "C-2023-1", "2023-06-17", "MB", False),
)
# fmt: on

# -- plans ---------------------------------------------------------------------------------------

_PLAN_SIZE_M = {"LH": (7.4, 5.2), "RB": (17.2, 4.2), "BN": (12.0, 7.0)}
_PLAN_SCALE = {"LH": 0.010, "RB": 0.016, "BN": 0.014}
_MARGIN_M = 1.0


def plan_corner(building: str) -> tuple[float, float, float]:
    """Site grid x and y of the plan's lower left corner and its metres a pixel."""
    corners = _corners(building)
    west = math.floor(min(x for x, _ in corners) - _MARGIN_M)
    south = math.floor(min(y for _, y in corners) - _MARGIN_M)
    return float(west), float(south), _PLAN_SCALE[building]


def _corners(building: str) -> list[tuple[float, float]]:
    wide, deep = _PLAN_SIZE_M[building]
    frame = BUILDINGS[building]
    return [frame.on_grid(u, v, 0)[:2] for u, v in ((0, 0), (wide, 0), (wide, deep), (0, deep))]


def draw_plan(building: str) -> Image.Image:
    """A building's plan, square to the site grid, sampled wood in full tone with its number."""
    west, south, scale = plan_corner(building)
    corners = _corners(building)
    wide = math.ceil((max(x for x, _ in corners) + _MARGIN_M - west) / scale)
    high = math.ceil((max(y for _, y in corners) + _MARGIN_M + 0.3 - south) / scale)
    image = Image.new("RGB", (wide, high), PAPER)
    pen = ImageDraw.Draw(image)

    def spot(x: float, y: float) -> tuple[float, float]:
        return (x - west) / scale, high - (y - south) / scale

    outline = [spot(*corner) for corner in corners]
    pen.polygon(outline, outline=INK, fill=(247, 244, 238), width=3)
    for place in places():
        if place["kind"] == "room" and place["inside"] == building:
            inside = [tuple(map(float, corner.split())) for corner in place["outline"].split(", ")]
            pen.polygon([spot(*corner) for corner in inside], outline=GREY, fill=PAPER, width=2)
    numbers: dict[str, list[str]] = {}
    for sample in all_specimens():
        numbers.setdefault(sample.wood.key, []).append(sample.sample_id)
    pieces = [piece for piece in all_wood() if piece.building == building]
    for piece in sorted(pieces, key=lambda one: (one.key in numbers, one.a[2])):
        band = [spot(*point) for point in _footprint(piece)]
        sampled = piece.key in numbers
        pen.polygon(
            band, outline=INK if sampled else GREY, fill=(214, 190, 150) if sampled else None
        )
    dots = {
        sample.sample_id: spot(*sample.wood.axis_at(sample.along_m)[:2])
        for sample in all_specimens()
        if sample.wood.building == building
    }
    taken = [(x - 5, y - 5, x + 5, y + 5) for x, y in dots.values()]
    for number, (x, y) in dots.items():
        _free_label(pen, x, y, number, taken)
    for x, y in dots.values():
        pen.ellipse((x - 4, y - 4, x + 4, y + 4), fill=MARK)
    _scale_bar(pen, 16, high - 16, scale)
    _north(pen, wide - 30, high - 30)
    names = {"LH": "Log house", "RB": "Room block", "BN": "Barn"}
    pen.text((12, 8), f"{names[building]} - plan on the site grid - INVENTED", INK, _font(18))
    pen.text((12, 30), "Tone: sampled wood. Dot: sample. Number: field specimen.", INK, _font(13))
    return image.quantize(32, dither=Image.Dither.NONE)


def _footprint(piece: Wood) -> list[tuple[float, float]]:
    """The piece seen from above; an upright one shows its end."""
    east, north = piece.b[0] - piece.a[0], piece.b[1] - piece.a[1]
    flat = math.hypot(east, north)
    if flat < 0.05:
        half = piece.dia_a1_cm / 200
        x, y = piece.a[:2]
        return [
            (x - half, y - half),
            (x + half, y - half),
            (x + half, y + half),
            (x - half, y + half),
        ]
    across = (-north / flat, east / flat)
    wide_a, wide_b = piece.dia_a1_cm / 200, piece.dia_b1_cm / 200
    return [
        (piece.a[0] + across[0] * wide_a, piece.a[1] + across[1] * wide_a),
        (piece.b[0] + across[0] * wide_b, piece.b[1] + across[1] * wide_b),
        (piece.b[0] - across[0] * wide_b, piece.b[1] - across[1] * wide_b),
        (piece.a[0] - across[0] * wide_a, piece.a[1] - across[1] * wide_a),
    ]


def _free_label(
    pen: ImageDraw.ImageDraw,
    x: float,
    y: float,
    text: str,
    taken: list[tuple[float, float, float, float]],
) -> None:
    """Write a number beside its dot at the first place round it where nothing is written yet."""
    font = _font(15)
    wide, high = pen.textlength(text, font), 16
    for far in (6, 16, 26, 38):
        for east, north in ((1, -1), (1, 1), (-1, -1), (-1, 1), (0, -1), (0, 1), (1, 0), (-1, 0)):
            left = x + east * far + (0 if east > 0 else -wide if east < 0 else -wide / 2)
            top = y + north * far - high / 2
            box = (left - 2, top - 1, left + wide + 2, top + high + 1)
            if all(box[2] < b[0] or box[0] > b[2] or box[3] < b[1] or box[1] > b[3] for b in taken):
                taken.append(box)
                if far > 6:
                    pen.line((x, y, left + wide / 2, top + high / 2), GREY)
                pen.rectangle(box, fill=PAPER)
                pen.text((left, top), text, INK, font)
                return


def _scale_bar(pen: ImageDraw.ImageDraw, x: float, y: float, scale: float) -> None:
    for metre in range(3):
        left, right = x + metre / scale, x + (metre + 1) / scale
        pen.rectangle((left, y - 6, right, y), outline=INK, fill=INK if metre % 2 else PAPER)
    pen.text((x + 3 / scale + 8, y - 14), "3 m", INK, _font(14))


def _north(pen: ImageDraw.ImageDraw, x: float, y: float) -> None:
    pen.polygon([(x, y - 20), (x - 8, y + 10), (x, y + 4), (x + 8, y + 10)], fill=INK)
    pen.text((x - 30, y - 4), "y", INK, _font(14))


def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


# -- photos, drawn -------------------------------------------------------------------------------


def draw_photo(picture: Picture) -> Image.Image:
    """The drawing that stands for a photo."""
    chance = random.Random(f"{SEED} {picture.file_id}")
    if picture.about_table == "plug":
        stamp = picture.about_id.removeprefix("P-").rstrip("b")
        image = _plug(chance, stamp)
    elif picture.about_table == "element":
        image = _beam(chance, mortise="mortise" in picture.path)
    elif picture.about_table == "consignment":
        image = _parcel()
    elif picture.path.endswith("broken.jpg"):
        image = _broken_core(chance)
    elif picture.about_table == "sample":
        image = _slice(next(s for s in all_specimens() if s.sample_id == picture.about_id))
    else:
        image = {"LH": _log_house, "RB": _room_block, "BN": _barn}[picture.about_id](chance)
    pen = ImageDraw.Draw(image)
    pen.rectangle((0, SIZE[1] - 26, SIZE[0], SIZE[1]), fill=(30, 30, 30))
    pen.text((10, SIZE[1] - 22), picture.caption, PAPER, _font(15))
    return image


def _shade(colour: Colour, by: float) -> Colour:
    red, green, blue = (max(0, min(255, int(part * by))) for part in colour)
    return red, green, blue


WOOD: Colour = (181, 143, 96)


def _grain(pen: ImageDraw.ImageDraw, box: tuple[int, int, int, int], chance: random.Random) -> None:
    """Long fibres from left to right."""
    left, top, right, bottom = box
    pen.rectangle(box, fill=WOOD)
    for _ in range((bottom - top) // 3):
        y = chance.uniform(top, bottom)
        tone = _shade(WOOD, chance.uniform(0.72, 0.95))
        wave, shift = chance.uniform(0.5, 3.0), chance.uniform(0, 6)
        points = [(x, y + wave * math.sin(x / 90 + shift)) for x in range(left, right + 1, 16)]
        pen.line([p for p in points if top <= p[1] <= bottom], tone)


def _plug(chance: random.Random, stamp: str) -> Image.Image:
    image = Image.new("RGB", SIZE, WOOD)
    pen = ImageDraw.Draw(image)
    _grain(pen, (0, 0, SIZE[0], SIZE[1]), chance)
    middle, radius = (320, 220), 130
    box = (middle[0] - radius, middle[1] - radius, middle[0] + radius, middle[1] + radius)
    pen.ellipse([box[0] - 5, box[1] - 5, box[2] + 5, box[3] + 5], fill=(70, 50, 30))
    pen.ellipse(box, fill=(222, 196, 150))
    for chord in range(-radius + 12, radius, 13):
        # a turned dowel shows side grain: straight lines across its face
        half = math.sqrt(radius**2 - chord**2) - 3
        y = middle[1] + chord
        pen.line((middle[0] - half, y, middle[0] + half, y), (208, 180, 134))
    for place, digit in enumerate(stamp):
        # punched one at a time, so never quite in line
        tile = Image.new("L", (80, 110), 0)
        ImageDraw.Draw(tile).text((8, 2), digit, 255, _font(88))
        tile = tile.rotate(chance.uniform(-7, 7), resample=Image.Resampling.BICUBIC)
        left = int(middle[0] - 34 * len(stamp) + 66 * place)
        top = int(middle[1] - 58 + chance.uniform(-7, 7))
        image.paste((250, 236, 205), (left + 2, top + 2), tile)
        image.paste((60, 42, 24), (left, top), tile)
    return image


def _beam(chance: random.Random, *, mortise: bool) -> Image.Image:
    image = Image.new("RGB", SIZE, (214, 208, 198))
    pen = ImageDraw.Draw(image)
    _grain(pen, (0, 130, SIZE[0], 310), chance)
    pen.line((0, 130, SIZE[0], 130), INK, 2)
    pen.line((0, 310, SIZE[0], 310), INK, 2)
    if mortise:
        pen.rectangle((120, 190, 250, 252), fill=(60, 44, 28), outline=INK, width=2)
    else:
        pen.polygon(
            [(130, 310), (160, 235), (240, 235), (270, 310)], fill=(96, 72, 46), outline=INK
        )
    pen.ellipse((432, 206, 458, 232), fill=(222, 196, 150), outline=INK, width=2)
    for mark in range(11):
        tone = INK if mark % 2 else PAPER
        pen.rectangle((40 + mark * 50, 350, 90 + mark * 50, 364), fill=tone, outline=INK)
    pen.text((40, 370), "each field 10 cm", INK, _font(14))
    return image


def _slice(sample: Specimen) -> Image.Image:
    image = Image.new("RGB", SIZE, (230, 230, 226))
    pen = ImageDraw.Draw(image)
    widths = sample.widths_hundredth_mm
    scale = 190 / sum(widths)
    radius, middle = 0.0, (320, 225)
    bounds = []
    for width in widths:
        radius += width * scale
        bounds.append(radius)
    for place, bound in reversed(list(enumerate(bounds))):
        tone = _shade((226, 194, 146), 1.0 if place < len(bounds) - 30 else 1.06)
        pen.ellipse(
            (middle[0] - bound, middle[1] - bound, middle[0] + bound, middle[1] + bound),
            fill=tone,
            outline=(140, 100, 60),
        )
    pen.rectangle((20, 20, 170, 60), fill=PAPER, outline=INK)
    pen.text((30, 30), f"HOLL {sample.sample_id}", INK, _font(20))
    return image


def _broken_core(chance: random.Random) -> Image.Image:
    image = Image.new("RGB", SIZE, (46, 62, 74))
    pen = ImageDraw.Draw(image)
    x = 60
    for wide, top in ((150, 200), (90, 214), (60, 190), (130, 206)):
        rough = [(x + wide + chance.uniform(-7, 7), top + step) for step in range(0, 45, 9)]
        pen.polygon(
            [(x, top), *rough, (x + chance.uniform(-7, 7), top + 44)],
            fill=(222, 190, 140),
            outline=INK,
        )
        for line in range(x + 6, x + wide - 8, 5):
            pen.line((line, top + 3, line + chance.uniform(-1, 1), top + 41), (150, 110, 66))
        x += wide + 24
    pen.rectangle((60, 300, 260, 344), fill=PAPER, outline=INK)
    pen.text((70, 310), "HOLL 219  broken", INK, _font(20))
    return image


def _parcel() -> Image.Image:
    image = Image.new("RGB", SIZE, (220, 222, 218))
    pen = ImageDraw.Draw(image)
    pen.polygon([(120, 140), (470, 140), (530, 90), (190, 90)], fill=(196, 158, 110), outline=INK)
    pen.polygon([(470, 140), (530, 90), (530, 310), (470, 380)], fill=(160, 124, 82), outline=INK)
    pen.rectangle((120, 140, 470, 380), fill=(184, 146, 98), outline=INK, width=2)
    pen.rectangle((170, 200, 420, 320), fill=PAPER, outline=INK)
    pen.text((184, 212), "C-2023-1", INK, _font(34))
    pen.text((184, 256), "42 samples, box 1 of 1", INK, _font(18))
    pen.text((184, 282), "INVENTED", MARK, _font(18))
    return image


def _sky(horizon: int) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    image = Image.new("RGB", SIZE, (206, 219, 228))
    pen = ImageDraw.Draw(image)
    pen.rectangle((0, horizon, SIZE[0], SIZE[1]), fill=(158, 166, 122))
    return image, pen


def _log_house(chance: random.Random) -> Image.Image:
    image, pen = _sky(370)
    pen.polygon([(90, 200), (320, 80), (550, 200)], fill=(120, 104, 88), outline=INK)
    for course in range(7):
        top = 200 + course * 25
        _grain(pen, (100, top, 540, top + 24), chance)
        pen.rectangle((100, top, 540, top + 24), outline=(90, 64, 38))
    pen.rectangle((290, 240, 360, 375), fill=(92, 70, 48), outline=INK, width=3)
    pen.rectangle((160, 255, 220, 305), fill=(60, 70, 80), outline=INK, width=3)
    return image


def _room_block(chance: random.Random) -> Image.Image:
    image, pen = _sky(350)
    pen.rectangle((50, 190, 590, 360), fill=(196, 160, 120), outline=INK, width=2)
    for _ in range(260):
        x, y = chance.uniform(52, 580), chance.uniform(192, 352)
        pen.line((x, y, x + chance.uniform(4, 14), y), (176, 138, 100))
    for end in range(8):
        x = 85 + end * 66
        pen.ellipse((x - 9, 204, x + 9, 222), fill=(120, 88, 56), outline=INK, width=2)
    for door in (120, 420):
        pen.rectangle((door, 268, door + 46, 360), fill=(58, 44, 32), outline=INK)
        pen.rectangle((door - 12, 256, door + 58, 268), fill=(130, 98, 62), outline=INK)
    return image


def _barn(chance: random.Random) -> Image.Image:
    image, pen = _sky(370)
    pen.polygon([(70, 190), (130, 90), (510, 90), (570, 190)], fill=(134, 112, 92), outline=INK)
    pen.rectangle((80, 190, 560, 375), fill=(214, 200, 172), outline=INK)
    for post in (80, 236, 392, 548):
        pen.rectangle((post, 190, post + 14, 375), fill=(112, 82, 52), outline=INK)
    pen.rectangle((80, 190, 560, 204), fill=(112, 82, 52), outline=INK)
    pen.rectangle((80, 362, 560, 375), fill=(112, 82, 52), outline=INK)
    for post in (94, 250, 406):
        pen.line((post, 250, post + 40, 206), (112, 82, 52), 9)
    pen.rectangle((262, 250, 380, 362), fill=(80, 58, 38), outline=INK, width=2)
    return image


# -- writing -------------------------------------------------------------------------------------

_GPS_TAG = 0x8825
_WITH_POSITION = ("PH-01", "PH-03")


def write_pictures(folder: Path) -> list[Path]:
    """Draw every picture of the log below `folder`; two photos carry a (made-up) position."""
    paths = []
    for picture in PICTURES:
        path = folder / picture.path
        path.parent.mkdir(parents=True, exist_ok=True)
        if picture.kind == "plan":
            draw_plan(picture.about_id).save(path, optimize=True)
        else:
            image = draw_photo(picture)
            exif = image.getexif()
            if picture.file_id in _WITH_POSITION:
                # open ocean, as the site is; the public edition must take it off
                place = exif.get_ifd(_GPS_TAG)
                place.update({1: "S", 2: (48.0, 0.0, 0.0), 3: "W", 4: (123.0, 0.0, 0.0)})
            image.save(path, quality=78, exif=exif)
        paths.append(path)
    return paths

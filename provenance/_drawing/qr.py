"""Draws QR codes (ISO/IEC 18004) that still read when the label is worn or coarsely printed.

How large and how safe a code is follows from the space it is given:

- A module (one small square) is never smaller than SMALLEST_MODULE_MM, 2.2 dots of a printer with
  200 dots an inch. A code that would need smaller ones is refused, not printed. (At 2.0 to 2.1 dots
  one to four codes in a hundred were not read back from renderings, from 2.1 on all were.)
- Where the modules stay at ROOMY_MODULE_MM or larger the code is of error correction level H (about
  30 % of the code words can be restored), otherwise Q (about 25 %); shares as in
  ISO/IEC 18004, error correction.
- The quiet zone is 4 modules on every side (ISO/IEC 18004) and belongs to the space of the code.

Codes of labels are chosen otherwise (`encode_label`), as reading rates were measured
(benchmarks/codes.py): level H while modules stay at LABEL_MODULE_MM or larger; 2 modules of quiet
zone of their own, since what is white around them on a label gives the rest; version 3 or higher,
as in a smaller symbol the corner marks, which nothing mends, fill a third. Only where space is so
scarce that larger modules weigh more (round tags, flags round tubes) the smallest version is taken.
For printers that know black and white only, `whole_dots` makes each module as many dots as another.

Texts of capitals, digits and ` $%*+-./:` are encoded in alphanumeric mode, others in byte mode.

The mask is fixed instead of the best of eight, which makes a code seven times as fast to build. The
symbol says which mask it has, so a reader takes it as any other; the tests decode every one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import cycle
from typing import Any

from provenance._base.errors import TreenailError

QUIET_MODULES = 4
LABEL_QUIET_MODULES = 2
LABEL_VERSION = 3
LABEL_MODULE_MM = 0.36
SMALLEST_MODULE_MM = 0.28
ROOMY_MODULE_MM = 0.5
LARGEST_VERSION = 40
MASK = 2
_MODE_BITS = 4
_TERMINATOR_BITS = 4
_ECI_BITS = 12
_ECI_MODE = 0b0111
_ECI_UTF8 = 26  # assigned by the AIM ECI register

_ALPHANUMERIC = re.compile("[0-9A-Z $%*+./:-]+")
_DARK_RUN = re.compile(rb"\x01+")


class CodeTooLarge(TreenailError):
    """A text whose code does not fit into its space with modules that can be printed and read."""


@dataclass(frozen=True)
class Code:
    """One symbol: `rows` from the top, each a bytes of 0 (light) and 1 (dark), a byte a module.

    `quiet` is the width of its quiet zone in modules.
    """

    rows: tuple[bytes, ...]
    version: int
    level: str
    quiet: int = QUIET_MODULES

    @property
    def modules(self) -> int:
        """Modules along a side, without the quiet zone."""
        return len(self.rows)

    @property
    def width(self) -> int:
        """Modules along a side with the quiet zone."""
        return self.modules + 2 * self.quiet


def _mode(text: str) -> int:
    from qrcode import util

    mode: int = util.MODE_ALPHA_NUM if _ALPHANUMERIC.fullmatch(text) else util.MODE_8BIT_BYTE
    return mode


def _smallest_version(text: str, level: str) -> int:
    """The version (1-40) that holds the text, which is in UTF-8 where it is in byte mode."""
    from qrcode import util

    mode, length = _mode(text), len(text.encode("utf-8"))
    body = 8 * length if mode == util.MODE_8BIT_BYTE else 11 * (length // 2) + 6 * (length % 2)
    for version in range(1, LARGEST_VERSION + 1):
        counter = util.length_in_bits(mode, version)
        room = util.BIT_LIMIT_TABLE[_level_number(level)][version]
        if _MODE_BITS + counter + body + (0 if text.isascii() else _ECI_BITS) <= room:
            return version
    raise CodeTooLarge(
        f"a text of {length} bytes is too long for a code at level {level}; shorten it"
    )


def _level_number(level: str) -> int:
    from qrcode import constants

    number: int = getattr(constants, f"ERROR_CORRECT_{level}")
    return number


def _code_words(text: str, version: int, level: str) -> list[int]:
    """The code words of the text, those of the error correction included.

    Texts beyond ASCII are announced as UTF-8 (ECI 26), because a code without an announcement is
    ISO/IEC 8859-1; the library can do all but that, so the bits before its code words are put
    together here (ISO/IEC 18004, data encodation).
    """
    from qrcode import base, util

    buffer = util.BitBuffer()
    if not text.isascii():
        buffer.put(_ECI_MODE, _MODE_BITS)
        buffer.put(_ECI_UTF8, _ECI_BITS - _MODE_BITS)
    data = util.QRData(text.encode("utf-8"), mode=_mode(text), check_data=False)
    buffer.put(data.mode, _MODE_BITS)
    buffer.put(len(data), util.length_in_bits(data.mode, version))
    data.write(buffer)
    room = util.BIT_LIMIT_TABLE[_level_number(level)][version]
    buffer.put(0, min(_TERMINATOR_BITS, room - len(buffer)))
    buffer.put(0, -len(buffer) % 8)
    for pad, _ in zip(cycle((util.PAD0, util.PAD1)), range(len(buffer), room, 8), strict=False):
        buffer.put(pad, 8)
    words: list[int] = util.create_bytes(buffer, base.rs_blocks(version, _level_number(level)))
    return words


def _modules(version: int) -> int:
    return 17 + 4 * version


def needed_side_mm(text: str, level: str = "Q", quiet: int = QUIET_MODULES) -> float:
    """The side of the smallest space, quiet zone included, in which the text's code can be read."""
    return (_modules(_smallest_version(text, level)) + 2 * quiet) * SMALLEST_MODULE_MM


def encode_text(
    text: str, level: str = "Q", *, version: int = 1, quiet: int = QUIET_MODULES
) -> Code:
    """The code of a text at an error correction level (L, M, Q, H), of `version` or higher."""
    from qrcode.main import QRCode

    version = max(version, _smallest_version(text, level))
    symbol: Any = QRCode(version, _level_number(level), mask_pattern=MASK)
    symbol.data_cache = _code_words(text, version, level)
    symbol.make(fit=False)
    return Code(tuple(bytes(row) for row in symbol.modules), version, level, quiet)


def encode_to_fit(text: str, side_mm: float, about: str = "this text") -> Code:
    """The safest code of the text for a square space of `side_mm`, quiet zone included.

    Raises CodeTooLarge, naming `about`, when the modules would be too small to read.
    """
    for level, module_mm in (("H", ROOMY_MODULE_MM), ("Q", SMALLEST_MODULE_MM)):
        modules = _modules(_smallest_version(text, level)) + 2 * QUIET_MODULES
        if modules * module_mm <= side_mm + 1e-6:
            return encode_text(text, level)
    raise CodeTooLarge(
        f"the code of {about} needs {needed_side_mm(text):.1f} mm with its quiet zone and has "
        f"{side_mm:.1f} mm; choose a larger stock, or a shorter web address"
    )


def encode_label(text: str, side_mm: float, about: str, *, scarce: bool = False) -> Code:
    """The code of a label's text for a square space of `side_mm` with white around it.

    `scarce` where space is. Raises CodeTooLarge, naming `about`, when it could not be read.
    """
    least = 1 if scarce else LABEL_VERSION
    for level, module_mm in (("H", LABEL_MODULE_MM), ("Q", SMALLEST_MODULE_MM)):
        version = max(least, _smallest_version(text, level))
        needed_mm = (_modules(version) + 2 * LABEL_QUIET_MODULES) * module_mm
        if needed_mm <= side_mm + 1e-6:
            return encode_text(text, level, version=version, quiet=LABEL_QUIET_MODULES)
    raise CodeTooLarge(
        f"the code of {about} needs {needed_mm:.1f} mm and has {side_mm:.1f} mm; choose a larger "
        "stock, or a shorter web address"
    )


def whole_dots(
    code: Code, x: float, top: float, side: float, dot: float
) -> tuple[float, float, float]:
    """Left, top and side of the code in the space, its modules as many whole dots as fit.

    `x` and `top` are measured from the corner in which the printer's first dot lies; all in one
    unit. Where a module would be less than a dot, the space itself.
    """
    dots = int(side / code.width / dot + 1e-6)
    if not dots:
        return x, top, side
    whole = code.width * dots * dot
    left, head = x + (side - whole) / 2, top + (side - whole) / 2
    return round(left / dot) * dot, round(head / dot) * dot, whole


def draw_code(canvas: Any, code: Code, x: float, y: float, side: float) -> None:
    """Draw the code as one filled path in the square at x, y (points), quiet zone included.

    Whole numbers of modules under one scale keep a code at about 0.6 kB once it is compressed.
    """
    size = side / code.width
    canvas.saveState()
    canvas.translate(x + code.quiet * size, y + code.quiet * size)
    canvas.scale(size, size)
    canvas.setFillGray(0)
    pieces: list[str] = []
    for row, cells in enumerate(code.rows):
        from_foot = code.modules - 1 - row
        pieces += [
            f"{run.start()} {from_foot} {run.end() - run.start()} 1 re"
            for run in _DARK_RUN.finditer(cells)
        ]
    canvas.addLiteral(" ".join(pieces) + " f")
    canvas.restoreState()

"""Tells cells that can hold nothing but what their field says from free text."""

from __future__ import annotations

import re

from provenance._model.edtf import EDTF_PATTERN
from provenance._model.schema import Field

_NUMBER = re.compile(r"[-+]?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]+)?")
_EDTF = re.compile(EDTF_PATTERN)


def is_plain(one: Field, text: str) -> bool:
    """Whether a cell is a code, number, truth value or date of its field, and so no free text."""
    if one.type in ("number", "integer"):
        return bool(_NUMBER.fullmatch(text))
    if one.type == "boolean":
        return text.lower() in ("true", "false", "1", "0")
    if one.notation == "edtf":
        return bool(_EDTF.fullmatch(text))
    if one.notation == "sha256":
        return bool(re.fullmatch("[0-9a-f]{64}", text))
    return text in one.constraints.get("enum", ())

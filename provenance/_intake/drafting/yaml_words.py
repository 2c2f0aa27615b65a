"""Writes texts, lists and comments as YAML on one line."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence

_UNPRINTABLE = re.compile(
    "[^ -~\u00a0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]"
)


def quoted(text: str) -> str:
    """A text as YAML takes it in any place, on one line."""
    return _UNPRINTABLE.sub(
        lambda match: f"\\u{ord(match[0]):04x}", json.dumps(text, ensure_ascii=False)
    )


def listed(texts: Sequence[str]) -> str:
    """Texts as a YAML list on one line."""
    return f"[{', '.join(map(quoted, texts))}]"


def remark(text: str) -> str:
    """A comment on one line."""
    return "# " + _UNPRINTABLE.sub(" ", text)

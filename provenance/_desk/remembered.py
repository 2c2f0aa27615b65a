"""What the desk remembers from one start to the next: who is at work, the language of its pages."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from provenance._base.disk import write_text
from provenance._base.errors import UnusableInput
from provenance._base.login import login_name
from provenance._gate.documents import json_from

_REMEDY = "delete this file; the desk then asks for your name again"


@dataclass(frozen=True)
class Remembered:
    """As it was last saved at the desk; '' where it never was."""

    by: str = ""
    language: str = ""


def remembered() -> Remembered:
    """What was saved; raises UnusableInput where the file holds something else."""
    path = _path()
    try:
        kept = json_from(path.read_bytes(), path, remedy=_REMEDY)
    except FileNotFoundError:
        return Remembered()
    match kept:
        case {"by": str(by), "language": str(language)}:
            return Remembered(by, language)
    raise UnusableInput(f"{path} does not hold a name and a language; {_REMEDY}")


def remember(what: Remembered) -> None:
    """Keep it in the data folder of the person."""
    write_text(_path(), json.dumps(asdict(what), ensure_ascii=False))


def who_is_at_work() -> str:
    """The name that was last saved at the desk, or that of the account."""
    return remembered().by or login_name()


def _path() -> Path:
    import platformdirs

    return platformdirs.user_data_path("treenail", appauthor=False) / "desk.json"

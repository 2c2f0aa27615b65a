"""Keeps marks on a plan that are not entered yet, so that they outlive the desk and the browser."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import platformdirs

from provenance._base.disk import write_text
from provenance._gate.documents import read_json
from provenance._gate.refusal import RefusedInput
from provenance._record.package import Package
from provenance._survey.trace.picture import PlanPicture

_KEPT = ("points", "scale", "model", "pencil", "replace")


def keep_marks(package: Package, picture: PlanPicture, sent: Mapping[str, Any]) -> None:
    """Keep what the page sends, in the data folder of the person."""
    path = _path(package, picture)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_text(path, json.dumps({name: sent.get(name) for name in _KEPT}))


def marks_kept(package: Package, picture: PlanPicture) -> dict[str, Any] | None:
    """What was kept, None where nothing was or it cannot be read."""
    try:
        kept = read_json(_path(package, picture))
    except (OSError, RefusedInput):
        return None
    is_whole = isinstance(kept, dict) and isinstance(kept.get("points"), list)
    return kept if is_whole else None


def forget_marks(package: Package, picture: PlanPicture) -> None:
    """They are in the record now."""
    with suppress(FileNotFoundError):
        _path(package, picture).unlink()


def _path(package: Package, picture: PlanPicture) -> Path:
    which = f"{package.folder.resolve()}\0{picture.sha256}"
    name = hashlib.sha256(which.encode()).hexdigest()[:24]
    return platformdirs.user_data_path("treenail", appauthor=False) / "plan-marks" / f"{name}.json"

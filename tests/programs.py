"""Where the programs are that some tests ask: an office suite, a browser, fuse."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path

COMING = "PROGRAMS_COMING"
"""Names a file that lies there while the programs are still being installed."""


def program(name: str) -> str | None:
    """Where a program lies, None where it is not installed; waits while it is being installed."""
    coming = os.environ.get(COMING)
    while coming and Path(coming).exists():
        time.sleep(0.2)
    return shutil.which(name)

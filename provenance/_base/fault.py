"""Says in plain words that the program itself is at fault, and keeps what is needed to mend it."""

from __future__ import annotations

import platform
import secrets
import shlex
import sys
import tempfile
import traceback
from pathlib import Path

from provenance import __version__
from provenance._base.disk import write_text
from provenance._base.visible import visible

SOFTWARE = 70
"""Exit code for a fault of the program (EX_SOFTWARE in sysexits.h of 4.3BSD)."""


def fault_in_words(error: BaseException) -> str:
    """What happened and what to send, in plain sentences; what is to be sent is in a file.

    The file lies in the folder for temporary files; where it cannot be written, what it would hold
    follows instead.
    """
    report = _report(error)
    said = " ".join(visible(str(error)).split())
    what = f"{type(error).__name__}: {said[:300]}" if said else type(error).__name__
    told = (
        f"this is a fault of the program, not of your data ({what}).\n"
        "No file is half-written: each is written under another name and put in place only when it "
        "is whole. Look at what is there before you do the same again.\n"
    )
    path = Path(tempfile.gettempdir()) / f"treenail-fault-{secrets.token_hex(4)}.txt"
    please = (
        "Please send {} to the maintainers of this program, with a word on what you were doing. "
        "Read it first: it holds the command as it was typed and may quote the record, so names "
        "of people and places may stand in it."
    )
    try:
        write_text(path, report)
    except OSError as refused:
        return (
            told + please.format("what follows") + f" (No file could be kept: {refused})\n{report}"
        )
    return told + please.format(f"the file {path}")


def _report(error: BaseException) -> str:
    facts = {
        "Version": __version__,
        "Python": sys.version.replace("\n", " "),
        "System": platform.platform(),
        "Command": shlex.join(["treenail", *sys.argv[1:]]),
    }
    lines = [f"{name}: {value}" for name, value in facts.items()]
    text = "\n".join(lines) + "\n\n" + "".join(traceback.format_exception(error))
    # an argument or a text of the record may hold what UTF-8 does not have
    return text.encode("utf-8", "backslashreplace").decode("utf-8")

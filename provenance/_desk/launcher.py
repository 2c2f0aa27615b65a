"""Opens the desk by a double-click, for people who have no terminal, and makes what they click.

Sources: Desktop Entry Specification (freedesktop.org); Apple, 'Information Property List' (an
application is a folder with Contents/Info.plist and Contents/MacOS); Microsoft, 'WshShell object'
(CreateShortcut). The forms for macOS and Windows are written from memory.
"""

from __future__ import annotations

import html
import os
import plistlib
import shlex
import subprocess
import sys
import tempfile
import webbrowser
from collections.abc import Callable, Mapping
from pathlib import Path

from provenance._base.disk import building_folder, disk_trouble, write_text
from provenance._base.errors import AlreadyThere, TreenailError
from provenance._base.fault import fault_in_words
from provenance._desk.remembered import who_is_at_work

NAME = "Treenail desk"
_WORDS = "Records of timbers and samples"


def main() -> None:
    """Open the desk on the folder that is named, or on 'Treenail' in the person's documents.

    Nobody sees what a program without a terminal prints: a problem is shown as a page.
    """
    import platformdirs

    given = sys.argv[1:]
    folder = Path(given[0]) if given else platformdirs.user_documents_path() / "Treenail"
    try:
        from provenance._desk.desk import Desk
        from provenance._desk.serving import serve

        folder.mkdir(parents=True, exist_ok=True)
        serve(Desk(folder.resolve(), by=who_is_at_work()), tell=_on_standard_error)
    except ImportError as error:
        _as_page(f"The desk needs {error.name}. Install it with: pip install 'treenail[desk]'")
    except TreenailError as error:
        _as_page(str(error))
    except OSError as error:
        _as_page(disk_trouble(error))
    except Exception as error:
        _as_page(fault_in_words(error))


def _on_standard_error(text: str) -> None:
    """For whoever started it at a terminal; a program of a desktop may have no standard error."""
    if sys.stderr is not None:
        sys.stderr.write(f"{text}\n")


def _as_page(text: str) -> None:
    """Show a problem in the browser, and on standard error."""
    _on_standard_error(text)
    page = Path(tempfile.mkdtemp(prefix="treenail-")) / "problem.html"
    said = html.escape(text).replace("\n", "<br>")
    write_text(page, f'<!doctype html><meta charset="utf-8"><title>{NAME}</title><p>{said}</p>')
    webbrowser.open(page.as_uri())


def write_shortcut(folder: Path, into: Path | None = None, system: str = sys.platform) -> Path:
    """Write what opens the desk on `folder` by a double-click, onto the desktop or `into` a folder.

    Raises AlreadyThere, and TreenailError where Windows cannot write one.
    """
    import platformdirs

    into = into or platformdirs.user_desktop_path()
    # -P: no module is taken from the folder in which the desktop happens to start it
    command = [sys.executable, "-P", "-m", "provenance._desk.launcher", str(folder.resolve())]
    ending, write = _FORMS.get(system, (".desktop", _desktop_entry))
    path = into / f"{NAME}{ending}"
    if path.exists():
        raise AlreadyThere(f"{path} is there already; remove it first to have another")
    write(path, command)
    return path


def _desktop_entry(path: Path, command: list[str]) -> None:
    lines = [
        "[Desktop Entry]",
        "Type=Application",
        f"Name={NAME}",
        f"Comment={_WORDS}",
        f"Exec={' '.join(map(_quoted, command))}",
        "Terminal=false",
        "Categories=Science;",
    ]
    write_text(path, "\n".join(lines) + "\n")
    path.chmod(0o755)


def _quoted(argument: str) -> str:
    """An argument of Exec: quoted, with its own signs escaped, and '%' doubled.

    >>> _quoted('/home/x/50% of "it"')
    '"/home/x/50%% of \\\\\\\\"it\\\\\\\\""'
    """
    inner = "".join(f"\\{sign}" if sign in '"`$\\' else sign for sign in argument)
    # a backslash is itself escaped once more in every text of such a file
    return '"' + inner.replace("\\", "\\\\").replace("%", "%%") + '"'


def _application(path: Path, command: list[str]) -> None:
    with building_folder(path) as being_built:
        programs = being_built / "Contents" / "MacOS"
        programs.mkdir(parents=True)
        script = programs / "treenail-desk"
        write_text(script, f"#!/bin/sh\nexec {shlex.join(command)}\n")
        script.chmod(0o755)
        facts: Mapping[str, str] = {
            "CFBundleName": NAME,
            "CFBundleExecutable": script.name,
            "CFBundleIdentifier": "treenail.desk",
            "CFBundlePackageType": "APPL",
        }
        (being_built / "Contents" / "Info.plist").write_bytes(plistlib.dumps(dict(facts)))


def _windows_shortcut(path: Path, command: list[str]) -> None:
    # the Python that opens no black window stands beside the other
    python = Path(command[0]).with_name("pythonw.exe")
    script = (
        "$made = (New-Object -ComObject WScript.Shell).CreateShortcut($env:TREENAIL_PATH); "
        "$made.TargetPath = $env:TREENAIL_PYTHON; $made.Arguments = $env:TREENAIL_ARGUMENTS; "
        f"$made.Description = '{_WORDS}'; $made.Save()"
    )
    told = {
        "TREENAIL_PATH": str(path),
        "TREENAIL_PYTHON": str(python if python.exists() else command[0]),
        "TREENAIL_ARGUMENTS": subprocess.list2cmdline(command[1:]),
    }
    try:
        subprocess.run(
            ["powershell", "-NoProfile", "-Command", script],
            check=True,
            capture_output=True,
            env={**os.environ, **told},
        )
    except (OSError, subprocess.CalledProcessError) as error:
        raise TreenailError(
            f"{path} cannot be written ({error}). Make a shortcut by hand to: "
            f"{subprocess.list2cmdline([told['TREENAIL_PYTHON'], *command[1:]])}"
        ) from error


_FORMS: Mapping[str, tuple[str, Callable[[Path, list[str]], None]]] = {
    "darwin": (".app", _application),
    "win32": (".lnk", _windows_shortcut),
}

if __name__ == "__main__":
    main()

"""A double-click opens the desk: what is clicked, as files, and what it starts."""

from __future__ import annotations

import html
import os
import plistlib
import re
import signal
import subprocess
import sys
import tempfile
import threading
import urllib.request
import webbrowser
from collections.abc import Callable
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.parse import unquote, urlparse

import pytest

from provenance._base.errors import AlreadyThere, TreenailError
from provenance._desk import launcher
from provenance._desk.desk import Desk
from provenance._desk.launcher import NAME, main, write_shortcut
from provenance._desk.remembered import Remembered, remember, remembered, who_is_at_work
from provenance._desk.serving import LOOPBACK, serve
from tests.desk.sitting import Sitting
from tests.programs import program

HARD = '50% of "it" $HOME `x` \\t é'
"""A name of a folder that quoting can go wrong with."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of such a name; what would be started there says how it was called."""
    python = tmp_path / "python"
    python.write_text('#!/bin/sh\nprintf "%s\\n" "$0" "$@"\n')
    python.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(python))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    made = tmp_path / HARD
    made.mkdir()
    return made


def _wanted(folder: Path) -> list[str]:
    return [sys.executable, "-P", "-m", launcher.__name__, str(folder)]


def _printed(command: list[str]) -> list[str]:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout.splitlines()


def test_linux_starts_it_by_a_desktop_entry(folder: Path, tmp_path: Path) -> None:
    """Desktop Entry Specification 1.5, 'The Exec key': read backward, and quoted as a shell does.

    desktop-file-validate (Debian's desktop-file-utils) judges it where it is installed.
    """
    path = write_shortcut(folder, tmp_path, "linux")
    assert path.name == f"{NAME}.desktop"
    entry = dict(line.split("=", 1) for line in path.read_text("utf-8").splitlines()[1:])
    assert (entry["Type"], entry["Terminal"]) == ("Application", "false")
    told = entry["Exec"].replace("\\\\", "\\").replace("%%", "%")
    assert _printed(["sh", "-c", told]) == _wanted(folder)
    assert os.access(path, os.X_OK)
    if validator := program("desktop-file-validate"):
        assert _printed([validator, str(path)]) == []


def test_macos_starts_it_by_an_application(folder: Path, tmp_path: Path) -> None:
    """Apple, 'Information Property List' (from memory): CFBundleExecutable lies in MacOS."""
    path = write_shortcut(folder, tmp_path, "darwin")
    assert path.name == f"{NAME}.app"
    facts = plistlib.loads((path / "Contents" / "Info.plist").read_bytes())
    assert facts["CFBundlePackageType"] == "APPL"
    script = path / "Contents" / "MacOS" / facts["CFBundleExecutable"]
    assert _printed([str(script)]) == _wanted(folder)


def test_windows_is_asked_for_a_shortcut(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What PowerShell is given; where there is none, the message says what to make by hand."""
    monkeypatch.setenv("PATH", str(tmp_path / "programs"))
    with pytest.raises(TreenailError, match="by hand") as refused:
        write_shortcut(folder, tmp_path, "win32")
    assert subprocess.list2cmdline(_wanted(folder)) in str(refused.value)
    (tmp_path / "programs").mkdir()
    powershell = tmp_path / "programs" / "powershell"
    powershell.write_text('#!/bin/sh\nprintf "%s" "$TREENAIL_ARGUMENTS" > "$TREENAIL_PATH"\n')
    powershell.chmod(0o755)
    path = write_shortcut(folder, tmp_path, "win32")
    assert path.name == f"{NAME}.lnk"
    assert path.read_text("utf-8") == subprocess.list2cmdline(_wanted(folder)[1:])


@pytest.mark.parametrize("system", ["linux", "darwin", "win32"])
def test_what_is_there_is_not_written_over(folder: Path, tmp_path: Path, system: str) -> None:
    kept = tmp_path / f"{NAME}{ {'linux': '.desktop', 'darwin': '.app', 'win32': '.lnk'}[system] }"
    kept.write_text("mine")
    with pytest.raises(AlreadyThere, match="remove it first"):
        write_shortcut(folder, tmp_path, system)
    assert kept.read_text() == "mine"


def test_without_a_terminal_it_opens_in_the_browser_and_closes_there(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a desktop starts it: Windows gives such a program neither output nor error (pythonw)."""
    seen: dict[str, str] = {}

    def visit(address: str) -> None:
        opening = _page(address)
        to = html.unescape(re.search(r"url=([^\"]+)", opening)[1])
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        browser.open(to, timeout=20)
        host = f"http://{urlparse(to).netloc}"
        seen["host"] = host
        seen["first"] = browser.open(f"{host}/", timeout=20).read().decode()
        act = re.search(r'name="act" content="([^"]+)"', seen["first"])[1]
        sent = {"Origin": host, "X-Desk-Act": act, "HX-Request": "true"}
        closing = urllib.request.Request(f"{host}/close", b"", sent)
        seen["closed"] = browser.open(closing, timeout=20).read().decode()

    visits = _browser(monkeypatch, visit)
    monkeypatch.setattr(sys, "argv", ["treenail-desk", str(folder / "new")])
    monkeypatch.setattr(sys, "stdout", None)
    monkeypatch.setattr(sys, "stderr", None)
    main()
    for one in visits:
        one.join()
    assert urlparse(seen["host"]).hostname == LOOPBACK
    assert 'id="at-work"' in seen["first"]
    assert "hx-post" not in seen["closed"]
    assert list((folder / "new").iterdir()) == []


def test_a_logout_closes_it_as_its_button_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Signals of POSIX: Ctrl+C, the end of a session, the end of a terminal. Nothing is left."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    before = signal.getsignal(signal.SIGTERM)
    for sent in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        monkeypatch.setattr(webbrowser, "open", lambda _, sent=sent: not signal.raise_signal(sent))
        folder = tmp_path / sent.name
        folder.mkdir()
        said: list[str] = []
        serve(Desk(folder), tell=said.append)
        assert len(said) == 1
        assert list(tmp_path.glob("treenail-*")) == list(folder.iterdir()) == [], sent
    assert signal.getsignal(signal.SIGTERM) is before


def test_a_problem_is_shown_as_a_page(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The extra that is missing, a folder that cannot be, a fault of the program."""
    pages: list[str] = []
    monkeypatch.setattr(webbrowser, "open", lambda address: pages.append(_page(address)))
    monkeypatch.setattr(sys, "argv", ["treenail-desk", str(folder / "file" / "<in>")])
    (folder / "file").touch()
    main()
    monkeypatch.setattr(sys, "argv", ["treenail-desk", str(folder)])
    serving = "provenance._desk.serving"
    with monkeypatch.context() as patched:
        patched.setattr(f"{serving}.serve", lambda *_, **__: 1 / 0)
        main()
    with monkeypatch.context() as patched:
        patched.delitem(sys.modules, serving)
        patched.setitem(sys.modules, "uvicorn", None)
        main()
    blocked, fault, missing = pages
    assert "&lt;in&gt;: Not a directory; a part of the path is a file" in blocked
    assert "fault of the program" in fault
    assert "uvicorn" in missing
    assert "pip install" in missing


def test_who_is_at_work_is_known_at_the_next_start(folder: Path) -> None:
    assert remembered() == Remembered()
    sitting = Sitting(folder)
    sitting.act("/at-work", {"by": "Ægir", "language": "es"})
    assert (who_is_at_work(), remembered()) == ("Ægir", Remembered("Ægir", "es"))
    browser = Sitting(folder)
    browser.page(f"/open?ticket={browser.access.ticket}")
    assert browser.desk.language == "es"
    remember(Remembered())
    (kept,) = (folder.parent / "data").rglob("desk.json")
    for broken in ("[]", "{", '{"by": 1, "language": "en"}'):
        kept.write_text(broken)
        with pytest.raises(TreenailError, match=r"desk\.json.*delete this file"):
            remembered()


def _page(address: str) -> str:
    return Path(unquote(urlparse(address).path)).read_text("utf-8")


def _browser(
    monkeypatch: pytest.MonkeyPatch, visit: Callable[[str], None]
) -> list[threading.Thread]:
    """A browser that visits what is opened while the program goes on."""
    visits: list[threading.Thread] = []

    def opened(address: str) -> bool:
        visits.append(threading.Thread(target=visit, args=(address,)))
        visits[-1].start()
        return True

    monkeypatch.setattr(webbrowser, "open", opened)
    return visits

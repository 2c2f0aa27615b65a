"""The command line hands exit codes and sentences to the shell."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from collections.abc import Iterator
from itertools import pairwise

import click
import pytest
from click.testing import CliRunner

import provenance._cli
from provenance._base.disk import disk_trouble, writing
from provenance._base.errors import UnusableInput
from provenance._cli import COMMANDS, SECTIONS, Moves, command_named, main
from tests.test_words import JOINED, ROOT


def _command_that(raises: BaseException) -> click.Command:
    @click.command()
    @click.argument("words", nargs=-1)
    def command(words: tuple[str, ...]) -> None:
        raise raises

    return command


@pytest.mark.parametrize(
    ("raises", "code"),
    [
        (click.exceptions.Exit(1), 1),
        (SystemExit(1), 1),
        (click.UsageError("no such thing"), 2),
        (UnusableInput("this cannot be read"), 2),
        (PermissionError(13, "Permission denied", "there"), 2),
    ],
)
def test_the_exit_code_of_a_command_reaches_the_shell(monkeypatch, raises, code):
    """0 clean, 1 findings, 2 input or usage that cannot be used."""
    monkeypatch.setattr(Moves, "get_command", lambda *_: _command_that(raises))
    monkeypatch.setattr(sys, "argv", ["treenail", "new"])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == code


def said_to(*words: str) -> str:
    """What is told on words that are not understood."""
    told = CliRunner().invoke(provenance._cli.treenail, words)
    assert told.exit_code == 2
    return " ".join(told.output.split())


def test_every_command_that_help_names_is_there():
    for name in COMMANDS:
        assert command_named(name).name == name.rpartition(" ")[2]
        # a word that others share has a line of its own, and stands for no command
        assert (name in {other.rpartition(" ")[0] for other in COMMANDS}) == (not COMMANDS[name][0])


def test_the_help_fits_one_screen_and_names_every_first_word_once():
    """A screen of 80 columns and about 40 lines; the two that are shown by both words are extra."""
    told = CliRunner().invoke(provenance._cli.treenail, ["--help"], terminal_width=80).output
    assert len(told.splitlines()) <= 43
    assert max(map(len, told.splitlines())) <= 79
    named = re.findall(r"^  ([a-z]+)  ", told, re.MULTILINE)
    assert named == [name for name in COMMANDS if " " not in name]
    assert re.findall(r"^(\S.*)\n  \S", told, re.MULTILINE)[-len(SECTIONS) :] == [*SECTIONS]


def test_a_word_that_is_no_command_is_told_what_to_type():
    """A mistyped one, one that stands behind another word now, one without what must follow."""
    assert "Did you mean 'treenail check'?" in said_to("chekc")
    assert "Did you mean 'treenail change correct'?" in said_to("correct", "holl", "sample", "231")
    assert "Did you mean 'treenail print relocation'?" in said_to("relocate", "holl", "231")
    assert "Did you mean 'treenail change split'?" in said_to("split", "holl")
    assert "Did you mean" not in said_to("hollin")
    assert "After 'survey' comes one of: compute, trace." in said_to("survey", "holl")
    assert "Did you mean 'treenail store split'?" in said_to("store", "spilt", "holl")
    assert "Did you mean 'treenail check'?" in said_to("print", "check", "holl")


TEXTS = (".html", ".js", ".json", ".md", ".po", ".py", ".txt", ".yaml")
TYPED = re.compile(r"\btreenail\s+(?!record\b)([a-z][a-z-]+)(?:\s+([^\s'\"`,;:.)]+))?")
"""Two words behind the program's name; a 'treenail record' is what bundles hold."""


def commands_named_in(text: str) -> Iterator[str]:
    """What stands behind each 'treenail': a word, and the next where that is shared by several."""
    for first, second in TYPED.findall(text):
        shared = first in COMMANDS and not COMMANDS[first][0]
        yield f"{first} {second}".strip() if shared else first


def test_every_command_that_a_text_names_is_there():
    """A word that others share may be named alone, and nothing but the next word stands behind it.

    Messages, remedies, help, forms, pages, the README and the docs; Python's text over lines.
    """
    assert [*commands_named_in("'treenail change' or treenail\nstore STORE --enter")] == [
        "change",
        "store STORE",
    ]
    paths = [ROOT / "README.md", ROOT / "SECURITY.md", ROOT / "DEVELOPERS.md"]
    for folder in ("provenance", "templates", "schemas", "docs", "benchmarks", "demo_package"):
        found = (ROOT / folder).rglob("*.*")
        paths += [one for one in found if one.suffix in TEXTS]
    seen, wrong = set(), []
    for path in sorted(paths):
        named = set(commands_named_in(JOINED.sub("", path.read_text("utf-8"))))
        seen |= named
        wrong += [f"{path.relative_to(ROOT)}: treenail {one}" for one in named - COMMANDS.keys()]
    assert not wrong, "\n".join(wrong)
    assert len(seen) > 50


def test_what_the_disk_refuses_is_one_sentence_with_the_name_that_was_asked_for(tmp_path):
    """No traceback, no temporary name, and nothing left behind."""
    (tmp_path / "taken").write_text("a file, not a folder")
    line = [sys.executable, "-c", "from provenance._cli import main; main()", "print"]
    line += ["workbook", "--profile", "blank", "--out", str(tmp_path / "taken" / "book.xlsx")]
    told = subprocess.run(line, capture_output=True, text=True, check=False)
    assert told.returncode == 2
    assert told.stderr.startswith(f"treenail: {tmp_path / 'taken'}")
    assert told.stderr.count("\n") == 1
    assert [one.name for one in tmp_path.iterdir()] == ["taken"]


def test_a_temporary_name_is_told_as_the_name_it_was_to_become():
    refused = PermissionError(13, "Permission denied", "shelf/.labels.pdf.0123456789ab.part")
    assert disk_trouble(refused).startswith("shelf/labels.pdf: Permission denied; ")


def test_an_address_is_told_as_it_was_given():
    refused = OSError(5, "no answer", "https://store.example/shelf/one.zip")
    assert disk_trouble(refused).startswith("https://store.example/shelf/one.zip: no answer; ")


def test_a_full_disk_says_which_file_it_had_no_room_for_and_to_make_room(tmp_path):
    with pytest.raises(OSError, match="No space left") as full, writing(tmp_path / "labels.pdf"):
        raise OSError(28, "No space left on device")
    told = disk_trouble(full.value)
    assert told.startswith(f"{tmp_path / 'labels.pdf'}: No space left on device; make room")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", list(COMMANDS))
def test_a_package_may_be_left_out_only_where_nothing_that_must_be_there_follows_it(name):
    """Else the further argument would be taken for the package, against what the help says."""
    arguments = [one for one in command_named(name).params if isinstance(one, click.Argument)]
    for one, following in pairwise(arguments):
        assert one.required or not following.required


def test_too_little_memory_is_no_fault_of_the_program(monkeypatch, capsys) -> None:
    monkeypatch.setattr(Moves, "get_command", lambda *_: _command_that(MemoryError()))
    monkeypatch.setattr(sys, "argv", ["treenail", "check", "holl"])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2
    assert "not enough memory" in capsys.readouterr().err


@pytest.mark.parametrize(
    "fault", [KeyError("Birk\ud800wood"), RecursionError(), BaseException("a panic")]
)
def test_a_fault_of_the_program_is_no_finding_and_says_what_to_send(
    monkeypatch, tmp_path, capsys, fault
):
    """70 is EX_SOFTWARE of sysexits.h (4.3BSD), and no code that a check ends with."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(Moves, "get_command", lambda *_: _command_that(fault))
    monkeypatch.setattr(sys, "argv", ["treenail", "check", "Odo Reedham's house"])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 70
    told = capsys.readouterr().err
    (kept,) = tmp_path.iterdir()
    assert str(kept) in told
    assert "No file is half-written" in told
    assert "names of people and places may stand in it" in " ".join(told.split())
    assert "Traceback" not in told
    report = kept.read_text("utf-8")
    assert "Traceback" in report
    assert type(fault).__name__ in report
    assert provenance.__version__ in report
    assert sys.version.split()[0] in report
    assert """check 'Odo Reedham'"'"'s house'""" in report


def test_a_fault_is_told_in_full_where_no_file_can_be_kept(monkeypatch, tmp_path, capsys):
    (tmp_path / "taken").write_text("a file, not a folder")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "taken"))
    monkeypatch.setattr(Moves, "get_command", lambda *_: _command_that(KeyError("x")))
    monkeypatch.setattr(sys, "argv", ["treenail", "check"])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 70
    assert "Traceback" in capsys.readouterr().err


@pytest.mark.parametrize(("raises", "code"), [(KeyboardInterrupt(), 130), (click.Abort(), 130)])
def test_stopping_a_command_is_no_fault(monkeypatch, tmp_path, raises, code):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(Moves, "get_command", lambda *_: _command_that(raises))
    monkeypatch.setattr(sys, "argv", ["treenail", "new"])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == code
    assert list(tmp_path.iterdir()) == []


def test_the_package_runs_as_a_module():
    line = [sys.executable, "-m", "provenance", "--version"]
    told = subprocess.run(line, capture_output=True, text=True, check=False)
    assert (told.returncode, told.stdout.split()[-1]) == (0, provenance.__version__)


class _ATerminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_nothing_that_a_stranger_wrote_moves_a_terminal(monkeypatch):
    """Escape codes: ECMA-48; a lone carriage return writes over a line; direction: UAX #9."""
    hostile = "a\x1b[2Jb\x9b8mc\rd\x1b]0;t\x07e\u202ef\x08"

    @click.command()
    def shows() -> None:
        click.echo(hostile)
        click.echo(click.style("error", fg="red", bold=True))
        raise UnusableInput(hostile)

    monkeypatch.setattr(provenance._cli, "treenail", shows)
    monkeypatch.setattr(sys, "argv", ["treenail"])
    out, err = _ATerminal(), _ATerminal()
    monkeypatch.setattr(sys, "stdout", out)
    monkeypatch.setattr(sys, "stderr", err)
    with pytest.raises(SystemExit):
        main()
    shown = "a⟨U+001B⟩[2Jb⟨U+009B⟩8mc⟨U+000D⟩d⟨U+001B⟩]0;t⟨U+0007⟩e⟨U+202E⟩f⟨U+0008⟩\n"
    # our own color alone goes through
    assert out.getvalue() == shown + "\x1b[31m\x1b[1merror\x1b[0m\n"
    assert err.getvalue() == "treenail: " + shown

"""Acts that were edited by hand, and findings that nobody accepted, are named."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from provenance._checks.check import check_package
from provenance._history.deciding import accept, correct, decide
from provenance._record.package import Package, open_package
from tests.builders import a_package


@pytest.fixture
def package(tmp_path: Path) -> Package:
    package = a_package(tmp_path).with_chain().package
    decide(package, correct("sample", "231", {"rings_field": "99"}), who="MB", why="recounted")
    finding = ("custody.none", "sample", "231", "sample_id", "nothing is known of it")
    decide(package, accept([finding]), who="MB", why="lost in the flood")
    return package


def rewrite(name: str, change: Callable[[str], str]) -> Callable[[Path], None]:
    def done(folder: Path) -> None:
        path = folder / "tables" / f"{name}.csv"
        path.write_text(change(path.read_text("utf-8")), "utf-8")

    return done


def empty(folder: Path) -> None:
    for name in ("act", "change"):
        rewrite(name, lambda text: text.split("\n")[0] + "\n")(folder)


FORGED = {
    "what was said": rewrite("change", lambda text: text.replace(",99,", ",98,")),
    "the reason": rewrite("act", lambda text: text.replace("recounted", "guessed")),
    "a line less": rewrite("change", lambda text: "\n".join(text.split("\n")[:-2]) + "\n"),
    "no act at all": empty,
    "another finding": rewrite("accepted", lambda text: text.replace("custody.none", "a.rule")),
}


def named(package: Package) -> list[str]:
    found = check_package(open_package(package.folder)).frame
    return list(found[found["rule"] == "history.act_edited"]["message"])


@pytest.mark.parametrize("forged", FORGED)
def test_a_history_that_was_edited_by_hand_is_named(package: Package, forged: str) -> None:
    assert named(package) == []
    FORGED[forged](package.folder)
    (message,) = named(package)
    assert "accepted.csv, row 2" in message if forged == "another finding" else "act" in message

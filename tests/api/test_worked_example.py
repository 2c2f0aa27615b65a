"""Every block of the worked example runs on the demonstration's record, and shows what it says."""

from __future__ import annotations

import doctest
from pathlib import Path

import pytest

from provenance._base.resources import shipped
from provenance._bundle.pack import pack
from provenance._demo.stage import Stage
from provenance._demo.steps import (
    attach_pictures_and_reports,
    bring_in_enclosures,
    bring_in_field_papers,
    bring_in_results,
    lay_out_papers,
    start_package,
    survey_positions,
)
from provenance._record.package import open_package

PAGE = Path(__file__).parents[2] / "docs" / "worked_example.md"


@pytest.fixture(scope="module")
def demo_output(tmp_path_factory) -> Path:
    """What 'treenail demo' makes, as far as the example needs it."""
    stage = Stage(tmp_path_factory.mktemp("demo"), shipped("demo_package"))
    for step in (
        lay_out_papers,
        start_package,
        bring_in_field_papers,
        bring_in_results,
        bring_in_enclosures,
        attach_pictures_and_reports,
        survey_positions,
    ):
        step(stage)
    pack(open_package(stage.sound), stage.zipped, zipped=True)
    return stage.out


def blocks() -> doctest.DocTest:
    """The blocks as one session; all other lines are left blank, so that line numbers are right."""
    lines = []
    inside = False
    for line in PAGE.read_text("utf-8").splitlines():
        if line.startswith("```"):
            inside = line == "```pycon"
            line = ""
        lines.append(line if inside else "")
    text = "\n".join(lines) + "\n"
    return doctest.DocTestParser().get_doctest(text, {}, PAGE.name, str(PAGE), 0)


def test_every_block_shows_what_it_says(demo_output, monkeypatch) -> None:
    monkeypatch.chdir(demo_output)
    session = blocks()
    assert len(session.examples) > 20
    said: list[str] = []
    doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE).run(session, out=said.append)
    assert not said, "".join(said)

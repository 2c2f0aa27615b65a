"""The commands survey, plan and relocate, as a person types them."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from provenance._base.errors import UnusableInput
from provenance._cli import treenail
from provenance._record.package import Package
from provenance._survey.adjust.adjustment import adjust_survey
from provenance._survey.residual_text import residual_lines
from tests.builders import a_package
from tests.survey.scenes import a_room, taped
from tests.survey.test_plan import a_house


@pytest.fixture
def house(tmp_path: Path) -> Package:
    return a_house(tmp_path).package


def run(command: str, *args: object) -> tuple[int, str]:
    result = CliRunner().invoke(treenail, [*command.split(), *map(str, args)])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.output


def test_survey_ends_clean_when_everything_fits(house: Package) -> None:
    code, output = run("survey compute", house.folder)
    assert code == 0
    assert "placed 8 timber ends, 3 holes, 4 datums" in output
    assert (house.table("position")["position_id"] == "hole:231").any()


def test_survey_ends_with_one_and_names_the_tape_that_does_not_fit(tmp_path: Path) -> None:
    building = a_room(tmp_path).with_row("element", length_m=None)
    package = taped(building, (1.2, 1.0, 2.4), wrong={"D3": 0.3048}).package
    code, output = run("survey compute", package.folder)
    assert code == 1
    assert "tie.csv row 4" in output
    assert "Ta3" in output
    assert "1 ft" in output


def test_plan_writes_drawings_into_a_folder_and_map_data_into_a_file(
    house: Package, tmp_path: Path
) -> None:
    code, output = run("print plan", house.folder, "--format", "svg", "--out", tmp_path / "p")
    assert code == 0
    assert (tmp_path / "p" / "plan-B1.svg").is_file()
    assert "keep them out of the public edition" in output
    code, output = run("print plan", house.folder, "--format", "gpkg", "--out", tmp_path / "m.gpkg")
    assert (code, (tmp_path / "m.gpkg").is_file()) == (0, True)
    assert "site grid" in output


def test_plan_refuses_geojson_of_an_untied_site(house: Package, tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="GeoJSON needs latitude and longitude"):
        run("print plan", house.folder, "--format=geojson", "--out", tmp_path / "m.geojson")


def test_relocate_prints_a_page_for_each_sample(house: Package, tmp_path: Path) -> None:
    out = tmp_path / "r"
    code, output = run(
        "print relocation", house.folder, "HOLL-231-H", "232", f"--out={out}", "--paper=letter"
    )
    assert code == 0
    assert {path.name for path in out.iterdir()} == {"relocation-231.pdf", "relocation-232.pdf"}
    assert output.count("wrote") == 2


def test_survey_shows_how_well_each_reading_fits(tmp_path: Path) -> None:
    building = a_room(tmp_path).with_row("element", length_m=None)
    package = taped(building, (1.2, 1.0, 2.4), wrong={"D3": 0.3048}).package
    _, without = run("survey compute", package.folder)
    assert "measured" not in without
    code, output = run("survey compute", package.folder, "--residuals")
    assert code == 1
    assert output.endswith(without)
    lines = output.splitlines()
    start = lines.index("End a of B1-014")
    readings = {line.split(":")[0].strip(): line for line in lines[start + 2 : start + 6]}
    assert "distance from D3" in readings["Ta3"]
    # a foot of 304.8 mm was added to the tape
    assert "+305 mm" in readings["Ta3"]
    assert "LEFT OUT: does not fit" in readings["Ta3"]
    assert readings["Ta1"].rstrip()[-4:] in ("+0.0", "-0.0")


def test_every_reading_of_a_survey_is_shown_once(house: Package) -> None:
    residuals = adjust_survey(house).residuals
    text = "\n".join(residual_lines(residuals))
    for tie_id in residuals["tie_id"][residuals["tie_id"] != ""]:
        assert text.count(f" {tie_id}: ") == (residuals["tie_id"] == tie_id).sum()
    assert text.count("\nHole ") + text.count("\nEnd ") + text.count("\nDatum ") == (
        residuals["point"].nunique()
    )


def test_a_survey_without_readings_has_no_residuals_to_show(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    assert list(residual_lines(adjust_survey(package).residuals)) == []


@pytest.mark.parametrize(
    ("place", "form"),
    [((), "pdf"), (("--place", "B1"), "pdf"), (("--place", "B1"), "gpkg")],
)
def test_plan_names_the_levels_there_are_when_it_lacks_the_one_asked_for(
    house: Package, tmp_path: Path, place: tuple[str, ...], form: str
) -> None:
    out = tmp_path / "out"
    with pytest.raises(UnusableInput, match=r"no place is on level 7; levels recorded are B1: "):
        run("print plan", house.folder, "--level=7", *place, f"--format={form}", f"--out={out}")
    assert not out.exists()

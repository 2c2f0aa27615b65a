"""A value in a wrong form is told what the field wants, in words."""

from __future__ import annotations

from provenance._checks.check import check_package
from tests.builders import a_package


def test_a_country_written_out_is_told_what_is_wanted(tmp_path) -> None:
    """An example alone, such as ZZ, would not say how to write one's own."""
    package = a_package(tmp_path).with_row("site", country="Nowhere").package
    (found,) = [one for one in check_package(package) if one.rule == "structure.wrong_form"]
    assert "Two-letter country code (ISO 3166-1)" in found.message

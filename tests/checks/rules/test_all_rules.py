"""What holds for every trade rule."""

from __future__ import annotations

import pytest

from provenance.checks.rule import EVERY_TABLE
from provenance.findings import SEVERITIES
from tests.checks.rules.record import a_sound_record, model, rules, spoken


@pytest.mark.parametrize("rule_id", rules())
def test_no_rule_has_anything_to_say_about_a_sound_record(rule_id: str) -> None:
    assert a_sound_record().says(rule_id) == []

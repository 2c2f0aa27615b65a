"""A store over years of work, mishaps and fraud: no loss goes unnoticed and no alarm is false."""

from __future__ import annotations

from pathlib import Path
from unittest.mock import patch

import pytest

from provenance._accession import received
from tests.store.decade import Decade


@pytest.mark.parametrize("seed", [0])
def test_every_fault_is_told_and_every_answer_is_the_models(seed: int, tmp_path: Path) -> None:
    # what is wrong with the wood of a record is for other tests, and takes longest
    with patch.object(received, "_faults", lambda *_: ((), 0)):
        decade = Decade(seed, tmp_path, look_every=12, most=3)
        done = decade.run(25)
    assert done["catalogues"]
    assert decade.given

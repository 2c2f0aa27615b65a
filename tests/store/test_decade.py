"""A store over years of work, mishaps and fraud: no loss goes unnoticed and no alarm is false."""

from __future__ import annotations

import shutil
from pathlib import Path
from unittest.mock import patch

import pytest

from provenance._accession import received
from provenance._collection.recording import Said, record_in_store
from provenance._store.home import CopyOfStore
from provenance._store.store import open_store
from tests.store.decade import BORROWER, Decade, State


def test_every_fault_is_told_and_every_answer_is_the_models(tmp_path: Path) -> None:
    # what is wrong with the wood of a record is for other tests, and takes longest
    with patch.object(received, "_faults", lambda *_: ((), 0)):
        decade = Decade(0, tmp_path, look_every=10, most=3)
        done = decade.run(20)
    assert done["catalogues"] >= 2
    assert len(decade.given) >= 4


def test_a_copy_of_a_store_gives_no_number(tmp_path: Path) -> None:
    decade = Decade(1, tmp_path)
    decade.hand_in(decade.season("S001", State({}, [])).path)
    (entry,) = open_store(decade.at).accessions
    sample = open_store(decade.at).ledger(entry.record_id)[0]["sample_id"]
    copy = Path(shutil.copytree(decade.at, tmp_path / "copy"))
    stranger = decade.season("S002", State({}, []))
    decade.refused(stranger, CopyOfStore, "is a copy of the store", at=copy)
    for event in ("loaned", "requested", "sub_sampled"):
        said = Said(event, decade.today, decade.today, to_party_id=BORROWER)
        with pytest.raises(CopyOfStore):
            record_in_store(
                open_store(copy), {entry.record_id: [sample]}, said, recorded_on=decade.now
            )

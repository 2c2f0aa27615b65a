"""The receipt says what came in, on both papers, and its code can be read."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pypdfium2
import pytest
import zxingcpp
from pypdf import PdfReader

from provenance._accession.receipt import MOST_LISTED, Receipt, against_kept, print_receipt
from provenance._drawing.paper import PAPERS, Paper, paper_named
from provenance._store.door import (
    BRANCH,
    FIRST,
    NOT_KNOWN,
    OLDER,
    PUBLIC_EDITION,
    REWRITTEN,
    SUCCESSOR,
    Judged,
)
from tests.accession.test_accession import DEPOSITOR, take_in

SHA = "0123456789abcdef" * 4


def a_receipt() -> Receipt:
    return Receipt(
        number="2026.0001",
        code_text=f"treenail accession 2026.0001\nbundle holl full 2026-03-01\nreceived {SHA}",
        head=(("taken in by", "Store of Old Timber (invented)"), ("on", "2026-03-01")),
        received=(("holds", "1 site, 2 samples"), ("files", "70 files")),
        sums=(("as it came in", SHA), ("as it is kept", SHA)),
        to_mend=(),
        mending="Nothing to mend.",
        cautions=("Restricted.", "Do not tell the way."),
        repository="Store of Old Timber (invented)",
        depositor=DEPOSITOR,
    )


def text_of(path: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(path).pages).split())


@pytest.mark.usefixtures("judged_once")
@pytest.mark.parametrize("paper", PAPERS, ids=lambda one: one.name)
def test_the_receipt_says_what_was_received(shelf: Path, tmp_path: Path, paper: Paper) -> None:
    done = take_in(shelf / "bundle.zip", tmp_path / "store", paper=paper, samples="231")
    pages = PdfReader(done.receipt).pages
    assert len(pages) == 1
    assert float(pages[0].mediabox.width) == pytest.approx(paper.width, abs=0.1)
    text = text_of(done.receipt)
    for said in (
        "Receipt for accession 2026.0001",
        DEPOSITOR,
        "Store of Old Timber at Fenwick Moss (invented)",
        "2026-03-01",
        "2 samples",
        "1: 231",
        done.entry.received,
        done.entry.bag,
        "no error in the record",
        "exact locations and personal data",
        "signature",
    ):
        assert said in text


@pytest.mark.parametrize("paper", PAPERS, ids=lambda one: one.name)
def test_the_code_on_the_receipt_is_read_back(tmp_path: Path, paper: Paper) -> None:
    print_receipt(a_receipt(), paper, tmp_path / "r.pdf")
    page = pypdfium2.PdfDocument(tmp_path / "r.pdf")[0]
    (read,) = zxingcpp.read_barcodes(page.render(scale=200 / 72).to_pil())
    assert read.text == a_receipt().code_text


@pytest.mark.parametrize("paper", PAPERS, ids=lambda one: one.name)
def test_a_long_list_of_faults_is_listed_whole_over_several_pages(
    tmp_path: Path, paper: Paper
) -> None:
    faults = tuple(f"sample, row {n}: fault number {n}q of the wood" for n in range(MOST_LISTED))
    print_receipt(replace(a_receipt(), to_mend=faults), paper, tmp_path / "r.pdf")
    text = text_of(tmp_path / "r.pdf")
    assert all(f"number {n}q" in text for n in range(MOST_LISTED))
    assert f"page 2 of {len(PdfReader(tmp_path / 'r.pdf').pages)}" in text


def test_very_long_words_stay_on_the_page(tmp_path: Path) -> None:
    long = "Very long name of a repository with many words " * 20
    receipt = replace(
        a_receipt(),
        head=tuple((word, long) for word in "abcdefgh"),
        received=(("holds", long), ("samples", long)),
        cautions=(long,) * 5,
        mending=long,
        depositor="x" * 400,
        to_mend=("y" * 5000,),
    )
    for name in ("a4", "letter"):
        print_receipt(receipt, paper_named(name), tmp_path / f"{name}.pdf")
        page = pypdfium2.PdfDocument(tmp_path / f"{name}.pdf")[0]
        bottom = min(one.get_bounds()[1] for one in page.get_objects())
        assert bottom > 20
    assert "signature" in text_of(tmp_path / "a4.pdf")


def test_the_same_accession_prints_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        print_receipt(a_receipt(), paper_named("a4"), tmp_path / f"{name}.pdf")
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


def test_only_a_contradiction_is_called_one() -> None:
    fine = (FIRST, SUCCESSOR, OLDER, BRANCH, PUBLIC_EDITION, NOT_KNOWN)
    assert not [word for word in fine if "NOT" in against_kept(Judged(word))]
    assert "NOT the ledger" in against_kept(Judged(REWRITTEN))

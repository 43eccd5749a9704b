"""The certificate of a correction says on its first page that it is one, of what, why, when and by whom."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from loomproof.results.document import Verdict
from tests.reports.sample import document
from tests.reports.test_certificate import certificate

pytestmark = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")

OLD = {"record": "ab" * 32, "why": "read wrongly off the tag"}
NEW = {
    **OLD,
    "run": "first",
    "made": "2026-03-02T09:30:00+00:00",
    "by": "B. Keeper",
    "changes": [{"what": "serial", "was": "", "now": "TL-101"}],
}


def first_page(tmp_path: Path, **body: object) -> str:
    made = document(run="second", serial="TL-101", verdict=Verdict.PASS)
    return " ".join(certificate(made, tmp_path, **body)[0].split())


def test_a_correction_says_so_on_its_first_page(tmp_path: Path) -> None:
    text = first_page(tmp_path, kind="correction", corrects=NEW)
    assert "Correction of certificate first" in text
    assert "Certificate of proof" not in text
    for said in (
        "serial was: not stated; is now: TL-101",
        "why read wrongly off the tag",
        "corrected 2026-03-02 09:30:00 UTC",
        "corrected by B. Keeper",
        "in place of run first",
        "issued 2026-03-02 09:30:00 UTC, when it was corrected",
    ):
        assert said in text, said
    assert "when the run ended" not in text


def test_a_correction_from_before_they_told_when_claims_no_time(tmp_path: Path) -> None:
    text = first_page(tmp_path, kind="correction", corrects=OLD)
    assert "Certificate of proof" in text
    assert "issued not stated: this corrects another record" in text
    assert "when the run ended" not in text
    assert "issued 2026-01-05, when the run ended" in first_page(tmp_path)


def test_k_and_signer_are_told_in_words(tmp_path: Path) -> None:
    text = " ".join(" ".join(certificate(document(), tmp_path)).split())
    # JCGM 100:2008, G.1.3: k = 2 is 95.45 % of a normal distribution.
    assert "k = 2, a coverage probability of about 95% for a normal distribution" in text
    assert "see fingerprint" not in text
    assert "no name is sealed with the key" in text


@pytest.mark.parametrize("wires", [50, 66])
def test_no_wire_stands_alone_on_a_last_page(wires: int, tmp_path: Path) -> None:
    """So many wires of one line each left the last one alone under the table's head."""
    made = document(wires=wires, verdict=Verdict.PASS)
    texts = certificate(made.model_copy(update={"wires": made.wires[:wires]}), tmp_path)
    counts = [len(re.findall(r"^ *W\d+ +RD", text, re.MULTILINE)) for text in texts]
    assert sum(counts) == wires
    assert 1 not in counts, counts

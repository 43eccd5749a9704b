"""Random looms with parts of all kinds, faults and benches against resistances by pseudo-inverse."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.bench.seam import Capabilities
from loomproof.judgement.verdict import verdict_of
from loomproof.results.document import Verdict
from tests.measuring.part_truth import Case, case_of, shows, told_by_name
from tests.measuring.scanner_bench import OHMS, proved

BENCHES = {
    "ohms": OHMS,
    "no diode test": replace(OHMS, diode=False),
    "meter alone": replace(OHMS, sense_ohm=None, clear_ohm=None, diode=False),
    "short range": replace(OHMS, ohms=(0.0, 50_000.0)),
}


def judged(case: Case, able: Capabilities) -> tuple[Verdict, int, tuple[str, ...]]:
    """Return the verdict, how many findings there are, and the parts that could not be told."""
    measured, findings = proved(case.loom, *case.faults, able=able, seed=case.number)
    verdict, _ = verdict_of(case.loom, measured, findings, ())
    return verdict, len(findings), measured.untold_parts


@pytest.mark.parametrize("bench", BENCHES)
def test_no_sound_loom_fails_and_what_shows_is_found(bench: str) -> None:
    alone, single = 0, 0
    for number in range(1000, 1040):
        case = case_of(number)
        verdict, count, untold = judged(case, BENCHES[bench])
        if not case.faults:
            assert (verdict, count) == (Verdict.PASS, 0), case
        elif shows(case, 40_000.0):
            # What can't be told is named; a fault anywhere else must be found.
            assert verdict is Verdict.FAIL or told_by_name(case, untold), case
            if len(case.faults) == 1 and verdict is Verdict.FAIL:
                single += 1
                alone += count == 1
    assert single > 5
    assert alone >= single - 1

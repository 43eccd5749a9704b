"""What an auto-electrician with thirty years at the bench would say first, held against what is said.

The expected words in ``data/expert.toml`` are the tests' own, from common practice at the bench; they were
not taken from what the program prints. Each scenario is a fault worked into the simulated loom, or readings
given as values, and says what the first finding must name, must not say, where to look first, what to do.
"""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.results.document import Verdict
from loomproof.results.findings import Finding
from tests.measuring.test_by_ohms import proved

DATA = Path(__file__).parent / "data"
SCENARIOS: list[dict[str, Any]] = tomllib.loads((DATA / "expert.toml").read_text(encoding="utf-8"))[
    "scenario"
]


@cache
def loom() -> Loom:
    return load(DATA / "harrier_loom").loom


@cache
def outcome_of(*faults: str) -> Outcome:
    return proved(loom(), *faults)[0]


def lines(finding: Finding) -> dict[str, str]:
    """Return the parts of a finding that a scenario speaks of, each as one text."""
    return {
        "title": finding.title,
        "place": finding.places[0] if finding.places else "",
        "places": "\n".join(finding.places),
        # The adapter's own lead is tried before; that is no work on the loom.
        "repair": next(step for step in finding.repair if not step.startswith("Before you open or cut")),
        "repairs": "\n".join(finding.repair),
        "caution": "\n".join(finding.cautions),
        "others": "\n".join(
            "\n".join((other.text, other.tell_apart, *other.repair)) for other in finding.alternatives
        ),
        "everything": "\n".join((finding.title, *finding.places, *finding.repair)),
    }


@pytest.mark.parametrize("scenario", SCENARIOS, ids=[scenario["name"] for scenario in SCENARIOS])
def test_the_first_finding_says_what_an_expert_would(scenario: dict[str, Any]) -> None:
    outcome = outcome_of(*scenario["faults"])
    assert outcome.document.verdict is Verdict.FAIL
    assert len(outcome.findings) == scenario.get("findings", 1), [f.title for f in outcome.findings]
    said = lines(outcome.findings[0])
    for part, expected in scenario["says"].items():
        for pattern in [expected] if isinstance(expected, str) else expected:
            assert re.search(pattern, said[part], re.IGNORECASE), (part, pattern, said[part])
    for part, wrong in scenario.get("never", {}).items():
        for pattern in [wrong] if isinstance(wrong, str) else wrong:
            assert not re.search(pattern, said[part], re.IGNORECASE), (part, pattern, said[part])


def test_every_finding_carries_the_usual_cautions_and_defers_to_local_rules() -> None:
    for scenario in SCENARIOS:
        for finding in outcome_of(*scenario["faults"]).findings:
            told = " ".join(finding.cautions)
            assert "Battery off" in told
            assert "Local rules" in told

"""What the commands say to the person in front of them: one unit, right numbers, no word broken."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from loomproof.cautions import BEFORE_A_PROOF
from loomproof.cli.cures import how
from loomproof.cli.main import run
from loomproof.jobs.plan import hook_ups_or_split
from loomproof.jobs.plugging import plugging
from loomproof.loom.model import Connector, ConnectorKind, Loom, Wire, end_of
from loomproof.measuring.events import Prompt
from loomproof.planning.hookup_search import Constraints
from loomproof.screens.progress import Screen

Output = pytest.CaptureFixture[str]


def test_a_plan_says_ohms_as_every_other_page_does(fixtures: Path, capsys: Output) -> None:
    assert run(["plan", str(fixtures / "tail_lamp"), "--bench", "sim:"]) == 0
    shown = capsys.readouterr().out
    assert "0.064 Ω" in shown
    assert "0.133 Ω, shown under 0.299 Ω" in shown
    assert not re.search(r"\d ohm\b", shown)


def test_one_point_is_a_point() -> None:
    rings = [Connector(name, ConnectorKind.RING, (("1",),)) for name in ("E", "F")]
    plug = Connector("A", ConnectorKind.PLUG, (("1", "2"),))
    wires = (Wire("W1", end_of("A:1"), end_of("E:1")), Wire("W2", end_of("A:2"), end_of("F:1")))
    made, _, _ = hook_ups_or_split(Loom("rings", connectors=(plug, *rings), wires=wires), 4, Constraints())
    said = [line.partition(": ")[2] for hook_up in made.hook_ups for line in plugging(hook_up)]
    assert sorted(said) == ["point 3", "point 4", "points 1-2"]


def test_a_caution_is_folded_between_words_on_a_terminal(
    capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program reads each caution whole; a person reads no half words at the edge of the screen."""
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    Screen(how).show(Prompt("Before a proof:", BEFORE_A_PROOF))
    lines = capsys.readouterr().err.splitlines()
    assert all(len(re.sub(r"\x1b\[[0-9;?]*\w", "", line)) <= 60 for line in lines)
    assert " ".join(" ".join(lines).split()).endswith(BEFORE_A_PROOF[-1])

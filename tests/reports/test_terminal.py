from __future__ import annotations

import io
from typing import Literal

from rich.console import Console

from loomproof.reports.terminal import findings_view, summary_view
from loomproof.results.document import Document, Verdict
from loomproof.results.measured import Decision
from tests.reports.sample import document


def shown(made: Document, width: int = 80, **options: bool) -> str:
    out = io.StringIO()
    console = Console(file=out, width=width, highlight=False)
    console.print(summary_view(made, **options), findings_view(made))
    return out.getvalue()


def test_a_finding_says_what_where_evidence_and_repair_in_80_columns() -> None:
    text = shown(document())
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "\x1b" not in text, "plain where it is no terminal"
    for word in (
        "FAIL",
        "high resistance in W1",
        "ECU:1, INJ1:1",
        "W1 (RD/WH)",
        "measured 4.73 Ω ± 0.11 Ω, limit 0.350 Ω",
        "1. the crimp at INJ1:1",
        "Cut W1 back",
        "To tell apart: Zero the leads",
        "ECU:99",
        "ECU:98",
        "Insulation above 12 V.",
    ):
        assert word in " ".join(text.split()), word


def test_a_pass_says_so() -> None:
    text = shown(document(verdict=Verdict.PASS))
    assert text.startswith("PASS")
    assert "No faults found." in text


def test_the_screen_says_what_was_waived_how_often_was_read_and_what_was_not_decided() -> None:
    passed = document(verdict=Verdict.PASS).model_copy(update={"repeats": 4})
    text = " ".join(shown(passed).split())
    assert "1 cavity waived by name: an open there would not show" in text
    assert "the mean of 4 readings" in text
    failed = document()
    undecided = failed.claims[-1].model_copy(update={"decision": Decision.UNDECIDED})
    text = shown(failed.model_copy(update={"claims": (*failed.claims[:-1], undecided)}))
    assert "1 more claim could not be decided by this bench." in text


def test_a_simulated_bench_is_never_hidden() -> None:
    made = document(verdict=Verdict.PASS)
    simulated = made.model_copy(update={"bench": made.bench.model_copy(update={"simulated": True})})
    assert "says nothing of a real loom" in shown(simulated)


def test_cautions_are_said_when_asked_for() -> None:
    assert "Caution" not in shown(document(verdict=Verdict.PASS))
    assert "Caution: Prove again" in shown(document(verdict=Verdict.PASS), cautions=True)


def test_names_are_no_markup_and_no_commands_to_the_terminal() -> None:
    text = shown(document(name="[red]loom[/red] \x1b[2J", person="[/]"))
    assert "[red]loom[/red] \ufffd[2J" in text
    assert "\x1b" not in text


def test_it_can_be_read_at_40_columns() -> None:
    assert all(len(line) <= 40 for line in shown(document(), width=40).splitlines())


def test_the_accuracy_at_the_head_is_that_of_the_readings_taken() -> None:
    made = document()
    bench = made.bench.model_copy(
        update={
            "accuracy_ohm": 0.1,
            "accuracy_ratio": 0.01,
            "four_wire": True,
            "four_wire_accuracy_ohm": 0.005,
            "four_wire_accuracy_ratio": 0.002,
        }
    )
    (claim, *_) = [each for each in made.claims if each.kind == "resistance"]

    def head(*wires: Literal[2, 4] | None) -> str:
        claims = tuple(claim.model_copy(update={"meter_wires": each}) for each in wires)
        return " ".join(shown(made.model_copy(update={"bench": bench, "claims": claims})).split())

    two, four = "±(0.100 Ω + 1.00%)", "±(0.0050 Ω + 0.20%)"
    assert f"{two}" in head(2, None)
    assert "four-wire" not in head(2, None)
    assert f"{four}, four-wire" in head(4)
    assert two not in head(4, 4)
    assert f"{two}, two-wire, {four}, four-wire" in head(2, 4)

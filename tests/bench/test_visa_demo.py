"""A scanner behind a VISA resource proves the demo loom: over TCP, over a serial port, and over pyvisa-sim.

pyvisa-sim cannot compute what a loom would answer, but it knows what to answer to each line that it has been
given: so it is given the lines of a proof recorded on the simulator. A driver that sends one byte else, or
asks another question, finds no answer there.
"""

from __future__ import annotations

import itertools
import json
import os
import time
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from loomproof.bench.address import SerialAddress, TcpAddress
from loomproof.bench.link import Line
from loomproof.bench.opening import open_bench
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.visa import VisaLine
from loomproof.judgement.conclude import Outcome
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.simline import SimLine
from tests.bench.torture import FIXTURES, LINE_BYTES, digest_of, loom_of, run
from tests.simulating import started

NAME = "hillclimb_engine"
# Leads that nobody zeroed on a bench of ±0.1 Ω decide no heavy conductor of a sound loom.
CASES = [((), "undecided"), (("open W45",), "fail"), (("short ECU-A:3 ECU-A:4",), "fail")]


@dataclass
class Recorder:
    """A line that remembers what was sent and what came back."""

    line: Line
    said: list[tuple[bytes, bytes]] = field(default_factory=list)

    @property
    def rate(self) -> int:
        return self.line.rate

    def send(self, data: bytes) -> None:
        self.said.append((data, b""))
        self.line.send(data)

    def receive(self, timeout_s: float) -> bytes:
        data = self.line.receive(timeout_s)
        if data:
            sent, told = self.said[-1]
            self.said[-1] = (sent, told + data)
        return data

    def set_rate(self, rate: int) -> None:
        self.line.set_rate(rate)

    def close(self) -> None:
        self.line.close()


def prove_by_link(line: Line, clock: Clock | None = None) -> Outcome:
    """Prove over a line whose nonces are the same each time."""
    nonces = (f"{n:08X}" for n in itertools.count(1))
    bench = ScannerBench(
        lambda: line, "visa:test", clock=clock or time.monotonic, nonces=lambda: next(nonces), patience_s=3.0
    )
    with bench.connect():
        return run(loom_of(NAME), bench, Clock())


def recorded(faults: tuple[str, ...]) -> tuple[list[tuple[bytes, bytes]], Outcome]:
    """Return each line that a proof sent with its answer, and what came of the proof."""
    clock = Clock()
    scanner = Scanner(loom_of(NAME), Make(len(loom_of(NAME).cavities), line=LINE_BYTES), faults=faults)
    recorder = Recorder(SimLine(Device(scanner), clock, Noise(Harm())))
    outcome = prove_by_link(recorder, clock)
    return recorder.said, outcome


def as_definition(said: list[tuple[bytes, bytes]]) -> str:
    """Write a recorded conversation as a device of pyvisa-sim (YAML, of which JSON is a part)."""
    answers = {sent[:-1].decode(): told[:-1].decode() for sent, told in said}
    assert len(answers) == len(said)  # each line differs from each other: no answer hides another
    device = {
        "eom": {"ASRL INSTR": {"q": "\n", "r": "\n"}},
        "dialogues": [{"q": sent, "r": told} for sent, told in answers.items()],
    }
    return json.dumps(
        {"spec": "1.1", "devices": {"it": device}, "resources": {"ASRL3::INSTR": {"device": "it"}}}
    )


@pytest.mark.parametrize(("faults", "verdict"), CASES)
def test_over_pyvisa_sim(tmp_path: Path, faults: tuple[str, ...], verdict: str) -> None:
    said, expected = recorded(faults)
    assert expected.document.verdict == verdict
    definition = tmp_path / "scanner.yaml"
    definition.write_text(as_definition(said), encoding="utf-8")
    outcome = prove_by_link(VisaLine("ASRL3::INSTR", f"{definition}@sim"))
    assert outcome.document.verdict == verdict
    assert digest_of(outcome) == digest_of(expected)


@pytest.mark.parametrize(("faults", "verdict"), CASES)
@pytest.mark.parametrize("form", ["serial", "tcp"])
def test_over_pyvisa_py(form: str, faults: tuple[str, ...], verdict: str) -> None:
    if form == "serial" and os.name == "nt":
        pytest.skip("pseudo-terminals are POSIX")
    simulation = started(FIXTURES / NAME, [f"--fault={fault}" for fault in faults], tcp=form == "tcp")
    try:
        where = simulation.address
        if isinstance(where, TcpAddress):
            resource = f"TCPIP::{where.host}::{where.port}::SOCKET"
        else:
            assert isinstance(where, SerialAddress)
            resource = f"ASRL{where.port}::INSTR"
        with open_bench(f"visa:{resource}") as bench:
            outcome = run(loom_of(NAME), bench, Clock())
    finally:
        simulation.end()
    assert outcome.document.verdict == verdict
    _, expected = recorded(faults)
    assert digest_of(outcome) == digest_of(expected)

"""An unknown loom traced over the real link, written down, and proved against what it was traced on."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order, write_adapter
from loomproof.electrics.expectation import expect
from loomproof.loom.model import ComponentKind, Loom
from loomproof.loom.reading import load
from tests.cli.running import loomproof
from tests.simulating import started


def traced(path: Path, tmp_path: Path, *faults: str, options: tuple[str, ...] = ()) -> tuple[Loom, str, int]:
    """Trace, load what was written, and prove it on the same bench; return loom, questions, exit code."""
    adapter, to = tmp_path / "adapter.csv", tmp_path / "found"
    write_adapter(in_order(load(path).loom.cavities), adapter)
    words = [word for fault in faults for word in ("--fault", fault)]
    simulation = started(path, [*words, *options])
    try:
        bench = ("--adapter", adapter, "--bench", str(simulation.address))
        done = loomproof("trace", *bench, "--to", to)
        assert done.returncode == 0, done.stderr
        proof = loomproof("prove", to, *bench, "--out", tmp_path / "out")
    finally:
        simulation.end()
    return load(to).loom, done.stdout, proof.returncode


def partition(loom: Loom) -> set[frozenset[str]]:
    return {frozenset(map(str, net.cavities)) for net in expect(loom).nets if net.cavities}


def test_the_demo_loom_is_traced_with_its_diode_and_its_resistor(fixtures: Path, tmp_path: Path) -> None:
    path = fixtures / "hillclimb_engine"
    loom, questions, code = traced(path, tmp_path)
    assert partition(loom) == partition(load(path).loom)
    assert code == 0
    (results,) = (tmp_path / "out").glob("*.results.json")
    (run,) = loom.traced_in
    said = [text for text in json.loads(results.read_text())["not_tested"] if run in text]
    assert len(said) == 1
    assert "what was wrong when it was traced is wrong in the description as well" in said[0]
    kinds = {part.kind: part for part in loom.components}
    assert set(kinds) == {ComponentKind.DIODE, ComponentKind.RESISTOR}
    assert kinds[ComponentKind.RESISTOR].resistance_ohm == pytest.approx(1000, rel=0.06)
    # K-MAIN:85 goes to ECU-A:5, K-MAIN:86 to ECU-A:4: the diode's anode and cathode.
    diode = kinds[ComponentKind.DIODE]
    nets = {end: net.index for net in expect(loom).nets for end in net.cavities}
    real = load(path).loom.component_by_name["D1"]
    assert nets[diode.terminal("A")] == nets[real.terminal("A")]
    assert nets[diode.terminal("K")] == nets[real.terminal("K")]
    assert "is it a diode" in questions
    assert all(not wire.colour and wire.length_m is None for wire in loom.wires)


def test_a_bad_joint_and_a_leak_are_asked_about_and_not_taken_for_wire(
    fixtures: Path, tmp_path: Path
) -> None:
    loom, questions, code = traced(fixtures / "tail_lamp", tmp_path, "high 4.7 W2", "leak 22k LAMP:3 LAMP:4")
    ohms = sorted(part.resistance_ohm or 0.0 for part in loom.components)
    assert ohms == pytest.approx([4.7, 22e3], rel=0.1)
    assert questions.count("a part, a leak, or a bad joint?") == 2
    assert code == 0


def test_a_bench_without_ohms_says_what_it_cannot_tell(fixtures: Path, tmp_path: Path) -> None:
    path = fixtures / "tail_lamp"
    loom, questions, code = traced(path, tmp_path, options=("--no-ohms",))
    assert partition(loom) == partition(load(path).loom)
    assert "no ohms" in questions
    assert code == 0


def test_what_is_there_is_not_written_over(fixtures: Path, tmp_path: Path) -> None:
    adapter = tmp_path / "adapter.csv"
    write_adapter(in_order(load(fixtures / "tail_lamp").loom.cavities), adapter)
    done = loomproof("trace", "--adapter", adapter, "--bench", "tcp:127.0.0.1:1", "--to", tmp_path)
    assert done.returncode == 2
    assert "exists already" in done.stderr


@pytest.mark.parametrize(
    ("word", "told"),
    [("LAMP=pyrotechnic", "never put on a bench"), ("LMAP=none", "There is LAMP."), ("LAMP=no", "no hazard")],
)
def test_hazards_are_refused(fixtures: Path, tmp_path: Path, word: str, told: str) -> None:
    path, adapter = fixtures / "tail_lamp", tmp_path / "adapter.csv"
    write_adapter(in_order(load(path).loom.cavities), adapter)
    simulation = started(path)
    try:
        words = (
            "--bench",
            str(simulation.address),
            "--to",
            tmp_path / "found",
            "--hazard",
            word,
            "--made-safe",
        )
        done = loomproof("trace", "--adapter", adapter, *words)
    finally:
        simulation.end()
    assert done.returncode in (2, 3)
    assert told in done.stderr
    assert not (tmp_path / "found").exists()


def test_a_multimeter_is_refused_before_its_person_has_done_anything(fixtures: Path, tmp_path: Path) -> None:
    adapter = tmp_path / "adapter.csv"
    write_adapter(in_order(load(fixtures / "tail_lamp").loom.cavities), adapter)
    done = loomproof("trace", "--adapter", adapter, "--bench", "hand:", "--to", tmp_path / "found")
    assert done.returncode == 2
    assert "a multimeter traces no loom" in done.stderr
    assert "write down each wire that beeps" in done.stderr
    assert "Battery" not in done.stderr + done.stdout
    assert "beep?" not in done.stdout

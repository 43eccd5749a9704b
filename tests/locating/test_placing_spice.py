"""The lines of one centimetre behind the campaign of places, solved by ngspice: a judge beside numpy's.

What a wire is made of comes from the simulated loom, through `placing_oracle`; ngspice (Debian's package)
adds it up with no code of ours.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

from loomproof.loom.model import End
from tests.campaign.placing_oracle import SLOW_HZ, Lines, Node, lines_of
from tests.locating.test_placing_campaign import PAIR, A, B

FOUND = shutil.which("ngspice")
pytestmark = pytest.mark.skipif(FOUND is None, reason="ngspice is not installed")


def _into(lines: Lines, driven: End, held: Sequence[End], folder: Path) -> complex:
    """Return the current into a point at 1 V with others at 0 V, of which ngspice solves the lines, A."""
    nodes: dict[Node, str] = {}
    for a, b, _ in lines.resistors:
        for node in (a, b):
            nodes.setdefault(node, f"n{len(nodes)}")
    deck = ["* lines of one centimetre"]
    deck += [f"R{k} {nodes[a]} {nodes[b]} {ohm:.15g}" for k, (a, b, ohm) in enumerate(lines.resistors)]
    deck += [f"C{k} {nodes[node]} 0 {farad:.15g}" for k, (node, farad) in enumerate(lines.farads)]
    deck += [f"Rg{k} {name} 0 1e15" for k, name in enumerate(nodes.values())]  # no piece floats
    deck += [f"Vd {nodes[driven]} 0 dc 0 ac 1", *(f"Vh{k} {nodes[end]} 0 dc 0" for k, end in enumerate(held))]
    deck += [".options gmin=1e-18", ".control", "set numdgt=14", f"ac lin 1 {SLOW_HZ} {SLOW_HZ}"]
    deck += ["print real(i(vd)) imag(i(vd))", "quit", ".endc", ".end"]
    path = folder / "lines.cir"
    path.write_text("\n".join(deck) + "\n", encoding="utf-8")
    done = subprocess.run([str(FOUND), "-n", "-b", str(path)], capture_output=True, text=True, check=False)
    found = [
        float(line.split("=")[1]) for line in done.stdout.splitlines() if line.startswith(("real", "imag"))
    ]
    assert len(found) == 2, done.stdout[-1000:] + done.stderr[-1000:]
    return -complex(*found)  # what a source takes in it does not give


def test_ngspice_gives_the_pieces_of_a_broken_wire_the_same_farads(tmp_path: Path) -> None:
    lines = lines_of(PAIR, 5, broken=("W1", 0.4137))
    for end in (A[0], B[0]):
        others = [each for each in PAIR.cavities if each != end]
        farad = _into(lines, end, others, tmp_path).imag / (2 * 3.141592653589793 * SLOW_HZ)
        assert 10e-12 < farad < 150e-12
        assert farad == pytest.approx(lines.farad([end], others), rel=1e-6, abs=0.0)


def test_ngspice_gives_conductors_that_touch_the_same_ohms(tmp_path: Path) -> None:
    lines = lines_of(PAIR, 5, touch=((("tap", "W1"), ("tap", "W2")), 0.31), taps={"W1": 0.4137, "W2": 0.4021})
    for a, b in ((A[0], A[1]), (B[0], B[1]), (A[0], B[1])):
        ohm = 1.0 / _into(lines, a, [b], tmp_path).real
        assert 0.31 < ohm < 0.5
        assert ohm == pytest.approx(lines.ohm(a, b), rel=1e-6)

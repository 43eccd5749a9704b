"""ngspice as an outside judge of expected values. Shares no code with what it checks.

The deck is written from the description and from figures typed here: copper of 58 MS/m at 20 °C with
0.00393 /K (IEC publication 28), the lay factor 1.065, the class 5 maxima of IEC 60228. Only the layout of
contacts and joints (one contact at each cavity read, a crimp at each wire end in a cavity, a splice joint at
each wire end in a splice) is the description's own rule, written out again.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import networkx as nx

from loomproof.loom.model import ComponentKind, End, Loom
from tests.joints import blade_ohm, joints_ohm, mated_ohm

GREATEST_OHM_PER_M = {0.5: 0.0390, 0.75: 0.0260, 1.0: 0.0195, 1.5: 0.0133, 2.5: 0.00798}
"""IEC 60228 class 5, plain copper, 20 °C, as quoted by four cable pages."""

FOUND = shutil.which("ngspice")


@dataclass(frozen=True)
class Ask:
    """One reading: current ``ampere`` from ``a`` to ``b``."""

    a: End
    b: End
    ampere: float = 0.1


def resistances(
    loom: Loom,
    asks: Sequence[Ask],
    temperature_c: float = 20.0,
    *,
    greatest: bool = False,
    without: Iterable[str] = (),
) -> list[float]:
    """Return what ngspice gives for each reading, Ω, one contact at each end included."""
    settings = loom.settings
    left_out = set(without)
    node = {end: f"n{k}" for k, end in enumerate(e for c in loom.connectors for e in c.ends)}
    lines = ["* a loom"]
    heat = 1.0 + 0.00393 * (temperature_c - 20.0)
    for k, wire in enumerate(loom.wires):
        assert wire.csa_mm2 is not None
        assert wire.length_m is not None
        per_m = GREATEST_OHM_PER_M[wire.csa_mm2] if greatest else 1.065 / 58.0 / wire.csa_mm2
        ohm = per_m * wire.length_m * heat
        ohm += joints_ohm(settings, wire)
        if wire.name not in left_out:
            lines.append(f"Rw{k} {node[wire.a]} {node[wire.b]} {ohm:.12g}")
    for k, part in enumerate(loom.components):
        if not part.fitted or part.name in left_out:
            continue
        a, b = (node[end] for end in part.ends)
        spread = 1.0 + (part.tolerance_pct or 0.0) / 100.0 if greatest else 1.0
        if part.kind is ComponentKind.DIODE:
            lines.append(f"Dp{k} {a} {b} silicon")
        elif part.kind is ComponentKind.FUSE:
            assert part.resistance_ohm is not None
            lines.append(
                f"Rp{k} {a} {b} {part.resistance_ohm * spread + 2 * blade_ohm(settings, part.rating_a):.12g}"
            )
        elif part.kind is ComponentKind.COIL:
            assert part.resistance_ohm is not None
            lines.append(f"Rp{k} {a} {b} {part.resistance_ohm * heat * spread:.12g}")
        else:
            assert part.resistance_ohm is not None
            lines.append(f"Rp{k} {a} {b} {part.resistance_ohm * spread:.12g}")
    # Nothing floats: every piece of copper leaks to ground, through so much that no reading notices.
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(node)
    graph.add_edges_from(wire.ends for wire in loom.wires if wire.name not in left_out)
    for k, piece in enumerate(nx.connected_components(graph)):
        lines.append(f"Rg{k} {node[min(piece)]} 0 2e8")
    lines.append(".model silicon D(is=1e-14 n=1 rs=0.2)")
    lines.append(".options reltol=1e-6 itl1=1000")
    # While a reading is taken its far end is grounded, which lets the solver converge.
    lines += [f"Re{k} {node[ask.b]} 0 1e12" for k, ask in enumerate(asks)]
    lines += [f"Ia{k} {node[ask.b]} {node[ask.a]} dc 0" for k, ask in enumerate(asks)]
    lines.append(".control")
    lines.append("set numdgt=12")
    for k, ask in enumerate(asks):
        lines.append(f"alter ia{k} dc = {ask.ampere:.12g}")
        lines.append(f"alter re{k} = 1")
        lines.append("op")
        lines.append(f"let drop = v({node[ask.a]}) - v({node[ask.b]})")
        lines.append("print drop")
        lines.append(f"alter ia{k} dc = 0")
        lines.append(f"alter re{k} = 1e12")
    lines += ["quit", ".endc", ".end"]
    return [
        drop / ask.ampere + sum(mated_ohm(loom, end) for end in (ask.a, ask.b) if end.cavity)
        for ask, drop in zip(asks, _run("\n".join(lines) + "\n"), strict=True)
    ]


def _run(deck: str) -> list[float]:
    assert FOUND
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "loom.cir"
        path.write_text(deck, encoding="utf-8")
        done = subprocess.run(
            [FOUND, "-n", "-b", str(path)], capture_output=True, text=True, check=False, timeout=120
        )
    found = [float(line.split("=")[1]) for line in done.stdout.splitlines() if line.startswith("drop =")]
    assert len(found) == deck.count("print drop"), done.stdout[-1000:] + done.stderr[-1000:]
    return found

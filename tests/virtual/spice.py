"""ngspice (Debian package ``ngspice``) as an oracle: the same elements, another program's solution.

The deck is written from the list of elements; which of them hang together is found by networkx, not by
the simulator. ngspice's own relative tolerance is set to 1e-6.
"""

from __future__ import annotations

import re
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import networkx as nx

from loomproof.virtual import constants as c
from loomproof.virtual.network import GROUND, Network

OPTIONS = ".options reltol=1e-6 abstol=1e-14 vntol=1e-9 gmin=1e-15 temp=20 tnom=20 itl1=500"
GMINS = ("gmin=1e-15", "gmin=1e-13", "gmin=1e-12")
"""ngspice adds this conductance to every diode; where it does not converge with one, the next is tried."""


@dataclass(frozen=True)
class Sense:
    """Drive these points (from 0) and ask every point's voltage."""

    drive: frozenset[int]


@dataclass(frozen=True)
class Meter:
    """Feed A against B (points from 0) from a source with a series resistance."""

    a: frozenset[int]
    b: frozenset[int]
    source_v: float
    source_ohm: float


def solve(network: Network, queries: Sequence[Sense | Meter]) -> list[dict[str, float]]:
    """Ask ngspice for the operating point of every query; node names are ``0`` … as the network numbers them.

    A `Meter` answers with the node ``port`` (A's voltage against B). Nodes that float are left out.
    """
    deck = ["a loom", OPTIONS]
    asked: list[tuple[int, str]] = []
    for number, query in enumerate(queries):
        nodes = (
            _sense(deck, network, number, query)
            if isinstance(query, Sense)
            else _meter(deck, network, number, query)
        )
        asked += [(number, node) for node in nodes]
    deck += [".control", "set numdgt=12", "op"]
    deck += [f"print v(q{number}_{node})" for number, node in asked]
    deck += [".endc", ".end"]
    text = "\n".join(deck)
    for gmin in GMINS:
        found: list[dict[str, float]] = [{} for _ in queries]
        for match in re.finditer(r"v\(q(\d+)_(\w+)\) = (\S+)", _run(text.replace(GMINS[0], gmin))):
            found[int(match[1])][match[2]] = float(match[3])
        missing = [node for number, node in asked if node not in found[number]]
        if not missing:
            return found
    raise AssertionError(f"ngspice finds no operating point, or no voltage for {missing[:5]}")


def released(network: Network, drive: frozenset[int], after_s: float) -> dict[str, float]:
    """Ask ngspice for every point's voltage some time after driven points were let go, from rest driven."""
    deck = ["a loom let go", OPTIONS.replace(".options", ".options method=gear")]
    deck += ["VC ctrl 0 PULSE(1 0 0 1n 1n 1 2)", ".model SW SW (VT=0.5 VH=0 RON=5 ROFF=1e12)"]
    _sense(deck, network, 0, Sense(frozenset()))
    deck += [f"S{point} q0_{point} 0 ctrl 0 SW" for point in sorted(drive)]
    for i, (u, v, farad) in enumerate(network.capacitors):
        if any(f"q0_{node}" in line for node in (u, max(v, 0)) for line in deck):
            deck.append(f"C{i} q0_{u} {'0' if v == GROUND else f'q0_{v}'} {farad!r}")
    step = after_s / 2000
    deck += [".control", "set numdgt=12", f"tran {step!r} {after_s!r} 0 {step!r}"]
    deck += [f"print v(q0_{point})[length(time)-1]" for point in range(network.points)]
    deck += [".endc", ".end"]
    pattern = r"v\(q0_(\d+)\)\[length\(time\)-1\] = (\S+)"
    return {match[1]: float(match[2]) for match in re.finditer(pattern, _run("\n".join(deck)))}


def _run(deck: str) -> str:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "loom.cir"
        path.write_text(deck + "\n", encoding="ascii")
        done = subprocess.run(
            ["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=120, check=False
        )
    return done.stdout


def _graph(network: Network) -> nx.Graph[int]:
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(network.nodes))
    graph.add_edges_from((r.u, r.v) for r in network.resistors)
    graph.add_edges_from((d.anode, d.cathode) for d in network.diodes)
    graph.add_edges_from((s.plus, s.minus) for s in network.sources if s.minus != GROUND)
    return graph


def _elements(deck: list[str], network: Network, number: int, place: Mapping[int, str]) -> None:
    for i, (u, v, ohm) in enumerate(network.resistors):
        if u in place and place[u] != place[v]:
            deck.append(f"R{number}_{i} {place[u]} {place[v]} {ohm!r}")
    for i, (anode, cathode, saturation, slope) in enumerate(network.diodes):
        if anode in place and place[anode] != place[cathode]:
            emission = slope * c.CHARGE_C / (c.BOLTZMANN_J_PER_K * 293.15)
            deck.append(f"D{number}_{i} {place[anode]} {place[cathode]} M{number}_{i}")
            deck.append(f".model M{number}_{i} D (IS={saturation!r} N={emission!r} RS=0)")
    for i, (plus, minus, volts, ohm) in enumerate(network.sources):
        if plus in place:
            low = "0" if minus == GROUND else place[minus]
            deck.append(f"V{number}_{i} e{number}_{i} {low} {volts!r}")
            deck.append(f"RS{number}_{i} e{number}_{i} {place[plus]} {ohm!r}")


def _sense(deck: list[str], network: Network, number: int, query: Sense) -> list[str]:
    graph = _graph(network)
    kept: set[int] = set()
    for component in nx.connected_components(graph):
        if any(node < network.points for node in component):
            kept |= component
    place = {node: f"q{number}_{node}" for node in kept}
    _elements(deck, network, number, place)
    deck.append(f"VS{number} s{number} 0 {c.SUPPLY_V!r}")
    for point in range(network.points):
        deck.append(f"RP{number}_{point} s{number} {place[point]} {c.PULL_UP_OHM!r}")
        if point in query.drive:
            deck.append(f"RD{number}_{point} {place[point]} 0 {c.DRIVER_OHM!r}")
    return [str(point) for point in range(network.points)]


def _meter(deck: list[str], network: Network, number: int, query: Meter) -> list[str]:
    graph = _graph(network)
    first = next(iter(query.a))
    graph.add_edges_from((first, other) for other in query.a | query.b)
    kept = nx.node_connected_component(graph, first)
    place = {
        node: f"q{number}_port" if node in query.a else "0" if node in query.b else f"q{number}_{node}"
        for node in kept
    }
    _elements(deck, network, number, place)
    deck.append(f"VM{number} m{number} 0 {query.source_v!r}")
    deck.append(f"RM{number} m{number} q{number}_port {query.source_ohm!r}")
    return ["port"]

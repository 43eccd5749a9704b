"""Voltage drops of the fitting sheet against looms whose every resistance is known.

A loom is drawn with feeds, fuses, relays and splices, and what its copper, crimps, contacts, fuses and relays
have in truth: joints and contacts a share of the loom's figures as the simulator draws it (0.3 to 0.8),
copper of 58 MS/m with its own lay and spread. A nodal solver here gives the true drop at each load of a
running car. The sheet sees the description, and readings of a bench (none, ±0.1 Ω, a milliohm meter) between
cavities of each net, contacts in them. Counted is how often the interval drop ± U holds the truth.

``python -m tests.campaign.drops [--short] [--seed N]``
"""

from __future__ import annotations

import argparse
import os
import random
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path

import numpy as np

from loomproof.fitting.proof_status import ProofStatus, ProvedResistance
from loomproof.fitting.voltage_drop import drops_of
from loomproof.loom.choices import needs_of
from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Wire,
)
from loomproof.results.fitting import DropRow
from tests.joints import joint_ohm, mated_ohm

RUNNING_C = 80.0
BENCHES = {"no proof": None, "±0.1 Ω and 1 %": (0.1, 0.01), "milliohm meter": (0.001, 0.002)}
SIZES = (0.5, 0.75, 1.0, 1.5, 2.5, 4.0)
COLD_OHM = {5.0: 0.01785, 7.5: 0.01091, 10.0: 0.0077, 15.0: 0.0048, 20.0: 0.00338}
DROP_V = {5.0: 0.128, 7.5: 0.116, 10.0: 0.109, 15.0: 0.102, 20.0: 0.098}

Edge = tuple[End, End, float]


def drawn(rng: random.Random) -> Loom:
    """Return a loom of one feed that branches to several loads through fuses and relays, with returns."""
    count = rng.randrange(2, 6)
    connectors = [
        Connector("CAR", ConnectorKind.SOCKET, (("1",),)),
        Connector("ECU", ConnectorKind.PLUG, (tuple(str(k) for k in range(1, count + 4)),), "computer"),
        Connector("E", ConnectorKind.RING, (("1",),)),
        Connector("S", ConnectorKind.SPLICE),
        *(Connector(f"P{k}", ConnectorKind.PLUG, (("1", "2"),)) for k in range(count)),
        *(Connector(f"F{k}", ConnectorKind.FUSE_HOLDER, (("A", "B"),)) for k in range(count)),
        *(Connector(f"K{k}", ConnectorKind.RELAY_BASE, (("30", "87"),)) for k in range(count)),
    ]
    wires: list[Wire] = []

    def wire(a: End, b: End, circuit: str) -> None:
        size, long_m = rng.choice(SIZES), round(rng.uniform(0.1, 3.0), 2)
        wires.append(Wire(f"W{len(wires) + 1}", a, b, "RD", size, long_m, circuit))

    parts, circuits = [], [Circuit("feed", "feed", "30", None, "40 A"), Circuit("earth", "earth", "31", 4.0)]
    wire(End("CAR", "1"), End("S"), "feed")
    for k in range(count):
        rating = rng.choice(list(COLD_OHM))
        name, load_a = f"c{k}", round(rng.uniform(0.3, 0.8 * rating), 2)
        circuits.append(Circuit(name, "load", "", load_a, "", ("feed",)))
        wire(End("S"), End(f"F{k}", "A"), "feed")
        fuse = (("1", End(f"F{k}", "A")), ("2", End(f"F{k}", "B")))
        parts.append(
            Component(f"F{k}", ComponentKind.FUSE, fuse, rating_a=rating, fitted=False, pullable=True)
        )
        start = End(f"F{k}", "B")
        if rng.random() < 0.5:
            wire(start, End(f"K{k}", "30"), name)
            contact = (("30", End(f"K{k}", "30")), ("87", End(f"K{k}", "87")))
            parts.append(Component(f"K{k}", ComponentKind.RELAY, contact, fitted=False))
            start = End(f"K{k}", "87")
        wire(start, End(f"P{k}", "1"), name)
        wire(End(f"P{k}", "2"), End("ECU", str(k + 1)), name)
    for k in range(count + 1, count + 1 + rng.randrange(1, 4)):
        wire(End("ECU", str(k)), End("E", "1"), "earth")
    return Loom("drawn", connectors=tuple(connectors), wires=tuple(wires), components=tuple(parts),
                circuits=tuple(circuits))  # fmt: skip


@dataclass
class Truth:
    """What each wire's copper (at 20 °C) and joints, each contact, fuse and relay of one loom have, Ω."""

    loom: Loom
    rng: random.Random

    def __post_init__(self) -> None:
        settings, rng = self.loom.settings, self.rng
        self.copper, self.joints = {}, {}
        for one in self.loom.wires:
            lay = 1.06 * (1.0 + rng.uniform(-0.02, 0.02))
            self.copper[one.name] = lay / 58.0 * (one.length_m or 0.0) / (one.csa_mm2 or 1.0)
            figures = [joint_ohm(settings, one, end) for end in one.ends]
            self.joints[one.name] = sum(figure * rng.uniform(0.3, 0.8) for figure in figures)
        self.contact = {end: mated_ohm(self.loom, end) * rng.uniform(0.3, 0.8) for end in self.loom.cavities}
        self.relay = {one.name: rng.uniform(0.001, 0.010) for one in self.loom.components}
        self.fuse = {one.name: rng.uniform(0.9, 1.1) for one in self.loom.components}

    def wires(self, celsius: float) -> list[Edge]:
        """Return the wires at a temperature; their joints have none."""
        heat = 1.0 + 0.00393 * (celsius - 20.0)
        return [(w.a, w.b, self.copper[w.name] * heat + self.joints[w.name]) for w in self.loom.wires]

    def parts(self, carried: Mapping[str, float]) -> list[Edge]:
        """Return fuses at the current that they carry, and closed contacts, with their seats."""
        found = []
        for one in self.loom.components:
            ends = dict(one.terminals)
            a, b = ends.values()
            if one.kind is ComponentKind.FUSE:
                rating = one.rating_a or 10.0
                cold, hot = COLD_OHM[rating], DROP_V[rating] / rating
                ohm = (cold + (hot - cold) * min(carried.get(one.name, 0.0) / rating, 1.0) ** 2) * self.fuse[
                    one.name
                ]
            else:
                ohm = self.relay[one.name]
            found.append((a, b, ohm + self.contact[a] + self.contact[b]))
        return found


def solved(edges: Sequence[Edge], zero: End, drawn_a: Mapping[End, float]) -> dict[End, float]:
    """Return the volts lost at each end against ``zero`` with these currents drawn."""
    node = {end: k for k, end in enumerate(dict.fromkeys(e for a, b, _ in edges for e in (a, b)))}
    matrix, amps = np.eye(len(node)) * 1e-12, np.zeros(len(node))
    for a, b, ohm in edges:
        i, j = node[a], node[b]
        matrix[[i, j], [i, j]] += 1.0 / ohm
        matrix[[i, j], [j, i]] -= 1.0 / ohm
    matrix[node[zero], node[zero]] += 1e9
    for end, load in drawn_a.items():
        amps[node[end]] += load
    lost = np.linalg.solve(matrix, amps)
    return {end: float(lost[k]) for end, k in node.items()}


def readings(
    truth: Truth, bench: tuple[float, float], rng: random.Random
) -> dict[frozenset[End], ProvedResistance]:
    """Return what a bench reads at 20 °C between any two cavities of a net, and the U that it states."""
    edges = truth.wires(20.0)
    node = {end: k for k, end in enumerate(dict.fromkeys(e for a, b, _ in edges for e in (a, b)))}
    matrix = np.eye(len(node)) * 1e-6
    for a, b, ohm in edges:
        i, j = node[a], node[b]
        matrix[[i, j], [i, j]] += 1.0 / ohm
        matrix[[i, j], [j, i]] -= 1.0 / ohm
    inverse = np.linalg.inv(matrix)
    found = {}
    for a, b in combinations([end for end in truth.loom.cavities if end in node], 2):
        i, j = node[a], node[b]
        between = float(inverse[i, i] + inverse[j, j] - 2.0 * inverse[i, j])
        if between < 10.0:  # More is no net of wires but the leak that gives the matrix an inverse.
            ohm = between + truth.contact[a] + truth.contact[b]
            limit = bench[0] + bench[1] * ohm
            told = ProvedResistance(ohm + rng.uniform(-limit, limit), 2.0 * limit / 3.0**0.5)
            found[frozenset({a, b})] = told
    return found


def compared(
    loom: Loom, bench: tuple[float, float] | None, rng: random.Random
) -> list[tuple[DropRow, float]]:
    """Return each row of the sheet beside the true drop."""
    truth = Truth(loom, rng)
    measured = readings(truth, bench, rng) if bench else {}
    rows = drops_of(loom, needs_of(loom), ProofStatus(True, "", "", measured), RUNNING_C)
    loads = {one.name: one.load_a or 0.0 for one in loom.circuits if one.name.startswith("c")}
    at = {End(f"P{name[1:]}", "1"): amps for name, amps in loads.items()}
    carried = {f"F{name[1:]}": amps for name, amps in loads.items()}
    feed = solved([*truth.wires(RUNNING_C), *truth.parts(carried)], End("CAR", "1"), at)
    found = []
    for row in rows:
        if row.side == "feed":
            found.append((row, feed[End(f"P{row.circuit[1:]}", "1")]))
        elif row.circuit == "earth":
            ends = {
                end for w in loom.wires if w.circuit == "earth" for end in w.ends if end.connector == "ECU"
            }
            joined = [(end, End("inside"), 1e-9) for end in ends]
            volts = solved([*truth.wires(RUNNING_C), *joined], End("E", "1"), {End("inside"): row.current_a})
            found.append((row, volts[End("inside")]))
        else:
            back = End(f"P{row.circuit[1:]}", "2")
            to = End("ECU", str(int(row.circuit[1:]) + 1))
            found.append((row, solved(truth.wires(RUNNING_C), to, {back: row.current_a})[back]))
    return found


def main(argv: Sequence[str] | None = None) -> int:
    """Run the campaign, write its table, and say whether 95 of 100 intervals hold the truth."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(argv)
    count = 30 if options.short else 1000
    lines = [
        "| bench | side | rows | truth within ± U | decided | decided wrongly |",
        "|---|---|---|---|---|---|",
    ]
    good = True
    tallies: dict[tuple[str, str], list[int]] = {}
    for number in range(count):
        name = list(BENCHES)[number % len(BENCHES)]
        rng = random.Random(f"{options.seed} {number}")
        for row, volts in compared(drawn(rng), BENCHES[name], rng):
            side = "earth" if row.circuit == "earth" else row.side
            tally = tallies.setdefault((name, side), [0, 0, 0, 0])
            tally[0] += 1
            tally[1] += abs(row.drop_v - volts) <= row.uncertainty_v + 1e-6
            tally[2] += row.decision != "can't tell"
            tally[3] += {"pass": volts > row.limit_v, "fail": volts <= row.limit_v}.get(row.decision, False)
    for (name, side), (rows, held, decided, wrong) in tallies.items():
        share = 100.0 * held / rows
        good &= share >= 95.0 and wrong <= 0.025 * rows
        lines.append(
            f"| {name} | {side} | {rows} | {share:.1f} % | {100.0 * decided / rows:.0f} % | {wrong} |"
        )
    text = "\n".join(
        [
            "# Voltage drops against looms of known resistances",
            "",
            f"{datetime.now(UTC):%Y-%m-%d}, `python -m tests.campaign.drops --seed {options.seed}`, "
            f"{count} looms, {os.cpu_count()} cores.",
            "",
            *lines,
            "",
        ]
    )
    print(text)
    if not options.short:
        target = Path(__file__).parent / "results" / "drops.md"
        target.write_text(text, encoding="utf-8")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())

"""The demo loom with something changed, random looms with feeds, fuses and relays, and proofs of them."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path

from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Need,
    Wire,
)
from loomproof.loom.reading import load
from loomproof.results.document import (
    AdapterEntry,
    BenchEntry,
    ClaimEntry,
    Counts,
    Coverage,
    Document,
    LoomEntry,
    Verdict,
)
from loomproof.results.grade import Grade


@cache
def _demo() -> Loom:
    return load(Path(__file__).parents[2] / "fixtures" / "hillclimb_engine").loom


def demo(
    base: Loom | None = None,
    *,
    wires: Iterable[Wire] = (),
    without: Iterable[str] = (),
    circuits: Mapping[str, Circuit] | None = None,
) -> Loom:
    """Return the demo loom (or ``base``) with wires added, parts and wires left out, circuits replaced."""
    loom = base or _demo()
    left_out = set(without)
    other = circuits or {}
    return replace(
        loom,
        wires=(*(wire for wire in loom.wires if wire.name not in left_out), *wires),
        components=tuple(part for part in loom.components if part.name not in left_out),
        circuits=tuple(other.get(circuit.name, circuit) for circuit in loom.circuits),
    )


def document(
    loom: Loom, verdict: Verdict, *, simulated: bool = False, claims: tuple[ClaimEntry, ...] = ()
) -> Document:
    """Return a proof of a loom with this verdict."""
    return Document(
        verdict=verdict,
        grade=Grade.WIRE if verdict is Verdict.PASS else None,
        run="R1",
        started="2026-01-01T10:00:00+00:00",
        ended="2026-01-01T10:01:00+00:00",
        loom=LoomEntry(name=loom.name, digest=loom.digest),
        bench=BenchEntry(address="serial:/dev/ttyACM0", simulated=simulated, temperature_c=20.0),
        adapter=AdapterEntry(name="in-order"),
        coverage=Coverage(),
        counts=Counts(),
        claims=claims,
    )


def random_fitting_loom(rng: random.Random) -> Loom:
    """Return a loom with two feeds, fuses, change-over relays, a diode, splices and unused circuits."""
    connectors = [
        Connector("CAR", ConnectorKind.SOCKET, (tuple(str(k) for k in range(1, 9)),)),
        Connector("ECU", ConnectorKind.PLUG, (tuple(str(k) for k in range(1, 13)),), "computer"),
        *(Connector(f"P{k}", ConnectorKind.PLUG, (("1", "2"),), f"part {k}") for k in range(6)),
        Connector("E", ConnectorKind.RING, (("1",),)),
        Connector("F", ConnectorKind.FUSE_HOLDER, (("1A", "2A", "3A"), ("1B", "2B", "3B"))),
        *(Connector(f"K{k}", ConnectorKind.RELAY_BASE, (("30", "85", "86", "87", "87a"),)) for k in range(2)),
        *(Connector(f"S{k}", ConnectorKind.SPLICE) for k in range(5)),
    ]
    ends = [end for connector in connectors for end in connector.ends]
    names = ["feed", "ignition", *(f"c{k}" for k in range(6))]
    wires = [
        Wire("W1", End("CAR", "1"), End("S0"), csa_mm2=2.5, length_m=1.0, circuit="feed"),
        Wire("W2", End("CAR", "2"), End("S1"), csa_mm2=1.0, length_m=1.0, circuit="ignition"),
    ]
    for k in range(3, rng.randrange(20, 36)):
        a, b = rng.sample(ends, 2)
        size = rng.choice([0.5, 0.75, 1.0, 1.5, 2.5])
        long_m = round(rng.uniform(0.2, 3.0), 2)
        wires.append(Wire(f"W{k}", a, b, "BK", size, long_m, rng.choice(names[2:])))
    parts = [
        Component(
            f"F{k}",
            ComponentKind.FUSE,
            (("1", End("F", f"{k}A")), ("2", End("F", f"{k}B"))),
            rating_a=10.0,
            circuit=rng.choice(names[2:]),
        )
        for k in (1, 2, 3)
    ]
    for k in range(2):
        pins = tuple((pin, End(f"K{k}", pin)) for pin in ("30", "85", "86", "87", "87a"))
        parts.append(Component(f"K{k}", ComponentKind.RELAY, pins, 85.0, circuit=rng.choice(names[2:])))
    a, b, c, d = rng.sample(ends, 4)
    parts.append(Component("D1", ComponentKind.DIODE, (("A", a), ("K", b))))
    parts.append(Component("R1", ComponentKind.RESISTOR, (("1", c), ("2", d)), 1000.0))
    needs = [rng.choice(list(Need)) for _ in range(6)]
    circuits = (
        Circuit("feed", "permanent feed", "30", 20.0, rng.choice(["", "30 A"])),
        Circuit("ignition", "ignition feed", "15", 5.0, "5 A"),
        *(Circuit(f"c{k}", f"job {k}", "", round(rng.uniform(0.2, 5.0), 2), need=needs[k]) for k in range(6)),
    )
    return Loom(
        "random",
        connectors=tuple(connectors),
        wires=tuple(wires),
        components=tuple(parts),
        circuits=circuits,
    )

"""An engine's loom of sixty ends, invented, as its maker knows it, and as it is found without a name."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace

from loomproof.bench.adapter import Adapter, Lead
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.loom.nameless import KIND_AND_ROWS

PLUGS = {
    "ECU": 24,
    **{f"INJ{n}": 2 for n in range(1, 5)},
    "TPS": 3,
    "MAP": 3,
    "CAM": 3,
    "CTS": 2,
    "ATS": 2,
    "CRANK": 3,
    "LAMBDA": 4,
    "IDLE": 2,
    **dict.fromkeys(("EARTH1", "EARTH2", "BATTERY", "KEY", "TANK", "RELAY"), 1),
}
NETS: Mapping[str, tuple[str, ...]] = {
    "power-earth": ("ECU:1", "ECU:2", "ECU:3", "EARTH1:1", "EARTH2:1", "CRANK:3"),
    "permanent-feed": ("ECU:4", "BATTERY:1"),
    "ignition-feed": ("ECU:5", "KEY:1"),
    "pump": ("ECU:6", "TANK:1"),
    "main-feed": ("ECU:7", "RELAY:1", "INJ1:1", "INJ2:1", "INJ3:1", "INJ4:1", "LAMBDA:1", "IDLE:1"),
    "sensor-supply": ("ECU:8", "TPS:1", "MAP:1", "CAM:1"),
    "sensor-earth": ("ECU:9", "TPS:2", "MAP:2", "CAM:2", "CTS:2", "ATS:2", "LAMBDA:4"),
    "oxygen-sensor": ("ECU:10", "LAMBDA:2"),
    "oxygen-sensor 2": ("ECU:11", "LAMBDA:3"),
    **{f"injector {n}": (f"ECU:{11 + n}", f"INJ{n}:2") for n in range(1, 5)},
    "throttle-position": ("ECU:16", "TPS:3"),
    "load-sensor": ("ECU:17", "MAP:3"),
    "cam-sensor": ("ECU:18", "CAM:3"),
    "coolant-temperature": ("ECU:19", "CTS:1"),
    "air-temperature": ("ECU:20", "ATS:1"),
    "crank-sensor": ("ECU:21", "CRANK:1"),
    "crank-sensor 2": ("ECU:22", "CRANK:2"),
    "idle-actuator": ("ECU:23", "IDLE:2"),
}
"""What is joined, by the circuit that it is of; ECU:24 is empty."""


def purpose_of(end: End) -> str:
    """Return the circuit of an end's net; "" for the empty cavity."""
    found = [name for name, ends in NETS.items() if str(end) in ends]
    return found[0].split()[0] if found else ""


def _end(text: str) -> End:
    connector, _, cavity = text.partition(":")
    return End(connector, cavity)


def wired(connectors: tuple[Connector, ...], nets: list[list[End]], name: str) -> Loom:
    """Return a loom with a wire for each net of two, and a splice for each longer one."""
    wires: list[Wire] = []
    splices: list[Connector] = []
    for ends in nets:
        pairs = [(ends[0], ends[1])]
        if len(ends) > 2:
            splices.append(Connector(f"S{len(splices) + 1}", ConnectorKind.SPLICE))
            pairs = [(end, End(splices[-1].name)) for end in ends]
        wires += [
            Wire(f"W{len(wires) + k}", a, b, csa_mm2=0.75, length_m=0.6)
            for k, (a, b) in enumerate(pairs, start=1)
        ]
    return Loom(name, connectors=(*connectors, *splices), wires=tuple(wires))


def engine() -> Loom:
    """Return the loom with all of its names."""
    plugs = tuple(
        Connector(
            name,
            ConnectorKind.PLUG if size > 1 else ConnectorKind.RING,
            (tuple(str(n) for n in range(1, size + 1)),),
            hazard=Hazard.NONE,
        )
        for name, size in PLUGS.items()
    )
    return wired(plugs, [[_end(text) for text in ends] for ends in NETS.values()], "Engine of four")


def nameless(loom: Loom, seed: int = 1, *, clips: bool = False) -> tuple[Loom, Mapping[End, End]]:
    """Return the loom as tracing leaves it, and what each of its ends was: plugs are P1, P2 and so on.

    The plugs of the adapter have the cavities' numbers; with ``clips`` all ends are on one row of clips.
    """
    order = [c for c in loom.connectors if c.kind is not ConnectorKind.SPLICE]
    rng = random.Random(seed)
    rng.shuffle(order)
    ends = [end for plug in order for end in plug.ends]
    if clips:
        rng.shuffle(ends)
        called = {end: End("CLIPS", str(n)) for n, end in enumerate(ends, start=1)}
    else:
        number = {plug.name: f"P{n}" for n, plug in enumerate(order, start=1)}
        called = {end: End(number[end.connector], end.cavity) for end in ends}
    rows: dict[str, list[str]] = {}
    for end in ends:
        rows.setdefault(called[end].connector, []).append(called[end].cavity)
    connectors = tuple(
        Connector(name, ConnectorKind.PLUG, (tuple(cavities),), description=KIND_AND_ROWS, hazard=Hazard.NONE)
        for name, cavities in rows.items()
    )
    nets = [[called[_end(text)] for text in ends] for ends in NETS.values()]
    bare = replace(wired(connectors, nets, "Unknown engine"), description="Traced on a bench.")
    return bare, {name: end for end, name in called.items()}


def leads(loom: Loom, truth: Mapping[End, End]) -> Adapter:
    """Return the adapter that has the nameless ends on the points of the loom's order."""
    point = {end: n for n, end in enumerate(loom.cavities, start=1)}
    return Adapter(
        "clips", tuple(sorted((Lead(point[end], name) for name, end in truth.items()), key=_point))
    )


def _point(lead: Lead) -> int:
    return lead.point

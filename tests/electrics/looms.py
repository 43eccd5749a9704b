"""Small looms for these tests: a few lines of text, and random ones from a seed."""

from __future__ import annotations

import random

from loomproof.loom.model import (
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Settings,
    Wire,
    end_of,
)

BARE = Settings(contact_ohm=0.0, crimp_ohm=0.0, splice_ohm=0.0)
"""No joints, so that a wire's resistance is the copper's alone."""


def loom_of(
    wires: str, components: tuple[Component, ...] = (), settings: Settings | None = None, extra: str = ""
) -> Loom:
    """Make a loom from ``W1 A:1 B:1 1.0m 0.5mm2`` lines; ``extra`` names cavities without a wire."""
    made: list[Wire] = []
    for line in wires.strip().splitlines():
        name, a, b, *facts = line.split()
        length = next((float(f[:-1]) for f in facts if f.endswith("m")), None)
        csa = next((float(f[:-3]) for f in facts if f.endswith("mm2")), None)
        made.append(Wire(name, end_of(a), end_of(b), length_m=length, csa_mm2=csa))
    ends = [end for wire in made for end in wire.ends]
    ends += [end for component in components for end in component.ends]
    ends += [end_of(text) for text in extra.split()]
    cavities: dict[str, list[str]] = {}
    for end in ends:
        held = cavities.setdefault(end.connector, [])
        if end.cavity and end.cavity not in held:
            held.append(end.cavity)
    connectors = tuple(
        Connector(name, ConnectorKind.PLUG if held else ConnectorKind.SPLICE, (tuple(held),) if held else ())
        for name, held in cavities.items()
    )
    return Loom(
        "test",
        connectors=connectors,
        wires=tuple(made),
        components=components,
        settings=settings or Settings(),
    )


def part(
    kind: ComponentKind, name: str, a: str, b: str, ohm: float | None = None, **facts: float | bool
) -> Component:
    """Make a two-terminal component."""
    names = ("A", "K") if kind is ComponentKind.DIODE else ("1", "2")
    return Component(name, kind, ((names[0], end_of(a)), (names[1], end_of(b))), resistance_ohm=ohm, **facts)  # type: ignore[arg-type]


def random_loom(
    rng: random.Random, *, nets: int = 6, cavities: int = 24, parts: int = 4, diodes: int = 0
) -> Loom:
    """Make a loom with splices, loops and parallel wires; nets are joined by resistors and diodes."""
    groups: list[list[End]] = [[] for _ in range(nets)]
    connectors = [Connector("X", ConnectorKind.PLUG, (tuple(str(k + 1) for k in range(cavities)),))]
    for k in range(cavities):
        groups[k if k < nets else rng.randrange(nets)].append(End("X", str(k + 1)))
    wires: list[Wire] = []

    def wire(a: End, b: End) -> None:
        csa = rng.choice([0.5, 0.75, 1.0, 1.5, 2.5])
        wires.append(Wire(f"W{len(wires) + 1}", a, b, csa_mm2=csa, length_m=round(rng.uniform(0.1, 5.0), 3)))

    for number, group in enumerate(groups):
        ends = list(group)
        for s in range(rng.randrange(3)):
            splice = Connector(f"S{number}_{s}", ConnectorKind.SPLICE)
            connectors.append(splice)
            ends.append(End(splice.name))
        rng.shuffle(ends)
        for k in range(1, len(ends)):
            wire(ends[k], ends[rng.randrange(k)])
        for _ in range(rng.randrange(1 + len(ends) // 2)):
            if len(ends) > 1:
                a, b = rng.sample(ends, 2)
                wire(a, b)
    components: list[Component] = []
    if nets > 1:
        for k in range(parts + diodes):
            left, right = rng.sample(range(nets), 2)
            one, two = str(rng.choice(groups[left])), str(rng.choice(groups[right]))
            name = f"P{k + 1}"
            ohm = round(10 ** rng.uniform(0, 4), 3)
            if k >= parts:
                components.append(part(ComponentKind.DIODE, name, one, two))
            elif rng.random() < 0.3:
                components.append(part(ComponentKind.COIL, name, one, two, ohm, tolerance_pct=10.0))
            else:
                components.append(
                    part(ComponentKind.RESISTOR, name, one, two, ohm, tolerance_pct=rng.choice([1.0, 5.0]))
                )
    if len(groups[0]) > 1:
        one, two = (str(end) for end in rng.sample(groups[0], 2))
        components.append(part(ComponentKind.FUSE, "F1", one, two, 0.0077, tolerance_pct=50.0))
        components.append(part(ComponentKind.LINK, "L1", one, two, 0.015, tolerance_pct=20.0))
    return Loom("random", connectors=tuple(connectors), wires=tuple(wires), components=tuple(components))

"""How far the naming of a loom is."""

from __future__ import annotations

from typing import NamedTuple

from loomproof.naming.answers import Named


class Counts(NamedTuple):
    """Ends with a name, wires with a colour, nets of two and more with a purpose, and how many there are."""

    ends: int
    of_ends: int
    coloured: int
    wires: int
    purposes: int
    nets: int


def counts(named: Named) -> Counts:
    """Return how much of a loom has its names."""
    ends, wires = len(named.traced.cavities), named.loom.wires
    joined = [net for net in named.nets if len(net.cavities) > 1]
    return Counts(
        ends - len(named.nameless),
        ends,
        sum(bool(wire.colour) for wire in wires),
        len(wires),
        sum(bool(named.circuit_at(net.cavities[0])) for net in joined),
        len(joined),
    )


def progress_said(named: Named) -> str:
    """Return the same in words."""
    found = counts(named)
    return (
        f"{found.ends} of {found.of_ends} ends named, {found.coloured} of {found.wires} wires with a colour, "
        f"{found.purposes} of {found.nets} nets with a purpose"
    )


def bare_plugs(named: Named) -> tuple[tuple[str, int], ...]:
    """Return the connectors that nobody has named, by today's names, with their number of nameless ends."""
    left: dict[str, int] = {}
    for end in named.nameless:
        connector = named.names[end].connector
        left[connector] = left.get(connector, 0) + 1
    return tuple(left.items())

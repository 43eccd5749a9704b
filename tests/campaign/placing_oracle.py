"""A loom as lines of pieces of one centimetre, solved by nodal analysis: farads of pieces and of touches.

Each wire is a chain of resistors, with the capacitance of each piece at its middle; joints and contacts stand
at its ends. Ohms come from solving the conductance matrix for one ampere, farads from the charge that flows
into the driven points at one volt with all other points at 0 V, the chain charged through its own resistors.
What the wires are made of (farads along them, ohms, joints, contacts) is taken from the simulated loom; how
it adds up is worked out here, with no code of the simulator and none of the rooms that place faults.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from loomproof.loom.model import End, Loom
from loomproof.virtual.draft import Draft

PIECE_M = 0.01
SLOW_HZ = 1.0
"""So slow that a chain of ohms and picofarads is charged throughout: a microsecond is far below a second."""

Node = object


@dataclass
class Lines:
    """Resistors between nodes, and farads from nodes to 0 V. A tested cavity is its own node."""

    resistors: list[tuple[Node, Node, float]] = field(default_factory=list)
    farads: list[tuple[Node, float]] = field(default_factory=list)

    def _reached(self, start: Iterable[Node]) -> list[Node]:
        """Return the nodes that hang together with these."""
        beside: dict[Node, list[Node]] = {}
        for a, b, _ in self.resistors:
            beside.setdefault(a, []).append(b)
            beside.setdefault(b, []).append(a)
        found = dict.fromkeys(start)
        waiting = [*found]
        for node in waiting:
            for other in beside.get(node, ()):
                if other not in found:
                    found[other] = None
                    waiting.append(other)
        return waiting

    def _into(self, held: Mapping[Node, complex], driven: Sequence[Node], hertz: float) -> complex:
        """Return the current into the driven nodes with these held, of what hangs together with them, A."""
        nodes = list(dict.fromkeys([*held, *self._reached(driven)]))
        at = {node: k for k, node in enumerate(nodes)}
        matrix = np.zeros((len(nodes), len(nodes)), dtype=complex)
        for a, b, ohm in self.resistors:
            if a not in at or b not in at:
                continue
            i, j = at[a], at[b]
            matrix[[i, j], [i, j]] += 1.0 / ohm
            matrix[[i, j], [j, i]] -= 1.0 / ohm
        for node, farad in self.farads:
            if node not in at:
                continue
            matrix[at[node], at[node]] += 2j * np.pi * hertz * farad
        fixed = [at[node] for node in held]
        free = [k for k in range(len(nodes)) if k not in set(fixed)]
        volts = np.zeros(len(nodes), dtype=complex)
        volts[fixed] = list(held.values())
        volts[free] = np.linalg.solve(matrix[np.ix_(free, free)], -matrix[np.ix_(free, fixed)] @ volts[fixed])
        amps = matrix @ volts
        return complex(sum(amps[at[node]] for node in driven))

    def farad(self, driven: Sequence[End], others: Sequence[End]) -> float:
        """Return the capacitance of the driven points, joined, against all others at 0 V, F."""
        held: dict[Node, complex] = {end: 1.0 + 0j for end in driven}  # noqa: C420 - of any node
        for end in others:
            held[end] = 0j
        return self._into(held, driven, SLOW_HZ).imag / (2 * np.pi * SLOW_HZ)

    def ohm(self, a: End, b: End) -> float:
        """Return the resistance between two points, Ω."""
        return (1.0 / self._into({a: 1.0 + 0j, b: 0j}, [a], SLOW_HZ)).real


def lines_of(
    loom: Loom,
    seed: int,
    open_contact: End | None = None,
    broken: tuple[str, float] | None = None,
    touch: tuple[tuple[Node, ...], float] | None = None,
    taps: Mapping[str, float] | None = None,
) -> Lines:
    """Return a loom's lines with one fault: a contact that is open, a wire broken so far from its ``a``, or
    a touch: two nodes (`End`, or ``("tap", wire)`` at that wire's place in ``taps``) with its ohms.
    """
    draft, made = Draft(loom, seed), Lines()
    for end in loom.cavities:
        if end != open_contact:
            made.resistors.append((end, ("terminal", end), draft.mated_ohm(end)))
    for wire in loom.wires:
        run = draft.runs[wire.name]
        length = wire.length_m or 0.0
        cells = np.array(run.profile.cells_f)
        stops = {0.0, length, *np.arange(PIECE_M, length, PIECE_M)}
        cut = broken[1] if broken and broken[0] == wire.name else None
        tap = (taps or {}).get(wire.name)
        places = sorted(stops | {place for place in (cut, tap) if place is not None})
        # The charge of the drawn cells up to each place, taken from their sums.
        edges = np.linspace(0.0, length, len(cells) + 1)
        upto = np.interp(places, edges, np.concatenate([[0.0], np.cumsum(cells)]))
        nodes: list[Node] = [(wire.name, k) for k in range(len(places))]
        for side, (end, node) in enumerate(zip(wire.ends, (nodes[0], nodes[-1]), strict=True)):
            home = ("terminal", end) if end.cavity else end
            made.resistors.append((home, node, draft.joint_ohm(wire.name, side, end)))
        severed = False
        for k in range(len(places) - 1):
            one, other = nodes[k], nodes[k + 1]
            if cut is not None and places[k] >= cut and not severed:
                severed, one = True, (wire.name, "far side")
            ohm = run.ohm * (places[k + 1] - places[k]) / length
            middle = (wire.name, k, "middle")
            made.resistors += [(one, middle, ohm / 2), (middle, other, ohm / 2)]
            made.farads.append((middle, float(upto[k + 1] - upto[k])))
        if tap is not None:
            made.resistors.append((("tap", wire.name), nodes[places.index(tap)], 1e-9))
    if touch is not None:
        ends = [("terminal", node) if isinstance(node, End) else node for node in touch[0]]
        made.resistors.append((ends[0], ends[1], touch[1]))
    return made

"""A car with a loom in it as a network of resistors, for carrying out the meter checks of a fitting sheet.

Parts hang on their plugs, the computer on its own; the fuse box of the car, its lamps and its pump pull feeds
to earth; battery clamps hang free. Shares nothing with what writes the checks but the values of a check.
"""

from __future__ import annotations

import math
import random
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from loomproof.loom.model import ConnectorKind, Loom
from loomproof.results.fitting import MeterCheck, Spot

INNER = ("splice", "fuse holder", "relay base")
METAL = ("clamp", "body", "block")
MATED_OHM = 0.0005
OPEN_OHM = 1.0e5
"""What reads more than this is open; parts of a car read less."""


@dataclass(frozen=True)
class Change:
    """One resistor that is not as it should be: between two nodes, so many siemens more or less."""

    a: str
    b: str
    siemens: float


@dataclass
class State:
    """The network in one state: the inverse of its nodal matrix, every node a little leaky."""

    node: dict[str, int]
    inverse: np.ndarray

    def ohm(self, a: str, b: str, change: Change | None) -> float:
        """Return what reads between two nodes; a change enters by Sherman and Morrison's formula."""
        if a == b:
            return 0.0
        if a not in self.node or b not in self.node:
            return math.inf
        with_ = self._across(a, b)
        ohm = float(self._seen(a, b) @ with_)
        if change is not None and change.a in self.node and change.b in self.node:
            own = float(self._seen(change.a, change.b) @ self._across(change.a, change.b))
            both = float(self._seen(a, b) @ self._across(change.a, change.b))
            rest = 1.0 + change.siemens * own
            if rest < 1e-4:  # The only way between two parts of the car is taken away.
                return math.inf if abs(change.siemens * both) > 0.5 else self._open(ohm)
            ohm -= change.siemens * both**2 / rest
        return self._open(ohm)

    @staticmethod
    def _open(ohm: float) -> float:
        return math.inf if ohm > OPEN_OHM else ohm

    def _across(self, a: str, b: str) -> np.ndarray:
        found: np.ndarray = self.inverse[:, self.node[a]] - self.inverse[:, self.node[b]]
        return found

    def _seen(self, a: str, b: str) -> np.ndarray:
        unit = np.zeros(len(self.node))
        unit[self.node[a]], unit[self.node[b]] = 1.0, -1.0
        return unit


@dataclass
class Car:
    """One car: which connectors of the loom go on, and which are the computer's."""

    loom: Loom
    computers: Collection[str]
    joined: Collection[str]
    seed: int = 1
    _states: dict[tuple[frozenset[str], frozenset[str]], State] = field(default_factory=dict)

    def passes(self, check: MeterCheck, change: Change | None = None) -> bool:
        """Whether a meter shows what the check asks for, in the state that it asks for."""
        ohm = self.reads(check, change)
        return (check.most_ohm is None or ohm <= check.most_ohm) and (
            check.least_ohm is None or ohm >= check.least_ohm
        )

    def reads(self, check: MeterCheck, change: Change | None = None) -> float:
        """Return what a meter shows; against earth, the lowest of clamp, body and block."""
        assert check.a is not None
        assert check.b is not None
        off = frozenset(check.off)
        state = self._state(off, frozenset(check.out))
        if change is not None and change.b == f"car {change.a}" and change.a.rpartition(":")[0] in off:
            change = None  # What is unplugged in this check has no joint that could be bad.
        places = METAL if check.b[0] is Spot.EARTH else (self._at(check.b),)
        return min(state.ohm(self._at(check.a), place, change) for place in places)

    def not_joined(self, end: str) -> Change:
        """The end does not meet the car."""
        return Change(end, f"car {end}", -1.0 / MATED_OHM)

    def bad_joint(self, end: str, ohm: float) -> Change:
        """The end meets the car through so many ohms."""
        return Change(end, f"car {end}", 1.0 / ohm - 1.0 / MATED_OHM)

    def broken(self, wire: str) -> Change:
        """A wire of the loom is broken."""
        found = self.loom.wire_by_name[wire]
        return Change(str(found.a), str(found.b), -1.0 / self._wire_ohm(wire))

    @staticmethod
    def touching(end: str, metal: str) -> Change:
        """An end touches metal of the car."""
        return Change(end, metal, 1.0 / 0.05)

    @staticmethod
    def _at(spot: tuple[Spot, str]) -> str:
        return {Spot.LOOM: spot[1], Spot.CAR: f"car {spot[1]}", Spot.CLAMP: "clamp"}[spot[0]]

    def _state(self, off: frozenset[str], out: frozenset[str]) -> State:
        if (off, out) not in self._states:
            edges = list(self._edges(off, out))
            node = {name: k for k, name in enumerate(dict.fromkeys(n for a, b, _ in edges for n in (a, b)))}
            matrix = np.eye(len(node)) * 1e-6
            for a, b, ohm in edges:
                i, j = node[a], node[b]
                if i != j:
                    matrix[[i, j], [i, j]] += 1.0 / ohm
                    matrix[[i, j], [j, i]] -= 1.0 / ohm
            self._states[off, out] = State(node, np.linalg.inv(matrix))
        return self._states[off, out]

    def _some(self, name: str, low: float, high: float) -> float:
        return random.Random(f"{self.seed} {name}").uniform(low, high)

    def _wire_ohm(self, name: str) -> float:
        wire = self.loom.wire_by_name[name]
        copper = 0.0185 * (wire.length_m or 1.0) / (wire.csa_mm2 or 0.5)
        return copper + self._some(name, 0.002, 0.012)

    def _edges(self, off: frozenset[str], out: frozenset[str]) -> Iterator[tuple[str, str, float]]:
        for wire in self.loom.wires:
            yield str(wire.a), str(wire.b), self._wire_ohm(wire.name)
        for part in self.loom.components:
            ends = {name: str(end) for name, end in part.terminals}
            if part.name in out:
                continue
            match part.kind.value:
                case "relay":
                    if {"85", "86"} <= set(ends):
                        yield ends["86"], ends["85"], 85.0
                    if {"30", "87a"} <= set(ends):
                        yield ends["30"], ends["87a"], 0.02
                case "fuse" | "link":
                    yield ends["1"], ends["2"], 0.01
                case "resistor" | "coil":
                    yield ends["1"], ends["2"], part.resistance_ohm or 85.0
                case "diode":
                    yield ends["A"], ends["K"], self._some(part.name, 60.0, 200.0)  # Either way round.
        yield "block", "body", 0.0004
        yield "body", "clamp", 0.0006
        for connector in self.loom.connectors:
            if connector.kind.value not in INNER:
                is_on = connector.name in self.joined and connector.name not in off
                yield from self._car(connector.name, [str(end) for end in connector.ends], is_on)

    def _car(self, name: str, ends: list[str], is_on: bool) -> Iterator[tuple[str, str, float]]:
        kind = self.loom.by_name[name].kind
        if is_on:
            yield from ((end, f"car {end}", MATED_OHM) for end in ends)
        if kind is ConnectorKind.RING:
            metal = "block" if self._some(name, 0.0, 1.0) < 0.5 else "body"
            yield from ((f"car {end}", metal, 0.0002) for end in ends)
        elif name in self.computers:
            inside = "inside the computer"
            yield from ((f"car {end}", inside, self._some(end, 50.0, 5000.0)) for end in ends)
            yield inside, "body", 100.0
        elif kind is ConnectorKind.PLUG:
            yield from ((f"car {a}", f"car {b}", self._some(a, 1.5, 16.0)) for a, b in pairwise(ends))
        else:
            # The car's fuse box, lamps and pump: every feed finds earth through something.
            yield from ((f"car {end}", "body", self._some(end, 0.3, 30.0)) for end in ends)

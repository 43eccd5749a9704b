"""Wires that are rubbed through: a short at a place of each, as the simulated loom has it."""

from __future__ import annotations

import pytest

from loomproof.errors import UsageError
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Settings, Wire
from loomproof.virtual.faults import read_fault
from loomproof.virtual.scanner import Make, Scanner

BARE = Settings(contact_ohm=0.0, crimp_ohm=0.0, stated=frozenset({"contact_ohm", "crimp_ohm"}))
LOOM = Loom(
    "two wires",
    connectors=tuple(Connector(name, ConnectorKind.PLUG, (("1", "2"),)) for name in "PQ"),
    wires=tuple(Wire(f"W{k}", End("P", f"{k}"), End("Q", f"{k}"), csa_mm2=0.5, length_m=2.0) for k in (1, 2)),
    settings=BARE,
)
P1, P2, Q1, Q2 = (1 << k for k in range(4))


def _ohm(scanner: Scanner, a: int, b: int) -> float:
    return scanner.true_resistance(a, b, 0.0)


def test_each_side_has_the_copper_up_to_the_place() -> None:
    """By hand: a quarter of both wires on the one side, the rest on the other, the touch in both."""
    scanner = Scanner(LOOM, Make(points=4), faults=("leak 2 W1 at P:1 0.5 m W2 at Q:2 1.5 m",), seed=3)
    copper = _ohm(scanner, P1, Q1) + _ohm(scanner, P2, Q2)
    assert _ohm(scanner, P1, P2) - 2.0 == pytest.approx(copper / 4, rel=1e-3)
    assert _ohm(scanner, Q1, Q2) - 2.0 == pytest.approx(3 * copper / 4, rel=1e-3)
    assert copper == pytest.approx(4.0 * 0.01724 * 1.05 / 0.5, rel=0.1)


def test_a_wire_may_be_rubbed_through_and_broken_further_on() -> None:
    faults = ("short W1 at P:1 0.5 m W2 at P:2 0.5 m", "open W1 at P:1 1.2 m")
    scanner = Scanner(LOOM, Make(points=4), faults=faults, seed=3)
    assert _ohm(scanner, P1, Q1) > 1e9
    assert _ohm(scanner, P1, Q2) < 0.5
    farads = [
        scanner.true_capacitance(Q1, P1 | P2 | Q2, 0.0),
        scanner.true_capacitance(P1 | P2 | Q2, Q1, 0.0),
    ]
    alone = Scanner(LOOM, Make(points=4), faults=("open W1 at P:1 1.2 m",), seed=3)
    assert farads[0] == pytest.approx(alone.true_capacitance(Q1, P1 | P2 | Q2, 0.0), rel=1e-6)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("short W1 at P:1 0.5 m W1 at P:1 1 m", "two different wires"),
        ("short W1 at P:1 2.5 m W2 at P:2 0.5 m", "W1 is 2 m long"),
        ("short W1 at Q:2 0.5 m W2 at P:2 0.5 m", "W1 does not end at Q:2"),
        ("short W1 at P:1 0.5 m W2 at P:2", "metres from that end"),
        ("short W1 at P:1 0.5 m P:2", "a place along a wire is expected"),
    ],
)
def test_what_is_no_place_is_refused(text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        Scanner(LOOM, Make(points=4), faults=(read_fault(text, LOOM).text,))

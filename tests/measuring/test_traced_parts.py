"""Parts worked out from readings: few of them, with direction, farads, and what can't be told asked about."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import networkx as nx
import pytest

from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.measuring.traced_loom import loom_of, questions_of
from loomproof.measuring.traced_parts import Read, capacitors_between, fewest, parts_between
from tests.campaign.tracing import traced

NODES = [(End("A", str(k)),) for k in range(1, 5)]


def off(ohm: float, by: float) -> tuple[float, float]:
    """A reading off by a share of its uncertainty, that of a meter of ±(0.1 Ω + 1 %)."""
    u_ohm = 0.1 + 0.01 * ohm
    return ohm + by * u_ohm, u_ohm


def test_a_chain_read_a_little_wrongly_is_a_chain_still() -> None:
    """4.7 kΩ and 120 Ω in a row, readings off by 0.3 of their uncertainty: solved exactly three parts."""
    ohms = {(0, 1): off(4700, 0.3), (1, 2): off(120, 0.3), (0, 2): off(4820, -0.3)}
    read = ohms | {(j, i): value for (i, j), value in ohms.items()}
    found = fewest([0, 1, 2], read)
    assert [(i, j) for i, j, *_ in found] == [(0, 1), (1, 2)]
    for (_, _, ohm, u_ohm), true in zip(found, (4700, 120), strict=True):
        assert abs(ohm - true) <= u_ohm
        assert u_ohm <= 0.1 + 0.0101 * true


def test_three_equal_resistors_in_a_ring_are_three() -> None:
    """Oracle: networkx `resistance_distance`."""
    graph: nx.Graph[int] = nx.Graph()
    for a, b in ((0, 1), (1, 2), (0, 2)):
        graph.add_edge(a, b, ohm=300.0)
    distances: Any = nx.resistance_distance(graph, weight="ohm")
    read = {(a, b): off(distances[a][b], 0.0) for a in range(3) for b in range(3) if a != b}
    assert [ohm for *_, ohm, _ in fewest([0, 1, 2], read)] == pytest.approx([300.0] * 3)


def both_ways(a: int, b: int, there: float | None, back: float | None) -> list[Read]:
    one, other = NODES[a][0], NODES[b][0]
    return [
        Read(one, other, there, 0.1 + 0.01 * (there or 0.0)),
        Read(other, one, back, 0.1 + 0.01 * (back or 0.0)),
    ]


def test_a_coil_of_which_one_way_reads_a_twentieth_less_has_a_diode_across_it() -> None:
    found, asked = parts_between(NODES, both_ways(0, 1, 80.0, 84.0), [Read(NODES[0][0], NODES[1][0], 0.62)])
    assert [(part.ohm, part.one_way, part.a) for part in found] == [
        (84.0, False, NODES[0][0]),
        (None, True, NODES[0][0]),
    ]
    assert asked == ()
    same, _ = parts_between(NODES, both_ways(0, 1, 84.0, 84.8), [])
    (part,) = same
    assert part.ohm == pytest.approx(84.8)
    assert not part.one_way


def test_a_part_beyond_another_that_is_less_than_its_uncertainty_is_asked_about() -> None:
    """82 kΩ behind 12 Ω: to either end of the 12 Ω it reads the same to a meter of ±1 %."""
    chain = [*both_ways(0, 1, 12.0, 12.0), *both_ways(1, 2, 82_000.0, 82_010.0)]
    chain += both_ways(0, 2, 82_000.0, 82_012.0)
    _, asked = parts_between(NODES, chain, [])
    assert len(asked) == 1
    assert all(str(net[0]) in asked[0] for net in NODES[:3])
    told = [
        *both_ways(0, 1, 5000.0, 5000.0),
        *both_ways(1, 2, 820.0, 820.0),
        *both_ways(0, 2, 5820.0, 5820.0),
    ]
    assert parts_between(NODES, told, [])[1] == ()


def test_capacitors_in_a_row_are_no_third_one_between_their_ends() -> None:
    """100 nF and 50 nF in a row: a third of a hundred nanofarads between the ends; what is small is wire."""
    a, b, c, d = (net[0] for net in NODES)
    farads = [
        Read(a, b, 100e-9, 1e-9),
        Read(b, c, 50e-9, 5e-10),
        Read(a, c, 33.3e-9, 3e-10),
        Read(a, d, 3e-9, 1e-10),
    ]
    found = list(capacitors_between(NODES, farads))
    assert [(part.a, part.b) for part in found] == [(a, b), (b, c)]
    assert [part.farad for part in found] == pytest.approx([100e-9, 50e-9], rel=0.01)
    small = [Read(a, b, 100e-9, 1e-9), Read(b, c, 11e-9, 1e-10)]  # in a row under what counts
    assert len(list(capacitors_between(NODES, small))) == 2


def loom(*parts: tuple[ComponentKind, float | None]) -> Loom:
    """Return a plug of which each two cavities have a part between them, and two more a wire."""
    count = 2 * len(parts) + 2
    plug = Connector("A", ConnectorKind.PLUG, (tuple(map(str, range(1, count + 1))),), hazard=Hazard.NONE)
    components = []
    for k, (kind, value) in enumerate(parts):
        a, b = End("A", str(2 * k + 1)), End("A", str(2 * k + 2))
        names = ("A", "K") if kind is ComponentKind.DIODE else ("1", "2")
        field = {ComponentKind.CAPACITOR: "capacitance_f", ComponentKind.DIODE: "forward_v"}
        values: Any = {field.get(kind, "resistance_ohm"): value}
        components.append(Component(f"X{k}", kind, ((names[0], a), (names[1], b)), **values))
    wire = Wire("W1", End("A", str(count - 1)), End("A", str(count)), csa_mm2=0.5, length_m=1.0)
    return Loom("parts", connectors=(plug,), wires=(wire,), components=tuple(components))


def test_each_kind_is_told_as_far_as_the_bench_can_and_else_asked_about() -> None:
    described = loom(
        (ComponentKind.RESISTOR, 1000.0),
        (ComponentKind.COIL, 30.0),
        (ComponentKind.CAPACITOR, 220e-9),
        (ComponentKind.CAPACITOR, 4.7e-6),
        (ComponentKind.DIODE, 0.65),
        (ComponentKind.FUSE, None),
    )
    found, _ = traced(described, 1, farads=True)
    order = {end: k for k, end in enumerate(described.cavities, start=1)}
    said = loom_of(found, "found", order)
    kinds = {part.ends: part for part in said.components}
    ends = [End("A", str(k)) for k in range(1, 13)]
    assert kinds[ends[0], ends[1]].kind is ComponentKind.RESISTOR
    assert kinds[ends[4], ends[5]].capacitance_f == pytest.approx(220e-9, rel=0.02)
    assert kinds[ends[8], ends[9]].kind is ComponentKind.DIODE
    assert any({ends[10], ends[11]} == set(net) for net in found.nets), "a fuse reads as wire"
    asked = list(questions_of(found, said))
    assert any("A:7 and A:8" in text and "more than this bench reads" in text for text in asked)
    (coil,) = [text for text in asked if "from A:3 to A:4" in text]
    assert "A coil reads as a resistor does" in coil
    assert "the meter puts no more than 0.3 V on it" in coil
    (resistor,) = [text for text in asked if "from A:1 to A:2" in text]
    assert "no more than" not in resistor
    assert any("a fuse or a link" in text for text in asked)


def test_what_hook_ups_never_read_themselves_is_bounded_by_a_sum_of_readings() -> None:
    from loomproof.measuring.trace import Seen
    from loomproof.measuring.traced_readings import reader

    a, b, c, d = (net[0] for net in NODES)
    seen = (
        Seen(((a, b), (d,)), (Read(a, b, 0.2, 0.1),), tuple(both_ways(0, 3, 100.0, 101.0))),
        Seen(((b, c),), (Read(b, c, 0.3, 0.1),)),
    )
    read = reader(seen)
    assert list(read(a, c)) == pytest.approx([0.5, 0.2])
    assert read(c, d)[0] == pytest.approx(100.5)
    assert not [pair for pair in combinations((a, b, c), 2) if read(*pair)[0] > 0.6]

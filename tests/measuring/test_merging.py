"""Hook-ups put together: what one saw joined is joined, contradictions and gaps are told."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.diagnosis import explain
from loomproof.electrics.expectation import expect
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire
from loomproof.measuring.merge_hookups import merged_measured, never_met
from loomproof.results.measured import Decision, Judged, Measured


def loom_of(points: int, nets: Sequence[int]) -> Loom:
    connectors = tuple(Connector(f"C{k}", ConnectorKind.PLUG, (("1",),)) for k in range(points))
    wires: list[Wire] = []
    for net in nets:
        ends = [End(f"C{k}", "1") for k in range(points) if net >> k & 1]
        wires += [Wire(f"W{len(wires) + k}", a, b) for k, (a, b) in enumerate(itertools.pairwise(ends))]
    return Loom("m", connectors=connectors, wires=tuple(wires))


def ends(mask: int) -> frozenset[End]:
    return frozenset(End(f"C{k}", "1") for k in range(mask.bit_length()) if mask >> k & 1)


def part(hooked: int, expected: Sequence[int], found: Sequence[int]) -> Measured:
    return Measured(
        tuple(ends(net & hooked) for net in expected if net & hooked),
        tuple(ends(net & hooked) for net in found if net & hooked),
        complete=True,
    )


@given(st.data(), st.integers(3, 8))
@settings(max_examples=150, deadline=None)
def test_merging_is_what_the_hook_ups_imply_and_no_more(data: st.DataObject, points: int) -> None:
    """Oracle: networkx, a graph with an edge for each two cavities that a hook-up saw as one."""
    label = st.lists(st.integers(0, 3), min_size=points, max_size=points)

    def partition(labels: list[int]) -> list[int]:
        return [m for v in range(4) if (m := sum(1 << k for k, x in enumerate(labels) if x == v))]

    expected, actual = partition(data.draw(label)), partition(data.draw(label))
    hooked = data.draw(st.lists(st.integers(1, (1 << points) - 1), min_size=2, max_size=4))
    parts = [part(mask, expected, actual) for mask in hooked]
    merged = merged_measured(expect(loom_of(points, expected)), parts)
    graph: nx.Graph[End] = nx.Graph()
    for each in parts:
        for group in each.groups:
            nx.add_path(graph, sorted(group))
    assert set(merged.groups) == {frozenset(found) for found in nx.connected_components(graph)}
    assert not merged.unstable, "one loom that holds still contradicts itself nowhere"
    for a, b in never_met(merged.expected, merged.groups, parts):
        assert not any(a & ends(mask) and b & ends(mask) for mask in hooked)


def test_hook_ups_that_contradict_each_other_show_a_contact_that_comes_and_goes() -> None:
    expected = [0b111]
    parts = [part(0b011, expected, [0b011]), part(0b110, expected, [0b110]), part(0b101, expected, [1, 4])]
    merged = merged_measured(expect(loom_of(3, expected)), parts)
    assert merged.unstable
    assert not merged.sound


def test_the_worst_of_two_readings_of_one_pair_is_kept() -> None:
    expected = [0b11]
    good = Judged(End("C0", "1"), End("C1", "1"), 0.1, 0.01, 0.1, 0.2, Decision.PASS)
    bad = replace(good, a=good.b, b=good.a, measured_ohm=4.7, decision=Decision.FAIL)
    one = part(0b11, expected, expected)
    for readings in ((good, bad), (bad, good)):
        parts = [replace(one, judged=(reading,)) for reading in readings]
        assert merged_measured(expect(loom_of(2, expected)), parts).judged == (bad,)


@pytest.mark.parametrize(
    ("checks", "vouched"),
    [
        (("R1", "R1"), "R1"),
        (("R1", "R2"), "R1; R2"),
        (("R1", ""), ""),
        (("", "R1"), ""),
        (("R1", None), "R1"),
    ],
)
def test_what_vouches_for_the_meter_in_one_hook_up_says_nothing_of_another(
    checks: tuple[str | None, ...], vouched: str
) -> None:
    expected = (0b01, 0b10)
    read = Judged(End("C0", "1"), End("C0", "2"), 0.1, 0.0, 0.1, 0.2, Decision.PASS)
    parts = [
        replace(
            part(0b11, expected, expected), judged=() if told is None else (read,), meter_check=told or ""
        )
        for told in checks
    ]
    assert merged_measured(expect(loom_of(2, expected)), parts).meter_check == vouched


def test_pieces_that_never_met_are_told() -> None:
    expected = [0b1111]
    loom = loom_of(4, expected)
    parts = [part(0b0011, expected, [1, 2, 4, 8]), part(0b1100, expected, [1, 2, 4, 8])]
    merged = merged_measured(expect(loom), parts)
    assert any("C0:1 and C2:1" in note and "not known" in note for note in merged.notes)


def test_points_are_carried_so_that_a_dead_board_is_told_over_several_hook_ups() -> None:
    """Ten wires from C0…C9 to C10…C19, in two hook-ups; points 1 to 8 are a board that is dead."""
    wires = [1 << k | 1 << (k + 10) for k in range(10)]
    dead = (1 << 8) - 1
    found = [mask for k in range(20) if (mask := 1 << k) & (dead | dead << 10)] + wires[8:]
    points = tuple((End(f"C{k}", "1"), k + 1) for k in range(20))
    halves = (0b0000011111_0000011111, 0b1111100000_1111100000)
    parts = [
        replace(part(half, wires, found), points=tuple(points[k] for k in range(20) if half >> k & 1))
        for half in halves
    ]
    loom = loom_of(20, wires)
    merged = merged_measured(expect(loom), parts)
    assert sorted(merged.points) == sorted(points)
    (finding,) = explain(loom, merged)
    assert finding.cause == "adapter_board"


def test_a_cavity_on_another_point_in_another_hook_up_says_nothing_of_either() -> None:
    one = replace(part(0b11, [0b11], [0b11]), points=((End("C0", "1"), 1), (End("C1", "1"), 2)))
    other = replace(one, points=((End("C0", "1"), 1), (End("C1", "1"), 9)))
    assert merged_measured(expect(loom_of(2, [0b11])), [one, other]).points == ((End("C0", "1"), 1),)

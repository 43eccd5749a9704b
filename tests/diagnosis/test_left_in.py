"""Parts that the description says are out, seen in their place: worked out by hand on the small loom."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.model import Component, ComponentKind, Loom, end_of
from loomproof.results.findings import Finding
from loomproof.results.measured import Decision, JudgedDiode, Measured, Path
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets


def part(kind: ComponentKind, ohm: float | None = None, *, fitted: bool = False, **ends: str) -> Component:
    terminals = tuple((name.removeprefix("t"), end_of(text)) for name, text in ends.items())
    return Component("X1", kind, terminals, ohm, 10.0, fitted=fitted)


FUSE = part(ComponentKind.FUSE, t1="A:2", t2="A:3")
RELAY = part(ComponentKind.RELAY, 80.0, t85="A:2", t86="A:3")
CHANGEOVER = part(ComponentKind.RELAY, 80.0, t30="A:2", t87a="A:3", t85="A:5", t86="A:4")


def found(
    loom: Loom, *groups: str, leaks: tuple[Path, ...] = (), senses: bool = False
) -> tuple[Finding, ...]:
    named = nets(*groups)
    rest = tuple(net for net in EXPECTED if not any(net & group for group in named))
    reads = 0 if senses else 9
    return explain(
        loom,
        Measured(
            EXPECTED, (*named, *rest), complete=True, leaks=leaks, sense_vectors=9, resistance_readings=reads
        ),
    )


def with_part(one: Component, *more: Component) -> Loom:
    return replace(LOOM, components=(one, *more))


JOINED = "A:2 B:2 A:3 B:3"


@pytest.mark.parametrize("one", [FUSE, CHANGEOVER])
def test_what_joins_two_conductors_is_named_before_a_short(one: Component) -> None:
    (finding,) = found(with_part(one), JOINED)
    assert (finding.cause, finding.components) == ("left_in", ("X1",))
    assert finding.alternatives[0].cause == "touching"


def test_a_part_that_belongs_in_explains_no_short() -> None:
    (finding,) = found(with_part(replace(RELAY, fitted=True)), JOINED)
    assert finding.cause == "touching"


def test_a_coil_joins_only_for_a_bench_without_ohms() -> None:
    (sensed,) = found(with_part(RELAY), JOINED, senses=True)
    assert sensed.cause == "left_in"
    (measured,) = found(with_part(RELAY), JOINED)
    assert measured.cause == "touching"


@pytest.mark.parametrize(("ohm", "first"), [(80.0, "left_in"), (88.9, "left_in"), (120.0, "added_part")])
def test_a_coil_is_named_first_where_it_reads_so(ohm: float, first: str) -> None:
    """80 Ω ± 10 % with 0.1 Ω and 1 Ω of wires: up to 89.1 Ω."""
    leak = Path(end_of("A:2"), end_of("A:3"), ohm, 0.1)
    (finding,) = found(with_part(RELAY), leaks=(leak,))
    assert finding.cause == first
    assert {"left_in", "added_part"} <= {finding.cause, *(other.cause for other in finding.alternatives)}


def test_a_dead_short_across_a_diode_is_no_coil() -> None:
    diode = Component("D1", ComponentKind.DIODE, (("A", end_of("A:2")), ("K", end_of("A:3"))))
    causes = []
    for backward in (0.80, 0.001):
        read = JudgedDiode("D1", end_of("A:2"), end_of("A:3"), 0.6, backward, "V", Decision.FAIL, False)
        measured = Measured(EXPECTED, EXPECTED, complete=True, diodes=(read,))
        (finding,) = explain(with_part(RELAY, diode), measured)
        causes.append(finding.cause)
    assert causes == ["left_in", "shorted_part"]


def test_a_fuse_left_in_beside_a_short_is_pulled_first() -> None:
    (finding,) = found(with_part(FUSE), "A:2 B:2 A:3 B:3 A:5 C:2")
    assert finding.cause == "touching"
    assert "X1 is in" in finding.repair[0]

"""Several leaks with one plug in common: which plug, by hand on small looms."""

from __future__ import annotations

from itertools import combinations

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.model import Circuit, End, Loom, Wire, ends_of
from loomproof.results.findings import Finding
from loomproof.results.measured import Measured, Path
from tests.diagnosis.injector import Bench
from tests.diagnosis.test_wiring_faults import plug


def loom_of(**plugs: str) -> Loom:
    """Wires w from P:w to a plug of its own, and Q where it holds the same number."""
    connectors = [plug(name, *rows.split("/")) for name, rows in plugs.items()]
    first = connectors[0]
    wires = []
    for name in first.cavities:
        far = [one for one in connectors[1:] if name in one.cavities]
        connectors.append(plug(f"X{name}", "1"))
        ends = [End(one.name, name) for one in far] + [End(f"X{name}", "1")]
        wires += [Wire(f"W{name}{k}", End(first.name, name), end) for k, end in enumerate(ends)]
    return Loom("wet", connectors=tuple(connectors), wires=tuple(wires))


def told(loom: Loom, *leaks: str, ohm: float = 50_000.0) -> tuple[Finding, ...]:
    whole = Bench(loom).build()
    ends = [ends_of(leak) for leak in leaks]
    paths = tuple(Path(a, b, ohm + k, 10.0) for k, (a, b) in enumerate(ends))
    return explain(loom, Measured(whole, whole, complete=True, leaks=paths))


TWO_ROWS = loom_of(P="1 2 3/4 5 6")


@pytest.mark.parametrize(
    ("leaks", "count"),
    [
        (("P:1 P:2",), 1),
        (("P:1 P:2", "P:2 P:3"), 1),
        (("P:1 P:4", "P:5 P:6"), 1),
        (("P:1 P:3", "P:4 P:6"), 2),
        (("P:1 P:2", "P:4 P:6"), 2),
        (("P:1 P:3", "P:4 P:6", "P:2 P:6"), 1),
        (("P:1 P:2", "P:3 P:5", "P:4 P:6"), 1),
    ],
)
def test_two_leaks_of_neighbours_or_three_of_any_are_the_plug(leaks: tuple[str, ...], count: int) -> None:
    """1 2 3 above 4 5 6."""
    found = told(TWO_ROWS, *leaks)
    assert len(found) == count
    if count == 1 and len(leaks) > 1:
        (finding,) = found
        assert finding.title.endswith(": water or dirt in P")
        assert finding.cost == float(len(leaks))
        assert set(finding.cavities) == {end for leak in leaks for end in ends_of(leak)}
        assert [one.measured_ohm for one in finding.evidence] == [50_000.0 + k for k in range(len(leaks))]
        alone = [other for other in finding.alternatives if other.text.endswith("by itself")]
        assert len(alone) == len(leaks)
        assert not any("Prove the whole loom" in step for other in alone for step in other.repair)
        assert finding.places[0] == "P, all of its cavities"


def test_a_leak_of_conductors_with_several_cavities_may_be_between_any_two_of_them() -> None:
    """P:1 and P:6 are one net: from there to P:2 and to P:4 may leak beside P:1, though P:6 lies far."""
    loom = Loom(
        "two cavities",
        connectors=(plug("P", "1 2 3", "4 5 6"), plug("X", "1"), plug("Y", "1")),
        wires=(
            Wire("W1", End("P", "1"), End("P", "6")),
            Wire("W2", End("P", "2"), End("X", "1")),
            Wire("W3", End("P", "4"), End("Y", "1")),
        ),
    )
    (finding,) = told(loom, "P:1 P:2", "P:1 P:4")
    assert finding.title.endswith("water or dirt in P")


def test_added_parts_are_no_water() -> None:
    assert len(told(TWO_ROWS, "P:1 P:2", "P:2 P:3", ohm=500.0)) == 2


def test_the_plug_where_they_lie_side_by_side_comes_first() -> None:
    """In P (1 2 3 above 4 5 6) 1 and 6, 3 and 4 lie apart; in Q (1 6 above 3 4) side by side."""
    loom = loom_of(P="1 2 3/4 5 6", Q="1 6/3 4")
    (finding,) = told(loom, "P:1 P:6", "P:3 P:4")
    assert finding.title.endswith("water or dirt in Q")
    (also,) = [other for other in finding.alternatives if "in common as well" in other.text]
    assert also.text.startswith("water or dirt in P")
    assert set(also.cavities) == set(ends_of("P:1 P:6 P:3 P:4"))
    assert also.tell_apart == "Unplug Q, dry and clean it, and measure again; then P."


def test_of_plugs_alike_the_smaller_comes_first() -> None:
    for q, first in (("1 2 3", "Q"), ("1 2 3 7 8 9 10", "P")):
        (finding,) = told(loom_of(P="1 2 3/4 5 6", Q=q), "P:1 P:2", "P:2 P:3")
        assert finding.title.endswith(f"water or dirt in {first}")


def test_the_plug_that_most_share_comes_first_and_the_rest_stay() -> None:
    """Three leaks lie in P, two of them in Q as well, where 1 2 3 are neighbours."""
    loom = loom_of(P="1 2 3 4 5 6", Q="1 2 3")
    (finding,) = told(loom, "P:1 P:2", "P:2 P:3", "P:5 P:6")
    assert finding.title.endswith("water or dirt in P")
    assert not any("as well" in other.text for other in finding.alternatives)
    assert finding.cost == 3.0


def test_two_wet_plugs_are_two_findings() -> None:
    loom = Loom(
        "two wet",
        connectors=(plug("P", "1 2 3"), plug("Q", "1 2 3"), *(plug(f"X{k}", "1") for k in range(6))),
        wires=tuple(
            Wire(f"W{k}", End(name, cavity), End(f"X{k}", "1"))
            for k, (name, cavity) in enumerate([(name, c) for name in "PQ" for c in "123"])
        ),
    )
    leaks = [f"{name}:{a} {name}:{b}" for name in "PQ" for a, b in (("1", "2"), ("2", "3"))]
    found = told(loom, *leaks)
    assert not any("as well" in other.text for finding in found for other in finding.alternatives)
    assert [finding.title.rpartition(" ")[2] for finding in found] == ["P", "Q"]
    assert [finding.cost for finding in found] == [2.0, 2.0]


def test_what_a_wet_plug_joins_is_warned_of_once() -> None:
    """Terminal 30 and 31 (DIN 72552) lie beside each other, and a signal beside them."""
    circuits = (Circuit("feed", "", "30"), Circuit("earth", "", "31"), Circuit("signal"))
    loom = Loom(
        "supplies",
        connectors=(plug("P", "1 2 3"), *(plug(f"X{k}", "1") for k in (1, 2, 3))),
        wires=tuple(
            Wire(f"W{k}", End("P", str(k)), End(f"X{k}", "1"), circuit=circuit.name)
            for k, circuit in enumerate(circuits, start=1)
        ),
        circuits=circuits,
    )
    (finding,) = told(loom, "P:1 P:2", "P:2 P:3")
    assert len([text for text in finding.cautions if "a feed is joined to earth" in text]) == 1
    assert len([text for text in finding.cautions if text.startswith("Battery off")]) == 1
    assert len(finding.cautions) == 2


def test_leaks_between_plugs_have_no_plug_in_common() -> None:
    loom = Loom(
        "between",
        connectors=tuple(plug(name, "1") for name in "ABCDEF"),
        wires=tuple(Wire(f"W{a}", End(a, "1"), End(b, "1")) for a, b in ("AB", "CD", "EF")),
    )
    pairs = list(combinations(("A:1", "C:1", "E:1"), 2))
    assert len(told(loom, *(" ".join(pair) for pair in pairs))) == 3

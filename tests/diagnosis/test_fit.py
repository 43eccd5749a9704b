"""Which joint the ohms fit: readings of a ring with one bad joint, worked out by networkx."""

from __future__ import annotations

import math
from itertools import combinations
from typing import Any

import networkx as nx
import pytest

from loomproof.diagnosis.fit import Place, as_near, misfits
from loomproof.electrics.expectation import Expectation, expect
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire, end_of
from loomproof.results.measured import Decision, Judged
from tests.diagnosis.test_wiring_faults import plug

LOOM = Loom(
    "ring",
    connectors=(*(plug(name, "1") for name in "ABC"), Connector("S", ConnectorKind.SPLICE)),
    wires=tuple(
        Wire(f"W{k}", end_of(a), end_of(b), "RD", 0.5, length_m)
        for k, (a, b, length_m) in enumerate(
            (("A:1", "B:1", 3.0), ("B:1", "S", 2.0), ("S", "C:1", 4.0), ("S", "A:1", 5.0)), start=1
        )
    ),
)
PLACES = {
    **{name: Place(conductors=frozenset({name})) for name in ("W1", "W2", "W3", "W4")},
    "S": Place(splice=End("S")),
    "A:1": Place(contact=end_of("A:1")),
    "B:1": Place(contact=end_of("B:1")),
    "C:1": Place(contact=end_of("C:1")),
}


def readings(expectation: Expectation, bad: str, ohm: float) -> list[Judged]:
    """Return what each pair reads with so many ohms more at one place."""
    graph: nx.MultiGraph[Any] = nx.MultiGraph()
    for a, b, conductor in expectation.conductors[0]:
        more = ohm if conductor.name == bad else ohm / 2 if bad == "S" and End("S") in (a, b) else 0.0
        graph.add_edge(a, b, ohm=conductor.nominal_ohm + more)
    found = []
    for a, b in combinations(LOOM.cavities, 2):
        way: Any = nx.resistance_distance(graph, a, b, weight="ohm")
        read = float(way) + expectation.contacts_ohm(a, b) + (ohm if bad in (str(a), str(b)) else 0.0)
        expected = expectation.between(a, b).expected_ohm
        found.append(Judged(a, b, read, 0.02 + 0.1 * ohm, expected, 1.0, Decision.FAIL))
    return found


@pytest.mark.parametrize("bad", PLACES)
@pytest.mark.parametrize("ohm", [1.0, 8.0])
def test_ohms_fit_best_where_they_are(bad: str, ohm: float) -> None:
    expectation = expect(LOOM)
    found = misfits(expectation, list(PLACES.values()), readings(expectation, bad, ohm))
    fit = dict(zip(PLACES, found, strict=True))
    # Ohms are tried in steps of 8 %: half a step off is 4 % of them, less than a deviation of 5 %.
    assert fit[bad] < 2.0
    assert fit[bad] <= min(found) + 1.0
    # C:1 is reached through W3 alone, so that no ohms elsewhere read so.
    if bad == "W3" and ohm > 1.0:
        assert fit["W1"] > fit[bad] + 1.0
    # C:1 hangs on W3 alone: its contact and its wire are one to every reading.
    if bad in ("W3", "C:1"):
        assert fit["W3"] == pytest.approx(fit["C:1"], abs=0.5)
    near = dict(zip(PLACES, as_near(found), strict=True))
    assert near[bad]


def test_a_misfit_is_counted_in_standard_deviations() -> None:
    """A sound ring read 30 % too high throughout: each reading is 30 over hypot(20 %, U/2) deviations off."""
    expectation = expect(LOOM)
    sound = readings(expectation, "", 0.0)
    (off,) = misfits(expectation, [Place()], sound)
    assert off == pytest.approx(0.0, abs=1e-9)
    high = [
        Judged(j.a, j.b, 1.3 * j.measured_ohm, j.uncertainty_ohm, j.expected_ohm, 1.0, Decision.PASS)
        for j in sound
    ]
    (off,) = misfits(expectation, [Place()], high)
    assert off == pytest.approx(
        sum((0.3 * j.expected_ohm / math.hypot(0.2 * j.expected_ohm, 0.01)) ** 2 for j in sound), rel=1e-6
    )


@pytest.mark.parametrize(
    ("misfit", "near"),
    [([], []), ([7.0], [True]), ([1.0, 5.0, 5.1], [True, True, False]), ([9.0, 2.0], [False, True])],
)
def test_what_fits_about_as_well_stays(misfit: list[float], near: list[bool]) -> None:
    assert as_near(misfit) == near

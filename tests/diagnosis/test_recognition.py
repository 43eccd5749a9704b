"""Random faults in random looms: each is named, or stands among what no reading can tell from it."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest

from loomproof.diagnosis import explain
from loomproof.diagnosis.weights import weights
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire
from loomproof.results.findings import Finding
from loomproof.results.measured import Measured
from tests.diagnosis.injector import Bench, Injected, random_faults, random_loom
from tests.diagnosis.told import is_told

COST = {
    "open": weights().open_wire,
    "contact": weights().open_contact,
    "short": weights().short,
    "swap": weights().swap,
    "move": weights().swap,
    "splice": weights().open_splice,
    "fuse": weights().blown_fuse,
    "exchange": weights().exchange_alike,
    "mirror": weights().whole_connector,
    "rotate": weights().whole_connector,
    "cycle": weights().whole_connector,
    "shift": weights().whole_connector,
}


def findings_of(loom: Loom, faults: Sequence[Injected]) -> tuple[Finding, ...]:
    bench = Bench(loom)
    return explain(loom, Measured(bench.build(), bench.build(faults), complete=True))


def visible(loom: Loom, faults: Sequence[Injected]) -> list[Injected]:
    """Return the faults without which other nets would be found."""
    bench = Bench(loom)
    found = set(bench.build(faults))
    return [fault for fault in faults if set(bench.build([f for f in faults if f is not fault])) != found]


@pytest.mark.parametrize(("count", "looms", "share"), [(1, 200, 0.995), (2, 80, 0.97), (5, 80, 0.97)])
def test_faults_are_told(count: int, looms: int, share: float) -> None:
    told, asked, dear = 0, 0, []
    for seed in range(looms):
        rng = random.Random(f"{count}/{seed}")
        loom = random_loom(rng, rng.randint(20, 150))
        faults = random_faults(rng, loom, count)
        seen = visible(loom, faults)
        found = findings_of(loom, faults)
        if not seen and count == 1:
            assert found == ()  # an open beside a parallel wire, a swap inside one net
            continue
        asked += 1
        told += all(is_told(fault, found, loom) for fault in seen)
        if round(sum(finding.cost or 0.0 for finding in found) * 1000) > sum(
            COST[fault.kind] for fault in faults
        ):
            dear.append(seed)
    assert not dear, "explanations that cost more than what was injected"
    assert told >= share * asked, f"{told} of {asked}"


def hub(size: int) -> Loom:
    """Return two look-alike plugs wired to a hub, so that either can be told from the other."""
    names = tuple(str(i) for i in range(1, size + 1))
    # Rows of one length: left fits right then.
    rows = (names,) if size < 8 or size % 2 else (names[: size // 2], names[size // 2 :])
    plugs = [Connector(name, ConnectorKind.PLUG, rows, housing="same") for name in ("P", "Q")]
    hubs = [Connector(name, ConnectorKind.PLUG, (names,)) for name in ("HP", "HQ")]
    other = Connector("Z", ConnectorKind.PLUG, (("1", "2", "3", "4"),))
    wires = [
        Wire(f"{plug}{cavity}", End(plug, cavity), End(f"H{plug}", cavity))
        for plug in "PQ"
        for cavity in names
    ]
    # The hubs are wired on to one another's order by nothing; Z carries the other faults.
    wires += [Wire("Z1", End("Z", "1"), End("Z", "2")), Wire("Z2", End("Z", "3"), End("Z", "4"))]
    return Loom("hub", connectors=(*plugs, *hubs, other), wires=tuple(wires))


@pytest.mark.parametrize("size", [3, 4, 5, 8, 13, 24, 40, 60])
@pytest.mark.parametrize("kind", ["exchange", "mirror", "rotate", "cycle", "shift"])
@pytest.mark.parametrize("others", [False, True])
def test_whole_connectors(size: int, kind: str, others: bool) -> None:
    loom = hub(size)
    whole = Injected(kind, connectors=("P", "Q") if kind == "exchange" else ("P",))
    faults = [whole]
    if others:
        faults += [Injected("open", wires=("Z1",)), Injected("short", (End("Q", "1"), End("Q", "2")))]
    found = findings_of(loom, faults)
    named = [f for f in found if f.cause in ("exchanged", "mirrored", "rotated", "shifted")]
    told = [
        *named,
        *(a for f in found for a in f.alternatives if a.cause in ("exchanged", "mirrored", "rotated")),
    ]
    assert named or size == 3, [f.title for f in found]
    assert is_told(whole, found, loom), [f.title for f in found]
    assert told
    assert all(is_told(fault, found, loom) for fault in faults[1:])
    assert sum(finding.cost or 0.0 for finding in found) <= (3.7 if others else 1.7)


def test_a_wrong_loom_is_said_at_once() -> None:
    described = random_loom(random.Random(1), 150)
    bench = Bench(described)
    rng = random.Random(2)
    ends = list(described.cavities)
    rng.shuffle(ends)
    groups = tuple(frozenset(ends[i : i + 3]) for i in range(0, len(ends), 3))
    (finding,) = explain(described, Measured(bench.build(), groups, complete=True))
    assert finding.cause == "wrong_loom"


def test_a_loom_that_is_not_plugged_is_said_at_once() -> None:
    loom = random_loom(random.Random(1), 60)
    alone = tuple(frozenset({end}) for end in loom.cavities)
    (finding,) = explain(loom, Measured(Bench(loom).build(), alone, complete=True))
    assert finding.cause == "nothing_plugged"


def test_many_faults_in_a_big_loom_are_told() -> None:
    rng = random.Random(7)
    loom = random_loom(rng, 2000)
    faults = random_faults(rng, loom, 20)
    found = findings_of(loom, faults)
    seen = visible(loom, faults)
    assert sum(is_told(fault, found, loom) for fault in seen) >= 0.9 * len(seen)

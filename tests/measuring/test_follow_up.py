"""Further readings after a failure, on a bench of the tests' own with its network solved node by node."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pytest

from loomproof.bench.seam import WatchEvent
from loomproof.errors import UnfitError
from loomproof.results.measured import Measured
from tests.measuring.network_bench import Network, NetworkBench
from tests.measuring.test_run import Change, e
from tests.measuring.test_run import measured as measured_with


def measured(change: Change | None = None) -> Measured:
    return measured_with(change)[0]


def leak(a: str, b: str, ohm: float) -> Measured:
    def change(network: Network) -> None:
        network.ohms["leak"] = (e(a), e(b), ohm)

    return measured(change)


@pytest.mark.parametrize(
    ("a", "b"),
    [("C2:2", "C2:8"), ("C1:2", "C1:3"), ("C2:6", "C2:7"), ("C1:6", "C2:2"), ("C1:5", "C2:1")],
    ids=["behind resistors", "behind resistors, to a splice", "behind a diode", "both", "heads of both"],
)
def test_a_leak_is_read_at_the_two_conductors_that_it_joins(a: str, b: str) -> None:
    found = leak(a, b, 150e3)
    assert not found.one_way
    [path] = found.leaks
    home = {end: group for group in found.groups for end in group}
    assert {home[path.a], home[path.b]} == {home[e(a)], home[e(b)]}
    assert path.ohm == pytest.approx(150e3, rel=1e-3)


def test_a_leak_past_a_missing_part_is_not_lost() -> None:
    def change(network: Network) -> None:
        del network.ohms["R1"], network.ohms["R2"]
        network.ohms["leak"] = (e("C2:2"), e("C2:8"), 150e3)

    [path] = measured(change).leaks
    assert path.ohm == pytest.approx(150e3, rel=1e-3)
    assert {path.a, path.b} <= {e("C1:2"), e("C2:2"), e("C2:8")}


def test_a_crossed_contact_with_a_bad_wire_is_read_on_the_conductor_that_it_is_on() -> None:
    def change(network: Network) -> None:
        network.ohms["W9"] = (e("C1:7"), e("C2:8"), 12.0)
        a, _, ohm = network.ohms["W5"]
        network.ohms["W5"] = (a, e("C2:7"), ohm)

    found = measured(change)
    inside = {frozenset((path.a, path.b)): path.ohm for path in found.paths}
    assert inside[frozenset((e("C1:7"), e("C2:8")))] == pytest.approx(12.0, rel=1e-3)
    assert inside[frozenset((e("C1:3"), e("C2:7")))] == pytest.approx(0.1, rel=1e-3)


def test_a_sound_loom_asks_for_nothing_further() -> None:
    found = measured()
    assert not found.paths
    assert not found.leaks


def test_a_low_part_and_a_bad_joint_in_a_row_stay_one_conductor() -> None:
    """36 Ω and 20 Ω in a row are each below the bound of a conductor (47 Ω), their sum is not."""

    def change(network: Network) -> None:
        network.ohms["R1"] = (e("C1:1"), e("C1:2"), 36.0)
        del network.ohms["R2"]
        network.ohms["W1"] = (e("C1:1"), e("C2:1"), 20.0)
        network.ohms["short"] = (e("C1:2"), e("C1:7"), 0.05)

    found = measured(change)
    assert frozenset(map(e, ("C1:1", "C1:2", "C2:1", "C2:2", "C1:7", "C2:7"))) in found.groups


def test_a_part_between_nets_with_crossed_contacts_does_not_join_them() -> None:
    def change(network: Network) -> None:
        # What belongs in C2:7 is in E:1 and the other way round; a part of 150 Ω joins the two nets.
        network.ohms["W9"] = (e("C1:7"), e("E:1"), 0.05)
        network.ohms["W6"] = (e("S"), e("C2:7"), 0.05)
        network.ohms["part"] = (e("C1:7"), e("S"), 150.0)

    found = measured(change)
    assert frozenset(map(e, ("C1:7", "E:1"))) in found.groups
    assert frozenset(map(e, ("C1:3", "C2:3", "C2:4", "C2:7"))) in found.groups
    assert any(path.ohm == pytest.approx(150.0, rel=0.01) for path in found.leaks)


def test_what_lies_between_two_that_seemed_apart_joins_them() -> None:
    """C1:1 and C1:3 read 60 Ω, C2:3 between them 30 Ω from each: one conductor of bad joints (under 47 Ω)."""

    def change(network: Network) -> None:
        network.ohms["W4"] = (e("S"), e("C2:3"), 30.0)
        network.ohms["short"] = (e("C1:1"), e("C2:3"), 30.0)

    found = measured(change)
    assert frozenset(map(e, ("C1:1", "C2:1", "C1:3", "C2:3", "C2:4", "E:1"))) in found.groups


def test_a_watch_that_does_not_fit_is_shared_out_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[int, float]] = []
    heads: set[int] = set()
    whole = NetworkBench.watch

    def narrow(self: NetworkBench, sets: Sequence[int], seconds: float | None = None) -> Iterator[WatchEvent]:
        if len(sets) > 3:
            raise UnfitError("too many sets for one line")
        asked.append((len(sets), seconds or 0.0))
        heads.add(sets[0])
        yield from whole(self, sets, seconds)

    monkeypatch.setattr(NetworkBench, "watch", narrow)
    assert not measured_with(watch_s=4.0)[0].unstable
    assert len(heads) == 1
    assert sum(seconds for _, seconds in asked) == pytest.approx(4.0)
    assert len(asked) > 1

"""What shared feeds carry, by hand: the sum of their loads, or what the circuit states."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from loomproof.fitting.needs import plan_of
from loomproof.fitting.proof_status import standing_of
from loomproof.fitting.sharing import carried_by_wires, shared
from loomproof.fitting.voltage_drop import drops_of
from loomproof.loom.choices import answers_of, needs_of
from loomproof.loom.model import Loom, Need
from loomproof.results.fitting import DropRow
from tests.fitting.looms import demo


def amps(loom: Loom, *said: str) -> dict[str, float]:
    return carried_by_wires(loom, needs_of(loom, answers_of(loom, said)))


def stating(**loads: float | None) -> Loom:
    named = {name.replace("_", "-"): load for name, load in loads.items()}
    changed = {name: replace(demo().circuit_by_name[name], load_a=load) for name, load in named.items()}
    return demo(circuits=changed)


def feed_rows(loom: Loom) -> Mapping[str, DropRow]:
    rows = drops_of(loom, needs_of(loom), standing_of(loom, None), 80.0)
    return {row.circuit: row for row in rows if row.side == "feed"}


def test_feeds_of_the_demo_carry_what_they_state() -> None:
    """34, 17 and 3 A are stated; of the 3 A, 0.4 of the unused purge valve are not drawn. Coils and injectors
    add up to 12.3 A behind a feed of 9 A: it carries 9, a coil's own wire its 3, an injector's its 1.1."""
    found = amps(demo())
    wanted = {"W1": 34.0, "W2": 17.0, "W3": 17.0, "W6": 17.0, "W7": 2.6, "W8": 9.0, "W9": 6.5, "W11": 2.6,
              "W16": 0.5, "W18": 9.0, "W19": 1.1, "W22": 9.0, "W23": 3.0, "W27": 6.5, "W30": 17.0,
              "W32": 9.0}  # fmt: skip
    assert {name: found[name] for name in wanted} == pytest.approx(wanted)
    assert "W33" not in found, "no load lies behind the start signal"


def test_a_load_that_is_left_out_leaves_its_feed() -> None:
    """With a thermal switch for the fan: 17 A of the 34."""
    found = amps(demo(), "fan=switch")
    assert found["W1"] == found["W2"] == pytest.approx(17.0)
    assert "W30" not in found


def test_a_feed_that_states_nothing_carries_the_sum_of_what_lies_behind() -> None:
    """Three injectors of 1.1 A and three coils of 3 A."""
    found = amps(stating(injection_feed=None))
    assert found["W18"] == pytest.approx(12.3)
    assert found["W22"] == pytest.approx(9.0)
    assert found["W2"] == pytest.approx(17.0), "the main feed still states 17 A"
    all_silent = stating(injection_feed=None, main_feed=None, computer_feed=None, feed=None)
    assert amps(all_silent)["W1"] == pytest.approx(12.3 + 6.5 + 17.0 + 0.5)


def test_a_feed_that_states_more_than_its_loads_carries_that() -> None:
    """A feed stated with 40 A whose listed users draw 34: the rest is not listed, and counts. The purge valve
    (0.4 A) is listed and unused, so it does not."""
    assert amps(stating(feed=40.0))["W1"] == pytest.approx(39.6)
    idle = {**needs_of(demo()), "fan": Need.OPTIONAL}
    assert carried_by_wires(demo(), idle)["W1"] == pytest.approx(17.0), "what may be left out is not drawn"


def test_wires_side_by_side_carry_a_feed_together() -> None:
    """A second W1 of the same size: each half of 34 A."""
    twin = replace(demo().wire_by_name["W1"], name="W1b")
    found = amps(demo(wires=[twin]))
    assert (found["W1"], found["W1b"]) == pytest.approx((17.0, 17.0))


def test_a_row_says_what_it_takes_as_stated_and_as_sound() -> None:
    rows = feed_rows(demo())
    assert "injection-feed as stated, less than all users together" in rows["coil-1"].remark
    assert "as stated" not in rows["start"].remark
    assert "fuses, relay contacts and their seats are taken as sound" in rows["coil-1"].remark
    assert all("crimps, splices and contacts are taken as sound" in row.remark for row in rows.values())


def test_the_drop_of_the_fan_by_hand() -> None:
    """34 A through W1, 17 A from there on; copper of 58 MS/m times 1.065 at 80 °C (1.2358), half of each
    joint, contact and seat; F4 of 25 A, cold 2.52 mΩ, 92 mV at 25 A; K3 of 40 A: 5 mΩ and seats of 2 mΩ."""
    per_mm2 = 1.065 / 58.0 * 1.2358
    before = 34.0 * (0.9 / 10.0 * per_mm2 + 0.0003)
    wires = 17.0 * (1.35 / 4.0 * per_mm2 + 3 * 0.0005)
    fuse = 0.00252 + (0.092 / 25.0 - 0.00252) * (17.0 / 25.0) ** 2
    parts = 17.0 * (fuse + 0.002 + (0.005 + 0.004) / 2.0)
    assert feed_rows(demo())["fan"].drop_v == pytest.approx(before + wires + parts, rel=1e-4)


def test_every_drop_of_the_sound_model_loom_is_decided_and_within() -> None:
    rows = drops_of(demo(), needs_of(demo()), standing_of(demo(), None), 80.0)
    assert len(rows) == 21
    assert {row.decision for row in rows} == {"pass"}


def test_currents_flow_from_where_less_is_lost_to_where_more_is() -> None:
    """The sign is from ``a`` to ``b``; what is lost grows along the way (Ohm's law)."""
    needs = needs_of(demo())
    network, _ = shared(demo(), plan_of(demo(), needs), 20.0)
    pairs = [(e, a) for e, a in zip(network.edges, network.current_a, strict=True) if abs(a) > 1e-6]
    assert len(pairs) > 10
    for edge, current_a in pairs:
        assert (current_a > 0.0) is (network.lost_v[edge.b] > network.lost_v[edge.a]), edge.name

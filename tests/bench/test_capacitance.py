"""Capacitance over the link, and what leads add to it learned with nothing on them."""

from __future__ import annotations

import math
import statistics
from pathlib import Path

import pytest

from loomproof.bench.adapter import Adapter, in_order, read_adapter, table_of, write_adapter
from loomproof.bench.capability_report import read_capabilities
from loomproof.bench.opening import open_bench
from loomproof.bench.questions import Answer, Capacitance, Question
from loomproof.bench.seam import Capabilities, CapacitanceAccuracy, point_set, points_of
from loomproof.errors import AdapterError, UnfitError, UsageError
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire
from loomproof.measuring.zero import learn_farads, opened
from loomproof.virtual import constants as c
from loomproof.virtual.capacitance import profile_of
from loomproof.virtual.meter import FaradLimits
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.torture import FIXTURES
from tests.cleared import cleared_empty
from tests.cli.running import loomproof
from tests.memory_bench import MemoryBench

TAIL_LAMP = FIXTURES / "tail_lamp"
METER = FaradLimits(3e-12, 0.03, 1e-12)


def straight(lengths_m: list[float]) -> Loom:
    """Wires side by side, wire k from A:k to B:k."""
    names = tuple(str(k) for k in range(1, len(lengths_m) + 1))
    connectors = tuple(Connector(end, ConnectorKind.PLUG, (names,)) for end in "AB")
    wires = tuple(
        Wire(f"W{name}", End("A", name), End("B", name), csa_mm2=0.5, length_m=length_m, colour="BK")
        for name, length_m in zip(names, lengths_m, strict=True)
    )
    return Loom("straight", connectors=connectors, wires=wires)


def reading(it: Scanner, points: list[int]) -> float:
    """What the ideal meter reads of these points against all others, less what stands there by itself."""
    a = point_set(points)
    whole = (1 << it.make.points) - 1
    alone = Scanner(it.loom, it.make, seed=it.seed)
    alone.plug(False)
    stray = sum(
        alone.true_capacitance(one, whole & ~one, 0.0) for one in map(point_set, ([p] for p in points))
    )
    return it.true_capacitance(a, whole & ~a, 0.0) - stray


def test_a_wire_against_all_others_has_its_length() -> None:
    """C of a bundle of equal wires over their length is the constant of the simulator, within its wander."""
    loom = straight([2.0] * 20)
    it = Scanner(loom, Make(40, capacitance=METER), seed=3)
    found = [reading(it, [k, k + 20]) / 2.0 for k in range(1, 21)]
    # s² · 2λ/L of variance (a first-order process averaged over a length well above λ), and four of them
    spread = c.WIRE_F_PER_M * c.WANDER_RATIO * math.sqrt(2 * c.WANDER_M / 2.0)
    assert statistics.fmean(found) == pytest.approx(c.WIRE_F_PER_M, abs=4 * spread / math.sqrt(20))
    assert 0.3 * spread < statistics.stdev(found) < 2.0 * spread


@pytest.mark.parametrize("place_m", [0.0, 0.37, 1.4, 2.0])
def test_a_break_parts_it_where_it_is(place_m: float) -> None:
    """x = L · C_A / (C_A + C_B) within what wander does to it (telephone and cable practice)."""
    loom = straight([2.0] * 20)
    it = Scanner(loom, Make(40, capacitance=METER), faults=[f"open W4 at A:4 {place_m} m"], seed=5)
    near, far = reading(it, [4]), reading(it, [24])
    assert 2.0 * near / (near + far) == pytest.approx(place_m, abs=0.2)
    whole = reading(Scanner(loom, it.make, seed=5), [4, 24])
    assert near + far == pytest.approx(whole, rel=0.02)


def test_from_the_other_end_it_is_the_rest() -> None:
    loom = straight([2.0] * 20)
    one = Scanner(loom, Make(40), faults=["open W4 at A:4 0.5 m"], seed=1)
    other = Scanner(loom, Make(40), faults=["open W4 at B:4 1.5 m"], seed=1)
    assert reading(one, [4]) == pytest.approx(reading(other, [4]), rel=1e-6)
    with pytest.raises(UsageError, match="W4 is 2 m long"):
        Scanner(loom, Make(40), faults=["open W4 at A:4 2.5 m"])


def test_it_is_the_same_both_ways_but_for_what_is_at_zero_volts() -> None:
    """Between conductors it is symmetric; what points and leads have to the bench is the read side's."""
    loom = straight([1.0, 2.0, 3.0, 1.5])
    it = Scanner(loom, Make(8, capacitance=METER), seed=2)
    a, b = point_set([1, 5]), point_set([3, 7])
    there, back = (it.true_capacitance(p, q, 0.0) for p, q in ((a, b), (b, a)))
    alone = Scanner(loom, it.make, seed=2)
    alone.plug(False)
    strays = [
        sum(alone.true_capacitance(1 << (p - 1), 255 & ~(1 << (p - 1)), 0.0) for p in points_of(side))
        for side in (a, b)
    ]
    # The floating conductors lead to 0 V as well, and more so on the side that couples more to them.
    assert there - strays[0] == pytest.approx(back - strays[1], rel=0.6)
    assert there < it.true_capacitance(a, 255 & ~a, 0.0)


def test_what_conducts_does_not_settle() -> None:
    it = Scanner(straight([1.0, 1.0]), Make(4, capacitance=METER), faults=["leak 100k A:1 A:2"])
    assert math.isnan(it.capacitance(1, 2, 0.0))
    assert math.isnan(it.capacitance(1, 4, 0.0))


def test_a_capacitor_in_the_loom_is_in_it() -> None:
    plain = Scanner(straight([1.0, 1.0]), Make(4), seed=1)
    more = Scanner(straight([1.0, 1.0]), Make(4), seed=1, faults=["capacitance 1n A:1"])
    grown = more.true_capacitance(1, 2, 0.0) - plain.true_capacitance(1, 2, 0.0)
    assert grown == pytest.approx(1e-9, rel=0.1)


def test_the_meter_keeps_its_limits_and_its_spread() -> None:
    it = Scanner(straight([2.0, 2.0]), Make(4, capacitance=METER), seed=4)
    true = it.true_capacitance(1, 10, 0.0)
    read = [it.capacitance(1, 10, 0.0) for _ in range(400)]
    assert statistics.stdev(read) == pytest.approx(METER.spread, rel=0.15)
    assert all(abs(value - true) <= METER.farad + METER.ratio * true + 3 * METER.spread for value in read)


def test_a_wire_profile_adds_up() -> None:
    profile = profile_of("W1", 1.3, 100e-12, 7)
    assert profile.up_to(0.0) == 0.0
    assert profile.up_to(1.3) == pytest.approx(profile.farad)
    steps = [profile.up_to(k * 0.013) for k in range(101)]
    assert steps == sorted(steps)
    assert profile_of("W1", 1.3, 100e-12, 7) == profile
    assert profile_of("W2", 1.3, 100e-12, 7) != profile


@pytest.mark.parametrize("length_m", [0.5, 2.0])
def test_picofarads_wander_as_stated(length_m: float) -> None:
    """Two halves of a wire: standard deviation of their difference by the double integral of exp(-|u - v|/λ).

    Var = c² s² (2 V(L/2) - 2 K), V(l) = 2 λ² (l/λ - 1 + e^(-l/λ)), K = λ² (1 - e^(-L/2λ))², by hand.
    """
    s, correlation, half = 0.15, 0.25, length_m / 2
    own = 2 * correlation**2 * (half / correlation - 1 + math.exp(-half / correlation))
    both = (correlation * (1 - math.exp(-half / correlation))) ** 2
    expected = 100e-12 * s * math.sqrt(2 * own - 2 * both)
    found = []
    for seed in range(400):
        profile = profile_of("W1", length_m, 100e-12, seed)
        found.append(2 * profile.up_to(half) - profile.farad)
    assert statistics.pstdev(found) == pytest.approx(expected, rel=0.12, abs=0.0)


def test_the_host_reads_what_the_link_says() -> None:
    told = read_capabilities("POINTS=8,LINE=64,CAPF=1E-12:1E-6,CACC=3E-12:0.03,CREP=1E-12").capabilities
    assert told.farads == (1e-12, 1e-6)
    assert told.farad_accuracy == CapacitanceAccuracy(3e-12, 0.03)
    assert told.farad_spread == 1e-12
    with open_bench("sim:", loom_path=TAIL_LAMP) as bench, pytest.raises(UnfitError, match="capacitance"):
        bench.capacitance(1, 2)


class Open(MemoryBench):
    """Reads 30 pF and the point's number; ``on_it`` are points with something on them."""

    def __init__(self, on_it: dict[int, float | None] | None = None, farads: bool = True) -> None:
        ranges = (1e-12, 1e-6) if farads else None
        super().__init__(able=Capabilities(8, farads=ranges, farad_spread=1e-12))
        self.on_it = on_it or {}
        self.asked = 0

    def _answer(self, question: Question) -> Answer:
        if not isinstance(question, Capacitance):
            return super()._answer(question)
        assert question.a.bit_count() == 1
        assert not question.a & question.b
        self.asked += 1
        (point,) = points_of(question.a)
        return self.on_it.get(point, (30 + point + (self.asked % 2) * 0.2) * 1e-12)


def test_leads_are_learned_open() -> None:
    bench = Open()
    found = learn_farads(bench, cleared_empty(bench), [1, 2, 5], repeats=4)
    assert [round(found[p].farad * 1e12, 3) for p in (1, 2, 5)] == [31.1, 32.1, 35.1]
    # The bench's stated spread counts where the readings agree better: t for 9 degrees: 2.32 (JCGM 100, G.2)
    assert found[1].u_f == pytest.approx(2.32e-12 / 2, rel=0.01)


@pytest.mark.parametrize("farad", [None, math.inf, 4.7e-9])
def test_what_is_still_on_a_lead_is_named(farad: float | None) -> None:
    bench = Open({2: farad})
    with pytest.raises(AdapterError, match=r"something is on these leads, or joins them: point 2 \(LAMP:A\)"):
        learn_farads(bench, cleared_empty(bench), [1, 2, 3], names={2: "LAMP:A"})


def test_a_bench_without_farads_learns_none() -> None:
    bench = Open(farads=False)
    with pytest.raises(UnfitError, match="reads no capacitance"):
        learn_farads(bench, cleared_empty(bench), [1, 2])
    bench = Open()
    with pytest.raises(UsageError, match="two leads or more"):
        learn_farads(bench, cleared_empty(bench), [1])


def test_the_table_keeps_what_was_learned(tmp_path: Path) -> None:
    plain: Adapter = in_order([End("LAMP", "1"), End("LAMP", "2")])
    assert "lead_pf" not in table_of(plain)
    bench = Open()
    learned = opened(plain, learn_farads(bench, cleared_empty(bench), [1, 2]), "2026-11-29")
    assert table_of(learned) != table_of(plain)
    assert learned.wiring == plain.wiring
    write_adapter(learned, tmp_path / "a.csv")
    again = read_adapter(tmp_path / "a.csv")
    assert again.entries[1].lead_f == pytest.approx(learned.entries[1].lead_f, rel=1e-5)
    assert again.entries[1].open_zeroed == "2026-11-29"
    text = (tmp_path / "a.csv").read_text().replace(f"{learned.entries[0].lead_f * 1e12:.6g}", "99999")
    (tmp_path / "a.csv").write_text(text)
    with pytest.raises(AdapterError) as caught:
        read_adapter(tmp_path / "a.csv")
    assert "is no capacitance of a lead" in str(caught.value.problems[0])


def test_zero_open_as_a_person_types_it(tmp_path: Path) -> None:
    table = tmp_path / "adapter.csv"
    write_adapter(in_order([End("LAMP", str(k)) for k in range(1, 6)]), table)
    done = loomproof("bench", "zero", "--open", "--bench", "sim:?cap&seed=2", "--adapter", str(table))
    assert done.returncode == 0, done.stderr
    assert "5 leads from" in done.stdout
    assert "pF (k = 2)" in done.stdout
    for lead in read_adapter(table).entries:
        assert 30e-12 < lead.lead_f < 110e-12
        assert lead.open_zeroed

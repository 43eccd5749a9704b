"""The board behind the ordinary driver: the contract of every driver, bad lines, and a loom proved on it."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest

from loomproof.bench.opening import open_bench
from loomproof.bench.scanner import ScannerBench
from loomproof.errors import RefusedError
from loomproof.jobs.demo import FAULTS, demo_loom
from loomproof.loom.reading import load
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.real_line import real_line
from tests.bench.simline import sim_bench
from tests.bench.test_contract import keeps_the_contract
from tests.bench.torture import (
    CONTRACT_S,
    FIXTURES,
    HARMS,
    Result,
    digest_of,
    loom_of,
    placeless,
    prove_over,
    run,
    some_faults,
)
from tests.firmware.building import needs_avr
from tests.firmware.calibrating import eeprom_file
from tests.firmware.circuit import Circuit, Pins, bare
from tests.firmware.emulated import Board
from tests.firmware.expanded import Expanded, Fault
from tests.firmware.in_memory import board_bench
from tests.firmware.kinds import ALONE, EXPANDED, KINDS, OHMED, Kind
from tests.firmware.on_loom import LIKE_THE_BOARD, hooked
from tests.firmware.processes import Emulation, emulated

pytestmark = needs_avr
TAIL_LAMP = "tail_lamp"
DIGEST = {ALONE: digest_of, EXPANDED: digest_of, OHMED: placeless}
each_kind = pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)


def torture(harm: Harm, seed: int, kind: Kind = ALONE) -> Result:
    """Prove the tail lamp on the board over one bad line, as `tests.bench.torture` does on a simulator."""
    faults = some_faults(TAIL_LAMP, random.Random(f"{seed}/faults"))
    board = kind.board(loom_of(TAIL_LAMP), faults, 1 + seed % 5)
    clock, noise = Clock(), Noise(Harm(), seed)
    with board_bench(board, harm, seed, clock=clock, noise=noise) as bench:
        result = prove_over(
            TAIL_LAMP,
            faults,
            bench,
            clock,
            noise,
            CONTRACT_S,
            make=kind.make,
            meter_v=0.0,
            digest=DIGEST[kind],
        )
    board.run(int(5.0 * 16e6))
    assert board.pins()[:2] == (0, 0), "driven five seconds after the host has gone"
    assert board.ever_high == 0 or kind is OHMED
    return result


@each_kind
def test_the_contract_of_every_driver(kind: Kind) -> None:
    eeprom = ["--eeprom", str(eeprom_file())] if kind is ALONE else []
    emulation = Emulation(FIXTURES / TAIL_LAMP, [*kind.arguments, *eeprom])
    try:
        with open_bench(str(emulation.address)) as bench:
            assert isinstance(bench, ScannerBench)
            assert bench.switch_rate(57_600)
            assert bench.self_test() != 0, "a loom is on it"
            keeps_the_contract(bench)
        with open_bench(str(emulation.address)) as bench:
            assert bench.sense([0]) == [0]
    finally:
        emulation.end()


@each_kind
@pytest.mark.parametrize("faults", [(), ("open W1",), ("short BODY:3 LAMP:1",), ("swap BODY:6 LAMP:4",)])
def test_the_tail_lamp_is_proved_as_on_a_simulator_of_the_same_abilities(
    faults: tuple[str, ...], kind: Kind
) -> None:
    loom = loom_of(TAIL_LAMP)
    clock = Clock()
    with board_bench(kind.board(loom, faults, 3), clock=clock) as bench:
        found = run(loom, bench, clock, meter_v=0.0)
    clock = Clock()
    with sim_bench(hooked(loom, faults, make=kind.make), clock=clock) as bench:
        expected = run(loom, bench, clock, meter_v=0.0)
    assert DIGEST[kind](found) == DIGEST[kind](expected)
    assert found.document.verdict == ("fail" if faults else "pass")
    assert [f.key for f in found.findings] == [f.key for f in expected.findings]


@each_kind
@pytest.mark.parametrize("flip", [1e-4, 1e-3])
def test_flipped_bits(flip: float, kind: Kind) -> None:
    ends = Counter(torture(Harm(flip=flip), seed, kind).end for seed in range(2))
    assert ends["wrong"] == 0
    assert ends["right"] == 2 or flip > 1e-4


@each_kind
@pytest.mark.parametrize("harm", ["lost bytes", "doubled lines", "resets", "stale replies", "everything"])
def test_other_harm(harm: str, kind: Kind) -> None:
    assert torture(HARMS[harm], 1, kind).end != "wrong"


@each_kind
def test_a_line_that_dies_leaves_nothing_driven(kind: Kind) -> None:
    assert torture(Harm(dead_after=20), 2, kind).end in ("error", "right")


def test_a_real_line_that_flips_bits() -> None:
    with real_line("pty", TAIL_LAMP, emulated) as line:
        result = line.prove(Harm(flip=1e-4), 3, make=LIKE_THE_BOARD, meter_v=0.0)
    assert result.end == "right", result.text


def test_a_long_settle_time_is_waited_for_at_each_part_that_is_pulled_up(tmp_path: Path) -> None:
    """Sixteen waits for a set: a host that reckoned with one would ask again before the answer is there."""
    clock = Clock()
    with board_bench(Board(Circuit(Pins.drawn(1), bare())), clock=clock) as bench:
        bench.set_settle(50_000)
        assert bench.sense([1, 2, 4]) == [1, 2, 4]
        assert bench.statistics().repeated == 0


@pytest.mark.parametrize("chip", [1, 2, 8])
def test_a_chip_that_leaves_in_mid_run_ends_the_run(chip: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether points of the loom are on it or not: what it reads of them would look like isolation."""
    loom, clock = loom_of(TAIL_LAMP), Clock()
    board = EXPANDED.board(loom, (), 1)
    assert isinstance(board, Expanded)
    bare = board.feed
    senses: list[bytes] = []

    def feed(data: bytes) -> None:
        senses.extend(each for each in data.split(b"\n") if b"SENS:DRIV?" in each)
        if len(senses) == 2:
            board.fault(chip, Fault.GONE)
        bare(data)

    monkeypatch.setattr(board, "feed", feed)
    with board_bench(board, clock=clock) as bench, pytest.raises(RefusedError, match="scanner lost") as told:
        run(loom, bench, clock, meter_v=0.0)
    assert told.value.code == 3000 + chip
    assert board.pins() == (0, 0, 0)


def test_the_demo_loom_on_expanders_is_proved_as_on_a_simulator_of_the_same_abilities() -> None:
    """127 cavities, a point each: no hook-ups. `make demo BENCH=firmware` shows it at the board's pace."""
    loom = load(demo_loom()).loom
    clock = Clock()
    with board_bench(EXPANDED.board(loom, FAULTS, 1), clock=clock) as bench:
        found = run(loom, bench, clock, meter_v=0.0)
    clock = Clock()
    with sim_bench(hooked(loom, FAULTS, make=EXPANDED.make), clock=clock) as bench:
        expected = run(loom, bench, clock, meter_v=0.0)
    assert digest_of(found) == digest_of(expected)
    assert found.document.verdict == "fail"
    assert len(found.findings) == 3  # a joint of 4.7 ohm wants ohms

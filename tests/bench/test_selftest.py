"""The bench's own test, zeroing and touching, on a scanner in memory."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Resistance
from loomproof.bench.references import Reference
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.seam import Accuracy, Capabilities, Identity
from loomproof.errors import AdapterError, InputError, StoreError, UnfitError
from loomproof.loom.model import End
from loomproof.measuring import probe as touching
from loomproof.measuring import selftest, selftests_kept, zero
from loomproof.measuring.selfcheck import Check
from loomproof.measuring.selftests_kept import SelfTest
from loomproof.measuring.zero import LeadReading, learn_leads, zeroed
from tests.bench.device import Clock, MemoryLine, Scanner
from tests.cleared import cleared_empty
from tests.memory_bench import MemoryBench

WHO = Identity("Invented Instruments", "Pin Scanner", "SN1", "1.0")


def bench_on(scanner: Scanner) -> ScannerBench:
    line = MemoryLine(scanner, scanner.clock)
    return ScannerBench(lambda: line, "tcp:memory:1", clock=scanner.clock).connect()


class Leads(MemoryBench):
    """A bench whose leads are all joined by a shorting plug; each reading adds noise."""

    def __init__(self, lead_ohm: Sequence[float], noise_ohm: float, seed: int = 0) -> None:
        super().__init__(able=Capabilities(8, ohms=(0.001, 1e6), accuracy=Accuracy(0.1, 0.01)))
        self.lead_ohm = lead_ohm
        self.noise_ohm = noise_ohm
        self.rng = random.Random(seed)

    def _answer(self, question: Question) -> Answer:
        assert isinstance(question, Resistance)
        i, j = question.a.bit_length() - 1, question.b.bit_length() - 1
        if math.isinf(self.lead_ohm[i]) or math.isinf(self.lead_ohm[j]):
            return math.inf
        return self.lead_ohm[i] + self.lead_ohm[j] + self.rng.gauss(0.0, self.noise_ohm)


def learned(bench: Leads, points: Sequence[int]) -> dict[int, LeadReading]:
    return learn_leads(bench, cleared_empty(bench), points)


def failed(checks: Sequence[Check]) -> list[str]:
    return [check.name for check in checks if not check.passed]


def test_a_sound_bench_passes() -> None:
    with bench_on(Scanner(Clock(), points=16)) as bench:
        assert failed(selftest.try_empty(bench, cleared_empty(bench))) == []


@pytest.mark.parametrize(
    ("scanner", "name", "said"),
    [
        (Scanner(Clock(), stuck_low=0b100), "stuck inputs", "point 3"),
        (Scanner(Clock(), dead=0b1000), "dead drivers", "point 4"),
        (Scanner(Clock(), groups=(frozenset({5, 9}),)), "clear of each other", "5 to 9"),
    ],
)
def test_each_defect_of_the_bench_is_named(scanner: Scanner, name: str, said: str) -> None:
    with bench_on(scanner) as bench:
        checks = selftest.try_empty(bench, cleared_empty(bench))
    assert failed(checks) == [name]
    assert said in next(check.text for check in checks if check.name == name)


def test_the_shorting_plug_shows_opens() -> None:
    with bench_on(Scanner(Clock(), groups=(frozenset({1, 2, 4}),))) as bench:
        check = selftest.try_shorted(bench, cleared_empty(bench), (1, 2, 3, 4))
        assert not check.passed
        assert "point 3" in check.text
        assert selftest.try_shorted(bench, cleared_empty(bench), (1, 2, 4)).passed
        # A fourth lead that the table lacks.
        assert not selftest.try_shorted(bench, cleared_empty(bench), (1, 2)).passed


def test_references_show_the_meter_to_their_own_uncertainty_and_its_limits_of_error() -> None:
    bench = Leads([0.1, 0.2], 0.0)
    stated, unstated = Reference(1, 2, 100.0, 0.1), Reference(1, 2, 100.0)
    assert selftest.known_to_ohm(Accuracy(0.1, 0.01), [stated]) == pytest.approx(0.1 + 1.0 + 0.1)
    assert selftest.known_to_ohm(Accuracy(0.1, 0.01), [unstated]) == pytest.approx(0.1 + 1.0 + 1.0)
    assert selftest.known_to_ohm(
        Accuracy(0.1, 0.01), [stated, Reference(1, 2, 0.47, 0.0005)]
    ) == pytest.approx(0.1052)
    coarse = Reference(1, 2, 0.5, 0.15)
    assert selftest.try_references(bench, cleared_empty(bench), [coarse], {})[0].passed
    assert not selftest.try_references(bench, cleared_empty(bench), [replace(coarse, u_ohm=0.01)], {})[
        0
    ].passed


def test_references_and_repeatability() -> None:
    bench = Leads((0.1, 0.2, 0.3, 0.4), noise_ohm=0.0)
    assumed, read = selftest.try_references(bench, cleared_empty(bench), [Reference(1, 2, 10.0)], {})
    able = bench.capabilities()
    assert able.accuracy is not None
    wanted_ohm = able.accuracy.ohm + able.accuracy.ratio * 10.0 + 0.1  # 1 % of 10 ohm
    assert f"(limit {wanted_ohm:.3g})" in assumed.text
    assert read[0].u_ohm == pytest.approx(0.1)
    good = Reference(1, 2, 0.3)
    assert selftest.try_references(bench, cleared_empty(bench), [good], {})[0].passed
    wrong = Reference(1, 2, 1.0)
    assert not selftest.try_references(bench, cleared_empty(bench), [wrong], {})[0].passed
    alone = Leads((math.inf, 0.2), 0.0)
    beside = selftest.try_references(alone, cleared_empty(alone), [wrong], {})[0]
    assert not beside.passed
    assert "1 ohm at 1, 2: open" in beside.text
    assert selftest.repeatability(bench, cleared_empty(bench), 1, 2)[1] == 0.0
    noisy = Leads((0.1, 0.2), noise_ohm=0.02)
    check, spread = selftest.repeatability(noisy, cleared_empty(noisy), 1, 2)
    assert check.passed
    assert spread is not None
    assert 0.012 < spread < 0.028  # chi-square with 24 degrees of freedom, 99 %: 0.64 to 1.38 times
    wild = Leads((0.1, 0.2), noise_ohm=1.0)
    assert not selftest.repeatability(wild, cleared_empty(wild), 1, 2)[0].passed


def test_references_are_read_on_their_own_points_without_their_leads() -> None:
    """0.3 and 0.4 Ω of leads are on points 3 and 4; 10 Ω between them would be wrong by what is left."""
    bench = Leads((9.0, 9.0, 5.3, 5.4), noise_ohm=0.0)
    check = selftest.try_references(bench, cleared_empty(bench), [Reference(3, 4, 10.0)], {3: 0.3, 4: 0.4})[0]
    assert check.passed
    assert check.text.startswith("10 ohm at 3, 4: ")
    off = selftest.try_references(bench, cleared_empty(bench), [Reference(3, 4, 10.0)], {3: 0.3})[0]
    assert not off.passed
    assert "+0.4 ohm" in off.text


class Loose(Leads):
    """Every other reading is open."""

    readings = 0

    def _answer(self, question: Question) -> Answer:
        self.readings += 1
        return math.inf if self.readings % 2 else super()._answer(question)


def test_a_pair_that_is_open_now_and_then_has_no_repeatability() -> None:
    bench = Loose((0.1, 0.2), noise_ohm=0.0)
    check, spread = selftest.repeatability(bench, cleared_empty(bench), 1, 2)
    assert (check.passed, spread) == (False, None)
    assert check.text == "points 1 and 2 are not joined at every reading"


def test_leads_are_learned_within_their_uncertainty() -> None:
    true = (0.11, 0.25, 0.07, 0.32, 0.18)
    inside = 0
    for seed in range(1000):
        leads = learned(Leads(true, 0.004, seed), range(1, 6))
        inside += sum(abs(leads[i + 1].ohm - ohm) <= leads[i + 1].u_ohm for i, ohm in enumerate(true))
    assert inside >= 0.95 * 5000
    exact = learned(Leads(true, 0.0), range(1, 6))
    assert [lead.ohm for lead in exact.values()] == pytest.approx(true)


@pytest.mark.parametrize(
    ("degrees", "factor"), [(8, 2.37), (10, 2.28), (20, 2.13), (30, 2.09), (50, 2.05), (100, 2.025)]
)
def test_few_readings_widen_what_is_known_of_a_lead(degrees: int, factor: float) -> None:
    """Student's t for 95.45 %: JCGM 100:2008, table G.2."""
    assert zero._coverage(degrees) == pytest.approx(factor, rel=0.01)


def test_an_open_lead_is_named_when_zeroing() -> None:
    with pytest.raises(AdapterError, match="point 4"):
        learned(Leads((0.1, 0.1, 0.1, math.inf), 0.0), (1, 2, 3, 4))


def test_zeroing_is_written_into_the_table() -> None:
    adapter = in_order([End("C1", "01"), End("C1", "02"), End("C1", "03"), End("C2", "1")])
    leads = learned(Leads((0.1, 0.2, 0.3), 0.0), (1, 2, 3))
    after = zeroed(adapter, leads, "2031-05-04")
    assert [lead.zeroed for lead in after.entries] == ["2031-05-04"] * 3 + [""]
    assert after.zeroed == ""  # one lead was not
    assert after.entries[1].lead_ohm == pytest.approx(0.2)


def test_self_tests_are_kept_and_age(tmp_path: Path) -> None:
    path = tmp_path / "kept.jsonl"
    assert selftests_kept.standing(path, WHO) is None
    sound = (Check("a", True, ""),)
    selftests_kept.keep(SelfTest(*who(), "2031-05-01T00:00:00Z", "shorting plug", sound, 0.002), path)
    selftests_kept.keep(SelfTest(*who(), "2031-05-04T00:00:00Z", "nothing", sound), path)
    found = selftests_kept.standing(path, WHO)
    assert found is not None
    assert (found.date, found.repeatability_ohm) == ("2031-05-04T00:00:00Z", 0.002)
    assert selftests_kept.standing(path, Identity("x", "y", "z", "")) is None
    now = datetime(2031, 5, 10, tzinfo=UTC)
    selftests_kept.refuse_stale(found, now, 7)
    selftests_kept.refuse_stale(None, now, None)
    with pytest.raises(UnfitError, match="older than 5 days"):
        selftests_kept.refuse_stale(found, now, 5)
    with pytest.raises(UnfitError, match="no self-test"):
        selftests_kept.refuse_stale(None, now, 5)
    bad = SelfTest(*who(), "2031-05-09T00:00:00Z", "nothing", (Check("dead drivers", False, ""),))
    selftests_kept.keep(bad, path)
    with pytest.raises(UnfitError, match="dead drivers"):
        selftests_kept.refuse_stale(selftests_kept.standing(path, WHO), now, None)


def test_a_failed_self_test_stands_until_the_same_hook_up_passes(tmp_path: Path) -> None:
    """Nothing, shorting plug and resistors say nothing of each other, nor does one adapter of another."""
    path = tmp_path / "kept.jsonl"
    good, bad = (Check("all", True, ""),), (Check("clear of each other", False, "1 to 2"),)
    now = datetime(2031, 5, 10, tzinfo=UTC)

    def kept(day: int, plugged: str, checks: tuple[Check, ...], wiring: str = "") -> None:
        date = f"2031-05-{day:02d}T00:00:00Z"
        selftests_kept.keep(SelfTest(*who(), date, plugged, checks, None, wiring), path)

    def refused(wiring: str = "") -> bool:
        found = selftests_kept.standing(path, WHO, wiring)
        assert found is not None
        if not found.failed:
            selftests_kept.refuse_stale(found, now, None)
            return False
        with pytest.raises(UnfitError, match="clear of each other"):
            selftests_kept.refuse_stale(found, now, None)
        return True

    kept(1, "nothing", bad)
    kept(2, "shorting plug", good)
    kept(3, "reference resistors", good)
    kept(4, "nothing", good, "adapter A")
    assert refused()
    assert refused("adapter A")
    kept(5, "nothing", good)
    assert not refused()
    kept(6, "shorting plug", bad, "adapter A")
    assert refused("adapter A")
    assert not refused("adapter B"), "that adapter is not on"
    kept(7, "shorting plug", good, "adapter B")
    assert refused("adapter A")
    kept(8, "shorting plug", good, "adapter A")
    assert not refused("adapter A")


def who() -> tuple[str, str, str]:
    return WHO.maker, WHO.model, WHO.serial


def test_a_damaged_file_of_self_tests_is_named(tmp_path: Path) -> None:
    path = tmp_path / "kept.jsonl"
    path.write_text(json.dumps({"maker": "x"}) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 1"):
        list(selftests_kept.kept(path))


@pytest.mark.parametrize(
    "field",
    [
        {"repeatability_ohm": math.nan},
        {"repeatability_ohm": -3.0},
        {"date": "2031-05-01T00:00:00"},
        {"date": ""},
    ],
)
def test_a_self_test_that_cannot_be_is_named(tmp_path: Path, field: dict[str, object]) -> None:
    path = tmp_path / "kept.jsonl"
    selftests_kept.keep(SelfTest(*who(), "2031-05-01T00:00:00Z", "nothing", (), 0.1), path)
    line = {**json.loads(path.read_text(encoding="utf-8")), **field}
    path.write_text(json.dumps(line) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 1 is no self-test"):
        selftests_kept.standing(path, WHO)


def test_files_of_self_tests_that_cannot_be_used_are_told(tmp_path: Path) -> None:
    folder, bytes_only = tmp_path / "folder.jsonl", tmp_path / "bytes.jsonl"
    folder.mkdir()
    bytes_only.write_bytes(b"\xff\n")
    for path in (folder, bytes_only):
        with pytest.raises(InputError, match="cannot be read"):
            selftests_kept.standing(path, WHO)
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(StoreError, match="cannot be kept"):
        selftests_kept.can_keep(tmp_path / "file" / "kept.jsonl")


def test_a_self_test_that_is_still_to_come_is_refused() -> None:
    now = datetime(2031, 5, 10, tzinfo=UTC)
    selftests_kept.refuse_stale(selftests_kept.Standing("2031-05-10T00:30:00Z"), now, 1)
    with pytest.raises(UnfitError, match="still to come"):
        selftests_kept.refuse_stale(selftests_kept.Standing("2031-05-11T00:00:00Z"), now, 1)


def test_touches_are_told_once_and_only_when_steady() -> None:
    scanner = Scanner(Clock(), points=8)
    with bench_on(scanner) as bench:
        reader = touching.touches(bench, cleared_empty(bench))
        seen = []
        for low in (0, 0, 2, 0, 2, 2, 2, 2, 0, 0, 0, 6, 6, 6, 6):
            scanner.stuck_low = low
            seen.append(next(reader))
    assert [low for low in seen if low] == [2, 6]


KEPT = (
    '{"maker": "Invented Instruments", "model": "Pin Scanner", "serial": "SN1", '
    '"date": "2031-05-01T00:00:00Z", "plugged": "nothing", '
    '"checks": [{"name": "stuck inputs", "passed": true, "text": "none"}], '
    '"repeatability_ohm": null}'
)
"""A line as a first version wrote it, from before adapters were told apart."""


def test_a_line_of_an_earlier_version_is_read(tmp_path: Path) -> None:
    path = tmp_path / "kept.jsonl"
    path.write_text(KEPT + "\n", encoding="utf-8")
    (found,) = selftests_kept.kept(path)
    assert found.checks == (Check("stuck inputs", True, "none"),)
    assert (found.wiring, found.repeatability_ohm, found.passed) == ("", None, True)


def test_what_is_wrong_in_a_line_is_told_with_its_place(tmp_path: Path) -> None:
    path = tmp_path / "kept.jsonl"
    path.write_text(KEPT + "\n" + KEPT.replace("true", '"yes"') + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"line 2 is no self-test: checks\.0\.passed: .*found 'yes'") as told:
        list(selftests_kept.kept(path))
    assert "Take this line out" in told.value.cure

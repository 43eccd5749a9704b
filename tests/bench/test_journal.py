"""The journal: everything written before it is believed; a replay answers the same or names the line."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.interface import Bench
from loomproof.bench.journal import JournaledBench, ReplayBench
from loomproof.errors import BenchError, JournalError, LinkError, LoomproofError, RefusedError, ReplayError
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.loom.reading import load
from loomproof.measuring.clearance import clear_replay
from loomproof.planning.request import Request
from loomproof.virtual.scanner import Make
from loomproof.virtual.scanner import Scanner as VirtualScanner
from tests.bench.device import Clock, Scanner
from tests.bench.simline import sim_bench
from tests.bench.test_scanner import Rig
from tests.bench.torture import FIXTURES
from tests.cleared import cleared

pytestmark = pytest.mark.usefixtures("all_closed")


def run(bench: Bench, watch_line: Any = None) -> list[object]:
    """Ask everything that a bench can be asked."""
    told: list[object] = [bench.address, bench.identify(), bench.capabilities()]
    bench.set_settle(1000)
    told.append(bench.sense([0, 1, 1 << 15]))
    told += [bench.resistance(1, 2), bench.resistance(1, 8), bench.diode(1, 8), bench.voltage(1, 2)]
    bench.arm(50)
    told.append(bench.insulation(1, 2, 50, 100))
    try:
        bench.insulation(1, 2, 50, 100)
    except RefusedError as error:
        told.append((error.code, error.message, error.command))
    told.append(bench.temperature())
    told += list(bench.watch([1, 2], 5.0))
    told += [bench.watched, bench.statistics()]
    bench.release()
    return told


Journaled = Callable[..., tuple[Rig, JournaledBench]]


@pytest.fixture
def journaled() -> Iterator[Journaled]:
    opened: list[JournaledBench] = []

    def make(path: Path, run_facts: dict[str, object] | None = None) -> tuple[Rig, JournaledBench]:
        rig = Rig()
        opened.append(JournaledBench(rig.bench, path, run_facts, clock=rig.clock))
        return rig, opened[-1]

    yield make
    for bench in opened:
        bench.close()


def test_a_replay_answers_the_same(tmp_path: Path, journaled: Journaled) -> None:
    path = tmp_path / "run.jsonl"
    rig, bench = journaled(path, {"loom": "f00d", "adapter": "beef"})
    rig.line.fro = lambda data: [data] if b"OK" not in data else [data, rig.scanner.event(3, 0, 7)]
    rig.scanner.watching = None
    with bench:
        rig.line.fro = lambda data: (
            [data, rig.scanner.event(3, 0, 7)] if rig.scanner.watching == 0 else [data]
        )
        told = run(bench)
    replay = ReplayBench(path)
    assert run(replay) == told
    assert replay.finished
    assert replay.run == {"loom": "f00d", "adapter": "beef"}
    assert replay.elapsed_s == bench.elapsed_s > 0
    assert math.inf in told


def test_every_line_is_written_before_the_answer_is_known(tmp_path: Path, journaled: Journaled) -> None:
    path = tmp_path / "run.jsonl"
    _, bench = journaled(path)
    for count in range(1, 5):
        bench.sense([count])
        lines = path.read_bytes().split(b"\n")
        assert lines[-1] == b""
        assert len(lines) == count + 2
        assert json.loads(lines[-2])["ask"] == ["sense", [f"#H{count:X}"]]


def test_what_cannot_be_written_is_not_believed(tmp_path: Path, journaled: Journaled) -> None:
    _, bench = journaled(tmp_path / "run.jsonl")
    bench._file.close()
    with pytest.raises(JournalError, match="cannot be written"):
        bench.sense([1])


def test_a_journal_is_never_overwritten(tmp_path: Path, journaled: Journaled) -> None:
    path = tmp_path / "run.jsonl"
    path.write_text("precious")
    with pytest.raises(JournalError, match="cannot be made"):
        journaled(path)
    assert path.read_text() == "precious"


def test_an_error_is_written_down_and_replayed(tmp_path: Path, journaled: Journaled) -> None:
    path = tmp_path / "run.jsonl"
    rig, bench = journaled(path)
    rig.scanner.reset()
    with pytest.raises(LinkError) as first:
        bench.sense([1])
    with pytest.raises(LinkError) as again:
        ReplayBench(path).sense([1])
    assert again.value.message == first.value.message


def test_another_question_names_the_line(tmp_path: Path, journaled: Journaled) -> None:
    path = tmp_path / "run.jsonl"
    _, bench = journaled(path)
    bench.sense([1])
    bench.sense([2])
    replay = ReplayBench(path)
    replay.sense([1])
    with pytest.raises(JournalError, match=r"line 3: the run asks .*#H3.* answers .*#H2"):
        replay.sense([3])


def test_a_journal_that_ends_early_is_incomplete(tmp_path: Path, journaled: Journaled) -> None:
    path = tmp_path / "run.jsonl"
    _, bench = journaled(path)
    bench.sense([1])
    replay = ReplayBench(path)
    replay.sense([1])
    with pytest.raises(JournalError, match="incomplete"):
        replay.sense([1])


def test_a_journal_cut_anywhere_never_gives_another_answer(tmp_path: Path, journaled: Journaled) -> None:
    path = tmp_path / "run.jsonl"
    _, bench = journaled(path)
    told = [bench.sense([1]), bench.sense([1 << 8])]
    whole = path.read_bytes()
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        got, said = [], ""
        try:
            replay = ReplayBench(path)
            got.append(replay.sense([1]))
            got.append(replay.sense([1 << 8]))
        except JournalError as error:
            said = error.message
        assert str(path) in said
        assert got == told[: len(got)]
        assert len(got) < 2


@pytest.mark.parametrize(
    ("line", "text", "says"),
    [
        (0, "{}", "line 1"),
        (0, "nonsense", "line 1: this is not JSON"),
        (0, '{"schema":2}', "line 1: the header"),
        (0, '{"schema":1}', "a journal of form 1, and this program asks as form 2"),
        (1, "[]", "line 2: an object"),
        (1, '{"n":2,"t":0,"ask":["sense",["#H1"]],"answer":["#H1"]}', "line 2: number 1"),
        (1, '{"n":1,"t":0,"ask":["sense",["#H1"]]}', "line 2: there is no answer"),
        (1, '{"n":1,"t":0,"ask":["sense",["#H1"]],"answer":[1]}', "line 2: the answer"),
    ],
)
def test_a_damaged_line_is_named(
    tmp_path: Path, journaled: Journaled, line: int, text: str, says: str
) -> None:
    path = tmp_path / "run.jsonl"
    _, bench = journaled(path)
    bench.sense([1])
    lines = path.read_text().split("\n")
    lines[line] = text
    path.write_text("\n".join(lines))
    with pytest.raises(JournalError, match=says):
        ReplayBench(path).sense([1])


def test_clock_is_the_callers(tmp_path: Path) -> None:
    path = tmp_path / "run.jsonl"
    clock = Clock(0.0)
    rig = Rig(Scanner(Clock()))
    bench = JournaledBench(rig.bench, path, clock=clock)
    clock.now = 12.5
    bench.sense([1])
    bench.close()
    assert json.loads(path.read_text().splitlines()[1])["t"] == 12.5


def proved_once(path: Path) -> tuple[Request, Outcome]:
    """Prove the tail lamp's loom on the simulator, with a journal at ``path``."""
    clock = Clock()
    loom = load(FIXTURES / "tail_lamp").loom
    request = Request(loom, in_order(loom.cavities), "run", "2031-05-04T00:00:00Z", watch_s=2.0)
    scanner = VirtualScanner(loom, Make(len(loom.cavities)), faults=["loose W2 4 Hz"])
    with (
        sim_bench(scanner, clock=clock) as bench,
        JournaledBench(bench, path, {"simulated": True}, clock=clock) as journaled,
    ):
        return request, to_the_end(request, journaled)


def to_the_end(request: Request, bench: JournaledBench | ReplayBench) -> Outcome:
    loom, adapter = request.loom, request.adapter
    clearance = (
        clear_replay(loom, bench, adapter)
        if isinstance(bench, ReplayBench)
        else cleared(loom, bench, adapter)
    )
    found: list[Outcome] = []

    def whole() -> Iterator[object]:
        found.append((yield from prove(request, bench, clearance)))

    for _ in whole():
        pass
    return found[0]


def doctored(value: object, rng: random.Random) -> object:
    """Return a JSON value with one place changed to something that the writer would not write there."""
    if isinstance(value, dict) and value:
        key = rng.choice(sorted(value))
        if rng.random() < 0.2:
            return {k: v for k, v in value.items() if k != key}
        return value | {key: doctored(value[key], rng)}
    if isinstance(value, list) and value:
        at = rng.randrange(len(value))
        if rng.random() < 0.2:
            return value[:at] + value[at + 1 :]
        return [*value[:at], doctored(value[at], rng), *value[at + 1 :]]
    odd: list[object] = [None, True, -1, 10**400, 1e300, math.nan, "", "#HZZ", "#HFFFFFFFFFF", [], {}, [[[]]]]
    return rng.choice(odd)


def test_a_doctored_journal_never_gives_a_traceback(tmp_path: Path) -> None:
    """Whatever was changed: an error of ours, or a result; never a traceback."""
    path = tmp_path / "run.jsonl"
    request, outcome = proved_once(path)
    written = path.read_bytes().splitlines()
    rng = random.Random(5)
    refused: list[LoomproofError] = []
    for _ in range(400):
        at = rng.randrange(len(written))
        changed = json.dumps(doctored(json.loads(written[at]), rng), ensure_ascii=False).encode()
        path.write_bytes(b"\n".join([*written[:at], changed, *written[at + 1 :]]) + b"\n")
        try:
            to_the_end(request, ReplayBench(path))
        except LoomproofError as error:
            refused.append(error)
    by_line = [error for error in refused if isinstance(error, ReplayError)]
    assert len(by_line) > 300
    assert all(error.exit_code == 2 and error.cure for error in by_line)
    assert all(f"{path}, line " in error.message for error in by_line)
    assert outcome.document.verdict


def test_a_replay_that_is_not_of_this_run_is_the_askers_mistake(tmp_path: Path, journaled: Journaled) -> None:
    path = tmp_path / "run.jsonl"
    _, bench = journaled(path)
    bench.sense([1])
    with pytest.raises(ReplayError) as caught:
        ReplayBench(path).sense([2])
    assert caught.value.exit_code == 2
    with pytest.raises(ReplayError) as caught:
        ReplayBench(tmp_path / "none.jsonl")
    assert caught.value.exit_code == 2
    replay = ReplayBench(path)
    replay.close()
    with pytest.raises(BenchError, match="closed"):
        replay.sense([1])

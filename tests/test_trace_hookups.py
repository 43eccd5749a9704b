"""An unknown loom bigger than the scanner, traced hook-up by hook-up over the link; stopped, gone on with."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import Adapter, Lead, write_adapter
from loomproof.bench.simulation import Simulation
from loomproof.errors import BrokenOffError, SafetyError, UnfitError, UsageError
from loomproof.jobs.gate import Assured
from loomproof.jobs.job import Job
from loomproof.jobs.operator import ScriptedOperator
from loomproof.jobs.trace import TracedLoom
from loomproof.jobs.trace_hookups import state_file
from loomproof.loom.model import (
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Wire,
)
from loomproof.loom.writing import write_folder
from loomproof.measuring.events import Event, Prompt
from loomproof.planning.hookup_plan import HookUp
from loomproof.planning.hookup_search import Constraints
from tests.simulating import started


def end(text: str) -> End:
    return End(*text.split(":"))


def plug(name: str, size: int) -> Connector:
    rows = (tuple(str(k) for k in range(1, size + 1)),)
    return Connector(name, ConnectorKind.PLUG, rows, hazard=Hazard.NONE)


def wire(number: int, a: str, b: str) -> Wire:
    return Wire(f"W{number}", end(a), end(b) if ":" in b else End(b), csa_mm2=0.5, length_m=1.0)


LOOM = Loom(
    "four plugs",
    connectors=(
        *(plug(name, 4) for name in ("A", "B", "C", "D")),
        Connector("S1", ConnectorKind.SPLICE, hazard=Hazard.NONE),
    ),
    wires=(
        # One net over all four plugs: no hook-up of two sees more than two of its ends.
        *(wire(k, f"{name}:1", "S1") for k, name in enumerate("ABCD", start=1)),
        wire(5, "A:2", "B:2"),
        wire(6, "C:2", "D:2"),
    ),
    components=(
        Component("R1", ComponentKind.RESISTOR, (("1", end("A:3")), ("2", end("C:3"))), 1000.0, 1.0),
        Component("R2", ComponentKind.RESISTOR, (("1", end("C:3")), ("2", end("B:3"))), 470.0, 1.0),
        Component("D1", ComponentKind.DIODE, (("A", end("B:4")), ("K", end("D:4"))), forward_v=0.6),
    ),
)
NETS = [["A:1", "B:1", "C:1", "D:1"], ["A:2", "B:2"], ["C:2", "D:2"]]


@dataclass
class Replugging(ScriptedOperator):
    """A person who plugs what is asked for: the simulator is told of the table that the job wrote."""

    simulation: Simulation | None = None
    folder: Path = Path()
    wrong: Callable[[int], bool] = lambda number: False
    stop_at: int = 0

    def plug(self, hook_up: HookUp, number: int) -> bool:
        assert self.simulation is not None
        self.asked.append(f"plug {number}")
        if number == self.stop_at:
            self.stop_at = 0
            raise KeyboardInterrupt("SIGINT")
        table = next(self.folder.glob(f"found.*.hook-up-{number}.adapter.csv"))
        if self.wrong(number):
            # One plug is on the wrong way round.
            first = hook_up.units[0].ends
            points = {**hook_up.point_of}
            points |= {one: hook_up.point_of[other] for one, other in zip(first, first[::-1], strict=True)}
            table = self.folder / "wrong.csv"
            leads = sorted((point, each) for each, point in points.items())
            write_adapter(Adapter("wrong", tuple(Lead(point, each) for point, each in leads)), table)
        assert self.simulation.tell(f"adapter {table}").startswith("ok")
        return True


@pytest.fixture
def simulation(tmp_path: Path) -> Iterator[Simulation]:
    write_folder(LOOM, tmp_path / "loom")
    running = started(tmp_path / "loom", ["--points", "8"])
    yield running
    running.end()


def job_of(simulation: Simulation, tmp_path: Path, loom: Loom = LOOM, **more: object) -> Job:
    operator = Replugging(simulation=simulation, folder=tmp_path, **more)  # type: ignore[arg-type]
    return Job(loom, str(simulation.address), operator=operator, assured=Assured(meter_v=0.0))


def nets_of(traced: TracedLoom) -> list[list[str]]:
    return [list(map(str, net)) for net in traced.found.nets if len(net) > 1]


def test_nets_that_meet_only_across_hook_ups_are_one(simulation: Simulation, tmp_path: Path) -> None:
    told: list[str] = []

    def show(event: Event) -> None:
        if isinstance(event, Prompt):
            told.append(event.text)

    job = job_of(simulation, tmp_path)
    traced = job.trace(tmp_path / "found", hook_ups=Constraints()).run(show)
    assert nets_of(traced) == NETS
    parts = {(str(p.a), str(p.b)): p for p in traced.found.parts}
    assert set(parts) == {("A:3", "C:3"), ("B:3", "C:3"), ("B:4", "D:4")}
    for pair, ohm in ((("A:3", "C:3"), 1000.0), (("B:3", "C:3"), 470.0)):
        assert abs((parts[pair].ohm or 0.0) - ohm) <= (parts[pair].u or 0.0) + 0.01 * ohm
    assert parts["B:4", "D:4"].one_way
    # Six pairs of plugs, two at a time: no plan has fewer.
    assert any("6 hook-ups on 8 points: every two plugs meet, and no plan has fewer" in text for text in told)
    assert not state_file(tmp_path / "found").exists()
    assert (tmp_path / "found" / "questions.md").exists()


def test_hook_ups_that_what_was_found_makes_needless_are_left_out(tmp_path: Path) -> None:
    """All of B, C and D goes to A: once each was plugged with it, no two others need meet."""
    star = Loom(
        "a star",
        connectors=(plug("A", 6), *(plug(name, 2) for name in ("B", "C", "D"))),
        wires=tuple(
            wire(k, f"A:{k}", f"{name}:{cavity}")
            for k, (name, cavity) in enumerate(((n, c) for n in "BCD" for c in "12"), start=1)
        ),
    )
    write_folder(star, tmp_path / "loom")
    running = started(tmp_path / "loom", ["--points", "8"])
    try:
        job = job_of(running, tmp_path, star)
        traced = job.trace(tmp_path / "found", hook_ups=Constraints()).run()
        operator = job.operator
        assert isinstance(operator, Replugging)
        assert [text for text in operator.asked if text.startswith("plug")] == ["plug 1", "plug 2", "plug 3"]
    finally:
        running.end()
    assert len(nets_of(traced)) == 6


def test_stopped_in_a_hook_up_and_gone_on_with(simulation: Simulation, tmp_path: Path) -> None:
    job = job_of(simulation, tmp_path)
    with pytest.raises(BrokenOffError, match="stopped before hook-up 3 of"):
        job.trace(tmp_path / "found", hook_ups=Constraints(), stop_after=2).run()
    state = state_file(tmp_path / "found")
    before = json.loads(state.read_text(encoding="utf-8"))
    assert len(before["seen"]) == 2
    with pytest.raises(UsageError, match="of a trace that was stopped"):
        job.trace(tmp_path / "found", hook_ups=Constraints()).run()

    def interrupt(event: Event) -> None:
        if "looking for parts" in getattr(event, "what", ""):
            raise KeyboardInterrupt("SIGINT")

    with pytest.raises(BrokenOffError) as stopped:
        job.trace(tmp_path / "found", hook_ups=Constraints(), go_on=True).run(interrupt)
    assert stopped.value.do is not None
    assert json.loads(state.read_text(encoding="utf-8")) == before
    job.operator.stop_at = 4  # type: ignore[attr-defined]
    with pytest.raises(BrokenOffError, match="stopped before hook-up 4 of"):
        job.trace(tmp_path / "found", hook_ups=Constraints(), go_on=True).run()
    traced = job.trace(tmp_path / "found", hook_ups=Constraints(), go_on=True).run()
    assert nets_of(traced) == NETS
    with pytest.raises(UsageError, match="there is no stopped trace"):
        job.trace(tmp_path / "again", hook_ups=Constraints(), go_on=True).run()


def test_another_bench_and_other_connectors_are_refused(simulation: Simulation, tmp_path: Path) -> None:
    job = job_of(simulation, tmp_path)
    with pytest.raises(BrokenOffError):
        job.trace(tmp_path / "found", hook_ups=Constraints(), stop_after=1).run()
    fewer = replace(LOOM, connectors=LOOM.connectors[1:], wires=(), components=())
    with pytest.raises(UsageError, match="other connectors"):
        job_of(simulation, tmp_path, fewer).trace(
            tmp_path / "found", hook_ups=Constraints(), go_on=True
        ).run()
    other = started(tmp_path / "loom", ["--points", "8", "--seed", "9"])
    try:
        with pytest.raises(UnfitError, match="begun on"):
            job_of(other, tmp_path).trace(tmp_path / "found", hook_ups=Constraints(), go_on=True).run()
    finally:
        other.end()


@pytest.mark.parametrize("stays", [False, True])
def test_a_plug_on_the_wrong_way_round_is_read_once_more(
    simulation: Simulation, tmp_path: Path, stays: bool
) -> None:
    """Once the others have shown a net whole, one that is apart in the sixth contradicts them."""
    tries = iter((True, stays))
    told: list[str] = []

    def show(event: Event) -> None:
        if isinstance(event, Prompt):
            told.append(event.text)

    job = job_of(simulation, tmp_path, wrong=lambda number: number == 6 and next(tries, False))
    running = job.trace(tmp_path / "found", hook_ups=Constraints())
    operator = job.operator
    assert isinstance(operator, Replugging)
    if stays:
        with pytest.raises(BrokenOffError, match="hook-up 6 contradicts those before it, twice, so no loom"):
            running.run(show)
        assert not (tmp_path / "found").exists()
        running = job.trace(tmp_path / "found", hook_ups=Constraints(), go_on=True)
    traced = running.run(show)
    assert operator.asked.count("plug 6") == 2 + stays
    assert sum("contradicts those before it" in text for text in told) == 1
    assert not any("in a wrong place?" in text for text in traced.questions)
    assert nets_of(traced) == NETS


class LazyReplugging(Replugging):
    """A person who says that all is plugged, and changes nothing after hook-up 1."""

    def plug(self, hook_up: HookUp, number: int) -> bool:
        if number > 1:
            self.asked.append(f"plug {number}")
            return True
        return super().plug(hook_up, number)


@pytest.mark.parametrize("within", [False, True])
def test_plugs_that_were_never_changed_are_asked_about_at_once(tmp_path: Path, within: bool) -> None:
    """All hook-ups read as the first did. A join within a plug contradicts itself once that is elsewhere."""
    wires = (*LOOM.wires[5:6], wire(7, "C:3", "C:4")) if within else LOOM.wires
    loom = replace(LOOM, wires=wires, components=())
    write_folder(loom, tmp_path / "loom")
    told: list[str] = []
    running = started(tmp_path / "loom", ["--points", "8"])
    try:
        operator = LazyReplugging(simulation=running, folder=tmp_path)
        job = Job(loom, str(running.address), operator=operator, assured=Assured(meter_v=0.0))
        going = job.trace(tmp_path / "found", hook_ups=Constraints())
        keep = lambda event: told.append(event.text) if isinstance(event, Prompt) else None  # noqa: E731
        if within:
            with pytest.raises(BrokenOffError, match="so no loom is written"):
                going.run(keep)
        else:
            assert any("Hook-ups 1 and 2 read alike" in text for text in going.run(keep).questions)
    finally:
        running.end()
    assert operator.asked.count("plug 2") == 2
    assert any("reads like hook-up 1, point for point" in text for text in told)
    assert (tmp_path / "found").exists() != within


def test_a_hazard_stops_it_before_anything_is_driven(simulation: Simulation, tmp_path: Path) -> None:
    marked = tuple(replace(each, hazard=Hazard.PYROTECHNIC) for each in LOOM.connectors[:1])
    job = job_of(simulation, tmp_path, replace(LOOM, connectors=(*marked, *LOOM.connectors[1:])))
    with pytest.raises(SafetyError, match="pyrotechnic"):
        job.trace(tmp_path / "found", hook_ups=Constraints()).run()
    assert not list(tmp_path.glob("found.*.journal.jsonl"))

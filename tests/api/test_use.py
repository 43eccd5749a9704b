"""The library as a script uses it: benches are let go, nothing is printed, nothing unsafe is driven."""

from __future__ import annotations

import gc
import inspect
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import pytest

import loomproof as lp
from loomproof.bench.adapter import Lead
from loomproof.bench.scanner import ScannerBench
from loomproof.errors import LoomproofError
from loomproof.jobs import hookups
from loomproof.jobs.events import Reading, ScriptedOperator
from loomproof.jobs.gate import Assured
from loomproof.jobs.keep import Keeping
from loomproof.jobs.naming import Key
from loomproof.loom.model import Hazard
from loomproof.loom.writing import write_folder
from loomproof.planning.request import Request
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.simline import SimLine
from tests.bench.test_stopped import DRIVES, heard
from tests.test_clearance import Counting

pytestmark = pytest.mark.usefixtures("simulated_within")


@pytest.fixture
def lamp(fixtures: Path) -> lp.Loom:
    return lp.load(fixtures / "tail_lamp")


def test_a_block_left_with_an_error_releases_every_point_as_the_device_saw_it(lamp: lp.Loom) -> None:
    clock, device = Clock(), Device(Scanner(lamp))
    done = heard(device)
    bench = ScannerBench(lambda: SimLine(device, clock, Noise(Harm())), "sim:", clock=clock).connect()

    def left_by_an_error() -> None:
        with bench:
            for event in lp.Job(lamp, bench).prove():
                if isinstance(event, Reading):
                    raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        left_by_an_error()
    last = max(n for n, body in enumerate(done) if body.startswith(DRIVES))
    assert "ROUT:OPEN:ALL" in done[last + 1 :]
    assert bench.released


def test_a_bench_that_nobody_closed_says_so(lamp: lp.Loom) -> None:
    ended: list[Callable[[], None]] = []

    def left_open() -> None:
        bench = lp.simulate(lamp)
        ended.append(vars(bench)["simulation"].end)
        del bench
        gc.collect()

    with pytest.warns(ResourceWarning, match="the bench at sim: was never closed"):
        left_open()
    ended[0]()


def test_a_loom_is_simulated_as_it_is_described(lamp: lp.Loom, fixtures: Path) -> None:
    """A loom handed over as a value, and the folder that it came from, are one loom on the simulator."""
    renamed = replace(lamp, serial="42")
    proofs = []
    for loom, given in ((lamp, fixtures / "tail_lamp"), (lamp, lamp), (renamed, renamed)):
        with lp.open_bench("sim:?fault=open%20W2&seed=4", loom=given) as bench:
            proofs.append(lp.Job(loom, bench).prove().run())
    first, *others = (
        [(claim.subject, claim.measured_ohm) for claim in proof.document.claims] for proof in proofs
    )
    assert all(other == first for other in others)
    assert proofs[2].document.loom.serial == "42"


def test_nothing_is_printed(lamp: lp.Loom, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    with lp.simulate(lamp, "open W2") as bench:
        planned = lp.plan(lamp, bench)
        proof = lp.Job(lamp, bench).prove().run()
    sealed = lp.Store().seal(proof)
    sealed.write(tmp_path)
    for value in (lamp, planned, proof, *proof.findings, lp.fit(lamp, proof=proof)):
        assert value._repr_html_()
    lp.frames.claims(proof)
    assert capfd.readouterr() == ("", "")


def test_a_store_keeps_what_it_sealed_and_gives_it_back(lamp: lp.Loom, tmp_path: Path) -> None:
    store = lp.Store(str(tmp_path / "records.db"))
    assert store.proof_of(lamp) is None
    sealed = []
    for faults in (["open W2"], []):
        with lp.simulate(lamp, *faults) as bench:
            sealed.append(store.seal(lp.Job(lamp, bench).prove().run()))
    assert [line.run.verdict for line in store.runs(lamp)] == ["fail", "pass"]
    assert store.run() == replace(sealed[1], told=())
    assert store.run(sealed[0].run).document.findings[0].wires == ("W2",)
    kept = store.proof_of(lamp)
    assert kept is not None
    assert kept == sealed[1].document
    files = sealed[1].write(tmp_path / "out")
    assert {"".join(file.suffixes) for file in files} == {
        ".pass.pdf",
        ".record.json",
        ".results.json",
        ".journal.jsonl",
    }
    assert [lp.verify(file).standing for file in files[:2]] == ["genuine", "genuine"]
    assert files[3].read_bytes() == sealed[1].journal
    assert lp.Store().runs() == (), "another store than the person's own"
    moved = {trend.subject: trend.moved for trend in store.history(lamp)}
    assert moved["BODY:2 to LAMP:2"]


def test_the_sheet_rests_on_the_proof(lamp: lp.Loom) -> None:
    with lp.simulate(lamp) as bench:
        proof = lp.Job(lamp, bench).prove().run()
    assert proof.document.run in lp.fit(lamp, proof=proof).proof
    assert lp.fit(lamp, proof=proof) == lp.fit(lamp, proof=proof.document)
    assert lp.fit(lamp).banner


WRONG: Mapping[str, Callable[[lp.Loom, Path], object]] = {
    "load": lambda loom, path: lp.load(path / "none"),
    "load a side table": lambda loom, path: lp.load(path, side_table=path),
    "check": lambda loom, path: lp.check(path),
    "explain one end": lambda loom, path: lp.explain(loom, "LAMP:1", "LAMP:1"),
    "explain another loom's end": lambda loom, path: lp.explain(loom, "LAMP:1", "ECU:1"),
    "explain no end": lambda loom, path: lp.explain(loom, "LAMP:1", ":"),
    "plan": lambda loom, path: lp.plan(loom, adapter=lp.Adapter("other", (Lead(1, lp.End("ECU", "1")),))),
    "plan hook-ups": lambda loom, path: lp.plan_hookups(loom, 3),
    "split what is not there": lambda loom, path: lp.plan_hookups(loom, 10, split=["ECU"]),
    "open": lambda loom, path: lp.open_bench("nowhere"),
    "open without a loom": lambda loom, path: lp.open_bench("sim:"),
    "simulate": lambda loom, path: lp.simulate(loom, "broken W2"),
    "adapter": lambda loom, path: lp.Adapter.read(path / "none.csv"),
    "verify": lambda loom, path: lp.verify(b"{}"),
    "verify a file": lambda loom, path: lp.verify(path / "none.json"),
    "fit": lambda loom, path: lp.fit(loom, {"fan": "switch"}),
    "store": lambda loom, path: lp.Store(str(path)).runs(),
    "run": lambda loom, path: lp.Store().run("none"),
    "readings": lambda loom, path: lp.frames.readings(b"[1]\n"),
    "readings of a retest": lambda loom, path: lp.frames.readings(b'{"schema": 2, "run": {}}\n'),
}


@pytest.mark.parametrize("what", WRONG)
def test_what_goes_wrong_is_an_error_of_this_library_with_a_message(
    what: str, lamp: lp.Loom, tmp_path: Path
) -> None:
    with pytest.raises(LoomproofError) as caught:
        WRONG[what](lamp, tmp_path)
    assert caught.value.message


def test_a_plan_asks_a_bench_what_it_can_do_and_drives_nothing(lamp: lp.Loom) -> None:
    bench = Counting()
    assert lp.plan(lamp, bench).plan.meter is not None
    assert bench.driven == 0


def gone_on_with(job: lp.Job, path: Path) -> object:
    """A run of hook-ups that was stopped before the first, gone on with."""
    request = Request(job.loom, lp.Adapter.in_order(job.loom), "stopped", "2031-05-04T10:00:00Z")
    hookups.begin(request, lp.plan_hookups(job.loom, 13), path)
    return job.go_on("stopped").run()


def after_a_repair(job: lp.Job, path: Path) -> object:
    """A retest after a run of this description; the run itself was proved on a loom without the hazard."""
    sound = lp.load("fixtures/tail_lamp")
    with lp.simulate(sound) as bench:
        before = lp.Job(sound, bench).prove().run().document
    loom = before.loom.model_copy(update={"digest": job.loom.digest})
    also = [lp.End("LAMP", "2")]
    return job.retest_after(before.model_copy(update={"loom": loom}), also).run()


def named(job: lp.Job, path: Path) -> object:
    """The folder of the job's loom, with a person who stops at once."""

    class Stops:
        def pressed(self, wait_s: float) -> list[Key]:
            return [Key.STOP]

    write_folder(job.loom, path / "named", over=True)
    job.adapter.write(path / "named" / "adapter.csv")
    return job.name(path / "named", Stops()).run()


DRIVEN_BY: Mapping[str, Callable[[lp.Job, Path], object]] = {
    "prove": lambda job, path: job.prove().run(),
    "prove_and_keep": lambda job, path: job.prove_and_keep().run(),
    "hook_ups": lambda job, path: job.hook_ups().run(),
    "go_on": gone_on_with,
    "retest": lambda job, path: job.retest([lp.End("LAMP", "2")]).run(),
    "retest_after": after_a_repair,
    "trace": lambda job, path: job.trace(path / "traced").run(),
    "wiggle": lambda job, path: job.wiggle(1.0).run(),
    "name_touched": lambda job, path: job.name_touched().run(),
    "name": named,
}
"""The ways in which a job drives a bench with a loom on it."""

NO_LOOM_ON = {"learn_adapter"}
"""Of these the operator is asked that no loom is on."""

NOBODY_THERE = {"trace", "name_touched", "name"}
"""Of these a simulator of our own is refused: nobody can plug an unknown loom into it, nor touch it."""


def test_every_way_in_which_a_job_drives_is_known_here() -> None:
    ways = {
        name
        for name, method in inspect.getmembers(lp.Job, inspect.isfunction)
        if not name.startswith("_") and "Running" in str(inspect.signature(method).return_annotation)
    }
    assert ways == set(DRIVEN_BY) | NO_LOOM_ON


@pytest.mark.parametrize("hazard", [Hazard.PYROTECHNIC, Hazard.ELECTRONICS])
@pytest.mark.parametrize("way", DRIVEN_BY)
def test_no_public_way_drives_a_loom_with_a_hazard(
    lamp: lp.Loom, way: str, hazard: Hazard, tmp_path: Path
) -> None:
    marked = tuple(replace(each, hazard=hazard) if each.name == "LAMP" else each for each in lamp.connectors)
    loom = replace(lamp, connectors=marked)
    said = Assured(hazards={each.name: Hazard.NONE for each in marked})  # which lifts no hazard
    for bench in (Counting(), lp.simulate(loom)):
        refused = bench.opening.simulated and way in NOBODY_THERE
        with bench:
            job = lp.Job(loom, bench, operator=ScriptedOperator(), where=Keeping(tmp_path), assured=said)
            kind = lp.errors.UsageError if refused else lp.errors.SafetyError
            with pytest.raises(kind, match="simulat" if refused else "LAMP"):
                DRIVEN_BY[way](job, tmp_path)
        if isinstance(bench, Counting):
            assert bench.driven == 0


def test_a_trace_heeds_a_hazard_of_the_description_whatever_was_said_beforehand(
    lamp: lp.Loom, tmp_path: Path
) -> None:
    marked = tuple(replace(each, hazard=Hazard.PYROTECHNIC) for each in lamp.connectors)
    safe = Assured({each.name: Hazard.NONE for each in lamp.connectors})
    bench = Counting()
    job = lp.Job(replace(lamp, connectors=marked), bench, operator=ScriptedOperator(), assured=safe)
    with pytest.raises(lp.errors.SafetyError, match="pyrotechnic circuits end at BODY"):
        job.trace(tmp_path / "traced").run()
    assert bench.driven == 0


def test_an_adapter_is_learned_only_where_somebody_says_that_no_loom_is_on(
    lamp: lp.Loom, tmp_path: Path
) -> None:
    bench = Counting()
    with pytest.raises(lp.errors.SafetyError, match="no loom"):
        lp.Job(lamp, bench).learn_adapter(tmp_path / "new.csv").run()
    assert bench.driven == 0

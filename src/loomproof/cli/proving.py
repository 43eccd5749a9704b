"""One proof as the commands run it: bench opened and always released, journal, record, files."""

from __future__ import annotations

import json
import secrets
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.errors import (
    AdapterError,
    BrokenOffError,
    LoomproofError,
    SafetyError,
    UsageError,
    suggestion,
)

if TYPE_CHECKING:
    from loomproof.bench.adapter import Adapter
    from loomproof.bench.seam import Bench
    from loomproof.flow import Outcome, Request
    from loomproof.loom.model import End, Hazard, Loom
    from loomproof.proof.insulating import InsulationTest
    from loomproof.proof.run import Step
    from loomproof.results.document import Document

EXIT_CODES = {"pass": 0, "fail": 1, "incomplete": 3, "undecided": 4}
"""Exit code for each verdict."""


@dataclass(frozen=True)
class Kept:
    """A finished proof and the files it left, by what they are."""

    outcome: Outcome
    files: Mapping[str, Path]
    run: str

    @property
    def document(self) -> Document:
        """The results document."""
        return self.outcome.document

    @property
    def exit_code(self) -> int:
        """The code that the command gives."""
        return EXIT_CODES[self.document.verdict]


def run_name(now: datetime) -> str:
    """Return a name for a run that sorts by time and is unique."""
    return f"{now:%Y%m%d-%H%M%S}-{secrets.token_hex(3)}"


def adapter_for(loom: Loom, address: str, adapter: str | None) -> Adapter:
    """Return the adapter that was named, or the in-order one where that may be taken."""
    from loomproof.bench.adapter import in_order, read_adapter
    from loomproof.bench.address import parse_address

    parse_address(address)
    if adapter == "in-order" or (adapter is None and address.startswith("sim:")):
        return in_order(loom.cavities)
    if adapter is None:
        raise AdapterError(
            f"{address}: a real bench wants an adapter table that says which point goes to which cavity",
            cure="loomproof adapter new makes one. --adapter in-order takes the description's own order.",
        )
    return read_adapter(Path(adapter))


def ends_given(texts: Sequence[str], option: str) -> tuple[End, ...]:
    """Read cavities from an option that may be repeated, each value holding one or several."""
    from loomproof.loom.model import ends_of

    try:
        return tuple(end for text in texts for end in ends_of(text))
    except ValueError as error:
        raise UsageError(f"{option}: {error}") from None


def show_step(step: Step) -> None:
    """Say on standard error what is being done; on a terminal in one line that is written over."""
    if not sys.stderr.isatty():
        if step.done == 0:
            click.echo(f"  {step.what} …", err=True)
        return
    count = f" {step.done} of {step.total}" if step.total else ""
    click.echo(f"\r\x1b[K  {step.what} …{count}", nl=False, err=True)


@contextmanager
def stopping(journal: Path | None) -> Iterator[None]:
    """Say, where Ctrl-C or another order to stop ends the run, what is left of it.

    That such an order comes as one `KeyboardInterrupt`, and the ones after it are ignored while the bench
    is released, is the affair of `loomproof.cli.main`.
    """
    try:
        yield
    except KeyboardInterrupt:
        raise BrokenOffError(
            "the run was stopped before its end; nothing is claimed from it",
            cure="All points were released."
            + (f" What was read so far is in {journal}." if journal is not None else ""),
        ) from None
    finally:
        if sys.stderr.isatty():
            click.echo("\r\x1b[K", nl=False, err=True)


def prove_and_keep(
    request: Request,
    address: str,
    *,
    loom_path: Path,
    out: Path,
    store: str | None,
    made_safe: bool,
    confirm: Callable[[str], bool],
    confirm_volts: Callable[[float], bool] = lambda _: False,
    hold: Callable[[str | None], bool] = lambda _: False,
    selftest_max_age: float | None = None,
) -> Kept:
    """Prove on the bench at ``address``, seal the record into the store, and write the files into ``out``.

    Raises `SafetyError` unless the cautions were confirmed, on anything but a simulated bench.
    """
    from loomproof.bench.journal import JournaledBench
    from loomproof.bench.opening import open_bench
    from loomproof.flow import prove
    from loomproof.records.canonical import sha256_hex

    folder_for(out)
    journal_path = out / f"{request.run}.journal.jsonl"
    with stopping(journal_path):
        with open_bench(address, loom_path=loom_path) as raw:
            simulated = address.startswith("sim:") or raw.identify().model.startswith("simulated")
            request = tested_before(replace(request, simulated=simulated), raw, selftest_max_age)
            refuse_unsafe(request, made_safe=made_safe, confirm=confirm)
            refuse_voltage(request, raw, confirm_volts)
            from loomproof.bench.adapter import check_adapter

            points = raw.capabilities().points
            if max(request.adapter.points) > points and len(request.loom.cavities) > points:
                raise AdapterError(
                    f"the loom has {len(request.loom.cavities)} cavities and the bench {points} points",
                    cure="--hook-ups proves it plug by plug; loomproof plan shows how.",
                )
            check_adapter(request.adapter, request.loom.cavities, points)
            held = by_hand(raw, hold)
            with JournaledBench(raw, journal_path, run_header(request), touch=held) as bench:
                steps = prove(request, bench)
                while True:
                    try:
                        show_step(next(steps))
                    except StopIteration as stop:
                        outcome: Outcome = stop.value
                        break
        journal = journal_path.read_bytes()
        document = outcome.document.model_copy(update={"journal_digest": sha256_hex(journal)})
        return keep(replace(outcome, document=document), journal, journal_path, out, store)


def folder_for(out: Path) -> None:
    """Make the folder that results go to. Raises `UsageError` where it cannot be made."""
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            f"the folder {out} cannot be made: {error.strerror}", cure="Name another one with --out."
        ) from None


def keep(outcome: Outcome, journal: bytes, journal_path: Path, out: Path, store: str | None) -> Kept:
    """Seal the document into the store and write results, record and certificate into ``out``."""
    from loomproof.cli.records import issue, now, write_file
    from loomproof.records.home import home
    from loomproof.records.keys import KeyFolder
    from loomproof.records.store import open_store

    document = outcome.document
    base = out / f"{document.run}"
    files = {
        "results": base.with_name(base.name + ".results.json"),
        "record": base.with_name(base.name + ".record.json"),
        "certificate": base.with_name(f"{base.name}.{document.verdict}.pdf"),
        "journal": journal_path,
    }
    write_file(files["results"], json_of(document))
    signer = KeyFolder(home()).signer(now())
    with open_store(store) as opened:
        sealed = opened.seal_run(document, signer, journal)
        write_file(files["record"], sealed.record)
        write_file(files["certificate"], issue(opened, sealed.run.hash))
    return Kept(outcome, files, sealed.run.run)


def json_of(document: Document) -> bytes:
    """Return the results document as people and programs read it."""
    return (json.dumps(document.plain(), indent=2, ensure_ascii=False) + "\n").encode()


def refuse_unsafe(request: Request, *, made_safe: bool, confirm: Callable[[str], bool]) -> None:
    """Refuse what must not be energised, and a real bench whose cautions nobody confirmed."""
    from loomproof.bench.safety import refuse_hazards

    # The whole loom, not only what has a point: current goes on through the wires, described or crossed.
    refuse_hazards(request.loom.connectors, simulated=request.simulated, answers=request.hazards)
    if request.simulated or made_safe:
        return
    if not confirm("Is all of that done?"):
        raise SafetyError(
            "nobody has confirmed the cautions; nothing was driven",
            cure="Answer y at the prompt, or pass --made-safe once all of them hold.",
        )


def by_hand(bench: Bench, hold: Callable[[str | None], bool]) -> Callable[[str | None], bool]:
    """Return who holds the probe: the person, or on a simulator that this process started, the simulator."""
    from loomproof.bench.opening import SimulatedBench

    if not isinstance(bench, SimulatedBench):
        return hold
    simulation = bench.simulation
    return lambda end: simulation.tell("lift" if end is None else f"touch {end}").startswith("ok")


def refuse_voltage(request: Request, bench: Bench, confirm: Callable[[float], bool]) -> None:
    """Refuse an insulation test that bench or loom cannot bear, or that nobody confirmed by its voltage."""
    from loomproof.bench.safety import check_insulation

    asked = request.insulation
    if asked is None:
        return
    check_insulation(bench.capabilities(), request.loom.settings, asked.volts, asked.dwell_ms)
    if not request.simulated and not confirm(asked.volts):
        raise SafetyError(
            f"nobody has confirmed an insulation test at {asked.volts:g} V; nothing was driven",
            cure="Type the voltage at the prompt, on a terminal; no option stands in for that.",
        )


def tested_before(request: Request, bench: Bench, most_days: float | None) -> Request:
    """Return the request with what the bench's own self-tests say, kept in the person's data folder.

    Raises `UnfitError` where one failed, or the last one is older than so many days (``None``: any age). A
    simulator that failed one still proves, and its certificate says so: the next simulator is a new one.
    """
    from loomproof.bench import selftest
    from loomproof.cli.bench import SELFTESTS
    from loomproof.records.home import home

    found = selftest.standing(home() / SELFTESTS, bench.identify(), request.adapter.wiring)
    if not request.simulated or most_days is not None:
        selftest.refuse_stale(found, datetime.now(UTC), most_days)
    if found is None:
        return request
    return replace(
        request,
        last_selftest=found.date,
        selftest_failures=found.failures,
        repeatability_ohm=found.repeatability_ohm or 0.0,
    )


def hazards_given(texts: Sequence[str], loom: Loom) -> dict[str, Hazard]:
    """Read ``CONNECTOR=HAZARD`` from an option that may be repeated. Raises `UsageError`."""
    from loomproof.loom.model import Hazard

    known = [connector.name for connector in loom.connectors]
    found = {}
    for text in texts:
        name, equals, said = text.rpartition("=")
        if not equals or not name or said not in set(Hazard) - {Hazard.UNKNOWN}:
            raise UsageError(
                f"--hazard {text!r} says no hazard: write CONNECTOR=none, CONNECTOR=pyrotechnic or "
                "CONNECTOR='electronics in place'"
            )
        if name not in known:
            raise UsageError(
                f"--hazard {text!r}: the loom has no connector {name}", cure=suggestion(name, known)
            )
        found[name] = Hazard(said)
    return found


def run_header(request: Request) -> dict[str, object]:
    """Return what a journal's header says of the run, enough to replay it with the description."""
    from loomproof.bench.adapter import table_of

    return {
        "run": request.run,
        "started": request.started,
        "loom": request.loom.name,
        "loom_digest": request.loom.digest,
        "adapter": request.adapter.name,
        "adapter_table": table_of(request.adapter),
        "answers": dict(request.answers),
        "waived": [str(end) for end in request.waived],
        "person": request.person,
        "place": request.place,
        "inspection": list(request.inspection),
        "repeats": request.repeats,
        "watch_s": request.watch_s,
        "meter_v": request.meter_v,
        "simulated": request.simulated,
        "last_selftest": request.last_selftest,
        "selftest_failures": request.selftest_failures,
        "repeatability_ohm": request.repeatability_ohm,
        "probed": [str(end) for end in request.probed],
        "insulation": None
        if request.insulation is None
        else [request.insulation.volts, request.insulation.dwell_ms],
    }


def request_from(header: Mapping[str, object], loom: Loom) -> Request:
    """Return the request that a journal's header describes, for this description.

    Raises `ReplayError` where the journal is of another description, or its header makes no request.
    """
    from loomproof.bench.adapter import parse_adapter
    from loomproof.errors import ReplayError
    from loomproof.flow import Request
    from loomproof.loom.model import end_of

    if header.get("loom_digest") != loom.digest:
        there = f"{header.get('loom')!r} (description {str(header.get('loom_digest'))[:12]})"
        here = f"{loom.name!r} (description {loom.digest[:12]})"
        if header.get("loom") == loom.name:
            raise ReplayError(
                f"the journal is of {there}, and the description has changed since: it is now {here}",
                cure="Give the description as it was; version control has it.",
            )
        raise ReplayError(
            f"the journal is of the loom {there}, and {here} was given",
            cure="Give the loom that the journal was read on.",
        )
    try:
        fields = dict(header)
        adapter = parse_adapter(str(fields["adapter_table"]), name=str(fields["adapter"]))
        answers, waived, inspection = fields["answers"], fields["waived"], fields["inspection"]
        assert isinstance(answers, dict)
        assert isinstance(waived, list)
        assert isinstance(inspection, list)
        meter_v = fields["meter_v"]
        return Request(
            loom=loom,
            adapter=adapter,
            run=str(fields["run"]),
            started=str(fields["started"]),
            answers={str(name): str(answer) for name, answer in answers.items()},
            waived=tuple(end_of(str(text)) for text in waived),
            person=str(fields["person"]),
            place=str(fields["place"]),
            inspection=tuple(str(note) for note in inspection),
            repeats=int(str(fields["repeats"])),
            watch_s=float(str(fields["watch_s"])),
            meter_v=None if meter_v is None else float(str(meter_v)),
            simulated=bool(fields["simulated"]),
            last_selftest=str(fields["last_selftest"]),
            selftest_failures=str(fields.get("selftest_failures", "")),
            repeatability_ohm=float(str(fields["repeatability_ohm"])),
            probed=tuple(end_of(str(text)) for text in _texts(fields.get("probed", []))),
            insulation=_insulation_from(fields.get("insulation")),
        )
    except (KeyError, ValueError, AssertionError, LoomproofError) as error:
        raise ReplayError(
            f"line 1 of the journal, its header, can't be used: {error}",
            cure="It was damaged or changed since it was written; take it from a backup, or prove again.",
        ) from None


def _texts(field: object) -> Sequence[str]:
    assert isinstance(field, list)
    return [str(text) for text in field]


def _insulation_from(field: object) -> InsulationTest | None:
    from loomproof.proof.insulating import InsulationTest

    if field is None:
        return None
    volts, dwell_ms = field if isinstance(field, list) and len(field) == 2 else (None, None)
    return InsulationTest(float(str(volts)), int(str(dwell_ms)))


def started_now() -> tuple[str, datetime]:
    """Return the time as RFC 3339 text, and as it is."""
    now = datetime.now(UTC)
    return now.isoformat(timespec="milliseconds").replace("+00:00", "Z"), now

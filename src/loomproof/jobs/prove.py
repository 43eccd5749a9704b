"""One proof as the commands run it: bench opened and always released, journal, record, files."""

from __future__ import annotations

import json
import secrets
import sys
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from loomproof.errors import (
    AdapterError,
    BenchError,
    BrokenOffError,
    LoomproofError,
    RecordError,
    UnfitError,
    UsageError,
)
from loomproof.jobs import journal_header as headers

if TYPE_CHECKING:
    from loomproof.bench.adapter import Adapter
    from loomproof.bench.seam import Bench
    from loomproof.judgement.conclude import Outcome
    from loomproof.loom.model import Hazard, Loom
    from loomproof.measuring.clearance import Clearance, Person
    from loomproof.measuring.events import Event
    from loomproof.measuring.measure import TimedBench
    from loomproof.planning.request import Request
    from loomproof.records.keys import Signer
    from loomproof.results.document import Document

T = TypeVar("T")

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
    from loomproof.bench.address import starts_simulator

    by_itself = starts_simulator(address)
    if adapter == "in-order" or (adapter is None and by_itself):
        return in_order(loom.cavities)
    if adapter is None:
        raise AdapterError(
            f"{address}: a real bench wants an adapter table that says which point goes to which cavity",
            cure="loomproof adapter new makes one. --adapter in-order takes the description's own order.",
        )
    return read_adapter(Path(adapter))


def show_step(step: Event) -> None:
    """Say on standard error what is being done; on a terminal in one line that is written over."""
    if not sys.stderr.isatty():
        if step.done == 0:
            click.echo(f"  {step.what} …", err=True)
        return
    count = f" {step.done} of {step.total}" if step.total else ""
    click.echo(f"\r\x1b[K  {step.what} …{count}", nl=False, err=True)


def shown(steps: Generator[Event, None, T]) -> T:
    """Run to the end, show each step, and return what comes of it."""
    from loomproof.measuring.events import finish

    return finish(steps, show_step)


@contextmanager
def stopping(journal: Path | None) -> Iterator[None]:
    """Say, where Ctrl-C, another order to stop or a bench in trouble ends the run, what is left of it.

    That such an order comes as one `KeyboardInterrupt`, and the ones after it are ignored while the bench
    is released, is the affair of `loomproof.cli.main`.
    """
    from loomproof.bench.seam import NOT_RELEASED, end_told

    try:
        yield
    except KeyboardInterrupt as stop:
        raise BrokenOffError(
            "the run was stopped before its end; nothing is claimed from it",
            cure=" ".join([end_told(stop) or NOT_RELEASED, *left_of(journal), "Prove again."]),
        ) from None
    except BenchError as error:
        unsure = (NOT_RELEASED,) if end_told(error) == NOT_RELEASED else ()
        error.cure = " ".join(part for part in (error.cure, *unsure, *left_of(journal)) if part)
        raise
    finally:
        if sys.stderr.isatty():
            click.echo("\r\x1b[K", nl=False, err=True)


def left_of(journal: Path | None) -> Iterator[str]:
    """Say where the readings of a run are that has no end, if there are any."""
    if journal is not None and journal.exists():
        yield f"What was read so far is in {journal}; nothing is claimed from it."


def prove(request: Request, bench: TimedBench, clearance: Clearance) -> Generator[Event, None, Outcome]:
    """Prove one loom on one bench, all of it plugged at once.

    Raises `SafetyError` without a clearance for this loom on this bench, `AdapterError` where adapter, loom
    and bench do not fit, `UnfitError` where the bench's own check fails, and the bench's errors. The caller's
    ``with bench`` releases every point.
    """
    from loomproof.judgement.conclude import conclude
    from loomproof.measuring.events import Progress
    from loomproof.measuring.measure import measure

    part = yield from measure(request, bench, clearance)
    yield Progress("explaining what was found")
    return conclude(request, (part,))


def prove_and_keep(
    request: Request,
    address: str,
    *,
    loom_path: Path,
    out: Path,
    store: str | None,
    assured: Assured,
    hold: Callable[[str | None], bool] = lambda _: False,
    look: Callable[[], Sequence[str]] = tuple,
) -> Kept:
    """Prove on the bench at ``address``, seal the record into the store, and write the files into ``out``.

    ``look`` has a real loom looked over once nothing else stands in the way, and returns what was seen.
    Raises `SafetyError` where the bench is not cleared for this loom.
    """
    from loomproof.bench.journal import JournaledBench
    from loomproof.bench.opening import open_bench
    from loomproof.records.canonical import sha256_hex

    can_be_kept(out, store)
    journal_path = out / f"{request.run}.journal.jsonl"
    with stopping(journal_path):
        with open_bench(address, loom_path=loom_path) as raw:
            points = raw.capabilities().points
            if max(request.adapter.points) > points and len(request.loom.cavities) > points:
                raise AdapterError(
                    f"the loom has {len(request.loom.cavities)} cavities and the bench {points} points",
                    cure="--hook-ups proves it plug by plug; loomproof plan shows how.",
                )
            clearance = cleared(request, raw, assured)
            held = by_hand(request, raw, hold)
            if not clearance.simulated:
                request = replace(request, inspection=(*look(), *request.inspection))
            begun(request, journal_path, store)
            header = headers.run_header(request, clearance)
            with JournaledBench(raw, journal_path, header, touch=held) as bench:
                outcome = shown(prove(request, bench, clearance))
        if request.insulation is not None:
            click.echo("The insulation test has ended; no test voltage is on the loom any more.", err=True)
        journal = journal_path.read_bytes()
        document = outcome.document.model_copy(update={"journal_digest": sha256_hex(journal)})
        return keep(replace(outcome, document=document), journal, journal_path, out, store)


def begun(request: Request, journal: Path, store: str | None) -> None:
    """Note that this run begins, so that it is listed as broken off unless it is sealed or has `ended`."""
    from loomproof.records.started import note_started

    loom = request.loom
    note_started(
        request.run,
        loom.name,
        request.started,
        journal,
        serial=request.serial or loom.serial,
        digest=loom.digest,
        store=store,
    )
    _started_grew()


def ended(request: Request) -> None:
    """Note that a run which seals nothing came to its end, so that it is not listed as broken off."""
    from loomproof.records.started import note_ended

    note_ended(request.run)
    _started_grew()


def _started_grew() -> None:
    """Note how far the list of started runs has come, by the key in use; what seals nothing makes no key."""
    from loomproof.records.home import home
    from loomproof.records.keys import KeyFolder
    from loomproof.records.noting import note

    keys = KeyFolder(home())
    if keys.path.exists():
        note(home(), keys.in_use())


def folder_for(out: Path) -> None:
    """Make the folder that results go to. Raises `UsageError` where it cannot be made."""
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            f"the folder {out} cannot be made: {error.strerror}", cure="Name another one with --out."
        ) from None


def can_be_kept(out: Path, store: str | None) -> None:
    """See that results can be written and sealed before a bench is asked anything.

    Raises `UsageError` for the folder, `StoreError` for key or store.
    """
    from loomproof.cli.records import now
    from loomproof.records.home import home
    from loomproof.records.keys import KeyFolder
    from loomproof.records.noting import key_changed, not_as_noted
    from loomproof.records.signers import KnownSigners
    from loomproof.records.store import open_store

    folder_for(out)
    signer = KeyFolder(home()).signer(now())
    changed = key_changed(home(), signer)
    if changed:
        click.echo(changed, err=True)
    with open_store(store) as opened:
        for trouble in not_as_noted(home(), opened, store, KnownSigners(home()).all())[0]:
            click.echo(f"loomproof: record: {trouble}", err=True)


def keep(outcome: Outcome, journal: bytes, journal_path: Path, out: Path, store: str | None) -> Kept:
    """Seal the document into the store, then write results, record and certificate into ``out``.

    From here to the end of the command an order to stop breaks nothing off: what was measured is sealed.
    Until it is, no file claims anything. Once it is, a file that can't be written is told, and that is all.
    Raises `RecordError` where it can't be sealed.
    """
    from loomproof.cli.ending import held_to_the_end
    from loomproof.cli.records import issue, now
    from loomproof.records.home import home
    from loomproof.records.keys import KeyFolder
    from loomproof.records.noting import head_before
    from loomproof.records.store import chain_name, open_store

    orders = held_to_the_end()
    document = outcome.document
    base = out / f"{document.run}"
    files = {"journal": journal_path}
    with _or_not_kept(journal_path), open_store(store) as opened:
        signer = KeyFolder(home()).signer(now())
        before = head_before(home(), opened, store, chain_name(document, signer.station))
        sealed = opened.seal_run(document, signer, journal, before)
    run = sealed.run.run
    results, record = (base.with_name(f"{base.name}.{what}.json") for what in ("results", "record"))
    if written(results, lambda: json_of(document), run):
        files["results"] = results
    if written(record, lambda: sealed.record, run):
        files["record"] = record
    if orders.stop:
        click.echo(f"The run is kept; its certificate: loomproof certificate {run}", err=True)
    else:
        certificate = base.with_name(f"{base.name}.{document.verdict}.pdf")
        with open_store(store) as opened:
            if written(certificate, lambda: issue(opened, sealed.run.hash), run):
                files["certificate"] = certificate
    _noted(signer, store)
    return Kept(outcome, files, run)


def _noted(signer: Signer, store: str | None) -> None:
    """Note how far the store has come; a proof that is sealed stays so where that can't be written."""
    from loomproof.records.home import home
    from loomproof.records.noting import note
    from loomproof.records.store import open_store

    try:
        with open_store(store) as opened:
            note(home(), signer, opened, store)
    except RecordError as error:
        click.echo(f"{error.message}: a later loss of this run would not show. {error.cure}", err=True)


@contextmanager
def _or_not_kept(journal: Path) -> Iterator[None]:
    """Say, where a finished run can't be sealed, that nothing of it is kept, and where its readings are."""
    try:
        yield
    except RecordError as error:
        error.message = f"the run is finished and could not be kept: {error.message}"
        error.cure = (
            f"{error.cure} What was read is in {journal}; loomproof replay shows what it says, without a "
            "seal. Prove again to have it kept."
        ).strip()
        raise


def written(path: Path, content: Callable[[], bytes], run: str) -> bool:
    """Write a file of a run that is sealed already; say so where that can't be done."""
    from loomproof.cli.records import write_file

    try:
        write_file(path, content())
    except (LoomproofError, OSError) as error:
        said = error.message if isinstance(error, LoomproofError) else f"{path}: {error}"
        click.echo(
            f"{said}\nThe run is sealed and kept all the same. loomproof certificate {run} writes its "
            "certificate, with --json its sealed record.",
            err=True,
        )
        return False
    return True


def json_of(document: Document) -> bytes:
    """Return the results document as people and programs read it."""
    return (json.dumps(document.plain(), indent=2, ensure_ascii=False) + "\n").encode()


@dataclass(frozen=True)
class Assured:
    """What a command was told that a clearance asks for; ``person`` is asked for the rest."""

    person: Person
    hazards: Mapping[str, Hazard] = field(default_factory=dict)
    meter_v: float | None = None
    selftest_max_age_days: float | None = None
    require_calibration: bool = False


def cleared(request: Request, bench: Bench, assured: Assured) -> Clearance:
    """Return the clearance for this request on this bench, by the self-tests of the person's data folder.

    Raises as `loomproof.measuring.clearance.clear` does.
    """
    from loomproof.cli.bench import SELFTESTS
    from loomproof.measuring.clearance import clear
    from loomproof.records.home import home

    if not bench.opening.simulated:
        tell_leads(request.adapter, bench)
        if assured.meter_v is None and bench.capabilities().volt_max is None:
            click.echo(f"Battery off, then {ends_to_read(request.loom, request.adapter)}", err=True)
    tell_calibration(request, bench, assured)
    offer_meter_check(request, bench)
    asked = request.insulation
    return clear(
        request.loom,
        bench,
        request.adapter,
        assured.person,
        selftests=home() / SELFTESTS,
        now=datetime.now(UTC),
        hazards=assured.hazards,
        meter_v=assured.meter_v,
        insulation=None if asked is None else (asked.volts, asked.dwell_ms),
        selftest_max_age_days=assured.selftest_max_age_days,
    )


def tell_leads(adapter: Adapter, bench: Bench) -> None:
    """Say, before the first reading, that leads were never zeroed on a bench that reads them as well."""
    able = bench.capabilities()
    if able.ohms is None or adapter.zeroed:
        return
    click.echo(
        "The adapter's leads were never zeroed on this bench: what they have is read as the loom's, and may "
        "be taken for bad joints. With the loom off, join all ends of the adapter in one plug and run: "
        f"loomproof bench zero --bench {bench.address} --adapter {adapter.file or 'FILE'}",
        err=True,
    )


def tell_calibration(request: Request, bench: Bench, assured: Assured) -> None:
    """Say, before the first reading of a real bench with ohms, that its meter's calibration has run out.

    Raises `UnfitError` where a calibration is required and none that holds is entered.
    """
    from loomproof.jobs.workshop import uncalibrated

    if bench.opening.simulated or bench.capabilities().ohms is None:
        return
    meter, day = request.entered.meter, datetime.fromisoformat(request.started).date()
    trouble = uncalibrated(meter, day)
    if trouble and assured.require_calibration:
        raise UnfitError(
            f"{trouble}, and require_calibration = true asks for one; nothing was read",
            cure="Have the meter calibrated and enter the certificate under [meter] in workshop.toml.",
        )
    if meter.calibration and meter.expired(day):
        click.echo(f"{trouble[0].upper()}{trouble[1:]}. The certificate will say so.", err=True)


def ends_to_read(loom: Loom, adapter: Adapter) -> str:
    """Return between which ends of a loom a person reads voltage, and what can be a source there."""
    from loomproof.electrics.expectation import expect
    from loomproof.measuring.undriven import meter_words
    from loomproof.planning.net_access import scope_of
    from loomproof.planning.suspects import conductors_of, single_points

    if not loom.wires:
        return meter_words(single_points(adapter.point_of))
    expectation = expect(loom)
    return meter_words(conductors_of(expectation, scope_of(expectation, adapter.point_of)))


def cleared_empty(bench: Bench, person: Person) -> Clearance:
    """Return the clearance to drive a bench with no loom on it, the cautions for that shown first."""
    from loomproof.cautions import WITHOUT_A_LOOM
    from loomproof.measuring.clearance import clear_empty

    click.echo("Before the bench is driven without a loom:", err=True)
    for text in WITHOUT_A_LOOM:
        click.echo(f"  - {text}", err=True)
    return clear_empty(bench, person)


def by_hand(
    request: Request, bench: Bench, hold: Callable[[str | None], bool]
) -> Callable[[str | None], bool]:
    """Return who holds the probe: the person, or on a simulator that this process started, the simulator."""
    from loomproof.bench.opening import SimulatedBench

    if not isinstance(bench, SimulatedBench):
        return hold
    if request.probed:
        click.echo("The simulator itself holds the probe on each end without a point.", err=True)
    simulation = bench.simulation
    return lambda end: simulation.tell("lift" if end is None else f"touch {end}").startswith("ok")


def offer_meter_check(request: Request, bench: Bench) -> None:
    """Say, of a real bench with ohms, where nothing of known resistance will show that its meter reads."""
    from loomproof.cli.bench import SELFTESTS
    from loomproof.measuring import selftest
    from loomproof.records.home import home

    known = any(part.fitted and part.resistance_ohm for part in request.loom.components)
    if bench.opening.simulated or bench.capabilities().ohms is None or known:
        return
    found = selftest.standing(home() / SELFTESTS, bench.identify(), request.adapter.wiring)
    if found is not None and found.references:
        return
    click.echo(
        "Nothing shows that the meter reads ohms at all: the loom has no part of known resistance, and no "
        "self-test with a resistor is kept. A pass will say: meter not checked. To check it first, stop "
        "here, take the loom off, put a resistor on two points: loomproof bench selftest --resistor A,B,OHM.",
        err=True,
    )


def started_now() -> tuple[str, datetime]:
    """Return the time as RFC 3339 text, and as it is."""
    now = datetime.now(UTC)
    return now.isoformat(timespec="milliseconds").replace("+00:00", "Z"), now

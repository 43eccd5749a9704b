"""A bench by itself, no loom on it: its leads learned with a shorting plug, itself tested."""

from __future__ import annotations

import math
from collections.abc import Collection, Generator, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from loomproof.bench import opening
from loomproof.bench.adapter import Adapter, read_adapter, write_adapter
from loomproof.bench.profile import Profile, read_profile, shipped, shipped_text
from loomproof.bench.references import Reference
from loomproof.bench.seam import meter_name
from loomproof.errors import RecordError, UsageError
from loomproof.jobs.adapters import refuse_strangers
from loomproof.jobs.archive import Archive
from loomproof.jobs.files import now
from loomproof.jobs.gate import cleared_empty, selftests, zeros
from loomproof.jobs.keeping_tests import keep_selftest, keep_zero
from loomproof.jobs.operator import Operator
from loomproof.jobs.simulated_plugs import plugged_in
from loomproof.loom.text import pointed
from loomproof.measuring import selftest as tests
from loomproof.measuring.events import Event, Prompt
from loomproof.measuring.selfcheck import Check
from loomproof.measuring.selftests_kept import RESISTORS, ReferenceRead, SelfTest, can_keep
from loomproof.measuring.zero import learn_farads, learn_leads, opened, zeroed
from loomproof.measuring.zeros_kept import can_keep_zero, zero_of

__all__ = [
    "Check",
    "Reference",
    "SelfTest",
    "Zeroed",
    "profile_lines",
    "profiles",
    "read_adapter",
    "reference_of",
    "selftest",
    "shipped_text",
    "write_adapter",
    "zero",
]


@dataclass(frozen=True)
class Zeroed:
    """An adapter whose leads were learned, and what was learned in a sentence."""

    adapter: Adapter
    summary: str


def profiles() -> dict[str, Profile]:
    """Return the shipped profiles of a switch matrix and a meter, by name."""
    return {name: read_profile(name) for name in shipped()}


def profile_lines() -> Iterator[str]:
    """Yield the shipped profiles, a line of text each."""
    for name, found in profiles().items():
        wires = "two and four wires" if found.measure_four else "two wires"
        yield f"{name}: {found.points} points, {wires}"


def reference_of(text: str) -> Reference:
    """Read a reference resistor as a person types it: two points, ohms, and its uncertainty if known.

    Raises `UsageError`.
    """
    try:
        a, b, *ohms = text.split(";" if ";" in text else ",")
        found = Reference(int(a), int(b), *(float(pointed(each)) for each in ohms))
        if not (math.isfinite(found.ohm) and 0.0 <= found.u_ohm < math.inf):
            raise ValueError
    except (TypeError, ValueError):
        raise UsageError(
            f"{text!r} is no resistor between two points",
            cure="Write two points and ohms, as 1,2,100, and its uncertainty as 1,2,100,0.1; "
            'with a decimal comma: "1;2;100;0,1".',
        ) from None
    return found


def _leads_at(adapter: Adapter, connectors: Collection[str]) -> tuple[list[int], dict[int, str]]:
    """Return the points of the leads at these connectors (of all where none is named), and ends by point.

    Raises `UsageError` for a connector that the adapter has not.
    """
    refuse_strangers(
        connectors,
        [lead.end.connector for lead in adapter.entries],
        f"the adapter {adapter.file or adapter.name}",
    )
    points = [lead.point for lead in adapter.entries if not connectors or lead.end.connector in connectors]
    return points, {lead.point: str(lead.end) for lead in adapter.entries}


def _dated() -> str:
    return now().isoformat(timespec="seconds").replace("+00:00", "Z")


def zero(
    adapter: Adapter,
    address: str,
    operator: Operator,
    *,
    loom_path: Path | None = None,
    connectors: Collection[str] = (),
    repeats: int = 5,
    unplugged: bool = False,
) -> Generator[Event, None, Zeroed]:
    """Learn an adapter's leads, a shorting plug over its ends (of these connectors, where any is named).

    With ``unplugged`` nothing is on them, and what they add to a capacitance reading is learned. On a
    simulator of our own it is plugged so, unless there is a loom to put on it. Raises `UsageError` for a
    connector that the adapter has not, `SafetyError` where nobody says that no loom is on, `UnfitError` for
    leads that do not read as such or a bench that cannot read them, `AdapterError` for leads with something
    on them, `StoreError` where the zeros, of which each is kept in the data folder, cannot be.
    """
    points, names = _leads_at(adapter, connectors)
    can_keep_zero(zeros())
    with (
        plugged_in(address, loom_path, adapter, shorted=() if unplugged else points) as (where, loom),
        opening.open_bench(where, loom_path=loom) as bench,
    ):
        clearance = yield from cleared_empty(bench, operator)
        meter = meter_name(clearance.identity, clearance.capabilities)
        today = f"{now():%Y-%m-%d}"
        if unplugged:
            farads = learn_farads(bench, clearance, points, repeats, names)
            table, figures = (
                opened(adapter, farads, today),
                [(each.farad, each.u_f) for each in farads.values()],
            )
        else:
            ohms = learn_leads(bench, clearance, points, repeats, names)
            keep_zero(zero_of(clearance.identity, _dated(), adapter.wiring, ohms))
            table, figures = (
                zeroed(adapter, ohms, today, meter),
                [(each.ohm, each.u_ohm) for each in ohms.values()],
            )
    unit, size = ("pF", 1e12) if unplugged else ("ohm", 1.0)
    values = [value * size for value, _ in figures]
    u_most = max(u for _, u in figures) * size
    return Zeroed(
        table,
        f"{len(values)} leads from {min(values):.3g} to {max(values):.3g} {unit}, "
        f"uncertainty {u_most:.2g} {unit} (k = 2).",
    )


def selftest(
    address: str,
    operator: Operator,
    *,
    loom_path: Path | None = None,
    adapter: Adapter | None = None,
    shorted: bool = False,
    references: Sequence[Reference] = (),
    archive: Archive | None = None,
) -> Generator[Event, None, SelfTest]:
    """Test a bench with nothing plugged, a shorting plug over the adapter, or resistors; keep it, dated.

    It is kept in the data folder, for proofs to look at, and in the records where ``archive`` names some.

    Raises `UsageError` for two hook-ups at once, a shorting plug without an adapter or resistors that cannot
    be, `StoreError` where the result cannot be kept, `SafetyError` where nobody says that no loom is on.
    """
    if shorted and adapter is None:
        raise UsageError(
            "a shorting plug joins the ends of an adapter: which one?", cure="Name the adapter's table."
        )
    if shorted and references:
        raise UsageError("a shorting plug and resistors are two hook-ups", cure="Test one after the other.")
    for each in references:
        if each.a < 1 or each.b < 1 or each.a == each.b or not 0 < each.ohm < math.inf:
            raise UsageError(
                f"a resistor of {each.ohm:g} ohm at points {each.a} and {each.b} cannot be",
                cure="Give two different points from 1 on, and ohms above zero.",
            )
    can_keep(selftests())
    checks: list[Check] = []
    spread: float | None = None
    known_ohm: float | None = None
    read: tuple[ReferenceRead, ...] = ()
    plug = adapter.points if shorted and adapter is not None else ()
    with (
        plugged_in(address, loom_path, adapter, shorted=plug, references=references) as (where, loom),
        opening.open_bench(where, loom_path=loom) as bench,
    ):
        clearance = yield from cleared_empty(bench, operator)
        who = bench.identify()
        pair: tuple[int, ...] = ()
        if plug:
            checks.append(tests.try_shorted(bench, clearance, plug))
            pair = plug[:2]
        elif references:
            leads = {} if adapter is None else {lead.point: lead.lead_ohm for lead in adapter.entries}
            judged, read = tests.try_references(bench, clearance, references, leads)
            checks.append(judged)
            able = bench.capabilities()
            known_ohm = None if able.accuracy is None else tests.known_to_ohm(able.accuracy, references)
            pair = (references[0].a, references[0].b)
        else:
            checks += tests.try_empty(bench, clearance)
        if pair and bench.capabilities().ohms is not None:
            repeated, spread = tests.repeatability(bench, clearance, pair[0], pair[1])
            checks.append(repeated)
    plugged = "shorting plug" if shorted else RESISTORS if references else "nothing"
    wiring = "" if adapter is None else adapter.wiring
    kept = SelfTest(
        who.maker, who.model, who.serial, _dated(), plugged, tuple(checks), spread, wiring, known_ohm, read
    )
    keep_selftest(kept)
    if archive is not None:
        try:
            archive.keep_selftests()
        except RecordError as error:
            yield Prompt(f"{error.message}\nThe self-test is kept in {selftests()} all the same.")
    return kept

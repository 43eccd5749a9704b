"""A bench by itself, no loom on it: its leads learned with a shorting plug, itself tested."""

from __future__ import annotations

import math
from collections.abc import Collection, Generator, Sequence
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
from loomproof.jobs.gate import cleared_empty, selftests
from loomproof.jobs.operator import Operator
from loomproof.jobs.simulated_plugs import plugged_in
from loomproof.measuring import selftest as tests
from loomproof.measuring.events import Event, Prompt
from loomproof.measuring.selfcheck import Check
from loomproof.measuring.selftests_kept import RESISTORS, SelfTest, can_keep, keep
from loomproof.measuring.zero import learn_farads, learn_leads, opened, zeroed

__all__ = [
    "Check",
    "Reference",
    "SelfTest",
    "ZeroedLeads",
    "ZeroedOpen",
    "profiles",
    "read_adapter",
    "selftest",
    "shipped_text",
    "write_adapter",
    "zero",
    "zero_open",
]


@dataclass(frozen=True)
class ZeroedLeads:
    """An adapter whose leads were learned: their Ω, and the largest uncertainty of one, Ω (k = 2)."""

    adapter: Adapter
    ohms: tuple[float, ...]
    u_ohm: float

    @property
    def summary(self) -> str:
        """What was learned, in a sentence."""
        return (
            f"{len(self.ohms)} leads from {min(self.ohms):.3g} to {max(self.ohms):.3g} ohm, "
            f"uncertainty {self.u_ohm:.2g} ohm (k = 2)."
        )


@dataclass(frozen=True)
class ZeroedOpen:
    """An adapter whose leads were learned open: their F, and the largest uncertainty of one, F (k = 2)."""

    adapter: Adapter
    farads: tuple[float, ...]
    u_f: float

    @property
    def summary(self) -> str:
        """What was learned, in a sentence."""
        least, most = min(self.farads) * 1e12, max(self.farads) * 1e12
        return (
            f"{len(self.farads)} leads from {least:.3g} to {most:.3g} pF, "
            f"uncertainty {self.u_f * 1e12:.2g} pF (k = 2)."
        )


def profiles() -> dict[str, Profile]:
    """Return the shipped profiles of a switch matrix and a meter, by name."""
    return {name: read_profile(name) for name in shipped()}


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


def zero(
    adapter: Adapter,
    address: str,
    operator: Operator,
    *,
    loom_path: Path | None = None,
    connectors: Collection[str] = (),
    repeats: int = 5,
) -> Generator[Event, None, ZeroedLeads]:
    """Learn an adapter's leads, a shorting plug over its ends (of these connectors, where any is named).

    On a simulator of our own the plug is simulated, unless there is a loom to put on it. Raises
    `UsageError` for a connector that the adapter has not, `SafetyError` where nobody says that no loom is
    on, `UnfitError` for leads that do not read as such.
    """
    points, names = _leads_at(adapter, connectors)
    with (
        plugged_in(address, loom_path, adapter, shorted=points) as (where, loom),
        opening.open_bench(where, loom_path=loom) as bench,
    ):
        clearance = yield from cleared_empty(bench, operator)
        leads = learn_leads(bench, clearance, points, repeats, names)
        meter = meter_name(clearance.identity, clearance.capabilities)
    found = leads.values()
    return ZeroedLeads(
        zeroed(adapter, leads, f"{now():%Y-%m-%d}", meter),
        tuple(lead.ohm for lead in found),
        max(lead.u_ohm for lead in found),
    )


def zero_open(
    adapter: Adapter,
    address: str,
    operator: Operator,
    *,
    loom_path: Path | None = None,
    connectors: Collection[str] = (),
    repeats: int = 5,
) -> Generator[Event, None, ZeroedOpen]:
    """Learn what an adapter's leads add to a capacitance reading, with nothing on them (of these connectors).

    On a simulator of our own nothing is on them, unless there is a loom to put on it. Raises `UsageError` for
    a connector that the adapter has not, `SafetyError` where nobody says that no loom is on, `AdapterError`
    for leads with something on them, `UnfitError` where the bench reads no capacitance.
    """
    points, names = _leads_at(adapter, connectors)
    with (
        plugged_in(address, loom_path, adapter) as (where, loom),
        opening.open_bench(where, loom_path=loom) as bench,
    ):
        clearance = yield from cleared_empty(bench, operator)
        leads = learn_farads(bench, clearance, points, repeats, names)
    found = leads.values()
    return ZeroedOpen(
        opened(adapter, leads, f"{now():%Y-%m-%d}"),
        tuple(lead.farad for lead in found),
        max(lead.u_f for lead in found),
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
            checks.append(tests.try_references(bench, clearance, references, leads))
            able = bench.capabilities()
            known_ohm = None if able.accuracy is None else tests.known_to_ohm(able.accuracy, references)
            pair = (references[0].a, references[0].b)
        else:
            checks += tests.try_empty(bench, clearance)
        if pair and bench.capabilities().ohms is not None:
            repeated, spread = tests.repeatability(bench, clearance, pair[0], pair[1])
            checks.append(repeated)
    plugged = "shorting plug" if shorted else RESISTORS if references else "nothing"
    date = now().isoformat(timespec="seconds").replace("+00:00", "Z")
    wiring = "" if adapter is None else adapter.wiring
    kept = SelfTest(who.maker, who.model, who.serial, date, plugged, tuple(checks), spread, wiring, known_ohm)
    keep(kept, selftests())
    if archive is not None:
        try:
            archive.keep_selftests()
        except RecordError as error:
            yield Prompt(f"{error.message}\nThe self-test is kept in {selftests()} all the same.")
    return kept

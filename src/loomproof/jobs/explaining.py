"""Two cavities of a loom explained in sentences: what they should read, its limit, how both come about."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import assert_never

from loomproof.electrics.component_kinds import Path
from loomproof.electrics.couplings import Coupling
from loomproof.electrics.decision import zones
from loomproof.electrics.expectation import expect
from loomproof.electrics.uncertainty import Budget, reading_budget
from loomproof.errors import UsageError
from loomproof.loom.model import End, Loom
from loomproof.planning.explain_pair import Explanation, explain_by_accuracy
from loomproof.results.figures import ohms, value_of

COLDEST_C, HOTTEST_C = -50.0, 150.0
"""Temperatures of a loom that are explained; beyond them copper's coefficient no longer holds."""


STEP_HEADS = ("part", "way", "section", "length", "joints", "expected", "at most", "current")
"""What each row of `Explained.steps` has; from the length on they are figures."""


@dataclass(frozen=True)
class Explained:
    """Everything behind two cavities: `value` and `footnotes` are sentences, the others names and texts.

    ``budget`` is the uncertainty of a sound reading, ``None`` where nothing of known resistance joins them.
    """

    found: Explanation
    budget: Budget | None

    @property
    def pair(self) -> str:
        """The two cavities."""
        return f"{self.found.between.a} to {self.found.between.b}"

    @property
    def value(self) -> Iterator[str]:
        """What a sound loom reads between the two, and what is asked of them."""
        found, between = self.found, self.found.between
        if not found.joined:
            yield "nothing of known resistance joins these two: a sound loom reads open"
        else:
            what = "one net" if found.same_net else "two nets, joined by components"
            yield f"{what}; a sound loom reads {ohms(between.expected_ohm)}"
        splices = [str(end) for end in (between.a, between.b) if not end.cavity]
        if splices:
            yield f"a splice has no point of a bench: {' and '.join(splices)} is seen at its net's cavities"
            return
        sense = f"a digital sense: {between.b} reads {found.reads} while {between.a} is driven"
        if found.sense_ohm is not None:
            proves = "low proves a path under" if found.same_net else "read both ways, high proves none under"
            sense += f"; {proves} {ohms(found.sense_ohm)}"
        yield sense
        if found.isolation_ohm is not None and not found.same_net:
            yield f"isolation, where it is measured: at least {ohms(found.isolation_ohm)}"
        if found.coupled:
            yield "parts lead from one to the other: neither sense nor isolation is asked of these two"
        for part, coupling in found.across:
            yield f"{part.kind} {part.name} {value_of(part)}".rstrip() + f": {_passes(coupling)}"
        yield "a bench without ohms can be asked the sense only, one without sense the ohms only"

    @property
    def steps(self) -> Iterator[tuple[str, ...]]:
        """A row of texts for each conductor and part that carries current between the two."""
        for step in self.found.steps:
            section = step.section.split(" (")[0] + (" *" if "csa_mm2" in step.defaulted else "")
            length = f"{step.length_m:g} m" if step.length_m else ""
            yield (
                step.name + ("" if step.shows else " †"),
                f"{step.start} – {step.stop}",
                section or step.kind.replace("component", "fuse or link"),
                length + (" *" if "length_m" in step.defaulted else ""),
                ohms(step.joints_ohm) if step.joints_ohm else "",
                ohms(step.nominal_ohm) + (" *" if "resistance_ohm" in step.defaulted else ""),
                ohms(step.greatest_ohm),
                f"{step.share:.0%}",
            )

    @property
    def footnotes(self) -> Iterator[str]:
        """What the marks of the steps mean, and where the resistances of sizes are from."""
        steps = self.found.steps
        if any(step.defaulted for step in steps):
            yield "* not in the description: the loom's default, or typical for the part"
        if any(not step.shows for step in steps):
            yield "† hidden: other conductors lie in parallel, so an open here would not show"
        sizes: dict[str, list[str]] = {}
        for step in steps:
            if step.section:
                sizes.setdefault(f"{step.source} ({step.status})", []).append(step.section.split(" (")[0])
        for source, named in sizes.items():
            yield f"{', '.join(dict.fromkeys(named))}: {source}"

    @property
    def limit(self) -> Iterator[tuple[str, str]]:
        """How the greatest sound reading and the physical limit come about."""
        found, between = self.found, self.found.between
        factor = f"{found.copper_factor:.4f} of its resistance at 20 °C"
        yield "copper", f"at {found.temperature_c:g} °C, {factor}"
        yield "contacts", f"{ohms(found.contacts_ohm)} for the contacts at both ends"
        yield "sound", f"at most {ohms(between.sound_ohm)}, all wires and joints at their greatest"
        if not found.same_net:
            return
        usual_ohm = found.margin_ratio * between.sound_ohm + found.margin_ohm
        ratio = f"{found.margin_ratio:g} ×"
        limit = f"{ohms(usual_ohm)} = {ratio} {ohms(between.sound_ohm)} + {ohms(found.margin_ohm)}"
        if between.limit_ohm < usual_ohm:
            yield "load", f"{ohms(between.load_ohm)} is its share of the drop at the stated load"
            limit = (
                f"{ohms(between.limit_ohm)}, by the load: its share, or {ratio} sound + 0.010 Ω where that "
            )
            limit += "is more"
        yield "limit", f"{limit}, the physical limit"

    @property
    def decision(self) -> Iterator[tuple[str, str]]:
        """How a reading is decided on a bench of this accuracy; nothing where no limit is held against it."""
        reading, budget = self.found.reading, self.budget
        if not self.found.same_net or reading is None or budget is None:
            return
        yield "uncertainty", f"{ohms(budget.expanded_ohm)} (k = 2) at a sound reading, of which"
        for part in budget.parts:
            if part.standard_ohm:
                yield "", f"{part.name} {ohms(part.standard_ohm)} (standard)"
        tells = "which decides its limit" if reading.decided else "which does not decide its limit"
        yield "shown", f"of every sound one: under {ohms(reading.shown_ohm)}, {tells}"
        zone = zones(budget.expanded_ohm, reading.limit_ohm)
        never = "never: the uncertainty is too large"
        yield "pass", f"up to {ohms(zone.pass_to_ohm)}" if zone.pass_to_ohm > 0 else never
        yield "undecided", f"from there to {ohms(zone.fail_from_ohm)}"
        yield "fail", f"above {ohms(zone.fail_from_ohm)}, and open"
        if hidden := [step.name for step in self.found.steps if not step.shows]:
            yield "not proved", ", ".join(hidden)


def _passes(part: Coupling) -> str:
    """Say what current a part lets through between two nets, and so what a reading of it is."""
    match part.path:
        case Path.RESISTIVE:
            unknown = "" if part.linear else f", of unknown resistance, {ohms(part.lo_ohm)} or more"
            return f"current flows both ways{unknown}"
        case Path.DIODE:
            return f"current flows from {part.a} to {part.b} only"
        case Path.CAPACITOR:
            reads = f"a sound one then reads {ohms(part.lo_ohm)} or more, and so does a missing one"
            return f"no direct current flows once it is charged: {reads}"
        case Path.CONTACT:
            return "current flows both ways while it is closed"
        case _:
            assert_never(part.path)


def explained(
    loom: Loom,
    a: End,
    b: End,
    accuracy: tuple[float, float],
    *,
    temperature_c: float = 20.0,
    lead_ohm: float = 0.0,
    repeatability_ohm: float = 0.0,
    repeats: int = 1,
    temperature_u_k: float = 0.0,
) -> Explained:
    """Explain two cavities for a meter of these limits of error (Ω, ratio), as `explain_by_accuracy` does.

    Raises `UsageError` for one cavity named twice, a temperature or an uncertainty that cannot be, and an
    unknown cavity.
    """
    if not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise UsageError(
            f"a temperature of {temperature_c:g} °C: {COLDEST_C:g} to {HOTTEST_C:g} °C is expected"
        )
    if any(not 0.0 <= figure < math.inf for figure in (lead_ohm, repeatability_ohm, temperature_u_k)):
        raise UsageError("an uncertainty must be 0 or more")
    if a == b:
        raise UsageError(f"{a} is named twice", cure="Name two different cavities: a reading is between two.")
    found = explain_by_accuracy(
        expect(loom, temperature_c),
        a,
        b,
        accuracy,
        lead_ohm=lead_ohm,
        repeatability_ohm=repeatability_ohm,
        repeats=repeats,
        temperature_u_k=temperature_u_k,
    )
    if not found.joined:
        return Explained(found, None)
    budget = reading_budget(
        *accuracy,
        found.between.sound_ohm,
        lead_uncertainty_ohm=lead_ohm,
        repeatability_ohm=repeatability_ohm,
        repeats=repeats,
        temperature_uncertainty_k=temperature_u_k,
    )
    return Explained(found, budget)

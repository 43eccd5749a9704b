"""One bad contact that a conductor and parts share: told once, where each reading alone tells a fault.

Whatever is read at a cavity goes through its contact. So where a conductor and a part are both read too high
there, or open, and by the same ohms, the contact explains both, and two faults would be needed else. Nothing
that is read at the cavity may speak against it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.found import Found
from loomproof.diagnosis.mending import is_ring, renewed
from loomproof.diagnosis.words import listed, of_reading
from loomproof.diagnosis.writing import Writer
from loomproof.loom.model import Component, End
from loomproof.results.findings import Alternative, Evidence, Finding
from loomproof.results.measured import Decision, Judged, JudgedDiode

VARIES = 0.05
"""So much of its ohms a bad contact differs from one reading to the next (common practice, no source)."""

_OF_CONDUCTORS = {Cause.BROKEN_WIRE, Cause.BAD_CONTACT, Cause.RESISTIVE_WIRE, Cause.RESISTIVE_CONTACT}
_OF_PARTS = {Cause.MISSING_PART, Cause.WRONG_VALUE, Cause.SHORTED_PART}


@dataclass(frozen=True, slots=True)
class Extra:
    """What a contact adds to all that is read at it, Ω: at least and at most; both inf where it is open."""

    least_ohm: float
    most_ohm: float

    @property
    def open(self) -> bool:
        """Whether nothing comes through."""
        return math.isinf(self.least_ohm)


def at_one_contact(found: Found, writer: Writer, findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings with those of a conductor and of parts that one contact explains made one."""
    left = list(findings)
    for end in _candidates(found, left):
        extra = _extra(found, end)
        if extra is None or _contradicted(found, end, extra):
            continue
        wires = {wire.name for wire in found.loom.wires_at.get(end, ())}
        parts = {part.name for part in _parts_at(found, end)}
        conductors = [f for f in left if f.cause in _OF_CONDUCTORS and set(f.wires) and set(f.wires) <= wires]
        shared = [f for f in left if f.cause in _OF_PARTS and f.components and {*f.components} <= parts]
        if conductors and shared:
            told = _told(found, end, extra, conductors, shared, writer)
            at = left.index(conductors[0])
            left[at : at + 1] = [told]
            left = [f for f in left if f not in conductors and f not in shared]
    return left


def _candidates(found: Found, findings: Sequence[Finding]) -> Iterator[End]:
    """Yield the cavities at which a finding of a part and one of a conductor meet."""
    read = {
        end
        for finding in findings
        if finding.cause in _OF_PARTS
        for name in finding.components
        for end in found.loom.component_by_name[name].ends
        if end.cavity
    }
    wired = {
        end
        for finding in findings
        if finding.cause in _OF_CONDUCTORS
        for name in finding.wires
        for end in found.loom.wire_by_name[name].ends
    }
    for end in found.loom.cavities:
        if end in read & wired and found.at_home(end):
            yield end


def _parts_at(found: Found, end: End) -> list[Component]:
    return [part for part in found.loom.components if part.fitted and end in part.ends]


def _extra(found: Found, end: End) -> Extra | None:
    """Return what the readings of conductors say that the contact has more than a sound one."""
    readings = [j for j in found.measured.judged if not j.component and end in (j.a, j.b)]
    finite = [j for j in readings if math.isfinite(j.measured_ohm)]
    if not finite:
        alone = [other for other, group in found.group_of.items() if group == found.group_of.get(end)]
        return Extra(math.inf, math.inf) if alone == [end] else None
    if len(finite) < len(readings):
        return None
    least_ohm = (1 - VARIES) * max(j.measured_ohm - j.uncertainty_ohm - j.limit_ohm for j in finite)
    most_ohm = (1 + VARIES) * min(j.measured_ohm + j.uncertainty_ohm for j in finite)
    return Extra(least_ohm, most_ohm) if 0.0 < least_ohm <= most_ohm else None


def _contradicted(found: Found, end: End, extra: Extra) -> bool:
    """Whether a part read at the contact reads other than it does in series with so many ohms."""
    measured = found.measured
    return (
        any(
            not _in_series(judged, extra)
            for judged in measured.judged
            # Without an upper limit whole nets were read, each cavity of theirs beside the others.
            if judged.component and end in (judged.a, judged.b) and math.isfinite(judged.limit_ohm)
        )
        or any(
            not _passes_less(found, diode, extra)
            for diode in measured.diodes
            if end in (diode.anode, diode.cathode)
        )
        or any(
            sensed.conducts and extra.open for sensed in measured.sensed_parts if end in (sensed.a, sensed.b)
        )
    )


def _in_series(judged: Judged, extra: Extra) -> bool:
    if extra.open or math.isinf(judged.measured_ohm):
        return extra.open and math.isinf(judged.measured_ohm)
    least_ohm = judged.lower_ohm + extra.least_ohm - judged.uncertainty_ohm
    return least_ohm <= judged.measured_ohm <= judged.limit_ohm + extra.most_ohm + judged.uncertainty_ohm


def _passes_less(found: Found, diode: JudgedDiode, extra: Extra) -> bool:
    """Whether a diode reads as one behind a bad contact: worse forward, backward as the rest of the loom."""
    if extra.open:
        return math.isinf(diode.forward) and math.isinf(diode.backward)
    if diode.decision is not Decision.FAIL:
        return True
    at = found.group_of.get(diode.anode), found.group_of.get(diode.cathode)
    back = math.isinf(diode.backward) or found.leads(at[1], at[0], diode.component)
    return back and not diode.reversed


def _told(
    found: Found,
    end: End,
    extra: Extra,
    conductors: Sequence[Finding],
    shared: Sequence[Finding],
    writer: Writer,
) -> Finding:
    names = writer.names
    wires = tuple(wire.name for wire in found.loom.wires_at.get(end, ()))
    parts = tuple(dict.fromkeys(name for finding in shared for name in finding.components))
    ring = is_ring(names, end)
    behind = f"{names.wires(wires)} and {listed(parts)}"
    if extra.open:
        title = f"{'Ring' if ring else 'Contact of'} {end} open: {behind} behind it are out of reach"
    else:
        title = f"Bad {'joint at ring' if ring else 'contact at'} {end}: {behind} behind it read high alike"
    look = "paint or rust under the lug, a loose bolt" if ring else "pushed back, green, spread"
    instead = [*conductors, *shared]
    others = [
        Alternative(
            text="; and ".join(names.inside(finding.title) for finding in instead),
            cause=conductors[0].cause,
            cavities=tuple(dict.fromkeys(cavity for finding in instead for cavity in finding.cavities)),
            wires=tuple(dict.fromkeys(name for finding in instead for name in finding.wires)),
            components=parts,
            repair=tuple(dict.fromkeys(step for finding in instead for step in finding.repair[:-1])),
            tell_apart=f"Meter {listed(parts)} from behind {end}: right there means the contact.",
        ),
        *(writer.adapter_lead((end,)) if extra.open else ()),
    ]
    shown = [
        of_reading(judged)
        for judged in found.measured.judged
        if end in (judged.a, judged.b) and judged.decision is Decision.FAIL
    ]
    known = {evidence.text for evidence in shown}
    evidence: dict[str, Evidence] = {
        e.text: e for finding in instead for e in finding.evidence if e.text not in known
    }
    return writer.make(
        Cause.BAD_CONTACT if extra.open else Cause.RESISTIVE_CONTACT,
        (end,),
        title,
        [names.place(end)],
        [
            f"Look at {end}: {look}, or its crimp off?",
            f"{renewed(names, (end,))}.",
        ],
        wires=wires,
        components=parts,
        evidence=[*shown, *evidence.values()],
        alternatives=others,
        cost=writer.weights.open_contact,
    )

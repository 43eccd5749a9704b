"""Looms of the placing campaign proved over the link, and what is told held against the drawing."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from loomproof.bench.adapter import in_order
from loomproof.bench.journal import JournaledBench
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import Loom, Settings
from loomproof.measuring import clearance as clearances
from loomproof.measuring.events import finish
from loomproof.measuring.zero import learn_farads, opened
from loomproof.planning.request import Request
from loomproof.results.findings import Kind
from loomproof.results.places import Place, WirePlace
from loomproof.virtual.meter import FaradLimits, Limits, MeterError
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.simline import sim_bench
from tests.campaign.placing_looms import BESIDE, Case
from tests.cleared import cleared, cleared_empty

FAR_M = 0.1
"""Of breaks that lie farther than this from both ends only one in ten may be left undecided."""


REPEATABILITY_OHM = 0.001


FOUR_WIRE = Limits(REPEATABILITY_OHM / MeterError.NOISE, 0.002)
"""The simulated meter scatters by a share of its limits; these give one milliohm."""


EQUAL = Settings(
    contact_ohm=1e-5,
    crimp_ohm=1e-5,
    splice_ohm=1e-5,
    stated=frozenset({"contact_ohm", "crimp_ohm", "splice_ohm"}),
)
"""Contacts that are all the same: their spread is gone from the budget and from the simulated loom."""


def make_of(points: int) -> Make:
    """Return a scanner with four wires, 1 mΩ of scatter, and farads within 5 pF + 2 %, 1 pF of scatter."""
    return Make(points, four_wire=FOUR_WIRE, capacitance=FaradLimits(5e-12, 0.02, 1e-12))


def over_link(case: Case, seed: int, *, locate: bool = True) -> tuple[Outcome, str]:
    """Zero the leads open, prove the loom, and return what came of it and how many farads were asked."""
    scanner = Scanner(case.loom, make_of(len(case.loom.cavities)), seed=seed)
    with sim_bench(scanner, clock=Clock()) as bench:
        bare = in_order(case.loom.cavities)
        scanner.plug(False)
        points = [lead.point for lead in bare.entries]
        adapter = opened(bare, learn_farads(bench, cleared_empty(bench), points), "2031-05-04")
        scanner.plug(True)
        for fault in filter(None, case.fault.split(BESIDE)):
            scanner.add(fault)
        request = Request(case.loom, adapter, "placing", "2031-05-04T00:00:00Z", locate=locate)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "journal.jsonl"
            journaled = JournaledBench(bench, path, {})
            try:
                # The scatter is what a self-test of this bench would have found.
                clearance = replace(
                    cleared(case.loom, journaled, adapter, meter_v=0.0),
                    repeatability_ohm=REPEATABILITY_OHM,
                    checked=clearances._CHECKED,
                )
                outcome = finish(prove(request, journaled, clearance))
            finally:
                journaled.detach()
            asked = path.read_text(encoding="utf-8")
    return outcome, asked


@dataclass(frozen=True)
class Row:
    """What was told of one fault, and whether it is so.

    ``right`` is of the answer (contact, wire, plug), where one was told. ``half_m`` is the half-width of the
    interval where it is shorter than half the wire, and ``held`` whether it holds the true place.
    """

    number: int
    kind: str
    told: str
    right: bool
    far: bool
    half_m: float | None
    held: bool
    farads: int
    two_ended: bool
    readings: int
    fault: str
    text: str


def place_of(outcome: Outcome, *kinds: Kind) -> Place | None:
    """Return the place of the first finding of these kinds that has one."""
    return next((f.place for f in outcome.document.findings if f.kind in kinds and f.place is not None), None)


def within(loom: Loom, stretches: Sequence[WirePlace], wire: str, place_m: float) -> bool:
    """Return whether a place, m from the wire's own ``a``, lies in one of these."""
    for each in stretches:
        if each.wire == wire:
            own = loom.wire_by_name[wire]
            at_m = place_m if each.end == own.a else (own.length_m or 0.0) - place_m
            if each.low_m - 1e-6 <= at_m <= each.high_m + 1e-6:
                return True
    return False


def _half_m(loom: Loom, place: Place) -> float | None:
    """Return half of what the stretches of each wire come to, the longest; ``None`` over half the wire."""
    reach: dict[str, float] = {}
    for each in place.stretches:
        reach[each.wire] = reach.get(each.wire, 0.0) + each.high_m - each.low_m
    if not reach or any(length > (loom.wire_by_name[w].length_m or 0.0) / 2 for w, length in reach.items()):
        return None
    return max(reach.values()) / 2


def break_row(number: int, case: Case, seed: int) -> Row:
    """Prove a loom with one break and judge what is told by the drawing."""
    outcome, journal = over_link(case, seed)
    place = place_of(outcome, Kind.OPEN) or Place("none", "nothing told")
    loom, truth = case.loom, case.truth
    name, at_m = truth.places_m[0] if truth.places_m else ("", 0.0)
    length_m = loom.wire_by_name[name].length_m or 0.0 if name else 0.0
    inside = bool(name) and within(loom, place.stretches, name, at_m)
    wires = {each.wire for each in place.stretches}
    told: str = place.answer
    right = False
    if told == "contact":
        right = truth.ends == place.ends
    elif told == "near":
        right = truth.ends == place.ends or inside
    elif told == "wire" or (told == "either" and not place.ends and len(wires) == 1):
        told, right = "wire", name in wires
    else:
        told = ""
    half_m = _half_m(loom, place) if place.answer == "wire" else None
    return Row(
        number, truth.kind, told, right, min(at_m, length_m - at_m) > FAR_M, half_m, inside,
        journal.count('"ask":["capacitance"'), True, place.readings, case.fault, place.text,
    )  # fmt: skip


def short_row(number: int, case: Case, seed: int) -> Row:
    """Prove a loom in which two conductors touch and judge what is told by the drawing."""
    outcome, journal = over_link(case, seed)
    place = place_of(outcome, Kind.SHORT, Kind.LEAKAGE) or Place("none", "nothing told")
    loom, truth = case.loom, case.truth
    inside = bool(truth.places_m) and all(
        within(loom, place.stretches, wire, at_m) for wire, at_m in truth.places_m
    )
    told = place.answer if place.answer in ("wire", "connector") else ""
    right = inside if told == "wire" else set(truth.ends) == set(place.ends)
    if told == "wire":  # right of the answer; whether the interval holds is counted apart
        right = {w for w, _ in truth.places_m} == {each.wire for each in place.stretches}
    half_m = _half_m(loom, place) if place.answer in ("wire", "either") else None
    held = inside or (place.answer == "either" and bool(truth.ends) and set(truth.ends) <= set(place.ends))
    ends = [*truth.ends, *(end for wire, _ in truth.places_m for end in loom.wire_by_name[wire].ends)]
    two_ended = all(end.cavity for wire in loom.wires if set(wire.ends) & set(ends) for end in wire.ends)
    return Row(
        number, truth.kind, told, right, False, half_m, held, journal.count('"ask":["capacitance"'),
        two_ended, place.readings, case.fault, place.text,
    )  # fmt: skip

"""Conductors that read above their limit though they are joined: which wire, contact or splice it is.

Each thing that can be bad (a wire, the contact of a cavity, a splice) is held against every judged
reading of its net: readings that see it and fail speak for it, readings that see it and pass speak
against it. One that every failing reading sees and no passing one does explains them all; where several
do, they are listed as equals; where none does, the fewest together that do.

Where contacts sit in wrong places or wires are open, the description's limit of a reading is not that of the
way its current takes. Such readings are judged anew, between the places in the wiring that they reach.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.fit import Place, as_near, misfits
from loomproof.diagnosis.found import Found
from loomproof.diagnosis.mending import is_ring, looks_at_high, of_adapter, rejoined, renewed
from loomproof.diagnosis.wiring import Wiring
from loomproof.diagnosis.words import listed, of_reading
from loomproof.diagnosis.writing import Writer
from loomproof.electrics.decision import judge
from loomproof.electrics.expectation import expect
from loomproof.loom.model import End
from loomproof.results.findings import Alternative, Finding
from loomproof.results.measured import Decision, Judged, Path

MOST_TOGETHER = 3
"""So many bad joints of one net are looked for; more are told as one finding."""


@dataclass(frozen=True, slots=True, order=True)
class Suspect:
    """One thing that can be bad: ``edge`` of the wiring (a wire or a part), or the joint at ``node``."""

    rank: int
    edge: int = -1
    node: int = -1


def joint_findings(found: Found, writer: Writer) -> Iterator[Finding]:
    """Yield a finding for each bad joint that the failing readings of whole conductors ask for."""
    by_net: dict[int, list[Judged]] = {}
    for judged in _readings(found, writer.weights.bound_leak_ohm):
        leaf = found.place_of(judged.a)
        if leaf is not None:
            by_net.setdefault(found.wiring.net_of[leaf], []).append(judged)
    for readings in by_net.values():
        failing = [judged for judged in readings if judged.decision is Decision.FAIL]
        if failing:
            # Each bad joint has at least what a failing reading is above its limit by, uncertainty taken off.
            extra_ohm = min(j.measured_ohm - j.uncertainty_ohm - j.limit_ohm for j in failing)
            passing = [
                judged
                for judged in readings
                if judged.decision is Decision.PASS or (judged.within and judged.bound_ohm < extra_ohm)
            ]
            yield from _net(found, failing, passing, writer)


def _readings(found: Found, leak_ohm: float) -> Iterator[Judged]:
    """Yield the readings inside found conductors, each judged for the way that its current takes."""
    measured = found.measured
    anew: list[Judged | Path] = []
    for judged in measured.judged:
        if judged.component or math.isinf(judged.measured_ohm) or not found.joined(judged.a, judged.b):
            continue
        if found.at_home(judged.a) and found.at_home(judged.b):
            yield judged
        else:
            anew.append(judged)
    # What was found apart and hangs together through a joint of many ohms was read as a leak.
    read = {frozenset((judged.a, judged.b)) for judged in measured.judged if not judged.component}
    leaks = [
        leak for leak in measured.leaks if leak.ohm < leak_ohm and frozenset((leak.a, leak.b)) not in read
    ]
    paths = (*measured.paths, *leaks)
    anew += [path for path in paths if math.isfinite(path.ohm) and found.joined(path.a, path.b)]
    ways: list[tuple[Judged | Path, tuple[End, End]]] = []
    for reading in anew:
        places = [found.place_of(end) for end in (reading.a, reading.b)]
        one, other = (None if place is None else found.wiring.leaf_ends[place] for place in places)
        if one is not None and other is not None and one != other and found.way(one, other) is not None:
            ways.append((reading, (one, other)))
    should = expect(found.loom).between_all([ends for _, ends in ways]) if ways else []
    for (reading, _), between in zip(ways, should, strict=True):
        ohm = reading.measured_ohm if isinstance(reading, Judged) else reading.ohm
        u_ohm = reading.uncertainty_ohm
        yield Judged(
            reading.a,
            reading.b,
            ohm,
            u_ohm,
            between.expected_ohm,
            between.limit_ohm,
            Decision(judge(ohm, u_ohm, between.limit_ohm)),
            wires=between.wires,
        )


def _net(
    found: Found, failing: Sequence[Judged], passing: Sequence[Judged], writer: Writer
) -> Iterator[Finding]:
    seen = {id(judged): _suspects(found, judged) for judged in (*failing, *passing)}
    cleared = set().union(*(seen[id(judged)] for judged in passing)) if passing else set()
    blamed = [seen[id(judged)] - cleared or seen[id(judged)] for judged in failing]
    sets = _by_ohms(found, _fewest(blamed), [*failing, *passing])
    if not sets:
        ends = tuple(dict.fromkeys(end for judged in failing for end in (judged.a, judged.b)))
        yield writer.make(
            Cause.RESISTIVE_PATH,
            ends,
            f"High resistance between {listed(ends)}",
            [writer.names.place(end) for end in ends],
            ["Meter from cavity to cavity, moving the loom, and follow where the reading is high."],
            wires=tuple(dict.fromkeys(name for judged in failing for name in judged.wires)),
            evidence=[of_reading(judged) for judged in failing],
            cost=writer.weights.open_wire * 2,
        )
        return
    chosen = sets[0]
    for suspect in chosen:
        rest = {*chosen} - {suspect}
        equals = [next(iter({*each} - rest)) for each in sets[1:] if rest < {*each}]
        speaking = [judged for judged in failing if suspect in seen[id(judged)]]
        yield _finding(found, suspect, equals, speaking, _high_lead(speaking, passing), writer)


def _high_lead(speaking: Sequence[Judged], passing: Sequence[Judged]) -> tuple[Alternative, ...]:
    """Return the adapter's lead as an alternative, where each failing reading and no sound one took it."""
    ends = [
        end
        for end in (speaking[0].a, speaking[0].b)
        if all(end in (judged.a, judged.b) for judged in speaking)
        and not any(end in (judged.a, judged.b) for judged in passing)
    ]
    if not ends:
        return ()
    return (
        of_adapter(
            ends,
            Cause.RESISTIVE_LEAD,
            "reads high",
            "Clean or renew the adapter's lead and pin for",
            "meter the loom from its own contacts, the meter's leads taken off: what reads right there is "
            "sound, and the lead is bad.",
            ", and zero the leads",
        ),
    )


def _fewest(blamed: Sequence[set[Suspect]]) -> list[tuple[Suspect, ...]]:
    """Return every smallest set of suspects of which each failing reading sees one, likeliest first."""
    everyone = sorted(set().union(*blamed))
    for size in range(1, MOST_TOGETHER + 1):
        if math.comb(len(everyone), size) > 20_000:
            return []
        found = [
            combination
            for combination in itertools.combinations(everyone, size)
            if all(not suspects.isdisjoint(combination) for suspects in blamed)
        ]
        if found:
            return sorted(found, key=lambda each: (sum(suspect.rank for suspect in each), each))
    return []


def _by_ohms(
    found: Found, sets: Sequence[tuple[Suspect, ...]], readings: Sequence[Judged]
) -> list[tuple[Suspect, ...]]:
    """Return single suspects that the ohms fit in front of others; a net that was found otherwise stays."""
    wiring = found.wiring
    otherwise = found.moved or found.cut_edges or found.cut_splices
    if otherwise or len(sets) < 2 or len(sets[0]) > 1:
        return list(sets)
    near = as_near(misfits(expect(found.loom), [_place(wiring, each) for (each,) in sets], readings))
    return [each for wanted in (True, False) for each, fits in zip(sets, near, strict=True) if fits is wanted]


def _place(wiring: Wiring, suspect: Suspect) -> Place:
    if suspect.node >= 0:
        return Place(splice=wiring.node_ends[suspect.node])
    edge = wiring.edges[suspect.edge]
    if edge.contact >= 0:
        return Place(contact=wiring.leaf_ends[edge.contact])
    return Place(conductors=frozenset((*edge.wires, edge.component)) - {""})


def _suspects(found: Found, judged: Judged) -> set[Suspect]:
    """Return what a reading's current goes through: wires, the contacts at its ends, splices on the way.

    A wire that ends at the reading's own cavity takes its contact along: to tell the two apart would
    need a reading from behind the contact.
    """
    wiring = found.wiring
    edges = wiring.edges
    a, b = found.place_of(judged.a), found.place_of(judged.b)
    if a is None or b is None:
        return set()
    through = [
        number
        for number in found.way(wiring.leaf_ends[a], wiring.leaf_ends[b]) or ()
        if not (judged.wires and edges[number].wires) or set(edges[number].wires) & set(judged.wires)
    ]
    suspects = {Suspect(0 if edges[number].wires else 1, edge=number) for number in through}
    nodes = {node for number in through for node in (edges[number].u, edges[number].v)}
    joints = {node for node in nodes if wiring.is_splice(node) and len(wiring.at[node]) > 2}
    return suspects | {Suspect(2, node=node) for node in joints}


def _finding(
    found: Found,
    suspect: Suspect,
    equals: Sequence[Suspect],
    speaking: Sequence[Judged],
    leads: Sequence[Alternative],
    writer: Writer,
) -> Finding:
    worst = max(speaking, key=lambda judged: judged.measured_ohm)
    cause, what, ends, wires, places, repair = _described(found, suspect, writer)
    others = []
    for other in equals:
        other_cause, other_what, other_ends, other_wires, _, other_repair = _described(found, other, writer)
        others.append(
            Alternative(
                text=writer.names.inside(other_what),
                cause=other_cause,
                cavities=other_ends,
                wires=other_wires,
                repair=other_repair,
                tell_apart=f"Meter along {worst.a} to {worst.b} from joint to joint, pricking nothing: "
                "the part between a good and a bad reading is the one.",
            )
        )
    components = (found.wiring.edges[suspect.edge].component,) if suspect.edge >= 0 else ()
    return writer.make(
        cause,
        ends,
        what,
        places,
        repair,
        wires=wires,
        components=tuple(name for name in components if name),
        evidence=[of_reading(judged) for judged in dict.fromkeys((worst, *speaking[:4]))],
        alternatives=[*others, *leads],
        cost=writer.weights.open_wire,
    )


def _described(
    found: Found, suspect: Suspect, writer: Writer
) -> tuple[Cause, str, tuple[End, ...], tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Return cause, title, cavities, wires, places and repair of one suspect."""
    wiring, names = found.wiring, writer.names
    if suspect.node >= 0:
        end = wiring.node_ends[suspect.node]
        wires = tuple(wire.name for wire in found.loom.wires_at.get(end, ()))
        reached = tuple(
            dict.fromkeys(
                wiring.leaf_ends[leaf]
                for number in wiring.at[suspect.node]
                for leaf in wiring.side(number, suspect.node)
            )
        )
        return (
            Cause.RESISTIVE_SPLICE,
            f"Bad joint in splice {end}",
            reached,
            wires,
            (names.place(end),),
            (
                f"Open the cover of splice {end}: green, loose or burnt?",
                "Cut back to bright copper and make the joint again: crimp splice, sealed heat-shrink.",
            ),
        )
    edge = wiring.edges[suspect.edge]
    if edge.contact >= 0:
        end = wiring.leaf_ends[edge.contact]
        wires = tuple(wire.name for wire in found.loom.wires_at.get(end, ()))
        ring = is_ring(names, end)
        look = "paint or rust under the lug, a loose bolt" if ring else "green, spread"
        return (
            Cause.RESISTIVE_CONTACT,
            f"Bad {'joint at ring' if ring else 'contact at'} {end}",
            (end,),
            wires,
            (names.place(end),),
            (
                f"Look at {end}: {look} or half crimped?",
                f"{renewed(names, (end,))}."
                if ring
                else f"Clean it, or {names.inside(renewed(names, (end,)))}.",
            ),
        )
    if edge.component:
        part = found.loom.component_by_name[edge.component]
        return (
            Cause.RESISTIVE_CONTACT,
            f"High resistance through {edge.component}",
            tuple(end for end in part.ends if end.cavity),
            (),
            tuple(names.place(end) for end in part.ends),
            (f"Pull {edge.component}; clean its contacts, meter it on its own.",),
        )
    runs = [found.loom.wire_by_name[name] for name in edge.wires]
    ends = tuple(end for end in runs[0].ends if end.cavity)
    splices = tuple(end for end in runs[0].ends if not end.cavity)
    return (
        Cause.RESISTIVE_WIRE,
        f"High resistance in {names.wires(edge.wires)} or at its ends",
        ends or tuple(wiring.leaf_ends[leaf] for leaf in sorted(wiring.side(suspect.edge, edge.u))),
        edge.wires,
        (*(names.place(end) for end in (*ends, *splices)), *(names.run(wire) for wire in runs)),
        (
            *looks_at_high(names, ends, splices),
            "Meter the wire from behind each of its ends: the step in the reading is the bad joint.",
            *rejoined(names, runs, ends),
        ),
    )

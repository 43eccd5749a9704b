"""Built-in parts: missing, of the wrong value, reversed."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.desk import SHORTED_OHM
from loomproof.diagnosis.found import Found, parts_as_found, read_ends
from loomproof.diagnosis.left_in import or_left_in, read_back
from loomproof.diagnosis.loops import Amiss, PartNetwork, agree, one_for_all
from loomproof.diagnosis.mending import cathode_mark, kind_of, new_part, right_value, taken_out
from loomproof.diagnosis.words import listed, of_reading
from loomproof.diagnosis.writing import Writer
from loomproof.electrics.bounds import least_ohm
from loomproof.electrics.component_kinds import conducting_ends, joined_ends
from loomproof.electrics.currents import on_the_way
from loomproof.loom.model import Component, End
from loomproof.results.figures import ohms
from loomproof.results.findings import Alternative, Evidence, Finding
from loomproof.results.measured import Decision, Judged, JudgedDiode, SensedPart

EVEN = 0.02
"""What reads the same both ways to this share has no diode in it. Our convention."""


def part_findings(found: Found, writer: Writer) -> Iterator[Finding]:
    """Yield what is wrong with built-in parts, what the wiring's own faults explain left out."""
    open_parts: dict[str, Judged] = {}
    amiss: dict[str, Amiss] = {}
    network = PartNetwork(found)
    # Sound parts read otherwise where the wiring's faults join their nets.
    rewired = set(found.measured.groups) != set(found.measured.expected)
    for judged in found.measured.judged:
        if not judged.component or judged.decision is not Decision.FAIL:
            continue
        part = found.loom.component_by_name.get(judged.component)
        if part is None or not reaches(found, judged.component, judged.a, judged.b):
            continue
        at = found.group_of.get(judged.a), found.group_of.get(judged.b)
        if math.isinf(judged.measured_ohm):
            open_parts.setdefault(part.name, judged)
        elif not found.joined(judged.a, judged.b) or _too_low_shunt(part, judged):
            so_ohm = network.ohm(at)
            off_ohm = abs(judged.expected_ohm - judged.measured_ohm)
            changed = rewired and (
                not agree(judged.expected_ohm, judged.measured_ohm)
                or abs(so_ohm - judged.measured_ohm) < off_ohm / 2
            )
            if changed and (agree(so_ohm, judged.measured_ohm) or _unknown_beside(found, judged)):
                continue
            gone = judged.measured_ohm > judged.limit_ohm and agree(
                network.ohm(at, without=part.name), judged.measured_ohm
            )
            finding = (
                _missing(found, part, (), [of_reading(judged)], (judged.a, judged.b), writer)
                if gone
                else _wrong_value(part, judged, writer)
            )
            amiss.setdefault(part.name, Amiss(at, judged.measured_ohm, finding))
    for diode in found.measured.diodes:
        if diode.decision is Decision.FAIL and reaches(found, diode.component, diode.anode, diode.cathode):
            at = found.group_of.get(diode.anode), found.group_of.get(diode.cathode)
            ohm = diode.backward if diode.unit == "ohm" else math.inf
            if rewired and math.isfinite(diode.backward) and found.leads(at[1], at[0], diode.component):
                continue
            for finding in _diode(found, diode, writer):
                amiss[diode.component] = Amiss(at, ohm, finding)
    yield from one_for_all(network, amiss.values())
    yield from _open_parts(found, open_parts, writer)
    for sensed in found.measured.sensed_parts:
        if not sensed.conducts and reaches(found, sensed.component, sensed.a, sensed.b):
            part = found.loom.component_by_name[sensed.component]
            shown = [Evidence(f"{sensed.b} does not read low while {sensed.a} alone is driven")]
            edges = _blind_edges(found, part, sensed)
            yield _missing(found, part, edges, shown, (sensed.a, sensed.b), writer)


def _unknown_beside(found: Found, judged: Judged) -> bool:
    """Whether parts of which no ohms are known lead beside the part as found, and can make it read so."""
    one, other = found.group_of.get(judged.a), found.group_of.get(judged.b)
    if one is None or other is None or judged.measured_ohm >= judged.lower_ohm:
        return False
    parts, root = parts_as_found(found)
    beside = on_the_way([p for p in parts if p.component != judged.component], root(one), [root(other)])
    if all(part.linear for part in beside):
        return False
    return judged.bound_ohm >= least_ohm(parts, [root(one)], [root(other)], math.inf)


def _too_low_shunt(part: Component, judged: Judged) -> bool:
    """Whether a part that is a conductor reads too low; too high it is told as a joint of its net."""
    shunt = bool(joined_ends(part)) and set(conducting_ends(part)) <= set(joined_ends(part))
    return shunt and judged.measured_ohm < judged.lower_ohm


def reaches(found: Found, component: str, a: End, b: End) -> bool:
    """Whether a reading between two cavities still sees the part: no fault of the wiring stands between."""
    if any(found.wiring.edges[number].component == component for number in found.cut_edges):
        return False
    groups = {found.group_at(end) for end in read_ends(found.loom.component_by_name[component])}
    return {found.group_of.get(a), found.group_of.get(b)} <= groups


def _wrong_value(part: Component, judged: Judged, writer: Writer) -> Finding:
    low = judged.measured_ohm < judged.lower_ohm
    shorted = low and judged.measured_ohm < min(SHORTED_OHM, judged.expected_ohm / 10)
    cause = Cause.SHORTED_PART if shorted else Cause.WRONG_VALUE
    what = "reads as a short" if shorted else "reads too low" if low else "reads too high"
    others = [
        Alternative(
            text="the part is right and "
            + ("another path lies beside it" if low else "a contact or wire to it is bad"),
            cause=Cause.ADDED_PART if low else Cause.RESISTIVE_PATH,
            cavities=(judged.a, judged.b),
            tell_apart=f"{taken_out(part)} and meter it on its own.",
        )
    ]
    if shorted:
        near = writer.near(judged.a, judged.b)
        beside = next((touch.ends for touch in near if touch.ends), ())
        others = [
            Alternative(
                text=f"{part.name} is right, and a short lies between {judged.a} and {judged.b}",
                cause=Cause.TOUCHING,
                cavities=tuple(dict.fromkeys((*beside, judged.a, judged.b))),
                wires=writer.wires_of(judged.a, judged.b),
                tell_apart=f"{taken_out(part)} and read again: a short stays.",
            )
        ]
    return writer.make(
        cause,
        (judged.a, judged.b),
        f"{_capital(part)} {part.name} {what}: {_right(part, judged)}",
        [writer.names.place(end) for end in part.ends],
        [
            f"{taken_out(part)} and meter it on its own; compare its marking with the description.",
            f"Fit {new_part(part)}, or put the description right.",
        ],
        components=(part.name,),
        evidence=[of_reading(judged)],
        alternatives=others,
        cost=writer.weights.open_component,
    )


def _right(part: Component, judged: Judged) -> str:
    if math.isfinite(judged.expected_ohm):
        return f"{right_value(part, judged.expected_ohm)} is right"
    return f"a sound one has {ohms(judged.lower_ohm)} or more"


def _diode(found: Found, read: JudgedDiode, writer: Writer) -> Iterator[Finding]:
    part = found.loom.component_by_name[read.component]
    unit = "V" if read.unit == "V" else "Ω"
    shown = [
        Evidence(
            f"{read.component}: {_figure(read.forward, unit)} from {read.anode} to {read.cathode}, "
            f"{_figure(read.backward, unit)} the other way"
        )
    ]
    cavities = (read.anode, read.cathode)
    where = [writer.names.place(end) for end in part.ends]
    if read.reversed:
        yield reversed_diode(part, read.anode, read.cathode, shown, writer)
    elif _no_diode(found, read):
        yield _missing(found, part, (), shown, cavities, writer)
    elif not found.joined(read.anode, read.cathode):
        both = math.isfinite(read.forward) and math.isfinite(read.backward)
        what = f"{_capital(part)} {read.component}"
        plain = writer.make(
            Cause.SHORTED_PART if both else Cause.WRONG_VALUE,
            cavities,
            f"{what} conducts both ways" if both else f"{what} does not read as a sound one forward",
            where,
            [f"Replace {read.component} by one of its type, {cathode_mark(part)} at {read.cathode}."],
            components=(read.component,),
            evidence=shown,
            cost=writer.weights.open_component,
        )
        groups: set[Hashable] = {found.group_of.get(read.anode), found.group_of.get(read.cathode)}
        seen = read_back(read) if both else None
        yield plain if seen is None else or_left_in(found, writer, plain, groups, *seen)


def _no_diode(found: Found, read: JudgedDiode) -> bool:
    """Whether no current flows forward, or the same both ways that other parts beside it give."""
    if math.isinf(read.forward):
        return math.isinf(read.backward) or read.unit == "ohm"
    at = found.group_of.get(read.anode), found.group_of.get(read.cathode)
    stated_ohm = PartNetwork(found).ohm(at, without=read.component)
    even = math.isfinite(read.forward) and abs(read.forward - read.backward) <= EVEN * read.backward
    if read.unit == "ohm":
        return even and agree(stated_ohm, read.backward)
    across = [j for j in found.measured.judged if {found.group_of.get(j.a), found.group_of.get(j.b)} == {*at}]
    sound = [j for j in across if j.component and j.decision is not Decision.FAIL]
    return even and math.isfinite(stated_ohm) and bool(sound)


def reversed_diode(
    part: Component, anode: End, cathode: End, shown: list[Evidence], writer: Writer
) -> Finding:
    """Return the finding of a diode that conducts from its cathode's place to its anode's."""
    crossed = Alternative(
        text=f"the wires of {anode} and {cathode} are crossed at {part.name}",
        cause=Cause.CROSSED,
        cavities=(anode, cathode),
        tell_apart=f"Look at {part.name}: its {cathode_mark(part)} belongs at {cathode}.",
    )
    return writer.make(
        Cause.REVERSED_DIODE,
        (anode, cathode),
        f"{_capital(part)} {part.name} reversed: it conducts from {cathode} to {anode}",
        [writer.names.place(end) for end in part.ends],
        [f"Turn {part.name} round: its {cathode_mark(part)} belongs at {cathode}."],
        components=(part.name,),
        evidence=shown,
        alternatives=[crossed],
        cost=writer.weights.open_component,
    )


def _figure(value: float, unit: str) -> str:
    if math.isinf(value):
        return "no current"
    return ohms(value) if unit == "Ω" else f"{value:.2f} V"


def _open_parts(found: Found, open_parts: dict[str, Judged], writer: Writer) -> Iterator[Finding]:
    """Yield parts that read open; several behind one untested wire are that wire."""
    blind = {
        name: _blind_edges(found, found.loom.component_by_name[name], judged)
        for name, judged in open_parts.items()
    }
    behind: dict[int, list[str]] = {}
    for name, edges in blind.items():
        for number in edges:
            behind.setdefault(number, []).append(name)
    sound = {
        number
        for judged in found.measured.judged
        if judged.component and judged.decision is not Decision.FAIL
        for number in _blind_edges(found, found.loom.component_by_name[judged.component], judged)
    }
    done: set[str] = set()
    for number, names in sorted(behind.items(), key=lambda item: (-len(item[1]), item[0])):
        fresh = [name for name in names if name not in done]
        if len(fresh) < 2 or number in sound:
            continue
        done.update(fresh)
        edge = found.wiring.edges[number]
        first = open_parts[fresh[0]]
        yield writer.make(
            Cause.BROKEN_WIRE,
            (first.a, first.b),
            f"{writer.names.wires(edge.wires) or listed(fresh)} open: {listed(fresh)} behind it out of reach",
            [writer.names.run(found.loom.wire_by_name[name]) for name in edge.wires],
            [f"Probe {writer.names.wires(edge.wires)} from end to end and mend it."],
            wires=edge.wires,
            components=tuple(fresh),
            evidence=[of_reading(open_parts[name]) for name in fresh],
            cost=edge.cost,
        )
    for name, judged in open_parts.items():
        if name not in done:
            edges = tuple(number for number in blind[name] if number not in sound)
            part = found.loom.component_by_name[name]
            yield _missing(found, part, edges, [of_reading(judged)], (judged.a, judged.b), writer)


def _blind_edges(found: Found, part: Component, judged: Judged | SensedPart) -> tuple[int, ...]:
    """Return the edges between a reading's cavities and the part that nothing else tests."""
    wiring = found.wiring
    edges: list[int] = []
    for cavity in (judged.a, judged.b):
        leaf = found.place_of(cavity)
        for end in part.ends:
            node = wiring.node_of(end)
            path = None if leaf is None or node is None else wiring.path(leaf, node)
            at = leaf
            for number in path or ():
                assert at is not None
                if not wiring.side(number, at):
                    edges.append(number)
                at = wiring.edges[number].u + wiring.edges[number].v - at
    return tuple(dict.fromkeys(edges))


def _missing(
    found: Found,
    part: Component,
    edges: tuple[int, ...],
    shown: list[Evidence],
    cavities: tuple[End, ...],
    writer: Writer,
) -> Finding:
    others = [
        Alternative(
            text=f"{writer.names.wires(found.wiring.edges[number].wires)} to {part.name} is open",
            cause=Cause.BROKEN_WIRE,
            cavities=cavities,
            wires=found.wiring.edges[number].wires,
            tell_apart=f"Meter {part.name} at its own terminals: a reading there means the wire.",
        )
        for number in edges
        if found.wiring.edges[number].wires
    ]
    alone = [end for end in cavities if end.cavity and found.alone(end)]
    others += [
        Alternative(
            text=f"the contact of {end} is open, and {part.name} is there",
            cause=Cause.BAD_CONTACT,
            cavities=(end,),
            repair=(f"Seat the contact of {end} until it is held, or renew it.",),
            tell_apart=f"Meter {part.name} at its own terminals: a reading there means contact or lead.",
        )
        for end in alone
        if end in part.ends
    ]
    others += [
        Alternative(
            text=f"the adapter's lead or pin for {end} is open, not the loom",
            cause=Cause.ADAPTER_LEAD,
            cavities=(end,),
            repair=(f"Mend the adapter's lead for {end}.",),
            tell_apart=f"Take {end.connector} off the adapter and touch the adapter's lead for {end} with "
            "the probe: silence means the lead.",
        )
        for end in alone
    ]
    return writer.make(
        Cause.MISSING_PART,
        cavities,
        f"{_capital(part)} {part.name} missing or open between {listed(part.ends)}",
        [writer.names.place(end) for end in part.ends],
        [
            f"Look whether {part.name} is there; meter it on its own.",
            f"Fit {new_part(part)}.",
        ],
        components=(part.name,),
        evidence=shown,
        alternatives=others,
        cost=writer.weights.open_component,
    )


def _capital(part: Component) -> str:
    word = kind_of(part)
    return word[:1].upper() + word[1:]

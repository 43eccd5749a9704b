"""Built-in parts: missing, of the wrong value, reversed; parts and leaks where none should be."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator

from loomproof.diagnosis.desk import SHORTED_OHM
from loomproof.diagnosis.found import Found
from loomproof.diagnosis.left_in import or_left_in, read_back
from loomproof.diagnosis.loops import Amiss, PartNetwork, agree, one_for_all
from loomproof.diagnosis.mending import cathode_mark, kind_of, new_part, right_value
from loomproof.diagnosis.touch import Touch
from loomproof.diagnosis.words import listed, of_reading
from loomproof.diagnosis.writing import Writer
from loomproof.electrics.component_kinds import conducting_ends, joined_ends
from loomproof.loom.model import Component, ComponentKind, End
from loomproof.results.figures import ohms
from loomproof.results.findings import Alternative, Evidence, Finding
from loomproof.results.measured import Decision, Judged, JudgedDiode, OneWay, Path, SensedPart


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
            changed = rewired and not agree(judged.expected_ohm, judged.measured_ohm)
            if changed and agree(network.ohm(at), judged.measured_ohm):
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


def _too_low_shunt(part: Component, judged: Judged) -> bool:
    """Whether a part that is a conductor reads too low; too high it is told as a joint of its net."""
    return bool(joined_ends(part)) and judged.measured_ohm < judged.lower_ohm


def path_findings(found: Found, writer: Writer) -> Iterator[Finding]:
    """Yield leaks, added parts and one-way paths that no built-in part explains, one for two groups."""
    told: set[frozenset[int]] = set()
    stray: list[tuple[tuple[int, int], tuple[int, int]]] = []
    # The lowest first: what parts and paths already told explain together is told no second time.
    for path in sorted((*found.measured.leaks, *found.measured.paths), key=lambda path: path.ohm):
        a, b = found.group_of.get(path.a), found.group_of.get(path.b)
        if a is None or b is None or a == b or frozenset((a, b)) in told:
            continue
        if any(found.behind(a, one) and found.behind(b, other) for pair in stray for one, other in pair):
            continue
        chain = None if path.stray else found.parts_between(a, b)
        if path.stray:
            stray.append(((a, b), (b, a)))
        if chain is not None and path.ohm >= chain * (1 - writer.weights.bound_bridged_percent / 100):
            continue
        if chain is None and not path.stray and _same_net(found, path):
            continue
        plain = _path(path, writer, _near(found, path, writer), _behind_parts(found, path, a, b))
        yield or_left_in(found, writer, plain, {a, b}, path.ohm, path.uncertainty_ohm)
        told.add(frozenset((a, b)))
        found.add_chain(f"path {path.a} {path.b}", a, b, path.ohm)
    ways: dict[tuple[int, int], OneWay] = {}
    for way in found.measured.one_way:
        a, b = found.group_of.get(way.source), found.group_of.get(way.sink)
        if a is not None and b is not None and a != b:
            ways.setdefault((a, b), way)
    seen: list[tuple[int, int]] = []
    for (a, b), way in ways.items():
        # Parts lead to the two ends of a path that was told: seen through them it is the same.
        told_as = (*seen, *(pair for pairs in stray for pair in pairs)) if way.stray else seen
        if any(found.behind(a, source) and found.behind(b, sink) for source, sink in told_as):
            continue
        turned = _turned_diode(found, way, writer)
        if turned is not None:
            yield turned
        elif way.stray or found.parts_between(a, b) is None:
            yield _one_way(found, way, writer)
            seen.append((a, b))


def _same_net(found: Found, path: Path) -> bool:
    """Whether both ends belong to one expected net; then the path is an open that still conducts."""
    a, b = found.place_of(path.a), found.place_of(path.b)
    return a is not None and b is not None and found.wiring.net_of[a] == found.wiring.net_of[b]


def reaches(found: Found, component: str, a: End, b: End) -> bool:
    """Whether a reading between two cavities still sees the part: no fault of the wiring stands between."""
    if any(found.wiring.edges[number].component == component for number in found.cut_edges):
        return False
    groups = {found.group_at(end) for end in read_ends(found.loom.component_by_name[component])}
    return {found.group_of.get(a), found.group_of.get(b)} <= groups


def read_ends(part: Component) -> tuple[End, ...]:
    """Return the ends between which a part is read: of a relay those of its coil, not of its contact."""
    read = [pair for pair in conducting_ends(part) if pair not in joined_ends(part)]
    return read[0] if read else part.ends


def _wrong_value(part: Component, judged: Judged, writer: Writer) -> Finding:
    low = judged.measured_ohm < judged.lower_ohm
    shorted = low and judged.measured_ohm < min(SHORTED_OHM, judged.expected_ohm / 10)
    cause = "shorted_part" if shorted else "wrong_value"
    what = "reads as a short" if shorted else "reads too low" if low else "reads too high"
    others = [
        Alternative(
            text="the part is right and "
            + ("another path lies beside it" if low else "a contact or wire to it is bad"),
            cause="added_part" if low else "resistive_path",
            cavities=(judged.a, judged.b),
            tell_apart=f"Take {part.name} out and meter it on its own.",
        )
    ]
    if shorted:
        near = writer.near(judged.a, judged.b)
        beside = next((touch.ends for touch in near if touch.ends), ())
        others = [
            Alternative(
                text=f"{part.name} is right, and a short lies between {judged.a} and {judged.b}",
                cause="touching",
                cavities=tuple(dict.fromkeys((*beside, judged.a, judged.b))),
                wires=writer.wires_of(judged.a, judged.b),
                tell_apart=f"Take {part.name} out and read again: a short stays.",
            )
        ]
    return writer.make(
        cause,
        (judged.a, judged.b),
        f"{_capital(part)} {part.name} {what}: {_right(part, judged)}",
        [writer.names.place(end) for end in part.ends],
        [
            f"Take {part.name} out and meter it on its own; compare its marking with the description.",
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
        yield _reversed(part, read.anode, read.cathode, shown, writer)
    elif math.isinf(read.forward) and (math.isinf(read.backward) or read.unit == "ohm"):
        yield _missing(found, part, (), shown, cavities, writer)
    elif not found.joined(read.anode, read.cathode):
        both = math.isfinite(read.forward) and math.isfinite(read.backward)
        what = f"{_capital(part)} {read.component}"
        plain = writer.make(
            "shorted_part" if both else "wrong_value",
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


def _reversed(part: Component, anode: End, cathode: End, shown: list[Evidence], writer: Writer) -> Finding:
    crossed = Alternative(
        text=f"the wires of {anode} and {cathode} are crossed at {part.name}",
        cause="crossed",
        cavities=(anode, cathode),
        tell_apart=f"Look at {part.name}: its {cathode_mark(part)} belongs at {cathode}.",
    )
    return writer.make(
        "reversed_diode",
        (anode, cathode),
        f"{_capital(part)} {part.name} reversed: it conducts from {cathode} to {anode}",
        [writer.names.place(end) for end in part.ends],
        [f"Turn {part.name} round: its {cathode_mark(part)} belongs at {cathode}."],
        components=(part.name,),
        evidence=shown,
        alternatives=[crossed],
        cost=writer.weights.open_component,
    )


def _turned_diode(found: Found, way: OneWay, writer: Writer) -> Finding | None:
    """Return the finding of a diode that a path runs against, where no reading in ohms has judged it."""
    read = {diode.component for diode in found.measured.diodes}
    for part in found.loom.components:
        if part.kind is not ComponentKind.DIODE or not part.fitted or part.name in read:
            continue
        anode, cathode = (found.group_at(part.terminal(name)) for name in ("A", "K"))
        if (cathode, anode) == (found.group_of.get(way.source), found.group_of.get(way.sink)):
            return _reversed(part, way.sink, way.source, [_seen(found, way)], writer)
    return None


def _seen(found: Found, way: OneWay) -> Evidence:
    if found.measured.sense_vectors:
        return Evidence(f"{way.source} reads low when {way.sink} is driven, but not the other way round")
    return Evidence(f"current flows from {way.source} to {way.sink}, and little or none the other way round")


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
            "broken_wire",
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
            cause="broken_wire",
            cavities=cavities,
            wires=found.wiring.edges[number].wires,
            tell_apart=f"Meter {part.name} at its own terminals: a reading there means the wire.",
        )
        for number in edges
        if found.wiring.edges[number].wires
    ]
    return writer.make(
        "missing_part",
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


def _behind_parts(found: Found, path: Path, a: int, b: int) -> list[tuple[End, End]]:
    """Return other pairs of conductors that read the same, since small parts join them to the ones read."""
    first: dict[int, End] = {}
    for end, group in found.group_of.items():
        first.setdefault(group, end)
    slack = max(2 * path.uncertainty_ohm, 0.05 * path.ohm)
    return [
        (first[one], first[other])
        for one in (a, *found.within(a, slack))
        for other in (b, *found.within(b, slack))
        if (one, other) != (a, b) and one != other
    ]


def _near(found: Found, path: Path, writer: Writer) -> list[Touch]:
    """Return where the conductors of a path come near each other, as far as they were found there."""
    pair = {found.group_of.get(path.a), found.group_of.get(path.b)}
    return [
        touch
        for touch in writer.near(path.a, path.b)
        if not touch.ends or {found.group_of.get(end) for end in touch.ends} == pair
    ]


def _path(path: Path, writer: Writer, near: list[Touch], behind: list[tuple[End, End]]) -> Finding:
    leak = path.ohm >= writer.weights.bound_leak_ohm
    reads = Evidence(
        f"{path.a} to {path.b}, where nothing should be{f', at {path.volts:g} V' if path.volts else ''}",
        path.ohm,
        path.uncertainty_ohm,
    )
    places = [touch.text for touch in near]
    cavities = next((touch.ends for touch in near if touch.ends), (path.a, path.b))
    nets = f"{path.a} and {path.b}"
    shown = tuple(dict.fromkeys((*cavities, path.a, path.b)))
    part = Alternative(
        text=f"a part sits between {nets}",
        cause="added_part",
        cavities=shown,
        tell_apart="Dry and clean the housings on these conductors and measure again: "
        "a part keeps its value, moisture does not.",
    )
    wet = Alternative(
        text=f"moisture, carbon or burnt insulation between {nets}",
        cause="leak",
        cavities=shown,
        tell_apart=part.tell_apart,
    )
    plugged = f"Is anything still plugged in on {nets}: a sensor, a lamp, a control unit? Unplug it."
    dry = "Unplug connectors on both conductors one at a time, reading between: the path goes with one."
    elsewhere = [
        Alternative(
            text=f"the same path between {one} and {other}, behind built-in parts",
            cause="leak" if leak else "added_part",
            cavities=(one, other),
            tell_apart=f"Pull the parts between, and measure {one} to {other} again.",
        )
        for one, other in behind
    ]
    if leak:
        return writer.make(
            "leak",
            shown,
            f"Leakage between {nets}",
            places,
            [dry, "Clean and dry the housing, renew seals; renew wire whose insulation is burnt or chafed."],
            evidence=[reads],
            alternatives=[part, *elsewhere],
            cost=writer.weights.short,
            cautions=writer.joined(path.a, path.b),
        )
    return writer.make(
        "added_part",
        shown,
        f"Path between {nets}, where nothing should be",
        places,
        [
            plugged,
            dry,
            "Take out what was added, or put it into the description; clean or renew burnt insulation.",
        ],
        evidence=[reads],
        alternatives=[wet, *elsewhere],
        cost=writer.weights.short,
        cautions=writer.joined(path.a, path.b),
    )


def _one_way(found: Found, way: OneWay, writer: Writer) -> Finding:
    source, sink = way.source, way.sink
    return writer.make(
        "one_way_path",
        (source, sink),
        f"Path from {source} to {sink} that conducts one way only, where nothing should be",
        [writer.names.place(source), writer.names.place(sink)],
        [
            "Look for a diode that the description does not hold, or a control unit still plugged in.",
            "Take it out, or put it into the description.",
        ],
        evidence=[_seen(found, way)],
        cost=writer.weights.short,
    )

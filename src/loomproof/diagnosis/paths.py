"""Paths where none should be: leaks, parts that the description does not hold, what conducts one way only."""

from __future__ import annotations

from collections.abc import Iterator

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.found import Found
from loomproof.diagnosis.left_in import or_left_in
from loomproof.diagnosis.parts import reversed_diode
from loomproof.diagnosis.touch import Touch
from loomproof.diagnosis.writing import Writer
from loomproof.loom.model import ComponentKind, End
from loomproof.results.findings import Alternative, Evidence, Finding
from loomproof.results.measured import OneWay, Path


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
        plain = path_finding(path, writer, near_found(found, path, writer), behind_parts(found, path, a, b))
        yield or_left_in(found, writer, plain, {a, b}, path.ohm, path.uncertainty_ohm)
        told.add(frozenset((a, b)))
        found.add_chain(f"path {path.a} {path.b}", a, b, path.ohm)
    ways: dict[tuple[int, int], OneWay] = {}
    for way in found.measured.one_way:
        a, b = found.group_of.get(way.source), found.group_of.get(way.sink)
        if a is not None and b is not None and a != b and (way.stray or (a, b) not in ways):
            ways[a, b] = way
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


def _turned_diode(found: Found, way: OneWay, writer: Writer) -> Finding | None:
    """Return the finding of a diode that a path runs against, where no reading in ohms has judged it."""
    read = {diode.component for diode in found.measured.diodes}
    for part in found.loom.components:
        if part.kind is not ComponentKind.DIODE or not part.fitted or part.name in read:
            continue
        anode, cathode = (found.group_at(part.terminal(name)) for name in ("A", "K"))
        if (cathode, anode) == (found.group_of.get(way.source), found.group_of.get(way.sink)):
            return reversed_diode(part, way.sink, way.source, [_seen(found, way)], writer)
    return None


def _seen(found: Found, way: OneWay) -> Evidence:
    if found.measured.sense_vectors:
        return Evidence(f"{way.source} reads low when {way.sink} is driven, but not the other way round")
    return Evidence(f"current flows from {way.source} to {way.sink}, and little or none the other way round")


def behind_parts(found: Found, path: Path, a: int, b: int) -> list[tuple[End, End]]:
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


def near_found(found: Found, path: Path, writer: Writer) -> list[Touch]:
    """Return where the conductors of a path come near each other, as far as they were found there."""
    pair = {found.group_of.get(path.a), found.group_of.get(path.b)}
    return [
        touch
        for touch in writer.near(path.a, path.b)
        if not touch.ends or {found.group_of.get(end) for end in touch.ends} == pair
    ]


def path_finding(path: Path, writer: Writer, near: list[Touch], behind: list[tuple[End, End]]) -> Finding:
    """Return the finding of a path; ``behind`` are other pairs of ends at which it would read the same."""
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
        cause=Cause.ADDED_PART,
        cavities=shown,
        tell_apart="Dry and clean the housings on these conductors and measure again: "
        "a part keeps its value, moisture does not.",
    )
    wet = Alternative(
        text=f"moisture, carbon or burnt insulation between {nets}",
        cause=Cause.LEAK,
        cavities=shown,
        tell_apart=part.tell_apart,
    )
    plugged = f"Is anything still plugged in on {nets}: a sensor, a lamp, a control unit? Unplug it."
    dry = "Unplug connectors on both conductors one at a time, reading between: the path goes with one."
    elsewhere = [
        Alternative(
            text=f"the same path between {one} and {other}, behind built-in parts",
            cause=Cause.LEAK if leak else Cause.ADDED_PART,
            cavities=(one, other),
            tell_apart=f"Pull the parts between, and measure {one} to {other} again.",
        )
        for one, other in behind
    ]
    if leak:
        return writer.make(
            Cause.LEAK,
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
        Cause.ADDED_PART,
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
        Cause.ONE_WAY_PATH,
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

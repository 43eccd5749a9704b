"""What the answers imply: circuits that miss each other, floating inputs, joined feeds, plugs to mix up."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from itertools import combinations

from loomproof.electrics.component_kinds import lasting_ends, paths_of
from loomproof.electrics.graph import united
from loomproof.fitting.live_ends import Feed, Live, Tracer
from loomproof.fitting.needs import FittingPlan
from loomproof.loom.model import Component, ComponentKind, ConnectorKind, End, Loom, Need
from loomproof.results.fitting import Level, Warn


def warnings(
    loom: Loom,
    plan: FittingPlan,
    needs: Mapping[str, Need],
    feeds: Iterable[Feed],
    live: Mapping[End, tuple[Live, ...]],
) -> list[Warn]:
    """Return everything that the answers imply, in the order of this module's questions."""
    return [
        *_needed_by_others(loom, needs),
        *_half_used_plugs(loom, plan),
        *_floating(loom, plan),
        *_joined_feeds(feeds, live),
        *_coils(loom, plan, live),
        *_look_alikes(loom, plan),
        *_coil_diodes(loom, plan, feeds),
        *_pairs(loom, plan),
    ]


def _needed_by_others(loom: Loom, needs: Mapping[str, Need]) -> Iterator[Warn]:
    for circuit in loom.circuits:
        if needs.get(circuit.name) is not Need.NEEDED:
            continue
        for other in circuit.needs:
            if needs.get(other, Need.NEEDED) is Need.UNUSED:
                ends = _ends_of(loom, other)
                yield Warn(
                    Level.WARNING,
                    f"{circuit.name} ({circuit.purpose}) does nothing without {other}, which these answers "
                    "leave unused. Answer again, or connect both.",
                    ends,
                )


def _ends_of(loom: Loom, circuit: str) -> tuple[End, ...]:
    ends = (end for wire in loom.wires_of.get(circuit, ()) for end in wire.ends)
    return tuple(dict.fromkeys(end for end in ends if end.cavity))


def _half_used_plugs(loom: Loom, plan: FittingPlan) -> Iterator[Warn]:
    """A needed sensor with a wire of a circuit that is left unused, such as its earth."""
    unused = set(plan.safe) - plan.optional
    for connector in loom.connectors:
        if connector.name not in plan.plugged or connector.name in plan.computers:
            continue
        if connector.kind is ConnectorKind.SOCKET:
            continue  # A bulkhead socket serves many things; an unused cavity of it says nothing.
        for end in connector.ends:
            wires = loom.wires_at.get(end, ())
            if end not in unused or not wires:
                continue
            circuit = loom.circuit_by_name.get(wires[0].circuit)
            what = circuit.purpose if circuit and circuit.purpose else wires[0].circuit
            yield Warn(
                Level.WARNING,
                f"{connector.name} ({connector.description}) is needed, but its cavity {end.cavity} belongs "
                f"to {wires[0].circuit} ({what}), which is left unused: it may have no earth or no supply.",
                (end,),
            )


def _floating(loom: Loom, plan: FittingPlan) -> Iterator[Warn]:
    joined = _copper(loom)
    connected, opened = set(plan.connect), []
    for end in (*plan.connect, *plan.safe):
        if end.connector not in plan.computers or not loom.wires_at.get(end):
            continue
        if end.connector not in plan.plugged:
            continue
        others = [other for other in joined.get(end, ()) if other != end and _meets(loom, other)]
        parted = any(other in part.ends for part in loom.components for other in joined.get(end, ()))
        if not any(other in connected for other in others) and not (parted and end in connected):
            opened.append(end)
    if opened:
        names = ", ".join(f"{end} ({_purpose(loom, end)})" for end in opened)
        yield Warn(
            Level.NOTE,
            f"left open at the computer: {names}. A computer may log a fault or hold back for an input that "
            "floats; its maker's data say what each wants.",
            tuple(opened),
        )


def _meets(loom: Loom, end: End) -> bool:
    return loom.by_name[end.connector].kind not in (
        ConnectorKind.SPLICE,
        ConnectorKind.FUSE_HOLDER,
        ConnectorKind.RELAY_BASE,
    )


def _purpose(loom: Loom, end: End) -> str:
    name = loom.wires_at[end][0].circuit
    circuit = loom.circuit_by_name.get(name)
    return circuit.purpose if circuit and circuit.purpose else name or "no circuit"


def _copper(loom: Loom) -> dict[End, list[End]]:
    """Return the ends joined to each by wires, fuses and links."""
    groups = united(
        [
            *((end,) for connector in loom.connectors for end in connector.ends),
            *(wire.ends for wire in loom.wires),
            *(pair for part in loom.components for pair in lasting_ends(part)),
        ]
    )
    return {end: group for group in groups for end in group}


def _joined_feeds(feeds: Iterable[Feed], live: Mapping[End, tuple[Live, ...]]) -> Iterator[Warn]:
    for one, other in combinations(feeds, 2):
        if (one.when, one.fuse) == (other.when, other.fuse):
            continue  # One supply that the description splits into several circuits.
        ends = []
        through: dict[str, None] = {}
        for end, ways in live.items():
            reached = {way.feed.circuit: way for way in ways if not way.weak}
            if one.circuit in reached and other.circuit in reached:
                ends.append(end)
                for name in (one.circuit, other.circuit):
                    through.update(dict.fromkeys(reached[name].via))
        if ends:
            by = f" through {', '.join(through)}" if through else ""
            shown = ", ".join(map(str, ends[:6])) + (", …" if len(ends) > 6 else "")
            yield Warn(
                Level.WARNING,
                f"two feeds can be joined{by}: {one.circuit} ({one.when}) and {other.circuit} ({other.when}) "
                f"meet at {shown}. One may feed the other when it should be off.",
                tuple(ends),
            )


def _coils(loom: Loom, plan: FittingPlan, live: Mapping[End, tuple[Live, ...]]) -> Iterator[Warn]:
    joined = _copper(loom)
    connected = set(plan.connect)
    for relay in loom.components:
        ends = dict(relay.terminals)
        if relay.kind is not ComponentKind.RELAY or relay.name in plan.spare_parts:
            continue
        if "85" not in ends or "86" not in ends:
            continue
        lacking = []
        if not any(other in connected for other in joined[ends["85"]]):
            lacking.append("no return (85)")
        strong = any(not way.weak for way in live.get(ends["86"], ()))
        if not strong and not any(other in connected for other in joined[ends["86"]]):
            lacking.append("no feed (86)")
        if lacking:
            yield Warn(
                Level.WARNING,
                f"the coil of relay {relay.name} has {' and '.join(lacking)} in this conversion: "
                "it never pulls in.",
                (ends["85"], ends["86"]),
                (relay.name,),
            )


def _look_alikes(loom: Loom, plan: FittingPlan) -> Iterator[Warn]:
    alike: dict[tuple[ConnectorKind, str], list[str]] = {}
    for connector in loom.connectors:
        if connector.housing and connector.kind in (ConnectorKind.PLUG, ConnectorKind.SOCKET):
            alike.setdefault((connector.kind, connector.housing), []).append(connector.name)
    for (_, housing), names in alike.items():
        if len(names) < 2 or not any(name in plan.plugged for name in names):
            continue
        told = _told_apart(loom, names)
        yield Warn(
            Level.WARNING,
            f"{', '.join(names)} have the same housing ({housing}) and mate with each other's counterparts. "
            + (
                f"Tell them by colour: {told}."
                if told
                else "Colours do not tell them apart: label each plug."
            ),
            tuple(end for name in names for end in loom.by_name[name].ends),
        )


def _told_apart(loom: Loom, names: list[str]) -> str:
    """Return the cavity whose wire colours are all different, said for each plug; "" where there is none."""
    for cavity in loom.by_name[names[0]].cavities:
        colours = [
            "+".join(sorted({wire.colour for wire in loom.wires_at.get(End(name, cavity), ())}))
            for name in names
        ]
        if all(colours) and len(set(colours)) == len(names):
            return ", ".join(f"{name}:{cavity} {colour}" for name, colour in zip(names, colours, strict=True))
    return ""


def _coil_diodes(loom: Loom, plan: FittingPlan, feeds: Iterable[Feed]) -> Iterator[Warn]:
    """A diode across a relay coil: right round it carries nothing, turned round it shorts the feed."""
    for relay in loom.components:
        if relay.kind is not ComponentKind.RELAY or relay.name in plan.spare_parts:
            continue
        ends = dict(relay.terminals)
        across = [
            part
            for part in loom.components
            if part.kind is ComponentKind.DIODE and {ends.get("85"), ends.get("86")} == set(part.ends)
        ]
        # What is fed is asked without the diodes: they would carry the feed to the other side.
        bare = replace(loom, components=tuple(part for part in loom.components if part not in across))
        live = Tracer(bare).live(feeds) if across else {}
        for diode in across:
            fed = [n for n in ("86", "85") if any(not way.weak for way in live.get(ends[n], ()))]
            if len(fed) == 1 and ends[fed[0]] != _cathode(diode):
                yield Warn(
                    Level.DANGER,
                    f"diode {diode.name} lies forward across the coil of {relay.name}: its anode is at "
                    f"terminal {fed[0]}, which is fed. When the coil is earthed the diode shorts the feed. "
                    "Find out which is wrong, the description or the diode, before anything is fed.",
                    tuple(diode.ends),
                    (relay.name, diode.name),
                )
                continue
            plus = next((name for name in ("86", "85") if ends.get(name) == _cathode(diode)), "86")
            yield Warn(
                Level.NOTE,
                f"polarity: diode {diode.name} lies across the coil of {relay.name}; terminal {plus} must be "
                "the positive one. Turned round, the diode shorts the feed.",
                tuple(diode.ends),
                (relay.name, diode.name),
            )


def _pairs(loom: Loom, plan: FittingPlan) -> Iterator[Warn]:
    for connector in loom.connectors:
        if connector.name not in plan.plugged or connector.name in plan.computers:
            continue
        wires = {wire.name: end for end in connector.ends for wire in loom.wires_at.get(end, ())}
        said: set[frozenset[End]] = set()
        for name, end in wires.items():
            for partner in loom.wire_by_name[name].partners:
                pair = frozenset({end, wires.get(partner, end)})
                if len(pair) == 2 and pair not in said:
                    said.add(pair)
                    yield Warn(
                        Level.NOTE,
                        f"polarity: {end} and {wires[partner]} are a twisted pair; swapped, the sensor's or "
                        "motor's sign turns round.",
                        (end, wires[partner]),
                    )


def _cathode(diode: Component) -> End:
    """Return where a diode's current comes out."""
    (path,) = paths_of(diode)
    return path.b

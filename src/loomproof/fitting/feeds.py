"""Which circuits bring current from the car: those that surely do, and those that nobody can rule out.

A designation of DIN 72552 says what a circuit is. A relay output (81 to 88) is the car's own relay where no
feed of this loom reaches it. A circuit that carries a fuse or a load, or of which nothing is stated, is to be
treated as live until something says otherwise; only so can a sheet say of an end that no feed reaches it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

from loomproof.fitting.live_ends import INNER, Feed, Tracer
from loomproof.fitting.needs import plan_of
from loomproof.loom.designations import Supply, supply_of
from loomproof.loom.model import Circuit, End, Loom, Need, Wire

SIGNAL_A = 0.1
"""A circuit of at most this load and without a fuse is a signal and feeds nothing. Common practice."""

_SURE = {
    Supply.PERMANENT: "permanent",
    Supply.IGNITION: "ignition",
    Supply.START: "start",
    Supply.SWITCHED: "switched",
    Supply.OUTPUT: "switched",
}


def when_live(designation: str) -> str:
    """Return when a terminal of this designation is fed: permanent, ignition, start, switched; else ""."""
    supply = supply_of(designation)
    return _SURE.get(supply, "") if supply else ""


def feeds_of(loom: Loom, needs: Mapping[str, Need]) -> tuple[Feed, ...]:
    """Return the feeds that meet this loom in the car.

    Those of circuits that the conversion leaves unused count where their plug goes on all the same: what is
    in the car's half of it is live. Relay outputs count where no other feed reaches them.
    """
    plugged = plan_of(loom, needs).plugged
    sure: list[tuple[Circuit, str]] = []
    outputs: list[tuple[Circuit, str]] = []
    for circuit in loom.circuits:
        if when := when_live(circuit.designation):
            is_output = supply_of(circuit.designation) is Supply.OUTPUT
            (outputs if is_output else sure).append((circuit, when))
    found = [feed for one, when in sure if (feed := _feed(loom, one, when, needs, plugged))]
    reached = Tracer(loom).live(found) if outputs else {}
    for circuit, when in outputs:
        feed = _feed(loom, circuit, when, needs, plugged, reached)
        if feed:
            found.append(feed)
    return tuple(found)


def perhaps_of(loom: Loom, needs: Mapping[str, Need], reached: Collection[End]) -> tuple[Feed, ...]:
    """Return what may be a feed and cannot be ruled out, beyond the ends that sure feeds already reach."""
    plugged = plan_of(loom, needs).plugged
    found = []
    for circuit in loom.circuits:
        why = _doubt(circuit)
        feed = why and _feed(loom, circuit, "perhaps", needs, plugged, reached, why)
        if feed:
            found.append(feed)
    for name, wires in loom.wires_of.items():
        if name in loom.circuit_by_name:
            continue
        entries = [end for end in _entries(loom, wires) if end not in reached and end.connector in plugged]
        if entries:
            what = f"circuit {name} is not described" if name else "wires of no circuit"
            found.append(Feed(name or "no circuit", "perhaps", tuple(entries), "", what))
    return tuple(found)


def _doubt(circuit: Circuit) -> str:
    """Return why a circuit may be live though nothing calls it a feed; "" where it is known not to be one."""
    supply = supply_of(circuit.designation)
    if supply is Supply.EARTH or (supply and supply is not Supply.THROUGH):
        return ""
    name = circuit.name
    if supply is Supply.THROUGH:
        return (
            f"{name} ({circuit.designation}) is live through what it is plugged to until something earths it"
        )
    said = f"designation {circuit.designation} is unknown" if circuit.designation else "no designation"
    if circuit.fuse:
        return f"{name} has a fuse ({circuit.fuse}) and {said}"
    if circuit.load_a is None:
        return f"{name}: {said}, and neither load nor fuse is stated"
    return f"{name} has a load of {circuit.load_a:g} A and {said}" if circuit.load_a > SIGNAL_A else ""


def _feed(
    loom: Loom,
    circuit: Circuit,
    when: str,
    needs: Mapping[str, Need],
    plugged: Collection[str],
    reached: Collection[End] = (),
    why: str = "",
) -> Feed | None:
    entries = _entries(loom, loom.wires_of.get(circuit.name, ()))
    entries = [end for end in entries if end not in reached]
    if needs.get(circuit.name, circuit.need) is Need.UNUSED:
        entries = [end for end in entries if end.connector in plugged]
    if not entries:
        return None
    return Feed(
        circuit.name,
        when,
        tuple(entries),
        "" if circuit.fuse in loom.component_by_name else circuit.fuse,
        why,
    )


def _entries(loom: Loom, wires: Sequence[Wire]) -> list[End]:
    """Return where the feed meets the car.

    Where a fuse of the loom divides the circuit, only the side where a wire starts at the car is its source.
    """
    ends = dict.fromkeys(end for wire in wires for end in wire.ends)
    outer = {end: None for end in ends if loom.by_name[end.connector].kind not in INNER}
    divided = any(part.form.blows and any(end in ends for end in part.ends) for part in loom.components)
    starts = [end for end in dict.fromkeys(wire.a for wire in wires) if end in outer]
    return starts if divided and starts else list(outer)


def sources_of(loom: Loom, needs: Mapping[str, Need]) -> tuple[End, ...]:
    """Return where feeds come in: the car's end at which a wire of the feed starts, else all its ends."""
    found: dict[End, None] = {}
    for feed in feeds_of(loom, needs):
        found.update(dict.fromkeys(starts_of(loom, feed)))
    return tuple(found)


def starts_of(loom: Loom, feed: Feed) -> Iterator[End]:
    """Yield the ends of a feed at which a wire of it starts, else all that it has at the car."""
    starts = {wire.a for wire in loom.wires_of.get(feed.circuit, ())}
    yield from [end for end in feed.entries if end in starts] or feed.entries

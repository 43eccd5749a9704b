"""How wires, contacts and parts are looked at and mended, by what they are: cavity, ring, cable, screen.

All of it is common practice at the bench, from memory; local rules and the maker's instructions come first,
and every finding's cautions say so.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from itertools import permutations
from typing import assert_never

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.words import Names, listed
from loomproof.electrics.component_kinds import FACTS, Path
from loomproof.loom.model import Component, ComponentKind, ConnectorKind, End, Wire
from loomproof.results.figures import ohms, value_of
from loomproof.results.findings import Alternative

CABLE_MM2 = 6.0
"""From this section on a wire is a cable: renewed or given a new lug, never spliced (common practice)."""

THIN_MM2 = 0.3
"""Below this section the usual sealed crimp splice, made for 0.5 mm² and more, does not hold the strands
(common practice)."""

LED_FORWARD_V = 1.4
"""A diode of at least this forward voltage gives light: silicon stays below 1.2 V (common practice)."""


def is_ring(names: Names, end: End) -> bool:
    """Whether an end is bolted on, and has no contact that could sit in a housing."""
    connector = names.loom.by_name.get(end.connector)
    return connector is not None and connector.kind is ConnectorKind.RING


def is_tail(names: Names, end: End) -> bool:
    """Whether an end is a bare or cut wire."""
    connector = names.loom.by_name.get(end.connector)
    return connector is not None and connector.kind is ConnectorKind.TAIL


def of_adapter(
    ends: Sequence[End], cause: Cause, how: str, repair: str, meter: str, then: str = ""
) -> Alternative:
    """Return the adapter's own leads for these ends as an alternative, and how a meter tells."""
    either = " or ".join(map(str, ends))
    return Alternative(
        text=f"the adapter's lead or pin for {either} {how}, not the loom",
        cause=cause,
        cavities=tuple(ends),
        repair=(f"{repair} {either}{then}.",),
        tell_apart=f"Take {listed(dict.fromkeys(end.connector for end in ends))} off the adapter and {meter}",
    )


def _at_contacts(ends: Sequence[End]) -> str:
    return f"Unplug and look at the contacts of {listed(ends)}: pushed back, spread or green? Tug the wire."


def _at_bolts(ends: Sequence[End]) -> str:
    return (
        f"Undo the bolt of {listed(ends)}: paint or rust under the lug, a loose bolt, a green or loose "
        "crimp? Tug the wire."
    )


def _at_bare_ends(ends: Sequence[End]) -> str:
    return f"Look at the bare end of {listed(ends)}: green, or strands cut?"


def _at_high_contacts(ends: Sequence[End]) -> str:
    return f"Look at {listed(ends)} first: contact green, spread, or crimped on insulation?"


def _at_high_bolts(ends: Sequence[End]) -> str:
    return f"Look at {listed(ends)}: paint or rust under the lug, a loose bolt, a green or loose crimp?"


def looks_at_high(names: Names, ends: Sequence[End], splices: Sequence[End]) -> list[str]:
    """Return where a joint that reads high is looked for: contacts and rings each in their own words."""
    rings = [end for end in ends if is_ring(names, end)]
    seated = [end for end in ends if end not in rings]
    steps: list[str] = []
    if seated or not rings:
        steps.append(
            _at_high_contacts(seated)
            if seated
            else f"Look at {listed(splices)} first: joint green, loose or burnt?"
        )
    return steps + ([_at_high_bolts(rings)] if rings else [])


def looks_without(steps: Iterable[str], ends: Sequence[End], sound: Collection[End]) -> tuple[str, ...]:
    """Return a repair's steps without looks at the ``sound`` of these ends, which hold one wire: two at most.

    A step is known by being, letter for letter, what is written here of some of the ends.
    """
    after: dict[str, str] = {}
    for how in (_at_contacts, _at_bolts, _at_bare_ends, _at_high_contacts, _at_high_bolts):
        for some in (each for count in range(1, len(ends) + 1) for each in permutations(ends, count)):
            left = [end for end in some if end not in sound]
            after[how(some)] = how(left) if left else ""
    return tuple(kept for step in steps if (kept := after.get(step, step)))


def looks(names: Names, ends: Sequence[End]) -> list[str]:
    """Return where to look first, a step for each way that these ends are held."""
    rings = [end for end in ends if is_ring(names, end)]
    tails = [end for end in ends if is_tail(names, end)]
    seated = [end for end in ends if end.cavity and end not in rings and end not in tails]
    steps: list[str] = []
    steps += [_at_contacts(seated)] if seated else []
    steps += [_at_bolts(rings)] if rings else []
    steps += [_at_bare_ends(tails)] if tails else []
    return steps or [f"Open the cover of {listed(ends)} and tug each wire."]


def probed(names: Names, wires: Iterable[str]) -> str:
    """Return how the bad end of these wires is looked for where no place of it is known.

    From one end to the other reads open again and tells no end: each is probed by itself (common practice).
    """
    wires = list(wires)
    ends = [end for name in wires for end in names.loom.wire_by_name[name].ends]
    held = list(dict.fromkeys(_holder(names, end) for end in ends if not is_tail(names, end)))
    if not held:
        return f"Bend {names.wires(wires)} along its length: it gives where the strands are broken."
    return (
        f"Probe {names.wires(wires)} at each end, from the back of the {' or '.join(held)} to the wire just "
        "behind it: open there means that end. Joined at both, the wire is broken between: "
        "bend it along its length, it gives there. Pierce no insulation that you cannot seal again."
    )


def _holder(names: Names, end: End) -> str:
    """Return what holds a wire at this end, in one word."""
    if not end.cavity:
        return "joint"
    return "lug" if is_ring(names, end) else "contact"


def renewed(names: Names, ends: Iterable[End]) -> str:
    """Return how what holds a wire's ends is renewed, without a full stop: a contact, a lug."""
    held = [end for end in ends if end.cavity]
    lugs = [end for end in held if is_ring(names, end)]
    if lugs and len(lugs) == len(held):
        return "Clean lug and seat to bright metal and tighten the bolt; crimp on a new lug where it is bad"
    if lugs:
        return "Crimp on a new contact, or a new lug on a clean bright seat"
    return "Crimp on a new contact of its type"


def pieced(names: Names, wires: Sequence[Wire]) -> list[str]:
    """Return how a wire is made good that is known to be bad on the way: no new contact mends that."""
    return _made_good(names, wires, "")


def rejoined(names: Names, wires: Sequence[Wire], ends: Iterable[End]) -> list[str]:
    """Return how a bad wire is made good: its ends, its length, and what must be kept on the way."""
    return _made_good(names, wires, renewed(names, ends))


def _made_good(names: Names, wires: Sequence[Wire], start: str) -> list[str]:
    """Return the steps for the length of wires; ``start`` says what else may mend them, "" for nothing."""
    first = wires[0]
    screen = [wire.name for wire in names.loom.wires if wire.screened_by == first.name]
    either = f"{start}, or " if start else ""
    csa_mm2 = first.csa_mm2
    if screen:
        steps = [
            f"{either}join {names.wire(first.name)} over the whole gap with braid or a drain wire and "
            f"cover it: it is the screen of {names.wires(screen)}. Earth it only where it was earthed."
        ]
    elif csa_mm2 is not None and csa_mm2 >= CABLE_MM2:
        steps = [
            f"{start}{'. ' if start else ''}A cable of {csa_mm2:g} mm² that is bad along its length is "
            "renewed from end to end with lugs or contacts of its size: do not splice it."
        ]
    elif csa_mm2 is not None and csa_mm2 < THIN_MM2:
        steps = [
            f"{either}renew the wire from end to end in {names.section(first)}: the usual crimp splice "
            f"is too large for {csa_mm2:g} mm², use only one that is made for it."
        ]
    else:
        steps = [
            f"{either}join in a piece of {names.section(first)} with a crimp splice and sealed heat-shrink."
        ]
    steps[0] = steps[0][0].upper() + steps[0][1:]
    return steps + kept_together(names, wires)


def kept_together(names: Names, wires: Sequence[Wire]) -> list[str]:
    """Return what must stay as it was around a joint: the twist and the screen."""
    steps = []
    for wire in wires:
        if wire.partners:
            together = names.wires(sorted({wire.name, *wire.partners}))
            steps.append(
                f"Keep {together} twisted together up to the joint and again behind it, with the same lay."
            )
        if wire.screened_by:
            steps.append(
                f"Carry the screen {names.wire(wire.screened_by)} over the joint whole, and earth it at no "
                "new place."
            )
    return list(dict.fromkeys(steps))


def is_led(part: Component) -> bool:
    """Whether a diode is a light-emitting one, by its forward voltage."""
    return part.kind is ComponentKind.DIODE and (part.forward_v or 0.0) >= LED_FORWARD_V


def cathode_mark(part: Component) -> str:
    """Return how the cathode of a diode is marked."""
    return "flat side or short leg (cathode)" if is_led(part) else "band (cathode)"


def kind_of(part: Component) -> str:
    """Return what a part is called: its kind, or LED."""
    return "LED" if is_led(part) else str(part.kind)


def new_part(part: Component) -> str:
    """Return what to fit in place of a part, from its description: value and rating, not what was read."""
    value = value_of(part) if part.value else ""
    match part.kind:
        case ComponentKind.FUSE:
            return f"a {value} fuse of its type" if value else "a fuse of its type and rating"
        case ComponentKind.RELAY:
            coil = f"a coil of {value}" if value else "the same coil"
            contact = (
                f"contacts for {part.rating_a:g} A or more"
                if part.rating_a
                else "contacts rated for the load behind them"
            )
            return f"a relay with {coil}, {contact}, and the same terminals"
        case ComponentKind.DIODE:
            what = "an LED" if is_led(part) else "a diode"
            return f"{what} of its type and rating, its {cathode_mark(part)} at {part.terminal('K')}"
        case ComponentKind.CAPACITOR:
            of = f" of {value}" if value else ""
            return f"a capacitor{of}, of its type and for no less voltage"
        case ComponentKind.RESISTOR | ComponentKind.COIL | ComponentKind.LINK:
            of = f" of {value}" if value else ""
            return f"a {part.kind}{of} of its type and rating"
        case _:
            assert_never(part.kind)


def taken_out(part: Component) -> str:
    """Return how a part is taken out, as a sentence begins: what may hold a charge is emptied first."""
    if FACTS[part.kind].path is Path.CAPACITOR:
        return f"Discharge {part.name} through a resistor, take it out"
    return f"Take {part.name} out"


def right_value(part: Component, expected_ohm: float) -> str:
    """Return what a part should have: its described value, without the wires and contacts of a reading."""
    value = ohms(part.resistance_ohm if part.resistance_ohm is not None else expected_ohm)
    return f"a coil of {value}" if part.kind is ComponentKind.RELAY else value

"""First power-up: which feeds are limited, how what lies behind a relay is tried, what a plug reads.

A relay that the computer energises is not pulled in while the computer is unplugged: what lies behind it is
tried with its contact bridged. What energises a relay is read from the wires at its coil.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import NamedTuple

from loomproof.electrics.component_kinds import Closed, Path, paths_of
from loomproof.fitting.checks import is_earth_ring
from loomproof.fitting.feeds import perhaps_of, starts_of
from loomproof.fitting.live_ends import INNER, Feed, Live, Tracer, far_ends
from loomproof.fitting.needs import FittingPlan
from loomproof.loom.designations import is_earth
from loomproof.loom.model import Component, ComponentKind, End, Loom
from loomproof.results.figures import value_of

_WHEN = {
    "permanent": "Always",
    "ignition": "Ignition on",
    "start": "Key at start",
    "switched": "What feeds it switched on",
}

_Ways = Mapping[End, tuple[Live, ...]]


class Bridge(NamedTuple):
    """A relay whose contact is bridged, the terminals that are joined for it, and why, in words."""

    relay: str
    join: str
    why: str


def designation_at(loom: Loom, circuit: str) -> str:
    """Return the designation of a circuit, "" where it is not described."""
    found = loom.circuit_by_name.get(circuit)
    return found.designation if found else ""


def strong_via(live: _Ways, end: End, loom: Loom) -> tuple[str, ...]:
    """Return the seated fuses and relays through which an end gets its current."""
    via = dict.fromkeys(name for way in live.get(end, ()) if not way.weak for name in way.via)
    return tuple(name for name in via if loom.component_by_name[name].form.seated)


def limited(loom: Loom, plan: FittingPlan, feeds: Collection[Feed], live: _Ways) -> tuple[Feed, ...]:
    """Return the feeds of the car to be limited: the sure ones, and possible ones with a fuse of their own.

    Where no computer is plugged in, a possible feed without designation counts without a fuse as well: no
    computer drives it, so the car does.
    """
    bare = not (plan.computers & plan.plugged)
    return (
        *feeds,
        *(
            feed
            for feed in perhaps_of(loom, plan.needs, live)
            if feed.circuit in loom.circuit_by_name
            and (feed.fuse or (bare and not designation_at(loom, feed.circuit)))
        ),
    )


def lamps_in(loom: Loom, feeds: Collection[Feed]) -> str:
    """Say where the lamps go that limit the current: in place of a fuse of the car, else in the car's lead.

    A fuse of the loom's own is named with rating and place. It guards what lies behind it alone, so the lamp
    stands before it, and it goes in under that lamp. One is asked for only where something has none.
    """
    fused = ", of ".join(f"{feed.circuit} ({feed.fuse})" for feed in feeds if feed.fuse)
    said = [f"in place of the fuse of {fused}"] if fused else []
    tracer = Tracer(loom)
    said += [_in_lead(tracer, feed) for feed in feeds if not feed.fuse]
    return "; ".join(said) or "in place of each feed's fuse"


def _in_lead(tracer: Tracer, feed: Feed) -> str:
    """Say where the lamp goes of a feed for which no fuse of the car is named, and which fuse it has."""
    loom = tracer.loom
    ways = {end: one[0] for end, one in tracer.live([feed]).items()}
    bare = [end for end, way in ways.items() if not way.fused]
    own = [part for part in loom.components if part.form.blows and any(end in bare for end in part.ends)]
    # Of several ends only the person sees which the car feeds: the others are where the loom leads on to.
    ends = " or ".join(map(str, feed.entries))
    which = "the car's lead" if len(feed.entries) == 1 else "every lead that the car brings"
    lead = f"in {which} to {ends} for {feed.circuit}"
    if not own:
        return f"{lead} (no fuse is named: fit one)"
    inside = {*starts_of(loom, feed), *(end for part in own for end in part.ends)}
    past = [str(end) for end in bare if end not in inside and loom.by_name[end.connector].kind not in INNER]
    named = " and ".join(_own_fuse(loom, part) for part in own)
    led = f"{lead}, which has {'fuses' if len(own) > 1 else 'its fuse'} in the loom: {named}"
    if past:
        return f"{led}, but none before {', '.join(past)}: fit one in that lead"
    return f"{led}, and none in the wire up to {'them' if len(own) > 1 else 'it'}"


def _own_fuse(loom: Loom, part: Component) -> str:
    """Say a fuse of the loom with rating and place: ``F1 (10 A, FUSES:1A to FUSES:1B, relay box)``."""
    homes = dict.fromkeys(loom.by_name[end.connector].location for end in part.ends)
    rating = value_of(part) or "no rating stated"
    where = " to ".join(map(str, part.ends))
    return f"{part.name} ({', '.join((rating, where, *filter(None, homes)))})"


def tries(feeds: Collection[Feed]) -> str:
    """Say in which order what is not fed permanently is switched on behind its lamp."""
    when = {feed.when for feed in feeds}
    said = [
        text
        for name, text in (
            ("ignition", "ignition on"),
            ("start", "key at start for a second"),
            ("switched", "each switch on alone"),
        )
        if name in when
    ]
    return f" Then {', then '.join(said)}: dark as well; all off again." if said else ""


def fuses_in(
    loom: Loom,
    plan: FittingPlan,
    live: _Ways,
    early: Sequence[str],
    bridges: Sequence[Bridge],
    off: Collection[str | End],
) -> str:
    """Say how fuses and relays go in one at a time: first fuses that are fed, then what a relay feeds.

    ``early`` are the parts that go in now, ``bridges`` the relays among them that don't pull in yet, ``off``
    the plugs and ends that are kept off.
    """
    relays = [name for name in early if loom.component_by_name[name].kind is ComponentKind.RELAY]
    fuses = [name for name in early if name not in relays]
    bridged = [one.relay for one in bridges]
    behind = {name: [relay for relay in relays if relay in _gates(loom, live, name)] for name in fuses}
    first = [name for name in fuses if not behind[name]]
    own = [name for name in relays if name not in bridged and any(name in one for one in behind.values())]
    last = [name for name in relays if name not in bridged and name not in own]
    said = [f"Put in {', '.join([*first, *own])}, one at a time."] if first or own else []
    if bridges:
        kept = dict.fromkeys(
            name
            for end in plan.connect
            if end in off or end.connector in off
            for name in strong_via(live, end, loom)
            if loom.component_by_name[name].kind is ComponentKind.RELAY and name not in bridged
        )
        said += [
            f"{one.why}. Battery off ({one.join.partition(' ')[0]} is live), leave {one.relay} out and join "
            f"{one.join} of its base by a fused lead; battery on, watching the lamps."
            for one in bridges
        ]
        never = f" ({', '.join(kept)})" if kept else ""
        said.append(f"No other relay, and never that of a pump, starter or fan{never}: it would run.")
    if rest := [name for name in fuses if behind[name]]:
        feeds = _feeds_at(loom, live, rest)
        when = dict.fromkeys(one.when for one in (*feeds, *_feeds_at(loom, live, own)))
        switched = "".join(f"; {_WHEN[one].lower()}" for one in when if one != "permanent")
        lamps = " and of ".join(dict.fromkeys(feed.circuit for feed in feeds))
        said.append(f"Then {', '.join(rest)}, one at a time, watching the lamp of {lamps}{switched}.")
    if last:
        said.append(f"{'Then' if said else 'Put in'} {', '.join(last)}, one at a time.")
    return " ".join(said) or "None goes in yet."


def _feeds_at(loom: Loom, live: _Ways, parts: Collection[str]) -> tuple[Feed, ...]:
    """Return the feeds that give current to any terminal of these parts."""
    ends = [end for name in parts for end in loom.component_by_name[name].ends]
    return tuple(dict.fromkeys(way.feed for end in ends for way in live.get(end, ()) if not way.weak))


def _gates(loom: Loom, live: _Ways, fuse: str) -> set[str]:
    """Return the relays through which a fuse gets its current."""
    return {name for end in loom.component_by_name[fuse].ends for name in strong_via(live, end, loom)}


def bridges_of(loom: Loom, plan: FittingPlan, live: _Ways, early: Sequence[str]) -> tuple[Bridge, ...]:
    """Return the early relays that feed fuses or the computer and don't pull in while it is unplugged."""
    wanted = {name for fuse in early for name in _gates(loom, live, fuse) if name != fuse}
    wanted |= {
        name
        for end in plan.connect
        if end.connector in plan.computers
        for name in strong_via(live, end, loom)
    }
    found = []
    for part in (loom.component_by_name[name] for name in early):
        pins = {end: name for name, end in part.terminals}
        contact = next((path for path in paths_of(part) if path.closed is Closed.PULLED), None)
        if part.kind is not ComponentKind.RELAY or part.name not in wanted or contact is None:
            continue
        if why := _not_pulled(loom, plan, live, part):
            found.append(Bridge(part.name, f"{pins[contact.a]} to {pins[contact.b]}", why))
    return tuple(found)


def _not_pulled(loom: Loom, plan: FittingPlan, live: _Ways, relay: Component) -> str:
    """Say why a relay is not pulled in with the computer unplugged; "" where feed and earth do it."""
    coil = next((path for path in paths_of(relay) if path.path is Path.RESISTIVE), None)
    if coil is None:
        return f"The loom does not say what energises {relay.name}"
    dead = [end for end in (coil.a, coil.b) if not _fed(live, end)]
    if len(dead) == 1 and _earthed(loom, dead[0]):
        return ""
    for end in dead:
        for far in far_ends(loom, end):
            if far.connector in plan.computers and not _earthed(loom, end):
                return f"The computer energises {relay.name} ({end} goes to {far}), and is unplugged"
    return f"The loom does not say what energises {relay.name}"


def _fed(live: _Ways, end: End) -> bool:
    return any(not way.weak for way in live.get(end, ()))


def _earthed(loom: Loom, end: End) -> bool:
    ends = (end, *far_ends(loom, end))
    wires = [wire for one in ends for wire in loom.wires_at.get(one, ())]
    return any(is_earth(designation_at(loom, wire.circuit)) for wire in wires) or any(
        is_earth_ring(loom, one) for one in ends
    )


def unbridged(bridges: Sequence[Bridge]) -> str:
    """Say that the bridges come out when the computer's plug was read and loaded."""
    names = " and ".join(one.relay for one in bridges)
    return f" Afterwards battery off, the lead out, {names} in." if names else ""


def volts(loom: Loom, plan: FittingPlan, live: _Ways, bridges: Sequence[Bridge]) -> str:
    """Say what a meter shows at the computer's plug, feed by feed."""
    bridged = [one.relay for one in bridges]
    told: dict[str, list[str]] = {}
    for end in plan.connect:
        if end.connector not in plan.computers:
            continue
        ways = [way for way in live.get(end, ()) if not way.weak]
        for when in dict.fromkeys(way.feed.when for way in ways):
            via = next(way.via for way in ways if way.feed.when == when)
            relays = [name for name in via if loom.component_by_name[name].kind is ComponentKind.RELAY]
            told.setdefault(_state(when, relays, bridged), []).append(str(end))
    return " ".join(f"{state}: 12 V at {', '.join(ends)}." for state, ends in told.items())


def _state(when: str, relays: Sequence[str], bridged: Collection[str]) -> str:
    """Say when a feed is there: ``Ignition on and K1 bridged``; "pulled" would also mean taken out."""
    if not relays:
        return _WHEN[when]
    how = " and ".join(f"{name} {'bridged' if name in bridged else 'energised'}" for name in relays)
    return f"With {how}" if when == "permanent" else f"{_WHEN[when]} and {how}"


def may_read(
    loom: Loom,
    plan: FittingPlan,
    feeds: Collection[Feed],
    live: _Ways,
    early: Sequence[str],
    bridges: Sequence[Bridge],
    movers: Collection[str],
) -> str:
    """Say which other cavities of the computer's plug can read 12 V in a sound loom, and through what.

    Through a coil or resistor of a part that is in, or through what a plug that brings feeds meets there.
    """
    car = {end.connector for feed in feeds for end in feed.entries} - plan.computers - set(movers)
    out = {part.name for part in loom.components if part.form.seated} - set(early)
    said = list(_other_volts(loom, plan, live, out, [one.relay for one in bridges], car))
    return f" 12 V is no fault at {'; '.join(said)}." if said else ""


def _other_volts(
    loom: Loom,
    plan: FittingPlan,
    live: _Ways,
    out: set[str],
    bridged: Collection[str],
    car: Collection[str],
) -> Iterator[str]:
    for end in plan.connect:
        if end.connector not in plan.computers or _fed(live, end) or _earthed(loom, end):
            continue
        ways = [way.via for way in live.get(end, ()) if not out.intersection(way.via)]
        met = next((far for far in far_ends(loom, end) if far.connector in car), None)
        if ways:
            late = [name for name in ways[0] if name in bridged]
            yield f"{end} through {', '.join(ways[0])}{f' once {late[-1]} is in' if late else ''}"
        elif met is not None:
            wires = dict.fromkeys(wire.circuit for wire in loom.wires_at.get(end, ()))
            yield f"{end} ({' and '.join(wires)}) through what {met} meets in the car"


def computer_earths(loom: Loom, plan: FittingPlan) -> list[str]:
    """Return the cavities of the computer's plug that are its earths."""
    return [
        str(end)
        for end in plan.connect
        if end.connector in plan.computers
        and any(is_earth(designation_at(loom, wire.circuit)) for wire in loom.wires_at.get(end, ()))
    ]

"""What a conversion needs beyond wires, and the first power-up step by step.

The rules are rows of ``data/purposes.csv`` and ``data/first_power_up.csv``, with reason and source. A circuit
is known by its designation or by words of its name and purpose; where none speaks of a purpose, it is asked.
"""

from __future__ import annotations

import csv
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cache
from importlib.resources import files

from loomproof.electrics.component_kinds import lasting_ends
from loomproof.electrics.graph import DisjointSets
from loomproof.fitting.checks import is_earth_ring
from loomproof.fitting.first_volts import (
    bridges_of,
    computer_earths,
    designation_at,
    fuses_in,
    lamps_in,
    limited,
    may_read,
    strong_via,
    tries,
    unbridged,
    volts,
)
from loomproof.fitting.live_ends import Feed, Live
from loomproof.fitting.needs import FittingPlan
from loomproof.loom.designations import is_earth
from loomproof.loom.model import Circuit, ComponentKind, End, Loom, Need
from loomproof.loom.patterns import pattern, usual_of
from loomproof.results.fitting import Job, Level, Warn

_RUNS = ("pump", "injector", "coil", "starter", "fan", "throttle", "valve")
"""Words of what moves, sprays or sparks."""

_OF_AN_ENGINE = frozenset({"injector", "ignition-coil", "crank-sensor", "start-signal"})
"""Circuits of the pattern of an engine that belong to what makes it run. What only shows that it does, such
as a rev counter or an oil pressure lamp, lies in a dashboard's loom as well, and says nothing of one here."""

_DRIVEN = (Job.LOAD, Job.COIL, Job.START)
"""Jobs of ends behind which something may move or spark."""

_LAMP_A = 1.75
"""What a 21 W lamp passes at 12 V with a short behind it: 21 W / 12 V."""


@cache
def rows(name: str) -> tuple[Mapping[str, str], ...]:
    """Return the rows of one data file of this room, as texts by column."""
    text = (files("loomproof.fitting") / "data" / f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def purposes(loom: Loom, needs: Mapping[str, Need], *, engine: bool) -> tuple[list[Warn], tuple[str, ...]]:
    """Return what is to be known of circuits with a purpose of their own, and what no circuit answers.

    What is asked is asked of an ``engine``: a loom to a lamp has neither starter nor alternator to ask about.
    """
    warns: list[Warn] = []
    asked = []
    used = [one for one in loom.circuits if needs.get(one.name, one.need) is not Need.UNUSED]
    for row in rows("purposes"):
        found = [circuit.name for circuit in used if _is(circuit, row)]
        if found:
            warns.append(Warn(Level(row["level"]), f"{row['purpose']} ({', '.join(found)}): {row['told']}"))
        elif row["asked"] and engine:
            asked.append(row["asked"])
    return warns, tuple(asked)


def _is(circuit: Circuit, row: Mapping[str, str]) -> bool:
    if _shows_revs(circuit) and row["purpose"] == "coil":
        return False  # on terminal 1 as a coil is, and none
    said = f"{circuit.name} {circuit.purpose}".casefold().replace("-", " ")
    words = [word.replace("-", " ") for word in row["words"].split("|")]
    known = [text for text in row["designations"].split("|") if text]
    return any(word in said for word in words) or circuit.designation in known


def earths_joined(loom: Loom) -> Iterator[Warn]:
    """Yield a warning for a sensor earth that meets a power earth, and for a screen that is earthed twice."""
    joins = (pair for part in loom.components for pair in lasting_ends(part))
    copper = DisjointSets(
        (end for connector in loom.connectors for end in connector.ends),
        (*(wire.ends for wire in loom.wires), *joins),
    )
    power = {
        copper.root(end): end
        for wire in loom.wires
        for end in wire.ends
        if is_earth_ring(loom, end) or is_earth(designation_at(loom, wire.circuit))
    }
    for circuit in loom.circuits:
        said = f"{circuit.name} {circuit.purpose}".casefold()
        if "sensor" not in said or not ("earth" in said or "ground" in said) or is_earth(circuit.designation):
            continue
        ends = [end for wire in loom.wires_of.get(circuit.name, ()) for end in wire.ends]
        met = next((power[root] for end in ends if (root := copper.root(end)) in power), None)
        if met is not None:
            yield Warn(
                Level.WARNING,
                f"{circuit.name} ({circuit.purpose}) is joined to a power earth at {met}: load current then "
                "shifts what every sensor tells. A sensor earth meets earth inside the computer alone.",
                (met,),
            )
    screens = {wire.screened_by for wire in loom.wires if wire.screened_by}
    for wire in (one for one in loom.wires if one.name in screens):
        earthed = [end for end in wire.ends if is_earth_ring(loom, end)]
        both = " and ".join(str(end) for end in wire.ends)
        if len(earthed) > 1:
            yield Warn(
                Level.WARNING,
                f"screen {wire.name} is earthed at both ends ({both}): current of the body flows in it. "
                "Earth it at one end.",
                tuple(earthed),
            )
        else:
            yield Warn(
                Level.NOTE,
                f"screen {wire.name} ({both}) is to be earthed at one end only: measure from its other end, "
                "unplugged there, to bare metal of the part: no path.",
                tuple(end for end in wire.ends if end.cavity),
            )


def power_up(
    loom: Loom,
    plan: FittingPlan,
    feeds: Collection[Feed],
    live: Mapping[End, tuple[Live, ...]],
    jobs: Mapping[End, Job],
    drops: Collection[str],
) -> tuple[str, ...]:
    """Return the steps of the first power-up with the names of this loom in them."""
    movers = [
        connector.name
        for connector in loom.connectors
        if connector.name in plan.plugged
        and connector.name not in plan.computers
        and any(word in f"{connector.name} {connector.description}".casefold() for word in _RUNS)
        and not any(
            end in feed.entries
            for feed in feeds
            if feed.when in ("permanent", "ignition")
            for end in connector.ends
        )
    ]
    held = _held(loom, movers, feeds, live, jobs)
    movers += [name for name in dict.fromkeys(end.connector for end in held) if _alone(name, held, jobs)]
    held = {end: parts for end, parts in held.items() if end.connector not in movers}
    waiting = {part for parts in held.values() for part in parts}
    seated = [
        part.name
        for kind in ComponentKind
        for part in loom.components
        if part.kind is kind and part.form.seated and part.name not in plan.spare_parts
    ]
    outside = limited(loom, plan, feeds, live)
    early = [name for name in seated if name not in waiting]
    bridges = bridges_of(loom, plan, live, early)
    pumps = {end: parts for end, parts in held.items() if jobs[end] is Job.PUMP}
    rest = {end: parts for end, parts in held.items() if end not in pumps}
    steps = _steps(loom, plan, jobs, moving=bool(movers or held), seated=bool(seated))
    until = {
        key: next((number for number, row in enumerate(steps, 1) if f"{{{key}}}" in row["text"]), len(steps))
        for key in ("pump", "rest")
    }
    said = {
        "unplug": ", ".join([*sorted(plan.computers), *movers]) or "everything that moves or sparks",
        "held": "".join(
            _kept_off(loom, end, held[end], until["pump" if end in pumps else "rest"]) for end in held
        ),
        "parts": ", ".join(seated) or "the car's fuses for this loom",
        "early": fuses_in(loom, plan, live, early, bridges, (*movers, *held)),
        "tries": tries(outside),
        "waiting": _stay_out(waiting, seated),
        "pump": _fuel([name for name in movers if _brings_pump(loom, name, jobs)], pumps),
        "wants": _wants(loom, plan, live),
        "stop": _stop(loom, pumps),
        "rest": _put_in(rest, "plug in all else that was unplugged"),
        "fuses": lamps_in(loom, outside),
        "volts": volts(loom, plan, live, bridges) or "No feed of the computer is described: look it up.",
        "after": unbridged(bridges),
        "may": may_read(loom, plan, feeds, live, early, bridges, movers),
        "earths": ", ".join(computer_earths(loom, plan)) or "look it up",
        "drops": "; ".join(drops) or "each earth point to the battery's negative post under 0.1 V",
    }
    return tuple(f"{row['title']}. {row['text'].format_map(said)}" for row in steps)


def _steps(
    loom: Loom, plan: FittingPlan, jobs: Mapping[End, Job], *, moving: bool, seated: bool
) -> list[Mapping[str, str]]:
    """Return the steps that this loom has something for; all of an engine's where wires are not described.

    ``moving``: it has what moves or sparks; ``seated``: it has fuses or relays of its own.
    """
    computer = _has_computer(loom, plan)
    engine = has_engine(loom, plan, jobs)
    fuel = engine or Job.PUMP in jobs.values()
    moves = fuel or moving
    holds = {
        "": True,
        "moves": moves,
        "still": not moves,
        "parts": seated,
        "computer": computer,
        "no computer": not computer,
        "fuel": fuel,
        "engine": engine,
        "no engine": not engine,
    }
    return [row for row in rows("first_power_up") if holds[row["where"]]]


def has_engine(loom: Loom, plan: FittingPlan, jobs: Mapping[End, Job]) -> bool:
    """Whether a loom makes an engine run by what it says of its ends; what is not described may be one."""
    return _has_computer(loom, plan) or any(_makes_run(loom, end, job) for end, job in jobs.items())


def _has_computer(loom: Loom, plan: FittingPlan) -> bool:
    unknown = any(wire.circuit not in loom.circuit_by_name for wire in loom.wires)
    return unknown or bool(plan.computers & plan.plugged)


def _shows_revs(circuit: Circuit) -> bool:
    """Whether a circuit is no more than a rev counter's, whatever it is designated."""
    usual = usual_of(pattern("engine"), circuit)
    words = f"{circuit.name} {circuit.purpose}".casefold().split()
    return usual.circuit == "rev-counter" if usual is not None else "rev" in words


def _makes_run(loom: Loom, end: End, job: Job) -> bool:
    """Whether a connected end is one of what makes an engine run: starter, coil, injector, crank sensor."""
    names = dict.fromkeys(wire.circuit for wire in loom.wires_at.get(end, ()))
    circuits = [loom.circuit_by_name[name] for name in names if name in loom.circuit_by_name]
    known = {usual.circuit for one in circuits if (usual := usual_of(pattern("engine"), one)) is not None}
    if known & _OF_AN_ENGINE or job is Job.START:
        return True
    connector = loom.by_name[end.connector]
    coil = "coil" in f"{connector.name} {connector.description}".casefold()
    return job is Job.COIL and (coil or not all(map(_shows_revs, circuits)))


def _held(
    loom: Loom,
    movers: Collection[str],
    feeds: Collection[Feed],
    live: Mapping[End, tuple[Live, ...]],
    jobs: Mapping[End, Job],
) -> dict[End, tuple[str, ...]]:
    """Return each end of a load that moves or sparks and has no plug of its own here, with its own parts.

    Own are the fuses and relays that feed such ends of one circuit and nothing else that is connected.
    """
    unplugged = {wire.circuit for wire in loom.wires for end in wire.ends if end.connector in movers}
    entries = {end for feed in feeds for end in feed.entries}
    ends = [
        end
        for end, job in jobs.items()
        if not any(wire.circuit in unplugged for wire in loom.wires_at.get(end, ()))
        and (job is Job.PUMP or (job in _DRIVEN and end not in entries and _runs(loom, end)))
    ]
    found = {}
    for end in ends:
        same = {one for one in ends if _load(loom, one) == _load(loom, end)}
        others = {name for one in jobs if one not in same for name in strong_via(live, one, loom)}
        found[end] = tuple(name for name in strong_via(live, end, loom) if name not in others)
    return found


def _runs(loom: Loom, end: End) -> bool:
    return any(word in _load(loom, end).casefold() for word in _RUNS)


def _load(loom: Loom, end: End) -> str:
    """Return what the circuit at an end is for, by its purpose or else its name."""
    names = dict.fromkeys(wire.circuit for wire in loom.wires_at.get(end, ()))
    circuits = [loom.circuit_by_name[name] for name in names if name in loom.circuit_by_name]
    return " and ".join(one.purpose or one.name for one in circuits) or "its load"


def _alone(plug: str, held: Collection[End], jobs: Mapping[End, Job]) -> bool:
    """Whether a plug brings nothing but such loads and their earths, so that it can be unplugged."""
    return all(end in held or job is Job.EARTH for end, job in jobs.items() if end.connector == plug)


def _kept_off(loom: Loom, end: End, parts: Sequence[str], step: int) -> str:
    """Say how a load is kept off whose end is one cavity of a plug that brings what is needed."""
    what = f" {end} ({_load(loom, end)}) is one cavity of {end.connector}, which stays plugged in: unplug "
    if not parts:
        return f"{what}the load itself, in the car, until step {step}."
    return f"{what}the load itself, in the car, or leave {' and '.join(parts)} out until step {step}."


def _stay_out(waiting: Collection[str], seated: Sequence[str]) -> str:
    names = [name for name in seated if name in waiting]
    return f" Not yet: {', '.join(names)}." if names else ""


def _brings_pump(loom: Loom, plug: str, jobs: Mapping[End, Job]) -> bool:
    connector = loom.by_name[plug]
    named = "pump" in f"{plug} {connector.description}".casefold()
    return named or any(jobs.get(end) is Job.PUMP for end in connector.ends)


def _fuel(plugs: Sequence[str], held: Mapping[End, Sequence[str]]) -> str:
    """Say how the pump gets its feed: by its own plug, or by what it was kept off with at step 2."""
    parts = " and ".join(dict.fromkeys(part for names in held.values() for part in names))
    if plugs:
        return f"plug in {' and '.join(plugs)} alone{f' and put in {parts}' if parts else ''}"
    if parts:
        return f"put in {parts}, and plug the pump itself in again where it was unplugged"
    if held:
        return "plug the pump itself in again, in the car"
    return "plug in the fuel pump alone, if one was unplugged"


def _stop(loom: Loom, held: Mapping[End, Sequence[str]]) -> str:
    """Say what stops a pump that still runs: its own relay, else its own fuse, out; else its own plug."""
    parts = dict.fromkeys(part for names in held.values() for part in names)
    relays = [name for name in parts if loom.component_by_name[name].kind is ComponentKind.RELAY]
    return f"{' and '.join(relays or parts)} out" if parts else "the pump itself unplugged"


def _wants(loom: Loom, plan: FittingPlan, live: Mapping[End, tuple[Live, ...]]) -> str:
    """Return the stated loads of the computer's feeds that a lamp in series can't pass."""
    names = dict.fromkeys(
        wire.circuit
        for end in plan.connect
        if end.connector in plan.computers
        and any(not way.weak and way.feed.when != "start" for way in live.get(end, ()))
        for wire in loom.wires_at.get(end, ())
    )
    found = [loom.circuit_by_name[name] for name in names if name in loom.circuit_by_name]
    said = [f"{one.name} {one.load_a:g} A" for one in found if (one.load_a or 0.0) > _LAMP_A]
    return f"; the loom states {', '.join(said)}" if said else ""


def _put_in(held: Mapping[End, Sequence[str]], plugs: str) -> str:
    """Say what goes in at a step: what was unplugged, and the parts that waited for it."""
    parts = dict.fromkeys(part for names in held.values() for part in names)
    return f"{plugs} and put in {' and '.join(parts)}" if parts else plugs

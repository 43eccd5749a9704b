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
from loomproof.fitting.live_ends import Feed, Live
from loomproof.fitting.needs import FittingPlan
from loomproof.loom.designations import is_earth
from loomproof.loom.model import Circuit, ComponentKind, End, Loom, Need
from loomproof.results.fitting import Job, Level, Warn

_RUNS = ("pump", "injector", "coil", "starter", "fan", "throttle", "valve")
"""Words of what moves, sprays or sparks."""

_WHEN = {
    "permanent": "Always",
    "ignition": "Ignition on",
    "start": "Key at start",
    "switched": "What feeds it switched on",
}


@cache
def rows(name: str) -> tuple[Mapping[str, str], ...]:
    """Return the rows of one data file of this room, as texts by column."""
    text = (files("loomproof.fitting") / "data" / f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def purposes(loom: Loom, needs: Mapping[str, Need]) -> tuple[list[Warn], tuple[str, ...]]:
    """Return what is to be known of circuits with a purpose of their own, and what no circuit answers."""
    warns: list[Warn] = []
    asked = []
    used = [one for one in loom.circuits if needs.get(one.name, one.need) is not Need.UNUSED]
    for row in rows("purposes"):
        found = [circuit.name for circuit in used if _is(circuit, row)]
        if found:
            warns.append(Warn(Level(row["level"]), f"{row['purpose']} ({', '.join(found)}): {row['told']}"))
        elif row["asked"]:
            asked.append(row["asked"])
    return warns, tuple(asked)


def _is(circuit: Circuit, row: Mapping[str, str]) -> bool:
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
        if is_earth_ring(loom, end) or is_earth(_designation(loom, wire.circuit))
    }
    for circuit in loom.circuits:
        said = f"{circuit.name} {circuit.purpose}".casefold()
        if "sensor" not in said or not ("earth" in said or "ground" in said) or is_earth(circuit.designation):
            continue
        ends = [end for wire in loom.wires if wire.circuit == circuit.name for end in wire.ends]
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


def _designation(loom: Loom, circuit: str) -> str:
    found = loom.circuit_by_name.get(circuit)
    return found.designation if found else ""


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
    ]
    pumps = [str(end) for end, job in jobs.items() if job is Job.PUMP and end.connector not in movers]
    seated = [
        part.name
        for kind in ComponentKind
        for part in loom.components
        if part.kind is kind and part.form.seated and part.name not in plan.spare_parts
    ]
    outside = [
        f"the fuse of {feed.circuit}{f' ({feed.fuse})' if feed.fuse else ' (none is named: fit one)'}"
        for feed in feeds
        if feed.when in ("permanent", "ignition")
    ]
    said = {
        "unplug": ", ".join([*sorted(plan.computers), *movers, *pumps]) or "everything that moves or sparks",
        "parts": ", ".join(seated) or "the car's fuses for this loom",
        "fuses": " and of ".join(outside) or "the fuse of each feed",
        "volts": " ".join(_volts(loom, plan, live)) or "No feed of the computer is described: look it up.",
        "earths": ", ".join(_computer_earths(loom, plan)) or "look it up",
        "drops": "; ".join(drops) or "each earth point to the battery's negative post under 0.1 V",
    }
    return tuple(f"{row['title']}. {row['text'].format_map(said)}" for row in rows("first_power_up"))


def _volts(loom: Loom, plan: FittingPlan, live: Mapping[End, tuple[Live, ...]]) -> Iterator[str]:
    """Say what a meter shows at the computer's plug, feed by feed."""
    told: dict[str, list[str]] = {}
    bridged = False
    for end in plan.connect:
        if end.connector not in plan.computers:
            continue
        ways = [way for way in live.get(end, ()) if not way.weak]
        for when in dict.fromkeys(way.feed.when for way in ways):
            via = next(way.via for way in ways if way.feed.when == when)
            relays = [name for name in via if loom.component_by_name[name].kind is ComponentKind.RELAY]
            bridged = bridged or bool(relays)
            told.setdefault(_state(when, relays), []).append(str(end))
    for state, ends in told.items():
        yield f"{state}: 12 V at {', '.join(ends)}."
    if bridged:
        yield "For a relay that the computer itself energises, take it out and join 30 to 87 by a fused lead."


def _state(when: str, relays: Sequence[str]) -> str:
    """Say when a feed is there: ``Ignition on and K1 energised``; "pulled" would also mean taken out."""
    if not relays:
        return _WHEN[when]
    energised = f"{' and '.join(relays)} energised"
    return f"With {energised}" if when == "permanent" else f"{_WHEN[when]} and {energised}"


def _computer_earths(loom: Loom, plan: FittingPlan) -> list[str]:
    return [
        str(end)
        for end in plan.connect
        if end.connector in plan.computers
        and any(is_earth(_designation(loom, wire.circuit)) for wire in loom.wires_at.get(end, ()))
    ]

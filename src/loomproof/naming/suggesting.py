"""What an end probably is, with the reason: rules of a table over what was measured.

The table is ``data/suggestions.csv``. A rule is about the net of an end (what it is for), about its plug
(what to call it), or about the computer's plug; it holds where all of its ``when`` holds of the figures
below, takes purpose and designation from the pattern of an engine's loom by the name of a circuit, and says
why, by what source. Nothing is taken over but by a person.

Figures of a net: ``cavities``; ``rings``, connectors of one cavity; ``twos`` and ``threes``, plugs of two
and of three; ``alike_twos``, the plugs of two on it that also have a wire of their own to the computer;
``computer``, its cavities of the biggest connector; ``fuses``; ``ohm``, the most that was measured. Of a
plug: its ``size``; ``own``, its wires that go to one cavity of the computer and nowhere else; ``common``, its
cavities on nets of three and more; of those ``feed`` as the rule main-feed has it or with a fuse, else
``earthed`` with a ring on the net, ``supply`` and ``sensor_earth`` as the rules of those names have it, and
``feed`` the rest; ``bare``, its cavities on nothing; ``alike``, plugs of its size and number of own wires
that share a common net with it; ``screened``, ``resistors`` and ``diodes``.
"""

from __future__ import annotations

import csv
import operator
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from loomproof.electrics.nets import Net
from loomproof.loom.component_kinds import ComponentKind
from loomproof.loom.model import Connector, End
from loomproof.loom.nameless import is_nameless
from loomproof.loom.patterns import Usual, pattern
from loomproof.naming.answers import ENGINE, Answer, Named
from loomproof.results.figures import ohms

MOST = 4
"""So many suggestions are made of one end: of more nobody reads the reasons. Our convention."""

_SIGNS = {">=": operator.ge, "<=": operator.le, "=": operator.eq}


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What an end probably is: what to say of it, in words, why, and on whose word the rule stands."""

    answer: Answer
    says: str
    reason: str
    source: str


@dataclass(frozen=True, slots=True)
class Rule:
    """A row of the table. ``when`` is figure, sign and number, all of which must hold."""

    name: str
    about: str
    when: tuple[tuple[str, str, float], ...]
    circuit: str
    stem: str
    reason: str
    source: str

    def holds(self, figures: Mapping[str, float]) -> bool:
        """Whether all of its conditions hold; of a figure that nobody knows none does."""
        return all(
            figure in figures and _SIGNS[sign](figures[figure], number) for figure, sign, number in self.when
        )


@cache
def rules() -> tuple[Rule, ...]:
    """Return the rules of the table."""
    text = (files("loomproof.naming") / "data" / "suggestions.csv").read_text(encoding="utf-8")
    return tuple(
        Rule(
            row["rule"],
            row["about"],
            tuple(_condition(each) for each in row["when"].split()),
            row["circuit"],
            row["stem"],
            row["reason"],
            row["source"],
        )
        for row in csv.DictReader(text.splitlines())
    )


def _condition(text: str) -> tuple[str, str, float]:
    found = re.fullmatch(r"([a-z_]+)(>=|<=|=)([0-9.]+)", text)
    if found is None:
        raise ValueError(f"{text!r} in the table of suggestions is no condition such as size>=2")
    return found[1], found[2], float(found[3])


def usual(circuit: str) -> Usual:
    """Return the row of the engine's pattern that a rule speaks of."""
    return next(row for row in pattern(ENGINE) if row.circuit == circuit)


def suggestions(
    named: Named, end: End, measured: Mapping[frozenset[End], float] | None = None
) -> tuple[Suggestion, ...]:
    """Return what an end (its name at the beginning) probably is, likeliest first, `MOST` at most.

    ``measured`` has the ohms between ends, by their names at the beginning.
    """
    found: dict[tuple[str, ...], Suggestion] = {}
    for each in (*_beside(named, end), *_by_rule(named, end, measured or {})):
        key = (each.answer.connector, each.answer.cavity, each.answer.purpose)
        found.setdefault(key, each)
    return tuple(found.values())[:MOST]


def _beside(named: Named, end: End) -> Iterator[Suggestion]:
    """Yield the plug that other cavities of the same adapter plug were named as."""
    here = named.names[end]
    if not is_nameless(named.loom.by_name[here.connector]):
        return
    plugs: dict[str, End] = {}
    for then, now in named.names.items():
        if then.connector == end.connector and now.connector != here.connector:
            plugs[now.connector] = then
    for name, other in reversed(plugs.items()):
        if end.cavity in named.loom.by_name[name].cavities:
            continue
        to = End(name, end.cavity)
        yield Suggestion(
            Answer(end, name, end.cavity),
            f"{to}",
            f"{other}, of the same adapter plug, is {named.names[other]}",
            "the adapter table",
        )


def _by_rule(named: Named, end: End, measured: Mapping[frozenset[End], float]) -> tuple[Suggestion, ...]:
    """Return what the table says of an end; names that are there once already come last."""
    found: list[Suggestion] = []
    here = named.names[end]
    plug = named.loom.by_name[here.connector]
    net = named.net_of[here]
    of_net, of_plug = net_figures(named, net, measured), plug_figures(named, plug)
    computer = named.computer
    said: dict[str, object] = {
        **of_net,
        **of_plug,
        "computer_name": f"{computer.name}, the biggest plug" if computer else "",
    }
    said["rings_said"] = "one single end" if of_net["rings"] == 1 else f"{of_net['rings']:g} single ends"
    said |= {name: f"{value:g}" for name, value in said.items() if isinstance(value, float)}
    said["ohm"] = ohms(of_net.get("ohm"))
    bare, is_computer = is_nameless(plug), plug is computer
    circuit = named.circuit_at(here)
    later: list[Suggestion] = []
    for rule in rules():
        holds = rule.holds(of_net if rule.about == "net" else of_plug)
        plug_speaks = bare and (rule.about == "computer") == is_computer
        # A single end is called by what its net is for; of a plug the net says only what it is for.
        single = rule.about == "net" and bare and bool(rule.stem) and len(plug.cavities) == 1
        net_speaks = bool(net.wires) and (not circuit or (single and circuit == rule.circuit))
        if not holds or not (net_speaks if rule.about == "net" else plug_speaks):
            continue
        name, again = _free(named, rule.stem) if single or rule.about != "net" else ("", False)
        row = usual(rule.circuit) if rule.circuit else None
        more = "" if row is None or rule.source in row.source else f"; {rule.source}"
        reason, source = rule.reason.format(**said), (row.source if row else rule.source) + more
        purpose = rule.circuit if rule.about == "net" or len(net.cavities) == 2 else ""
        answer = Answer(end, name, purpose=purpose, whence=f"{reason} ({source})")
        says = ": ".join(filter(None, (name, row.purpose if row else "")))
        (later if again else found).append(Suggestion(answer, says, reason, source))
    found.sort(key=lambda each: not each.answer.connector)
    return (*found, *later, *_by_name(named, end, net))


def _by_name(named: Named, end: End, net: Net) -> Iterator[Suggestion]:
    """Yield what a net of two ends is for, by the name of a plug on it."""
    if len(net.cavities) != 2 or named.circuit_at(named.names[end]) or not net.wires:
        return
    for there in net.cavities:
        if is_nameless(named.loom.by_name[there.connector]):
            continue
        stem = there.connector.rstrip("0123456789")
        rule = next((each for each in rules() if each.about == "plug" and each.stem == stem), None)
        if rule is not None:
            row, reason = usual(rule.circuit), f"{there} is on it, by its name"
            answer = Answer(end, purpose=rule.circuit, whence=f"{reason} ({row.source})")
            yield Suggestion(answer, row.purpose, reason, row.source)


def _free(named: Named, stem: str) -> tuple[str, bool]:
    """Return the next name of a stem, and whether one that is seldom there twice is there already."""
    taken = {*named.loom.by_name, *named.traced.by_name}
    if stem in _MANY:
        return next(name for k in range(1, 10_000) if (name := f"{stem}{k}") not in taken), False
    if stem not in taken:
        return stem, False
    return next(name for k in range(2, 10_000) if (name := f"{stem}{k}") not in taken), True


_MANY = ("INJ", "COIL", "EARTH")
"""Of these a loom has several as a rule."""


def net_figures(
    named: Named, net: Net, measured: Mapping[frozenset[End], float] | None = None
) -> dict[str, float]:
    """Return the figures of a net that rules ask for; ``ohm`` only where something was measured on it."""
    computer = named.computer
    plugs = {end.connector for end in net.cavities}
    sizes = [
        len(named.loom.by_name[name].cavities) for name in plugs if not computer or name != computer.name
    ]
    kinds = [part.kind for part in named.loom.components if set(part.ends) & set(net.ends)]
    on = {named.traced_of[end] for end in net.cavities}
    read = [ohm for pair, ohm in (measured or {}).items() if pair <= on]
    figures = {
        "cavities": float(len(net.cavities)),
        "rings": float(sum(size == 1 for size in sizes)),
        "twos": float(sum(size == 2 for size in sizes)),
        "threes": float(sum(size == 3 for size in sizes)),
        "alike_twos": float(
            sum(
                len(plug.cavities) == 2 and bool(_own(named, plug))
                for plug in (named.loom.by_name[name] for name in plugs)
            )
        ),
        "computer": float(
            sum(computer is not None and end.connector == computer.name for end in net.cavities)
        ),
        "fuses": float(sum(kind in (ComponentKind.FUSE, ComponentKind.LINK) for kind in kinds)),
    }
    return figures | ({"ohm": max(read)} if read else {})


def _own(named: Named, plug: Connector) -> tuple[End, ...]:
    """Return the cavities of a plug whose wire goes to one cavity of the computer and nowhere else."""
    computer = named.computer
    if computer is None:
        return ()
    return tuple(
        end
        for end in plug.ends
        if len(cavities := named.net_of[end].cavities) == 2
        and any(each.connector == computer.name for each in cavities if each != end)
    )


def plug_figures(named: Named, plug: Connector) -> dict[str, float]:
    """Return the figures of a plug that rules ask for."""
    own = len(_own(named, plug))
    nets = [named.net_of[end] for end in plug.ends]
    kinds = {"earthed": 0, "supply": 0, "sensor_earth": 0, "feed": 0}
    common: list[Net] = [net for net in nets if len(net.cavities) > 2]
    for net in common:
        kinds[_kind_of(named, net)] += 1
    shared = {end.connector for net in common for end in net.cavities}
    alike = [
        other
        for other in (named.loom.by_name[name] for name in shared)
        if len(other.cavities) == len(plug.cavities) and len(_own(named, other)) == own
    ]
    ends = set(plug.ends)
    across = [
        part.kind
        for part in named.loom.components
        if len({end for end in plug.ends if set(named.net_of[end].ends) & set(part.ends)}) > 1
    ]
    wires = [wire for wire in named.loom.wires if ends & set(wire.ends)]
    figures = {
        "size": len(plug.cavities),
        "own": own,
        "common": len(common),
        **kinds,
        "bare": sum(len(net.cavities) == 1 for net in nets),
        "alike": len(alike),
        "screened": sum(bool(wire.screened_by) for wire in wires),
        "resistors": sum(kind is ComponentKind.RESISTOR for kind in across),
        "diodes": sum(kind is ComponentKind.DIODE for kind in across),
    }
    return {name: float(value) for name, value in figures.items()}


def _kind_of(named: Named, net: Net) -> str:
    """Return what a common net of a plug is, as the rules about nets have it."""
    figures = net_figures(named, net)
    by_name = {rule.name: rule for rule in rules()}
    if by_name["main-feed"].holds(figures) or figures["fuses"]:
        return "feed"
    if figures["rings"]:
        return "earthed"
    if by_name["sensor-supply"].holds(figures):
        return "supply"
    if by_name["sensor-earth"].holds(figures):
        return "sensor_earth"
    return "feed"

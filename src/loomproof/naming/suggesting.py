"""What an end probably is, with the reason: rules of a table over what was measured.

The table is ``data/suggestions.csv``. A rule is about the net of an end (what it is for), about its plug
(what to call it), or about the computer's plug; it holds where all of its ``when`` holds of the figures
below, takes purpose and designation from the pattern of an engine's loom by the name of a circuit, and says
why, by what source. Nothing is taken over but by a person.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from loomproof.electrics.nets import Net
from loomproof.loom.model import End, Loom
from loomproof.loom.nameless import is_nameless
from loomproof.naming.answers import Answer, Named
from loomproof.naming.figures import Figures
from loomproof.naming.rules import rules, usual
from loomproof.results.figures import ohms

MOST = 4
"""So many suggestions are made of one end: of more nobody reads the reasons. Our convention."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What an end probably is: what to say of it, in words, why, and on whose word the rule stands."""

    answer: Answer
    says: str
    reason: str
    source: str


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
    plug, net, counted = named.traced.by_name[end.connector], named.net_of[here], figures_of(named)
    of_net, of_plug = counted.of_net(end, measured), counted.of_plug(end)
    said: dict[str, object] = {
        **of_net,
        **of_plug,
        "computer_name": _computer(named),
    }
    said["rings_said"] = "one single end" if of_net["rings"] == 1 else f"{of_net['rings']:g} single ends"
    said |= {name: f"{value:g}" for name, value in said.items() if isinstance(value, float)}
    said["ohm"] = ohms(of_net.get("ohm"))
    bare, is_computer = is_nameless(named.loom.by_name[here.connector]), plug is counted.computer
    whole = bare and all(named.names[each].connector == here.connector for each in plug.ends)
    circuit = named.circuit_at(here)
    later: list[Suggestion] = []
    for rule in rules():
        holds = rule.holds(of_net if rule.about == "net" else of_plug)
        plug_speaks = whole and (rule.about == "computer") == is_computer
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


def _computer(named: Named) -> str:
    """Return how the computer's plug is spoken of."""
    computer = figures_of(named).computer
    if computer is None:
        return "the computer"
    now = [named.names[end].connector for end in computer.ends]
    return f"{max(now, key=now.count)}, the biggest plug"


def figures_of(named: Named) -> Figures:
    """Return the figures of the loom as it was traced."""
    return _figures(_Same(named.traced))


@dataclass(frozen=True, slots=True, eq=False)
class _Same:
    """A loom, the same only as itself: to compare two looms would take longer than to count anew."""

    loom: Loom

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.loom is self.loom

    def __hash__(self) -> int:
        return id(self.loom)


@lru_cache(maxsize=2)
def _figures(of: _Same) -> Figures:
    return Figures(of.loom)


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

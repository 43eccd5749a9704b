"""What a person said of ends, one answer after another, laid over the loom as it was traced.

Answers speak of ends by the names under which the loom was begun, which stay; what an end is called by now is
in `Named.names`. What is joined is never changed by an answer, only what things are called.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from loomproof.electrics.nets import Net, nets_of
from loomproof.errors import InputError
from loomproof.loom.colours import name_of
from loomproof.loom.designations import DESIGNATIONS
from loomproof.loom.model import CavityFacts, Circuit, Component, ConnectorKind, End, Loom, Wire
from loomproof.loom.nameless import is_nameless
from loomproof.loom.patterns import pattern, usual_of
from loomproof.naming.moving import moved

ENGINE = "engine"
"""The pattern whose circuits purposes are taken for."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What was said of one end; what stays empty was not said.

    ``connector`` without ``cavity`` names the whole plug, whose cavities keep their names. ``colour`` is as a
    `Wire` holds it, ``designation`` of DIN 72552, ``purpose`` a circuit's name or words. ``whence`` is the
    reason of a suggestion that was taken, empty where a person typed it.
    """

    end: End
    connector: str = ""
    cavity: str = ""
    kind: ConnectorKind | None = None
    colour: str = ""
    designation: str = ""
    purpose: str = ""
    whence: str = ""


@dataclass(frozen=True)
class Named:
    """A loom with what was answered so far; ``told`` says what the last answer did besides naming.

    ``names`` is what each end of ``traced`` is called by now.
    """

    traced: Loom
    loom: Loom
    names: Mapping[End, End]
    answers: tuple[Answer, ...] = ()
    told: str = ""

    @cached_property
    def traced_of(self) -> Mapping[End, End]:
        """The name under which the loom was begun, by today's."""
        return {now: then for then, now in self.names.items()}

    @cached_property
    def nets(self) -> tuple[Net, ...]:
        """What is one conductor, by today's names."""
        return nets_of(self.loom)

    @cached_property
    def net_of(self) -> Mapping[End, Net]:
        """The net of each end, by today's names."""
        return {end: net for net in self.nets for end in net.ends}

    @cached_property
    def nameless(self) -> tuple[End, ...]:
        """Ends whose connector nobody has named, by the names of the beginning, in the loom's order."""
        bare = {c.name for c in self.loom.connectors if is_nameless(c)}
        return tuple(end for end in self.traced.cavities if self.names[end].connector in bare)

    def wires_of(self, end: End) -> tuple[Wire, ...]:
        """Return the wires of the net of an end, by today's name."""
        net = self.net_of.get(end)
        return () if net is None else tuple(self.loom.wire_by_name[name] for name in net.wires)

    def parts_at(self, end: End) -> tuple[Component, ...]:
        """Return the parts of the loom that hang on the net of an end, by today's name."""
        net = self.net_of.get(end)
        ends = set() if net is None else set(net.ends)
        return tuple(part for part in self.loom.components if ends & set(part.ends))

    def circuit_at(self, end: End) -> str:
        """Return the circuit of the wires of an end's net; "" where none is said."""
        return next((wire.circuit for wire in self.wires_of(end) if wire.circuit), "")


def begun(traced: Loom) -> Named:
    """Return a loom of which nothing was answered yet."""
    return Named(traced, traced, {end: end for end in traced.cavities})


def answered(traced: Loom, answers: Iterable[Answer]) -> Named:
    """Return a loom after all these answers, one after another. Raises as `after` does."""
    named = begun(traced)
    for answer in answers:
        named = after(named, answer)
    return named


def after(named: Named, answer: Answer) -> Named:
    """Return the loom after one more answer. Raises `InputError` for one that can't be meant."""
    here = named.names.get(answer.end)
    if here is None:
        raise InputError(f"this loom was begun without an end {answer.end}", cure="Touch one of its ends.")
    renamed = moves_of(named, here, answer)
    loom = moved(named.loom, renamed, named.traced_of, answer.connector)
    here = renamed.get(here, here)
    if answer.kind is not None:
        loom = _of_kind(loom, here.connector, answer.kind)
    names = {then: renamed.get(now, now) for then, now in named.names.items()}
    named = Named(named.traced, loom, names, named.answers)
    told: list[str] = []
    loom = _coloured(named, here, answer.colour, told)
    loom = _with_purpose(replace(named, loom=loom), here, answer, told)
    return Named(named.traced, loom, names, (*named.answers, answer), " ".join(told))


def moves_of(named: Named, here: End, answer: Answer) -> dict[End, End]:
    """Return which ends, by today's names, are called otherwise after an answer. Raises `InputError`."""
    loom = named.loom
    to = answer.connector or here.connector
    if to in loom.by_name and loom.by_name[to].kind is ConnectorKind.SPLICE:
        raise InputError(f"{to} is a splice of this loom", cure="Call the plug otherwise.")
    if answer.cavity:
        found = {here: End(to, answer.cavity)}
    elif answer.connector:
        found = {end: End(to, end.cavity) for end in loom.by_name[here.connector].ends}
    else:
        return {}
    there = set(loom.cavities) - set(found)
    taken = [end for end in found.values() if end in there]
    if taken:
        whole = "" if answer.cavity else f"{to} is there already, and "
        was = named.traced_of.get(taken[0], taken[0])
        begun_as = "" if was == taken[0] else f": it is what was traced as {was}"
        cure = (
            "Read the number again at the housing, or touch that end and call it otherwise first."
            if answer.cavity
            else f"Say which cavity of it this is, like {End(to, 'NUMBER')}."
        )
        raise InputError(f"{whole}{taken[0]} has its name already{begun_as}", cure=cure)
    return found


def circuit_for(loom: Loom, purpose: str, designation: str) -> Circuit | None:
    """Return the circuit that a purpose and a designation speak of: one of the loom's, a usual one, or new.

    ``None`` where nothing is said.
    """
    said = purpose or (f"terminal {designation}" if designation else "")
    if not said:
        return None
    known = next((c for c in loom.circuits if c.name.casefold() == said.casefold()), None)
    if known is None and purpose:
        rows = pattern(ENGINE)
        usual = next((row for row in rows if row.circuit == purpose.casefold()), None)
        usual = usual or usual_of(rows, Circuit(purpose))
        if usual is not None:
            # What was said in words is kept in them: a lamp of the charge circuit may be told from another.
            own = purpose.casefold() in (usual.circuit, usual.purpose.casefold())
            name = usual.circuit if own else purpose
            there = loom.circuit_by_name.get(name)
            known = there or Circuit(name, usual.purpose, usual.designation)
    if known is None:
        known = Circuit(said, purpose or DESIGNATIONS.get(designation, ""), designation)
    return replace(known, designation=designation) if designation else known


def _of_kind(loom: Loom, name: str, kind: ConnectorKind) -> Loom:
    if kind is ConnectorKind.SPLICE:
        raise InputError("an end that is touched is no splice", cure="Say plug, socket, ring, blade or tail.")
    return replace(
        loom, connectors=tuple(replace(c, kind=kind) if c.name == name else c for c in loom.connectors)
    )


def _noted(loom: Loom, end: End, note: str) -> Loom:
    """Return the loom with one more note at a cavity."""
    facts = loom.facts_by_end.get(end, CavityFacts(end))
    if note in facts.note:
        return loom
    new = replace(facts, note=f"{facts.note}; {note}" if facts.note else note)
    others = tuple(each for each in loom.cavity_facts if each.end != end)
    return replace(loom, cavity_facts=(*others, new))


def _coloured(named: Named, here: End, colour: str, told: list[str]) -> Loom:
    loom = named.loom
    if not colour:
        return loom
    at = loom.wires_at.get(here, ())
    if not at:
        told.append(f"No wire is known at {here}: its colour stands as a note.")
        return _noted(loom, here, f"wire here is {name_of(colour)}")
    for wire in at:
        if wire.colour and wire.colour != colour:
            other = next((end for end in wire.ends if end != here), here)
            far = f", which ends at {other} too" if other.cavity else ""
            told.append(
                f"Wire {wire.name}{far}, was {name_of(wire.colour)} before. If both are right, there is a "
                "joint between."
            )
            loom = _noted(loom, here, f"wire {wire.name} was called {name_of(wire.colour)} before")
    names = {wire.name for wire in at}
    return replace(loom, wires=tuple(replace(w, colour=colour) if w.name in names else w for w in loom.wires))


def _with_purpose(named: Named, here: End, answer: Answer, told: list[str]) -> Loom:
    loom = named.loom
    circuit = circuit_for(loom, answer.purpose, answer.designation)
    if circuit is None:
        return loom
    wires = {wire.name for wire in named.wires_of(here)}
    if not wires:
        told.append(f"No wire is known at {here}: what it is for stands as a note.")
        return _noted(loom, here, " ".join(filter(None, (answer.designation, circuit.purpose))))
    before = {w.circuit for w in loom.wires if w.name in wires and w.circuit} - {circuit.name}
    if before:
        told.append(f"Its net was for {', '.join(sorted(before))} before.")
    wired = tuple(replace(w, circuit=circuit.name) if w.name in wires else w for w in loom.wires)
    return replace(loom, wires=wired, circuits=_circuits(loom.circuits, circuit))


def _circuits(there: Sequence[Circuit], circuit: Circuit) -> tuple[Circuit, ...]:
    if any(each.name == circuit.name for each in there):
        return tuple(circuit if each.name == circuit.name else each for each in there)
    return (*there, circuit)

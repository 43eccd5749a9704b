"""Two issues of one list: what changed, and what a person had added to the loom beside the list."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, replace

from loomproof.loom.model import CavityFacts, Circuit, Connector, ConnectorKind, End, Loom, Wire


def changes(old: Loom, new: Loom) -> tuple[str, ...]:
    """Say in words what differs between two looms: connectors, cavities, wires and parts by their names."""
    return tuple(_changes(old, new))


def _changes(old: Loom, new: Loom) -> Iterator[str]:
    for name in new.by_name:
        if name not in old.by_name:
            yield f"connector {name} is new"
    for name in old.by_name:
        if name not in new.by_name:
            yield f"connector {name} is gone"
    for name, connector in new.by_name.items():
        before = old.by_name.get(name)
        if before is None:
            continue
        added = [c for c in connector.cavities if c not in before.cavities]
        gone = [c for c in before.cavities if c not in connector.cavities]
        if added:
            yield f"connector {name} has the cavities {', '.join(added)} as well"
        if gone:
            yield f"connector {name} has no cavities {', '.join(gone)} any more"
        if connector.kind is not before.kind:
            yield f"connector {name} was a {before.kind} and is a {connector.kind}"
    for name in new.wire_by_name:
        if name not in old.wire_by_name:
            wire = new.wire_by_name[name]
            yield f"wire {name} is new: {wire.a} to {wire.b}"
    for name, before_wire in old.wire_by_name.items():
        after = new.wire_by_name.get(name)
        if after is None:
            yield f"wire {name} is gone: {before_wire.a} to {before_wire.b}"
        elif said := "; ".join(_differences(before_wire, after)):
            yield f"wire {name}: {said}"
    parts = {part.name for part in old.components} - {part.name for part in new.components}
    for name in sorted(parts):
        yield f"component {name} is gone: a cavity that it sits on is not there any more"


_WORDS = {"csa_mm2": "section, mm²,", "length_m": "length, m,", "a": "start", "b": "end"}


def _differences(old: Wire, new: Wire) -> Iterator[str]:
    for field in fields(Wire):
        before, after = getattr(old, field.name), getattr(new, field.name)
        if before != after and field.name != "name":
            word = _WORDS.get(field.name, field.name.replace("_", " "))
            yield f"{word} {_said(before)} becomes {_said(after)}"


def _said(value: object) -> str:
    return "nothing" if value in ("", None) else str(value)


def carried(old: Loom, new: Loom) -> Loom:
    """Return the new loom with what a person had added to the old one and no list says.

    Taken over: serial, description, settings and choices; of connectors kind, rows (new cavities in a row of
    their own), housing, place, hazard and description; components whose cavities are still there; what
    circuits and cavities were said to be. Wires are the list's.
    """
    kept = {c.name: _connector(old.by_name.get(c.name), c) for c in new.connectors}
    wires = tuple(replace(wire, a=_end(wire.a, kept), b=_end(wire.b, kept)) for wire in new.wires)
    loom = replace(
        new,
        serial=old.serial,
        description=old.description,
        settings=old.settings,
        choices=old.choices,
        connectors=tuple(kept.values()),
        wires=wires,
    )
    ends = {end for connector in loom.connectors for end in connector.ends}
    parts = tuple(part for part in old.components if set(part.ends) <= ends)
    named = {part.circuit for part in parts} | {
        circuit for choice in old.choices for answer in choice.answers for circuit, _ in answer.makes
    }
    circuits: dict[str, Circuit] = {c.name: old.circuit_by_name.get(c.name, c) for c in new.circuits}
    circuits |= {c.name: c for c in old.circuits if c.name in named and c.name not in circuits}
    for circuit in list(circuits.values()):
        for need in circuit.needs:
            if need in old.circuit_by_name:
                circuits.setdefault(need, old.circuit_by_name[need])
    facts = _facts(old, loom, ends)
    return replace(loom, components=parts, circuits=tuple(circuits.values()), cavity_facts=facts)


def _connector(old: Connector | None, new: Connector) -> Connector:
    if old is None:
        return new
    # A splice or a ring is a guess that a person may have corrected; a plug whose cavities are named is none.
    is_guess = new.kind in (ConnectorKind.SPLICE, ConnectorKind.RING)
    kind = old.kind if is_guess or old.kind is not ConnectorKind.SPLICE else new.kind
    rows = old.rows
    added = tuple(cavity for cavity in new.cavities if cavity not in old.cavities)
    if kind is not old.kind:
        rows = new.rows
    elif added and not is_guess:
        rows = (*rows, added)
    return Connector(
        new.name, kind, rows, old.description or new.description, old.housing, old.location, old.hazard
    )


def _end(end: End, kept: dict[str, Connector]) -> End:
    connector = kept[end.connector]
    if connector.kind is ConnectorKind.SPLICE:
        return End(end.connector)
    if end.cavity not in connector.cavities and len(connector.cavities) == 1:
        return End(end.connector, connector.cavities[0])
    return end


def _facts(old: Loom, new: Loom, ends: set[End]) -> tuple[CavityFacts, ...]:
    found = {facts.end: facts for facts in new.cavity_facts}
    wired = set(new.wires_at)
    for facts in old.cavity_facts:
        if facts.end in ends:
            now = found.get(facts.end)
            shared = now.shared if now else facts.shared and len(new.wires_at.get(facts.end, ())) > 1
            note = facts.note or (now.note if now else "")
            spare = facts.spare and facts.end not in wired
            found[facts.end] = replace(facts, shared=shared, note=note, spare=spare)
    return tuple(found.values())

"""Learn a description from known-good looms of a kind: what all agree on, and what differs as questions."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from loomproof.electrics.nets import nets_of
from loomproof.errors import InputError
from loomproof.loom.model import CavityFacts, Component, Connector, ConnectorKind, End, Loom, Wire

NOT_THE_SAME = "not the same in all reference looms: wired in some, see the questions"


@dataclass(frozen=True)
class Learned:
    """A description of what all reference looms have in common, and what they do not, as questions."""

    loom: Loom
    questions: tuple[str, ...]


def learn(looms: Sequence[Loom], name: str) -> Learned:
    """Return the description that known-good looms have in common, each traced with the same names.

    Two cavities are on one net where they are so in every loom. A part is there where every loom has one of
    its kind between the same nets; its ohms are the mean, its tolerance what the farthest is off, and no less
    than what was stated of any. Colours, sections and lengths stay where all looms state the same.
    Raises `InputError` for no loom, and for looms that have not the same cavities.
    """
    if not looms:
        raise InputError("no reference loom was named", cure="Name the folder of one traced loom or several.")
    first = looms[0]
    for other in looms[1:]:
        _same_cavities(first, other)
    called = tuple(" ".join(filter(None, (loom.name, loom.serial))) for loom in looms)
    numbered = [{end: net.index for net in nets_of(loom) for end in net.cavities} for loom in looms]
    groups: dict[tuple[int, ...], list[End]] = {}
    for end in first.cavities:
        groups.setdefault(tuple(numbers[end] for numbers in numbered), []).append(end)
    at = {end: key for key, ends in groups.items() for end in ends}
    parts, odd = _parts(looms, at, called)
    connectors = [c for c in first.connectors if c.kind is not ConnectorKind.SPLICE]
    wires: list[Wire] = []
    splices: list[Connector] = []
    for ends in groups.values():
        splice = Connector(
            _free(connectors, len(splices) + 1), ConnectorKind.SPLICE, description="learned: where?"
        )
        if len(ends) > 2:
            splices.append(splice)
        for a, b in ((ends[0], ends[1]),) if len(ends) == 2 else ((e, End(splice.name)) for e in ends):
            if len(ends) > 1:
                wires.append(_wire(f"W{len(wires) + 1}", a, b, looms))
    differing = tuple(_differing(groups, called))
    unsure = {end for _, ends in differing for end in ends}
    facts = {facts.end: facts for facts in first.cavity_facts}
    facts |= {end: CavityFacts(end, note=NOT_THE_SAME) for end in unsure if len(groups[at[end]]) == 1}
    return Learned(
        replace(
            first,
            name=name,
            serial="",
            description=f"Learned from {', '.join(called)}.",
            connectors=(*connectors, *splices),
            wires=tuple(wires),
            components=parts,
            cavity_facts=tuple(facts.values()),
            learned_from=called,
        ),
        (*(text for text, _ in differing), *odd),
    )


def _same_cavities(first: Loom, other: Loom) -> None:
    mine, theirs = set(first.cavities), set(other.cavities)
    if mine != theirs:
        end = min(mine ^ theirs, key=str)
        here, there = (first, other) if end in mine else (other, first)
        raise InputError(
            f"{here.name} {here.serial}".strip()
            + f" has a cavity {end}, {there.name} {there.serial}".rstrip()
            + " has not: they were not traced with the same names",
            cure="Trace all of a kind with one adapter table, or match one to the other and take its names.",
        )


def _free(connectors: Iterable[Connector], number: int) -> str:
    taken = {connector.name for connector in connectors}
    name = f"S{number}"
    while name in taken:
        name = f"S-{name}"
    return name


def _wire(name: str, a: End, b: End, looms: Sequence[Loom]) -> Wire:
    """A wire with what every loom says alike of the one between these ends, or alone at this cavity."""
    said = [_there(loom, a, b) for loom in looms]
    if any(wire is None for wire in said):
        return Wire(name, a, b)
    known = [wire for wire in said if wire is not None]
    wire = known[0]
    same = {
        key: getattr(wire, key)
        for key in ("colour", "csa_mm2", "section", "length_m", "circuit")
        if all(getattr(other, key) == getattr(wire, key) for other in known)
    }
    if "csa_mm2" not in same:
        same.pop("section", None)
    return Wire(name, a, b, **same)


def _there(loom: Loom, a: End, b: End) -> Wire | None:
    found = loom.wires_at.get(a, ())
    if b.cavity:
        found = tuple(wire for wire in found if b in wire.ends)
    return found[0] if len(found) == 1 else None


def _differing(
    groups: dict[tuple[int, ...], list[End]], called: Sequence[str]
) -> Iterator[tuple[str, tuple[End, ...]]]:
    """Yield a question for each net of some loom that another one has in pieces, with the ends concerned."""
    asked: set[frozenset[tuple[int, ...]]] = set()
    for k in range(len(called)):
        whole: dict[int, list[tuple[int, ...]]] = {}
        for key in groups:
            whole.setdefault(key[k], []).append(key)
        for pieces in whole.values():
            if len(pieces) < 2 or frozenset(pieces) in asked:
                continue
            asked.add(frozenset(pieces))
            joined = [called[j] for j in range(len(called)) if len({piece[j] for piece in pieces}) == 1]
            apart = [name for name in called if name not in joined]
            texts = " | ".join(", ".join(map(str, groups[piece])) for piece in pieces)
            yield (
                f"{texts}: one net in {', '.join(joined)}, not in {', '.join(apart)}. Which is right?",
                tuple(end for piece in pieces for end in groups[piece]),
            )


def _parts(
    looms: Sequence[Loom], at: dict[End, tuple[int, ...]], called: Sequence[str]
) -> tuple[tuple[Component, ...], list[str]]:
    """Return the parts that every loom has between the same nets, and a question for each other one."""
    kept: list[Component] = []
    asked: list[str] = []
    places: dict[tuple[object, ...], list[tuple[int, Component]]] = {}
    for k, loom in enumerate(looms):
        for part in loom.components:
            nets = tuple(at.get(end, (-1,)) for end in part.ends)
            key = (part.kind, nets if part.form.told_apart else tuple(sorted(nets)))
            places.setdefault(key, []).append((k, part))
    for found in places.values():
        owners = [k for k, _ in found]
        parts = [part for _, part in found]
        if sorted(owners) == list(range(len(looms))):
            kept.append(_mean(parts))
        else:
            ends = " to ".join(map(str, parts[0].ends))
            there = ", ".join(dict.fromkeys(called[k] for k in owners))
            asked.append(f"{parts[0].kind} from {ends}: only {there} has it once. Does it belong there?")
    return tuple(kept), asked


def _mean(parts: Sequence[Component]) -> Component:
    ohms = [part.resistance_ohm for part in parts if part.resistance_ohm is not None]
    if len(ohms) < len(parts) or not ohms:
        return parts[0]
    mean = math.fsum(ohms) / len(ohms)
    spread = 100.0 * max(abs(ohm - mean) for ohm in ohms) / mean if mean else 0.0
    stated = max((part.tolerance_pct or 0.0 for part in parts), default=0.0)
    return replace(
        parts[0],
        resistance_ohm=float(f"{mean:.5g}"),
        tolerance_pct=float(f"{max(spread, stated):.3g}") or None,
        note=f"mean of {len(ohms)} reference looms, {min(ohms):.4g} to {max(ohms):.4g} ohm",
    )

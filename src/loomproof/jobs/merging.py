"""A description laid over a traced loom: names, colours, faces from the one, what is joined from the other.

Trace tells what conducts, and nothing else; a diagram tells names, colours, housings and places, and may be
half of one or of another car. So what is joined is taken from the trace, and whatever the description says
besides stays. Where both speak of the same ends and differ, it is told: that is what somebody looks for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from loomproof.electrics.component_kinds import joins, paths_of
from loomproof.electrics.graph import united
from loomproof.errors import UsageError
from loomproof.loom.model import (
    CavityFacts,
    Component,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Settings,
    Wire,
)
from loomproof.loom.reading import load
from loomproof.loom.writing import write_loom


@dataclass(frozen=True)
class Laid:
    """A loom that both speak of; ``told`` is where they differ, and what only one of them knows."""

    loom: Loom
    told: tuple[str, ...]


def lay_over(traced: Loom, known: Loom) -> Laid:
    """Lay what is known of a loom (a description, half of one will do) over the loom as it was traced.

    What is joined is what was traced; wires of the description that join just that are kept with their
    names, splices and colours, and where it says less, wires are added. Ends that were not traced stay as
    they are described.
    """
    return _Laying(traced, known).laid()


def merged(traced: Path, known: Path, target: Path, *, over: bool = False) -> Laid:
    """Lay one described loom over another, and write it as a folder or workbook.

    Raises as `loomproof.loom.reading.load` and `write_folder` do, `UsageError` where they have no end in
    common.
    """
    one, other = load(traced).loom, load(known).loom
    if not set(one.cavities) & set(other.cavities):
        raise UsageError(
            f"{traced} and {known} have no cavity in common",
            cure="Their connectors must have the same names.",
        )
    laid = lay_over(one, other)
    write_loom(laid.loom, target, over=over)
    return laid


class _Laying:
    def __init__(self, traced: Loom, known: Loom) -> None:
        self.traced, self.known = traced, known
        self.nets = [tuple(sorted(net)) for net in _nets(traced)]
        self.home = {end: k for k, net in enumerate(self.nets) for end in net if end.cavity}
        self.described = _nets(known)
        self.told: list[str] = []

    def laid(self) -> Laid:
        kept = tuple(self._kept())
        added, splices = self._added(kept)
        used = {end.connector for wire in (*kept, *added) for end in wire.ends}
        used |= {end.connector for part in self.known.components for end in part.ends}
        known = self.known
        connectors = [
            self._connector(each)
            for each in known.connectors
            if each.kind is not ConnectorKind.SPLICE
            or each.name in used
            or not known.wires_at.get(End(each.name))
        ]
        named = {each.name for each in connectors}
        connectors += [each for each in self.traced.connectors if each.name not in named and each.cavities]
        connectors += splices
        parts = tuple(self._parts())
        wired = {end for wire in (*kept, *added) for end in wire.ends}
        facts = [
            each
            for each in self.traced.cavity_facts
            if each.end not in known.facts_by_end and each.end not in wired
        ]
        unseen = [end for end in known.cavities if end not in self.home]
        if unseen:
            self.told.append(f"Not traced, and left as described: {_few(unseen)}.")
        settings = self.traced.settings if known.settings == Settings() else known.settings
        loom = replace(
            known,
            connectors=tuple(connectors),
            wires=(*kept, *added),
            components=parts,
            cavity_facts=_held([*known.cavity_facts, *facts], kept, added),
            settings=settings,
            traced_in=tuple(dict.fromkeys((*known.traced_in, *self.traced.traced_in))),
        )
        return Laid(loom, tuple(self.told))

    def _homes(self, net: Iterable[End]) -> set[int]:
        return {self.home[end] for end in net if end in self.home}

    def _kept(self) -> Iterator[Wire]:
        """Yield the described wires that the trace does not contradict; tell of the others."""
        net_of = {end: net for net in self.described for end in net}
        contradicted = {net for net in self.described if len(self._homes(net)) > 1}
        for net in sorted(contradicted, key=min):
            parts = [
                _few(end for end in sorted(net) if self.home.get(end) == k) for k in sorted(self._homes(net))
            ]
            names = [wire.name for wire in self.known.wires if wire.a in net]
            self.told.append(
                f"Described as joined by {', '.join(names)}, and traced apart: {' | '.join(parts)}."
            )
        for wire in self.known.wires:
            direct = wire.a in self.home and self.home[wire.a] == self.home.get(wire.b)
            if direct or net_of[wire.a] not in contradicted:
                yield wire

    def _added(self, kept: Sequence[Wire]) -> tuple[list[Wire], list[Connector]]:
        """Return the wires and splices without which what was traced as joined would not be."""
        groups = list(map(frozenset, united([*(frozenset(wire.ends) for wire in kept), *self._closed()])))
        group_of = {end: group for group in groups for end in group}
        names = {*self.known.wire_by_name, *self.known.component_by_name, *self.known.by_name}
        wires: list[Wire] = []
        splices: list[Connector] = []
        for net in self.nets:
            cavities = [end for end in net if end.cavity]
            parts = list(dict.fromkeys(group_of.get(end, frozenset({end})) for end in cavities))
            if len(parts) < 2:
                continue
            spoken = [part for part in parts if len(part) > 1]
            ends = [min(end for end in part if end in self.home) for part in parts]
            if len(spoken) > 1:
                self.told.append(
                    f"Described as apart, and traced joined: {_few(min(part) for part in spoken)}."
                )
            hub = next((end for part in spoken for end in sorted(part) if not end.cavity), None)
            if hub is None and len(ends) > 2:
                hub = End(_free("S", names))
                splices.append(
                    Connector(hub.connector, ConnectorKind.SPLICE, description="found by tracing: where?")
                )
            there = next((part for part in parts if hub in part), None)
            pairs = (
                [(ends[0], ends[1])]
                if hub is None
                else [(end, hub) for end, part in zip(ends, parts, strict=True) if part is not there]
            )
            wires += [Wire(_free("T", names), *pair, note=self._note(pair[0])) for pair in pairs]
        return wires, splices

    def _closed(self) -> Iterator[frozenset[End]]:
        """Yield the ends of described parts that conduct like a wire, where they were traced as joined."""
        for part in self.known.components:
            for path in paths_of(part):
                a, b = self._place(path.a), self._place(path.b)
                if not joins(part, path) or a is None or b is None:
                    continue
                if a == b:
                    yield frozenset({path.a, path.b})
                elif part.fitted:
                    self.told.append(f"{part.name} was traced open: pulled or blown?")

    def _place(self, end: End) -> int | None:
        """Return the traced net that an end of the description is on, by any end of its own net."""
        net = next((net for net in self.described if end in net), frozenset({end}))
        return min(self._homes(net), default=None)

    def _note(self, end: End) -> str:
        notes = (wire.note for wire in self.traced.wires_at.get(end, ()) if wire.note)
        return next(notes, "found by tracing")

    def _connector(self, known: Connector) -> Connector:
        """Return a described connector with the cavities that only the trace knows, and its hazard."""
        traced = self.traced.by_name.get(known.name)
        if traced is None:
            return known
        missing = tuple(cavity for cavity in traced.cavities if cavity not in known.cavities)
        if missing:
            self.told.append(
                f"{known.name} is described without {_few(missing)}: added as a row of their own."
            )
        hazard = traced.hazard if known.hazard is Hazard.UNKNOWN else known.hazard
        return replace(known, rows=(*known.rows, missing) if missing else known.rows, hazard=hazard)

    def _parts(self) -> Iterator[Component]:
        """Yield the described parts, then those that only the trace found; tell what differs."""
        described: dict[frozenset[int | None], list[Component]] = {}
        for each in self.known.components:
            yield each
            described.setdefault(frozenset(map(self._place, each.ends)), []).append(each)
        names = {*self.known.component_by_name, *self.known.wire_by_name}
        found = set()
        for each in self.traced.components:
            ends = frozenset(self.home.get(end) for end in each.ends)
            same = described.get(ends, [])
            found.add(ends)
            if not same:
                self.told.append(f"{each.name} at {_few(each.ends)} was traced, and is not described.")
                name = each.name if each.name not in names else _free(each.name, names)
                names.add(name)
                yield replace(each, name=name)
            elif _ohms_differ(same[0], each):
                self.told.append(
                    f"{same[0].name} is described with {same[0].resistance_ohm:g} ohm, and was traced with "
                    f"{each.resistance_ohm:g} ohm."
                )
        for ends, parts in described.items():
            if None in ends or len(ends) < 2 or ends in found:
                continue
            seen = [
                each.name
                for each in parts
                if each.fitted and (each.resistance_ohm is not None or each.forward_v is not None)
            ]
            if seen:
                self.told.append(f"{', '.join(seen)}: described, and the trace found no such part.")


def _ohms_differ(known: Component, traced: Component) -> bool:
    if known.resistance_ohm is None or traced.resistance_ohm is None:
        return False
    ratio = ((known.tolerance_pct or 5.0) + (traced.tolerance_pct or 0.0)) / 100.0
    return abs(traced.resistance_ohm - known.resistance_ohm) > ratio * known.resistance_ohm


def _nets(loom: Loom) -> tuple[frozenset[End], ...]:
    """Return what wires and splices alone join; an end without a wire is a net of its own."""
    alone = (frozenset({end}) for end in loom.cavities)
    return tuple(map(frozenset, united([*(frozenset(wire.ends) for wire in loom.wires), *alone])))


def _few(things: Iterable[object]) -> str:
    texts = list(map(str, things))
    return ", ".join(texts[:6]) + (f" and {len(texts) - 6} more" if len(texts) > 6 else "")


def _free(stem: str, names: set[str]) -> str:
    """Return a name that nothing has yet, and take it."""
    name = next(each for k in range(1, 100_000) if (each := f"{stem}{k}") not in names)
    names.add(name)
    return name


def shell(known: Loom, traced: Mapping[str, Connector]) -> Loom:
    """Return the connectors that are known or plugged, without any wire: what is to be cleared and traced."""
    others = tuple(each for name, each in traced.items() if name not in known.by_name)
    plugs = tuple(each for each in known.connectors if each.kind is not ConnectorKind.SPLICE)
    return Loom(known.name, connectors=(*plugs, *others), settings=known.settings)


def _held(
    facts: Iterable[CavityFacts], kept: Sequence[Wire], added: Sequence[Wire]
) -> tuple[CavityFacts, ...]:
    """Return what is known of cavities: where a wire was added none is spare, and one may hold two."""
    by_end = {each.end: each for each in facts}
    holds = Counter(end for wire in (*kept, *added) for end in wire.ends if end.cavity)
    for end in dict.fromkeys(end for wire in added for end in wire.ends if end.cavity):
        known = by_end.get(end, CavityFacts(end))
        if known.spare or (holds[end] > 1 and not known.shared):
            by_end[end] = replace(known, spare=False, shared=known.shared or holds[end] > 1)
    return tuple(by_end.values())

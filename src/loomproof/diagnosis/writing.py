"""Faults written as findings: title, evidence, places, repair, cautions, alternatives."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from loomproof.diagnosis.causes import CAUSES
from loomproof.diagnosis.faults import Choice, Fault
from loomproof.diagnosis.touch import Conductor, Touch, nearest, touches
from loomproof.diagnosis.weights import Weights
from loomproof.diagnosis.wiring import Wiring
from loomproof.diagnosis.words import Names, listed, of_reading, ohms
from loomproof.loom.model import Component, ComponentKind, End, Loom, Need
from loomproof.results.findings import Alternative, Evidence, Finding, Kind, Severity
from loomproof.results.measured import Decision, Judged, Measured

SHORTED_OHM = 2.0
"""A part that reads less than this, and less than a tenth of its value, is called shorted."""

PROVE_AGAIN = "Prove the whole loom again: the certificate needs a full proof."


class Writer:
    """Writes the faults of one diagnosis; ``open_edges`` and ``open_splices`` are all that it holds open."""

    def __init__(
        self,
        loom: Loom,
        wiring: Wiring,
        measured: Measured,
        answers: Mapping[str, str] | None,
        weights: Weights,
    ) -> None:
        self.loom, self.wiring, self.measured = loom, wiring, measured
        self.answers, self.weights = answers, weights
        self.names = Names(loom)
        self.group_of = {end: group for group in measured.groups for end in group}
        self.net_of = {end: net for net in measured.expected for end in net}

    # -- from faults to findings -------------------------------------------------------------------

    def finding(self, choice: Choice) -> Finding:
        """Write one fault with its alternatives."""
        fault = choice.fault
        plain = self._WRITERS[CAUSES[fault.cause].kind](self, fault)
        others = [self.alternative(faults, fault) for faults in choice.others]
        limit = self.weights.bound_alternatives
        return replace(plain, alternatives=(*others, *plain.alternatives)[:limit])

    def alternative(self, faults: Sequence[Fault], instead_of: Fault) -> Alternative:
        """Write other faults as one alternative to a fault."""
        written = [self._WRITERS[CAUSES[fault.cause].kind](self, fault) for fault in faults]
        return Alternative(
            text="; and ".join(finding.title for finding in written),
            cause=faults[0].cause,
            cavities=tuple(dict.fromkeys(end for finding in written for end in finding.cavities)),
            wires=tuple(dict.fromkeys(wire for finding in written for wire in finding.wires)),
            repair=tuple(
                dict.fromkeys(step for finding in written for step in finding.repair if step != PROVE_AGAIN)
            ),
            tell_apart=self.tell_apart(instead_of, faults),
        )

    def tell_apart(self, one: Fault, others: Sequence[Fault]) -> str:
        """Return the one reading or look that decides between a fault and others."""
        other = others[0]
        if one.edges and (other.edges or other.splices):
            return self._probe(one, other)
        if one.splices and other.edges:
            return self._probe(other, one)
        homes = self._homes(one)
        rest = sorted(self._homes(other) - homes) or sorted(self._homes(other))
        if homes == self._homes(other):
            return (
                f"Look into the back of {listed(sorted(homes))}: compare wire colours with the description, "
                "cavity by cavity."
            )
        return (
            f"Look into the back of {listed(sorted(homes))} and compare wire colours with the description; "
            f"if they are right there, the fault is at {listed(rest)}."
        )

    def _homes(self, fault: Fault) -> set[str]:
        homes = {self.wiring.leaf_ends[leaf].connector for leaf in fault.leaves} | set(fault.connectors)
        for number in fault.edges:
            for name in self.wiring.edges[number].wires:
                homes |= {end.connector for end in self.loom.wire_by_name[name].ends}
        return homes

    def _probe(self, one: Fault, other: Fault) -> str:
        edge = self.wiring.edges[one.edges[0]]
        nodes = [edge.u, edge.v]
        shared = set(nodes)
        if other.edges:
            shared &= {self.wiring.edges[other.edges[0]].u, self.wiring.edges[other.edges[0]].v}
        if other.splices:
            shared &= set(other.splices)
        joint = next((node for node in nodes if node in shared), nodes[-1])
        far = edge.u + edge.v - joint
        spot, start = self._node_text(joint), self._node_text(far)
        what = self._what_edge(one.edges[0])
        return f"Probe from {start} to {spot}: open there means {what}, joined means the other."

    def _node_text(self, node: int) -> str:
        end = self.wiring.node_ends[node]
        if node >= self.wiring.leaf_count and end.cavity:
            return f"the wires behind {end}"
        return str(end) if end.cavity else f"splice {end}"

    def _what_edge(self, number: int) -> str:
        edge = self.wiring.edges[number]
        if edge.component:
            return edge.component
        if edge.contact >= 0:
            return f"the contact of {self.wiring.leaf_ends[edge.contact]}"
        return self.names.wires(edge.wires) or "the joint between them"

    # -- opens -------------------------------------------------------------------------------------

    def _open(self, fault: Fault) -> Finding:
        if fault.cause == "not_plugged":
            return self._not_plugged(fault)
        if fault.cause == "adapter_board":
            return self._board(fault)
        if fault.cause == "open_splice":
            return self._open_splice(fault)
        edge = self.wiring.edges[fault.edges[0]]
        ends = self._ends(fault.leaves)
        if fault.cause == "bad_contact":
            return self._bad_contact(fault, ends)
        if fault.cause == "open_part":
            return self._open_part(fault, edge.component, ends)
        wires = [self.loom.wire_by_name[name] for name in edge.wires]
        first = wires[0]
        title = f"{self.names.wires(edge.wires)} open between {first.a} and {first.b}"
        if len(wires) > 1:
            title = f"Parallel wires {self.names.wires(edge.wires)} all open between {first.a} and {first.b}"
        bares = [end for end in first.ends if end.cavity]
        places = [self.names.place(end) for end in bares]
        places += [self.names.place(end) for end in first.ends if not end.cavity]
        places += [self.names.run(wire) for wire in wires]
        repair = [
            f"Unplug and look at the contacts of {listed(bares)}: pushed back, spread or green? Tug the wire."
            if bares
            else f"Open the cover of {listed(first.ends)} and tug each wire.",
            f"Probe {self.names.wires(edge.wires)} from end to end to see which end has failed, "
            "bending it along its length.",
            f"Crimp on a new contact, or join in a piece of {self.names.section(first)} with a crimp splice "
            "and sealed heat-shrink.",
        ]
        others = self._adapter_lead(ends)
        return self._made(fault, ends, title, places, repair, wires=edge.wires, alternatives=others)

    def _adapter_lead(self, ends: tuple[End, ...]) -> tuple[Alternative, ...]:
        """Return the adapter's own lead as an alternative, where one cavity was found alone."""
        alone = [end for end in ends if len(self.group_of.get(end, ())) == 1]
        if len(alone) != 1:
            return ()
        (end,) = alone
        return (
            Alternative(
                text=f"the adapter's lead or pin for {end} is open, not the loom",
                cause="adapter_lead",
                cavities=(end,),
                repair=(f"Mend the adapter's lead for {end}.",),
                tell_apart=f"Unplug {end.connector} and touch the adapter's pin {end.cavity} with the probe: "
                "silence means the lead.",
            ),
        )

    def _bad_contact(self, fault: Fault, ends: tuple[End, ...]) -> Finding:
        end = ends[0]
        wires = tuple(wire.name for wire in self.loom.wires_at.get(end, ()))
        return self._made(
            fault,
            ends,
            f"Contact of {end} open: its wires {self.names.wires(wires)} still hang together without it",
            [self.names.place(end)],
            [
                f"Look at {end}: contact pushed back, spread or green, or its crimp off all wires?",
                "Seat the contact until it locks, or crimp all its wires into a new one.",
            ],
            wires=wires,
        )

    def _open_part(self, fault: Fault, name: str, ends: tuple[End, ...]) -> Finding:
        part = self.loom.component_by_name.get(name)
        at = part.ends if part else ends
        is_fuse = part is not None and part.kind is ComponentKind.FUSE
        cause = "blown_fuse" if is_fuse else "open_part"
        word = "blown or missing" if is_fuse else "open or missing"
        repair = [
            f"Pull {name} and meter it: {'replace it by one of its rating' if is_fuse else 'replace it'}."
        ]
        if is_fuse:
            repair.append(
                "A fuse blows for a reason: look for a short on what it feeds before the battery goes on."
            )
        repair.append(f"Look at its contacts at {listed(at)}: spread or burnt?")
        return self._made(
            fault,
            tuple(end for end in at if end.cavity) or ends,
            f"{part.kind.capitalize() if part else 'Part'} {name} {word} between {listed(at)}"
            if name
            else f"No path between {listed(ends)} where one should be",
            [self.names.place(end) for end in at],
            repair,
            components=(name,) if name else (),
            cause=cause,
        )

    def _open_splice(self, fault: Fault) -> Finding:
        end = self.wiring.node_ends[fault.splices[0]]
        wires = tuple(wire.name for wire in self.loom.wires_at.get(end, ()))
        return self._made(
            fault,
            self._ends(fault.leaves),
            f"Splice {end} open: none of its wires meet ({self.names.wires(wires)})",
            [self.names.place(end)],
            [
                f"Open the cover of splice {end}; look for corrosion or a crimp that let go.",
                "Cut back to bright copper and make the joint again: crimp splice, sealed heat-shrink.",
            ],
            wires=wires,
        )

    def _board(self, fault: Fault) -> Finding:
        ends = self._ends(fault.leaves)
        return self._made(
            fault,
            ends,
            f"Nothing reaches {fault.detail} of the scanner: a board or its lead, before the loom",
            [f"the scanner's board and the adapter's plug with {fault.detail}"],
            [
                f"Push home what carries {fault.detail}; prove again.",
                "If it stays, run the bench's selftest with nothing plugged.",
            ],
            alternatives=(
                Alternative(
                    text=f"every wire of {listed(ends)} is open, each by itself",
                    cause="broken_wire",
                    cavities=ends,
                    wires=self._wires_at(ends),
                    tell_apart="Put the same adapter plug on another board and prove again.",
                ),
            ),
        )

    def _not_plugged(self, fault: Fault) -> Finding:
        plug = fault.connectors[0]
        ends = self._ends(fault.leaves)
        return self._made(
            fault,
            ends,
            f"Nothing reaches {plug}: it is not plugged to the bench, or not home",
            [self.names.place(ends[0])],
            [
                f"Push {plug} home until its latch clicks; check the adapter's lead for it.",
                f"If it was home, look behind {plug} for a bundle that is cut through.",
            ],
            alternatives=(
                Alternative(
                    text=f"every wire of {plug} is open, each by itself",
                    cause="broken_wire",
                    cavities=ends,
                    wires=self._wires_at(ends),
                    tell_apart=f"Unplug {plug}, plug it in again and prove again.",
                ),
            ),
        )

    # -- shorts ------------------------------------------------------------------------------------

    def _short(self, fault: Fault) -> Finding:
        low = self._low_part(fault) if len(fault.pieces) == 2 else None
        if low is not None:
            part, judged = low
            return self.make(
                "wrong_value",
                (judged.a, judged.b),
                f"{part.kind.capitalize()} {part.name} reads {ohms(judged.measured_ohm)} "
                f"instead of {ohms(judged.expected_ohm)}",
                [self.names.place(end) for end in part.ends],
                [f"Take {part.name} out and meter it on its own; fit one of {ohms(judged.expected_ohm)}."],
                components=(part.name,),
                evidence=[of_reading(judged)],
                alternatives=[
                    Alternative(
                        text=f"{part.name} is right, and another path lies beside it",
                        cause="touching",
                        cavities=(judged.a, judged.b),
                        tell_apart=f"Take {part.name} out and read again: a path that stays is the other.",
                    )
                ],
                cost=self.weights.short,
            )
        conductors = [self.conductor(piece) for piece in fault.pieces]
        pairs = nearest(self.loom, conductors, self.weights)
        places = [touch.text for _, _, near in pairs for touch in near]
        best = next((touch.ends for _, _, near in pairs for touch in near if touch.ends), ())
        firsts = tuple(conductor.leaves[0] for conductor in conductors)
        cavities = tuple(dict.fromkeys((*best, *firsts))) if len(conductors) > 2 or not best else best
        wires = tuple(dict.fromkeys(wire.name for c in conductors for wire in c.wires))
        title = f"Short: {listed(self._conductor_text(c) for c in conductors)} are joined"
        measured = [
            Evidence(
                f"{path.a} to {path.b}",
                path.ohm,
                path.uncertainty_ohm,
            )
            for path in self.measured.paths
            if self._across(path.a, path.b, fault.pieces)
        ]
        where = (
            f"Look first at {places[0]}." if places else "Nothing in the description brings them together."
        )
        repair = [
            f"{where} A bent pin, a stray strand, a crushed housing, chafed insulation?",
            "Unplug connectors on these conductors one at a time, proving between: "
            "the short goes with the part that holds it.",
            "Straighten or renew the contact; sleeve or renew chafed wire; clean and dry a wet housing.",
        ]
        alternatives = (
            Alternative(
                text=f"a wire was added between {listed(firsts)}",
                cause="added_wire",
                cavities=firsts,
                tell_apart=f"Count the wires in {listed(dict.fromkeys(e.connector for e in firsts))}: "
                "one too many is an added wire.",
                repair=("Take the added wire out, or put it into the description.",),
            ),
        )
        return self._made(
            fault,
            cavities,
            title,
            places[:12],
            repair,
            wires=wires,
            evidence=measured,
            alternatives=alternatives,
        )

    def _low_part(self, fault: Fault) -> tuple[Component, Judged] | None:
        """Return a part between two joined conductors that reads low, but not as a short does."""
        nodes = {piece: set(self._nodes(piece)) for piece in fault.pieces}
        for judged in self.measured.judged:
            part = self.loom.component_by_name.get(judged.component)
            if part is None or judged.decision is not Decision.FAIL:
                continue
            if not SHORTED_OHM <= judged.measured_ohm < judged.lower_ohm:
                continue
            sides = {piece for piece, own in nodes.items() for end in part.ends if end in own}
            if len(sides) == 2:
                return part, judged
        return None

    def _nodes(self, piece: tuple[int, ...]) -> frozenset[End]:
        return self.conductor(piece).ends

    def _across(self, a: End, b: End, pieces: Sequence[Sequence[int]]) -> bool:
        leaf_of = self.wiring.leaf_of
        sides = [i for i, piece in enumerate(pieces) for end in (a, b) if leaf_of.get(end) in piece]
        return len(set(sides)) == 2

    def wires_of(self, *cavities: End) -> tuple[str, ...]:
        """Return the wires of the nets of these cavities, as they should be wired."""
        wiring = self.wiring
        return tuple(
            dict.fromkeys(
                name
                for end in cavities
                for number in wiring.nets[wiring.net_of[wiring.leaf_of[end]]].edges
                for name in wiring.edges[number].wires
            )
        )

    def near(self, a: End, b: End) -> tuple[Touch, ...]:
        """Return where the nets of two cavities come near each other, as they should be wired."""
        wiring = self.wiring
        pieces = [wiring.nets[wiring.net_of[wiring.leaf_of[end]]].leaves for end in (a, b)]
        if pieces[0] == pieces[1]:
            return ()
        return touches(self.loom, self.conductor(pieces[0]), self.conductor(pieces[1]), self.weights)

    def conductor(self, piece: Sequence[int]) -> Conductor:
        """Return the wires and ends that a piece is made of, as far as they hang together."""
        wiring = self.wiring
        inside = set(piece)
        net_leaves = set(wiring.nets[wiring.net_of[piece[0]]].leaves)
        seen, stack = set(piece), list(piece)
        wires: dict[str, None] = {}
        ends = {wiring.leaf_ends[leaf] for leaf in piece}
        while stack:
            node = stack.pop()
            for number in wiring.at.get(node, ()):
                edge = wiring.edges[number]
                other = edge.u + edge.v - node
                if other in net_leaves and other not in inside:
                    continue
                wires.update(dict.fromkeys(edge.wires))
                if other not in seen:
                    seen.add(other)
                    stack.append(other)
                    ends.add(wiring.node_ends[other])
        return Conductor(
            tuple(wiring.leaf_ends[leaf] for leaf in piece),
            frozenset(ends),
            tuple(self.loom.wire_by_name[name] for name in wires),
        )

    def _conductor_text(self, conductor: Conductor) -> str:
        if not conductor.wires:
            return str(conductor.leaves[0])
        wires = self.names.wires([wire.name for wire in conductor.wires], most=3)
        return f"{conductor.leaves[0]} ({wires})" if "(" not in wires else f"{conductor.leaves[0]} on {wires}"

    # -- in the wrong place ------------------------------------------------------------------------

    def _miswire(self, fault: Fault) -> Finding:
        ends = self._ends(fault.leaves)
        homes = tuple(dict.fromkeys(end.connector for end in ends))
        wires = self._wires_at(ends)
        places = [self.names.place(end) for end in ends[:12]]
        if fault.cause in ("exchanged", "mirrored", "rotated", "shifted"):
            return self._whole(fault, ends, wires)
        if fault.cause == "moved_to_spare":
            spare = next(e for e in ends if not self.loom.wires_at.get(e))
            home = next(e for e in ends if e != spare)
            return self._made(
                fault,
                (home, spare),
                f"{self.names.wires(self._wires_at((home,)))} sits in {spare} instead of {home}",
                [self.names.place(spare), self.names.place(home)],
                [f"Release the contact from {spare} and seat it in {home}; plug the spare cavity's seal."],
                wires=wires,
            )
        others = self._turned(ends) if len(ends) == 2 else ()
        if len(ends) == 2:
            title = f"{ends[0]} and {ends[1]} are crossed ({self.names.wires(wires, most=4)})"
        else:
            title = f"{listed(ends)} are crossed among each other"
        return self._made(
            fault,
            ends,
            title,
            places,
            [
                f"Compare the colours behind {listed(homes)} with the description.",
                f"Release the contacts with the right tool and seat each where it belongs: {listed(ends)}.",
            ],
            wires=wires,
            alternatives=others,
        )

    def _turned(self, ends: tuple[End, ...]) -> tuple[Alternative, ...]:
        """Return the whole connector turned round, where that crosses these two contacts and no others."""
        plug = self.loom.by_name[ends[0].connector]
        order = plug.cavities
        if len(order) not in (2, 3) or set(ends) != {End(plug.name, order[0]), End(plug.name, order[-1])}:
            return ()
        return (
            Alternative(
                text=f"{plug.name} is mirrored (last for first), or its lead on the adapter is",
                cause="mirrored",
                cavities=ends,
                repair=(f"Turn or reseat {plug.name} on the adapter.",),
                tell_apart=f"Compare cavity {order[0]} of {plug.name} with the mark on the housing.",
            ),
        )

    def _whole(self, fault: Fault, ends: tuple[End, ...], wires: tuple[str, ...]) -> Finding:
        plugs = listed(fault.connectors)
        detail = f" ({fault.detail})" if fault.detail else ""
        if fault.cause == "exchanged":
            title = f"{plugs} are exchanged"
            fix = f"Exchange {plugs} on the bench; mark them so that they cannot be mistaken in the car."
        else:
            title = f"{plugs} is {fault.cause}{detail}"
            fix = f"Turn or reseat {plugs} on the adapter; compare cavity 1 with the mark on the housing."
        adapter = Alternative(
            text=f"the adapter's leads for {plugs} are {fault.cause}{detail}, not the loom",
            cause="adapter",
            cavities=ends,
            repair=(f"Put the adapter's leads for {plugs} right.",),
            tell_apart=f"Unplug {plugs} and touch one adapter cavity with the probe: is it named right?",
        )
        contacts = Alternative(
            text=f"the contacts of {plugs} are crossed one by one in the housing",
            cause="crossed",
            cavities=ends,
            wires=wires,
            tell_apart=f"Compare wire colours behind {plugs} with the description.",
        )
        return self._made(
            fault,
            ends,
            title,
            [self.names.place(ends[0])],
            [fix],
            wires=wires,
            alternatives=(adapter, contacts),
        )

    # -- shared ------------------------------------------------------------------------------------

    def _made(
        self,
        fault: Fault,
        cavities: tuple[End, ...],
        title: str,
        places: Iterable[str],
        repair: Iterable[str],
        *,
        wires: tuple[str, ...] = (),
        components: tuple[str, ...] = (),
        evidence: Iterable[Evidence] = (),
        alternatives: tuple[Alternative, ...] = (),
        cause: str = "",
    ) -> Finding:
        cause = cause or fault.cause
        shown = (*evidence, *self.evidence(cavities, wires, components))
        return self.make(
            cause,
            cavities,
            title,
            places,
            repair,
            wires=wires,
            components=components,
            evidence=shown,
            alternatives=alternatives,
            cost=self.cost(fault),
        )

    def make(
        self,
        cause: str,
        cavities: tuple[End, ...],
        title: str,
        places: Iterable[str],
        repair: Iterable[str],
        *,
        wires: tuple[str, ...] = (),
        components: tuple[str, ...] = (),
        evidence: Iterable[Evidence] = (),
        alternatives: Iterable[Alternative] = (),
        cost: int = 0,
    ) -> Finding:
        """Put a finding together: kind from its cause, severity and cautions from what it touches."""
        kind = CAUSES[cause].kind
        return Finding(
            kind=kind,
            severity=self.severity(kind, wires, components),
            title=title,
            cavities=cavities,
            wires=wires,
            components=components,
            cause=cause,
            evidence=tuple(evidence),
            places=tuple(dict.fromkeys(places)),
            repair=tuple(dict.fromkeys((*repair, PROVE_AGAIN))),
            cautions=self.names.cautions(cavities),
            alternatives=tuple(alternatives),
            cost=cost / 1000,
        )

    def cost(self, fault: Fault) -> int:
        """Return what a fault costs, in thousandths."""
        weights = self.weights
        if fault.edges:
            return sum(self.wiring.edges[number].cost for number in fault.edges)
        if fault.splices:
            return weights.open_splice
        if fault.cause == "adapter_board":
            return weights.lead
        if fault.pieces:
            return weights.short * (len(fault.pieces) - 1)
        if fault.connectors:
            alike = len({self.loom.by_name[name].housing for name in fault.connectors}) == 1
            if fault.cause == "exchanged":
                return weights.exchange_alike if alike else weights.exchange_unlike
            return weights.whole_connector
        each = weights.stray if fault.cause == "crossed_housings" else weights.swap
        return each * (len(fault.leaves) - 1)

    def severity(self, kind: Kind, wires: Iterable[str], components: Iterable[str] = ()) -> Severity:
        """Return a note for an open where every circuit touched is unused here, else a fault."""
        if kind not in (Kind.OPEN, Kind.HIGH_RESISTANCE, Kind.MISSING_COMPONENT, Kind.INTERMITTENT):
            return Severity.FAULT
        circuits = [self.loom.wire_by_name[name].circuit for name in wires if name in self.loom.wire_by_name]
        circuits += [
            self.loom.component_by_name[name].circuit
            for name in components
            if name in self.loom.component_by_name
        ]
        if circuits and all(
            circuit and self.loom.need_of(circuit, self.answers) is Need.UNUSED for circuit in circuits
        ):
            return Severity.NOTE
        return Severity.FAULT

    def evidence(
        self, cavities: Sequence[End], wires: Sequence[str], components: Sequence[str]
    ) -> list[Evidence]:
        """Return what was expected and found at some cavities, and the judged readings that touch them."""
        shown: list[Evidence] = []
        for end in cavities[:6]:
            should = sorted(self.net_of.get(end, frozenset()) - {end})
            found = sorted(self.group_of.get(end, frozenset()) - {end})
            if should != found:
                shown.append(
                    Evidence(
                        f"{end} should be joined to {listed(should) or 'nothing'}; "
                        f"found joined to {listed(found) or 'nothing'}"
                    )
                )
        here, runs, parts = set(cavities), set(wires), set(components)
        for judged in self.measured.judged:
            if judged.decision is Decision.PASS:
                continue
            touched = {judged.a, judged.b} & here and (runs & set(judged.wires) or not judged.wires)
            if touched or (judged.component and judged.component in parts):
                shown.append(of_reading(judged))
            if len(shown) >= 12:
                break
        return shown

    def _ends(self, leaves: Iterable[int]) -> tuple[End, ...]:
        return tuple(self.wiring.leaf_ends[leaf] for leaf in leaves)

    def _wires_at(self, ends: Iterable[End]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(wire.name for end in ends for wire in self.loom.wires_at.get(end, ())))

    _WRITERS: Mapping[Kind, Callable[[Writer, Fault], Finding]] = {
        Kind.OPEN: _open,
        Kind.SHORT: _short,
        Kind.MISWIRE: _miswire,
    }

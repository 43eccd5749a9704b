"""Faults written as findings: title, evidence, places, repair, cautions, alternatives."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from loomproof.diagnosis.causes import CAUSES
from loomproof.diagnosis.desk import PROVE_AGAIN
from loomproof.diagnosis.faults import Choice, Fault
from loomproof.diagnosis.opens import Opens
from loomproof.diagnosis.shorts import Shorts
from loomproof.diagnosis.words import listed
from loomproof.loom.model import End
from loomproof.results.findings import Alternative, Evidence, Finding, Kind

NOT_PROVED = "not every way to cross contacts was tried here: not proved the smallest explanation"


class Writer(Opens, Shorts):
    """Writes the faults of one diagnosis, each with its alternatives."""

    def finding(self, choice: Choice) -> Finding:
        """Write one fault with its alternatives."""
        fault = choice.fault
        plain = self._WRITERS[CAUSES[fault.cause].kind](self, fault)
        others = [self.alternative(faults, fault) for faults in choice.others]
        limit = self.weights.bound_alternatives
        shown = plain.evidence if choice.proved else (*plain.evidence, Evidence(NOT_PROVED))
        return replace(
            plain,
            alternatives=(*others, *plain.alternatives)[:limit],
            evidence=shown,
            proved=choice.proved,
        )

    def alternative(self, faults: Sequence[Fault], instead_of: Fault) -> Alternative:
        """Write other faults as one alternative to a fault."""
        written = [self._WRITERS[CAUSES[fault.cause].kind](self, fault) for fault in faults]
        return Alternative(
            text="; and ".join(self.names.inside(finding.title) for finding in written),
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

    def _miswire(self, fault: Fault) -> Finding:
        ends = self._ends(fault.leaves)
        homes = tuple(dict.fromkeys(end.connector for end in ends))
        wires = self._wires_at(ends)
        places = [self.names.place(end) for end in ends[:12]]
        if fault.cause == "adapter":
            return self._on_wrong_points(fault, ends)
        if fault.cause in ("exchanged", "mirrored", "rotated", "shifted"):
            return self._whole(fault, ends, wires)
        if fault.cause == "moved_to_spare":
            spare = next(e for e in ends if not self.loom.wires_at.get(e))
            home = next(e for e in ends if e != spare)
            return self._made(
                fault,
                (home, spare),
                f"{self.names.wires(self._wires_at((home,)))} in {spare} instead of {home}",
                [self.names.place(spare), self.names.place(home)],
                [f"Release the contact from {spare} and seat it in {home}; plug the spare cavity's seal."],
                wires=wires,
            )
        others = self._turned(ends) or self._leads(ends) if len(ends) == 2 else ()
        what = self.names.wires(wires, most=4) or "Contacts"
        title = f"{what} crossed {'at' if len(ends) == 2 else 'among'} {listed(ends)}"
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

    def _leads(self, ends: tuple[End, ...]) -> tuple[Alternative, ...]:
        """Return the adapter's two leads crossed, which reads as two contacts crossed does."""
        points = [self.point_of[end] for end in ends if end in self.point_of]
        named = f" (points {listed(points)})" if len(points) == len(ends) else ""
        return (
            Alternative(
                text=f"the adapter's leads for {listed(ends)}{named} are crossed, not the loom",
                cause="adapter",
                cavities=ends,
                repair=(f"Put the adapter's leads for {listed(ends)} right.",),
                tell_apart=f"Unplug {ends[0].connector} and touch the adapter's pin {ends[0].cavity} with "
                "the probe: is it named right?",
            ),
        )

    def _on_wrong_points(self, fault: Fault, ends: tuple[End, ...]) -> Finding:
        return self._made(
            fault,
            ends,
            f"Adapter on the wrong points of the scanner: {fault.detail}",
            ["the adapter's plugs, where they go into the scanner"],
            ["Put the adapter's plugs where its table says, the right way round; mark them."],
            alternatives=(
                Alternative(
                    text=f"the contacts of {listed(ends)} are crossed one by one in the loom",
                    cause="crossed",
                    cavities=ends,
                    wires=self._wires_at(ends),
                    tell_apart=f"Unplug the loom and touch the adapter's pin for {ends[0]} with the probe: "
                    "is it named right?",
                ),
            ),
        )

    def _whole(self, fault: Fault, ends: tuple[End, ...], wires: tuple[str, ...]) -> Finding:
        plugs = listed(fault.connectors)
        detail = f" ({fault.detail})" if fault.detail else ""
        if fault.cause == "exchanged":
            title = f"{plugs} exchanged"
            fix = f"Exchange {plugs} on the bench; mark them so that they cannot be mistaken in the car."
        else:
            title = f"{plugs} {fault.cause}{detail}"
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

    _WRITERS: Mapping[Kind, Callable[[Writer, Fault], Finding]] = {
        Kind.OPEN: Opens._open,
        Kind.SHORT: Shorts._short,
        Kind.MISWIRE: _miswire,
    }

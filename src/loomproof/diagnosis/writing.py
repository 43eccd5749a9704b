"""Faults written as findings: title, evidence, places, repair, cautions, alternatives."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.desk import PROVE_AGAIN
from loomproof.diagnosis.faults import Choice, Fault
from loomproof.diagnosis.miswires import Miswires
from loomproof.diagnosis.opens import Opens
from loomproof.diagnosis.shorts import Shorts
from loomproof.diagnosis.words import listed, or_at
from loomproof.loom.model import Wire
from loomproof.results.findings import Alternative, Evidence, Finding

NOT_PROVED = "not every way to cross contacts was tried here: not proved the smallest explanation"


_IN_WRONG_PLACES = frozenset({Cause.EXCHANGED, Cause.CROSSED, Cause.MIRRORED, Cause.ROTATED, Cause.SHIFTED})
"""What is mended by moving contacts or plugs: moved in vain, two places are wrong."""


_SEAT_THESE = (
    "release the contacts there with the right tool and seat each where it belongs, and move nothing else."
)
"""What mends crossed contacts where two places come in question: one of them, never both."""


class Writer(Opens, Shorts, Miswires):
    """Writes the faults of one diagnosis, each with its alternatives."""

    def finding(self, choice: Choice) -> Finding:
        """Write one fault with its alternatives."""
        fault = choice.fault
        plain = self._WRITERS[fault.cause](self, fault)
        others = [self.alternative(faults, fault) for faults in choice.others]
        crossed = [
            faults[0] for faults in choice.others if len(faults) == 1 and faults[0].cause == Cause.CROSSED
        ]
        leads = [
            lead
            for other in crossed
            if len(other.leaves) == 2
            for lead in self._leads(self._ends(other.leaves))
        ]
        if others and fault.cause in _IN_WRONG_PLACES:
            plain = self._told_apart_first(plain, fault, others)
        if fault.cause == Cause.CROSSED:  # readings do not say at which of these places
            also = (or_at(self._ends(other.leaves)) for other in crossed)
            plain = replace(plain, title="".join((plain.title, *also)))
        limit = self.weights.bound_alternatives
        shown = plain.evidence if choice.proved else (*plain.evidence, Evidence(NOT_PROVED))
        return replace(
            plain,
            alternatives=(*others, *plain.alternatives, *leads)[:limit],
            evidence=shown,
            proved=choice.proved,
        )

    def _told_apart_first(self, plain: Finding, fault: Fault, others: Sequence[Alternative]) -> Finding:
        """Return a finding whose repair begins with what tells it from its equals."""
        told: dict[str, list[str]] = {}
        for other in others:
            told.setdefault(other.tell_apart, []).append(other.text)
        first, *further = told
        look = [
            f"Before anything is moved, tell which it is. {first}",
            *(f"Tell it as well from this: {'; or '.join(told[tell])}. {tell}" for tell in further),
        ]
        if fault.cause == Cause.EXCHANGED:
            plugs = listed(fault.connectors)
            look.append(
                f"See by marks, branch and length whether {plugs} are the plugs that they are taken for: if "
                "they are, contacts are crossed, at them or at the other end."
            )
        crossed = [
            f"If it is {other.text}: {_SEAT_THESE}" for other in others if other.cause == Cause.CROSSED
        ]
        there = [self.names.place(end) for other in others for end in other.cavities]
        *own, last = plain.repair
        if fault.cause == Cause.CROSSED:
            # One of the places is wrong: moved at both, the loom is crossed again. Looking is the first step.
            own = [f"If it is {self.names.inside(plain.title)}: {_SEAT_THESE}"]
        return replace(
            plain,
            places=tuple(dict.fromkeys((*plain.places, *there)))[:12],
            repair=(*look, *own, *crossed, last),
        )

    def alternative(self, faults: Sequence[Fault], instead_of: Fault) -> Alternative:
        """Write other faults as one alternative to a fault."""
        written = [self._WRITERS[fault.cause](self, fault) for fault in faults]
        return Alternative(
            text="; and ".join(self.names.inside(finding.title) for finding in written),
            cause=faults[0].cause,
            cavities=tuple(dict.fromkeys(end for finding in written for end in finding.cavities)),
            wires=tuple(dict.fromkeys(wire for finding in written for wire in finding.wires)),
            repair=tuple(
                dict.fromkeys(step for finding in written for step in finding.repair if step != PROVE_AGAIN)
            ),
            tell_apart=self.tell_apart(instead_of, faults),
            components=tuple(dict.fromkeys(name for finding in written for name in finding.components)),
        )

    def tell_apart(self, one: Fault, others: Sequence[Fault]) -> str:
        """Return the one reading or look that decides between a fault and others."""
        other = others[0]
        if one.edges and (other.edges or other.splices):
            return self._probe(one, other)
        if one.splices and other.edges:
            return self._probe(other, one)
        homes = self._homes(one)
        rest = sorted(self._homes(other) - homes)
        meant = (*self._ends(one.leaves), *self._ends(other.leaves))
        # Only wires that are in wrong places count: the colours of others behind a plug tell nothing of them.
        named = self._wires_at(self._apart(meant) or meant)
        look = f"Look into the back of {listed([*sorted(homes), *rest])} and compare wire colours with the "
        if self._one_colour([self.loom.wire_by_name[name] for name in named]):
            return (
                f"The wires are of one colour, so looking does not tell: pull {listed(sorted(homes))} apart "
                "and probe each wire from end to end."
            )
        if not rest:
            return f"{look}description, cavity by cavity."
        return (
            f"{look}description: wrong at {listed(sorted(homes))} alone means there, wrong at {listed(rest)} "
            "alone means there; right everywhere, two wires were joined crossed on the way, or the adapter's "
            "leads are crossed."
        )

    def _one_colour(self, wires: Sequence[Wire]) -> bool:
        return len(wires) > 1 and wires[0].colour != "" and len({wire.colour for wire in wires}) == 1

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

    # Of the causes, those that `faults` explains senses by; what readings show, `parts` and others write.
    _WRITERS: Mapping[Cause, Callable[[Writer, Fault], Finding]] = {
        Cause.NOT_PLUGGED: Opens._not_plugged,
        Cause.ADAPTER_BOARD: Opens._board,
        Cause.OPEN_SPLICE: Opens._open_splice,
        Cause.BAD_CONTACT: Opens._bad_contact,
        Cause.OPEN_PART: Opens._open_part,
        Cause.BROKEN_WIRE: Opens._broken_wire,
        Cause.TOUCHING: Shorts._short,
        Cause.ADAPTER: Miswires._on_wrong_points,
        Cause.EXCHANGED: Miswires._exchanged,
        Cause.MIRRORED: Miswires._miscounted,
        Cause.ROTATED: Miswires._miscounted,
        Cause.SHIFTED: Miswires._miscounted,
        Cause.MOVED_TO_SPARE: Miswires._moved,
        Cause.CROSSED: Miswires._crossed,
        Cause.CROSSED_HOUSINGS: Miswires._crossed,
    }

"""What every finding is put together from: kind, severity, evidence, cautions, cost, conductors."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.faults import Fault
from loomproof.diagnosis.supplies import joined_supplies
from loomproof.diagnosis.touch import Conductor, Touch, touches
from loomproof.diagnosis.weights import Weights
from loomproof.diagnosis.wiring import Wiring
from loomproof.diagnosis.words import Names, listed, of_reading
from loomproof.electrics.graph import reached
from loomproof.loom.model import End, Loom, Need
from loomproof.results.findings import Alternative, Evidence, Finding, Kind, Severity
from loomproof.results.measured import Decision, Measured

SHORTED_OHM = 2.0
"""A part that reads less than this, and less than a tenth of its value, is called shorted."""

MAY_BE_NOTES = frozenset(
    {Kind.OPEN, Kind.MISWIRE, Kind.HIGH_RESISTANCE, Kind.MISSING_COMPONENT, Kind.INTERMITTENT}
)
"""What is a note, no fault, where only circuits that are unused in this conversion have it."""

PROVE_AGAIN = "Prove the whole loom again: the certificate needs a full proof."


class Desk:
    """What writing needs of one measured loom: its wiring, the groups found, the answers, the costs."""

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
        self.point_of = dict(measured.points)
        self.net_of = {end: net for net in measured.expected for end in net}

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
        """Return the wires and ends that a piece is made of, as far as they hang together.

        What leads only to other cavities of the net was not found with it, and is left out.
        """
        wiring = self.wiring
        inside = set(piece)
        net_leaves = set(wiring.nets[wiring.net_of[piece[0]]].leaves)
        wires: dict[str, None] = {}

        def beside(node: int) -> Iterator[int]:
            for other, number in wiring.steps(node):
                if other not in inside:
                    beyond = wiring.side(number, node)
                    if other in net_leaves or (beyond and inside.isdisjoint(beyond)):
                        continue
                wires.update(dict.fromkeys(wiring.edges[number].wires))
                yield other

        ends = frozenset(wiring.node_ends[node] for node in reached(piece, beside))
        return Conductor(
            tuple(wiring.leaf_ends[leaf] for leaf in piece),
            ends,
            tuple(self.loom.wire_by_name[name] for name in wires),
        )

    def joined(self, a: End, b: End) -> tuple[str, ...]:
        """Return the caution where the nets of two cavities are joined and one may be a feed."""
        pieces = [self.wiring.nets[self.wiring.net_of[self.wiring.leaf_of[end]]].leaves for end in (a, b)]
        return joined_supplies(self.loom, [self.conductor(piece).wires for piece in pieces])

    def _with_wire(self, end: End, wires: Sequence[str]) -> str:
        """Return a cavity with the first of these wires that ends there: ``C2:3 on W46 (black)``."""
        here = [wire.name for wire in self.loom.wires_at.get(end, ()) if wire.name in wires]
        return f"{end} on {self.names.wire(here[0])}" if here else f"{end} (no wire)"

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
        cause: Cause | None = None,
        cautions: Iterable[str] = (),
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
            cautions=cautions,
        )

    def make(
        self,
        cause: Cause,
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
        cautions: Iterable[str] = (),
    ) -> Finding:
        """Put a finding together: kind from its cause, severity and cautions from what it touches."""
        kind = cause.kind
        unused = self.unused(kind, wires, components, cavities)
        last = (
            f"Nothing here uses it: mend it only if {listed(unused)} is to be used."
            if unused
            else PROVE_AGAIN
        )
        if unused:
            evidence = (
                *evidence,
                Evidence(f"{listed(unused)} is unused in this conversion: a note, no fault"),
            )
        return Finding(
            kind=kind,
            severity=Severity.NOTE if unused else Severity.FAULT,
            title=title,
            cavities=cavities,
            wires=wires,
            components=components,
            cause=cause.value,
            evidence=tuple(evidence),
            places=tuple(dict.fromkeys(places)),
            repair=tuple(dict.fromkeys((*repair, last))),
            cautions=(*cautions, *self.names.cautions(cavities)),
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
        if fault.cause == Cause.ADAPTER_BOARD:
            return weights.lead
        if fault.cause == Cause.ADAPTER:
            return weights.exchange_alike
        if fault.pieces:
            return weights.short * (len(fault.pieces) - 1)
        if fault.connectors:
            alike = len({self.loom.by_name[name].housing for name in fault.connectors}) == 1
            if fault.cause == Cause.EXCHANGED:
                return weights.exchange_alike if alike else weights.exchange_unlike
            return weights.whole_connector
        each = weights.stray if fault.cause == Cause.CROSSED_HOUSINGS else weights.swap
        return each * (len(fault.leaves) - 1)

    def unused(
        self,
        kind: Kind,
        wires: Iterable[str],
        components: Iterable[str] = (),
        cavities: Iterable[End] = (),
    ) -> tuple[str, ...]:
        """Return the circuits touched where all of them are unused here and the fault stays within them.

        Empty otherwise: shorts, leaks and parts that conduct otherwise than they should are always faults,
        and so are contacts in a place that is not of the same circuit: a spare cavity may meet a live pin.
        """
        if kind not in MAY_BE_NOTES:
            return ()
        loom = self.loom
        circuits = [loom.wire_by_name[name].circuit for name in wires if name in loom.wire_by_name]
        circuits += [
            loom.component_by_name[name].circuit for name in components if name in loom.component_by_name
        ]
        if not all(circuit and loom.need_of(circuit, self.answers) is Need.UNUSED for circuit in circuits):
            return ()
        moved = kind is Kind.MISWIRE and (
            len(set(circuits)) > 1 or not all(loom.wires_at.get(end) for end in cavities)
        )
        return () if moved else tuple(dict.fromkeys(circuits))

    def evidence(
        self, cavities: Sequence[End], wires: Sequence[str], components: Sequence[str]
    ) -> list[Evidence]:
        """Return what was expected and found at some cavities, and the failed readings that touch them."""
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
            if judged.decision is not Decision.FAIL:
                continue  # What is not decided speaks for nothing.
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

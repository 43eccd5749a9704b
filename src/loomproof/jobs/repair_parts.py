"""What to have ready for the repairs of a run: wire, terminals, sleeves and parts, by the description. Pure.

Which of it a repair takes shows once the loom is open: what is listed is enough for each way to mend a
finding, never a claim that all of it is bad.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from loomproof.diagnosis.causes import Cause, Look, look_of
from loomproof.diagnosis.mending import CABLE_MM2, THIN_MM2
from loomproof.loom.colours import name_of
from loomproof.loom.model import ConnectorKind, End, Loom, Wire
from loomproof.results.document import Document
from loomproof.results.figures import value_of
from loomproof.results.findings import Finding, Kind, Severity

HEADS = ("finding", "quantity", "what", "which")

SPLICES_FOR_A_PIECE = 2
"""A piece that is joined in has two ends (common practice)."""

_NOT_THE_LOOM = (Look.LEAD, Look.LEADS, Look.ADAPTER, Look.PLUG, Look.ELSEWHERE)
_BAD_CONDUCTOR = (Kind.OPEN, Kind.HIGH_RESISTANCE, Kind.INTERMITTENT)


@dataclass(frozen=True, slots=True)
class Part:
    """So many of a thing to have ready for a finding (its number, from 1; 0: for all of them)."""

    finding: int
    quantity: int
    what: str
    which: str

    @property
    def texts(self) -> tuple[str, ...]:
        """A row of texts, as `HEADS` names them."""
        return f"{self.finding}" if self.finding else "all", f"{self.quantity}", self.what, self.which


def repair_parts(document: Document, loom: Loom) -> tuple[Part, ...]:
    """Return what to have ready for each fault of a run, by the loom's description."""
    return tuple(
        part
        for number, finding in enumerate(document.findings, 1)
        if finding.severity is Severity.FAULT
        for part in _parts(number, finding, loom)
    )


def in_all(parts: Iterable[Part]) -> tuple[Part, ...]:
    """Return the same for all findings together, what is alike added up."""
    counted: Counter[tuple[str, str]] = Counter()
    for part in parts:
        counted[part.what, part.which] += part.quantity
    return tuple(Part(0, quantity, what, which) for (what, which), quantity in counted.items())


def doubts(document: Document, loom: Loom) -> Iterator[str]:
    """Yield what makes the list less than whole: another description, wires that it does not know."""
    if document.loom.digest != loom.digest:
        yield "The description is not the one that was proved: sections, colours and lengths may be others."
    for number, finding in enumerate(document.findings, 1):
        strangers = [name for name in finding.wires if name not in loom.wire_by_name]
        if strangers and finding.severity is Severity.FAULT:
            yield f"Finding {number} names {', '.join(strangers)}, which the description does not have."


def _parts(number: int, finding: Finding, loom: Loom) -> Iterator[Part]:
    look = next((cause.look for cause in Cause if cause == finding.cause), None)
    if look in _NOT_THE_LOOM:
        return
    wires = [loom.wire_by_name[name] for name in finding.wires if name in loom.wire_by_name]
    # What holds the wire is bad and not the wire: nothing of the wire is renewed, unless it may be that too.
    others = [look_of(one.cause) for one in finding.alternatives]
    held = look is Look.CONTACT and not {Look.ALONG, Look.WIRES} & set(others)
    for wire in wires:
        if finding.kind in _BAD_CONDUCTOR and not held:
            yield Part(number, 1, "wire", _wire(wire))
            yield from _joints(number, wire)
        elif finding.kind in (Kind.SHORT, Kind.LEAKAGE):
            yield Part(number, 1, "insulating sleeve", f"over {_size(wire)}, where it touches")
    if finding.kind in (*_BAD_CONDUCTOR, Kind.MISWIRE):
        for end in finding.cavities:
            yield from _terminal(number, end, loom)
    if finding.kind in (Kind.WRONG_VALUE, Kind.MISSING_COMPONENT):
        for name in finding.components:
            part = loom.component_by_name.get(name)
            if part is not None:
                yield Part(number, 1, str(part.kind), f"{name} {value_of(part)}".rstrip())


def _size(wire: Wire) -> str:
    return f"{wire.csa_mm2:g} mm²" if wire.csa_mm2 else "section not described"


def _wire(wire: Wire) -> str:
    colour = f"{wire.colour} ({name_of(wire.colour)})" if wire.colour else "colour not described"
    length = f"at most {wire.length_m:g} m" if wire.length_m else "length not described"
    return f"{_size(wire)}, {colour}, {length}"


def _joints(number: int, wire: Wire) -> Iterator[Part]:
    """Yield what joins a piece in; a cable is renewed from end to end (`loomproof.diagnosis.mending`)."""
    if wire.csa_mm2 is not None and wire.csa_mm2 >= CABLE_MM2:
        return
    thin = wire.csa_mm2 is not None and wire.csa_mm2 < THIN_MM2
    made = f"for {_size(wire)}" + (", made for so thin a wire" if thin else "")
    yield Part(number, SPLICES_FOR_A_PIECE, "crimp splice", made)
    yield Part(number, SPLICES_FOR_A_PIECE, "sealed heat-shrink", f"over {_size(wire)}")


def _terminal(number: int, end: End, loom: Loom) -> Iterator[Part]:
    connector = loom.by_name.get(end.connector)
    if connector is None or connector.kind in (ConnectorKind.SPLICE, ConnectorKind.TAIL):
        return
    sizes = " or ".join(dict.fromkeys(_size(wire) for wire in loom.wires_at.get(end, ()))) or "no wire there"
    if connector.kind is ConnectorKind.RING:
        yield Part(number, 1, "lug", f"{sizes}, for {end.connector}")
    else:
        housing = (
            f"housing {connector.housing}"
            if connector.housing
            else f"housing of {end.connector} not described"
        )
        yield Part(number, 1, "terminal", f"{sizes}, {housing}")
        facts = loom.facts_by_end.get(end)
        if facts is not None and facts.sealed:
            yield Part(number, 1, "seal", f"{sizes}, {housing}")

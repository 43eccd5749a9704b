"""Whether findings tell an injected fault: in a finding, or among its listed alternatives."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from loomproof.loom.model import End, Loom
from loomproof.results.findings import Finding
from tests.diagnosis.injector import Injected

WHOLE = {
    "exchange": {"exchanged"},
    "mirror": {"mirrored", "rotated"},
    "rotate": {"rotated"},
    "shift": {"shifted"},
}


class Told(NamedTuple):
    cause: str
    cavities: frozenset[End]
    wires: frozenset[str]
    parts: frozenset[str]


def everything(findings: Iterable[Finding]) -> Iterator[Told]:
    for finding in findings:
        yield Told(
            finding.cause,
            frozenset(finding.cavities),
            frozenset(finding.wires),
            frozenset(finding.components),
        )
        for other in finding.alternatives:
            yield Told(other.cause, frozenset(other.cavities), frozenset(other.wires), frozenset())


def is_told(fault: Injected, findings: Sequence[Finding], loom: Loom) -> bool:
    """Whether a fault is told, as what it is or as what no reading can tell from it."""
    return any(_matches(fault, told, loom) for told in everything(findings))


def _matches(fault: Injected, told: Told, loom: Loom) -> bool:
    ends = set(fault.ends)
    if fault.kind == "open":
        return told.cause in ("broken_wire", "open_splice", "not_plugged") and set(fault.wires) <= told.wires
    if fault.kind == "contact":
        wires = {wire.name for wire in loom.wires_at.get(fault.ends[0], ())}
        return (told.cause == "bad_contact" and ends <= told.cavities) or (
            told.cause in ("broken_wire", "not_plugged") and (len(wires) == 1 and wires <= told.wires)
        )
    if fault.kind == "splice":
        wires = {wire.name for wire in loom.wires_at.get(fault.ends[0], ())}
        return told.cause in ("open_splice", "broken_wire") and bool(wires & told.wires)
    if fault.kind == "fuse":
        return told.cause in ("blown_fuse", "open_part") and set(fault.parts) <= told.parts
    if fault.kind == "short":
        return told.cause == "touching" and all(_touched(end, told, loom) for end in ends)
    if fault.kind in ("swap", "move"):
        return (
            told.cause in ("crossed", "moved_to_spare", "mirrored", "rotated", "exchanged")
            and ends <= told.cavities
        )
    whole = set(fault.connectors)
    named = {end.connector for end in told.cavities}
    if told.cause in WHOLE[fault.kind] and named == whole:
        return True
    # The same terminals in the same places, told as single exchanges.
    return told.cause in ("crossed", "moved_to_spare") and named <= whole


def _touched(end: End, told: Told, loom: Loom) -> bool:
    return end in told.cavities or any(wire.name in told.wires for wire in loom.wires_at.get(end, ()))

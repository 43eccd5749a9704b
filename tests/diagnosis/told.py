"""Whether findings tell an injected fault: in a finding, or among its listed alternatives."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from loomproof.loom.model import End, Loom
from loomproof.results.findings import Finding
from tests.diagnosis.injector import Injected

WHOLE = {
    "exchange": {"exchanged"},
    # Half a turn of a single row is the row mirrored.
    "mirror": {"mirrored", "rotated"},
    "rotate": {"mirrored", "rotated"},
    "cycle": {"rotated"},
    "shift": {"shifted"},
}
PARTS = {
    "fuse": {"blown_fuse", "open_part"},
    "missing": {"missing_part", "open_part"},
    "value": {"wrong_value", "shorted_part"},
    "reversed": {"reversed_diode"},
}
HIGH = {"high", "slight", "high contact", "high splice"}
ADDED = {
    "leak": {"leak", "added_part"},
    "part": {"leak", "added_part"},
    "diode": {"one_way_path"},
}
NETS = ("open", "contact", "short", "added", "swap", "move", "splice", "fuse", *WHOLE)
"""Kinds of faults that change nets."""


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


def is_told(
    fault: Injected, findings: Sequence[Finding], loom: Loom, nets: Sequence[frozenset[End]] = ()
) -> bool:
    """Whether a fault is told, as what it is or as what no reading can tell from it.

    ``nets`` are those found: a path between two of them is told by any cavity of each.
    """
    return any(_matches(fault, told, loom, nets) for told in everything(findings))


def _matches(fault: Injected, told: Told, loom: Loom, nets: Sequence[frozenset[End]]) -> bool:
    ends = set(fault.ends)
    if fault.kind in HIGH:
        return told.cause.startswith("resistive") and _at_the_joint(fault, told, loom)
    if fault.kind == "loose":
        return told.cause == "loose_contact" and _at_the_joint(fault, told, loom)
    if fault.kind in PARTS:
        return told.cause in PARTS[fault.kind] and set(fault.parts) <= told.parts
    if fault.kind in ADDED:
        home = {end: net for net in nets for end in net}
        joined = {home.get(end) for end in told.cavities}
        return told.cause in ADDED[fault.kind] and joined == {home.get(end) for end in ends}
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
    if fault.kind in ("short", "added"):
        return told.cause in ("touching", "added_wire") and all(_touched(end, told, loom) for end in ends)
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
    return told.cause in ("crossed", "crossed_housings", "moved_to_spare") and named <= whole


def _at_the_joint(fault: Injected, told: Told, loom: Loom) -> bool:
    """Whether what is told is the wire, contact or splice itself, or the wire whose end it is."""
    if fault.kind == "high splice" and told.cause != "resistive_splice":
        return False
    wires = set(fault.wires) | {wire.name for end in fault.ends for wire in loom.wires_at.get(end, ())}
    return bool(wires & told.wires) or (bool(fault.ends) and set(fault.ends) <= told.cavities)


def _touched(end: End, told: Told, loom: Loom) -> bool:
    return end in told.cavities or any(wire.name in told.wires for wire in loom.wires_at.get(end, ()))

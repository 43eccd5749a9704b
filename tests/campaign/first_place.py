"""Whether a finding names an injected fault itself, in the first place and not among its alternatives.

What no reading tells apart counts as the same: parts side by side between the same two nets, any cavities of
the same copper, a joint of many ohms and an open one at the same place.
"""

from __future__ import annotations

from dataclasses import replace

from loomproof.results.findings import Finding, Kind
from tests.campaign.grade_oracle import Oracle
from tests.diagnosis.injector import Bench, Injected, place
from tests.diagnosis.told import HIGH, NETS, is_told

OPEN_OHM = 50.0
"""A joint of more than this may be told as open (assumption)."""

IN_PARTS = {
    "missing": {Kind.MISSING_COMPONENT, Kind.OPEN, Kind.WRONG_VALUE},
    "value": {Kind.WRONG_VALUE},
    "shorted": {Kind.WRONG_VALUE, Kind.SHORT, Kind.UNEXPECTED_COMPONENT},
    "reversed": {Kind.REVERSED, Kind.WRONG_VALUE},
}
BETWEEN = {Kind.SHORT, Kind.LEAKAGE, Kind.UNEXPECTED_COMPONENT, Kind.MISWIRE}
"""What a path between two conductors may be called."""


def is_first(fault: Injected, finding: Finding, oracle: Oracle) -> bool:
    """Whether this finding tells this fault: what it is, and where."""
    own = replace(finding, alternatives=())
    if fault.kind in IN_PARTS:
        beside = _beside(fault.parts[0], oracle)
        # A diode turned round beside one that points the other way leaves two that point one way.
        kinds = IN_PARTS["missing"] | IN_PARTS[fault.kind] if len(beside) > 1 else IN_PARTS[fault.kind]
        return bool(beside & set(finding.components)) and finding.kind in kinds
    as_told = replace(fault, kind="diode") if fault.kind == "led" else fault
    nets = Bench(oracle.loom).build([f for f in oracle.faults if f.kind in NETS])
    if is_told(as_told, [own], oracle.loom, nets):
        return True
    if fault.kind == "fuse":  # blown beside another part: that one's ohms are all that is read
        return finding.kind is Kind.HIGH_RESISTANCE and set(fault.parts) <= set(finding.components)
    wires = {wire.name for end in fault.ends for wire in oracle.loom.wires_at.get(end, ())}
    if fault.kind == "high splice" and len(wires) < 3 and wires & set(finding.wires):
        return finding.kind is Kind.HIGH_RESISTANCE
    if fault.kind in HIGH and fault.ohm > OPEN_OHM:
        kind = {"high contact": "contact", "high splice": "splice"}.get(fault.kind, "open")
        return is_told(replace(fault, kind=kind), [own], oracle.loom, nets)
    if fault.kind in ("leak", "part", "diode", "led", "short", "added"):
        homes = {oracle.now.piece_of[place(end)] for end in finding.cavities}
        if finding.kind in BETWEEN and homes == {oracle.now.piece_of[place(end)] for end in fault.ends}:
            return True
        across = {oracle.net_of[end] for end in fault.ends}
        return bool(_between(across, oracle) & set(finding.components))
    return False


def _beside(name: str, oracle: Oracle) -> set[str]:
    """Return the parts between the same two nets as this one, itself among them."""
    return {name}.union(
        *(
            _between({oracle.net_of[a], oracle.net_of[b]}, oracle)
            for part, a, b in oracle.couplings
            if part.name == name
        )
    )


def _between(nets: set[int], oracle: Oracle) -> set[str]:
    return {part.name for part, a, b in oracle.couplings if {oracle.net_of[a], oracle.net_of[b]} == nets}

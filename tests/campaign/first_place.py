"""Whether a finding names an injected fault itself, in the first place and not among its alternatives."""

from __future__ import annotations

from dataclasses import replace

from loomproof.results.findings import Finding, Kind
from tests.campaign.grade_oracle import Oracle
from tests.diagnosis.injector import Bench, Injected, place
from tests.diagnosis.told import NETS, is_told

IN_PARTS = {
    "missing": {Kind.MISSING_COMPONENT, Kind.OPEN},
    "value": {Kind.WRONG_VALUE},
    "shorted": {Kind.WRONG_VALUE, Kind.SHORT, Kind.UNEXPECTED_COMPONENT},
    "reversed": {Kind.REVERSED},
}


def is_first(fault: Injected, finding: Finding, oracle: Oracle) -> bool:
    """Whether this finding tells this fault: what it is, and where."""
    own = replace(finding, alternatives=())
    if fault.kind in IN_PARTS:
        named = set(fault.parts) <= set(finding.components)
        return named and finding.kind in IN_PARTS[fault.kind]
    as_told = replace(fault, kind="diode") if fault.kind == "led" else fault
    faults = [f for f in oracle.faults if f.kind in NETS]
    nets = Bench(oracle.loom).build(faults)
    if fault.kind in ("leak", "part", "diode", "led"):
        # Through copper the two ends of a path are any cavities of their pieces.
        if is_told(as_told, [own], oracle.loom, nets):
            return True
        homes = {oracle.now.piece_of[place(end)] for end in finding.cavities}
        return finding.kind in (Kind.LEAKAGE, Kind.UNEXPECTED_COMPONENT) and homes == {
            oracle.now.piece_of[place(end)] for end in fault.ends
        }
    return is_told(as_told, [own], oracle.loom, nets)

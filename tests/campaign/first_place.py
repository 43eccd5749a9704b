"""Whether a finding names an injected fault itself, in the first place and not among its alternatives.

What no reading tells apart counts as the same: parts side by side between the same two nets, any cavities of
the same copper, a joint of many ohms and an open one at the same place, a plug turned in two ways that put
every terminal in the same place. Of joints, paths and values that is computed: what is told is put into the
loom in place of the fault, and read between all cavities that either changes.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace

from loomproof.loom.model import Component, ComponentKind, End
from loomproof.results.findings import Finding, Kind
from tests.campaign.grade_oracle import SHUNT_OHM, Oracle, expanded_ohm
from tests.campaign.true_looms import circuitry_of
from tests.campaign.truth import Truth
from tests.diagnosis.injector import Bench, Injected, place
from tests.diagnosis.told import HIGH, NETS, WHOLE, is_told

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
    return (
        _is_named(fault, finding, oracle)
        or _turned_alike(fault, finding, oracle)
        or any(_reads_alike(fault, told, oracle) for told in _as_faults(finding, oracle))
    )


def _turned_alike(fault: Injected, finding: Finding, oracle: Oracle) -> bool:
    """Whether a plug was turned otherwise than told, and every terminal is where it would be."""
    if fault.kind not in WHOLE or len(fault.connectors) != 1:
        return False
    if {end.connector for end in finding.cavities} != set(fault.connectors):
        return False
    bench = Bench(oracle.loom)
    found = set(bench.build([fault]))
    told = [kind for kind, causes in WHOLE.items() if finding.cause in causes and kind != "exchange"]
    return any(set(bench.build([replace(fault, kind=kind)])) == found for kind in told)


def _as_faults(finding: Finding, oracle: Oracle) -> Iterator[Injected]:
    """Yield what a finding would be if it were injected, with the ohms that it shows."""
    if finding.cause == "crossed" and len(finding.cavities) == 2:
        yield Injected("swap", finding.cavities)
    shown = next((e for e in finding.evidence if e.measured_ohm is not None), None)
    if shown is None or shown.measured_ohm is None:
        return
    extra_ohm = shown.measured_ohm - (shown.expected_ohm or 0.0)
    if finding.cause == "resistive_wire":
        yield from (Injected("high", wires=(name,), ohm=extra_ohm) for name in finding.wires)
    elif finding.cause == "resistive_contact" and len(finding.cavities) == 1:
        yield Injected("high contact", finding.cavities, ohm=extra_ohm)
    elif finding.kind in (Kind.LEAKAGE, Kind.UNEXPECTED_COMPONENT) and len(finding.cavities) > 1:
        one = finding.cavities[0]
        others = [end for end in finding.cavities if oracle.net_of[end] != oracle.net_of[one]]
        for other in others[:1]:
            yield Injected("part", (one, other), ohm=_without_parts(one, other, shown.measured_ohm, oracle))
    elif finding.cause == "wrong_value" and finding.components:
        yield Injected("value", parts=finding.components[:1], ohm=shown.measured_ohm)


def _without_parts(a: End, b: End, read_ohm: float, oracle: Oracle) -> float:
    """Return the ohms of a path that is read with the loom's own parts beside it, the worse way round."""
    sound = max(
        oracle.sound.read([x], [y], oracle.make.test_v, oracle.make.series_ohm) for x, y in ((a, b), (b, a))
    )
    return 1.0 / (1.0 / read_ohm - 1.0 / sound) if 0.0 < read_ohm < sound else read_ohm


def _reads_alike(fault: Injected, told: Injected, oracle: Oracle) -> bool:
    """Whether no reading of the bench tells one from the other: each within its uncertainty of the other."""
    make = oracle.make
    if make.ohms is None or told.ohm < 0.0:
        return False
    truths = [Truth(circuitry_of(oracle.loom, (each,), oracle.seed)) for each in (fault, told)]
    places = {end for each in (fault, told) for end in _ends_of(each, oracle)}
    near = {end for truth in truths for at in places for end in truth.ends_of[truth.island(place(at))]}
    for a, b in itertools.permutations(sorted(near), 2):
        one, two = (min(t.read([a], [b], make.test_v, make.series_ohm), make.ohms[1]) for t in truths)
        if abs(one - two) > expanded_ohm(make, min(one, two)):
            return False
    return True


def _ends_of(fault: Injected, oracle: Oracle) -> Iterator[End]:
    loom = oracle.loom
    yield from (end for end in fault.ends if end.cavity)
    yield from (end for name in fault.parts for end in loom.component_by_name[name].ends if end.cavity)
    wires = {*fault.wires, *(w.name for end in fault.ends for w in loom.wires_at.get(end, ()))}
    net = {end for name in wires for end in loom.wire_by_name[name].ends}
    yield from (end for end in net if end.cavity)


def _is_named(fault: Injected, finding: Finding, oracle: Oracle) -> bool:
    own = replace(finding, alternatives=())
    if fault.kind in IN_PARTS:
        beside = _beside(fault.parts[0], oracle)
        # A diode turned round beside one that points the other way leaves two that point one way.
        kinds = IN_PARTS["missing"] | IN_PARTS[fault.kind] if len(beside) > 1 else IN_PARTS[fault.kind]
        if fault.kind == "shorted" and finding.kind is Kind.SHORT:
            across = {
                oracle.now.piece_of[place(end)]
                for part, *ends in oracle.couplings
                if part.name == fault.parts[0] and _is_coil(part, ends)
                for end in ends
            }
            return {oracle.now.piece_of[place(end)] for end in finding.cavities} == across
        if fault.kind == "missing" and _is_shunt(fault.parts[0], oracle):
            # Out, beside other parts: their ohms are all that is read in its place.
            kinds = kinds | {Kind.HIGH_RESISTANCE}
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
        places = {oracle.now.piece_of[place(end)] for end in fault.ends}
        if finding.kind in BETWEEN and homes == places:
            return True
        # Sense does not tell which of the nets that parts couple a path meets: all of them are named then.
        coupled = {oracle.group_of[oracle.net_of[end]] for end in fault.ends}
        named = {oracle.group_of[oracle.net_of[end]] for end in finding.cavities}
        if oracle.make.ohms is None and finding.kind in BETWEEN and homes >= places and named == coupled:
            return True
        across = {oracle.net_of[end] for end in fault.ends}
        return bool(_between(across, oracle) & set(finding.components))
    return False


def _is_shunt(name: str, oracle: Oracle) -> bool:
    ohm = oracle.loom.component_by_name[name].resistance_ohm
    return ohm is not None and ohm <= SHUNT_OHM


def _is_coil(part: Component, ends: Sequence[End]) -> bool:
    """Whether a relay is read between these ends: a short in it is one of its coil."""
    return part.kind is not ComponentKind.RELAY or part.terminal("85") in ends


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

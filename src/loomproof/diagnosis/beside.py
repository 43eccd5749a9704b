"""A part that conducts too well: is it the part, a path across it, or one between other nets that it shows?

A path between two nets adds its conductance, whole, to what is read between them, and no more than that to
what is read between any two others: dG(u, v)/dg = (v_p - v_q)² at 1 V from u to v, at most 1 (Cohn's theorem,
R. M. Cohn, Proc. AMS 1 (1950) 316, from memory). So it is where most conductance is that no part can give.
Each pair is taken the worse way round, where diodes give none.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.desk import SHORTED_OHM
from loomproof.diagnosis.found import Found, parts_as_found, read_ends
from loomproof.diagnosis.left_in import or_left_in
from loomproof.diagnosis.paths import near_found, path_finding
from loomproof.diagnosis.writing import Writer
from loomproof.electrics.bounds import least_ohm
from loomproof.electrics.conductors import LEAST_OHM
from loomproof.electrics.couplings import Coupling
from loomproof.loom.model import ComponentKind
from loomproof.results.findings import Alternative, Finding
from loomproof.results.measured import Path

CLEARLY = 1.3
"""A part is right where another place has so many times its conductance too much. Our convention."""

ALIKE = 0.05
"""What two places read differs by less than a bench may tell, or a part's tolerance. Our convention."""

Pair = tuple[int, int]


def told_beside(found: Found, writer: Writer, findings: Iterable[Finding]) -> list[Finding]:
    """Return the findings of parts; what a path explains, beside a part or not, is told as that path."""
    parts, root = parts_as_found(found)
    read = _read(found, root)
    told: list[Finding] = []
    at: dict[frozenset[int], int] = {}
    for finding in findings:
        paths = _paths_of(found, finding, parts, root, read) if _conducts_too_well(finding) else []
        if not paths:
            told.append(finding)
            continue
        path, *behind = paths
        one, other = found.group_of[path.a], found.group_of[path.b]
        here = at.setdefault(frozenset((one, other)), len(told))
        if here == len(told):
            plain = path_finding(path, writer, near_found(found, path, writer), [(p.a, p.b) for p in behind])
            told.append(or_left_in(found, writer, plain, {one, other}, path.ohm, path.uncertainty_ohm))
            found.add_chain(f"path {path.a} {path.b}", one, other, path.ohm)
        first = told[here]
        told[here] = replace(
            first,
            components=tuple(dict.fromkeys((*first.components, *finding.components))),
            evidence=(*first.evidence, *finding.evidence),
            alternatives=(*first.alternatives, _the_part(finding)),
        )
    return told


def _conducts_too_well(finding: Finding) -> bool:
    return finding.cause in (Cause.WRONG_VALUE, Cause.SHORTED_PART) and len(finding.cavities) == 2


def _the_part(finding: Finding) -> Alternative:
    names = ", ".join(finding.components)
    return Alternative(
        text=f"{finding.title}, and no path is beside it",
        cause=finding.cause,
        cavities=finding.cavities,
        repair=finding.repair,
        tell_apart=f"Take {names} out and read again: a path that stays is the other.",
        components=finding.components,
    )


def _read(found: Found, root: Callable[[int], int]) -> dict[Pair, Path]:
    """Return what was read from group to group, as parts join them, for each way round."""
    read: dict[Pair, Path] = {}
    for path in found.measured.beside:
        a, b = found.group_of.get(path.a), found.group_of.get(path.b)
        if a is not None and b is not None and root(a) != root(b):
            read[root(a), root(b)] = path
    return read


def _paths_of(
    found: Found,
    finding: Finding,
    parts: Sequence[Coupling],
    root: Callable[[int], int],
    read: dict[Pair, Path],
) -> list[Path]:
    """Return the path that explains a part's reading better than the part does, and where it reads the same.

    Nothing where the part itself is likelier.
    """
    groups = [found.group_of.get(end) for end in finding.cavities]
    if groups[0] is None or groups[1] is None:
        return []
    own = (root(groups[0]), root(groups[1]))
    if own not in read or own[::-1] not in read:
        return []
    diode = _is_diode(found, finding)
    # Forward a diode conducts itself.
    across = {own: read[own[::-1]] if diode else _worse(read, own)}
    # One that went bad conducts both ways as a short does.
    if across[own].ohm < SHORTED_OHM:
        return []
    bundle = {own[0], *(other for one, other in read if one == own[0])}
    across |= {
        pair: _worse(read, pair)
        for pair in read
        if pair[0] < pair[1] and {*pair} <= bundle and {*pair} != {*own}
    }
    most = {pair: _too_much(parts, pair, path.ohm) for pair, path in across.items()}
    place = max(most, key=lambda pair: most[pair])
    alone = diode and not _others_across(found, finding, own, root)
    if most[place] * across[place].ohm < ALIKE or math.isinf(across[place].ohm):
        return []  # no more than parts give
    if not (alone or most[place] > CLEARLY * max(most[own], 0.0)):
        return []
    alike = [pair for pair in most if pair != place and most[pair] > (1 - ALIKE) * most[place]]
    return [across[place], *(across[pair] for pair in alike)]


def _worse(read: dict[Pair, Path], pair: Pair) -> Path:
    back = pair[::-1]
    return max((read[each] for each in (pair, back) if each in read), key=lambda path: path.ohm)


def _too_much(parts: Sequence[Coupling], pair: Pair, ohm: float) -> float:
    """Return the conductance between two nets, the worse way round, above the most of sound parts, S."""
    least = max(least_ohm(parts, [a], [b], math.inf) for a, b in (pair, pair[::-1]))
    return 1.0 / max(ohm, LEAST_OHM) - 1.0 / max(least, LEAST_OHM)


def _others_across(found: Found, finding: Finding, own: Pair, root: Callable[[int], int]) -> bool:
    """Whether another part that reads wrongly lies between the same two nets: it may be wrong itself."""
    for name in finding.components[1:]:
        groups = [found.group_at(end) for end in read_ends(found.loom.component_by_name[name])]
        if {root(group) for group in groups if group is not None} == {*own}:
            return True
    return False


def _is_diode(found: Found, finding: Finding) -> bool:
    return found.loom.component_by_name[finding.components[0]].kind is ComponentKind.DIODE

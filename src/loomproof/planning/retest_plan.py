"""After a repair: the smallest plan that proves again what the repair can have touched.

A repair touches the wires and cavities of its finding and, where hands were at a housing, the cavities
beside them. Their nets are proved whole and apart from everything else; the rest rests on the proof
before. That everything else is a bundle: it takes one code for all of it, so an antichain over the touched
nets and the bundle excludes every coupling between them, one-way ones included (``THEORY.md``). What a
repair did elsewhere is not seen: a certificate needs a full proof.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from loomproof.electrics.expectation import Expectation
from loomproof.loom.model import End, Loom
from loomproof.planning.drive_codes import antichain_codes
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import Plan
from loomproof.planning.test_vectors import Vector, apart_from_reach, empty_vector, vector


def touched_ends(loom: Loom, cavities: Iterable[End], wires: Iterable[str]) -> frozenset[End]:
    """Return the cavities and splices that repairs at these cavities and wires can have touched."""
    known = set(loom.cavities) | set(loom.splices)
    at = {end for end in cavities if end in known}
    for name in wires:
        if name in loom.wire_by_name:
            at |= set(loom.wire_by_name[name].ends)
    beside = {other for end in at if not loom.is_splice(end) for other in loom.neighbours(end)}
    return frozenset(at | beside)


def touched_nets(expectation: Expectation, ends: Iterable[End]) -> frozenset[int]:
    """Return the nets of these ends, with those that components join to them."""
    nets = {expectation.net_of[end] for end in ends}
    nets |= {
        other
        for coupling in expectation.couplings
        for net, other in ((coupling.net_a, coupling.net_b), (coupling.net_b, coupling.net_a))
        if net in nets
    }
    return frozenset(nets)


def plan_retest(plan: Plan, expectation: Expectation, nets: frozenset[int]) -> Plan:
    """Return what of a full plan is asked again for these nets.

    Run it with all other nets ``untouched``: isolation is then read between these and that bundle only.
    """
    vectors = (empty_vector(plan.scope.groups), *_vectors(plan.scope, nets)) if plan.vectors else ()
    return replace(
        plan,
        vectors=vectors,
        conductors=tuple(r for r in plan.conductors if expectation.net_of[r.a] in nets),
        parts=tuple(
            r
            for r in plan.parts
            if expectation.net_of[r.part.a] in nets or expectation.net_of[r.part.b] in nets
        ),
        bounds=tuple(
            bound
            for bound in plan.bounds
            if any(expectation.net_of[end] in nets for end in plan.scope.ends(bound.one | bound.other))
        ),
    )


def _vectors(scope: Scope, nets: frozenset[int]) -> tuple[Vector, ...]:
    """Return an antichain over the touched groups and the bundle of all others.

    Groups that components couple to others take, as in a full proof, one vector more for each set reached.
    """
    touched = [i for i, net in enumerate(scope.net_of_group) if net in nets]
    rest = frozenset(range(len(scope.groups))) - set(touched)
    codes = antichain_codes(len(touched) + bool(rest))
    length = max((code.bit_length() for code in codes), default=0)
    driven = []
    for bit in range(length):
        chosen = frozenset(i for i, code in zip(touched, codes, strict=False) if code >> bit & 1)
        driven.append(chosen | (rest if rest and codes[-1] >> bit & 1 else frozenset()))
    everyone = frozenset(range(len(scope.groups)))
    for closure in dict.fromkeys(scope.reach[i] | {i} for i in range(len(scope.groups)) if scope.reach[i]):
        if closure & set(touched):
            driven.append(everyone - closure)
    driven += apart_from_reach(scope.groups, scope.reach, touched, driven)
    return tuple(vector(scope.groups, scope.reach, chosen) for chosen in driven if chosen)

"""What is broken within circuits that are unused here: nothing is claimed of it, and that is said.

Only what stays within one such circuit is set aside. What joins, moves or touches a cavity outside it stays a
claim that fails.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loomproof.electrics.bridges import partings
from loomproof.electrics.component_kinds import conducting_ends
from loomproof.loom.model import End, Loom, Need
from loomproof.results.document import ClaimEntry
from loomproof.results.measured import Decision, Measured


@dataclass(frozen=True)
class SetAside:
    """The claims that stand, and in words what is not claimed and why."""

    claims: tuple[ClaimEntry, ...]
    texts: tuple[str, ...] = ()


def idle_ends(loom: Loom, answers: Mapping[str, str]) -> Mapping[End, str]:
    """Return the cavities whose wires all belong to one unused circuit, with that circuit."""
    found = {}
    for end in loom.cavities:
        circuits = {wire.circuit for wire in loom.wires_at.get(end, ())}
        circuits |= {part.circuit for part in loom.components if end in part.ends}
        if len(circuits) == 1 and "" not in circuits:
            (circuit,) = circuits
            if loom.need_of(circuit, answers) is Need.UNUSED:
                found[end] = circuit
    return found


def set_aside(
    loom: Loom, answers: Mapping[str, str], measured: Measured, claims: Sequence[ClaimEntry]
) -> SetAside:
    """Return the claims without those that fail, or are not decided, within unused circuits only."""
    idle = idle_ends(loom, answers)
    if not idle:
        return SetAside(tuple(claims))
    group_of = {end: group for group in measured.groups for end in group}
    crossed = {end for path in measured.leaks for end in (path.a, path.b)}
    crossed |= {end for way in measured.one_way for end in (way.source, way.sink)}
    circuit_of = {part.name: part.circuit for part in loom.components}

    net_of = {end: net for net in measured.expected for end in net}

    def within(claim: ClaimEntry) -> str:
        """Return the unused circuit that a claim stays within, "" for none."""
        if claim.kind == "component":
            circuit = circuit_of.get(claim.subject, "")
            return circuit if circuit and loom.need_of(circuit, answers) is Need.UNUSED else ""
        ends = claim.cavities
        reached = {other for end in ends for other in group_of.get(end, frozenset({end}))}
        if claim.kind == "resistance":
            own = next((idle[end] for end in ends if end in idle), "")
            strange = reached - net_of.get(ends[0], frozenset()) - {e for e in idle if idle[e] == own}
            return "" if strange else own
        circuits = {idle.get(end, "") for end in (*ends, *reached)}
        if len(circuits) == 1 and not reached & crossed:
            return next(iter(circuits))
        return ""

    kept: list[ClaimEntry] = []
    texts: dict[str, None] = {}
    for claim in claims:
        shaky = claim.decision is Decision.FAIL or (claim.decision is Decision.UNDECIDED and claim.beyond)
        circuit = within(claim) if shaky else ""
        if circuit:
            texts[f"{circuit} is unused here, not claimed: {claim.subject}, {claim.statement}."] = None
            continue
        rest = _rest(claim, idle, group_of, loom)
        if shaky and rest is not None:
            left, circuits = rest
            kept.append(left)
            unused = ", ".join(circuits)
            texts[f"{unused} is unused here, not claimed: that it is joined to {left.subject}."] = None
            continue
        kept.append(claim)
    return SetAside(tuple(kept), tuple(texts))


def _rest(
    claim: ClaimEntry,
    idle: Mapping[End, str],
    group_of: Mapping[End, frozenset[End]],
    loom: Loom,
) -> tuple[ClaimEntry, tuple[str, ...]] | None:
    """Return a failing claim of continuity for the cavities in use alone, where those are joined."""
    ends = claim.cavities
    used = tuple(end for end in ends if end not in idle)
    if claim.kind != "continuity" or claim.decision is not Decision.FAIL or len(used) in (0, len(ends)):
        return None
    if any(end not in group_of for end in used) or len({group_of[end] for end in used}) != 1:
        return None
    if any(group_of.get(end, frozenset()) - set(ends) for end in ends):
        return None
    circuits = tuple(dict.fromkeys(idle[end] for end in ends if end in idle))
    return (
        claim.model_copy(
            update={
                "subject": str(used[0]),
                "cavities": used,
                "wires": _joining(loom, used),
                "decision": Decision.PASS,
                "statement": f"{len(used)} cavities in use are joined"
                if len(used) > 1
                else "the one cavity in use has nothing else to be joined to",
            }
        ),
        circuits,
    )


def _joining(loom: Loom, ends: Sequence[End]) -> tuple[str, ...]:
    """Return the wires without any one of which these joined cavities would not hang together."""
    around = [pair for part in loom.components for pair in conducting_ends(part)]
    parted = partings([*(wire.ends for wire in loom.wires), *around])
    return tuple(wire.name for k, wire in enumerate(loom.wires) if len(ends) > 1 and parted.parts(k, ends))

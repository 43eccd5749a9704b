"""The wire list of a proof: what is claimed of each wire by its own name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from loomproof.results.document import BUT_CONDUCTORS, BUT_JOINED, ClaimEntry, Document, WireEntry
from loomproof.results.findings import Alternative, Finding
from loomproof.results.measured import Decision

_RANK = {Decision.FAIL: 0, Decision.UNDECIDED: 1, Decision.PASS: 2}


@dataclass(frozen=True, slots=True)
class WireRow:
    """One wire with every claim that covers it.

    ``reading`` is the measured claim that says least good of it: the worst decided, then a joint before a
    part, whose tolerance says nothing of the wire to it, then that of the least margin; ``None`` where the
    wire was not measured. ``decision`` is the worst of all its claims, ``None`` where no claim covers it.
    That a path was found somewhere in the loom (`found_somewhere`) fails no wire by itself: where nothing
    else says whether it is this one, that is not decided. ``elsewhere`` are the claims of its net that
    fail by what a finding puts at other wires, by kind with the number of that finding; they are in no other
    field, and fail no wire that was measured by itself and that no finding names.
    """

    wire: WireEntry
    claims: tuple[ClaimEntry, ...]
    reading: ClaimEntry | None
    decision: Decision | None
    elsewhere: tuple[tuple[str, int], ...] = ()


def wire_rows(document: Document) -> tuple[WireRow, ...]:
    """Return a row for each wire of the list, in its order; none for a document from before it had one."""
    claims_of: dict[str, list[ClaimEntry]] = {}
    for claim in document.claims:
        for name in claim.wires:
            claims_of.setdefault(name, []).append(claim)
    rows: list[WireRow] = []
    for wire in document.wires:
        elsewhere = {id(claim): _elsewhere(document, wire, claim) for claim in claims_of.get(wire.name, [])}
        claims = [claim for claim in claims_of.get(wire.name, []) if not elsewhere[id(claim)]]
        if not any(claim.kind == "resistance" and claim.decision is not Decision.FAIL for claim in claims):
            claims, elsewhere = claims_of.get(wire.name, []), {}  # Nothing else says that it is sound.
        measured = [claim for claim in claims if claim.limit_ohm is not None]
        rows.append(
            WireRow(
                wire,
                tuple(claims),
                min(measured, key=_badness, default=None),
                min(map(partial(_says, claims), claims), key=_RANK.__getitem__, default=None),
                tuple(
                    (c.kind, elsewhere[id(c)]) for c in claims_of.get(wire.name, []) if elsewhere.get(id(c))
                ),
            )
        )
    return tuple(rows)


def found_somewhere(claim: ClaimEntry) -> bool:
    """Whether a claim says of the whole loom that paths were found in it, and not between which cavities."""
    return claim.kind == "isolation" and claim.decision is Decision.FAIL and not claim.cavities


def joined_by_parts(row: WireRow) -> bool:
    """Whether parts join the wire's net to others, which nothing shows it to be apart from.

    Its own claim says so; where only one on all conductors covers it, that leaves it open, and counts.
    """
    held = [c for c in row.claims if c.kind == "isolation" and c.decision is Decision.PASS]
    own = [claim for claim in held if claim.cavities]
    if own:
        return any(BUT_JOINED in claim.statement for claim in own)
    return any(words in claim.statement for claim in held for words in BUT_CONDUCTORS)


def _elsewhere(document: Document, wire: WireEntry, claim: ClaimEntry) -> int:
    """Return the number of the finding that puts a failed claim at other wires of the net; 0 for none."""
    if claim.decision is not Decision.FAIL or claim.kind not in ("continuity", "isolation", "resistance"):
        return 0
    if not claim.cavities:
        return 0
    found = 0
    for number, finding in enumerate(document.findings, 1):
        told: tuple[Finding | Alternative, ...] = (finding, *finding.alternatives)
        names = {name for one in told for name in one.wires}
        ends = {end for one in told for end in one.cavities}
        if wire.name in names or ends.intersection(wire.ends):
            return 0
        if not found and (names.intersection(claim.wires) or ends.intersection(claim.cavities)):
            found = number
    return found


def _says(all_of_wire: Sequence[ClaimEntry], claim: ClaimEntry) -> Decision:
    """Return what a claim says of one wire, all of whose claims are given."""
    if not found_somewhere(claim):
        return claim.decision
    own = any(each.kind == "isolation" and not found_somewhere(each) for each in all_of_wire)
    return Decision.PASS if own else Decision.UNDECIDED


def _badness(claim: ClaimEntry) -> tuple[int, bool, float]:
    room = claim.margin
    return _RANK[claim.decision], claim.kind == "component", -1.0 if room is None else room

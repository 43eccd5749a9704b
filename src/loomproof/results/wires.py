"""The wire list of a proof: what is claimed of each wire by its own name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from loomproof.results.document import ClaimEntry, Document, WireEntry
from loomproof.results.measured import Decision

_RANK = {Decision.FAIL: 0, Decision.UNDECIDED: 1, Decision.PASS: 2}


@dataclass(frozen=True, slots=True)
class WireRow:
    """One wire with every claim that covers it.

    ``reading`` is the measured claim that says least good of it: the worst decided, then a joint before a
    part, whose tolerance says nothing of the wire to it, then that of the least margin; ``None`` where the
    wire was not measured. ``decision`` is the worst of all its claims, ``None`` where no claim covers it.
    That a path was found somewhere in the loom (`found_somewhere`) fails no wire by itself: where nothing
    else says whether it is this one, that is not decided.
    """

    wire: WireEntry
    claims: tuple[ClaimEntry, ...]
    reading: ClaimEntry | None
    decision: Decision | None


def wire_rows(document: Document) -> tuple[WireRow, ...]:
    """Return a row for each wire of the list, in its order; none for a document from before it had one."""
    claims_of: dict[str, list[ClaimEntry]] = {}
    for claim in document.claims:
        for name in claim.wires:
            claims_of.setdefault(name, []).append(claim)
    rows: list[WireRow] = []
    for wire in document.wires:
        claims = claims_of.get(wire.name, [])
        measured = [claim for claim in claims if claim.limit_ohm is not None]
        rows.append(
            WireRow(
                wire,
                tuple(claims),
                min(measured, key=_badness, default=None),
                min(map(partial(_says, claims), claims), key=_RANK.__getitem__, default=None),
            )
        )
    return tuple(rows)


def found_somewhere(claim: ClaimEntry) -> bool:
    """Whether a claim says of the whole loom that paths were found in it, and not between which cavities."""
    return claim.kind == "isolation" and claim.decision is Decision.FAIL and not claim.cavities


def _says(all_of_wire: Sequence[ClaimEntry], claim: ClaimEntry) -> Decision:
    """Return what a claim says of one wire, all of whose claims are given."""
    if not found_somewhere(claim):
        return claim.decision
    own = any(each.kind == "isolation" and not found_somewhere(each) for each in all_of_wire)
    return Decision.PASS if own else Decision.UNDECIDED


def _badness(claim: ClaimEntry) -> tuple[int, bool, float]:
    room = claim.margin
    return _RANK[claim.decision], claim.kind == "component", -1.0 if room is None else room

"""Rows of what is claimed, as a certificate shows them: by threshold, by ohms, and the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loomproof.reports.words import uncertain
from loomproof.results.document import ClaimEntry
from loomproof.results.figures import ohms

Rows = list[list[str]]

DECISIONS = {"pass": "holds", "fail": "FAILS", "undecided": "not decided"}
"""How a claim's decision is said."""


def rules(claims: Sequence[ClaimEntry]) -> dict[str, str]:
    """Return each decision rule with a short mark for it: ``R1``, ``R2``."""
    return {rule: f"R{n}" for n, rule in enumerate(dict.fromkeys(claim.rule for claim in claims), 1)}


def groups(claims: Sequence[ClaimEntry], marks: Mapping[str, str]) -> Rows:
    """Return one row for each kind and rule: how many, how they are decided, and what is behind."""
    found: dict[tuple[str, str], list[ClaimEntry]] = {}
    for claim in claims:
        found.setdefault((claim.kind, claim.rule), []).append(claim)
    made = []
    for (what, rule), members in found.items():
        said = [claim.decision.value for claim in members]
        counted = [str(said.count(word)) for word in ("pass", "undecided", "fail")]
        parts = [
            _span("threshold", [claim.threshold_ohm for claim in members]),
            _span("uncertainty", [claim.uncertainty_ohm for claim in members], " (k = 2)"),
        ]
        behind = "; ".join(part for part in parts if part) or "as the rule says"
        made.append([what, str(len(members)), *counted, behind, marks[rule]])
    return made


def _span(what: str, values: Sequence[float | None], tail: str = "") -> str:
    known = sorted(value for value in values if value)
    if not known:
        return ""
    low, high = ohms(known[0]), ohms(known[-1])
    return f"{what} {low}{tail}" if low == high else f"{what} {low} to {high}{tail}"


def by_threshold(claims: Sequence[ClaimEntry], marks: Mapping[str, str]) -> Rows:
    """Return one row for each net: its cavities, joined, apart from the others, rule, decision.

    Cavities that are a net of their own and of which the same is claimed share one row.
    """
    nets: dict[tuple[str, ...], list[ClaimEntry]] = {}
    for claim in claims:
        if claim.threshold_ohm is not None and claim.kind in ("continuity", "isolation"):
            nets.setdefault(tuple(map(str, claim.cavities)) or (claim.subject,), []).append(claim)
    made: Rows = []
    alone: dict[tuple[str, ...], list[str]] = {}
    for cavities, members in nets.items():
        joined = "; ".join(claim.statement for claim in members if claim.kind == "continuity")
        apart = "; ".join(claim.statement for claim in members if claim.kind == "isolation")
        worst = next((c for c in members if c.decision.value != "pass"), members[0])
        used = ", ".join(dict.fromkeys(marks[claim.rule] for claim in members))
        said = [joined, apart, used, DECISIONS[worst.decision.value]]
        if len(cavities) == 1 and not joined:
            alone.setdefault(tuple(said), []).extend(cavities)
        else:
            made.append([", ".join(cavities), *said])
    for said_of_each, names in alone.items():
        each = "each by itself: " if len(names) > 1 else ""
        made.append([each + ", ".join(names), *said_of_each])
    return made


def by_ohms(claims: Sequence[ClaimEntry], marks: Mapping[str, str]) -> Rows:
    """Return one row for each measured claim, its limits beside what was measured."""
    return [
        [
            claim.subject,
            ohms(claim.expected_ohm) if claim.expected_ohm is not None else "",
            "open" if claim.open else _read(claim),
            limit(claim),
            shown(claim),
            left(claim, claim.margin),
            marks[claim.rule],
            DECISIONS[claim.decision.value],
        ]
        for claim in claims
        if _measured(claim)
    ]


def others(claims: Sequence[ClaimEntry], marks: Mapping[str, str]) -> Rows:
    """Return one row for each claim that neither table shows."""
    return [
        [claim.subject, claim.statement, marks[claim.rule], DECISIONS[claim.decision.value]]
        for claim in claims
        if not _measured(claim)
        and not (claim.threshold_ohm is not None and claim.kind in ("continuity", "isolation"))
    ]


def _measured(claim: ClaimEntry) -> bool:
    return claim.limit_ohm is not None and (claim.open or claim.measured_ohm is not None)


def margin_row(claim: ClaimEntry, room: float) -> list[str]:
    """Return one row of the smallest margins."""
    return [claim.subject, _read(claim), limit(claim), left(claim, room)]


def _read(claim: ClaimEntry) -> str:
    wires = ", four-wire" if claim.meter_wires == 4 else ""
    return uncertain(claim.measured_ohm, claim.uncertainty_ohm) + wires


def limit(claim: ClaimEntry) -> str:
    """Return the limit of wire, contacts or part, or both where there is a lower one."""
    if claim.limit_ohm is None:
        return ""
    upper_ohm = claim.own_limit_ohm
    if claim.lower_limit_ohm:
        return f"{ohms(claim.lower_limit_ohm)} to {ohms(upper_ohm)}"
    return ohms(upper_ohm)


def shown(claim: ClaimEntry) -> str:
    """Return what the reading shows the resistance to be below; of schema 1 the limit that was claimed."""
    if claim.bound_ohm is not None:
        return ohms(claim.bound_ohm)
    return ohms(claim.limit_ohm) if claim.physical_limit_ohm is not None and not claim.open else ""


def left(claim: ClaimEntry, room: float | None) -> str:
    """Return the margin in words; a limit that is not decided has none."""
    if room is None:
        return ""
    if claim.decision.value == "undecided":
        return "not decided"
    return f"{room:.0%}" if room >= 0 else "beyond it"

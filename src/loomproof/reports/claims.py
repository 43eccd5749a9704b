"""Rows of what is claimed, as a certificate shows them: by threshold, by ohms, and the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

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


class Alike(NamedTuple):
    """Nets of which the same is claimed: what, said once, and the cavities of each."""

    said: str
    nets: list[str]


def by_threshold(claims: Sequence[ClaimEntry], marks: Mapping[str, str]) -> tuple[list[Alike], Rows]:
    """Return what is claimed of many nets alike, then one row for each other net.

    A row holds cavities, joined, apart from the others, rule, decision. Only what holds is said of many nets
    at once; a few cavities that are a net of their own, and of which the same is claimed, share one row.
    """
    nets: dict[tuple[str, ...], list[ClaimEntry]] = {}
    for claim in claims:
        if claim.threshold_ohm is not None and claim.kind in ("continuity", "isolation"):
            nets.setdefault(tuple(map(str, claim.cavities)) or (claim.subject,), []).append(claim)
    said: dict[_Said, list[str]] = {}
    for cavities, members in nets.items():
        joined = "; ".join(claim.statement for claim in members if claim.kind == "continuity")
        apart = "; ".join(_apart(claim) for claim in members if claim.kind == "isolation")
        worst = next((c for c in members if c.decision.value != "pass"), members[0])
        used = ", ".join(dict.fromkeys(marks[claim.rule] for claim in members))
        alone = len(cavities) == 1 and not joined
        key = _Said(alone, joined, apart, used, worst.decision.value)
        said.setdefault(key, []).append(", ".join(cavities))
    many = {of: names for of, names in said.items() if len(names) >= MANY and of.decision == "pass"}
    alike = [Alike(_said_once(of, len(names)), names) for of, names in many.items()]
    rest = {of: names for of, names in said.items() if of not in many}
    # One by one first, then those that share a row.
    own = [(name, of) for of, names in rest.items() if not of.alone for name in names]
    shared = [
        (("each by itself: " if len(names) > 1 else "") + ", ".join(names), of)
        for of, names in rest.items()
        if of.alone
    ]
    rows = [[name, of.joined, of.apart, of.used, DECISIONS[of.decision]] for name, of in (*own, *shared)]
    return alike, rows


MANY = 6
"""From so many nets on, what is claimed of them alike is said once, above a list of them."""


def _apart(claim: ClaimEntry) -> str:
    """Return how far apart conductors are; where all of them hold by readings, the least of these as well."""
    if claim.cavities or claim.decision.value != "pass" or not (claim.open or claim.measured_ohm):
        return claim.statement
    least = "all over range" if claim.open else f"the least {ohms(claim.measured_ohm)}"
    return f"{claim.statement}; readings: {least}"


class _Said(NamedTuple):
    """What is claimed of a net by a threshold; ``alone``: a cavity that is a net of its own."""

    alone: bool
    joined: str
    apart: str
    used: str
    decision: str


def _said_once(of: _Said, count: int) -> str:
    which = f"{count} cavities, each a net by itself" if of.alone else f"{count} nets, of each the same"
    claimed = "; ".join(filter(None, (of.joined, of.apart)))
    return f"{which}: {claimed}. {of.used}: {DECISIONS[of.decision]}."


def by_ohms(
    claims: Sequence[ClaimEntry], marks: Mapping[str, str], without: Sequence[ClaimEntry] = ()
) -> Rows:
    """Return one row for each measured claim, its limits beside what was measured.

    Those in ``without``, the very values, are told elsewhere.
    """
    elsewhere = set(map(id, without))
    return [
        [
            claim.subject,
            sound_is(claim),
            _read(claim),
            limit(claim),
            shown(claim),
            left(claim, claim.margin, undecided=NO_MARGIN),
            marks[claim.rule],
            DECISIONS[claim.decision.value],
        ]
        for claim in claims
        if _measured(claim) and id(claim) not in elsewhere
    ]


def sound_is(claim: ClaimEntry) -> str:
    """Return what a sound reading is, "" where nobody knows."""
    return ohms(claim.expected_ohm) if claim.expected_ohm is not None else ""


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
    if claim.open:
        return "open"
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


NO_MARGIN = "none"
"""The margin of what is not decided, where its decision stands beside it."""


def left(claim: ClaimEntry, room: float | None, *, undecided: str = "not decided") -> str:
    """Return the margin in words; a limit that is not decided has none."""
    if room is None:
        return ""
    if claim.decision.value == "undecided":
        return undecided
    return f"{room:.0%}" if room >= 0 else "beyond it"

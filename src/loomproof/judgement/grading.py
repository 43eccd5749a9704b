"""How far a loom without a fault is proved, and how likely it hides a joint beyond what is said of it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from loomproof.electrics.decision import conformance_probability
from loomproof.results.document import ClaimEntry
from loomproof.results.figures import ohms
from loomproof.results.grade import Grade
from loomproof.results.measured import Decision


def demanded_of(asked: Grade | None, *, measures_ohms: bool) -> Grade:
    """Return the grade that a loom must reach: the one asked for, else what the bench is for."""
    return asked or (Grade.BENCH if measures_ohms else Grade.CONNECTIONS)


def grade_of(
    claims: Sequence[ClaimEntry], untold_parts: Sequence[str], *, measures_ohms: bool, unswept: int = 0
) -> tuple[Grade, str]:
    """Return the grade that these claims reach, none of them failing, and what it says in words.

    ``unswept`` pairs of conductors were never asked whether they touch.
    """
    joints = _measured(claims, "resistance")
    parts = _measured(claims, "component")
    beyond = [claim for claim in joints if claim.decision is Decision.UNDECIDED]
    loose = [claim.subject for claim in parts if claim.decision is Decision.UNDECIDED]
    said = []
    if joints and beyond:
        lie = "limit lies" if len(joints) == 1 else "limits lie"
        said.append(
            f"joints to {ohms(shown_ohm(joints))}: {len(beyond)} of {len(joints)} {lie} beyond this bench"
        )
    elif joints:
        said.append(f"{_count(len(joints), 'joint')} within {_own(len(joints))}")
    if loose:
        said.append(f"limits of {', '.join(loose)} lie beyond this bench")
    elif parts:
        said.append(f"{_count(len(parts), 'part')} within {_own(len(parts))}")
    if untold_parts:
        said.insert(0, f"nobody could tell {', '.join(untold_parts)}")
    if unswept:
        said.insert(0, f"{_count(unswept, 'pair')} of nets never swept against each other")
    if not measures_ohms:
        said.insert(0, f"joined and apart only, no resistance{' of a wire' * bool(parts)} was measured")
    if untold_parts or not measures_ohms or unswept:
        grade = Grade.CONNECTIONS
    else:
        grade = Grade.BENCH if beyond or loose else Grade.WIRE
    return grade, "; ".join(said) or "nothing here has a resistance to be measured"


def shown_ohm(joints: Iterable[ClaimEntry]) -> float:
    """Return what every joint is shown to be below: the greatest bound of those not decided, Ω."""
    bounds = (claim.bound_ohm for claim in joints if claim.decision is Decision.UNDECIDED)
    return max((bound for bound in bounds if bound is not None), default=0.0)


def risk_of(claims: Sequence[ClaimEntry]) -> float | None:
    """Return the greatest probability that any joint or part lies beyond what the grade says of it.

    Of a decided claim that is its limit, of an undecided joint the bound that the grade names. For each the
    probability follows from reading and uncertainty (JCGM 106:2012, clause 7, normal density, nothing known
    beforehand). The sum over all bounds that of any (Boole), and it needs no independence: the readings
    of one meter share its errors. ``electrics/NOTES.md`` derives it. ``None`` without a reading.
    """
    found = [claim for what in ("resistance", "component") for claim in _measured(claims, what)]
    if not found:
        return None
    shown = shown_ohm(_measured(claims, "resistance"))
    return min(1.0, math.fsum(_beyond(claim, shown) for claim in found))


def _beyond(claim: ClaimEntry, shown: float) -> float:
    """Return the probability that one claim is not true."""
    if claim.measured_ohm is None or not claim.uncertainty_ohm:
        return 0.0
    lower, upper = (
        claim.lower_limit_ohm or -math.inf,
        math.inf if claim.limit_ohm is None else claim.limit_ohm,
    )
    if claim.decision is Decision.UNDECIDED:
        if claim.kind == "component":
            # Said of it is only what was shown, y - U to y + U.
            return math.erfc(math.sqrt(2.0))
        lower, upper = -math.inf, max(upper, shown)
    return max(
        0.0, 1.0 - conformance_probability(claim.measured_ohm, claim.uncertainty_ohm / 2.0, upper, lower)
    )


def _measured(claims: Iterable[ClaimEntry], what: str) -> list[ClaimEntry]:
    return [
        claim
        for claim in claims
        if claim.kind == what
        and (claim.measured_ohm is not None or claim.open)
        and (claim.limit_ohm is not None or claim.lower_limit_ohm is not None)
    ]


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _own(number: int) -> str:
    return "its own limit" if number == 1 else "their own limits"

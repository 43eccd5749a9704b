"""The claim that a net's cavities are joined: the same of a sense input and of a meter's beep."""

from __future__ import annotations

from collections.abc import Collection

from loomproof.judgement.covered import Covered
from loomproof.loom.model import End
from loomproof.results.document import ClaimEntry
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision


def joined_claim(
    names: tuple[End, ...],
    whole: Collection[frozenset[End]],
    covered: Covered,
    *,
    under_ohm: float,
    rule: str,
    through: str = "",
) -> ClaimEntry:
    """Return what is said of cavities, in the description's order, that should be one net.

    They are joined where one of ``whole``, the sets found to be one conductor, holds them all; ``under_ohm``
    is what each path between them is shown to be under, ``through`` what else it may lead through.
    """
    ends = frozenset(names)
    joined = any(ends <= found for found in whole)
    return ClaimEntry(
        kind="continuity",
        subject=str(names[0]),
        statement=(
            f"{len(names)} cavities are joined, each by a path under {ohms(under_ohm)}{through}"
            if joined
            else f"{len(names)} cavities should be joined and are not all"
        ),
        decision=Decision.PASS if joined else Decision.FAIL,
        rule=rule,
        cavities=names,
        wires=covered.joining(ends),
        threshold_ohm=under_ohm,
    )

"""Several leaks with one plug in common, told once: a wet plug leaks between all that lie together in it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.desk import PROVE_AGAIN
from loomproof.diagnosis.words import listed
from loomproof.diagnosis.writing import Writer
from loomproof.loom.model import End
from loomproof.results.findings import Alternative, Finding

FEW = 2
"""So many leaks between neighbours of one plug are that plug; of cavities apart it takes one more."""


@dataclass(frozen=True)
class _Leak:
    """A leak, and in each plug the pairs of cavities that it could be between."""

    finding: Finding
    pairs: dict[str, list[tuple[End, End]]]


def gathered(writer: Writer, findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings, leaks with a plug in common as one: the plug that most of them share first.

    Of plugs that as many leaks share, one where they lie side by side comes first, then the smallest.
    """
    told = list(findings)
    leaks = [_leak(writer, finding) for finding in told if finding.cause == Cause.LEAK]
    while leaks:
        plugs = sorted({name for leak in leaks for name in leak.pairs}, key=lambda n: _rank(writer, n, leaks))
        if not plugs or not _is_one(writer, plugs[0], leaks):
            break
        shared = _inside(plugs[0], leaks)
        also = [name for name in plugs[1:] if all(name in leak.pairs for leak in shared)]
        at = min(told.index(leak.finding) for leak in shared)
        told[at] = _wet(writer, plugs[0], also, shared)
        gone = [leak.finding for leak in shared]
        told = [finding for finding in told if not any(finding is one for one in gone)]
        leaks = [leak for leak in leaks if leak not in shared]
    return told


def _leak(writer: Writer, finding: Finding) -> _Leak:
    groups = list(dict.fromkeys(writer.group_of.get(end, frozenset()) for end in finding.cavities))
    pairs: dict[str, list[tuple[End, End]]] = {}
    for one, other in product(*map(sorted, groups)) if len(groups) == 2 else ():
        if one.connector == other.connector:
            pairs.setdefault(one.connector, []).append((one, other))
    return _Leak(finding, pairs)


def _inside(plug: str, leaks: Iterable[_Leak]) -> list[_Leak]:
    return [leak for leak in leaks if plug in leak.pairs]


def _beside(writer: Writer, plug: str, leaks: Sequence[_Leak]) -> int:
    """Return how many of these leaks can be between cavities that lie side by side in a plug."""
    return sum(
        any(b in writer.loom.neighbours(a) for a, b in leak.pairs[plug]) for leak in _inside(plug, leaks)
    )


def _rank(writer: Writer, plug: str, leaks: Sequence[_Leak]) -> tuple[int, int, int, str]:
    size = len(writer.loom.by_name[plug].cavities)
    return -len(_inside(plug, leaks)), -_beside(writer, plug, leaks), size, plug


def _is_one(writer: Writer, plug: str, leaks: Sequence[_Leak]) -> bool:
    return _beside(writer, plug, leaks) >= FEW or len(_inside(plug, leaks)) > FEW


def _wet(writer: Writer, plug: str, also: Sequence[str], shared: Sequence[_Leak]) -> Finding:
    cavities = tuple(sorted({end for leak in shared for pair in leak.pairs[plug] for end in pair}))
    others = [
        Alternative(
            text=f"water or dirt in {name}, which these leaks have in common as well",
            cause=Cause.LEAK,
            cavities=tuple(sorted({end for leak in shared for pair in leak.pairs[name] for end in pair})),
            tell_apart=f"Unplug {plug}, dry and clean it, and measure again; then {name}.",
        )
        for name in also
    ]
    others += [
        Alternative(
            text=f"{writer.names.inside(leak.finding.title)} by itself",
            cause=leak.finding.cause,
            cavities=leak.finding.cavities,
            repair=tuple(step for step in leak.finding.repair if step != PROVE_AGAIN),
            tell_apart=f"Dry and clean {plug} and measure again: a leak that stays is not in it.",
        )
        for leak in shared
    ]
    usual = writer.names.cautions(cavities)
    cautions = dict.fromkeys(text for leak in shared for text in leak.finding.cautions if text not in usual)
    return writer.make(
        Cause.LEAK,
        cavities,
        f"Leakage among {listed(cavities)}: water or dirt in {plug}",
        [f"{plug}, all of its cavities", *(writer.names.place(end) for end in cavities)],
        [
            f"Unplug {plug}: water, salt, green contacts or carbon between them?",
            "Dry and clean it, renew green contacts and the seals, and plug spare cavities.",
            "Find where the water came in: a missing seal, a split boot, or along the wires from their other "
            "ends.",
        ],
        evidence=[shown for leak in shared for shown in leak.finding.evidence],
        alternatives=others[: writer.weights.bound_alternatives],
        cost=round(1000 * sum(leak.finding.cost or 0.0 for leak in shared)),
        cautions=cautions,
    )

"""What confirmed causes teach: the shipped order as prior, what was found as data, a changed cost as result.

The rule. A finding leaves candidates i = 1 … k (`candidates`). The shipped order gives each a share before
anything was confirmed, p(i) proportional to exp(-step x kinds of causes told before it / scale). What a shop
meets more or less often than that is a factor for each group that a candidate belongs to: its cause (with
the kind of thing it lies at) anywhere, the same in this family of looms, the same at this connector of that
family. The chance of i is p(i) x the product of its three factors, over the sum for all candidates: Luce's
choice rule. Each factor has a gamma prior of mean 1 whose shape is the concentration of its level, times the
share that its group had before in the cases in which it was a candidate.

With an exponential time for each case the posterior of each factor given the others is again a gamma
(F. Caron, A. Doucet: Efficient Bayesian inference for generalized Bradley-Terry models. Journal of
Computational and Graphical Statistics 21 (2012)), of mean

    (shape + times found) / (shape + sum over cases of the group's weight without its factor / sum of weights)

which is taken in turn until nothing changes. Where all cases have the same candidates and there is one
level, that is the predictive share of the Dirichlet-multinomial, (a p(i) + n(i)) / (a + n) (A. Gelman et
al.: Bayesian Data Analysis, 3rd ed., 3.4 and 5.3): the shipped shares count as a cases. A group that nobody
has seen keeps the factor 1, so that with few cases of a connector its family speaks, and with few of a
family all cases do.

One or two odd cases change nothing: the factor of a group stays 1 until its cause was confirmed three times
(`bound_learn_least`) at that level, if it were to rise; if it were to fall, until one cause of that level was
confirmed three times in its stead. What moves is taken in turn as above, with all other factors at 1.

What is learned changes no more than the order among explanations that readings leave equal: it is laid over
findings after the search, which knows the shipped costs alone, and it is capped besides.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from loomproof.diagnosis.candidates import Candidate
from loomproof.diagnosis.weights import Weights, weights
from loomproof.results.learned import Learned, LearnedCost

_ROUNDS = 40
"""So often the factors are gone through at most; what is left to settle then is below a cost's rounding."""

_SETTLED = 1e-4
"""A factor that changes by no more than this share has settled: far below what a cost is rounded to."""

_ONE = 1000
"""Thousandths of a broken wire in a broken wire."""


@dataclass(frozen=True, slots=True)
class Case:
    """One confirmed cause: of a finding on a loom of ``family``, ``found`` among what it could have been."""

    family: str
    found: Candidate
    among: tuple[Candidate, ...]


@dataclass(frozen=True, slots=True)
class Weighed:
    """A candidate, its share before anything was confirmed and now, and the ``costs`` that speak of it."""

    candidate: Candidate
    before: float
    now: float
    costs: tuple[LearnedCost, ...] = ()


_Group = tuple[str, str, str, str]
"""Cause, kind of thing, family and connector; "" in the last two where the group is wider."""


def _groups(candidate: Candidate, family: str) -> tuple[_Group, ...]:
    """Return what a candidate is counted under, the widest first."""
    what = (candidate.cause, candidate.at)
    wide = [(*what, "", "")]
    if family:
        wide.append((*what, family, ""))
        if candidate.connector:
            wide.append((*what, family, candidate.connector))
    return tuple(wide)


def _level(group: _Group) -> int:
    """Return how narrow a group is: 0 for all looms, 1 for a family, 2 for a connector of one."""
    return bool(group[2]) + bool(group[3])


def _concentration(group: _Group, table: Weights) -> float:
    cases = (table.bound_learn_cases_all, table.bound_learn_cases_family, table.bound_learn_cases_connector)
    return cases[_level(group)]


def shares_before(among: Sequence[Candidate], table: Weights) -> list[float]:
    """Return the share of each candidate by the shipped order, in that order; they add up to 1.

    Candidates of one kind that stand together have the same share: which end of a wire is named first says
    nothing.
    """
    step = table.bound_learn_kind / table.bound_learn_scale
    place_of: dict[tuple[str, str], int] = {}
    parts, behind = [], 0
    for candidate in among:
        behind = max(behind, place_of.setdefault((candidate.cause, candidate.at), len(place_of)))
        parts.append(math.exp(-step * behind))
    return _shares(parts)


def _shares(parts: Sequence[float]) -> list[float]:
    whole = math.fsum(parts)
    return [part / whole for part in parts]


@dataclass(slots=True)
class _Seen:
    """What was counted of one group: how often it was found, in how many cases, where it stands in them.

    ``instead`` are the groups of its level that were found in cases in which it could have been.
    """

    found: int = 0
    among: int = 0
    share: float = 0.0
    stands: list[tuple[int, int]] | None = None
    instead: Counter[_Group] = field(default_factory=Counter)

    def may_move(self, *, up: bool, least: int) -> bool:
        """Whether enough cases speak for it (``up``), or for one other in its stead."""
        return (self.found if up else max(self.instead.values(), default=0)) >= least


def learn(cases: Iterable[Case], digest: str = "", family: str | None = None) -> Learned | None:
    """Return what cases teach, ``None`` where nothing does. With ``family`` only what is about its looms.

    A case whose cause was none of its candidates says that the list was wrong, not its order: it is counted
    nowhere here.
    """
    table = weights()
    told = [case for case in cases if case.found in case.among and len(case.among) > 1]
    if not told:
        return None
    seen = _counted(told, table)
    factors = _factors(told, seen, table)
    most = table.bound_learn_most
    costs = []
    for group in sorted(seen):
        if family is not None and group[2] not in ("", family):
            continue
        change = -table.bound_learn_scale * math.log(factors[group])
        change = round(max(-most, min(most, change))) / _ONE
        cause, at, of_family, connector = group
        counted = seen[group]
        costs.append(LearnedCost(cause, at, counted.found, counted.among, change, of_family, connector))
    return Learned(len(told), digest, family or "", tuple(costs))


def _counted(cases: Sequence[Case], table: Weights) -> dict[_Group, _Seen]:
    seen: dict[_Group, _Seen] = defaultdict(_Seen)
    for number, case in enumerate(cases):
        here: dict[_Group, float] = defaultdict(float)
        shares = shares_before(case.among, table)
        for place, (candidate, share) in enumerate(zip(case.among, shares, strict=True)):
            for group in _groups(candidate, case.family):
                here[group] += share
                stands = seen[group].stands
                if stands is None:
                    stands = seen[group].stands = []
                stands.append((number, place))
        found = _groups(case.found, case.family)
        for group, share in here.items():
            seen[group].among += 1
            seen[group].share += share
            if group not in found:
                # What lies at no one connector is met at its family's level.
                seen[group].instead[found[min(_level(group), len(found) - 1)]] += 1
        for group in found:
            seen[group].found += 1
    return dict(seen)


def _factors(cases: Sequence[Case], seen: Mapping[_Group, _Seen], table: Weights) -> dict[_Group, float]:
    """Return the posterior mean of each group's factor, taken in turn until they settle."""
    parts = [shares_before(case.among, table) for case in cases]
    whole = [math.fsum(each) for each in parts]
    factors = dict.fromkeys(seen, 1.0)
    for _ in range(_ROUNDS):
        moved = 0.0
        for group, counted in seen.items():
            shape = _concentration(group, table) * counted.share / counted.among
            before = factors[group]
            stands = counted.stands or []
            expected = math.fsum(parts[number][place] / whole[number] for number, place in stands) / before
            now = (shape + counted.found) / (shape + expected)
            if not counted.may_move(up=now > 1.0, least=table.bound_learn_least):
                now = 1.0
            for number, place in stands:
                had = parts[number][place]
                parts[number][place] = had * now / before
                whole[number] += parts[number][place] - had
            factors[group] = now
            moved = max(moved, abs(now / before - 1.0))
        if moved < _SETTLED:
            break
        whole = [math.fsum(each) for each in parts]
    return factors


def weighed(among: Sequence[Candidate], learned: Learned | None, family: str) -> tuple[Weighed, ...]:
    """Return the candidates of a finding in their order, each with its share before and now."""
    table = weights()
    before = shares_before(among, table)
    known = {} if learned is None else {(c.cause, c.at, c.family, c.connector): c for c in learned.costs}
    costs = [
        tuple(known[group] for group in _groups(candidate, family) if group in known) for candidate in among
    ]
    most = table.bound_learn_most / _ONE
    scale = table.bound_learn_scale / _ONE
    changes = [max(-most, min(most, math.fsum(cost.change for cost in each))) for each in costs]
    now = _shares([share * math.exp(-change / scale) for share, change in zip(before, changes, strict=True)])
    return tuple(Weighed(*each) for each in zip(among, before, now, costs, strict=True))

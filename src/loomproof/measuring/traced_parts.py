"""What lies between the conductors of an unknown loom: parts worked out from readings, nothing driven.

Readings of several hook-ups may be laid together: what two conductors read is the same whatever else is
plugged, for it is what all parts between them, plugged or not, make of it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from loomproof.electrics.conductors import LEAST_OHM
from loomproof.electrics.graph import DisjointSets, united
from loomproof.loom.model import End

LEAST_FARAD = 10e-9
"""What is less between two conductors may be wires side by side, 50 to 150 pF a metre (common practice)."""


@dataclass(frozen=True, slots=True)
class Read:
    """One reading from a to b, Ω, V or F, and its expanded uncertainty; ``value`` ``None`` is open."""

    a: End
    b: End
    value: float | None
    u: float = 0.0


@dataclass(frozen=True, slots=True)
class TracedPart:
    """A resistive path, a capacitor (``farad``), or one that conducts from a to b only (``one_way``).

    ``u`` is the expanded uncertainty of its ohms or farads.
    """

    a: End
    b: End
    ohm: float | None = None
    one_way: bool = False
    forward_v: float | None = None
    farad: float | None = None
    u: float | None = None


Pairs = Mapping[tuple[int, int], tuple[float, float]]
"""By pair of conductors, one way: a value, and its uncertainty."""


def parts_between(
    conductors: Sequence[Sequence[End]], ohms: Iterable[Read], volts: Iterable[Read]
) -> tuple[tuple[TracedPart, ...], tuple[str, ...]]:
    """Return what joins conductors by readings of ohms both ways and forward volts, and what is asked.

    Where a pair was read several times the first counts.
    """
    heads = [net[0] for net in conductors]
    read = _by_conductor(conductors, ohms)
    forward_v = {pair: volt for pair, (volt, _) in _by_conductor(conductors, volts).items()}
    joined = {(min(i, j), max(i, j)) for (i, j), (ohm, _) in read.items() if math.isfinite(ohm)}
    parts: list[TracedPart] = []
    questions: list[str] = []
    for nodes in sorted(map(sorted, united(joined))):
        asked = [(i, j) for i, j in combinations(nodes, 2) if (i, j) in read and (j, i) in read]
        whole = len(asked) == len(nodes) * (len(nodes) - 1) // 2
        both_ways = not any(one_sided(read[i, j], read[j, i]) for i, j in asked)
        if whole and both_ways and all(math.isfinite(read[pair][0]) for pair in asked):
            parts += (
                TracedPart(heads[i], heads[j], ohm, u=u_ohm) for i, j, ohm, u_ohm in fewest(nodes, read)
            )
        else:
            found, asks = _one_by_one(nodes, asked, read, forward_v, heads)
            parts += found
            questions += asks
    questions += _either_end(parts, conductors, read)
    return tuple(parts), tuple(questions)


def _either_end(
    parts: Sequence[TracedPart], conductors: Sequence[Sequence[End]], read: Pairs
) -> Iterator[str]:
    """Ask about parts that may as well end beyond another one, which is less than the uncertainty of theirs.

    82 kΩ to one end of 12 Ω and to the other differ by 12 Ω, which a meter of ±1 % does not tell.
    """
    home = {end: k for k, net in enumerate(conductors) for end in net}
    resistors_at = [(home[p.a], home[p.b]) for p in parts if p.ohm is not None]
    beside: dict[int, set[int]] = {}
    for i, j in resistors_at:
        beside.setdefault(i, set()).add(j)
        beside.setdefault(j, set()).add(i)
    for part in parts:
        if part.ohm is None:
            continue
        for near, far in ((part.a, part.b), (part.b, part.a)):
            i, j = home[near], home[far]
            for k in sorted(beside[i] - {j}):
                here, there = read.get((i, j)), read.get((k, j))
                if here and there and abs(here[0] - there[0]) <= here[1] + there[1]:
                    yield (
                        f"{far} reads the same to {near} and to {conductors[k][0]}, within the meter's "
                        f"uncertainty: on which of the two does the part of {part.ohm:.4g} ohm end?"
                    )


def capacitors_between(conductors: Sequence[Sequence[End]], farads: Iterable[Read]) -> Iterator[TracedPart]:
    """Yield the capacitors that give these readings, each with all but the two conductors left open.

    In a row they read as resistors do with 1/F for Ω, so the same sum gives each. What reads less than
    `LEAST_FARAD` is left out before: to it the bench's own 0 V adds as much.
    """
    heads = [net[0] for net in conductors]
    read = {
        pair: (1.0 / farad, u / farad**2)
        for pair, (farad, u) in _by_conductor(conductors, farads).items()
        if farad >= LEAST_FARAD
    }
    read |= {(j, i): value for (i, j), value in read.items()}
    for nodes in sorted(map(sorted, united({(min(pair), max(pair)) for pair in read}))):
        if all(pair in read for pair in combinations(nodes, 2)):
            found = fewest(nodes, read)
        else:
            per_farad = {pair: value for pair, (value, _) in read.items()}
            found = [
                (i, j, *read[i, j])
                for i, j in combinations(nodes, 2)
                if (i, j) in read and not _through_others(nodes, per_farad, i, j)
            ]
        for i, j, elastance, u in found:
            if 1.0 / elastance >= LEAST_FARAD:
                yield TracedPart(heads[i], heads[j], farad=1.0 / elastance, u=u / elastance**2)


def _by_conductor(
    conductors: Sequence[Sequence[End]], readings: Iterable[Read]
) -> dict[tuple[int, int], tuple[float, float]]:
    home = {end: k for k, net in enumerate(conductors) for end in net}
    found: dict[tuple[int, int], tuple[float, float]] = {}
    for each in readings:
        i, j = home[each.a], home[each.b]
        if i != j:
            found.setdefault((i, j), (math.inf if each.value is None else each.value, each.u))
    return found


def _one_by_one(
    nodes: Sequence[int],
    asked: Sequence[tuple[int, int]],
    read: Pairs,
    volts: Mapping[tuple[int, int], float],
    heads: Sequence[End],
) -> tuple[list[TracedPart], list[str]]:
    """Take each pair for a part of its own, unless it conducts through others."""
    forward = {pair: ohm for pair, (ohm, _) in read.items()}
    parts: list[TracedPart] = []
    questions: list[str] = []
    for i, j in asked:
        there, back = forward[i, j], forward[j, i]
        if math.isinf(there) and math.isinf(back):
            continue
        if _through_others(nodes, forward, i, j):
            questions.append(
                f"{heads[i]} and {heads[j]} conduct, as it seems through other parts. Is that so?"
            )
        elif not one_sided(read[i, j], read[j, i]):
            ohm, u_ohm = max(read[i, j], read[j, i])
            parts.append(TracedPart(heads[i], heads[j], ohm, u=u_ohm))
        else:
            a, b = (j, i) if there > back else (i, j)
            if math.isfinite(max(there, back)):
                parts.append(TracedPart(heads[a], heads[b], forward[b, a], u=read[b, a][1]))
            volt = volts.get((a, b), math.inf)
            parts.append(TracedPart(heads[a], heads[b], None, True, volt if math.isfinite(volt) else None))
    return parts, questions


def one_sided(there: tuple[float, float], back: tuple[float, float]) -> bool:
    """Whether a path conducts one way better than the other, as a diode does; Ω and uncertainty each.

    What is fixed in a meter's error is so both ways. A diode across a coil takes little of the current where
    the coil leaves it hardly its forward voltage, and shows in a few hundredths.
    """
    low, high = sorted((there, back))
    if math.isinf(high[0]):
        return not math.isinf(low[0])
    return high[0] - low[0] > low[1] + high[1]


def _through_others(nodes: Sequence[int], forward: Mapping[tuple[int, int], float], i: int, j: int) -> bool:
    """Whether a third conductor lies on a way that conducts as this pair does, with no more ohms a leg."""

    def passes(a: int, b: int) -> bool:
        ohm = forward.get((a, b), math.inf)
        return math.isfinite(ohm) and any(
            math.isfinite(forward.get((a, k), math.inf))
            and math.isfinite(forward.get((k, b), math.inf))
            and max(forward[a, k], forward[k, b]) < ohm
            for k in nodes
            if k not in (i, j)
        )

    ways = [(a, b) for a, b in ((i, j), (j, i)) if math.isfinite(forward.get((a, b), math.inf))]
    return all(passes(a, b) for a, b in ways)


def resistors(nodes: Sequence[int], ohms: Mapping[tuple[int, int], float]) -> list[tuple[int, int, float]]:
    """Return the resistors that give these resistances between all pairs of conductors.

    There is one such network: with J = I − 1/n, its Laplacian is the pseudo-inverse of −J R J / 2, the
    inverse of the resistance distance (Klein and Randić 1993; from memory, and tested against a nodal solve).
    """
    n = len(nodes)
    matrix = np.zeros((n, n))
    for x, y in combinations(range(n), 2):
        matrix[x, y] = matrix[y, x] = (ohms[nodes[x], nodes[y]] + ohms[nodes[y], nodes[x]]) / 2
    centre = np.eye(n) - 1 / n
    laplacian = np.linalg.pinv(-0.5 * centre @ matrix @ centre)
    found = []
    for x, y in combinations(range(n), 2):
        siemens = -laplacian[x, y]
        # A part that carries less than a twentieth of what the pair conducts is within the readings' error.
        if siemens * matrix[x, y] > 0.05:
            found.append((nodes[x], nodes[y], float(1 / siemens)))
    return found


def fewest(nodes: Sequence[int], read: Pairs) -> list[tuple[int, int, float, float]]:
    """Return the fewest resistors by which all pairs read as they do, each with its uncertainty, Ω.

    `resistors` gives the one network that reads exactly so, and a reading that is off by a hundredth shows
    there as parts of their own. So the pairs that are nearest to each other are tried as a tree, and what
    `resistors` has besides is added, the strongest first, until every pair reads so within its uncertainty.
    """
    pairs = list(combinations(nodes, 2))
    # The higher of both ways: a diode across a coil that hardly shows takes some of the current one way.
    ohms = {(i, j): max(read[i, j][0], read[j, i][0], LEAST_OHM) for i, j in pairs}
    u_ohm = {(i, j): max(read[i, j][1], read[j, i][1]) for i, j in pairs}
    whole = resistors(nodes, {**ohms, **{(j, i): ohm for (i, j), ohm in ohms.items()}})
    tree = DisjointSets(nodes)
    chosen = [pair for pair in sorted(pairs, key=ohms.__getitem__) if tree.join(*pair)]
    strongest = sorted(whole, key=lambda part: part[2] / ohms[part[0], part[1]])
    more = [(i, j) for i, j, _ in strongest if (i, j) not in chosen]
    while True:
        found, fits = _fitted(nodes, chosen, ohms, u_ohm)
        if fits or not more:
            break
        chosen.append(more.pop(0))
    values = found if fits else {(i, j): ohm for i, j, ohm in whole}
    # What one reading is off by moves a part the more the less of the pair's current it carries.
    return [(i, j, ohm, u_ohm[i, j] * (ohm / ohms[i, j]) ** 2) for (i, j), ohm in sorted(values.items())]


def _fitted(
    nodes: Sequence[int],
    chosen: Sequence[tuple[int, int]],
    ohms: Mapping[tuple[int, int], float],
    u_ohm: Mapping[tuple[int, int], float],
) -> tuple[dict[tuple[int, int], float], bool]:
    """Return the ohms of resistors at these pairs that fit all readings best, and whether they all fit."""
    from scipy.optimize import least_squares

    place = {node: k for k, node in enumerate(nodes)}
    rows = np.array([[place[i], place[j]] for i, j in ohms])
    ends = np.array([[place[i], place[j]] for i, j in chosen])
    wanted = np.array(list(ohms.values()))
    within = np.maximum(np.array([u_ohm[pair] for pair in ohms]), 1e-9)

    def off(logs: np.ndarray) -> np.ndarray:
        siemens = np.exp(-logs)
        laplacian = np.zeros((len(nodes), len(nodes)))
        np.add.at(laplacian, (ends[:, 0], ends[:, 0]), siemens)
        np.add.at(laplacian, (ends[:, 1], ends[:, 1]), siemens)
        np.add.at(laplacian, (ends[:, 0], ends[:, 1]), -siemens)
        np.add.at(laplacian, (ends[:, 1], ends[:, 0]), -siemens)
        inverse = np.linalg.pinv(laplacian, rcond=1e-14, hermitian=True)
        a, b = rows.T
        return np.asarray((inverse[a, a] + inverse[b, b] - 2.0 * inverse[a, b] - wanted) / within)

    start = np.log([ohms[pair] for pair in chosen])
    found = least_squares(off, start)
    values = {pair: float(math.exp(log)) for pair, log in zip(chosen, found.x, strict=True)}
    return values, bool(np.abs(found.fun).max() <= 1.0)

"""Which part of a net with branches has too many ohms, from readings between its tested cavities.

A reading is the sum of what its current passes: contacts, joints, copper. The third cavity of a branch is the
tap: ``(R(A,B) + R(A,C) - R(B,C)) / 2`` is what lies between A and where the ways part, whatever B and C have.
Each thing that may be bad adds its ohms to the readings that pass it. What the same readings pass is one
part, which no reading takes apart; parts are weighed by Bayes' rule, each as likely as the next, of any ohms
above none.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from loomproof.locating.breaks import TOLD_SHARE
from loomproof.locating.shorts import Copper, Reading, most_deviation
from loomproof.locating.tree import Run, Tree
from loomproof.loom.model import End

SCATTER_RATIO = 0.05
"""A bad joint's ohms change from reading to reading by this relative standard deviation (assumption of this
project: between the two or three hundredths of a contact at rest and those of one that is moved)."""

SHARED_RATIO = 0.1
"""Standard uncertainty of how a bad splice shares its ohms among the ways through it, by the ohms of one:
each pair of wires may have more or less (assumption of this project)."""

STRANGE = 1e-3
"""Where every single part makes the readings stranger than this, more than one is bad."""


@dataclass(frozen=True, slots=True, order=True)
class Thing:
    """What may be bad: the contact at ``end``, the joint of ``run`` at ``end``, or ``run`` itself (no end).

    A splice as a whole has its ``end`` and ``whole``.
    """

    run: str = ""
    end: End | None = None
    whole: bool = False


@dataclass(frozen=True, slots=True)
class BadPart:
    """Things that no reading takes apart, with the ohms they have too many (standard uncertainty), ``share``.

    ``share`` is how probable it is that the fault is here.
    """

    things: tuple[Thing, ...]
    share: float
    ohm: float
    u_ohm: float


@dataclass(frozen=True, slots=True)
class JointPlace:
    """Where a net has too many ohms: parts, most probable first, together `TOLD_SHARE`; or a reason."""

    parts: tuple[BadPart, ...]
    reason: str = ""


def place_joint(tree: Tree, readings: Sequence[Reading], copper: Copper) -> JointPlace:
    """Return which part of a net has the ohms that its readings have above what is sound."""
    if len(tree.cavities) < 3:
        return JointPlace((), "between two ends no reading takes the contacts apart from what lies between")
    passed = [_passed(tree, one) for one in readings]
    parts: dict[tuple[bool, ...], list[Thing]] = {}
    for thing in dict.fromkeys(thing for own in passed for thing in own):
        parts.setdefault(tuple(thing in own for own in passed), []).append(thing)
    strays = np.array([one.ohm - _sound(copper, own) for one, own in zip(readings, passed, strict=True)])
    sound = _covariance(copper, readings, passed)
    weighed = [_weigh(np.array(seen, dtype=float), things, strays, sound) for seen, things in parts.items()]
    fits = [each for each in weighed if each[0] < most_deviation(max(len(readings) - 1, 1), STRANGE)]
    if not fits:
        return JointPlace((), "no single part of this net explains what was read: more than one is bad")
    logs = np.array([log for _, log, _, _ in weighed])
    shares = np.exp(logs - logs.max())
    shares = shares / shares.sum()
    found: list[BadPart] = []
    for k in np.argsort(-shares, kind="stable"):
        if math.fsum(part.share for part in found) >= TOLD_SHARE:
            break
        _, _, ohm, u_ohm = weighed[k]
        found.append(
            BadPart(tuple(sorted(list(parts.values())[k], key=_order)), float(shares[k]), ohm, u_ohm)
        )
    return JointPlace(tuple(found))


def _order(thing: Thing) -> tuple[bool, str, str]:
    return thing.whole, thing.run, str(thing.end or "")


def _passed(tree: Tree, one: Reading) -> frozenset[Thing]:
    """Return what the current of a reading passes."""
    way = tree.way(one.a, one.b)
    things = [Thing(end=one.a), Thing(end=one.b)]
    at = one.a
    for run in way:
        things += [Thing(run.name, run.a), Thing(run.name, run.b), Thing(run.name)]
        if at != one.a and len(tree.at[at]) > 2:
            things.append(Thing(end=at, whole=True))
        at = run.other(at)
    return frozenset(things)


def _sound(copper: Copper, passed: frozenset[Thing]) -> float:
    """Return the ohms of a sound way."""
    return math.fsum(_ohms(copper, thing)[0] for thing in passed)


def _ohms(copper: Copper, thing: Thing) -> tuple[float, float]:
    """Return what a sound thing has, Ω, and its standard uncertainty."""
    if thing.whole:
        return 0.0, 0.0
    if thing.end is None:
        ohm = copper.run_ohm[thing.run]
        return ohm, copper.own_ratio * ohm
    if thing.run:
        return copper.joint_ohm[thing.run, thing.end]
    mean_ohm, u_ohm = copper.contact_ohm[thing.end]
    return mean_ohm, math.hypot(u_ohm, copper.lead_u_ohm.get(thing.end, 0.0))


def _covariance(
    copper: Copper, readings: Sequence[Reading], passed: Sequence[frozenset[Thing]]
) -> np.ndarray:
    things = list(dict.fromkeys(thing for own in passed for thing in own))
    unsure = np.array([[_ohms(copper, thing)[1] * (thing in own) for thing in things] for own in passed])
    runs = [thing for thing in things if thing.run and thing.end is None]
    shared = copper.shared_ratio * np.array(
        [math.fsum(copper.run_ohm[thing.run] for thing in runs if thing in own) for own in passed]
    )
    own_ohm2 = np.diag([one.u_ohm**2 for one in readings])
    covariance: np.ndarray = own_ohm2 + unsure @ unsure.T + np.outer(shared, shared)
    return covariance


def _weigh(
    seen: np.ndarray, things: Sequence[Thing], strays: np.ndarray, sound: np.ndarray
) -> tuple[float, float, float, float]:
    """Return of one part: squared deviation, restricted log likelihood, ohms too many, their uncertainty."""
    ratio = SHARED_RATIO if all(thing.whole for thing in things) else SCATTER_RATIO
    covariance = sound + np.diag((ratio * float(strays.max()) * seen) ** 2)
    inverse = np.linalg.inv(covariance)
    normal = float(seen @ inverse @ seen)
    ohm = float(seen @ inverse @ strays) / normal
    left = strays - max(ohm, 0.0) * seen
    deviation = float(left @ inverse @ left)
    log = -0.5 * (float(np.linalg.slogdet(covariance)[1]) + math.log(normal) + deviation)
    return deviation, log, ohm, math.sqrt(1.0 / normal)


def branch(tree: Tree, part: BadPart) -> tuple[End, ...]:
    """Return the ends that bound a part: tested cavities, and joints at which other ways leave it."""
    return tuple(dict.fromkeys(_bounds(tree, part)))


def _bounds(tree: Tree, part: BadPart) -> Iterator[End]:
    runs: list[Run] = [run for run in tree.runs if Thing(run.name) in part.things]
    ends = [end for run in runs for end in (run.a, run.b)]
    yield from (end for end in ends if ends.count(end) == 1)
    yield from (thing.end for thing in part.things if thing.end is not None and not runs)

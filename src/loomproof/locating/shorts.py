"""Where conductors of two or more nets touch, from the ohms between their ends.

Nets that touch at one place make a star there: each reading between a tested cavity of one net and one of
another is the copper from the one to the place, that from the place to the other, the contacts at both ends,
and what the touch itself has. The touch drops out between readings from both ends, and so does an error that
all of them share; the contacts do not, and are an item of the budget.

For each place the readings are a linear function of what is not known (touch, contacts, how far the copper is
off its nominal ohms), so they are normal; the touch, of which nothing is known, is taken out by restricted
likelihood (Patterson and Thompson, Biometrika 58, 1971). Places are then weighed by Bayes' rule, each metre
of wires side by side as likely as the next. For two wires of one length it comes to
``x = L/2 + (R(A1,B1) - R(A2,B2)) / (2 (r_A + r_B))``.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby
from statistics import NormalDist

import numpy as np

from loomproof.locating.breaks import NO_FIT
from loomproof.locating.interval import Spanning, most_probable
from loomproof.locating.routes import Beside
from loomproof.locating.tree import Tree
from loomproof.loom.model import End

CONNECTOR_SHARE = 0.2
"""How probable a touch in a connector is before the readings, all of its pairs together, where both nets have
cavities in one and lie side by side elsewhere too (assumption of this project)."""


CELLS = 100
"""Places of each stretch are weighed in so many cells, and once more as many of what is left of it."""

NONE_LEFT = 1e-7
"""A cell of less probability is not looked at again."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Ohms between two tested cavities, leads taken off, with the standard uncertainty of its own."""

    a: End
    b: End
    ohm: float
    u_ohm: float


@dataclass(frozen=True, slots=True)
class Copper:
    """What conductors and contacts of the nets have: ohms of each run, joints in them, by its name.

    ``joint_ohm`` and ``contact_ohm`` hold expected value and standard uncertainty of a run's joint at one of
    its ends and of a cavity's contact; ``lead_u_ohm`` the standard uncertainty of a cavity's lead.
    ``shared_ratio`` is what the meter's gain and the temperature leave open for all copper alike,
    ``own_ratio`` what one wire may be off another; both are relative standard uncertainties.
    """

    run_ohm: Mapping[str, float]
    joint_ohm: Mapping[tuple[str, End], tuple[float, float]]
    contact_ohm: Mapping[End, tuple[float, float]]
    lead_u_ohm: Mapping[End, float] = field(default_factory=dict)
    shared_ratio: float = 0.0
    own_ratio: float = 0.0


@dataclass(frozen=True, slots=True)
class Spot:
    """Where each net is touched: a place on a run, m from its end ``a``, or an end. One for each net.

    ``slack_m`` is how far that place may be off on each run, where it is a place of a bundle.
    """

    runs: tuple[tuple[str, float], ...] = ()
    ends: tuple[End, ...] = ()
    slack_m: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Touch(Spanning):
    """One answer: in a connector between ``ends``, or side by side in ``bundle`` ("": assumed together).

    ``low_m`` and ``high_m`` are from the bundle's ``a``; ``spots`` where that is on each run, at the low and
    the high end. ``share`` is its probability.
    """

    share: float
    ends: tuple[End, ...] = ()
    bundle: str = ""
    low_m: float = 0.0
    high_m: float = 0.0
    spots: tuple[Spot, Spot] | None = None


@dataclass(frozen=True, slots=True)
class ShortPlace:
    """Where nets touch: places most probable first, together `INTERVAL_SHARE`; ``reason`` where none is.

    ``touch_ohm`` is what the touch itself has at the most probable place, None where nothing is told.
    ``plug_share`` is how probable a touch in a plug was before the readings; 0 where only plugs, or only
    wires, came into question.
    """

    touches: tuple[Touch, ...]
    reason: str = ""
    touch_ohm: float | None = None
    plug_share: float = 0.0


@dataclass(frozen=True, slots=True)
class _Cell:
    where: Spot
    prior: float
    answer: tuple[str, int]
    low_m: float = 0.0
    high_m: float = 0.0


def place_short(
    trees: Sequence[Tree],
    readings: Sequence[Reading],
    copper: Copper,
    stretches: Sequence[Beside],
    in_connector: Sequence[tuple[End, ...]] = (),
) -> ShortPlace:
    """Return where nets touch. ``stretches`` name one run of each net; ``in_connector`` one cavity of each.

    Readings within one net help: they say what its copper really has.
    """
    total_m = sum(each.high_m - each.low_m for each in stretches)
    if not total_m and not in_connector:
        return ShortPlace(
            (), "by the description these conductors lie side by side nowhere and share no plug"
        )
    if len([one for one in readings if _net(trees, one.a) != _net(trees, one.b)]) < 2:
        return ShortPlace((), "it takes readings from both ends of the conductors")
    cells, shares, weighed = _weighed(trees, readings, copper, stretches, in_connector, total_m)
    if weighed[:, 1].min() > most_deviation(max(len(readings) - 1, 1), NO_FIT):
        return ShortPlace(
            (),
            "no place where they lie side by side fits what was read: the routing or the lengths in the "
            "description are not this loom's, or they touch in two places",
        )
    left = list(_left(cells, shares, stretches))
    cells, shares, weighed = _weighed(trees, readings, copper, left, in_connector, total_m)
    return ShortPlace(
        tuple(_touches(cells, shares)),
        touch_ohm=float(weighed[np.argmax(shares), 2]),
        plug_share=CONNECTOR_SHARE if in_connector and total_m else 0.0,
    )


def _weighed(
    trees: Sequence[Tree],
    readings: Sequence[Reading],
    copper: Copper,
    stretches: Sequence[Beside],
    in_connector: Sequence[tuple[End, ...]],
    total_m: float,
) -> tuple[list[_Cell], np.ndarray, np.ndarray]:
    """Return the places, how probable each is, and what weighing it gave (`_weigh`)."""
    cells = list(_cells(trees, stretches, in_connector, total_m))
    weighed = np.concatenate(
        [
            _weigh([cell.where for cell in own], trees, readings, copper)
            for _, own in groupby(cells, key=lambda cell: cell.answer)
        ]
    )
    logs = np.log([cell.prior for cell in cells]) + weighed[:, 0]
    shares = np.exp(logs - logs.max())
    return cells, shares / shares.sum(), weighed


def _left(cells: Sequence[_Cell], shares: np.ndarray, stretches: Sequence[Beside]) -> Iterator[Beside]:
    """Yield what is left of each stretch: from its first cell that counts to its last, with the next ones."""
    for k, each in enumerate(stretches):
        own = [n for n, cell in enumerate(cells) if not cell.where.ends and cell.answer[1] == k]
        counting = [n for n in own if shares[n] > NONE_LEFT]
        if counting:
            low, high = (min(max(n, own[0]), own[-1]) for n in (counting[0] - 1, counting[-1] + 1))
            yield replace(each, low_m=cells[low].low_m, high_m=cells[high].high_m)


def _net(trees: Sequence[Tree], end: End) -> int:
    return next(k for k, tree in enumerate(trees) if end in tree.at or end in tree.cavities)


def _cells(
    trees: Sequence[Tree],
    stretches: Sequence[Beside],
    in_connector: Sequence[tuple[End, ...]],
    total_m: float,
) -> Iterator[_Cell]:
    """Yield every place with its prior probability; a cell's own width is part of its slack."""
    both = bool(in_connector) and total_m > 0.0
    for k, ends in enumerate(in_connector):
        prior = (CONNECTOR_SHARE if both else 1.0) / len(in_connector)
        yield _Cell(Spot(ends=ends), prior, ("connector", k))
    for k, each in enumerate(stretches):
        length_m = each.high_m - each.low_m
        names = [next(run.name for run in tree.runs if run.name in each.legs) for tree in trees]
        legs = [each.legs[name] for name in names]
        width_m = length_m / CELLS
        prior = (1.0 - CONNECTOR_SHARE if both else 1.0) * width_m / total_m
        for n in range(CELLS):
            low_m = each.low_m + n * width_m
            where = Spot(
                tuple(
                    (name, leg.along_wire(low_m + width_m / 2)) for name, leg in zip(names, legs, strict=True)
                ),
                slack_m=tuple(math.hypot(leg.slack_m, width_m / 2) for leg in legs),
            )
            yield _Cell(where, prior, (each.bundle, k), low_m, low_m + width_m)


def _weigh(
    places: Sequence[Spot], trees: Sequence[Tree], readings: Sequence[Reading], copper: Copper
) -> np.ndarray:
    """Return a row for each place: restricted log likelihood, squared deviation, ohms of the touch.

    The places lie one after the other, equally far apart, on the same runs: ohms and copper grow evenly from
    the first to the last, so only these two are worked out way by way.
    """
    first, last = ([_Way(where, trees, one, copper) for one in readings] for where in (places[0], places[-1]))
    along = np.linspace(0.0, 1.0, len(places))[:, None, None]
    own, own_last = (_columns([way.runs for way in ways]) for ways in (first, last))
    ohm, ohm_last = (np.array([[way.ohm] for way in ways]) for ways in (first, last))
    runs = own + along * (own_last - own)
    strays = np.array([[one.ohm] for one in readings]) - (ohm + along * (ohm_last - ohm))
    unsure = _columns([way.unsure for way in first])
    covariance = np.diag([one.u_ohm**2 for one in readings]) + unsure @ unsure.T
    shared = copper.shared_ratio * runs.sum(axis=2, keepdims=True)
    covariance = covariance + copper.own_ratio**2 * runs @ _turned(runs) + shared @ _turned(shared)
    # What the touch has is not known: a column for each net that a reading crosses, as far as they differ.
    crossed = _columns([dict.fromkeys(way.crossed, 1.0) for way in first])
    basis, sizes, _ = np.linalg.svd(crossed, full_matrices=False)
    design = basis[:, sizes > 1e-9]
    inverse = np.linalg.inv(covariance)
    normal = design.T @ inverse @ design
    fitted = design @ np.linalg.solve(normal, design.T @ inverse @ strays)
    left = strays - fitted
    deviation = (_turned(left) @ inverse @ left)[:, 0, 0]
    log = -0.5 * (np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1] + deviation)
    greatest = np.abs(fitted).argmax(axis=1)
    touch = np.take_along_axis(fitted, greatest[:, None], axis=1)[:, 0, 0]
    return np.column_stack([log, deviation, touch if len(trees) == 2 else np.full(len(places), math.nan)])


def _turned(matrices: np.ndarray) -> np.ndarray:
    return np.swapaxes(matrices, 1, 2)


def _columns(rows: Sequence[Mapping[Hashable, float]]) -> np.ndarray:
    """Return one row for each mapping, one column for each of all their keys."""
    keys = list(dict.fromkeys(key for row in rows for key in row))
    return np.array([[row.get(key, 0.0) for key in keys] for row in rows]).reshape(len(rows), len(keys))


class _Way:
    """The way of one reading's current: its ohms, the copper of each run, what else is unsure, nets crossed.

    ``unsure`` has a standard uncertainty, Ω, with its sign, for each joint, contact and slack.
    """

    def __init__(self, where: Spot, trees: Sequence[Tree], one: Reading, copper: Copper) -> None:
        self.copper = copper
        self.runs: dict[Hashable, float] = {}
        self.unsure: dict[Hashable, float] = {}
        self.ohm = 0.0
        nets = [_net(trees, end) for end in (one.a, one.b)]
        self.crossed: frozenset[Hashable] = frozenset(nets) if nets[0] != nets[1] else frozenset()
        for end in (one.a, one.b):
            self._joint(("contact", end), copper.contact_ohm[end])
            self.unsure["lead", end] = copper.lead_u_ohm.get(end, 0.0)
        if not self.crossed:
            self._whole(trees[nets[0]], one.a, one.b)
        else:
            for end, net in zip((one.a, one.b), nets, strict=True):
                self._to(trees[net], end, where, net)

    def _joint(self, name: Hashable, ohm: tuple[float, float]) -> None:
        self.ohm += ohm[0]
        self.unsure[name] = ohm[1]

    def _copper(self, name: str, share: float) -> None:
        self.runs[name] = self.runs.get(name, 0.0) + share * self.copper.run_ohm[name]
        self.ohm += share * self.copper.run_ohm[name]

    def _whole(self, tree: Tree, start: End, goal: End) -> None:
        for run in tree.way(start, goal):
            self._copper(run.name, 1.0)
            for end in (run.a, run.b):
                self._joint((run.name, end), self.copper.joint_ohm[run.name, end])

    def _to(self, tree: Tree, start: End, where: Spot, net: int) -> None:
        """Go from a cavity to where its net is touched."""
        if where.ends:
            self._whole(tree, start, where.ends[net])
            return
        name, place_m = where.runs[net]
        run = next(each for each in tree.runs if each.name == name)
        from_a = start in tree.sides(run)[0]
        near = run.a if from_a else run.b
        self._whole(tree, start, near)
        self._joint((name, near), self.copper.joint_ohm[name, near])
        self._copper(name, (place_m if from_a else run.length_m - place_m) / run.length_m)
        # Anything within the slack is as likely (JCGM 100:2008, 4.3.7), to one end or the other.
        slack_ohm = where.slack_m[net] / math.sqrt(3.0) * self.copper.run_ohm[name] / run.length_m
        self.unsure["slack", name] = slack_ohm if from_a else -slack_ohm


def most_deviation(freedom: int, share: float) -> float:
    """Return the squared deviation that this share of so many readings exceed.

    By the cube root of Wilson and Hilferty (1931), within 1 % here.
    """
    z = -NormalDist().inv_cdf(share)
    ninth = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - ninth + z * math.sqrt(ninth)) ** 3)


def _touches(cells: Sequence[_Cell], shares: np.ndarray) -> Iterator[Touch]:
    """Yield connectors and parts of stretches until together they hold `INTERVAL_SHARE`."""
    chosen = most_probable(shares)
    found = []
    for start in sorted(chosen):
        cell = cells[start]
        if cell.where.ends:
            found.append(Touch(float(shares[start]), cell.where.ends))
        elif start - 1 not in chosen or cells[start - 1].answer != cell.answer:
            stop = start
            while stop + 1 in chosen and cells[stop + 1].answer == cell.answer:
                stop += 1
            share = float(shares[start : stop + 1].sum())
            ends = (cell.where, cells[stop].where)
            found.append(Touch(share, (), cell.answer[0], cell.low_m, cells[stop].high_m, ends))
    yield from sorted(found, key=lambda touch: -touch.share)

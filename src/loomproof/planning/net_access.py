"""What one hook-up sees of the expectation: nets in points, what components couple, what has no point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from loomproof.bench.seam import Capabilities, points_of
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.graph import DisjointSets, reached
from loomproof.loom.model import End
from loomproof.planning.test_vectors import Group, all_points


@dataclass(frozen=True)
class Scope:
    """The nets that have points, as groups; ``net_of_group`` leads back to the expectation's indexes.

    ``reach`` says by group which others may pull it low through components. ``untested`` are cavities
    without a point. ``point_of`` and ``untested`` are in the description's order.
    """

    groups: tuple[Group, ...]
    net_of_group: tuple[int, ...]
    reach: tuple[frozenset[int], ...]
    point_of: Mapping[End, int]
    end_of: Mapping[int, End]
    untested: tuple[End, ...]

    @cached_property
    def group_of(self) -> Mapping[End, int]:
        """The group of each cavity that has a point."""
        return {end: k for k, group in enumerate(self.groups) for end in self.ends(group.points)}

    @cached_property
    def place_of(self) -> Mapping[End, int]:
        """Where each cavity that has a point comes in the description: what to sort cavities by."""
        return {end: place for place, end in enumerate(self.point_of)}

    @cached_property
    def bundle_of(self) -> tuple[int, ...]:
        """The bundle of each group: groups that components couple, one way or both, are in one."""
        groups = range(len(self.groups))
        bundles = DisjointSets(groups, ((i, *others) for i, others in enumerate(self.reach)))
        return tuple(bundles.root(k) for k in groups)

    @cached_property
    def behind(self) -> tuple[int, ...]:
        """For each group the points that pull up together with it: its own, and those of its bundle.

        What parts couple, either way, shares its pull-ups: all of them are behind a path to one of them.
        """
        points: dict[int, int] = {}
        for k, group in zip(self.bundle_of, self.groups, strict=True):
            points[k] = points.get(k, 0) + group.size
        return tuple(points[k] for k in self.bundle_of)

    def none_under_ohm(self, group: int, able: Capabilities) -> float | None:
        """Return below what a sense proves that no path leads from a group to another bundle, Ω.

        Points behind one path share it: the threshold for one point is divided by those of the smaller side,
        the largest other bundle being the other one, and a driver's own ohms count for those of both.
        ``None``: there is no other bundle.
        """
        others = [points for bundle, points in self._largest if bundle != self.bundle_of[group]]
        return able.surely_apart_ohm(self.behind[group], others[0]) if others else None

    def least_apart_ohm(self, able: Capabilities) -> float | None:
        """Return the least that `none_under_ohm` gives for a group, Ω; ``None``: there is one bundle only."""
        found = [self.none_under_ohm(k, able) for k in range(len(self.groups))]
        return min((ohm for ohm in found if ohm is not None), default=None)

    def not_surely_sensed(self, able: Capabilities) -> tuple[int, int | None] | None:
        """Return what this bench cannot surely sense for all the ohms of its drivers, ``None`` for nothing.

        A group whose points need not read low though they are joined, or two groups that need not read low
        though metal joins them (of the largest bundles: others are surer).
        """
        if able.sense_ohm is None or not able.driver_ohm:
            return None
        heads = {bundle: k for k, bundle in reversed(list(enumerate(self.bundle_of)))}
        for bundle, points in self._largest[:1]:
            if points > 1 and not able.surely_low_ohm(points):
                return heads[bundle], None
        if len(self._largest) == 2:
            (one, m), (other, n) = self._largest
            if not able.surely_apart_ohm(m, n):
                return heads[one], heads[other]
        return None

    @cached_property
    def _largest(self) -> list[tuple[int, int]]:
        """The two bundles of the most points, with how many."""
        points = dict(zip(self.bundle_of, self.behind, strict=True))
        return sorted(points.items(), key=lambda item: -item[1])[:2]

    def bit(self, end: End) -> int:
        """Return the one-point set of a cavity."""
        return 1 << (self.point_of[end] - 1)

    def ends(self, points: int) -> frozenset[End]:
        """Return the cavities of a point set."""
        if (known := self._ends_of_group.get(points)) is not None:
            return known
        return self._ends_of(points)

    def _ends_of(self, points: int) -> frozenset[End]:
        return frozenset(self.end_of[point] for point in points_of(points))

    @cached_property
    def _ends_of_group(self) -> Mapping[int, frozenset[End]]:
        """The cavities of each group, by its points: what is asked for over and over."""
        return {group.points: self._ends_of(group.points) for group in self.groups}

    @property
    def points(self) -> int:
        """All points in scope, as a set."""
        return all_points(self.groups)


def scope_of(expectation: Expectation, point_of: Mapping[End, int], clear_ohm: float | None = None) -> Scope:
    """Return what a hook-up sees.

    ``clear_ohm`` is the bench's threshold above which a path surely reads high; components well above it
    couple nothing.
    """
    cavities = expectation.loom.cavities
    groups: list[Group] = []
    net_of_group: list[int] = []
    for net in expectation.nets:
        points = 0
        head = 0
        for cavity in net.cavities:
            point = point_of.get(cavity)
            if point is not None:
                points |= 1 << (point - 1)
                head = head or 1 << (point - 1)
        if points:
            groups.append(Group(points, head))
            net_of_group.append(net.index)
    return Scope(
        tuple(groups),
        tuple(net_of_group),
        _reach(expectation, net_of_group, clear_ohm),
        {end: point_of[end] for end in cavities if end in point_of},
        {point: end for end, point in point_of.items() if end in expectation.net_of},
        tuple(end for end in cavities if end not in point_of),
    )


def _reach(
    expectation: Expectation, net_of_group: Sequence[int], clear_ohm: float | None
) -> tuple[frozenset[int], ...]:
    """Follow components from net to net; current flows from a point's pull-up to the driven point."""
    pulled_by: dict[int, set[int]] = {}
    for coupling in expectation.couplings:
        if clear_ohm is not None and coupling.lo_ohm > 10 * clear_ohm:
            continue
        pulled_by.setdefault(coupling.net_a, set()).add(coupling.net_b)
        if not coupling.one_way:
            pulled_by.setdefault(coupling.net_b, set()).add(coupling.net_a)
    group_of_net = {net: group for group, net in enumerate(net_of_group)}
    found = []
    for net in net_of_group:
        coupled = reached([net], lambda net: pulled_by.get(net, ()))[1:]
        found.append(frozenset(group_of_net[other] for other in coupled if other in group_of_net))
    return tuple(found)

"""Which wires a claim covers: those whose open would make it untrue, and whose own isolation it speaks of."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from functools import cached_property

from loomproof.electrics.expectation import Expectation
from loomproof.electrics.undetectable_opens import Web
from loomproof.loom.model import End
from loomproof.planning.plan import Plan


class Covered:
    """The wires behind the claims of one plan, by their names in the wire list and in its order."""

    def __init__(self, expectation: Expectation, plan: Plan) -> None:
        self._expectation = expectation
        self._scope = plan.scope
        self._hidden = frozenset(plan.hidden)

    @cached_property
    def _web(self) -> Web:
        return Web(self._expectation)

    def seen(self, wires: Iterable[str]) -> tuple[str, ...]:
        """Return those of a reading's wires whose open this bench is sure to show."""
        return tuple(name for name in wires if name not in self._hidden)

    def joining(self, ends: Collection[End]) -> tuple[str, ...]:
        """Return the wires without any one of which these cavities of one net would not hang together."""
        return self._web.joining(ends)

    def leading_to(self, component: str, a: End, b: End) -> tuple[str, ...]:
        """Return the wires that alone lead from these two cavities to a part read between them."""
        web = Web(self._expectation, without=component)
        net_of = self._expectation.net_of
        found: list[str] = []
        for coupling in self._expectation.all_couplings:
            if coupling.component != component:
                continue
            first, second = (coupling.a, coupling.b)
            if net_of[first] != net_of[a]:
                first, second = second, first
            for pair in ((a, first), (b, second)):
                if net_of[pair[0]] == net_of[pair[1]]:
                    found += web.joining(frozenset(pair))
        return tuple(dict.fromkeys(found))

    def apart(self, ends: Iterable[End]) -> tuple[str, ...]:
        """Return the wires of these cavities' nets of whose whole length it is shown that it touches nothing.

        The far half of a wire that leads to no tested cavity would not be looked at if the wire were open,
        and no reading would show that it is.
        """
        return tuple(name for name in self._web.wires(ends) if name not in self._hidden or self._held(name))

    def _held(self, name: str) -> bool:
        """Whether both ends of a wire hang together with a tested cavity of their net without it."""
        wire = self._expectation.loom.wire_by_name[name]
        net = self._expectation.nets[self._expectation.net_of[wire.a]]
        tested = next(end for end in net.cavities if end in self._scope.point_of)
        return all(name not in self._web.joining((tested, end)) for end in wire.ends)

    @property
    def all_apart(self) -> tuple[str, ...]:
        """The same of every net that has a point."""
        return self.apart(self._scope.point_of)

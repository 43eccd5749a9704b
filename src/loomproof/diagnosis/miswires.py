"""Wires in wrong places as findings: contacts, whole plugs, joints along the way, the adapter."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.desk import Desk
from loomproof.diagnosis.faults import Fault
from loomproof.diagnosis.mending import kept_together, rejoined
from loomproof.diagnosis.supplies import swapped_supplies
from loomproof.diagnosis.words import at_ends, listed
from loomproof.loom.model import End
from loomproof.results.findings import Alternative, Finding

MISCOUNTED = {
    Cause.MIRRORED: "pinned as seen from the wrong face",
    Cause.ROTATED: "pinned from the wrong corner",
    Cause.SHIFTED: "pinned a cavity or more off",
}
"""Slips of one whole housing, and how such a housing comes about: a keyed plug cannot be turned."""

_MISWRITTEN = {
    Cause.MIRRORED: "was written from the wrong face of",
    Cause.ROTATED: "was begun at the wrong corner of",
    Cause.SHIFTED: "is a cavity or more off at",
}
"""The same slips of whoever wrote the description or the adapter's table."""


class Miswires(Desk):
    """Writes wires that are in wrong places."""

    def _crossed(self, fault: Fault) -> Finding:
        ends = self._ends(fault.leaves)
        wires = self._wires_at(ends)
        others = (*self._turned(ends), *self._rejoined(ends), *self._leads(ends)) if len(ends) == 2 else ()
        what = self.names.wires(wires, most=4) or "Contacts"
        return self._made(
            fault,
            ends,
            f"{what} crossed {at_ends(ends)}",
            [self.names.place(end) for end in ends[:12]],
            [
                f"Compare the colours behind {listed(dict.fromkeys(end.connector for end in ends))} with the "
                "description.",
                self._seated(ends),
            ],
            wires=wires,
            alternatives=others,
            cautions=self._swapped(ends),
        )

    def _seated(self, ends: Sequence[End]) -> str:
        """Return the step that puts crossed contacts right."""
        return f"Release the contacts with the right tool and seat each where it belongs: {listed(ends)}."

    def _swapped(self, ends: Sequence[End]) -> tuple[str, ...]:
        nets = dict.fromkeys(self.wiring.net_of[self.wiring.leaf_of[end]] for end in ends)
        return swapped_supplies(
            self.loom, [self.conductor(self.wiring.nets[net].leaves).wires for net in nets]
        )

    def _moved(self, fault: Fault) -> Finding:
        ends = self._ends(fault.leaves)
        spare = next(end for end in ends if not self.loom.wires_at.get(end))
        home = next(end for end in ends if end != spare)
        wires = self._wires_at((home,))
        return self._made(
            fault,
            (home, spare),
            f"{self.names.wires(wires)} in {spare} instead of {home}",
            [self.names.place(spare), self.names.place(home)],
            [f"Release the contact from {spare} and seat it in {home}; plug the spare cavity's seal."],
            wires=wires,
            alternatives=self._leads(ends),
            cautions=self._swapped((home,)),
        )

    def _turned(self, ends: tuple[End, ...]) -> tuple[Alternative, ...]:
        """Return the housing pinned from its wrong face, where that crosses these two contacts alone."""
        plug = self.loom.by_name[ends[0].connector]
        order = plug.cavities
        if len(order) not in (2, 3) or set(ends) != {End(plug.name, order[0]), End(plug.name, order[-1])}:
            return ()
        return (
            Alternative(
                text=f"{plug.name} was pinned as seen from its wrong face (last for first), or its lead on "
                "the adapter was",
                cause=Cause.MIRRORED,
                cavities=ends,
                repair=(self._recount(plug.name, Cause.MIRRORED),),
                tell_apart=f"Find the mark of cavity {order[0]} on the housing of {plug.name}: which colour "
                "sits behind it?",
            ),
        )

    def _rejoined(self, ends: Sequence[End]) -> tuple[Alternative, ...]:
        """Return two wires cut and joined again crossed, where each of two cavities holds one wire."""
        runs = [self.loom.wires_at.get(end, ()) for end in ends]
        if len(runs) != 2 or any(len(wires) != 1 for wires in runs) or runs[0] == runs[1]:
            return ()
        wires = [runs[0][0], runs[1][0]]
        shared = [bundle for bundle in wires[0].bundles if bundle in wires[1].bundles]
        where = f", in bundle {' '.join(shared)}" if shared else ""
        named = self.names.wires(wire.name for wire in wires)
        mend = [step for wire in wires for step in rejoined(self.names, [wire], ())[:1]]
        return (
            Alternative(
                text=f"{named} were cut and joined again crossed on the way{where}",
                cause=Cause.CROSSED_JOINT,
                cavities=tuple(ends),
                wires=tuple(wire.name for wire in wires),
                repair=tuple(
                    dict.fromkeys(
                        (
                            f"Open the wrap where {named} were mended, and join each to its own colour.",
                            *mend,
                            *kept_together(self.names, wires),
                        )
                    )
                ),
                tell_apart=f"Compare the colours of {named} at both of their ends with the description: "
                "right at both ends means a crossed joint between, or the adapter's leads.",
            ),
        )

    def _leads(self, ends: tuple[End, ...]) -> tuple[Alternative, ...]:
        """Return the adapter's two leads crossed, which reads as two contacts crossed does."""
        points = [self.point_of[end] for end in ends if end in self.point_of]
        named = f" (points {listed(points)})" if len(points) == len(ends) else ""
        return (
            Alternative(
                text=f"the adapter's leads for {listed(ends)}{named} are crossed, not the loom",
                cause=Cause.ADAPTER,
                cavities=ends,
                repair=(f"Put the adapter's leads for {listed(ends)} right.",),
                tell_apart=f"Take {ends[0].connector} off the adapter and touch the adapter's lead for "
                f"{ends[0]} with the probe: is it named right?",
            ),
        )

    def _on_wrong_points(self, fault: Fault) -> Finding:
        ends = self._ends(fault.leaves)
        return self._made(
            fault,
            ends,
            f"Adapter on the wrong points of the scanner: {fault.detail}",
            ["the adapter's plugs, where they go into the scanner"],
            ["Put the adapter's plugs where its table says, the right way round; mark them."],
            alternatives=(
                Alternative(
                    text=f"the contacts of {listed(ends)} are crossed one by one in the loom",
                    cause=Cause.CROSSED,
                    cavities=ends,
                    wires=self._wires_at(ends),
                    tell_apart=f"Take the loom off and touch the adapter's lead for {ends[0]} with the "
                    "probe: is it named right?",
                ),
            ),
        )

    def _exchanged(self, fault: Fault) -> Finding:
        ends = self._ends(fault.leaves)
        wires = self._wires_at(ends)
        plugs = listed(fault.connectors)
        apart = self._apart(ends)
        return self._made(
            fault,
            ends,
            f"{plugs} exchanged",
            [
                self.names.place(next(end for end in ends if end.connector == plug))
                for plug in fault.connectors
            ],
            [
                *self._unlike(fault.connectors),
                f"If {plugs} were taken for each other, exchange them on the bench; mark them so that they "
                "cannot be mistaken in the car.",
            ],
            wires=wires,
            alternatives=(
                *self._rejoined(apart),
                self._adapter_for(plugs, Cause.EXCHANGED, ends),
                self._one_by_one(plugs, ends, wires),
            ),
            cautions=self._swapped(self._apart(ends)),
        )

    def _unlike(self, plugs: Sequence[str]) -> list[str]:
        """Return the first step where housings unlike each other seem exchanged: the adapter's own plugs."""
        one, other = (self.loom.by_name[name] for name in plugs)
        if (one.housing, one.kind, one.rows) == (other.housing, other.kind, other.rows):
            return []
        return [
            f"The housings of {listed(plugs)} are not described alike: compare the adapter's plugs and "
            "labels for them first."
        ]

    def _apart(self, ends: Sequence[End]) -> list[End]:
        """Return the cavities that do not read as they should."""
        return [end for end in ends if self.group_of.get(end) != self.net_of.get(end)]

    def _miscounted(self, fault: Fault) -> Finding:
        ends = self._ends(fault.leaves)
        wires = self._wires_at(ends)
        (plug,) = fault.connectors
        how = f"{fault.cause} ({fault.detail})" if fault.detail else fault.cause
        return self._made(
            fault,
            ends,
            f"{plug} {how}: {MISCOUNTED[fault.cause]}",
            [self.names.place(ends[0])],
            [
                f"Find the cavity marks on the housing of {plug} and compare the colour behind each with the "
                "description.",
                self._recount(plug, fault.cause),
                "Where the colours are right, the description or the adapter's table "
                f"{_MISWRITTEN[fault.cause]} {plug}: put that right.",
            ],
            wires=wires,
            alternatives=(self._adapter_for(plug, how, ends), self._one_by_one(plug, ends, wires)),
            cautions=self._swapped(ends),
        )

    def _recount(self, plug: str, cause: Cause) -> str:
        face = ", not by a drawing of its other face" if cause is Cause.MIRRORED else ""
        return (
            f"Release the contacts of {plug} with the right tool and seat each by the marks on the housing"
            f"{face}; a keyed plug cannot be turned instead."
        )

    def _adapter_for(self, plugs: str, how: str, ends: tuple[End, ...]) -> Alternative:
        return Alternative(
            text=f"the adapter's leads for {plugs} are {how}, not the loom",
            cause=Cause.ADAPTER,
            cavities=ends,
            repair=(f"Put the adapter's leads for {plugs} right.",),
            tell_apart=f"Take {plugs} off the adapter and touch the adapter's lead for {ends[0]} with the "
            "probe: is it named right?",
        )

    def _one_by_one(self, plugs: str, ends: tuple[End, ...], wires: tuple[str, ...]) -> Alternative:
        return Alternative(
            text=f"the contacts of {plugs} are crossed one by one in the housing",
            cause=Cause.CROSSED,
            cavities=ends,
            wires=wires,
            repair=(self._seated(ends),),
            tell_apart=f"Compare wire colours behind {plugs} with the description.",
        )

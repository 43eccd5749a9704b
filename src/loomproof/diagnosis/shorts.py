"""Shorts as findings: which conductors, and where they could touch."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.desk import SHORTED_OHM, Desk
from loomproof.diagnosis.faults import Fault
from loomproof.diagnosis.found import read_ends
from loomproof.diagnosis.left_in import found_in, joining
from loomproof.diagnosis.mending import new_part, right_value, taken_out
from loomproof.diagnosis.nearer import weighed
from loomproof.diagnosis.supplies import joined_supplies
from loomproof.diagnosis.touch import Conductor, Touch, nearest
from loomproof.diagnosis.words import listed, of_reading
from loomproof.loom.model import Component, End
from loomproof.results.findings import Alternative, Evidence, Finding
from loomproof.results.measured import Decision, Judged

_MEND = "Straighten or renew the contact; sleeve or renew chafed wire; clean and dry a wet housing."


class Shorts(Desk):
    """Writes shorts."""

    def _short(self, fault: Fault) -> Finding:
        at = {end: i for i, piece in enumerate(fault.pieces) for end in self._nodes(piece)}
        senses = not self.measured.resistance_readings
        left = joining(self.loom, at.get, range(len(fault.pieces)), coils=senses) if fault.pieces else ()
        plain = self._touching(fault)
        if left:
            return found_in(self, left, plain)
        pairs = combinations(range(len(fault.pieces)), 2) if len(fault.pieces) > 2 else ()
        some = {part.name for pair in pairs for part in joining(self.loom, at.get, pair, coils=senses)}
        if not some:
            return plain
        look = f"Look whether {listed(sorted(some), 3)} is in, and pull it: it joins two of these conductors."
        return replace(plain, repair=(look, *plain.repair))

    def _touching(self, fault: Fault) -> Finding:
        low = self._low_part(fault) if len(fault.pieces) == 2 else None
        if low is not None:
            part, judged = low
            right = right_value(part, judged.expected_ohm)
            return self.make(
                Cause.WRONG_VALUE,
                (judged.a, judged.b),
                f"{part.kind.capitalize()} {part.name} reads too low: {right} is right",
                [self.names.place(end) for end in part.ends],
                [f"{taken_out(part)} and meter it on its own; fit {new_part(part)}."],
                components=(part.name,),
                evidence=[of_reading(judged)],
                alternatives=[
                    Alternative(
                        text=f"{part.name} is right, and another path lies beside it",
                        cause=Cause.TOUCHING,
                        cavities=(judged.a, judged.b),
                        tell_apart=f"{taken_out(part)} and read again: a path that stays is the other.",
                    )
                ],
                cost=self.weights.short,
            )
        conductors = [self._with_stub(self.conductor(piece)) for piece in fault.pieces]
        pairs = nearest(self.loom, conductors, self.weights)
        touching = [touch for _, _, near in pairs for touch in near]
        across = [path for path in self.measured.paths if self._across(path.a, path.b, fault.pieces)]
        likely = touching
        if len(conductors) == 2:
            places_told = weighed(
                self.loom, (conductors[0], conductors[1]), touching, across, self.measured.judged
            )
            touching = [each.touch for each in places_told]
            likely = [each.touch for each in places_told if not each.ruled_out]
        best = next((touch.ends for touch in likely if touch.ends), ())
        firsts = tuple(conductor.leaves[0] for conductor in conductors)
        cavities = tuple(dict.fromkeys((*best, *firsts))) if len(conductors) > 2 or not best else best
        wires = tuple(dict.fromkeys(wire.name for c in conductors for wire in c.wires))
        at = best if best and len(conductors) == 2 else firsts
        title = f"Short between {self._with_wires(at, wires)}"
        measured = [
            Evidence(f"{path.a} to {path.b}", path.ohm, path.uncertainty_ohm)
            for path in sorted(across, key=lambda path: path.ohm)[:2]
        ]
        where, what = self._where(conductors, touching, best)
        held = {end for part in self.loom.components for end in part.ends}
        spare = next((c.leaves[0] for c in conductors if not (c.wires or held & c.ends)), None)
        by_place: list[Alternative] = []
        if len(conductors) == 2 and all(c.wires for c in conductors):
            at_ends = _at_ends(likely)
            against = _at_ends([touch for touch in touching if touch not in likely])
            by_place = self._by_place(conductors, at_ends, against, what)
            if len(at_ends) == 1:
                by_place = [place for place in by_place if place.cavities != best]
            elif any(touch.ends for touch in touching):
                title = self._somewhere(conductors, at_ends)
                cavities = tuple(end for ends in at_ends for end in ends) or firsts
                where = "along the wires first, where they are clipped, bent or pass an edge"
                if at_ends:
                    looks = [listed(ends) for ends in at_ends]
                    where = (
                        f"at {looks[0]} first, then at {', then at '.join(looks[1:])}, then along the wires"
                    )
        housings = listed(dict.fromkeys(end.connector for end in firsts))
        # Where several places are told, whatever they show of a wire too many must be heard.
        told = {end.connector for ends in (cavities, *(one.cavities for one in by_place)) for end in ends}
        several = len(told) > 1 and len(conductors) == 2
        added = tuple(end for c in conductors for end in c.leaves) if several else firsts
        or_others = " or other ends of these conductors" if several and set(added) != set(firsts) else ""
        if several and spare is None:
            housings = listed(dict.fromkeys(end.connector for end in added))
        if spare is None:
            places = [*self._trunk(conductors, touching), *(touch.text for touch in touching)]
            repair = [
                f"Look {where}: {what}?",
                "Where plugs within the loom join up these conductors, undo them one at a time, proving "
                "between: the short stays on the side that holds it.",
                _MEND,
            ]
            other = Alternative(
                text=f"a wire was added between {listed(firsts)}{or_others}",
                cause=Cause.ADDED_WIRE,
                cavities=added,
                tell_apart=f"Count the wires in {housings}: one too many is an added wire.",
                repair=("Take the added wire out, or put it into the description.",),
            )
        else:
            places = [self.names.place(spare), *(touch.text for touch in touching)]
            repair = [
                f"Look into the back of {spare.connector}: does a wire sit in {spare}, where none belongs?",
                f"Follow it to where it was joined and take it out; seal the joint, and plug {spare}. "
                "Or put it into the description.",
                f"Where {spare} holds no wire: {what}?",
            ]
            other = Alternative(
                text=f"{self.names.inside(title)}: {what}",
                cause=Cause.TOUCHING,
                cavities=cavities,
                wires=wires,
                tell_apart=f"Look into the back of {spare.connector}: an empty {spare} holds no added wire.",
                repair=(f"Look {where}: {what}?", _MEND),
            )
            joined = [end for end in at if end != spare]
            cavities = tuple(dict.fromkeys((spare, *cavities)))
            title = f"Wire added in spare cavity {spare}, joined to {self._with_wires(joined, wires)}"
        alternatives = [*by_place, other, *self._shorted_parts(fault), self._leads_touch(at)]
        if self.measured.sense_vectors and not self.measured.resistance_readings:
            alternatives.append(self._resistive(firsts))
        return self._made(
            fault,
            cavities,
            title,
            places[:12],
            repair,
            wires=wires,
            evidence=measured,
            alternatives=tuple(alternatives),
            cause=None if spare is None else Cause.ADDED_WIRE,
            cautions=joined_supplies(self.loom, [conductor.wires for conductor in conductors]),
        )

    def _with_stub(self, conductor: Conductor) -> Conductor:
        """Return a cavity that was found alone with its wires: of each a piece may hang on it yet."""
        if conductor.wires:
            return conductor
        stubs = dict.fromkeys(wire for end in conductor.leaves for wire in self.loom.wires_at.get(end, ()))
        return replace(conductor, wires=tuple(stubs))

    def _leads_touch(self, ends: Sequence[End]) -> Alternative:
        """Return the adapter's own leads touching, which reads as a short of the loom does."""
        return Alternative(
            text=f"leads of the adapter touch, those for {listed(ends)} or others of these conductors, "
            "not the loom",
            cause=Cause.ADAPTER_SHORT,
            cavities=tuple(ends),
            repair=(f"Part the adapter's leads for {listed(ends)}.",),
            # The whole loom: with one plug off, a short of its own still reads through the others.
            tell_apart="Take the whole loom off the adapter and prove again, or self-test the bench with "
            "nothing plugged: a short that stays is the adapter's.",
        )

    def _shorted_parts(self, fault: Fault) -> list[Alternative]:
        """Return the parts that lie between the conductors found joined: one may have gone short itself."""
        at = {end: i for i, piece in enumerate(fault.pieces) for end in self._nodes(piece)}
        lying = [
            part
            for part in self.loom.components
            if part.fitted and len({at[end] for end in read_ends(part) if end in at}) > 1
        ]
        return [
            Alternative(
                text=f"{part.kind} {part.name}, which lies between them, has gone short",
                cause=Cause.SHORTED_PART,
                cavities=tuple(end for end in part.ends if end.cavity),
                repair=(f"Fit {new_part(part)}.",),
                tell_apart=f"{taken_out(part)} and prove again: a short that stays is not in it.",
                components=(part.name,),
            )
            for part in lying
        ]

    def _somewhere(self, conductors: Sequence[Conductor], at_ends: Sequence[tuple[End, ...]]) -> str:
        """Return the heading of a short that readings put at none of these places alone."""
        if not at_ends:
            return f"Short between {self._both(conductors, ())}, along them and not at their ends"
        homes = ", at ".join(_home(ends) for ends in at_ends)
        return f"Short between {self._both(conductors, at_ends)}: at {homes} or along them"

    def _both(self, conductors: Sequence[Conductor], at_ends: Iterable[Iterable[End]]) -> str:
        """Return the wires of two conductors by name, where known only those at these ends."""
        here = {end for ends in at_ends for end in ends}
        sides = []
        for c in conductors:
            meant = [wire.name for wire in c.wires if here.intersection(wire.ends)]
            sides.append(self.names.wires(meant or [wire.name for wire in c.wires], 3))
        return f"{sides[0]} and {sides[1]}"

    def _by_place(
        self,
        conductors: Sequence[Conductor],
        at_ends: Sequence[tuple[End, ...]],
        against: Sequence[tuple[End, ...]],
        what: str,
    ) -> list[Alternative]:
        """Return each place as an explanation of its own, so that a look can clear it or find it.

        Those of ``against``, which the readings speak against, come last.
        """
        wires = self._both(conductors, (*at_ends, *against))
        named = tuple(wire.name for c in conductors for wire in c.wires)
        trunk = self._shared(conductors)
        along = f", in bundle {' '.join(trunk)}" if trunk else ""

        def here(ends: tuple[End, ...], but: str = "") -> Alternative:
            return Alternative(
                text=f"{wires} touch at {_home(ends)}, at {listed(ends)}{but}",
                cause=Cause.TOUCHING,
                cavities=ends,
                repair=(f"Look at {listed(ends)}: {what}?", _MEND),
                tell_apart=f"Look into {_home(ends)}, at {listed(ends)}.",
            )

        on_the_way = Alternative(
            text=f"{wires} touch on the way{along}, or where the description does not bring them together",
            cause=Cause.TOUCHING,
            wires=named,
            repair=(
                f"Look along {wires}{along}: insulation chafed, cut or melted, by a clip, an edge or "
                "something hot?",
                _MEND,
            ),
            tell_apart="Bend them along their length while proving: a short that comes and goes is where "
            "they were bent.",
        )
        return [
            *(here(ends) for ends in at_ends),
            on_the_way,
            *(here(ends, ", though the readings speak against it") for ends in against),
        ]

    def _with_wires(self, ends: Sequence[End], wires: Sequence[str]) -> str:
        return listed(self._with_wire(end, wires) for end in ends)

    def _where(
        self, conductors: Sequence[Conductor], touching: Sequence[Touch], best: Sequence[End]
    ) -> tuple[str, str]:
        """Return where to look first for a short and for what: a bent pin only between neighbours."""
        together = len(conductors) == 2 and len(best) == 2 and best[1] in self.loom.neighbours(best[0])
        if together:
            return (
                f"at {listed(best)} first",
                "a bent pin, a stray strand, a crushed housing, chafed insulation",
            )
        chafed = "insulation chafed, cut or melted, by a clip, an edge or something hot"
        trunk = self._shared(conductors)
        if trunk:
            return (
                f"along bundle {' '.join(trunk)} first, where it is clipped, bent or passes an edge",
                chafed,
            )
        if len(conductors) == 2 and best:
            return f"into {best[0].connector} first", f"water, a stray strand, a crushed housing, or {chafed}"
        there = "there first" if touching else "where they come near"
        return there, f"a stray strand, a crushed housing, {chafed}"

    def _shared(self, conductors: Sequence[Conductor]) -> tuple[str, ...]:
        """Return the bundles that every one of these conductors runs through, in the order of the first."""
        runs = [dict.fromkeys(b for wire in c.wires for b in wire.bundles) for c in conductors]
        return tuple(bundle for bundle in runs[0] if all(bundle in other for other in runs[1:]))

    def _trunk(self, conductors: Sequence[Conductor], touching: Sequence[Touch]) -> list[str]:
        """Return the bundle that more than two conductors share, to look there before any pair of them."""
        trunk = self._shared(conductors)
        if len(conductors) < 3 or not trunk:
            return []
        named = [next((w for w in c.wires if trunk[0] in w.bundles), None) for c in conductors]
        wires = self.names.wires(wire.name for wire in named if wire is not None)
        return [f"in bundle {' '.join(trunk)}, where {wires} lie together"]

    def _resistive(self, firsts: tuple[End, ...]) -> Alternative:
        """What a bench without ohms can't tell from a short."""
        return Alternative(
            text=f"moisture, carbon or a part makes a resistive path between {listed(firsts)}",
            cause=Cause.LEAK,
            cavities=firsts,
            tell_apart=f"Read from {firsts[0]} to {firsts[1]} with an ohmmeter: this bench can't say "
            "how many ohms the path has.",
        )

    def _low_part(self, fault: Fault) -> tuple[Component, Judged] | None:
        """Return a part between two joined conductors that reads low, but not as a short does."""
        across = [path.ohm for path in self.measured.paths if self._across(path.a, path.b, fault.pieces)]
        if min(across, default=SHORTED_OHM) < SHORTED_OHM:
            return None  # elsewhere they are joined better than through the part
        nodes = {piece: set(self._nodes(piece)) for piece in fault.pieces}
        for judged in self.measured.judged:
            part = self.loom.component_by_name.get(judged.component)
            if part is None or judged.decision is not Decision.FAIL:
                continue
            if not SHORTED_OHM <= judged.measured_ohm < judged.lower_ohm:
                continue
            # Of a relay that its coil is read between them: where its contacts are says nothing.
            sides = {piece for piece, own in nodes.items() for end in read_ends(part) if end in own}
            if len(sides) == 2:
                return part, judged
        return None

    def _nodes(self, piece: tuple[int, ...]) -> frozenset[End]:
        return self.conductor(piece).ends

    def _across(self, a: End, b: End, pieces: Sequence[Sequence[int]]) -> bool:
        leaf_of = self.wiring.leaf_of
        sides = [i for i, piece in enumerate(pieces) for end in (a, b) if leaf_of.get(end) in piece]
        return len(set(sides)) == 2


def _at_ends(likely: Sequence[Touch]) -> list[tuple[End, ...]]:
    """Return where the ends of two conductors lie nearest: one pair for each housing, in this order."""
    least = min((touch.cost for touch in likely if touch.ends), default=0)
    homes: dict[str, tuple[End, ...]] = {}
    for touch in likely:
        if touch.ends and touch.cost == least:
            homes.setdefault(_home(touch.ends), touch.ends)
    return list(homes.values())


def _home(ends: Sequence[End]) -> str:
    return ends[0].connector

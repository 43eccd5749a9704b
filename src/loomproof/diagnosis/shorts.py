"""Shorts as findings: which conductors, and where they could touch."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.diagnosis.desk import SHORTED_OHM, Desk
from loomproof.diagnosis.faults import Fault
from loomproof.diagnosis.touch import nearest
from loomproof.diagnosis.words import listed, of_reading
from loomproof.loom.model import Component, End
from loomproof.results.figures import ohms
from loomproof.results.findings import Alternative, Evidence, Finding
from loomproof.results.measured import Decision, Judged


class Shorts(Desk):
    """Writes shorts."""

    def _short(self, fault: Fault) -> Finding:
        low = self._low_part(fault) if len(fault.pieces) == 2 else None
        if low is not None:
            part, judged = low
            return self.make(
                "wrong_value",
                (judged.a, judged.b),
                f"{part.kind.capitalize()} {part.name} reads too low: {ohms(judged.expected_ohm)} is right",
                [self.names.place(end) for end in part.ends],
                [f"Take {part.name} out and meter it on its own; fit one of {ohms(judged.expected_ohm)}."],
                components=(part.name,),
                evidence=[of_reading(judged)],
                alternatives=[
                    Alternative(
                        text=f"{part.name} is right, and another path lies beside it",
                        cause="touching",
                        cavities=(judged.a, judged.b),
                        tell_apart=f"Take {part.name} out and read again: a path that stays is the other.",
                    )
                ],
                cost=self.weights.short,
            )
        conductors = [self.conductor(piece) for piece in fault.pieces]
        pairs = nearest(self.loom, conductors, self.weights)
        places = [touch.text for _, _, near in pairs for touch in near]
        best = next((touch.ends for _, _, near in pairs for touch in near if touch.ends), ())
        firsts = tuple(conductor.leaves[0] for conductor in conductors)
        cavities = tuple(dict.fromkeys((*best, *firsts))) if len(conductors) > 2 or not best else best
        wires = tuple(dict.fromkeys(wire.name for c in conductors for wire in c.wires))
        at = best if best and len(conductors) == 2 else firsts
        title = f"Short between {listed(self._with_wire(end, wires) for end in at)}"
        across = [path for path in self.measured.paths if self._across(path.a, path.b, fault.pieces)]
        measured = [
            Evidence(f"{path.a} to {path.b}", path.ohm, path.uncertainty_ohm)
            for path in sorted(across, key=lambda path: path.ohm)[:2]
        ]
        where = f"at {listed(best)} first" if best else "there first" if places else "where they come near"
        repair = [
            f"Look {where}: a bent pin, a stray strand, a crushed housing, chafed insulation?",
            "Unplug connectors on these conductors one at a time, proving between: "
            "the short goes with the part that holds it.",
            "Straighten or renew the contact; sleeve or renew chafed wire; clean and dry a wet housing.",
        ]
        alternatives: tuple[Alternative, ...] = (
            Alternative(
                text=f"a wire was added between {listed(firsts)}",
                cause="added_wire",
                cavities=firsts,
                tell_apart=f"Count the wires in {listed(dict.fromkeys(e.connector for e in firsts))}: "
                "one too many is an added wire.",
                repair=("Take the added wire out, or put it into the description.",),
            ),
        )
        if self.measured.sense_vectors and not self.measured.resistance_readings:
            alternatives += (self._resistive(firsts),)
        return self._made(
            fault,
            cavities,
            title,
            places[:12],
            repair,
            wires=wires,
            evidence=measured,
            alternatives=alternatives,
        )

    def _resistive(self, firsts: tuple[End, ...]) -> Alternative:
        """What a bench without ohms can't tell from a short."""
        return Alternative(
            text=f"moisture, carbon or a part makes a resistive path between {listed(firsts)}",
            cause="leak",
            cavities=firsts,
            tell_apart=f"Read from {firsts[0]} to {firsts[1]} with an ohmmeter: this bench senses and "
            "can't say how many ohms the path has.",
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
            sides = {piece for piece, own in nodes.items() for end in part.ends if end in own}
            if len(sides) == 2:
                return part, judged
        return None

    def _nodes(self, piece: tuple[int, ...]) -> frozenset[End]:
        return self.conductor(piece).ends

    def _across(self, a: End, b: End, pieces: Sequence[Sequence[int]]) -> bool:
        leaf_of = self.wiring.leaf_of
        sides = [i for i, piece in enumerate(pieces) for end in (a, b) if leaf_of.get(end) in piece]
        return len(set(sides)) == 2

"""Names, places and figures in the words of findings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from loomproof.loom import colours
from loomproof.loom.model import ConnectorKind, End, Hazard, Loom, Wire
from loomproof.results.figures import ohms
from loomproof.results.findings import Evidence
from loomproof.results.measured import Judged


def listed(items: Iterable[object], most: int = 8) -> str:
    """Return ``a, b and c``; beyond ``most`` the rest is counted."""
    names = [str(item) for item in items]
    if len(names) > most:
        names = [*names[: most - 1], f"{len(names) - most + 1} more"]
    if len(names) < 2:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]


def of_reading(judged: Judged) -> Evidence:
    """Return a judged reading as evidence; its figures stand in the fields, not in the text."""
    what = f"{judged.component}, " if judged.component else ""
    is_open = math.isinf(judged.measured_ohm)
    bounds = f", lower limit {ohms(judged.lower_ohm)}" if judged.lower_ohm else ""
    return Evidence(
        f"{what}{judged.a} to {judged.b}{' is open' if is_open else ''}{bounds}",
        None if is_open else judged.measured_ohm,
        None if is_open else judged.uncertainty_ohm,
        judged.expected_ohm,
        judged.limit_ohm,
    )


def at_ends(ends: Sequence[End]) -> str:
    """Return where contacts are crossed: ``at THR:3 and THR:4``, ``among`` more than two."""
    return f"{'at' if len(ends) == 2 else 'among'} {listed(ends)}"


def or_at(ends: Sequence[End]) -> str:
    """Return what a title adds for another place that fits as well: ``, or at THR:3 and THR:4``."""
    return f", or {at_ends(ends)}"


def is_place_of(text: str, end: End) -> bool:
    """Whether `Names.place` wrote this text of this end."""
    return text == str(end) or text.startswith((f"{end}, ", f"{end} ("))


class Names:
    """What the things of one loom are called."""

    def __init__(self, loom: Loom) -> None:
        self.loom = loom

    def wire(self, name: str) -> str:
        """Return a wire with its colour: ``W12 (blue/white)``."""
        known = self.loom.wire_by_name.get(name)
        name = f"wire {name}" if name[:1].isdigit() else name
        return f"{name} ({colours.name_of(known.colour)})" if known and known.colour else name

    def wires(self, names: Iterable[str], most: int = 6) -> str:
        """Return several wires with their colours."""
        return listed((self.wire(name) for name in names), most)

    def inside(self, title: str) -> str:
        """Return a title as it stands inside a sentence: a plain first word loses its capital."""
        first = title.partition(" ")[0]
        known = first in self.loom.by_name or first in self.loom.wire_by_name
        return title if known or not first[1:].islower() else title[0].lower() + title[1:]

    def place(self, end: End) -> str:
        """Return where a cavity is: ``ECU:12, row 1 place 12, seen from the mating face``."""
        connector = self.loom.by_name.get(end.connector)
        if connector is None:
            return str(end)
        said = connector.location or connector.description
        where = f", {said}" if said else ""
        if connector.kind is ConnectorKind.SPLICE:
            return f"splice {end}{where}"
        if len(connector.cavities) < 2:
            return f"{end} ({connector.kind}){where}"
        for number, row in enumerate(connector.rows, start=1):
            if end.cavity in row:
                place = row.index(end.cavity) + 1
                return f"{end}, row {number} place {place}, seen from the mating face{where}"
        return f"{end}{where}"

    def run(self, wire: Wire) -> str:
        """Return where a wire runs: ``along W12 (blue) from ECU:12 to S1, in bundle front``."""
        bundle = f", in bundle {wire.bundle}" if wire.bundle else ""
        return f"along {self.wire(wire.name)} from {wire.a} to {wire.b}{bundle}"

    def section(self, wire: Wire) -> str:
        """Return what to mend a wire with: ``0.5 mm² blue/white wire``."""
        colour = f"{colours.name_of(wire.colour)} " if wire.colour else ""
        if wire.csa_mm2:
            return f"{wire.csa_mm2:g} mm² {colour}wire"
        return f"{colour}wire of the same section as the wire there"

    def cautions(self, ends: Sequence[End]) -> tuple[str, ...]:
        """Return the cautions for work at these places."""
        found = [
            "Battery off and control units unplugged before a connector is opened or a wire is mended. "
            "Local rules and the vehicle maker's repair instructions come first."
        ]
        hazards = {
            self.loom.by_name[end.connector].hazard for end in ends if end.connector in self.loom.by_name
        }
        if Hazard.PYROTECHNIC in hazards:
            found.append(
                "Airbag or belt-tensioner circuit: licensed people only, never on the bench, never metered."
            )
        if Hazard.ELECTRONICS in hazards:
            found.append("Electronics are in place here: no test current into them.")
        return tuple(found)

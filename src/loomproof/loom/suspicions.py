"""What is legal in a description and yet makes a careful reader ask: the warnings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

from loomproof.errors import Problem
from loomproof.loom.checking import Places, near_miss, rating_a
from loomproof.loom.designations import DESIGNATIONS, is_known
from loomproof.loom.model import Circuit, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.loom.pyrotechnic_names import suggests_pyrotechnics
from loomproof.loom.text import first_of, quoted

FUSE_OF_CSA: tuple[tuple[float, float], ...] = (
    (0.22, 2),
    (0.35, 5),
    (0.5, 7.5),
    (0.75, 10),
    (1.0, 15),
    (1.5, 20),
    (2.5, 30),
    (4.0, 40),
    (6.0, 60),
    (10.0, 80),
    (16.0, 100),
)
"""Section in mm² and the largest fuse in A that guards it: common practice, no source."""


def warnings(loom: Loom, places: Places | None = None) -> list[Problem]:
    """Return what is suspicious about a loom without errors, table by table."""
    places = places or Places()
    return [
        *_nothing_joined(loom, places),
        *_left_out(loom),
        *_look_alikes(loom, places),
        *_pyrotechnics(loom, places),
        *_hazards(loom, places),
        *_empty_cavities(loom, places),
        *_colours(loom, places),
        *_thin_wires(loom, places),
        *_long_wires(loom, places),
        *_bundles(loom, places),
        *_relays(loom, places),
        *_capacitors(loom, places),
        *_circuits(loom, places),
    ]


def _nothing_joined(loom: Loom, places: Places) -> Iterator[Problem]:
    if not loom.wires and not loom.components:
        message = "no wire is listed: every cavity should stand alone"
        yield places.warning("wires", None, "", message, "Is that so, or is the table still to be filled in?")


def _left_out(loom: Loom) -> Iterator[Problem]:
    if loom.left_out:
        few = first_of(loom.left_out, 6)
        message = f"the file that it was imported from holds what this loom leaves out: {few}"
        cure = "Look for it in the loom; add it to the tables, and strike it from left_out in loom.toml."
        yield Problem(message, cure=cure, severity="warning")


def _look_alikes(loom: Loom, places: Places) -> Iterator[Problem]:
    alike: dict[tuple[str, ConnectorKind, tuple[tuple[str, ...], ...]], list[int]] = {}
    for i, connector in enumerate(loom.connectors):
        if connector.housing and connector.kind in (ConnectorKind.PLUG, ConnectorKind.SOCKET):
            alike.setdefault((connector.housing, connector.kind, connector.rows), []).append(i)
    for (housing, _, _), found in alike.items():
        if len(found) > 1:
            names = first_of([loom.connectors[i].name for i in found], 6)
            message = f"{names} look alike (housing {housing}) and can be exchanged"
            yield places.warning(
                "connectors", found[0], "housing", message, "Label them before they come off."
            )


def _hazards(loom: Loom, places: Places) -> Iterator[Problem]:
    unknown = [
        c.name for c in loom.connectors if c.hazard is Hazard.UNKNOWN and c.kind is not ConnectorKind.SPLICE
    ]
    if unknown:
        message = f"no answer on hazard for {first_of(unknown, 6)}"
        cure = "A real bench wants one for each connector: none, pyrotechnic or electronics in place."
        yield places.warning("connectors", None, "hazard", message, cure)


def _pyrotechnics(loom: Loom, places: Places) -> Iterator[Problem]:
    """Tell connectors of which nobody said what is at them, and whose names or wires' notes suggest it."""
    for i, connector in enumerate(loom.connectors):
        if connector.hazard is not Hazard.UNKNOWN or connector.kind is ConnectorKind.SPLICE:
            continue
        wires = [wire for end in connector.ends for wire in loom.wires_at.get(end, ())]
        notes = [text for wire in wires for text in (wire.note, wire.circuit)]
        word = suggests_pyrotechnics(connector.name, connector.description, *notes)
        if word:
            message = f"{connector.name}: {word!r} suggests an airbag or a belt tensioner"
            cure = "Keep it off the bench, look what it is, and say it in the column hazard."
            yield places.warning("connectors", i, "hazard", message, cure)


def _empty_cavities(loom: Loom, places: Places) -> Iterator[Problem]:
    used = set(loom.wires_at) | {end for part in loom.components for end in part.ends}
    for i, connector in enumerate(loom.connectors):
        empty = [
            end.cavity
            for end in connector.ends
            if end not in used and not (end in loom.facts_by_end and loom.facts_by_end[end].spare)
        ]
        if empty and connector.kind is ConnectorKind.SPLICE:
            yield places.warning("connectors", i, "connector", f"the splice {connector.name} joins nothing")
        elif empty:
            message = f"no wire in {connector.name} {first_of(empty, 10)}"
            cure = "Mark what is meant to be empty as spare in the cavity table."
            yield places.warning("connectors", i, "cavities", message, cure)
    row_of = {wire.name: i for i, wire in enumerate(loom.wires)}
    for splice in loom.splices:
        if len(loom.wires_at.get(splice, ())) == 1:
            wire = loom.wires_at[splice][0].name
            message = f"only one wire ({wire}) ends at the splice {splice}"
            yield places.warning("wires", row_of[wire], "to_connector", message)


def _colours(loom: Loom, places: Places) -> Iterator[Problem]:
    for i, connector in enumerate(loom.connectors):
        if connector.kind is ConnectorKind.SPLICE or len(connector.cavities) < 2:
            continue
        cavities: dict[str, list[str]] = {}
        for end in connector.ends:
            for colour in dict.fromkeys(w.colour for w in loom.wires_at.get(end, ()) if w.colour):
                cavities.setdefault(colour, []).append(end.cavity)
        twice = [f"{colour} ({', '.join(names)})" for colour, names in cavities.items() if len(names) > 1]
        if twice:
            message = f"{connector.name} has a colour more than once: {first_of(twice, 8)}"
            cure = "Wires of one colour are told apart by their cavity only."
            yield places.warning("connectors", i, "connector", message, cure)


def largest_fuse_a(csa_mm2: float) -> float:
    """Return the largest fuse in A that commonly guards a wire of this section (linear between sizes)."""
    low_csa, low_a = 0.0, 0.0
    for csa, fuse in FUSE_OF_CSA:
        if csa_mm2 < csa:
            return low_a + (fuse - low_a) * (csa_mm2 - low_csa) / (csa - low_csa)
        low_csa, low_a = csa, fuse
    return low_a * csa_mm2 / low_csa


def fuse_rating_a(loom: Loom, circuit: Circuit) -> float | None:
    """Return the rating in A of a circuit's fuse, in the loom or outside it; `None` where it is not known."""
    part = loom.component_by_name.get(circuit.fuse)
    return part.rating_a if part else rating_a(circuit.fuse)


def _thin_wires(loom: Loom, places: Places) -> Iterator[Problem]:
    ratings = {circuit.name: fuse_rating_a(loom, circuit) for circuit in loom.circuits}
    for i, wire in enumerate(loom.wires):
        rating = ratings.get(wire.circuit)
        # Sizes are rounded when they are named (14/0.30 is 0.99 mm²), so 3 % is no difference.
        if rating and wire.csa_mm2 and rating > largest_fuse_a(wire.csa_mm2 * 1.03):
            fuse = loom.circuit_by_name[wire.circuit].fuse
            message = (
                f"wire {wire.name} of {wire.csa_mm2:.3g} mm² is thin for its fuse {fuse} ({rating:g} A); "
                f"common practice is at most {largest_fuse_a(wire.csa_mm2 * 1.03):.3g} A"
            )
            yield places.warning("wires", i, "section" if wire.section else "csa_mm2", message)


LONG_M = 100.0
"""No loom that lies on a bench has a longer wire; common practice, no source."""


def _long_wires(loom: Loom, places: Places) -> Iterator[Problem]:
    for i, wire in enumerate(loom.wires):
        if wire.length_m is not None and wire.length_m > LONG_M:
            message = f"wire {wire.name} is {wire.length_m:g} m long"
            yield places.warning(
                "wires", i, "length_m", message, "Lengths are in metres; is this one in millimetres?"
            )


MUCH_LONGER = 1.25
"""A wire whose bundles together are longer than itself by more does not run through all of them."""


def _bundles(loom: Loom, places: Places) -> Iterator[Problem]:
    known = loom.bundle_by_name
    for i, wire in enumerate(loom.wires if known else ()):
        strange = [name for name in wire.bundles if name not in known]
        if strange:
            near = near_miss(strange[0], known)
            message = (
                f"wire {wire.name} runs through {first_of(strange, 6)}, which the table of bundles lacks"
            )
            yield places.warning("wires", i, "bundle", message, f"There is {quoted(near)}." if near else "")
            continue
        through = [known[name] for name in wire.bundles]
        for one, other in pairwise(through):
            if all((*one.places, *other.places)) and not set(one.places) & set(other.places):
                message = f"wire {wire.name} runs from bundle {one.name} into {other.name}, which do not meet"
                yield places.warning("wires", i, "bundle", message, "Is one left out, or the order another?")
        lengths = [bundle.length_m for bundle in through if bundle.length_m is not None]
        if wire.length_m is not None and sum(lengths) > wire.length_m * MUCH_LONGER:
            message = (
                f"wire {wire.name} is {wire.length_m:g} m long and its bundles together {sum(lengths):g} m"
            )
            yield places.warning("wires", i, "length_m", message)


MUCH_F = 0.1
"""More has no capacitor that is built into a loom; common practice, no source."""


def _relays(loom: Loom, places: Places) -> Iterator[Problem]:
    for i, part in enumerate(loom.components):
        names = {name for name, _ in part.terminals}
        if part.form.more and not {*part.form.terminals} <= names:
            message = f"{part.kind} {part.name}: its pins do not say which are its coil"
            cure = "Name the coil 85 and 86, the contact 30, 87 and 87a."
            yield places.warning("components", i, "terminals", message, cure)


def _capacitors(loom: Loom, places: Places) -> Iterator[Problem]:
    for i, part in enumerate(loom.components):
        if part.capacitance_f is not None and part.capacitance_f >= MUCH_F:
            message = f"component {part.name} has {part.capacitance_f:g} F"
            cure = "The column is farads: nanofarads and microfarads are written 100 nF, 470 µF."
            yield places.warning("components", i, "capacitance_f", message, cure)


def _circuits(loom: Loom, places: Places) -> Iterator[Problem]:
    wires: dict[str, list[Wire]] = {}
    for wire in loom.wires:
        wires.setdefault(wire.circuit, []).append(wire)
    parts = {part.circuit for part in loom.components}
    for i, circuit in enumerate(loom.circuits):
        own = wires.get(circuit.name, [])
        if not own and circuit.name not in parts:
            yield places.warning("circuits", i, "circuit", f"circuit {circuit.name} has no wires")
        dead = _dead_end(loom, own)
        if dead:
            message = f"circuit {circuit.name} has one end: what starts at {dead} leads nowhere"
            yield places.warning("circuits", i, "circuit", message)
        if circuit.designation and not is_known(circuit.designation):
            message = f"circuit {circuit.name}: {circuit.designation!r} is no terminal number of DIN 72552"
            cure = f"Known are {', '.join(list(DESIGNATIONS)[:6])} and others."
            yield places.warning("circuits", i, "designation", message, cure)


def _dead_end(loom: Loom, wires: list[Wire]) -> End | None:
    """Return the only cavity of a circuit whose wires reach one, `None` for any other circuit."""
    ends = Counter(end for wire in wires for end in wire.ends)
    cavities = [end for end in ends if not loom.is_splice(end)]
    if len(cavities) != 1:
        return None
    beyond = [end for end in ends if loom.is_splice(end) and len(loom.wires_at[end]) > ends[end]]
    parts = any(end in ends for part in loom.components for end in part.ends)
    return None if beyond or parts else cavities[0]

"""Electrical parts in the loom (fuses, relays and others) and connectors that are mated with each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lxml import etree

from loomproof.loom.component_kinds import FORMS
from loomproof.loom.kbl.boxes import MATED
from loomproof.loom.kbl.document import kind_of
from loomproof.loom.kbl.naming import Names
from loomproof.loom.kbl.parts import kind_in
from loomproof.loom.model import Component, ComponentKind, End
from loomproof.loom.vec.document import EE_ROLES, VecDocument
from loomproof.loom.vec.held import Places

_KINDS = {
    "FuseSpecification": ComponentKind.FUSE,
    "RelaySpecification": ComponentKind.RELAY,
    "DiodeSpecification": ComponentKind.DIODE,
    "CapacitorSpecification": ComponentKind.CAPACITOR,
}


def read_parts(
    document: VecDocument,
    components: list[etree._Element],
    places: Places,
    couplings: Iterable[etree._Element],
    side: frozenset[str],
) -> list[Component]:
    """Return the electrical parts, and a link for each pair of cavities that are mated.

    A part's leg that is mated with a cavity of the loom sits on that cavity; a housing all of whose cavities
    are mated so is the part's own and no connector of the loom. Fuses and relays are pulled while a loom is
    proved. ``couplings`` are the coupling points that are there, ``side`` the parts that a side table has;
    what cannot be placed is told.
    """
    names = Names()
    mates = list(_mates(document, places, couplings))
    partner = {a: b for pair in mates for a, b in (pair, pair[::-1])}
    found: list[Component] = []
    own: set[str] = set()
    for component in components:
        for role in component.iterfind("Role"):
            if kind_of(role) in EE_ROLES:
                part = _part(document, component, role, places, partner, names, side)
                own |= _housings(role, places)
                if part is not None:
                    found.append(part)
    lone = {name for name in own if all(end in partner for end in places.connectors[name].ends)}
    for name in lone:
        del places.connectors[name]
    for a, b in mates:
        if not {a.connector, b.connector} & own:
            link = names.give(f"{b} on {a}")
            ends = (("1", a), ("2", b))
            found.append(Component(link, ComponentKind.LINK, ends, note=MATED, pullable=True))
    for a, b in places.bridges:
        name = names.give(f"{a} to {b}")
        found.append(Component(name, ComponentKind.LINK, (("1", a), ("2", b)), note="one terminal in both"))
    return found


def _housings(role: etree._Element, places: Places) -> set[str]:
    return {
        places.cavities[cavity.get("id", "")].connector
        for cavity in role.iter("CavityReference")
        if cavity.get("id", "") in places.cavities
    } | {
        places.terminals[pin.get("id", "")].connector
        for pin in role.iter("TerminalRole")
        if pin.get("id", "") in places.terminals
    }


def _mates(
    document: VecDocument, places: Places, couplings: Iterable[etree._Element]
) -> Iterator[tuple[End, End]]:
    """Yield the pairs of cavities, or of a cavity and a terminal, that the couplings join."""
    seen: set[frozenset[End]] = set()
    at = places.terminals | places.cavities
    at |= {
        terminal: end
        for point in document.root.iter("ContactPoint")
        for terminal in (point.findtext("MountedTerminal") or "").split()
        for key in (one for mounting in point.iterfind("CavityMounting") for one in _keys(mounting))
        if (end := places.cavities.get(key)) is not None
    }
    for coupling in couplings:
        pairs: list[tuple[End | None, End | None]] = [
            (at.get((one.findtext(first) or "").strip()), at.get((one.findtext(second) or "").strip()))
            for tag, first, second in (
                ("MatingPoint", "FirstTerminalRole", "SecondTerminalRole"),
                ("CavityCoupling", "FirstCavity", "SecondCavity"),
            )
            for one in coupling.iter(tag)
        ]
        for slots in coupling.iterfind("SlotCoupling"):
            if slots.find("CavityCoupling") is None:
                pairs += _facing(document, slots, places)
        if not pairs and coupling.find("SlotCoupling") is None:
            document.warn(
                f"coupling {document.called(coupling)} says that two connectors are mated and not which "
                "cavities face each other; it is left out",
                coupling,
            )
        for a, b in pairs:
            if a is None or b is None:
                document.warn("a coupling names a terminal that lies in no cavity of the loom", coupling)
            elif a != b and frozenset((a, b)) not in seen:
                seen.add(frozenset((a, b)))
                yield a, b


def _keys(mounting: etree._Element) -> list[str]:
    return (mounting.findtext("EquippedCavityRef") or "").split()


def _facing(
    document: VecDocument, slots: etree._Element, places: Places
) -> list[tuple[End | None, End | None]]:
    """Return the cavities of two slots that face each other: those of one number."""
    here, there = (
        places.slots.get((slots.findtext(tag) or "").strip(), {}) for tag in ("FirstSlot", "SecondSlot")
    )
    if len(here) == len(there) == 1:
        return [(next(iter(here.values())), next(iter(there.values())))]
    if not here or not there:
        document.warn("a coupling names a slot that no connector of the loom has", slots)
        return []
    if here.keys() == there.keys():
        return [(here[number], there[number]) for number in here]
    document.warn("two mated slots have different cavities and are not joined", slots)
    return []


def _part(
    document: VecDocument,
    component: etree._Element,
    role: etree._Element,
    places: Places,
    partner: dict[End, End],
    names: Names,
    side: frozenset[str],
) -> Component | None:
    name = names.give(document.called(component) or component.get("id", "part"))
    specification = document.ref(role, "EEComponentSpecification")
    part = document.part(component)
    about = ", ".join(filter(None, (document.said(component), document.said(part))))
    kind = _KINDS.get(kind_of(specification)) if specification is not None else None
    kind = kind or kind_in(about)
    coil = _coil(document, specification) if kind is ComponentKind.RELAY else {}
    said = _legs(document, role, places)
    if not {*FORMS[ComponentKind.RELAY].terminals} & {pin for pin, _ in said}:
        said = [(coil.get(pin, pin), end) for pin, end in said]
    legs = [(pin, partner.get(end, end)) for pin, end in said]
    wrong = _misfit(kind, legs)
    if wrong or kind is None:
        if name not in side:
            at = " ".join(str(end) for _, end in legs) or "no known cavity"
            document.left_out.append(f"part {name}: {wrong}")
            document.warn(
                f"part {name} ({about or 'not described'}) is left out: {wrong}; it sits at {at}",
                component,
                cure=f"Name it in a side table: component {name}, kind and terminals with their places.",
            )
        return None
    rating = specification.find("IMax") if specification is not None else None
    form = FORMS[kind]
    pins = [pin for pin, _ in legs] if form.told_apart else form.terminals
    terminals = tuple(zip(pins, (end for _, end in legs), strict=True))
    pulled = form.seated
    return Component(
        name,
        kind,
        terminals,
        rating_a=document.value(rating, "current"),
        fitted=not pulled,
        note=about if about.casefold() != kind else "",
        pullable=pulled,
    )


def _coil(document: VecDocument, specification: etree._Element | None) -> dict[str, str]:
    """Return how the pins of a relay's coil are called in DIN 72552, by what the file calls them.

    The coil is the one connection inside the relay that no state switches: that is there in none of its
    states by name, or in all of them. Which contact is there at rest the states do not say.
    """
    if specification is None:
        return {}
    states = [
        set((one.findtext("SwitchedConnections") or "").split()) for one in specification.findall("States")
    ]
    some = {key for state in states for key in state}
    switched = {key for key in some if not all(key in state for state in states)}
    lasting = [one for one in specification.iterfind("Connections") if one.get("id") not in switched]
    if not switched or len(lasting) != 1:
        return {}
    pins = [document.called(pin) for pin in document.refs(lasting[0], "Pins")]
    return dict(zip(pins, FORMS[ComponentKind.RELAY].terminals, strict=True)) if len(pins) == 2 else {}


def _legs(document: VecDocument, role: etree._Element, places: Places) -> list[tuple[str, End]]:
    """Return the pins of a part and the cavities of its own housing that they are in."""
    found: dict[str, End] = {}
    for reference in role.iter("PinComponentRef"):
        pin = document.ref(reference, "PinComponent")
        terminal = reference.find("TerminalRole")
        end = places.terminals.get(terminal.get("id", "")) if terminal is not None else None
        cavity = (pin.findtext("ReferencedCavity") or "").strip() if pin is not None else ""
        for held in role.iter("CavityReference") if cavity and end is None else ():
            if (held.findtext("ReferencedCavity") or "").strip() == cavity:
                end = places.cavities.get(held.get("id", ""))
        if end is not None:
            found[document.called(pin) or document.called(reference)] = end
    if found:
        return list(found.items())
    cavities = [places.cavities[one.get("id", "")] for one in role.iter("CavityReference")]
    return [(end.cavity, end) for end in cavities]


def _misfit(kind: ComponentKind | None, legs: list[tuple[str, End]]) -> str:
    if kind is None:
        return "the file does not say what kind of part it is"
    pins, form = {pin for pin, _ in legs}, FORMS[kind]
    if form.more:
        return "" if {*form.terminals} <= pins else "the file does not say which legs are the coil"
    if form.told_apart and pins != {*form.terminals}:
        return f"the file does not say which leg is {' and which '.join(form.terminals)}"
    if not legs:
        return "the file places none of its legs"
    return "" if len(legs) == 2 else f"it has {len(legs)} legs, where 2 are expected"

"""Parts mounted in slots and connectors: fuses, relays and others, with the ends of their legs."""

from __future__ import annotations

import re
from collections.abc import Iterator

from lxml import etree

from loomproof.loom.component_kinds import FORMS
from loomproof.loom.kbl.document import Document, kind_of
from loomproof.loom.kbl.naming import Names
from loomproof.loom.kbl.places import Places
from loomproof.loom.kbl.variants import Variants
from loomproof.loom.model import Component, ComponentKind, End

_RATING = re.compile(r"(?<![\w.,])(\d+(?:[.,]\d+)?)\s*A\b")


def read_parts(
    document: Document,
    places: Places,
    variants: Variants,
    chosen: frozenset[str] | None,
    names: Names,
    side: frozenset[str],
) -> list[Component]:
    """Return the mounted parts that are there under the chosen modules.

    Fuses and relays are pulled while a loom is proved. A part whose legs the file does not place is left
    out and told with the row that a side table needs, unless ``side`` (the names of such a table) has it.
    """
    found: list[Component] = []
    read_ratings: list[str] = []
    in_slot: dict[str, list[str]] = {}
    for occurrence in document.harness.iterfind("Component_occurrence"):
        if not variants.has(occurrence, chosen):
            continue
        name = names.give(document.text(occurrence, "Id") or occurrence.get("id", "part"))
        for slot in _slots(document, occurrence):
            in_slot.setdefault(slot.get("id", ""), []).append(name)
        part = document.part(occurrence)
        kind = _kind(document, part)
        legs = _legs(document, occurrence, places)
        wrong = _misfit(kind, legs)
        if wrong:
            if name not in side:
                document.left_out.append(f"part {name}: {wrong}")
                _tell(document, occurrence, name, kind, legs, f"is left out: {wrong}")
            continue
        assert kind is not None
        form = FORMS[kind]
        if form.more and not {*form.terminals} <= {pin for pin, _ in legs} and name not in side:
            wrong = f"is a {kind}, but the file does not say which leg is coil and which contact"
            _tell(document, occurrence, name, kind, legs, wrong)
        rating_a = document.value(part.find("Nominal_current") if part is not None else None, "current")
        if rating_a is None and form.blows:
            rating_a = _rating(document.text(part, "Description"))
            if rating_a is not None:
                read_ratings.append(name)
        about = document.text(part, "Description")
        if about.casefold() == kind:
            about = ""
        note = ", ".join(filter(None, (document.text(occurrence, "Description"), about)))
        pulled = form.seated
        pins = tuple(pin for pin, _ in legs) if form.told_apart else form.terminals
        terminals = tuple(zip(pins, (end for _, end in legs), strict=True))
        found.append(
            Component(name, kind, terminals, rating_a=rating_a, fitted=not pulled, note=note, pullable=pulled)
        )
    document.warn_of(
        "fuse ratings read from the text that describes the part",
        read_ratings,
        cure="Check them, or give them in a side table.",
    )
    for key, held in in_slot.items():
        if len(held) > 1:
            document.warn(f"one slot holds {len(held)} parts at once: {', '.join(held)}", document.by_id[key])
    return found


def absent(document: Document, variants: Variants, chosen: frozenset[str] | None) -> set[str]:
    """Return the names of parts that the file has and the chosen modules do not."""
    return {
        document.text(one, "Id")
        for one in document.harness.iterfind("Component_occurrence")
        if not variants.has(one, chosen)
    }


def _kind(document: Document, part: etree._Element | None) -> ComponentKind | None:
    if part is None:
        return None
    if kind_of(part) == "Fuse":
        return ComponentKind.FUSE
    return kind_in(document.text(part, "Description"))


def kind_in(about: str) -> ComponentKind | None:
    """Return the kind that a part's description speaks of; none where no word of it tells."""
    said = about.casefold()
    return next((kind for kind, form in FORMS.items() if any(word in said for word in form.words)), None)


def _rating(description: str) -> float | None:
    found = _RATING.search(description)
    return float(found[1].replace(",", ".")) if found else None


def _slots(document: Document, occurrence: etree._Element) -> Iterator[etree._Element]:
    for mounted in document.refs(occurrence, "Mounting"):
        if mounted.tag == "Component_slots":
            yield mounted


def _legs(document: Document, occurrence: etree._Element, places: Places) -> list[tuple[str, End]]:
    """Return pin names and their ends: by pin maps where the file has them, else by the slot's cavities."""
    mounted = list(document.refs(occurrence, "Mounting"))
    for tag, child in (("Component_slots", "Component_cavities"), ("Slots", "Cavities"), ("", "Cavities")):
        cavities = [
            cavity
            for holder in mounted
            if holder.tag == tag or (not tag and holder.tag == "Connector_occurrence")
            for cavity in holder.iter(child)
        ]
        if cavities:
            break
    else:
        cavities = [one for one in mounted if one.tag in ("Component_cavities", "Cavities")]
    by_number = {
        document.text(document.part(cavity), "Cavity_number"): places.cavities[cavity.get("id", "")]
        for cavity in cavities
        if cavity.get("id", "") in places.cavities
    }
    mapped = []
    for pin in occurrence.iterfind("Component_pin_maps"):
        touched = (
            places.contacts.get(key) for key in (pin.findtext("Connected_contact_points") or "").split()
        )
        end = next(filter(None, touched), None) or by_number.get(document.text(pin, "Cavity_number"))
        if end is not None:
            mapped.append((document.text(pin, "Component_pin_number"), end))
    return mapped or list(by_number.items())


def _misfit(kind: ComponentKind | None, legs: list[tuple[str, End]]) -> str:
    """Say why the part cannot be placed, or return an empty text."""
    if kind is None:
        return "KBL does not say what kind of part it is"
    form = FORMS[kind]
    if form.more and len(legs) > 1:
        return ""
    if form.told_apart and not form.more and {pin for pin, _ in legs} != {*form.terminals}:
        return f"KBL does not say which leg is {' and which '.join(form.terminals)}"
    if not legs:
        return "the file places none of its legs"
    return "" if len(legs) == 2 else f"it has {len(legs)} legs, where 2 are expected"


def _tell(
    document: Document,
    occurrence: etree._Element,
    name: str,
    kind: ComponentKind | None,
    legs: list[tuple[str, End]],
    wrong: str,
) -> None:
    asked = "1 2" if kind is None else FORMS[kind].usual
    at = " ".join(str(end) for _, end in legs) or "no known cavity"
    part = document.text(document.part(occurrence), "Description")
    document.warn(
        f"part {name} ({part}) {wrong}; it sits at {at}",
        occurrence,
        cure=f"Name it in a side table: component {name}, kind, and terminals {asked} with their places.",
    )

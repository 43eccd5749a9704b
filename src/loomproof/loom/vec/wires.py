"""Conductors as wires: one wire for each pair of neighbouring ends of a conductor."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from lxml import etree

from loomproof.loom.kbl.conductors import IN_NO_ROW, IN_NO_ROW_CURE
from loomproof.loom.kbl.naming import Names
from loomproof.loom.kbl.runs import grouped, in_a_row, runs_of
from loomproof.loom.model import End, Wire
from loomproof.loom.text import list_of
from loomproof.loom.vec.cables import Cables, Conductor
from loomproof.loom.vec.document import VecDocument


@dataclass
class Drafts:
    """Wires with the conductors that they are runs of, and what is said once for all of them."""

    wires: list[tuple[str, Wire]] = field(default_factory=list)
    names: Names = field(default_factory=Names)
    no_length: list[str] = field(default_factory=list)
    no_section: list[str] = field(default_factory=list)
    length_types: dict[str, int] = field(default_factory=dict)
    in_no_row: list[str] = field(default_factory=list)


def read_wires(
    document: VecDocument,
    cables: Cables,
    ends: Mapping[str, End],
    circuits: Mapping[str, str],
    routes: Mapping[str, tuple[str, ...]],
    length_type: str | None,
) -> tuple[Wire, ...]:
    """Return the wires whose ends the contact points place; ``circuits`` and ``routes`` by conductor ids."""
    drafts = Drafts()
    count = {one.component.get("id", ""): 0 for one in cables.conductors.values()}
    for one in cables.conductors.values():
        count[one.component.get("id", "")] += 1
    for key, conductor in cables.conductors.items():
        if conductor.reference.find("WireEnd") is None:
            name = document.called(conductor.reference)
            document.left_out.append(f"wire {name}: the file gives it no ends")
            continue
        cable = document.called(conductor.component) if count[conductor.component.get("id", "")] > 1 else ""
        placed = _placed(conductor, ends)
        bundle = list_of(routes.get(key, ()))
        _draft(document, conductor, placed, cable, circuits.get(key, ""), bundle, drafts, length_type)
    tell(document, drafts, length_type)
    return grouped(drafts.wires, cables.twisted, cables.screened_by)


def _placed(conductor: Conductor, ends: Mapping[str, End]) -> list[tuple[float, End]]:
    found = []
    for end in conductor.reference.iterfind("WireEnd"):
        at = ends.get(end.get("id", ""))
        try:
            position = float(end.findtext("PositionOnWire") or "0")
        except ValueError:
            position = math.nan
        if at is not None:
            found.append((position, at))
    return sorted(found, key=lambda pair: pair[0])


def _draft(
    document: VecDocument,
    conductor: Conductor,
    placed: list[tuple[float, End]],
    cable: str,
    circuit: str,
    bundle: str,
    drafts: Drafts,
    length_type: str | None,
) -> None:
    name = drafts.names.give(document.called(conductor.reference) or conductor.key)
    if len(placed) < 2:
        document.left_out.append(f"wire {name}: the file places {len(placed)} of its ends")
        return
    stated = len(conductor.reference.findall("WireEnd"))
    if len(placed) < stated:
        document.left_out.append(f"wire {name}: the file places {len(placed)} of its {stated} ends")
    if len(placed) > 2 and not in_a_row(placed):
        drafts.in_no_row.append(name)
    length_m = length_of(document, conductor.reference, drafts, length_type)
    if length_m is None:
        drafts.no_length.append(name)
    if conductor.csa_mm2 is None:
        drafts.no_section.append(name)
    note = ", ".join(filter(None, (f"core of {cable}" if cable else "", conductor.note)))
    whole = Wire(
        name,
        placed[0][1],
        placed[-1][1],
        conductor.colour,
        conductor.csa_mm2,
        length_m,
        circuit,
        bundle=bundle,
        note=note,
    )
    for wire in runs_of(whole, placed, drafts.names):
        if wire.a == wire.b:
            document.left_out.append(f"wire {wire.name}: both of its ends are at {wire.a}")
        else:
            drafts.wires.append((conductor.key, wire))


def length_of(
    document: VecDocument, reference: etree._Element, drafts: Drafts, length_type: str | None
) -> float | None:
    """Return the length of the wanted type, else the first positive one, in m."""
    positive: dict[str, float] = {}
    for entry in reference.iterfind("WireLength"):
        kind = document.text(entry, "LengthType")
        drafts.length_types[kind] = drafts.length_types.get(kind, 0) + 1
        length_m = document.value(entry.find("LengthValue"), "length")
        if length_m:
            positive.setdefault(kind, round(length_m, 9))
    if length_type is not None and length_type in positive:
        return positive[length_type]
    return next(iter(positive.values()), None)


def tell(document: VecDocument, drafts: Drafts, length_type: str | None) -> None:
    """Say what wires lack."""
    document.warn_of(
        "wires without a length",
        drafts.no_length,
        cure="The default of loom.toml applies until you give one in wires.csv, length_m.",
    )
    document.warn_of("wires without a section", drafts.no_section)
    document.warn_of(IN_NO_ROW, drafts.in_no_row, cure=IN_NO_ROW_CURE)
    document.warn_of("wires that share an identification, told apart by a number", drafts.names.renamed)
    document.warn_of_lengths(drafts.length_types, length_type)

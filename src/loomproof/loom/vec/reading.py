"""A VEC file as a loom, with everything said that the file leaves open or the loom leaves out."""

from __future__ import annotations

from pathlib import Path

from lxml import etree

from loomproof.errors import DescriptionError, Todo, suggestion
from loomproof.loom import checking
from loomproof.loom.building import Row
from loomproof.loom.described import LoadedLoom
from loomproof.loom.kbl import side_table as sides
from loomproof.loom.kbl.document import kind_of
from loomproof.loom.kbl.reading import facts_of
from loomproof.loom.kbl.variants import Variants, choices_of, chosen_modules
from loomproof.loom.model import ConnectorKind, Loom
from loomproof.loom.vec.cables import Cables, read_cables
from loomproof.loom.vec.document import (
    VecDocument,
    is_part_master,
    only_parts,
    refuse_parts_only,
    refuse_twice,
)
from loomproof.loom.vec.held import Harness
from loomproof.loom.vec.leftovers import tell_rest
from loomproof.loom.vec.opening import open_vec
from loomproof.loom.vec.parts import read_parts
from loomproof.loom.vec.places import read_places
from loomproof.loom.vec.routes import read_bundles, read_places_in_words, read_routes, read_segments
from loomproof.loom.vec.schematic import read_schematic, tell_unrealised
from loomproof.loom.vec.variants import read_signals, read_variants
from loomproof.loom.vec.wires import read_wires


def read(
    path: Path | str,
    *,
    configuration: str | None = None,
    side_table: Path | str | None = None,
    length_type: str | None = None,
    harness: str | None = None,
) -> LoadedLoom:
    """Read a VEC file of version 1.1.3 to 2.1.0.

    Wires come from the contacting, or where that has none from the schematic, which is said. ``harness``
    names the document that counts where several hold wires. ``configuration`` names a variant configuration:
    only what that one has is read; without it everything is, and configurations become a choice.
    ``side_table`` is a CSV file that adds what the file does not carry. ``length_type`` says which of several
    lengths counts.
    Raises `DescriptionError` where the file or the side table is wrong.
    """
    path = Path(path)
    side = sides.read_side_table(Path(side_table)) if side_table is not None else ()
    root, warnings = open_vec(path)
    document = VecDocument(root, path.name, list(warnings))
    return read_root(
        document, configuration=configuration, side=side, length_type=length_type, harness=harness
    )


def read_root(
    document: VecDocument,
    *,
    configuration: str | None = None,
    side: tuple[Row, ...] = (),
    length_type: str | None = None,
    harness: str | None = None,
) -> LoadedLoom:
    """Read an opened VEC file; `read` says how and what is raised."""
    refuse_parts_only(document)
    try:
        loom = _loom(document, configuration, side, length_type, harness)
    except DescriptionError:
        raise
    except ValueError as error:
        # The values refuse what no loom can hold, such as a text that no spreadsheet cell takes.
        raise DescriptionError(f"{document.name}: {error}", cure="Correct it in the VEC file.") from error
    problems = checking.errors(loom)
    if problems:
        raise DescriptionError(f"{document.name} makes no loom that holds together", problems=problems)
    return LoadedLoom(loom, tuple(document.warnings))


def _loom(
    document: VecDocument,
    configuration: str | None,
    side: tuple[Row, ...],
    length_type: str | None,
    harness: str | None,
) -> Loom:
    refuse_twice(document)
    holder = _holder(document, harness)
    variants = read_variants(document)
    chosen = chosen_modules(document, variants, configuration)
    if chosen is None and variants.controls:
        _say_all(document, variants)
    components = [one for one in _components(document, holder) if variants.has(one, chosen)]
    cables = read_cables(document, components)
    kept = {key: one for key, one in cables.conductors.items() if variants.has(one.reference, chosen)}
    cables = Cables(kept, cables.twisted, cables.screened_by)
    signals = read_signals(document, cables, variants if chosen is None else None)
    where = read_places_in_words(document)
    components += _from_elsewhere(document, holder, cables)
    whole = Harness(components, cables, variants, chosen, where)
    places = read_places(document, whole)
    segments = read_segments(document)
    routes = read_routes(document, variants, chosen, segments)
    placed = any(
        end.get("id", "") in places.wire_ends
        for one in cables.conductors.values()
        for end in one.reference.iterfind("WireEnd")
    )
    if placed:
        tell_unrealised(document, cables)
        wires = read_wires(document, cables, places.wire_ends, signals.by_connection, routes, length_type)
    else:
        wires = read_schematic(document, places, cables, signals.by_connection, length_type, whole.has)
    there = [one for one in document.root.iter("CouplingPoint") if variants.has(one, chosen)]
    parts = read_parts(document, components, places, there, sides.names_in(side))
    tell_rest(document, components)
    signals = signals.only({wire.circuit for wire in wires})
    document.warn_of(
        "left out, and named in the loom as such",
        document.left_out,
        cure="Look for them in the loom, and add them to the tables.",
    )
    connectors = tuple(places.connectors.values())
    if not connectors:
        raise DescriptionError(
            f"{document.name}: the harness {document.text(holder, 'DocumentNumber')!r} has no connector",
            cure="Ask for a file with the components of the harness; without ends there is nothing to prove.",
        )
    document.warn_of(
        "connectors called plug, for the file does not say which are plugs and which sockets",
        [one.name for one in connectors if one.kind is ConnectorKind.PLUG],
        cure="Correct `kind` in the connectors table where it matters to you.",
    )
    return sides.apply(
        Loom(
            document.said(holder) or document.text(holder, "DocumentNumber") or document.name,
            description=_about(document, configuration, from_schematic=bool(wires) and not placed),
            connectors=connectors,
            wires=wires,
            components=tuple(parts),
            circuits=tuple(signals.circuits),
            cavity_facts=facts_of(connectors, wires, places.plugged, places.sealed),
            choices=choices_of(variants, signals) if chosen is None else (),
            part_number=_part_number(document, holder),
            left_out=tuple(document.left_out),
            bundles=read_bundles(document, segments, places, connectors, wires),
        ),
        side,
    )


def _say_all(document: VecDocument, variants: Variants) -> None:
    names = ", ".join(repr(known.name) for known in variants.configurations)
    document.warn(
        "what any configuration of the file has is read at once; a loom may have less of it",
        cure=f"Name a configuration: {names}.",
    )


def _about(document: VecDocument, configuration: str | None, *, from_schematic: bool) -> str:
    about = [f"from {document.name}"]
    about += [f"configuration {configuration}"] if configuration else []
    about += ["wires from the schematic, none placed by contacts"] if from_schematic else []
    return ", ".join(about)


def _part_number(document: VecDocument, holder: etree._Element) -> str:
    parts = [document.text(one, "PartNumber") for one in document.refs(holder, "ReferencedPart")]
    return parts[0] if len(parts) == 1 else ""


def _components(document: VecDocument, holder: etree._Element) -> list[etree._Element]:
    """Return what a harness is made of: its occurrences, and the usages that none of them realises.

    What is only another's alternative is left out, and told.
    """
    occurrences = list(holder.iter("Component"))
    second = [one for one in occurrences if document.text(one, "IsSecondaryAlternative") in ("true", "1")]
    document.warn_of(
        "components that are alternatives of others, left out", [document.called(one) for one in second]
    )
    occurrences = [one for one in occurrences if one not in second]
    realised = {key for one in occurrences for key in (one.findtext("RealizedPartUsage") or "").split()}
    return occurrences + [one for one in holder.iter("PartUsage") if one.get("id") not in realised]


def _from_elsewhere(document: VecDocument, holder: etree._Element, cables: Cables) -> list[etree._Element]:
    """Return the components of other documents in or on which wires of the harness are."""
    ends = cables.names_of_ends()
    named: set[str] = set()
    for point in document.root.iter("ContactPoint"):
        if any(key in ends for one in point.iter("ReferencedWireEnd") for key in (one.text or "").split()):
            for one in point.iter("EquippedCavityRef", "MountedTerminal"):
                named.update((one.text or "").split())
    return [
        component
        for other in document.root.iterfind("DocumentVersion")
        if other is not holder
        for component in other.iter("Component")
        if not named.isdisjoint(each.get("id", "") for each in component.iter("CavityReference", "Role"))
    ]


def _holder(document: VecDocument, harness: str | None) -> etree._Element:
    """Return the document of the harness: the one that holds wires in use, or connections.

    What describes a part may hold such for the inside of that part, and counts where nothing else does.
    """
    documents = document.root.findall("DocumentVersion")
    documents = [one for one in documents if not is_part_master(one)] or documents
    holding = [one for one in documents if any(kind_of(role) == "WireRole" for role in one.iter("Role"))]
    holding = holding or [
        one for one in documents if next(one.iter("Connection", "Component", "PartUsage"), None) is not None
    ]
    numbers = [document.text(one, "DocumentNumber") for one in holding]
    if harness is not None:
        for one, number in zip(holding, numbers, strict=True):
            if harness in (number, one.get("id", "")):
                return one
        raise DescriptionError(
            f"{document.name} has no harness {harness!r}",
            cure=suggestion(harness, numbers) or f"It has: {', '.join(numbers) or 'none'}.",
        )
    if len(holding) > 1:
        raise DescriptionError(
            f"{document.name} describes {len(holding)} harnesses: {', '.join(numbers)}",
            cure="Name the one that this loom is.",
            do=Todo.HARNESS,
        )
    if not holding:
        raise only_parts(document)
    return holding[0]

"""A KBL file as a loom, with everything said that the file leaves open or the loom leaves out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from loomproof.errors import DescriptionError
from loomproof.loom import checking
from loomproof.loom.building import Row
from loomproof.loom.described import LoadedLoom
from loomproof.loom.kbl import boxes, conductors, parts, routes, variants
from loomproof.loom.kbl import side_table as sides
from loomproof.loom.kbl.document import Document
from loomproof.loom.kbl.leftovers import tell_rest
from loomproof.loom.kbl.naming import Names
from loomproof.loom.kbl.opening import open_kbl
from loomproof.loom.kbl.places import Places, read_places
from loomproof.loom.kbl.remainder import restored
from loomproof.loom.model import CavityFacts, Component, Connector, ConnectorKind, End, Loom, Wire


def read(
    path: Path | str,
    *,
    configuration: str | None = None,
    side_table: Path | str | None = None,
    length_type: str | None = None,
) -> LoadedLoom:
    """Read a KBL file of version 2.3, 2.4 or 2.5.

    ``configuration`` names a configuration of a modular file (its name or element id): only what that
    one has is read. Without it everything is read, and configurations and modules become choices.
    ``side_table`` is a CSV file that adds what KBL does not carry (`loomproof.loom.kbl.side_table`).
    ``length_type`` says which of several lengths counts. Raises `DescriptionError` where the file or the
    side table is wrong.
    """
    path = Path(path)
    extra = sides.read_side_table(Path(side_table)) if side_table is not None else ()
    root, warnings = open_kbl(path)
    document = Document(root, path.name, list(warnings))
    return read_root(document, configuration=configuration, side=extra, length_type=length_type)


def read_root(
    document: Document,
    *,
    configuration: str | None = None,
    side: tuple[Row, ...] = (),
    length_type: str | None = None,
) -> LoadedLoom:
    """Read an opened KBL file; `read` says how and what is raised."""
    try:
        loom = _loom(document, configuration, side, length_type)
    except DescriptionError:
        raise
    except ValueError as error:
        # The values refuse what no loom can hold, such as a text that no spreadsheet cell takes.
        raise DescriptionError(f"{document.name}: {error}", cure="Correct it in the KBL file.") from error
    problems = checking.errors(loom)
    if not problems:
        loom = restored(document, loom)
    if problems:
        raise DescriptionError(f"{document.name} makes no loom that holds together", problems=problems)
    return LoadedLoom(loom, tuple(document.warnings))


def configurations(path: Path | str) -> tuple[str, ...]:
    """Return the names of a file's configurations. Raises `DescriptionError` where the file is wrong."""
    root, _ = open_kbl(Path(path))
    found = variants.read_variants(Document(root, Path(path).name))
    return tuple(known.name for known in found.configurations)


def _loom(
    document: Document, configuration: str | None, side: tuple[Row, ...], length_type: str | None
) -> Loom:
    harness = document.harness
    found = variants.read_variants(document)
    chosen = variants.chosen_modules(document, found, configuration)
    connections = [one for one in harness.iterfind("Connection") if found.has(one, chosen)]
    signals = variants.read_signals(document, connections, found if chosen is None else None)
    places = read_places(document)
    part_names = Names()
    links = boxes.read_boxes(document, places, part_names)
    routed = routes.read_routes(document)
    wires = conductors.read_wires(document, connections, places, routed, signals.by_connection, length_type)
    mounted = parts.read_parts(document, places, found, chosen, part_names, sides.names_in(side))
    kept, components = _fitted(document, places, wires, [*links, *mounted], chosen)
    tell_rest(document)
    signals = signals.only({wire.circuit for wire in wires})
    connectors = tuple(connector for name, connector in places.connectors.items() if name in kept)
    if not places.connectors:
        raise DescriptionError(
            f"{document.name}: the harness {document.text(harness, 'Part_number')!r} has no connector",
            cure="Ask for a file with the connectors of the harness; without ends there is nothing to prove.",
        )
    loom = Loom(
        document.text(harness, "Description") or document.text(harness, "Part_number") or document.name,
        description=_about(document, configuration),
        connectors=connectors,
        wires=wires,
        components=components,
        circuits=tuple(signals.circuits),
        cavity_facts=facts_of(connectors, wires, places.plugged, places.sealed),
        choices=variants.choices_of(found, signals) if chosen is None else (),
        part_number=document.text(harness, "Part_number"),
        left_out=tuple(document.left_out),
        bundles=routes.read_bundles(document, routed, places, connectors, wires),
    )
    absent = parts.absent(document, found, chosen) - set(loom.component_by_name)
    return sides.apply(loom, tuple(row for row in side if row.text("component") not in absent))


def _about(document: Document, configuration: str | None) -> str:
    about = f"from {document.name}"
    return f"{about}, configuration {configuration}" if configuration else about


def _fitted(
    document: Document,
    places: Places,
    wires: tuple[Wire, ...],
    components: list[Component],
    chosen: frozenset[str] | None,
) -> tuple[set[str], tuple[Component, ...]]:
    """Return the connectors and parts that are there: under a configuration, those that wires reach."""
    if chosen is None:
        return set(places.connectors), tuple(components)
    kept = {end.connector for wire in wires for end in wire.ends}
    grew = True
    while grew:
        # A box is there when one of its connectors is; so is what its inner links lead to.
        reached = {
            end.connector
            for part in components
            if any(end.connector in kept for end in part.ends)
            for end in part.ends
            if part.note != boxes.MATED
        }
        grew = not reached <= kept
        kept |= reached
    gone = [name for name in places.connectors if name not in kept]
    document.warn_of("connectors without a wire in this configuration, left out", gone)
    return kept, tuple(part for part in components if all(end.connector in kept for end in part.ends))


def facts_of(
    connectors: Iterable[Connector], wires: tuple[Wire, ...], plugged: set[End], sealed_ends: set[End]
) -> tuple[CavityFacts, ...]:
    """Return facts about cavities: spare where no wire ends, sealed, shared where several wires end."""
    at = Counter(end for wire in wires for end in wire.ends)
    facts = []
    for connector in connectors:
        if connector.kind is ConnectorKind.SPLICE:
            continue
        for end in connector.ends:
            shared = at[end] > 1 and connector.kind in checking.SINGLE_CRIMP
            spare = at[end] == 0
            # A plug is listed for most cavities, for it is fitted where the wire is not.
            sealed = True if end in (plugged if spare else sealed_ends) else None
            if spare or sealed or shared:
                facts.append(CavityFacts(end, spare, sealed, shared=shared))
    return tuple(facts)

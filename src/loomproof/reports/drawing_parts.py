"""A loom that is too big for one picture: a picture of what hangs on each connector, and an index page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from html import escape
from urllib.parse import quote

from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire

LARGEST = 1_500
"""More wires than these are not drawn in one picture: at the size of A0 nobody finds one among them."""


def around(loom: Loom, connector: Connector) -> Loom:
    """Return the part of a loom that hangs on a connector: its wires, and those on the splices they reach.

    Connectors at the far ends have the cavities that these wires go to.
    """
    wires: dict[str, Wire] = {}
    splices: dict[str, None] = {}
    for end in connector.ends:
        for wire in loom.wires_at.get(end, ()):
            wires[wire.name] = wire
            splices |= {far.connector: None for far in wire.ends if not far.cavity}
    for name in splices:
        for end in loom.by_name[name].ends:
            wires |= {wire.name: wire for wire in loom.wires_at.get(end, ())}
    reached = {end for wire in wires.values() for end in wire.ends}
    parts = tuple(
        part for part in loom.components if any(end.connector == connector.name for end in part.ends)
    )
    reached |= {end for part in parts for end in part.ends}
    names = {end.connector for end in reached} | {connector.name}
    circuits = {wire.circuit for wire in wires.values()}
    return replace(
        loom,
        connectors=tuple(
            each if each.name == connector.name or each.kind is ConnectorKind.SPLICE else _only(each, reached)
            for each in (loom.by_name[name] for name in loom.by_name if name in names)
        ),
        wires=tuple(wires.values()),
        components=parts,
        circuits=tuple(circuit for circuit in loom.circuits if circuit.name in circuits),
        cavity_facts=(),
    )


def _only(connector: Connector, reached: set[End]) -> Connector:
    """Return a connector with those of its cavities that are reached."""
    held = {end.cavity for end in connector.ends if end in reached}
    rows = (tuple(cavity for cavity in row if cavity in held) for row in connector.rows)
    return replace(connector, rows=tuple(row for row in rows if row))


def index_page(loom: Loom, files: Mapping[str, tuple[str, str]]) -> str:
    """Return the page that leads to the pictures; ``files`` by connector are its picture and its face."""
    rows = (
        f"<tr><td>{escape(connector.name)}</td><td>{escape(_where(connector))}</td>"
        f"<td>{sum(len(loom.wires_at.get(end, ())) for end in connector.ends)}</td>"
        f"<td>{_link(files[connector.name][0], 'wires')}</td>"
        f"<td>{_link(files[connector.name][1], 'face')}</td></tr>"
        for connector in loom.connectors
        if connector.name in files
    )
    return "\n".join(
        (
            '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">',
            f"<title>Loom {escape(loom.name)}</title><style>body{{font-family:sans-serif}}"
            "td,th{text-align:left;padding:0 1em 0 0}</style></head><body>",
            f"<h1>Loom {escape(loom.name)}</h1>",
            f"<p>{len(loom.wires)} wires are too many for one picture: there is one for each connector, with "
            f"the splices that its wires reach. Drawn from description {loom.digest[:12]}.</p>",
            "<table><tr><th>connector</th><th>what and where</th><th>wires</th><th></th><th></th></tr>",
            *rows,
            "</table>",
            *_circuits(loom, files),
            "</body></html>\n",
        )
    )


def _circuits(loom: Loom, files: Mapping[str, tuple[str, str]]) -> Iterator[str]:
    """Yield which connectors each circuit comes to, as links to their pictures."""
    if not loom.circuits:
        return
    yield "<h2>Circuits</h2><table><tr><th>circuit</th><th>connectors</th></tr>"
    at: dict[str, dict[str, None]] = {}
    for wire in loom.wires:
        at.setdefault(wire.circuit, {}).update({end.connector: None for end in wire.ends if end.cavity})
    for circuit in loom.circuits:
        names: Sequence[str] = [name for name in at.get(circuit.name, {}) if name in files]
        links = " ".join(_link(files[name][0], name) for name in names)
        yield f"<tr><td>{escape(circuit.name)}</td><td>{links}</td></tr>"
    yield "</table>"


def _where(connector: Connector) -> str:
    return ", ".join(filter(None, (connector.description, connector.location)))


def _link(file: str, text: str) -> str:
    return f'<a href="{quote(file)}">{escape(text)}</a>'

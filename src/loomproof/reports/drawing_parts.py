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


_STYLE = (
    "body{font:15px/1.45 sans-serif;color:#1b1b1b;max-width:62em;margin:1.5em auto;padding:0 1em}"
    "table{border-collapse:collapse;width:100%}"
    "th,td{text-align:left;vertical-align:baseline;padding:.25em 1em .25em 0;border-bottom:1px solid #d8d8d4}"
    "thead th{position:sticky;top:0;background:#fff;border-bottom:2px solid #1b1b1b}"
    "tbody th{font-weight:bold;white-space:nowrap}"
    ".count{text-align:right;font-variant-numeric:tabular-nums}"
    "td a{display:inline-block;margin-right:.8em}"
    "tbody tr:hover{background:#f4f4f2}"
)


def index_page(loom: Loom, files: Mapping[str, tuple[str, str]], places: str = "") -> str:
    """Return the page that leads to the pictures; ``files`` by connector are its picture and its face.

    ``places`` is the file of the places on wires that a run found, if it found any.
    """
    rows = (
        f'<tr><th scope="row">{escape(connector.name)}</th><td>{escape(_where(connector))}</td>'
        f'<td class="count">{sum(len(loom.wires_at.get(end, ())) for end in connector.ends)}</td>'
        f"<td>{_link(files[connector.name][0], 'its wires', connector.name)}"
        f"{_link(files[connector.name][1], 'its face', connector.name)}</td></tr>"
        for connector in loom.connectors
        if connector.name in files
    )
    return "\n".join(
        (
            '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width,initial-scale=1">',
            f"<title>Loom {escape(loom.name)}</title><style>{_STYLE}</style></head><body><main>",
            f"<h1>Loom {escape(loom.name)}</h1>",
            f"<p>{len(loom.wires)} wires are too many for one picture: there is one for each connector, with "
            f"the splices that its wires reach. Drawn from description {loom.digest[:12]}.</p>",
            *([f"<p>{_link(places, 'Where on its wires a run found places')}</p>"] if places else ()),
            *(
                ['<p><a href="#circuits">Circuits, by the connectors they come to</a></p>']
                * bool(loom.circuits)
            ),
            '<table><thead><tr><th scope="col">connector</th><th scope="col">what and where</th>'
            '<th scope="col" class="count">wires</th><th scope="col">pictures</th></tr></thead><tbody>',
            *rows,
            "</tbody></table>",
            *_circuits(loom, files),
            "</main></body></html>\n",
        )
    )


def _circuits(loom: Loom, files: Mapping[str, tuple[str, str]]) -> Iterator[str]:
    """Yield which connectors each circuit comes to, as links to their pictures."""
    if not loom.circuits:
        return
    yield '<h2 id="circuits">Circuits</h2><table><thead><tr><th scope="col">circuit</th>'
    yield '<th scope="col">connectors</th></tr></thead><tbody>'
    at: dict[str, dict[str, None]] = {}
    for wire in loom.wires:
        at.setdefault(wire.circuit, {}).update({end.connector: None for end in wire.ends if end.cavity})
    for circuit in loom.circuits:
        names: Sequence[str] = [name for name in at.get(circuit.name, {}) if name in files]
        links = " ".join(_link(files[name][0], name) for name in names)
        yield f'<tr><th scope="row">{escape(circuit.name)}</th><td>{links}</td></tr>'
    yield "</tbody></table>"


def _where(connector: Connector) -> str:
    return ", ".join(filter(None, (connector.description, connector.location)))


def _link(file: str, text: str, of: str = "") -> str:
    """Return a link; ``of`` is whose picture it is, for who hears the links alone."""
    label = f' aria-label="{escape(f"{of}: {text}")}"' if of else ""
    return f'<a href="{quote(file)}"{label}>{escape(text)}</a>'

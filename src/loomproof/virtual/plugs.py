"""What happens to cavities where a connector is put on wrongly."""

from __future__ import annotations

from loomproof.loom.model import Connector, End


def put_on_wrongly(connector: Connector, how: str) -> dict[End, End]:
    """Return, for each cavity, where its terminal sits: what is shifted past the last touches nothing."""
    order = connector.cavities
    if how == "mirror":
        there = [name for row in connector.rows for name in reversed(row)]
        pairs = zip((name for row in connector.rows for name in row), there, strict=True)
        return {End(connector.name, a): End(connector.name, b) for a, b in pairs if a}
    found = order[::-1] if how == "rotate" else (*order[1:], "")
    return {End(connector.name, a): End(connector.name, b) for a, b in zip(order, found, strict=True)}

"""Connectors that tracing found and nobody has named yet."""

from __future__ import annotations

from loomproof.loom.model import Connector, ConnectorKind

KIND_AND_ROWS = "found by tracing: kind and rows?"
"""What a traced connector is described by until somebody says what it is."""


def is_nameless(connector: Connector) -> bool:
    """Whether nobody has said yet what this connector is; a splice is nobody's to name."""
    return connector.kind is not ConnectorKind.SPLICE and connector.description == KIND_AND_ROWS

"""A loom summed up: how much of what, and what its description leaves out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loomproof.loom.choices import needs_of
from loomproof.loom.model import ConnectorKind, Loom, Need
from loomproof.loom.text import first_of


@dataclass(frozen=True, slots=True)
class Summary:
    """Counts of a loom; ``missing`` says in words what the description leaves out."""

    connectors: int
    cavities: int
    spare: int
    splices: int
    wires: int
    length_m: float
    components: int
    fitted: int
    circuits: Mapping[Need, int]
    missing: tuple[str, ...]


def summary_of(loom: Loom, answers: Mapping[str, str] | None = None) -> Summary:
    """Sum up a loom under the given answers to its choices."""
    needs = list(needs_of(loom, answers).values())
    return Summary(
        connectors=sum(c.kind is not ConnectorKind.SPLICE for c in loom.connectors),
        cavities=len(loom.cavities),
        spare=sum(facts.spare for facts in loom.cavity_facts),
        splices=len(loom.splices),
        wires=len(loom.wires),
        length_m=sum(wire.length_m or 0.0 for wire in loom.wires),
        components=len(loom.components),
        fitted=sum(part.fitted for part in loom.components),
        circuits={need: needs.count(need) for need in Need},
        missing=tuple(_missing(loom)),
    )


def _missing(loom: Loom) -> list[str]:
    settings, every = loom.settings, len(loom.wires)
    lacking: tuple[tuple[str, list[str]], ...] = (
        (
            f"have no length; {settings.wire_length_m:g} m is taken",
            [wire.name for wire in loom.wires if wire.length_m is None],
        ),
        (
            f"have no section; {settings.wire_csa_mm2:g} mm² is taken",
            [wire.name for wire in loom.wires if wire.csa_mm2 is None],
        ),
        ("have no colour", [wire.name for wire in loom.wires if not wire.colour]),
        ("belong to no circuit", [wire.name for wire in loom.wires if not wire.circuit]),
    )
    return [
        f"{len(names)} of {every} wires {f'({first_of(names, 4)}) ' if len(names) < every else ''}{text}"
        for text, names in lacking
        if names
    ]

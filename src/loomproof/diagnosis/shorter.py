"""Cavities of one net that are joined by a shorter way than described.

A note, no fault: the net joins what it should, and within its limits.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.desk import PROVE_AGAIN
from loomproof.diagnosis.found import Found
from loomproof.diagnosis.words import listed
from loomproof.diagnosis.writing import Writer
from loomproof.electrics.component_kinds import lasting_ends
from loomproof.loom.model import Component
from loomproof.results.figures import ohms
from loomproof.results.findings import Evidence, Finding, Severity
from loomproof.results.measured import ShorterWay


def shorter_findings(found: Found, writer: Writer) -> Iterator[Finding]:
    """Yield a note for each net of which readings lie below the copper that it should have."""
    by_net: dict[int, list[ShorterWay]] = {}
    for way in found.measured.shorter:
        by_net.setdefault(found.wiring.net_of[found.wiring.leaf_of[way.a]], []).append(way)
    for net, ways in by_net.items():
        yield _note(ways, list(_bridging(found, net)), writer)


def _bridging(found: Found, net: int) -> Iterator[Component]:
    """Yield the fuses and links of a net: what lies across one is a shorter way as well."""
    names = {found.wiring.edges[number].component for number in found.wiring.nets[net].edges}
    for part in found.loom.components:
        if part.name in names and lasting_ends(part):
            yield part


def _note(ways: list[ShorterWay], parts: list[Component], writer: Writer) -> Finding:
    first = min(ways, key=lambda way: way.ohm / way.copper_ohm)
    cavities = tuple(dict.fromkeys(end for way in (first, *ways) for end in (way.a, way.b)))
    wires = writer.wires_of(first.a)
    plugs = listed(dict.fromkeys(end.connector for end in (first.a, first.b)))
    named = writer.names.wires(wires)
    look = [f"Look in {plugs}, and along {named}, for a wire that was added and for copper that is bared."]
    if parts:
        look.append(
            f"Look whether {listed(part.name for part in parts)} is bridged: what lies across a fuse takes "
            "its protection away."
        )
    finding = writer.make(
        Cause.SHORTER_WAY,
        cavities,
        f"{first.a} and {first.b} are joined by a shorter way than described",
        [writer.names.place(end) for end in cavities],
        [
            *look,
            f"Compare length and section of {named} with the description.",
            "Take out what was added, or put the description right.",
        ],
        wires=wires,
        evidence=[
            Evidence(
                f"{way.a} to {way.b}, where copper as described has {ohms(way.copper_ohm)} at least; other "
                "nets read no less than theirs",
                way.ohm,
                way.uncertainty_ohm,
            )
            for way in ways
        ],
        cost=writer.weights.short,
    )
    steps = tuple(step for step in finding.repair if step != PROVE_AGAIN)
    return replace(finding, severity=Severity.NOTE, repair=steps)

"""What a simulated bench has plugged in while it is tested itself: nothing, a shorting plug, or resistors.

A person puts these on a real bench; on a simulated one a small loom stands for them. Its wires are ``W`` and
the point, its resistors ``R`` and their place on the command line; a cavity that no adapter names is
``POINT:`` and the point.
"""

from __future__ import annotations

import tempfile
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.bench.adapter import Adapter
    from loomproof.bench.address import Address, SimAddress
    from loomproof.bench.references import Reference
    from loomproof.loom.model import Loom

FEWEST_POINTS = 16
"""Points of a simulated bench that is asked for none in particular."""

PLUG_CSA_MM2, PLUG_LENGTH_M = 2.5, 0.01
"""A way through a shorting plug: 70 micro-ohms, nothing beside what a bench can read."""


@contextmanager
def plugged_in(
    address: str,
    loom: Path | None,
    adapter: Adapter | None = None,
    *,
    shorted: Collection[int] = (),
    references: Sequence[Reference] = (),
) -> Iterator[tuple[Address, Path | None]]:
    """Yield a bench's address and the loom to open it with; only a ``sim:`` without a loom needs one made.

    ``shorted`` are the points that a shorting plug joins, ``references`` the resistors between two points.
    Raises `UsageError` for points that the bench or the adapter lacks.
    """
    from loomproof.bench.adapter import write_adapter
    from loomproof.bench.address import SimAddress, parse_address
    from loomproof.loom.writing import write_folder

    where = parse_address(address)
    if not isinstance(where, SimAddress) or loom is not None:
        yield where, loom
        return
    leads = _leads(where, adapter, references)
    with tempfile.TemporaryDirectory() as folder:
        made, table = Path(folder) / "plugged", Path(folder) / "adapter.csv"
        write_folder(_loom(leads, shorted, references), made)
        write_adapter(leads, table)
        points = dict(where.options).get("points") or str(max(FEWEST_POINTS, *leads.points))
        kept = [pair for pair in where.options if pair[0] not in ("points", "adapter")]
        options = (("points", points), ("adapter", str(table)), *kept)
        yield replace(where, options=options), made


def _leads(where: SimAddress, adapter: Adapter | None, references: Sequence[Reference]) -> Adapter:
    """Return what goes to the points: the address's own adapter, the one at hand, or one cavity a point."""
    from loomproof.bench.adapter import in_order, read_adapter
    from loomproof.loom.model import End

    options = dict(where.options)
    wanted = [point for each in references for point in (each.a, each.b)]
    if "adapter" in options:
        found: Adapter | None = read_adapter(Path(options["adapter"]))
    elif adapter is not None:
        # What the table says of its leads is what was learned of them; the simulated ones do not grow by it.
        found = replace(adapter, entries=tuple(replace(lead, lead_ohm=0.0) for lead in adapter.entries))
    else:
        found = None
    if found is None:
        given = options.get("points", "")
        count = int(given) if given.isdecimal() and int(given) else max(FEWEST_POINTS, *wanted, 0)
        found = in_order([End("POINT", str(number)) for number in range(1, count + 1)])
    if missing := sorted(set(wanted) - set(found.points)):
        raise UsageError(
            f"a resistor cannot be put there: nothing is at point {', '.join(map(str, missing))}",
            cure="Name points that the bench, and the adapter where one is given, has.",
        )
    return found


def _loom(leads: Adapter, shorted: Collection[int], references: Sequence[Reference]) -> Loom:
    from loomproof.loom.model import (
        Component,
        ComponentKind,
        Connector,
        ConnectorKind,
        End,
        Hazard,
        Loom,
        Wire,
    )

    cavities: dict[str, list[str]] = {}
    for lead in leads.entries:
        cavities.setdefault(lead.end.connector, []).append(lead.end.cavity)
    connectors = [
        Connector(name, ConnectorKind.PLUG, (tuple(row),), hazard=Hazard.NONE)
        for name, row in cavities.items()
    ]
    wires: list[Wire] = []
    if shorted:
        joint = "SHORT"
        while joint in cavities:
            joint += "'"
        connectors.append(Connector(joint, ConnectorKind.SPLICE))
        wires = [
            Wire(
                f"W{lead.point}",
                lead.end,
                End(joint),
                csa_mm2=PLUG_CSA_MM2,
                length_m=PLUG_LENGTH_M,
                colour="BK",
            )
            for lead in leads.entries
            if lead.point in shorted
        ]
    resistors = [
        Component(
            f"R{number}",
            ComponentKind.RESISTOR,
            (("1", leads.end_of[each.a]), ("2", leads.end_of[each.b])),
            resistance_ohm=each.ohm,
        )
        for number, each in enumerate(references, start=1)
    ]
    return Loom(
        "what the bench is tested with",
        connectors=tuple(connectors),
        wires=tuple(wires),
        components=tuple(resistors),
    )

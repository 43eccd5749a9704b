"""Which ends this conversion connects, which it makes safe, and which parts it leaves out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loomproof.fitting.live_ends import INNER
from loomproof.loom.model import ConnectorKind, End, Loom, Need

COMPUTER_WORDS = ("computer", "control unit", "ecu")
"""What a connector's name or description says where it is the engine computer's."""


@dataclass(frozen=True)
class FittingPlan:
    """A partition of the loom's cavities: ``connect``, ``safe`` and ``places``, in the description's order.

    ``optional`` are those of ``safe`` that may be connected; ``plugged`` the connectors that go on;
    ``spare_parts`` fuses and relays that nothing needed uses, ``spare_fuses`` the fuses among them.
    """

    needs: Mapping[str, Need]
    connect: tuple[End, ...]
    safe: tuple[End, ...]
    places: tuple[End, ...]
    optional: frozenset[End]
    plugged: frozenset[str]
    computers: frozenset[str]
    spare_parts: frozenset[str]
    spare_fuses: frozenset[str]


def plan_of(loom: Loom, needs: Mapping[str, Need]) -> FittingPlan:
    """Return what is connected and what is not under these needs (circuit name to need)."""
    need_of_end = {end: _need(loom, end, needs) for end in loom.cavities}
    idle = _idle_plugs(loom, need_of_end)
    connect, safe, places = [], [], []
    for end in loom.cavities:
        if loom.by_name[end.connector].kind in INNER:
            places.append(end)
        elif need_of_end[end] is Need.NEEDED and end.connector not in idle:
            connect.append(end)
        else:
            safe.append(end)
    spare = frozenset(part.name for part in loom.components if _is_spare(loom, part.name, needs))
    return FittingPlan(
        needs=needs,
        connect=tuple(connect),
        safe=tuple(safe),
        places=tuple(places),
        optional=frozenset(end for end in safe if need_of_end[end] is Need.OPTIONAL),
        plugged=frozenset(end.connector for end in connect),
        computers=_computers(loom),
        spare_parts=spare,
        spare_fuses=frozenset(name for name in spare if loom.component_by_name[name].form.blows),
    )


def _need(loom: Loom, end: End, needs: Mapping[str, Need]) -> Need:
    """Return the strongest need at an end; the part that sits on an end without a wire speaks for it."""
    circuits = [wire.circuit for wire in loom.wires_at.get(end, ())]
    if not circuits:
        circuits = [part.circuit for part in loom.components if end in part.ends]
    if not circuits:
        return Need.UNUSED
    said = {needs.get(circuit, Need.NEEDED) for circuit in circuits}
    return next(need for need in Need if need in said)


def _idle_plugs(loom: Loom, need_of_end: Mapping[End, Need]) -> frozenset[str]:
    """Return plugs whose own circuits are unused, beside circuits that those only live on.

    A plug for a part that the car lacks still has its feed or earth, which others share: the unused circuit
    names it among its needs.
    """
    found = set()
    for connector in loom.connectors:
        if connector.kind in INNER:
            continue
        wired = [end for end in connector.ends if loom.wires_at.get(end)]
        by_need = {
            need: {wire.circuit for end in wired if need_of_end[end] is need for wire in loom.wires_at[end]}
            for need in Need
        }
        unused = [loom.circuit_by_name[name] for name in by_need[Need.UNUSED] if name in loom.circuit_by_name]
        lived_on = {name for circuit in unused for name in circuit.needs}
        if unused and by_need[Need.NEEDED] <= lived_on:
            found.add(connector.name)
    return frozenset(found)


def _is_spare(loom: Loom, name: str, needs: Mapping[str, Need]) -> bool:
    part = loom.component_by_name[name]
    users = {circuit.name for circuit in loom.circuits if circuit.fuse == name}
    users |= {part.circuit} if part.circuit else set()
    if not users:
        users = {wire.circuit for end in part.ends for wire in loom.wires_at.get(end, ())}
    return bool(users) and all(needs.get(user, Need.NEEDED) is Need.UNUSED for user in users)


def _computers(loom: Loom) -> frozenset[str]:
    return frozenset(
        connector.name
        for connector in loom.connectors
        if connector.kind is ConnectorKind.PLUG
        and any(word in f"{connector.name} {connector.description}".casefold() for word in COMPUTER_WORDS)
    )

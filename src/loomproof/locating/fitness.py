"""Whether a place can be claimed in a net at all, and if not, why."""

from __future__ import annotations

from collections.abc import Iterable

from loomproof.electrics.component_kinds import joined_ends
from loomproof.electrics.nets import Net
from loomproof.errors import UnfitError
from loomproof.locating.tree import Run, Tree, tree_of
from loomproof.locating.wander import ASSUMED_F_PER_M
from loomproof.loom.model import Component, End, Loom, Wire


def hinders_farads(loom: Loom, net: Net) -> str:
    """Return why the capacitance of this net's pieces says no place; "" where it does.

    Its wires must be uniform lines: no part on them, no screen around them.
    """
    for part in hanging_on(loom, net):
        return f"{part.kind} {part.name} hangs on these wires, and its capacitance is in every reading"
    return screened(loom, net)


def hanging_on(loom: Loom, net: Net) -> list[Component]:
    """Return the fitted parts that hang on a net and bring a capacitance of their own."""
    return [
        part
        for part in loom.components
        if part.fitted and not joined_ends(part) and not set(part.ends).isdisjoint(net.ends)
    ]


def free_of_parts(loom: Loom, net: Net, tree: Tree, piece: frozenset[End]) -> bool:
    """Whether no part hangs on this piece of a broken net, wherever the one break lies that parted it."""
    held = {end for part in hanging_on(loom, net) for end in part.ends}
    cavities = set(tree.cavities)
    sides = [side for run in tree.runs for side in tree.sides(run) if side & cavities == piece]
    if len(piece) == 1:
        sides.append(piece)
    if len(cavities - piece) == 1:  # where that other contact failed, all of the net hangs here
        sides.append(frozenset(net.ends))
    return bool(sides) and all(held.isdisjoint(side) for side in sides)


def screened(loom: Loom, net: Net) -> str:
    """Return why a screen lets the capacitance of this net's pieces say no place; "" without one."""
    for name in net.wires:
        wire = loom.wire_by_name[name]
        if wire.screened_by:
            return f"{name} runs in a screen ({wire.screened_by}), with another capacitance per metre"
    screens = {wire.screened_by for wire in loom.wires if wire.screened_by}
    screen = next((name for name in net.wires if name in screens), "")
    return f"{screen} is itself a screen, with another capacitance per metre" if screen else ""


def tree_or_why(loom: Loom, net: Net, *, with_lengths: bool = True) -> tuple[Tree | None, str]:
    """Return the net as a tree, or why no place can be told in it; its lengths may be 0 where none count."""
    try:
        return tree_of(loom, net, with_lengths=with_lengths), ""
    except UnfitError as error:
        return None, error.message


def lone_wire(loom: Loom, net: Net) -> Wire | None:
    """Return the one wire of a net between two cavities; its break is a share of it without any length."""
    if len(net.wires) != 1 or net.components or len(net.cavities) != 2:
        return None
    return loom.wire_by_name[net.wires[0]]


def tree_of_unknown_length(loom: Loom, net: Net, farad: float) -> Tree | None:
    """Return one wire of unknown length as a tree, as long as what all of it read makes likely, F.

    Only how far a share of it may be off depends on that length. ``None`` for any other net.
    """
    wire = lone_wire(loom, net)
    if wire is None or wire.length_m is not None or farad <= 0.0:
        return None
    return Tree((Run(wire.name, wire.a, wire.b, farad / ASSUMED_F_PER_M),), net.cavities)


def sound_beside(loom: Loom, net: Net, candidates: Iterable[Net]) -> list[Net]:
    """Return the nets of one wire of known length that run beside this net's wires, the closest first.

    By the bundles that they share; where none are named, by the connectors at which they end.
    """
    own = [loom.wire_by_name[name] for name in net.wires]
    bundles = {bundle for wire in own for bundle in wire.bundles}
    connectors = {end.connector for wire in own for end in wire.ends}
    ranked: list[tuple[int, int, Net]] = []
    for other in candidates:
        wire = lone_wire(loom, other)
        if other.index == net.index or wire is None or not wire.length_m or hinders_farads(loom, other):
            continue
        shared = len(bundles & set(wire.bundles))
        if not bundles:
            shared = len(connectors & {end.connector for end in wire.ends})
        if shared:
            ranked.append((-shared, other.index, other))
    return [other for *_, other in sorted(ranked, key=lambda each: each[:2])]

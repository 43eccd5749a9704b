"""Whether a place can be claimed in a net at all, and if not, why."""

from __future__ import annotations

from loomproof.electrics.component_kinds import joined_ends
from loomproof.electrics.nets import Net
from loomproof.errors import UnfitError
from loomproof.locating.tree import Tree, tree_of
from loomproof.loom.model import Loom


def hinders_farads(loom: Loom, net: Net) -> str:
    """Return why the capacitance of this net's pieces says no place; "" where it does.

    Its wires must be uniform lines: no part on them, no screen around them.
    """
    hanging = [part for part in loom.components if part.fitted and not set(part.ends).isdisjoint(net.ends)]
    for part in hanging:
        if not joined_ends(part):
            return f"{part.kind} {part.name} hangs on these wires, and its capacitance is in every reading"
    for name in net.wires:
        wire = loom.wire_by_name[name]
        if wire.screened_by:
            return f"{name} runs in a screen ({wire.screened_by}), with another capacitance per metre"
    screens = {wire.screened_by for wire in loom.wires if wire.screened_by}
    screen = next((name for name in net.wires if name in screens), "")
    return f"{screen} is itself a screen, with another capacitance per metre" if screen else ""


def tree_or_why(loom: Loom, net: Net) -> tuple[Tree | None, str]:
    """Return the net as a tree, or why no place can be told in it."""
    try:
        return tree_of(loom, net), ""
    except UnfitError as error:
        return None, error.message

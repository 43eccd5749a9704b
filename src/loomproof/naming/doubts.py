"""What makes an answer doubtful without being wrong: told beside it, or asked about before it is taken."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from loomproof.loom import designations
from loomproof.loom.model import ConnectorKind

if TYPE_CHECKING:
    from loomproof.naming.answers import Answer, Named

_LIKE_A_CODE = re.compile(r"[A-Z]{2}(/[A-Z]{2})?")
"""Two capitals, and two more behind a slash: how IEC 60757 writes colours."""

_OF_ONE_WIRE = (ConnectorKind.RING, ConnectorKind.BLADE, ConnectorKind.BULLET, ConnectorKind.TAIL)


def doubts(named: Named, answer: Answer) -> tuple[str, ...]:
    """Return sentences about what was typed and may be a slip; nothing of a suggestion that was taken."""
    if answer.whence:
        return ()
    found = []
    plug = named.traced.by_name[answer.end.connector]
    there = named.loom.by_name.get(answer.connector)
    size = max(len(plug.cavities), len(there.cavities) if there else 0)
    number = answer.cavity
    counted = number.isascii() and number.isdigit() and not designations.is_known(number)
    if counted and size > 1 and int(number) > size:
        found.append(f"{number} of a plug of {size}: read the number again at the housing.")
    first = answer.purpose.partition(" ")[0]
    if _LIKE_A_CODE.fullmatch(first) and first not in named.loom.circuit_by_name:
        found.append(f"{first} is no colour code of IEC 60757, so it is taken for what the net is for.")
    return tuple(found)


def question(named: Named, answer: Answer) -> str:
    """Return what is asked before an answer takes one end out of an adapter plug that bears another name.

    "" where it does not, and for kinds that hold one wire each.
    """
    if not (answer.connector and answer.cavity) or answer.kind in _OF_ONE_WIRE:
        return ""
    bare = set(named.nameless)
    plug = named.traced.by_name[answer.end.connector]
    others = [end for end in plug.ends if end != answer.end and end not in bare]
    names = [named.names[end].connector for end in others]
    if not names or answer.connector in names:
        return ""
    return (
        f"{others[0]}, of the same adapter plug, is {names[0]}: is {answer.connector} another plug? "
        "The same again says yes."
    )

"""The kinds of components, and what each is as a thing: its terminals, where it sits, what is stated of it.

What each is to direct current and to a meter stands above, in `loomproof.electrics.component_kinds`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, assert_never


class ComponentKind(StrEnum):
    """A part built into the loom.

    The order is that in which words of a description are looked for: a relay with a diode is a relay.
    """

    FUSE = "fuse"
    RELAY = "relay"
    DIODE = "diode"
    RESISTOR = "resistor"
    CAPACITOR = "capacitor"
    COIL = "coil"
    LINK = "link"


@dataclass(frozen=True, slots=True)
class Form:
    """What a kind of part is as a thing.

    ``terminals`` are the names of its two; ``more``: it may have others beside them, and a description may
    have named them all otherwise. ``usual`` is how they are asked for. ``value`` names the field of a
    component that says of what value it is, in ``unit``. ``words`` are what descriptions call it, German and
    English, in lower case. ``seated``: it sits in a holder or base, from which it is pulled while a loom is
    proved. ``blows``: too much current opens it, and what lies behind it is protected.
    """

    terminals: tuple[str, ...]
    usual: str
    value: Literal["resistance_ohm", "forward_v", "capacitance_f", "rating_a"]
    unit: str
    words: tuple[str, ...]
    seated: bool = False
    blows: bool = False
    more: bool = False

    @property
    def told_apart(self) -> bool:
        """Whether it matters which terminal is which."""
        return self.terminals != _TWO


_TWO = ("1", "2")


def _form(kind: ComponentKind) -> Form:
    match kind:
        case ComponentKind.FUSE:
            return Form(
                _TWO, "1 2", "rating_a", "A", ("sicherung", "fuse", "fusible"), seated=True, blows=True
            )
        case ComponentKind.RELAY:
            coil = ("85", "86")
            return Form(
                coil, "30 85 86 87", "resistance_ohm", "Ω", ("relais", "relay"), seated=True, more=True
            )
        case ComponentKind.DIODE:
            return Form(("A", "K"), "A K", "forward_v", "V", ("diode",))
        case ComponentKind.RESISTOR:
            return Form(_TWO, "1 2", "resistance_ohm", "Ω", ("widerstand", "resistor"))
        case ComponentKind.CAPACITOR:
            return Form(_TWO, "1 2", "capacitance_f", "F", ("kondensator", "capacitor"))
        case ComponentKind.COIL:
            return Form(_TWO, "1 2", "resistance_ohm", "Ω", ("spule", "coil", "solenoid"))
        case ComponentKind.LINK:
            return Form(_TWO, "1 2", "resistance_ohm", "Ω", ("brücke", "link", "jumper"))
        case _:
            assert_never(kind)


FORMS: Mapping[ComponentKind, Form] = {kind: _form(kind) for kind in ComponentKind}
"""The form of each kind; one without is named by the type checker, and by the import of this module."""

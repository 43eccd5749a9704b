"""A part built into the loom, as a value."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.loom.component_kinds import FORMS, ComponentKind, Form
from loomproof.loom.ends import End
from loomproof.loom.guards import number, refuse_flaws


@dataclass(frozen=True, slots=True)
class Component:
    """A part built into the loom.

    ``fitted`` says whether it is in place while the loom is proved, ``pullable`` whether it can be taken
    out for that (a blade fuse, a relay) or stays in the loom (a diode taped into the trunk).
    Terminals: diode ``A`` and ``K``; relay ``85`` and ``86`` for the coil, ``30``, ``87`` (make) and
    ``87a`` (break) for the contact, further letters for further contacts; all others ``1`` and ``2``.
    ``resistance_ohm`` of a relay is that of its coil.
    """

    name: str
    kind: ComponentKind
    terminals: tuple[tuple[str, End], ...]
    resistance_ohm: float | None = None
    tolerance_pct: float | None = None
    forward_v: float | None = None
    capacitance_f: float | None = None
    rating_a: float | None = None
    fitted: bool = True
    circuit: str = ""
    note: str = ""
    pullable: bool = False

    def __post_init__(self) -> None:
        what = f"component {self.name}"
        refuse_flaws("component", self.name, self.circuit, self.note)
        refuse_flaws(what, *(text for name, end in self.terminals for text in (name, *end)))
        if not self.name or not all(name and end.connector for name, end in self.terminals):
            raise ValueError(f"{what}: a name is missing")
        for field_name in ("resistance_ohm", "tolerance_pct", "forward_v", "capacitance_f", "rating_a"):
            value = number(f"{what}, {field_name}", getattr(self, field_name))
            object.__setattr__(self, field_name, value)

    def terminal(self, name: str) -> End:
        """Return the end that the terminal of this name sits on; `KeyError` where there is none."""
        return dict(self.terminals)[name]

    @property
    def form(self) -> Form:
        """What its kind is as a thing: terminals, value, whether it is seated, whether it blows."""
        return FORMS[self.kind]

    @property
    def value(self) -> float | None:
        """What its kind is counted by, in the unit of its form: amperes of a fuse, farads of a capacitor."""
        value: float | None = getattr(self, self.form.value)
        return value

    @property
    def ends(self) -> tuple[End, ...]:
        """The ends of all terminals, in order."""
        return tuple(end for _, end in self.terminals)

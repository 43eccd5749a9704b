"""Circuits, and the choices of a conversion that make them needed, optional or unused."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from loomproof.loom.guards import number, refuse_flaws


class Need(StrEnum):
    """Whether this conversion needs a circuit."""

    NEEDED = "needed"
    OPTIONAL = "optional"
    UNUSED = "unused"


@dataclass(frozen=True, slots=True)
class Circuit:
    """Wires that do one job together.

    ``designation`` is the terminal number of DIN 72552. ``fuse`` names a fuse of this loom or gives the
    rating of one outside it (``10 A``). ``needs`` names the circuits without which this one does nothing.
    """

    name: str
    purpose: str = ""
    designation: str = ""
    load_a: float | None = None
    fuse: str = ""
    needs: tuple[str, ...] = ()
    need: Need = Need.NEEDED

    def __post_init__(self) -> None:
        refuse_flaws("circuit", self.name, self.purpose, self.designation, self.fuse, *self.needs)
        if not self.name or not all(self.needs):
            raise ValueError(f"circuit {self.name}: a name is missing")
        object.__setattr__(self, "load_a", number(f"circuit {self.name}, load_a", self.load_a))


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer to a choice, and what it makes of circuits."""

    name: str
    says: str = ""
    makes: tuple[tuple[str, Need], ...] = ()

    def __post_init__(self) -> None:
        circuits = [circuit for circuit, _ in self.makes]
        refuse_flaws("answer", self.name, self.says, *circuits)
        if not self.name or not all(circuits):
            raise ValueError(f"answer {self.name}: a name is missing")
        if len(set(circuits)) != len(circuits):
            raise ValueError(f"answer {self.name}: it speaks of a circuit twice")


@dataclass(frozen=True, slots=True)
class Choice:
    """A question about the conversion."""

    name: str
    question: str
    answers: tuple[Answer, ...]
    default: str = ""

    def __post_init__(self) -> None:
        names = [answer.name for answer in self.answers]
        refuse_flaws("choice", self.name, self.question)
        if not self.name or not names:
            raise ValueError(f"choice {self.name}: a name or its answers are missing")
        if len(set(names)) != len(names):
            raise ValueError(f"choice {self.name}: two answers have one name")
        if self.default and self.default not in names:
            raise ValueError(f"choice {self.name}: its default {self.default!r} is none of its answers")

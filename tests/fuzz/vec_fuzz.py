"""Feed damaged VEC files to the reader; only the project's own errors may come out, and none may hang.

    python -m tests.fuzz.vec_fuzz [--short] [--seed 1] [--seconds 600]

Mutates bytes, and texts, references and whole elements of files with wires, cables, splices, couplings and a
schematic. What reads must be written as a folder and read again. A find is kept in tests/fuzz/finds/ as
``vec_….vec``; exits with 1 where there was one, or where one file took more than five seconds.
"""

from __future__ import annotations

import sys

from loomproof.errors import InputError
from loomproof.loom.reading import load_files
from loomproof.loom.vec.document import VecDocument
from loomproof.loom.vec.opening import parse
from loomproof.loom.vec.reading import read_root
from loomproof.loom.writing import folder_files
from tests.fuzz.damaged_xml import fuzz
from tests.loom.vec_text import Vec, specification, tag


def samples() -> list[bytes]:
    """Return a file with all that the contacting can say, and one with a schematic alone."""
    made = Vec()
    for name in ("A", "B", "X"):
        made.housing(name, "1", "2", "3")
    made.terminal("S1", splice=True)
    made.terminal("R1")
    made.cable(
        "C1",
        [("W1", 0.5, "RD/WH", 1.0, "V.30.A", ("A.1", "S1.t")), ("W2", 0.5, "BK", 1.2, "", ("A.2", "R1.t"))],
        screen="W2",
        twisted=True,
    )
    made.cable("C2", [("W3", 0.75, "RD", None, "", ("S1.t", "B.1", "B.2"))])
    coupling = (
        f'<CouplingPoint id="cp">{tag("Identification", "cp")}{tag("FirstConnector", "A.role")}'
        f'{tag("SecondConnector", "X.role")}<SlotCoupling id="sc">{tag("Identification", "s")}'
        f"{tag('FirstSlot', 'A.slot')}{tag('SecondSlot', 'X.slot')}</SlotCoupling></CouplingPoint>"
    )
    made.more.append(specification("CouplingSpecification", "coup", coupling))
    drawn = Vec()
    ends = "".join(
        f'<ConnectionEnd id="e{n}">{tag("Identification", f"M{n} : {n}")}{tag("IsExternalEnd", "false")}'
        "</ConnectionEnd>"
        for n in range(3)
    )
    drawn.more.append(
        specification(
            "ConnectionSpecification",
            "con",
            f'<Connection id="c7">{tag("Identification", "7")}{ends}</Connection>',
        )
    )
    return [made.bytes(), drawn.bytes(), varied()]


def varied() -> bytes:
    """Return a file with variants, a ring by its own role, a coaxial contact, and a fuse on its pins."""
    made = Vec()
    made.housing("A", "1", "2")
    made.housing("B", "1", "2", config="v1")
    made.housing("X", "1", "2", config="v2")
    made.terminal("R1")
    made.cable("COA", [(f"W{n}", 0.1, "", 1.0, "", (f"A.{n}", "B.1")) for n in (1, 2)], screen="W2")
    made.cable("C2", [("W3", 0.75, "RD", 2.0, "V.15.B", ("R1.t", "B.2"))], config="v1")
    kind, ends = made.points.pop("B.1")
    for number, end in enumerate(ends):
        made.points[f"B.1{' ' * number}"] = (kind, [end])
    legs = "".join(
        f'<PinComponentRef id="r{n}">{tag("PinComponent", f"p{n}")}<TerminalRole xsi:type="vec:TerminalRole" '
        f'id="F1.{n}">{tag("Identification", n)}</TerminalRole></PinComponentRef>'
        for n in "12"
    )
    made.masters.append(specification("FuseSpecification", "fs", ""))
    made.component(
        "F1",
        f'<Role xsi:type="vec:FuseRole" id="F1.r">{tag("EEComponentSpecification", "fs")}'
        f'<HousingComponentRef id="F1.h">{legs}</HousingComponentRef></Role>',
    )
    mates = "".join(
        f'<MatingPoint id="mp{n}">{tag("FirstTerminalRole", at)}{tag("SecondTerminalRole", f"F1.{n}")}'
        "</MatingPoint>"
        for n, at in (("1", "R1.t"), ("2", "R2.t"))
    )
    made.more.append(
        specification("CouplingSpecification", "cs", f'<CouplingPoint id="cp">{mates}</CouplingPoint>')
    )
    named = "".join(
        f'<VariantConfiguration id="v{n}">{tag("Identification", n)}</VariantConfiguration>' for n in "12"
    )
    made.more.append(specification("VariantConfigurationSpecification", "vs", named))
    other = f'<CavityMounting id="other">{tag("EquippedCavityRef", "X.2")}</CavityMounting>'
    old = f"{tag('EquippedCavityRef', 'B.2')}</CavityMounting>"
    return (
        (made.bytes().decode().replace('"vec:TerminalRole" id="R1', '"vec:RingTerminalRole" id="R1'))
        .replace(old, old + other)
        .encode()
    )


def tried(content: bytes) -> str:
    """Return how a file ended: refused or read. Anything but a refusal is raised."""
    try:
        root, _ = parse(content, "fuzz.vec")
        loom = read_root(VecDocument(root, "fuzz.vec")).loom
    except InputError:
        return "refused"
    assert load_files(folder_files(loom), "again").loom.digest == loom.digest
    return "read"


def main(argv: list[str] | None = None) -> int:
    """Fuzz for the time given; return 1 where something was found."""
    return fuzz("vec", samples(), tried, argv, __doc__, 600.0)


if __name__ == "__main__":
    sys.exit(main())

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
    return [made.bytes(), drawn.bytes()]


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

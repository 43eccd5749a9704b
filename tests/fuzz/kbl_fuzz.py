"""Feed damaged KBL files to the reader; only the project's own errors may come out.

    python tests/fuzz/kbl_fuzz.py [--short] [--seed 1] [--seconds 300]

Mutates bytes, and (so that the schema is passed more often) texts, references and whole elements of the
demo loom written as KBL. What still reads must be written and read again with the same wires. A find is
kept in tests/fuzz/finds/ as ``kbl_….kbl``, which `tests/loom/test_kbl_finds.py` reads; exits with 1 where
there was one, or where one file took more than five seconds.
"""

from __future__ import annotations

import sys
from pathlib import Path

from loomproof.errors import InputError
from loomproof.loom import kbl
from loomproof.loom.kbl.document import Document
from loomproof.loom.kbl.opening import parse
from loomproof.loom.kbl.reading import read_root
from loomproof.loom.reading import load
from tests.fuzz.damaged_xml import fuzz

ROOT = Path(__file__).resolve().parents[2]


def tried(content: bytes) -> str:
    """Return how a file ended: refused or read. Anything but a refusal is raised."""
    try:
        root, _ = parse(content, "fuzz.kbl")
        loom = read_root(Document(root, "fuzz.kbl")).loom
    except InputError:
        return "refused"
    root, _ = parse(kbl.write(loom).content, "again.kbl")
    again = read_root(Document(root, "again.kbl")).loom
    assert [(w.name, w.a, w.b) for w in again.wires] == [(w.name, w.a, w.b) for w in loom.wires]
    return "read"


def main(argv: list[str] | None = None) -> int:
    """Fuzz for the time given; return 1 where something was found."""
    content = kbl.write(load(ROOT / "fixtures" / "tail_lamp").loom).content
    return fuzz("kbl", [content], tried, argv, __doc__, 300.0)


if __name__ == "__main__":
    sys.exit(main())

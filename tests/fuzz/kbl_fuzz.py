"""Feed damaged KBL files to the reader; only the project's own errors may come out.

    python tests/fuzz/kbl_fuzz.py [--short] [--seed 1] [--seconds 300]

Mutates bytes, and (so that the schema is passed more often) texts, references and whole elements of the
demo loom written as KBL. What still reads must be written and read again as the same loom. A find is
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
from tests.loom import kbl_text as t

ROOT = Path(__file__).resolve().parents[2]


def branched() -> bytes:
    """Return a file of another hand: a wire of three ends, a coaxial contact, an end on a connector."""
    cores = "".join(
        f'<Core id="k{n}"><Id>{said}</Id>{t.value("Cross_section_area", 0.14, "mm2")}'
        f"{t.colour('Core_colour', 'sw')}</Core>"
        for n, said in ((1, "inner"), (2, "screen"))
    )
    used = "".join(
        f'<Core_occurrence id="wo{n}"><Wire_number>{n}</Wire_number><Part>k{n}</Part>{t.length(500)}'
        "</Core_occurrence>"
        for n in "12"
    )
    cable = f'<General_wire id="gc">{t.part()}{cores}{t.colour("Cover_colour", "sw")}</General_wire>'
    placed = (
        '<General_wire_occurrence xsi:type="kbl:Special_wire_occurrence" id="go"><Part>gc</Part>'
        f"{t.length(500)}<Special_wire_id>COA</Special_wire_id>{used}</General_wire_occurrence>"
    )
    second = t.contact("X2", "1").replace("X2.1.p", "X2.9.p")
    body = t.connection("1", "X1.1", "X2.1", of="wo1") + t.connection("2", "X1.2", "X2.9", of="wo2")
    body += t.connection("3", "X1.3", "X3.1", "X3.2") + t.connection("4", "X1.4", "X4").replace(
        "X4.p", "X4.o"
    )
    body += t.connector("X1", "five", "1", "2", "3", "4", "5")
    body += t.connector("X2", "one", "1").replace('<Slots id="X2.s">', second + '<Slots id="X2.s">')
    body += t.connector("X3", "two", "1", "2") + t.connector("X4", "two", "1", "2", usage="splice")
    body += placed + t.wire("3") + t.wire("4")
    parts = t.housing("five", "1", "2", "3", "4", "5") + t.housing("two", "1", "2") + t.housing("one", "1")
    return t.file(parts + cable + t.wire_part(), body)


def tried(content: bytes) -> str:
    """Return how a file ended: refused or read. Anything but a refusal is raised."""
    try:
        root, _ = parse(content, "fuzz.kbl")
        loom = read_root(Document(root, "fuzz.kbl")).loom
    except InputError:
        return "refused"
    root, _ = parse(kbl.write(loom).content, "again.kbl")
    again = read_root(Document(root, "again.kbl")).loom
    assert again.digest == loom.digest
    return "read"


def main(argv: list[str] | None = None) -> int:
    """Fuzz for the time given; return 1 where something was found."""
    content = kbl.write(load(ROOT / "fixtures" / "tail_lamp").loom).content
    return fuzz("kbl", [content, branched()], tried, argv, __doc__, 600.0)


if __name__ == "__main__":
    sys.exit(main())

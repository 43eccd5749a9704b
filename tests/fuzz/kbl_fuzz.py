"""Feed damaged KBL files to the reader; only the project's own errors may come out.

    python tests/fuzz/kbl_fuzz.py [--short] [--seed 1] [--seconds 300]

Mutates bytes, and (so that the schema is passed more often) texts, references and whole elements of the
demo loom written as KBL. What still reads must be written and read again with the same wires. A find is
kept in tests/fuzz/finds/ as ``kbl_….kbl``, which `tests/loom/test_kbl_finds.py` reads; exits with 1 where
there was one.
"""

from __future__ import annotations

import argparse
import copy
import datetime
import hashlib
import os
import platform
import random
import sys
import time
import traceback
from collections import Counter
from pathlib import Path

from lxml import etree

from loomproof.errors import InputError
from loomproof.loom import kbl
from loomproof.loom.kbl.document import Document
from loomproof.loom.kbl.opening import parse
from loomproof.loom.kbl.reading import read_root
from loomproof.loom.reading import load

ROOT = Path(__file__).resolve().parents[2]
FINDS = Path(__file__).parent / "finds"
RESULT = Path(__file__).parent / "results" / "kbl_fuzz.md"

WORDS = (
    "",
    "/NULL",
    "0",
    "-1",
    "NaN",
    "INF",
    "1e308",
    "1e-320",
    " ",
    "Slots_1",
    "Cavities_1 Cavities_2",
    "x" * 40_000,
)


def mutated_bytes(content: bytes, rng: random.Random) -> bytes:
    """Return the bytes with a few cut, doubled or replaced."""
    out = bytearray(content)
    for _ in range(rng.choice((1, 2, 5))):
        at, length = rng.randrange(len(out) + 1), rng.choice((1, 3, 30))
        match rng.randrange(3):
            case 0:
                del out[at : at + length]
            case 1:
                out[at:at] = out[at : at + length]
            case _:
                out[at : at + length] = rng.randbytes(rng.choice((1, 4)))
    return bytes(out)


def mutated_tree(root: etree._Element, rng: random.Random) -> bytes:
    """Return the file with a few elements emptied, moved, doubled, taken out or given another's text."""
    tree = copy.deepcopy(root)
    elements = list(tree.iter(etree.Element))[1:]
    for _ in range(rng.choice((1, 1, 2, 4))):
        one, other = rng.choice(elements), rng.choice(elements)
        parent = one.getparent()
        match rng.randrange(5):
            case 0:
                one.text = rng.choice(WORDS)
            case 1:
                one.text = other.text
            case 2 if parent is not None:
                parent.remove(one)
            case 3 if parent is not None:
                twin = copy.deepcopy(one)
                for inner in twin.iter(etree.Element):
                    if "id" in inner.attrib:
                        inner.set("id", f"{inner.get('id')}_{rng.randrange(10**9)}")
                parent.insert(parent.index(one), twin)
            case _:
                references = [
                    e for e in elements if e.text and e.text.strip() in ("Part", other.get("id", ""))
                ]
                rng.choice(references or [one]).text = other.get("id") or other.text
    return etree.tostring(tree)


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
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="ten seconds")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=300.0)
    arguments = parser.parse_args(argv)
    rng = random.Random(arguments.seed)
    content = kbl.write(load(ROOT / "fixtures" / "tail_lamp").loom).content
    root = etree.fromstring(content)
    ends: Counter[str] = Counter()
    finds: dict[str, str] = {}
    stop = time.monotonic() + (10.0 if arguments.short else arguments.seconds)
    while time.monotonic() < stop:
        damaged = mutated_tree(root, rng) if rng.random() < 0.7 else mutated_bytes(content, rng)
        try:
            ends[tried(damaged)] += 1
        except Exception as error:  # whatever comes out is the find
            place = traceback.extract_tb(error.__traceback__)[-1]
            key = f"{type(error).__name__} at {Path(place.filename).name}:{place.lineno}"
            ends["found"] += 1
            if key not in finds:
                name = f"kbl_{hashlib.sha256(damaged).hexdigest()[:12]}.kbl"
                FINDS.mkdir(exist_ok=True)
                (FINDS / name).write_bytes(damaged)
                finds[key] = name
    total = sum(ends.values())
    lines = [
        "# Damaged KBL files",
        "",
        f"{datetime.date.today()}, `python -m tests.fuzz.kbl_fuzz --seed {arguments.seed} "
        f"--seconds {arguments.seconds:g}` ({os.cpu_count()} cores, Python {platform.python_version()})",
        "",
        f"{total} files: {ends['refused']} refused with a message, {ends['read']} read, written and read "
        f"again, {ends['found']} ended otherwise.",
        *(f"- {key}: {name}" for key, name in finds.items()),
    ]
    text = "\n".join(lines) + "\n"
    print(text)
    if not arguments.short:
        RESULT.parent.mkdir(exist_ok=True)
        RESULT.write_text(text)
    return int(bool(finds))


if __name__ == "__main__":
    sys.exit(main())
